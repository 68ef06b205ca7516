package exercises

import (
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
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

func drawWalk(d *Draw) walkRecord {
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

func (w walkRecord) recording() Recording {
	return Recording{
		ID: "walk", Title: "A profile over the paddock at Ashgill Farm, out along the tape and back: gravity over the base, tide and drift taken off",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "place", Unit: "m"}, {Name: "gravity", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			var t, x, g []float64
			for i, v := range w.make() {
				t, x, g = append(t, walkPause*float64(i)), append(x, w.at[i].X), append(g, clean(v))
			}
			return [][]float64{t, x, g}, nil
		},
	}
}

// wrong gives a quantity of each source that a mistake leads to: the knock
// kept, the slope left out, a long body.
func (w walkRecord) wrong(of func(s buried.Source) float64, u func() float64) (knocked, level, tunnel func(Known) float64) {
	right := func() float64 { return of(w.fit().Sources[0]) }
	all := func() float64 {
		if w.whole() == nil {
			return math.NaN()
		}
		return of(w.whole().Sources[0])
	}
	flat := func() float64 { return measuredApart(of(w.level()), right(), u(), all()) }
	long := func() float64 { return measuredApart(of(w.tunnel()), right(), u(), all(), flat()) }
	value := func(f func() float64) func(Known) float64 { return func(Known) float64 { return f() } }
	return value(all), value(flat), value(long)
}

// reading is the code with which the worked answers about the walk start.
func (w walkRecord) reading() string {
	return fmt.Sprintf("rec := sheet.Recording(\"walk\")\nt, x, g := rec.Column(\"time\"), rec.Column(\"place\"), rec.Column(\"gravity\")\nvar a buried.Anomaly\nfor i := range t {\n\tif t[i] < %s { // s: then the meter was knocked\n\t\ta.Stations = append(a.Stations, r3.Vec{X: x[i]})\n\t\ta.GZ, a.Sigma = append(a.GZ, g[i]), append(a.Sigma, 1*gravlab.MicroGal)\n\t}\n}\n"+
		"v := gravlab.Must(buried.Invert(a, []buried.Shape{buried.PointShape}, nil))\nvoid := v.Sources[0]\n", lit(walkPause*float64(w.knock)-walkPause/2))
}

func (w walkRecord) depth() Question {
	z := func(s buried.Source) float64 { return s.Z }
	u := func() float64 { return w.fit().Sources[0].UZ }
	knocked, level, tunnel := w.wrong(z, u)
	return Question{
		ID: "depth", Kind: judge.Measured, Marks: 3, Title: "The depth, from your own profile",
		Prompt: "`sheet.Recording(\"walk\")` holds your profile over the paddock: `time` in s, `place` along the tape in m, and `gravity` over the base in m/s², out along the tape and back. Tide and drift have been taken off; a reading has a standard uncertainty of 1 µGal; the ground is level, and the background slopes. The two walks do not agree everywhere. " +
			"Taking the void for compact, how deep is its centre, and how well do you know it?",
		Unit:  "m",
		Solve: func(Known) float64 { return z(w.fit().Sources[0]) }, U: u,
		Slips: []Slip{
			{Name: "readings after the knock fitted as well", Value: knocked, Fix: "Take the way out from the way back, station by station. When did it change?\nA fit wants readings of one zero."},
			{Name: "the slope of the background left out", Value: level, Fix: "Far from the void the profile still climbs. Fit a level and a slope beside the void."},
			{Name: "taken for a long body", Value: tunnel, Fix: "A tunnel's anomaly is wider for its depth. The question takes the void for compact: buried.PointShape."},
		},
		Range:     [2]float64{3.8, 6.6},
		Hints:     [2]string{"Plot gravity against place for both walks. From which reading on do they differ?", "buried.Invert with PointShape fits place, depth, mass, level and slope: see Z and UZ of its source."},
		Worked:    "%%\n// Only what was read before the knock has one zero. Invert fits a level and a\n// slope beside the void.\n" + w.reading() + "sheet.Measured(\"depth\", void.Z, void.UZ, \"m\")",
		Reasoning: "After the knock every reading is off by the same step, which the fit takes for a part of the profile's shape. Before it the residuals look like the noise of a reading, and the covariance of the fit gives $u(z)$. Fitting the step as one more unknown would be right too, and use all readings.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording; noise, rounding and knock are not in the fitted model, and the void is a ball with air in it"},
	}
}

func (w walkRecord) mass() Question {
	m := func(s buried.Source) float64 { return s.Mass }
	u := func() float64 { return w.fit().Sources[0].UMass }
	knocked, level, tunnel := w.wrong(m, u)
	return Question{
		ID: "mass", Kind: judge.Measured, Marks: 3, Title: "The missing mass, from your own profile",
		Prompt: "From the same fit: what is the excess mass of the void, with its sign, and how well do you know it?",
		Unit:   "t",
		Solve:  func(Known) float64 { return m(w.fit().Sources[0]) }, U: u,
		Slips: []Slip{
			{Name: "readings after the knock fitted as well", Value: knocked, Fix: "Compare the two walks first, and fit only readings of one zero."},
			{Name: "the slope of the background left out", Value: level, Fix: "Fit a level and a slope beside the void."},
			{Name: "a mass per metre given for a mass", Value: tunnel, Fix: "For a long body the fit gives kg for each metre of it. Fit a compact one."},
			{Name: "the sign of a void lost", Value: func(Known) float64 { return -m(w.fit().Sources[0]) }, Fix: "Where mass is missing the excess mass is negative."},
		},
		USlips: []Slip{
			{Name: "the depth taken to be known", Value: func(Known) float64 {
				s := w.fit().Sources[0]
				return s.UMass * math.Sqrt(1-s.DepthMass*s.DepthMass)
			}, Fix: "Depth and mass come from one fit: a deeper void would be a heavier one.\nTake the uncertainty that the fit of both gives."},
		},
		Range:     [2]float64{-3.5e5, -6e4},
		Hints:     [2]string{"The same fit of the same readings as for the depth.", "Mass and UMass of the source, in kg."},
		Worked:    "%%\n// The same fit; the mass has a sign.\n" + w.reading() + "sheet.Measured(\"mass\", void.Mass/1000, void.UMass/1000, \"t\")",
		Reasoning: "Mass and depth trade against each other: `DepthMass` is their correlation in the fit, here close to −1, since a deeper void has to lack more mass. With the depth from elsewhere the mass would be known several times better.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}

func (w walkRecord) radius() Question {
	radius := func(contrast, factor float64) func(Known) float64 {
		return func(k Known) float64 { return factor * ballRadius(k["mass"], contrast) }
	}
	return Question{
		ID: "radius", Kind: judge.Measured, Marks: 2, Title: "If it is empty", Uses: []string{"mass"},
		Prompt: fmt.Sprintf("Cores from beside the paddock give %g kg/m³ for the ground. If your void is round and empty, what is its radius, and how well do you know it? Take the density of the ground as exact here.", w.ground),
		Unit:   "m",
		Solve:  radius(-w.ground, 1),
		U: func() float64 {
			s := w.fit().Sources[0]
			return math.Abs(ballRadius(s.Mass, -w.ground) * s.UMass / s.Mass / 3)
		},
		Slips: []Slip{
			{Name: "the diameter for the radius", Value: radius(-w.ground, 2), Fix: "The question asks for the radius."},
			{Name: "full of water instead of empty", Value: radius(1000-w.ground, 1), Fix: "Here the void is taken to be empty."},
		},
		USlips: []Slip{
			{Name: "the cube root multiplied instead of divided the uncertainty", Value: func(Known) float64 {
				s := w.fit().Sources[0]
				return math.Abs(3 * ballRadius(s.Mass, -w.ground) * s.UMass / s.Mass)
			}, Fix: "R goes with the cube root of the mass: its relative uncertainty is smaller than that of the mass."},
		},
		Range:     [2]float64{2, 3.4},
		Hints:     [2]string{"Volume = excess mass over contrast; then the radius of a ball.", "u(R)/R = u(M)/(3 M); Source.Radius gives both."},
		Worked:    "%%\n// Excess mass over contrast is the volume. Of a cube root a third of the\n// relative uncertainty is left.\n" + w.reading() + fmt.Sprintf("R, uR, err := void.Radius(-%s)\nR = gravlab.Must(R, err)\nsheet.Measured(\"radius\", R, uR, \"m\")", lit(w.ground)),
		Reasoning: "$R = (3M/4\\pi\\Delta\\varrho)^{1/3}$, so the relative uncertainty of $R$ is a third of that of $M$. The number looks well known, but it stands on three things that the profile did not show: that the void is round, that it is empty, and that it is one.",
		Source:    Source{Text: "common practice, no source: the volume of a ball; propagation by JCGM 100:2008, 5.1.2"},
	}
}
