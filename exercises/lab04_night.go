package exercises

import (
	"fmt"
	"math"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/signal"
)

const (
	nightLength = 10800 // s, and readings: one a second
	nightBandLo = 0.2   // Hz, of the question about the white part
	nightBandHi = 0.4   // Hz
	nightTau    = 256   // s, of the question about the floor
)

// A nightRecord is the recording of one sheet: a meter on a pier for three hours,
// with a quarter of an hour in which somebody worked beside it.
type nightRecord struct {
	from  float64 // s, when the work begins; what comes before is quiet
	make  func() (t, reading []float64)
	quiet func() nightResult
	whole func() nightResult // everything, the work too
}

// A nightResult is what a stretch of the recording tells, m/s²/√Hz and m/s².
type nightResult struct{ white, uWhite, floor, uFloor float64 }

func drawNight(d *Draw) nightRecord {
	white := d.Between("night white", 20, 60, 2) * 1e-9 // m/s²/√Hz
	corner := d.Between("night corner", 0.01, 0.02, 0.001)
	n := nightRecord{from: d.Between("work", 6600, 7600, 10)}
	const work, step = 900, 1e-9
	size := d.Pick("work side", -1, 1) * d.Between("work size", 12, 16, 0.5) * white // m/s², the tilt of the pier
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
			reading[i] = clean(step * math.Round(reading[i]/step))
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

func (n nightRecord) recording() Recording {
	return Recording{
		ID: "night", Title: "Three hours of a gravity meter on a pier of the basement laboratory, the tide and the mean taken off",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "gravity", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			t, x := n.make()
			return [][]float64{t, x}, nil
		},
	}
}

func (n nightRecord) reading() string {
	return fmt.Sprintf("// Somebody worked beside the pier from about %s s on: stop before that.\nquiet := sheet.Recording(\"night\").Column(\"gravity\")[:%d]\n", lit(n.from), int(n.from)-10)
}

func (n nightRecord) white() Question {
	return Question{
		ID: "white", Kind: judge.Measured, Marks: 3, Title: "The white part, from your own recording",
		Prompt: "`sheet.Recording(\"night\")` holds three hours of a gravity meter, one reading a second: `time` in s and `gravity` in m/s². It was not left alone all the time. What is the amplitude density of the *quiet* meter, averaged (in power) over the band from 0.2 Hz to 0.4 Hz, and how well do you know it?",
		Unit:   densityUnit,
		Solve:  func(Known) float64 { return n.quiet().white },
		U:      func() float64 { return n.quiet().uWhite },
		Slips: []Slip{
			{Name: "the time in which somebody was there counted as well", Value: func(Known) float64 { return n.whole().white }, Fix: "Plot the recording: a stretch of it is not the meter's own.\nUse what is quiet."},
			{Name: "a two-sided density, or the scatter of the readings", Value: func(Known) float64 { return n.quiet().white / math.Sqrt2 }, Fix: "One-sided: white noise of density a, read once a second, scatters by a·√(1/2)."},
			{Name: "the scatter in the band for the density", Value: func(Known) float64 { return n.quiet().white * math.Sqrt(nightBandHi-nightBandLo) }, Fix: "Over the root of the width of the band."},
		},
		USlips: []Slip{
			{Name: "the uncertainty of a single segment", Value: func(Known) float64 { return n.quiet().white / 2 }, Fix: "Segments and frequencies are averaged: a band of width B holds B·t independent powers."},
		},
		Range:     [2]float64{1.8e-8, 7e-8},
		Hints:     [2]string{"signal.Welch{}.PSD of the quiet stretch, and its RMS from 0.2 to 0.4 Hz.", "Divide by √0.2 Hz. The relative uncertainty of the power is 1/√(B t), that of the amplitude half of it."},
		Worked:    "%%\n" + n.reading() + "s := gravlab.Must(signal.Welch{}.PSD(quiet, 1))\n// The rms in the band over the root of its width; B t independent powers.\nB := 0.2 // Hz\na := gravlab.Must(s.RMS(0.2, 0.4)) / math.Sqrt(B)\nu := a / 2 / math.Sqrt(B*float64(len(quiet)))\nsheet.Measured(\"white\", a, u, \"m/s²/√Hz\")",
		Reasoning: "A spectrum of everything is that of two things: of the meter, and of somebody who works beside it. The mean of $Bt$ independent powers is known to $1/\\sqrt{Bt}$, and a root halves a relative uncertainty.",
		Source:    Source{Text: "P. D. Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70 (from memory), on the sheet's own recording"},
	}
}

func (n nightRecord) floor() Question {
	return Question{
		ID: "floor", Kind: judge.Measured, Marks: 3, Title: "The floor, from the same recording",
		Prompt: "What is the overlapping Allan deviation of the *quiet* meter at an averaging time of 256 s, with its standard uncertainty?",
		Unit:   "nm/s²",
		Solve:  func(Known) float64 { return n.quiet().floor },
		U:      func() float64 { return n.quiet().uFloor },
		Slips: []Slip{
			{Name: "the time in which somebody was there counted as well", Value: func(Known) float64 { return n.whole().floor }, Fix: "A step that comes and goes looks like a very restless meter.\nUse what is quiet."},
			{Name: "the scatter of single readings", Value: func(Known) float64 { return n.quiet().white * math.Sqrt(0.5) }, Fix: "Averages of 256 readings, each against the next."},
		},
		Range:     [2]float64{1e-9, 2e-8},
		Hints:     [2]string{"signal.AllanCurve of the quiet stretch: averaging times of 1, 2, 4, … readings.", "Each point has Deviation and U; 256 = 2⁸ is the ninth."},
		Worked:    "%%\n" + n.reading() + "curve := gravlab.Must(signal.AllanCurve(quiet, 1))\n// Averaging times are 1, 2, 4, ... s: 256 s is number 8, counted from 0.\np := curve[8]\nsheet.Measured(\"floor\", p.Deviation, p.U, \"m/s²\")",
		Reasoning: "At 256 s the white part has averaged away and the flicker is left: the curve is level. Few pairs of long averages fit into the record, so the floor is known to a fifth only. No night of this meter gives a mean that is better than it.",
		Source:    Source{Text: "IEEE Std 1139 and NIST Special Publication 1065 (from memory), on the sheet's own recording"},
	}
}
