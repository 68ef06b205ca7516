package lab16

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
)

// A mapRecord is the recording of one sheet: a grid of Bouguer values with a body and a regional
// field that slopes.
type mapRecord struct {
	made func() mapFits
}

const (
	mapSide  = 21
	mapStep  = 1000.0 // m
	mapNoise = 0.1 * gravlab.MilliGal
)

type mapFits struct {
	at         []r3.Vec
	gz         []float64
	body       buried.Source // fitted together with the regional
	planeFirst buried.Source // a plane through everything taken off first
}

func drawMap(d *bank.Draw) mapRecord {
	body := buried.Point{At: r3.Vec{X: d.Between("north", -2000, 2000, 100), Y: d.Between("east", -2000, 2000, 100), Z: d.Between("depth of the body", 2200, 3600, 50)}}
	body.Mass = d.Between("peak of the body", 4, 6, 0.1) * gravlab.MilliGal * body.At.Z * body.At.Z / gravlab.G
	meter := buried.Instrument{
		Noise: mapNoise, Step: 0.01 * gravlab.MilliGal,
		Offset: d.Between("map level", -60, -30, 1) * gravlab.MilliGal,
		North:  d.Pick("north sign", -1, 1) * d.Between("north slope", 0.3, 0.8, 0.05) * gravlab.MilliGal / 1000,
		East:   d.Pick("east sign", -1, 1) * d.Between("east slope", 0.3, 0.8, 0.05) * gravlab.MilliGal / 1000,
	}
	return mapRecord{made: sync.OnceValue(func() mapFits {
		var v mapFits
		for i := range mapSide {
			for j := range mapSide {
				v.at = append(v.at, r3.Vec{X: mapStep * float64(i-mapSide/2), Y: mapStep * float64(j-mapSide/2)})
			}
		}
		v.gz = gravlab.Must(meter.Readings(d.Rand("map"), body, v.at))
		for i := range v.gz {
			v.gz[i] = bank.Clean(v.gz[i])
		}
		start := buried.Source{Shape: buried.PointShape, X: body.At.X, Y: body.At.Y, Z: body.At.Z, Mass: body.Mass}
		sigma := make([]float64, len(v.gz))
		for i := range sigma {
			sigma[i] = mapNoise
		}
		v.body = gravlab.Must(buried.Invert(buried.Anomaly{Stations: v.at, GZ: v.gz, Sigma: sigma}, []buried.Shape{buried.PointShape}, []buried.Source{start})).Sources[0]
		v.planeFirst = mapWithoutPlane(v.at, v.gz, start)
		return v
	})}
}

// mapWithoutPlane fits a body alone to what a plane through all values leaves, as those do who
// take the regional off first.
func mapWithoutPlane(at []r3.Vec, gz []float64, start buried.Source) buried.Source {
	a := mat.NewDense(len(gz), 3, nil)
	for i, s := range at {
		a.SetRow(i, []float64{1, s.X, s.Y})
	}
	plane := gravlab.Must(fit.Linear(a, gz, nil))
	index, y := make([]float64, len(gz)), make([]float64, len(gz))
	for i := range gz {
		index[i], y[i] = float64(i), plane.Residuals[i]/gravlab.MilliGal
	}
	// In km and mGal, so that all parameters are of one size.
	peak := gravlab.G * start.Mass / (start.Z * start.Z) / gravlab.MilliGal
	r, err := fit.Curve{
		X: index, Y: y, Start: []float64{start.X / 1000, start.Y / 1000, start.Z / 1000, peak},
		Lower: []float64{-20, -20, 0.3, 0}, Upper: []float64{20, 20, 20, 100},
		Model: func(p, x, dst []float64) {
			for i := range x {
				r := math.Hypot(math.Hypot(at[i].X/1000-p[0], at[i].Y/1000-p[1]), p[2])
				dst[i] = p[3] * p[2] * p[2] * p[2] / (r * r * r)
			}
		},
	}.Fit()
	if err != nil {
		return buried.Source{Z: math.NaN()}
	}
	return buried.Source{Z: 1000 * r.P[2]}
}

func (m mapRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "map",
		Columns: []bank.Column{{Name: "north", Unit: "m"}, {Name: "east", Unit: "m"}, {Name: "bouguer", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			v := m.made()
			var north, east []float64
			for _, s := range v.at {
				north, east = append(north, s.X), append(east, s.Y)
			}
			return [][]float64{north, east, v.gz}, nil
		},
	}
}

func (m mapRecord) body() bank.Question {
	return bank.Question{
		ID: "body", Kind: judge.KindMeasured, Marks: 3, Unit: "km",
		Solve: func(bank.Answers) float64 { return m.made().body.Z },
		U:     func() float64 { return m.made().body.UZ },
		Slips: []bank.Slip{
			{ID: "plane-first", Value: bank.Later(func() float64 { return m.made().planeFirst.Z })},
			{ID: "half-width", Value: bank.Later(func() float64 { return m.made().body.Z / pointHalfWidth })},
		},
		Range: [2]float64{2000, 3850},
	}
}

// pointHalfWidth is the depth of a compact body over the half-width of its anomaly.
var pointHalfWidth = gravlab.Must(buried.DepthFromHalfWidth(buried.PointShape, 1))

// lost is what of the body's peak a continuation upward leaves in the regional.
func (m mapRecord) lost(d *bank.Draw) bank.Question {
	height := d.Between("continued by", 4.0, 5.6, 0.2)
	kept := func(power float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 {
			z := k["body"] / 1000
			return math.Pow(z/(z+height), power)
		}
	}
	return bank.Question{
		ID: "lost", Kind: judge.KindNumber, Marks: 2, Unit: "%", Tol: judge.Tolerance{Rel: 0.05}, Uses: []string{"body"},
		Fields: bank.Fields{"height": height},
		Solve:  kept(2),
		Slips: []bank.Slip{
			{ID: "not-squared", Value: kept(1)},
			{ID: "what-is-kept", Value: func(k bank.Answers) float64 { return 1 - kept(2)(k) }},
			{ID: "cubed", Value: kept(3)},
		},
		Range: [2]float64{0.06, 0.25},
	}
}
