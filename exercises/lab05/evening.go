package lab05

import (
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/stat"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
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
	d        *bank.Draw
	peak     float64 // Hz, of the microseism
	arrival  float64 // s, of the first wave
	make     func() ([][]float64, error)
	spectrum func() signal.Spectrum // before the earthquake
	still    func() float64         // rms before the earthquake at all frequencies, m/s²
	quiet    func() [2]float64      // rms before the earthquake, m/s², and its standard uncertainty
	all      func() signal.Spectrum // of everything
}

func drawEvening(d *bank.Draw) evening {
	e := evening{
		d: d, peak: d.Between("evening microseism", 0.19, 0.26, 0.01),
		arrival: d.Between("arrival", 7000, 9500, 10),
	}
	e.make = sync.OnceValues(e.record)
	spectrum := func(to int) signal.Spectrum {
		x := gravlab.Must(e.make())
		return gravlab.Must(signal.Welch{Segment: 512}.PSD(x[1][:to], 1))
	}
	e.spectrum = sync.OnceValue(func() signal.Spectrum { return spectrum(int(e.arrival) - eveningMargin) })
	e.quiet = sync.OnceValue(func() [2]float64 {
		n := int(e.arrival) - eveningMargin
		s := e.spectrum()
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
	e.all = sync.OnceValue(func() signal.Spectrum { return spectrum(eveningSamples) })
	e.still = sync.OnceValue(func() float64 {
		x := gravlab.Must(e.make())[1][:int(e.arrival)-eveningMargin]
		return stat.StdDev(x, nil)
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

func (e evening) recording() bank.Recording {
	return bank.Recording{
		ID:      "evening",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "a", Unit: "m/s²"}},
		Make:    e.make,
	}
}

func (e evening) microseism() bank.Question {
	rms := func(factor float64) func(bank.Answers) float64 {
		return bank.Later(func() float64 { return factor * e.quiet()[0] })
	}
	density := func() float64 { return math.Sqrt(slices.Max(e.spectrum().PSD)) }
	return bank.Question{
		ID: "microseism", Kind: judge.KindMeasured, Marks: 3, Unit: "nm/s²",
		Fields: bank.Fields{
			"eveningLow": eveningLow, "eveningHigh": eveningHigh,
			"beforeArrival": int(e.arrival) - eveningMargin,
		},
		Solve: rms(1),
		U:     func() float64 { return e.quiet()[1] },
		Slips: []bank.Slip{
			{ID: "earthquake", Value: bank.Later(e.whole)},
			{ID: "no-band", Value: bank.Later(e.still)},
			{ID: "density", Value: bank.Later(density)},
			{ID: "amplitude", Value: rms(math.Sqrt2)},
			{ID: "two-sided", Value: rms(math.Sqrt2 / 2)},
		},
		USlips: []bank.Slip{
			{ID: "power-u", Value: bank.Later(func() float64 { return 2 * e.quiet()[1] })},
			{ID: "samples", Value: bank.Later(func() float64 { return e.quiet()[0] / math.Sqrt(2*float64(int(e.arrival)-eveningMargin)) })},
		},
		Range: [2]float64{2e-7, 1.6e-6},
	}
}

// whole is the rms of everything, in the band.
func (e evening) whole() float64 { return gravlab.Must(e.all().RMS(eveningLow, eveningHigh)) }

// displacement is the rms of the floor's motion in the band, m, from the density s of its
// acceleration divided by (2πf)^power: the fourth power of the angular frequency, or another
// where that is forgotten.
func displacement(s signal.Spectrum, divided func(f float64) float64) float64 {
	own := s
	own.PSD = make([]float64, len(s.PSD))
	for i, f := range s.Freq {
		if f > 0 {
			own.PSD[i] = s.PSD[i] / divided(f)
		}
	}
	return gravlab.Must(own.RMS(eveningLow, eveningHigh))
}

func (e evening) movement() bank.Question {
	angular := func(power float64) func(f float64) float64 {
		return func(f float64) float64 { return math.Pow(2*math.Pi*f, power) }
	}
	omega := 2 * math.Pi * e.peak
	return bank.Question{
		ID: "movement", Kind: judge.KindNumber, Marks: 2, Unit: "µm", Tol: judge.Tolerance{Rel: 0.03},
		Fields: bank.Fields{"eveningLow": eveningLow, "eveningHigh": eveningHigh, "beforeArrival": int(e.arrival) - eveningMargin},
		Solve:  bank.Later(func() float64 { return displacement(e.spectrum(), angular(4)) }),
		Slips: []bank.Slip{
			{ID: "at-peak", Value: bank.Later(func() float64 { return e.quiet()[0] / (omega * omega) })},
			{ID: "frequency", Value: bank.Later(func() float64 {
				return displacement(e.spectrum(), func(f float64) float64 { return f * f * f * f })
			})},
			{ID: "once", Value: bank.Later(func() float64 { return displacement(e.spectrum(), angular(2)) })},
			{ID: "earthquake", Value: bank.Later(func() float64 { return displacement(e.all(), angular(4)) })},
			{ID: "multiplied", Value: bank.Later(func() float64 { return displacement(e.spectrum(), angular(-4)) })},
		},
		Range: [2]float64{1e-7, 2e-6},
	}
}
