package lab04

import (
	"math"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/signal"
)

const (
	nightLength = 10800 // s, and readings: one a second
	nightBandLo = 0.2   // Hz, of the question about the white part
	nightBandHi = 0.4   // Hz
	nightTau    = 256   // s, of the question about the floor
)

// A nightRecord is the recording of one sheet: the readout of a meter with its mass
// clamped for three hours, with a quarter of an hour in which somebody worked at it.
// (With the mass free the ground of any pier would hide it in the band of the white
// part: the quietest ground there is has 65 nm/s²/√Hz between 0.2 and 0.4 Hz.)
type nightRecord struct {
	from  float64 // s, when the work begins; what comes before is quiet
	make  func() (t, reading []float64)
	quiet func() nightResult
	whole func() nightResult // everything, the work too
}

// A nightResult is what a stretch of the recording tells, m/s²/√Hz and m/s².
type nightResult struct{ white, uWhite, floor, uFloor float64 }

func drawNight(d *bank.Draw) nightRecord {
	white := d.Between("night white", 20, 60, 2) * 1e-9 // m/s²/√Hz
	corner := d.Between("night corner", 0.01, 0.02, 0.001)
	n := nightRecord{from: d.Between("work", 6600, 7600, 10)}
	const work, step = 900, 1e-9
	size := d.Pick("work side", -1, 1) * d.Between("work size", 12, 16, 0.5) * white // m/s², an offset while a lamp is on
	n.make = sync.OnceValues(func() (t, reading []float64) {
		random := d.Rand("night")
		h0 := white * white
		reading = gravlab.Must(signal.Noise(random, nightLength, 1, func(f float64) float64 { return h0 * (1 + corner/f) }))
		for i := range reading {
			at := float64(i)
			t = append(t, at)
			if at >= n.from && at < n.from+work {
				reading[i] += size + float64(3*white*random.NormFloat64())
			}
			reading[i] = bank.Clean(step * math.Round(reading[i]/step))
		}
		return t, reading
	})
	n.quiet = sync.OnceValue(func() nightResult {
		_, x := n.make()
		return nightOf(x[:int(n.from)])
	})
	n.whole = sync.OnceValue(func() nightResult {
		_, x := n.make()
		return nightOf(x)
	})
	return n
}

// nightOf is the judge's own analysis of a stretch.
func nightOf(x []float64) (r nightResult) {
	s := gravlab.Must(signal.Welch{Segment: 512}.PSD(x, 1))
	const width = nightBandHi - nightBandLo
	r.white = gravlab.Must(s.RMS(nightBandLo, nightBandHi)) / math.Sqrt(width)
	// A stretch of length t holds width·t independent powers in the band.
	r.uWhite = r.white / 2 / math.Sqrt(width*float64(len(x)))
	r.floor = gravlab.Must(signal.OverlappingAllan(x, nightTau))
	pairs := math.Floor(float64(len(x))/nightTau) - 1
	r.uFloor = r.floor * math.Sqrt(3/pairs) / 2 // as signal.AllanCurve states it
	return r
}

func (n nightRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "night",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "gravity", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			t, x := n.make()
			return [][]float64{t, x}, nil
		},
	}
}

func (n nightRecord) white() bank.Question {
	return bank.Question{
		ID: "white", Kind: judge.KindMeasured, Marks: 3, Unit: densityUnit,
		Fields: bank.Fields{"from": n.from, "quietUntil": int(n.from) - 10},
		Solve:  func(bank.Answers) float64 { return n.quiet().white },
		U:      func() float64 { return n.quiet().uWhite },
		Slips: []bank.Slip{
			{ID: "disturbed", Value: func(bank.Answers) float64 { return n.whole().white }},
			{ID: "two-sided", Value: func(bank.Answers) float64 { return n.quiet().white / math.Sqrt2 }},
			{ID: "scatter", Value: func(bank.Answers) float64 { return n.quiet().white * math.Sqrt(nightBandHi-nightBandLo) }},
			{ID: "power", Value: func(bank.Answers) float64 { return n.quiet().white * n.quiet().white }},
			{ID: "root-2", Value: func(bank.Answers) float64 { return n.quiet().white * math.Sqrt2 }},
		},
		USlips: []bank.Slip{
			{ID: "one-segment", Value: func(bank.Answers) float64 { return n.quiet().white / 2 }},
			{ID: "power-u", Value: func(bank.Answers) float64 { return 2 * n.quiet().uWhite }},
		},
		Range: [2]float64{1.8e-8, 7e-8},
	}
}

func (n nightRecord) floor() bank.Question {
	return bank.Question{
		ID: "floor", Kind: judge.KindMeasured, Marks: 3, Unit: "nm/s²", Tol: judge.Tolerance{Rel: 0.08},
		Fields: bank.Fields{"from": n.from, "quietUntil": int(n.from) - 10},
		Solve:  func(bank.Answers) float64 { return n.quiet().floor },
		U:      func() float64 { return n.quiet().uFloor },
		Slips: []bank.Slip{
			{ID: "disturbed", Value: func(bank.Answers) float64 { return n.whole().floor }},
			{ID: "scatter", Value: func(bank.Answers) float64 { return n.quiet().white * math.Sqrt(0.5) }},
			{ID: "no-half", Value: func(bank.Answers) float64 { return n.quiet().floor * math.Sqrt2 }},
			{ID: "white-alone", Value: func(bank.Answers) float64 { return n.quiet().white * math.Sqrt(0.5/nightTau) }},
			{ID: "variance", Value: func(bank.Answers) float64 { return n.quiet().floor * n.quiet().floor }},
		},
		USlips: []bank.Slip{
			{ID: "root-n", Value: func(bank.Answers) float64 { return n.quiet().floor / math.Sqrt(n.from) }},
		},
		Range: [2]float64{1e-9, 2e-8},
	}
}
