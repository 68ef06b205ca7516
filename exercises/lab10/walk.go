package lab10

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
)

// walkNoise is the standard uncertainty of a reading of the walk, m/s², and
// walkPause the time from one reading to the next, s.
const (
	walkNoise = 1 * gravlab.MicroGal
	walkPause = 120
)

// A walkRecord is the recording of one sheet: a profile over a void, out along
// the tape and back, with the meter knocked somewhere on the way back. Tide and
// drift are taken off already.
type walkRecord struct {
	ground  float64 // kg/m³
	knock   int     // the first reading after the knock
	at      []r3.Vec
	make    func() []float64         // m/s²
	fit     func() *buried.Inversion // of the readings before the knock
	whole   func() *buried.Inversion // of all of them, knock and all
	level   func() buried.Source     // of the readings before the knock, background without a slope
	tunnel  func() buried.Source     // the same readings taken for a long body
	inverse func(gz []float64, shape buried.Shape) (*buried.Inversion, error)
}

func drawWalk(d *bank.Draw) walkRecord {
	w := walkRecord{ground: d.Between("walk ground", 1900, 2100, 50), knock: int(d.Between("knock", 41, 47, 1))}
	house := buried.Sphere{
		Centre:   r3.Vec{X: d.Between("place", -3, 3, 0.1), Z: d.Between("walk depth", 4.6, 5.6, 0.1)},
		Radius:   d.Between("walk radius", 2.4, 2.9, 0.1),
		Contrast: 1.2 - w.ground,
	}
	meter := buried.Instrument{
		Noise: walkNoise, Step: 0.1 * gravlab.MicroGal,
		Offset: d.Between("level", 120, 300, 5) * gravlab.MicroGal,
		North:  d.Pick("slope sign", -1, 1) * d.Between("slope", 0.3, 0.6, 0.05) * gravlab.MicroGal,
	}
	const n = 37
	for i := range 2 * n {
		k := i
		if i >= n {
			k = 2*n - 1 - i // and back
		}
		w.at = append(w.at, r3.Vec{X: float64(k - n/2)})
	}
	before := sync.OnceValue(func() []float64 { return gravlab.Must(meter.Readings(d.Rand("walk"), house, w.at)) })
	start := []buried.Source{{Shape: buried.PointShape, X: house.Centre.X, Z: house.Centre.Z, Mass: house.Mass()}}
	w.inverse = func(gz []float64, shape buried.Shape) (*buried.Inversion, error) {
		sigma := make([]float64, len(gz))
		for i := range sigma {
			sigma[i] = walkNoise
		}
		guess := start
		if shape == buried.LineShape {
			guess = []buried.Source{{Shape: shape, X: house.Centre.X, Z: 0.8 * house.Centre.Z, Mass: house.Mass() / (2 * house.Centre.Z)}}
		}
		return buried.Invert(buried.Anomaly{Stations: w.at[:len(gz)], GZ: gz, Sigma: sigma}, []buried.Shape{shape}, guess)
	}
	w.fit = sync.OnceValue(func() *buried.Inversion {
		return gravlab.Must(w.inverse(before()[:w.knock], buried.PointShape))
	})
	knocked := func(step float64) []float64 {
		gz := append([]float64(nil), before()...)
		for i := w.knock; i < len(gz); i++ {
			gz[i] += step
		}
		return gz
	}
	w.make = sync.OnceValue(func() []float64 {
		// A knock that leaves depth or mass alone would be no trap: take the first
		// that moves both by far more than anybody could defend.
		right := w.fit().Sources[0]
		moves := func(from, to, u float64) bool { return math.Abs(to-from) > 4*judge.CoverageFactor*u }
		sign, size := d.Pick("knock sign", -1, 1), d.Between("knock size", 20, 30, 1)
		var gz []float64
		for more := 0.0; more < 60; more += 10 {
			for _, step := range []float64{sign * (size + more), -sign * (size + more)} {
				gz = knocked(step * gravlab.MicroGal)
				v, err := w.inverse(gz, buried.PointShape)
				if err == nil && moves(right.Z, v.Sources[0].Z, right.UZ) && moves(right.Mass, v.Sources[0].Mass, right.UMass) {
					return gz
				}
			}
		}
		return gz
	})
	w.whole = sync.OnceValue(func() *buried.Inversion {
		v, err := w.inverse(w.make(), buried.PointShape)
		if err != nil {
			return nil
		}
		return v
	})
	w.level = sync.OnceValue(func() buried.Source { return w.withoutSlope(before()[:w.knock], start[0]) })
	w.tunnel = sync.OnceValue(func() buried.Source {
		v, err := w.inverse(before()[:w.knock], buried.LineShape)
		if err != nil {
			return buried.Source{Z: math.NaN(), Mass: math.NaN()}
		}
		return v.Sources[0]
	})
	return w
}

// withoutSlope fits a point and a level alone, as those do who forget that the
// background slopes.
func (w walkRecord) withoutSlope(gz []float64, start buried.Source) buried.Source {
	x := make([]float64, len(gz))
	for i := range x {
		x[i] = w.at[i].X
	}
	// In metres, tonnes and µGal, so that all parameters are of one size.
	y := make([]float64, len(gz))
	for i := range y {
		y[i] = gz[i] / gravlab.MicroGal
	}
	r, err := fit.Curve{
		X: x, Y: y, Start: []float64{start.X, start.Z, start.Mass / 1000, y[0]},
		Lower: []float64{-30, 0.3, -1e4, -1e4}, Upper: []float64{30, 60, 1e4, 1e4},
		Model: func(p, x, dst []float64) {
			for i := range x {
				dst[i] = p[3] + pointGZ(1000*p[2], p[1], x[i]-p[0], 0)/gravlab.MicroGal
			}
		},
	}.Fit()
	if err != nil || len(r.AtBound) > 0 {
		return buried.Source{Z: math.NaN(), Mass: math.NaN()}
	}
	return buried.Source{X: r.P[0], Z: r.P[1], Mass: 1000 * r.P[2]}
}

func (w walkRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "walk",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "place", Unit: "m"}, {Name: "gravity", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			var t, x, g []float64
			for i, v := range w.make() {
				t, x, g = append(t, walkPause*float64(i)), append(x, w.at[i].X), append(g, bank.Clean(v))
			}
			return [][]float64{t, x, g}, nil
		},
	}
}

// wrong gives a quantity of each source that a mistake leads to: the knock
// kept, the slope left out, a long body.
func (w walkRecord) wrong(of func(s buried.Source) float64) (knocked, level, tunnel func(bank.Answers) float64) {
	all := func() float64 {
		if w.whole() == nil {
			return math.NaN()
		}
		return of(w.whole().Sources[0])
	}
	flat := func() float64 { return of(w.level()) }
	long := func() float64 { return of(w.tunnel()) }
	return bank.Later(all), bank.Later(flat), bank.Later(long)
}

func (w walkRecord) depth() bank.Question {
	z := func(s buried.Source) float64 { return s.Z }
	u := func() float64 { return w.fit().Sources[0].UZ }
	knocked, level, tunnel := w.wrong(z)
	return bank.Question{
		ID: "depth", Kind: judge.KindMeasured, Marks: 3, Unit: "m",
		Fields: bank.Fields{"beforeKnock": walkPause*float64(w.knock) - walkPause/2},
		Solve:  func(bank.Answers) float64 { return z(w.fit().Sources[0]) },
		U:      u,
		Slips: []bank.Slip{
			{ID: "knock-kept", Value: knocked},
			{ID: "slope-ignored", Value: level},
			{ID: "long-body", Value: tunnel},
			{ID: "top", Value: bank.Later(func() float64 { s := w.fit().Sources[0]; return s.Z - ballRadius(s.Mass, -w.ground) })},
			{ID: "half-width", Value: bank.Later(func() float64 { return w.fit().Sources[0].Z / pointHalfWidth })},
		},
		Range: [2]float64{3.8, 6.6},
	}
}

func (w walkRecord) mass() bank.Question {
	m := func(s buried.Source) float64 { return s.Mass }
	u := func() float64 { return w.fit().Sources[0].UMass }
	knocked, level, tunnel := w.wrong(m)
	return bank.Question{
		ID: "mass", Kind: judge.KindMeasured, Marks: 3, Unit: "t",
		Fields: bank.Fields{"beforeKnock": walkPause*float64(w.knock) - walkPause/2},
		Solve:  func(bank.Answers) float64 { return m(w.fit().Sources[0]) },
		U:      u,
		Slips: []bank.Slip{
			{ID: "knock-kept", Value: knocked},
			{ID: "slope-ignored", Value: level},
			{ID: "mass-per-metre", Value: tunnel},
			{ID: "sign-ignored", Value: func(bank.Answers) float64 { return -m(w.fit().Sources[0]) }},
			{ID: "half-width", Value: bank.Later(func() float64 { return w.fit().Sources[0].Mass / (pointHalfWidth * pointHalfWidth) })},
		},
		USlips: []bank.Slip{
			{ID: "depth-known", Value: func(bank.Answers) float64 {
				s := w.fit().Sources[0]
				return s.UMass * math.Sqrt(1-s.DepthMass*s.DepthMass)
			}},
		},
		Range: [2]float64{-3.5e5, -6e4},
	}
}

func (w walkRecord) radius() bank.Question {
	radius := func(contrast, factor float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 { return factor * ballRadius(k["mass"], contrast) }
	}
	return bank.Question{
		ID: "radius", Kind: judge.KindMeasured, Marks: 2, Unit: "m", Uses: []string{"mass"},
		Fields: bank.Fields{"ground": w.ground, "beforeKnock": walkPause*float64(w.knock) - walkPause/2},
		Solve:  radius(-w.ground, 1),
		U: func() float64 {
			s := w.fit().Sources[0]
			return math.Abs(ballRadius(s.Mass, -w.ground) * s.UMass / s.Mass / 3)
		},
		Slips: []bank.Slip{
			{ID: "diameter", Value: radius(-w.ground, 2)},
			{ID: "water-for-empty", Value: radius(1000-w.ground, 1)},
			{ID: "no-4-3", Value: radius(-w.ground, math.Cbrt(4.0/3))},
			{ID: "cube", Value: radius(-w.ground, math.Cbrt(4*math.Pi/3))},
		},
		USlips: []bank.Slip{
			{ID: "multiplied", Value: func(bank.Answers) float64 {
				s := w.fit().Sources[0]
				return math.Abs(3 * ballRadius(s.Mass, -w.ground) * s.UMass / s.Mass)
			}},
			{ID: "not-divided", Value: func(bank.Answers) float64 {
				s := w.fit().Sources[0]
				return math.Abs(ballRadius(s.Mass, -w.ground) * s.UMass / s.Mass)
			}},
		},
		Range: [2]float64{2, 3.4},
	}
}
