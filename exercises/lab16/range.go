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

// A rangeRecord is the recording of one sheet: heights and free-air anomalies on a line across
// parallel ranges of mountains, a basin of young sediments under a part of it.
type rangeRecord struct {
	wavelength, density, uDensity float64 // m, kg/m³, kg/m³
	basin                         float64 // m: its middle
	made                          func() rangeFits
}

// rangeStep is the distance from one station to the next, rangeGeology what the rocks of the
// upper crust add to gravity, and rangeHalf half the width of the basin.
const (
	rangeStep    = 5e3 // m
	rangeGeology = 1.5 * gravlab.MilliGal
	rangeHalf    = 22.5e3 // m
)

type rangeFits struct {
	x, height, freeAir []float64
	slope, u           float64 // of the free-air anomaly over the height, s⁻², without the basin
	whole              float64 // with it
}

func drawRange(d *bank.Draw) rangeRecord {
	r := rangeRecord{
		wavelength: 1000 * d.Between("wavelength", 500, 600, 20),
		density:    d.Between("crust", 2680, 2800, 10), uDensity: d.Between("u of crust", 23, 29, 1),
	}
	depth := 1000 * d.Between("compensation", 22, 50, 0.5)
	amplitude, mean := d.Between("amplitude", 1300, 1600, 25), d.Between("mean height", 1800, 2100, 25)
	level := d.Between("level", -20, 20, 1) * gravlab.MilliGal
	// Under a crest or a valley, where it does most harm.
	r.basin = r.wavelength * d.Pick("basin", 0.5, 1) // from a crest at 0
	r.basin += d.Between("basin off", -10e3, 10e3, 5e3)
	r.made = sync.OnceValue(func() rangeFits {
		noise := d.Rand("range")
		// The crust has the density that is stated only to within its uncertainty.
		crust := r.density + float64(r.uDensity*d.Rand("true crust").NormFloat64())
		free, _, err := earth.CompensatedWave(crust, r.wavelength, depth)
		if err != nil {
			panic(err)
		}
		for range 100 {
			var v rangeFits
			for x := 0.0; x <= 1.5*r.wavelength; x += rangeStep {
				wave := float64(amplitude * math.Cos(2*math.Pi*x/r.wavelength))
				in := (x - r.basin) / 19e3
				g := level + float64(free*wave) + float64(rangeGeology*noise.NormFloat64()) - float64(85*gravlab.MilliGal*math.Exp(-math.Pow(in, 6)))
				v.x, v.height = append(v.x, x), append(v.height, math.Round(mean+wave))
				v.freeAir = append(v.freeAir, bank.Clean(math.Round(g/gravlab.MilliGal*10)/10*gravlab.MilliGal))
			}
			v.slope, v.u = rangeSlope(r.outside(v.x, v.height, v.freeAir))
			v.whole, _ = rangeSlope(v.height, v.freeAir)
			// A basin that the geology hides would be no trap.
			right, u := r.missing(v.slope), r.uncertain(v.slope, v.u, r.uDensity)
			if math.Abs(r.missing(v.whole)-right) > 2.1*judge.CoverageFactor*u && u > 1.6*r.uncertain(v.slope, v.u, 0) {
				return v
			}
		}
		panic(fmt.Sprintf("lab 16: the basin does not show on sheet %s", d.Code()))
	})
	return r
}

// outside leaves out the stations over the basin.
func (r rangeRecord) outside(x, height, g []float64) (h, free []float64) {
	for i := range x {
		if math.Abs(x[i]-r.basin) > rangeHalf {
			h, free = append(h, height[i]), append(free, g[i])
		}
	}
	return h, free
}

// rangeSlope is the slope of g over height, with its uncertainty.
func rangeSlope(height, g []float64) (slope, u float64) {
	a := mat.NewDense(len(g), 2, nil)
	for i, h := range height {
		a.Set(i, 0, h)
		a.Set(i, 1, 1)
	}
	f := gravlab.Must(fit.Linear(a, g, nil))
	return f.P[0], f.U[0]
}

// missing is how deep the missing mass lies, m, for a slope of the free-air anomaly.
func (r rangeRecord) missing(slope float64) float64 {
	return -r.wavelength / (2 * math.Pi) * math.Log(1-slope/(2*math.Pi*gravlab.G*r.density))
}

// uncertain is the uncertainty of that depth, from those of slope and density.
func (r rangeRecord) uncertain(slope, uSlope, uDensity float64) float64 {
	part := slope / (2 * math.Pi * gravlab.G * r.density)
	return r.wavelength / (2 * math.Pi) * part / (1 - part) * math.Hypot(uSlope/slope, uDensity/r.density)
}

func (r rangeRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "range",
		Columns: []bank.Column{{Name: "place", Unit: "m"}, {Name: "height", Unit: "m"}, {Name: "free-air", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			v := r.made()
			return [][]float64{v.x, v.height, v.freeAir}, nil
		},
	}
}

func (r rangeRecord) question() bank.Question {
	right := func() float64 { return r.missing(r.made().slope) }
	slab := 2 * math.Pi * gravlab.G * r.density
	_, wave, err := earth.CompensatedWave(2670, 300e3, 42e3)
	if err != nil {
		panic(err)
	}
	check := rangeRecord{wavelength: 300e3, density: 2670}
	return bank.Question{
		ID: "ranges", Kind: judge.KindMeasured, Marks: 4, Unit: "km",
		Fields: bank.Fields{
			"wavelength": r.wavelength / 1000, "density": r.density, "uDensity": r.uDensity,
			"basinFrom": (r.basin - rangeHalf) / 1000, "basinTo": (r.basin + rangeHalf) / 1000,
		},
		Solve: func(bank.Answers) float64 { return right() },
		U:     func() float64 { return r.uncertain(r.made().slope, r.made().u, r.uDensity) },
		Slips: []bank.Slip{
			{ID: "basin-kept", Value: bank.Later(func() float64 { return r.missing(r.made().whole) })},
			{ID: "bouguer-for-free-air", Value: bank.Later(func() float64 { return -r.wavelength / (2 * math.Pi) * math.Log(r.made().slope/slab) })},
			{ID: "2pi-ignored", Value: bank.Later(func() float64 { return 2 * math.Pi * right() })},
			{ID: "half-wavelength", Value: bank.Later(func() float64 { return right() / 2 })},
			{ID: "log10", Value: bank.Later(func() float64 { return right() / math.Ln10 })},
		},
		USlips: []bank.Slip{
			{ID: "no-density-u", Value: bank.Later(func() float64 { return r.uncertain(r.made().slope, r.made().u, 0) })},
		},
		Range: [2]float64{18e3, 56e3},
		Source: bank.Computed(testdataChecks, "earth-wave-01",
			// The depth that the question's own formula finds from a wave of a known one, put
			// back into the Bouguer anomaly.
			-2*math.Pi*gravlab.G*2670*math.Exp(-2*math.Pi*check.missing(2*math.Pi*gravlab.G*2670+wave)/300e3), 1e-15),
	}
}
