package exercises

import (
	"fmt"
	"math"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/signal"
)

// The evening with the earthquake: four hours of one sensor.
const (
	eveningSamples = 14400 // at 1 sample a second
	eveningLow     = 0.1   // Hz, of the band of the microseism
	eveningHigh    = 0.3   // Hz
	eveningMargin  = 60    // s that the judge keeps from the first arrival
)

// evening is a long record with a distant earthquake in it.
type evening struct {
	d       *Draw
	peak    float64 // Hz, of the microseism
	arrival float64 // s, of the first wave
	make    func() ([][]float64, error)
	quiet   func() [2]float64 // rms before the earthquake, m/s², and its standard uncertainty
	whole   func() float64    // rms of everything
}

func drawEvening(d *Draw) evening {
	e := evening{
		d: d, peak: d.Between("evening microseism", 0.19, 0.26, 0.01),
		arrival: d.Between("arrival", 7000, 9500, 10),
	}
	e.make = sync.OnceValues(e.record)
	spectrum := func(to int) signal.Spectrum {
		x := gravlab.Must(e.make())
		return gravlab.Must(signal.Welch{Segment: 512}.PSD(x[1][:to], 1))
	}
	e.quiet = sync.OnceValue(func() [2]float64 {
		n := int(e.arrival) - eveningMargin
		s := spectrum(n)
		rms := gravlab.Must(s.RMS(eveningLow, eveningHigh))
		// The power in a band is the sum of bins, each known as well as the time
		// allows: u² = ∫P² df/T.
		squares, df := 0.0, s.Freq[1]
		for i, f := range s.Freq {
			if f >= eveningLow && f <= eveningHigh {
				squares += s.PSD[i] * s.PSD[i] * df
			}
		}
		return [2]float64{rms, math.Sqrt(squares/float64(n)) / (2 * rms)}
	})
	e.whole = sync.OnceValue(func() float64 {
		return gravlab.Must(spectrum(eveningSamples).RMS(eveningLow, eveningHigh))
	})
	return e
}

// wave is a train of waves that comes at start (s after the first arrival),
// grows within rise (s), dies away in decay (s), and whose period (s) falls from
// long to short over glide (s).
type wave struct{ start, rise, decay, long, short, glide, size float64 }

func (w wave) at(t float64) float64 {
	t -= w.start
	if t < 0 || t > 12*w.decay {
		return 0
	}
	// The phase is the integral of a frequency that rises steadily.
	f1, f2 := 1/w.long, 1/w.short
	s := math.Min(t, w.glide)
	phase := f1*t + (f2-f1)*(s*s/(2*w.glide)+(t-s))
	envelope := (1 - math.Exp(-t/w.rise)) * math.Exp(-t/w.decay) * (0.75 + 0.25*math.Cos(2*math.Pi*t/(9*w.short)))
	return float64(w.size * envelope * math.Sin(2*math.Pi*phase))
}

func (e evening) record() ([][]float64, error) {
	level := e.d.Between("sea", 1.2, 2, 0.1) * 1e-6 // m/s²/√Hz at the peak of the microseism
	x, err := signal.Noise(e.d.Rand("evening"), eveningSamples, 1, pierGround(e.peak, level))
	if err != nil {
		return nil, err
	}
	size := e.d.Between("earthquake", 1, 1.6, 0.1)
	waves := []wave{
		{0, 5, 90, 5, 7, 200, 1.5e-5}, {520, 15, 160, 9, 8, 300, 3e-5},
		{1150, 120, 500, 42, 18, 900, 6e-5},
	}
	r := e.d.Rand("evening sensor")
	t := make([]float64, eveningSamples)
	for i := range x {
		t[i] = float64(i)
		for _, w := range waves {
			x[i] += float64(size * w.at(t[i]-e.arrival))
		}
		x[i] = pierStep(x[i] + float64(1.5e-8*r.NormFloat64()))
	}
	return [][]float64{t, x}, nil
}

func (e evening) recording() Recording {
	return Recording{
		ID: "evening", Title: "One sensor on the pier, four hours of an evening",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "a", Unit: "m/s²"}},
		Make:    e.make,
	}
}

func (e evening) microseism() Question {
	rms := func(factor float64) func(Known) float64 {
		return pierValue(func() float64 { return factor * e.quiet()[0] })
	}
	return Question{
		ID: "microseism", Kind: judge.Measured, Marks: 3, Title: "The sea under the floor",
		Prompt: fmt.Sprintf("`sheet.Recording(\"evening\")` holds four hours of one sensor, a sample a second (`time` in s, `a` in m/s²). The sea was at work all evening; later something else came. What is the rms acceleration of the *microseism alone*, between %g and %g Hz, and how well do you know it?", eveningLow, eveningHigh),
		Unit:   "nm/s²",
		Solve:  rms(1),
		U:      func() float64 { return e.quiet()[1] },
		Slips: []Slip{
			{Name: "the earthquake counted as sea", Value: pierValue(e.whole), Fix: "Plot the whole evening. When did the other thing begin?\nUse only what came before."},
			{Name: "the amplitude given for the rms", Value: rms(math.Sqrt2), Fix: "The root of the area under the density is the rms already."},
			{Name: "a two-sided density, with only its positive half counted", Value: rms(math.Sqrt2 / 2), Fix: "Densities here are one-sided: the area from 0.1 to 0.3 Hz is the whole mean square of the band."},
		},
		Range: [2]float64{2e-7, 1.6e-6},
		Hints: [2]string{"Cut the record before the first wave of the earthquake. Then a spectrum, and Spectrum.RMS(0.1, 0.3).", "For the uncertainty cut the quiet part into pieces and look how their rms scatters; or about 1/(2√(B·T)), B being the width of the hump in Hz."},
		Worked: "%%\n// Only what came before the earthquake; pieces of it give the uncertainty.\n" +
			fmt.Sprintf("x := sheet.Recording(\"evening\").Column(\"a\")[:%d]\n", int(e.arrival)-eveningMargin) +
			"whole := gravlab.Must(signal.Welch{Segment: 512}.PSD(x, 1))\nrms := gravlab.Must(whole.RMS(0.1, 0.3))\nconst pieces = 12\nn, s := len(x)/pieces, 0.0\nfor i := 0; i < pieces; i++ {\n\tpart := gravlab.Must(signal.Welch{Segment: 128}.PSD(x[i*n:(i+1)*n], 1))\n\ts += math.Pow(gravlab.Must(part.RMS(0.1, 0.3))-rms, 2)\n}\nu := math.Sqrt(s/(pieces-1)) / math.Sqrt(pieces)\nsheet.Measured(\"microseism\", rms, u, \"m/s²\")",
		Reasoning: "The area under a one-sided density is the mean square. Body waves of a distant earthquake have periods of a few seconds and fall into the same band, so the record must be cut before them. Noise of bandwidth $B$ watched for a time $T$ gives its power to $1/\\sqrt{BT}$ and its rms to half of that.",
		Source:    Source{Text: "common practice, no source: area under a density; the sheet's own recording"},
	}
}

// movement builds on the student's own microseism.
func (e evening) movement() Question {
	x := func(f func(a float64) float64) func(Known) float64 {
		return func(k Known) float64 { return f(k["microseism"]) }
	}
	omega := 2 * math.Pi * e.peak
	return Question{
		ID: "movement", Kind: judge.Number, Marks: 2, Title: "How far does the floor move?", Uses: []string{"microseism"},
		Prompt: fmt.Sprintf("Take your rms acceleration as if all of it were at the peak of the hump, %.2f Hz. By how much does the floor go up and down, as an rms displacement?", e.peak),
		Unit:   "µm", Tol: judge.Tolerance{Rel: 0.01, Why: "three digits carried; your own acceleration is carried forward"},
		Solve: x(func(a float64) float64 { return a / (omega * omega) }),
		Slips: []Slip{
			{Name: "the frequency taken for the angular frequency", Value: x(func(a float64) float64 { return a / (e.peak * e.peak) }), Fix: "x = a/ω² with ω = 2πf."},
			{Name: "divided by ω once", Value: x(func(a float64) float64 { return a / omega }), Fix: "Once gives the velocity. The displacement is the second integral."},
		},
		Range:     [2]float64{1e-7, 2e-6},
		Hints:     [2]string{"For an oscillation, a = ω² x.", "ω = 2π f, and x = a/ω²."},
		Worked:    fmt.Sprintf("%%%%\n// For one frequency a = omega² x.\nx := sheet.Recording(\"evening\").Column(\"a\")[:%d]\nspectrum := gravlab.Must(signal.Welch{Segment: 512}.PSD(x, 1))\na := gravlab.Must(spectrum.RMS(0.1, 0.3))\nomega := 2 * math.Pi * %s\nsheet.Number(\"movement\", a/(omega*omega), \"m\")", int(e.arrival)-eveningMargin, lit(e.peak)),
		Reasoning: "Twice differentiating a sine multiplies it by $\\omega^2$. The floor moves by less than a thousandth of a millimetre, and a gravity sensor feels it as some tens of µGal.",
		Source:    Source{Text: "common practice, no source: harmonic motion"},
	}
}
