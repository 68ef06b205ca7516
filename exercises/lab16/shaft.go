package lab16

import (
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
)

// The meter goes down a shaft, a station every shaftStep metres, and is read shaftReadings
// times at each; at the end it is read at the top again.
const (
	shaftStep     = 10.0 // m
	shaftStations = 37
	shaftReadings = 3
	shaftPause    = 480.0 // s from one station to the next
	// A shaft shakes, and the meter stands differently each time it is set down: all readings
	// of one station share that error.
	shaftSetUp   = 12 * gravlab.MicroGal
	shaftReading = 5 * gravlab.MicroGal
)

// A shaftRecord is the recording of one sheet: gravity down a shaft through two kinds of rock.
type shaftRecord struct {
	freeAir, uFreeAir float64 // s⁻²
	boundary          float64 // m
	made              func() shaftFits
}

// shaftFits are a record and what follows from it.
type shaftFits struct {
	t, z, g     []float64 // s, m, m/s²: every reading
	right       *fit.Result
	drifting    *fit.Result // drift ignored
	independent *fit.Result // each reading as if it were a station of its own
	single      float64     // one line for the whole shaft
}

// The parameters of the fits: level (µGal) and growth of gravity (µGal/m) in the upper and in the
// lower rock, and the drift (µGal/h).
const (
	_ = iota
	shaftUpper
	_
	shaftLower
)

func drawShaft(d *bank.Draw) shaftRecord {
	s := shaftRecord{boundary: d.Between("boundary", 155, 205, 1)}
	// Far from the usual gradient, as over heavy rock or beside it.
	f := d.Pick("gradient low or high", -1, 1) * d.Between("gradient off", 6.0, 8.0, 0.1) // µGal/m
	s.freeAir, s.uFreeAir = (308.6+f)*gravlab.MicroGal, d.Between("u of gradient", 0.7, 0.9, 0.05)*gravlab.MicroGal
	upper, lower := d.Between("upper rock", 2350, 2550, 10), d.Between("lower rock", 2870, 3250, 10) // kg/m³
	drift := d.Pick("drift sign", -1, 1) * d.Between("drift", 50, 80, 1) * gravlab.MicroGal / 3600
	s.made = sync.OnceValue(func() shaftFits {
		r := d.Rand("shaft")
		for range 100 {
			var v shaftFits
			station := func(at, z float64) {
				g := float64(gravlab.Must(earth.ShaftGradient(s.freeAir, upper))*math.Min(z, s.boundary)) +
					float64(gravlab.Must(earth.ShaftGradient(s.freeAir, lower))*math.Max(z-s.boundary, 0)) + float64(shaftSetUp*r.NormFloat64())
				for k := range shaftReadings {
					now := at + 60*float64(k)
					reading := g + float64(drift*now) + float64(shaftReading*r.NormFloat64())
					v.t, v.z = append(v.t, now), append(v.z, z)
					v.g = append(v.g, bank.Clean(math.Round(reading/gravlab.MicroGal)*gravlab.MicroGal))
				}
			}
			for i := range shaftStations {
				station(shaftPause*float64(i), shaftStep*float64(i))
			}
			station(shaftPause*(shaftStations+3), 0)
			t, z, g := shaftMeans(v.t, v.z, v.g)
			v.right = s.fit(t, z, g, true)
			v.drifting = s.fit(t, z, g, false)
			v.single = shaftSingle(t, z, g)
			v.independent = s.fit(v.t, v.z, v.g, true)
			// The three readings of a station resemble each other; where by chance they do not, or
			// the drift hides, the record teaches nothing.
			right, u := v.right.P[shaftLower], v.right.U[shaftLower]
			if u > 1.45*v.independent.U[shaftLower] && math.Abs(v.drifting.P[shaftLower]-right) > 2.2*judge.CoverageFactor*u {
				return v
			}
		}
		panic(fmt.Sprintf("lab 16: nothing shows in the shaft on sheet %s", d.Code()))
	})
	return s
}

// shaftMeans are the means of the readings of each set-up.
func shaftMeans(t, z, g []float64) (mt, mz, mg []float64) {
	for i := 0; i < len(t); i += shaftReadings {
		at, mean := 0.0, 0.0
		for k := range shaftReadings {
			at += t[i+k] / shaftReadings
			mean += g[i+k] / shaftReadings
		}
		mt, mz, mg = append(mt, at), append(mz, z[i]), append(mg, mean)
	}
	return mt, mz, mg
}

// fit fits a straight line to each rock, and the drift of the meter to all.
func (s shaftRecord) fit(t, z, g []float64, drifts bool) *fit.Result {
	columns := 4
	if drifts {
		columns = 5
	}
	a, y := mat.NewDense(len(g), columns, nil), make([]float64, len(g))
	for i := range g {
		first := 0
		if z[i] > s.boundary {
			first = 2
		}
		a.Set(i, first, 1)
		a.Set(i, first+1, z[i])
		if drifts {
			a.Set(i, 4, t[i]/3600)
		}
		y[i] = (g[i] - g[0]) / gravlab.MicroGal
	}
	return gravlab.Must(fit.Linear(a, y, nil))
}

// shaftSingle is the slope of one line through the whole shaft, with a drift.
func shaftSingle(t, z, g []float64) float64 {
	a, y := mat.NewDense(len(g), 3, nil), make([]float64, len(g))
	for i := range g {
		a.SetRow(i, []float64{1, z[i], t[i] / 3600})
		y[i] = (g[i] - g[0]) / gravlab.MicroGal
	}
	return gravlab.Must(fit.Linear(a, y, nil)).P[1]
}

func (s shaftRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "shaft",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "depth", Unit: "m"}, {Name: "gravity", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			v := s.made()
			return [][]float64{v.t, v.z, v.g}, nil
		},
	}
}

func (s shaftRecord) gradient() bank.Question {
	lower := func(r *fit.Result) float64 { return r.P[shaftLower] * gravlab.MicroGal }
	return bank.Question{
		ID: "gradient", Kind: judge.KindMeasured, Marks: 4, Unit: "µGal/m",
		Fields: bank.Fields{"boundary": s.boundary},
		Solve:  func(bank.Answers) float64 { return lower(s.made().right) },
		U:      func() float64 { return s.made().right.U[shaftLower] * gravlab.MicroGal },
		Slips: []bank.Slip{
			{ID: "drift-kept", Value: bank.Later(func() float64 { return lower(s.made().drifting) })},
			{ID: "upper-rock", Value: bank.Later(func() float64 { return s.made().right.P[shaftUpper] * gravlab.MicroGal })},
			{ID: "whole-shaft", Value: bank.Later(func() float64 { return s.made().single * gravlab.MicroGal })},
			{ID: "sign", Value: bank.Later(func() float64 { return -lower(s.made().right) })},
		},
		USlips: []bank.Slip{
			{ID: "readings-independent", Value: bank.Later(func() float64 { return s.made().independent.U[shaftLower] * gravlab.MicroGal })},
		},
		Range: [2]float64{24 * gravlab.MicroGal, 80 * gravlab.MicroGal},
	}
}

func (s shaftRecord) density() bank.Question {
	const four = 4 * math.Pi * gravlab.G
	u := func(free, slope float64) float64 { return math.Hypot(free, slope) / four }
	slope := func() float64 { return s.made().right.U[shaftLower] * gravlab.MicroGal }
	return bank.Question{
		ID: "density", Kind: judge.KindMeasured, Marks: 3, Unit: "kg/m³", Uses: []string{"gradient"},
		Fields: bank.Fields{"boundary": s.boundary, "freeAir": s.freeAir / gravlab.MicroGal, "uFreeAir": s.uFreeAir / gravlab.MicroGal},
		Solve:  func(k bank.Answers) float64 { return (s.freeAir - k["gradient"]) / four },
		U:      func() float64 { return u(s.uFreeAir, slope()) },
		Slips: []bank.Slip{
			{ID: "handbook-gradient", Value: func(k bank.Answers) float64 { return (308.6*gravlab.MicroGal - k["gradient"]) / four }},
			{ID: "2pi-for-4pi", Value: func(k bank.Answers) float64 { return 2 * (s.freeAir - k["gradient"]) / four }},
			{ID: "added", Value: func(k bank.Answers) float64 { return (s.freeAir + k["gradient"]) / four }},
			{ID: "no-free-air", Value: func(k bank.Answers) float64 { return k["gradient"] / four }},
		},
		USlips: []bank.Slip{
			{ID: "no-free-air-u", Value: bank.Later(func() float64 { return u(0, slope()) })},
			{ID: "half", Value: bank.Later(func() float64 { return 2 * u(s.uFreeAir, slope()) })},
		},
		Range: [2]float64{2800, 3320},
	}
}
