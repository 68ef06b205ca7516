package lab05

import (
	"math"
	"sort"
	"sync"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/signal"
	"gravity.example/testdata"
)

// The two records on the pier: how they are taken and cut.
const (
	pierRate    = 20.0  // samples a second
	pierSamples = 16000 // 800 s
	pierSegment = 512   // samples, of a spectrum
	pierLow     = 1.0   // Hz, of the band in which the self-noise is asked
	pierHigh    = 2.0   // Hz
	pierStretch = 8.0   // s that are stacked after each start of the pump
	pierSkip    = 5     // samples after a start that the fit leaves out
)

// pierRecord is what two like sensors on one pier wrote, and what the judge
// makes of it.
type pierRecord struct {
	d      *bank.Draw
	own    float64 // m/s²/√Hz, of each sensor
	late   float64 // s, by which the record of b comes after that of a
	f0, q  float64 // of the floor's resonance
	starts []float64
	make   func() ([][]float64, error)
	pair   func() signal.Pair
	delay  func() [2]float64 // s: value and standard uncertainty
	ring   func() *fit.Result
}

// drawPier draws a pair whose clocks differ by a fifth of a sample and more from any whole
// number of samples, so that no shift by whole samples mends them.
func drawPier(d *bank.Draw) pierRecord {
	p := pierRecord{
		d:    d,
		own:  d.Between("own noise", 30, 50, 1) * 1e-9,
		late: d.Pick("late", 0.06, 0.07, 0.08, 0.09, 0.11, 0.12, 0.13),
		f0:   d.Between("floor resonance", 3.2, 5.8, 0.02),
		q:    d.Between("floor q", 25, 45, 1),
	}
	r := d.Rand("starts")
	for t := 12 + r.Float64()*10; t < pierSamples/pierRate-pierStretch-2; t += 30 + r.Float64()*15 {
		p.starts = append(p.starts, bank.Clean(math.Round(t*pierRate)/pierRate))
	}
	p.make = sync.OnceValues(p.record)
	p.pair = sync.OnceValue(func() signal.Pair {
		x := gravlab.Must(p.make())
		return gravlab.Must(signal.Welch{Segment: pierSegment}.Pair(x[1], x[2], pierRate))
	})
	p.delay = sync.OnceValue(p.measureDelay)
	p.ring = sync.OnceValue(p.measureRing)
	return p
}

// pierGround is the one-sided power density of the ground below the College,
// (m/s²)²/Hz: a floor that falls towards long periods, and the microseism, all
// of it between the noise models of 1993.
func pierGround(peak, microseism float64) func(f float64) float64 {
	return func(f float64) float64 {
		base := 2.5e-7 * math.Min(1, f)
		x := math.Log(f/peak) / 0.3
		return float64(base*base) + float64(microseism*microseism)*math.Exp(-float64(x*x)/2)
	}
}

// record makes the ground at five times the rate, so that b can read it by fifths of a
// sample late, and leaves out what an anti-alias filter would.
func (p pierRecord) record() ([][]float64, error) {
	ground := pierGround(p.d.Between("pier microseism", 0.16, 0.24, 0.01), 1.2e-6)
	const times = 5 // the fine rate over that of the record
	const fine = times * pierRate
	const before = 50 // samples at the fine rate, ahead of time 0
	x, err := signal.Noise(p.d.Rand("ground"), times*pierSamples+before, fine, func(f float64) float64 {
		if f > 9 {
			return 0
		}
		return ground(f)
	})
	if err != nil {
		return nil, err
	}
	size := p.d.Between("pump", 3, 4.5, 0.1) * 1e-6 // m/s²
	for _, start := range p.starts {
		first := before + int(math.Round(start*fine))
		for i := first; i < len(x) && i < first+int(25*fine); i++ {
			t := float64(i-first) / fine
			x[i] += float64(size * math.Exp(-math.Pi*p.f0*t/p.q) * math.Sin(2*math.Pi*p.f0*t))
		}
	}
	own := math.Sqrt(p.own * p.own * pierRate / 2)
	gain := p.d.Pick("gain", 0.97, 0.98, 1.02, 1.03)
	ra, rb := p.d.Rand("sensor a"), p.d.Rand("sensor b")
	t, a, b := make([]float64, pierSamples), make([]float64, pierSamples), make([]float64, pierSamples)
	shift := int(math.Round(p.late * fine))
	for i := range t {
		t[i] = float64(i) / pierRate
		a[i] = pierStep(x[before+times*i] + float64(own*ra.NormFloat64()) + 4.1e-6)
		b[i] = pierStep(float64(gain*x[before+times*i-shift]) + float64(own*rb.NormFloat64()) - 2.7e-6)
	}
	return [][]float64{t, a, b}, nil
}

// pierStep rounds to the digitiser's step of 1 nm/s².
func pierStep(v float64) float64 { return math.Round(v*1e9) / 1e9 }

func (p pierRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "pier",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "a", Unit: "m/s²"}, {Name: "b", Unit: "m/s²"}},
		Make:    p.make,
	}
}

func (p pierRecord) startsRecording() bank.Recording {
	return bank.Recording{
		ID:      "starts",
		Columns: []bank.Column{{Name: "time", Unit: "s"}},
		Make:    func() ([][]float64, error) { return [][]float64{append([]float64(nil), p.starts...)}, nil },
	}
}

// measureDelay fits the slope of the phase of H1 through zero from 0.1 to
// 3.5 Hz, where the two see the same and the phase has not turned round: of the
// largest delay, 130 ms, it does at 3.8 Hz.
func (p pierRecord) measureDelay() [2]float64 {
	pair := p.pair()
	h := pair.H1()
	var f, phase []float64
	for i, v := range pair.Freq {
		if v >= 0.1 && v <= 3.5 {
			f, phase = append(f, v), append(phase, math.Atan2(imag(h[i]), real(h[i])))
		}
	}
	fp, ff := 0.0, 0.0
	for i := range f {
		fp += f[i] * phase[i]
		ff += f[i] * f[i]
	}
	slope, s := fp/ff, 0.0
	for i := range f {
		r := phase[i] - slope*f[i]
		s += r * r
	}
	// Hann-windowed transforms of noise are correlated by 2/3 with the next bin and
	// by 1/6 with the one after, phases of a cross spectrum by the squares of these:
	// the variance of the slope is 1 + 2 (4/9 + 1/36) = 35/18 times that of as many
	// independent bins.
	u := math.Sqrt(35. / 18 * s / float64(len(f)-1) / ff)
	return [2]float64{-slope / (2 * math.Pi), u / (2 * math.Pi)}
}

func (p pierRecord) clock() bank.Question {
	delay := func(factor float64) func(bank.Answers) float64 {
		return bank.Later(func() float64 { return factor * p.delay()[0] })
	}
	whole := func(round func(float64) float64) func(bank.Answers) float64 {
		return bank.Later(func() float64 { return round(p.delay()[0]*pierRate) / pierRate })
	}
	return bank.Question{
		ID: "clock", Kind: judge.KindMeasured, Marks: 3, Unit: "ms",
		Solve: delay(1),
		U:     func() float64 { return p.delay()[1] },
		Slips: []bank.Slip{
			{ID: "no-2pi", Value: delay(2 * math.Pi)},
			{ID: "whole-samples", Value: whole(math.Floor)},
			{ID: "whole-samples", Value: whole(math.Ceil)},
			{ID: "lead", Value: delay(-1)},
			{ID: "samples", Value: delay(pierRate / 1000)},
			{ID: "all-frequencies", Value: bank.Later(p.wrappedDelay)},
		},
		USlips: []bank.Slip{
			{ID: "all-bins", Value: bank.Later(func() float64 { return p.delay()[1] / math.Sqrt2 })},
		},
		Range: [2]float64{0.055, 0.135},
	}
}

// wrappedDelay is the delay from the phase at all frequencies, up to those at which it has
// passed half a turn and jumped back, s.
func (p pierRecord) wrappedDelay() float64 {
	pair := p.pair()
	fp, ff := 0.0, 0.0
	for i, h := range pair.H1() {
		fp += pair.Freq[i] * math.Atan2(imag(h), real(h))
		ff += pair.Freq[i] * pair.Freq[i]
	}
	return -fp / ff / (2 * math.Pi)
}

// loudest is the frequency of the highest peak that the sea makes in the spectrum of a, Hz.
func (p pierRecord) loudest() float64 {
	pair := p.pair()
	below := sort.SearchFloat64s(pair.Freq, 1) // Hz
	return pair.Freq[1+floats.MaxIdx(pair.PXX[1:below])]
}

// inBand is the root of the mean of a density over the band of the question.
func (p pierRecord) inBand(density func(pair signal.Pair, i int) float64) float64 {
	pair, s, n := p.pair(), 0.0, 0.0
	for i, f := range pair.Freq {
		if f >= pierLow && f <= pierHigh {
			s += density(pair, i)
			n++
		}
	}
	return math.Sqrt(s / n)
}

func (p pierRecord) selfNoise() bank.Question {
	total := sync.OnceValue(func() float64 { return p.inBand(func(q signal.Pair, i int) float64 { return q.PXX[i] }) })
	level := sync.OnceValue(func() float64 {
		own := p.pair().SelfNoise()
		return p.inBand(func(_ signal.Pair, i int) float64 { return own[i] })
	})
	shared := sync.OnceValue(func() float64 {
		gamma2 := p.pair().Coherence()
		return p.inBand(func(q signal.Pair, i int) float64 { return math.Sqrt(q.PXX[i]*q.PYY[i]) * (1 - gamma2[i]) })
	})
	// The density of a - b sample by sample, over 2.
	difference := sync.OnceValue(func() float64 {
		return p.inBand(func(q signal.Pair, i int) float64 { return (q.PXX[i] + q.PYY[i] - 2*real(q.PXY[i])) / 2 })
	})
	return bank.Question{
		ID: "self-noise", Kind: judge.KindMeasured, Marks: 3, Unit: "nm/s²/√Hz",
		Fields: bank.Fields{"pierLow": pierLow, "pierHigh": pierHigh},
		Solve:  bank.Later(level),
		U:      func() float64 { return level() / (2 * math.Sqrt((pierHigh-pierLow)*pierSamples/pierRate)) },
		Slips: []bank.Slip{
			{ID: "both", Value: bank.Later(shared)},
			{ID: "difference", Value: bank.Later(difference)},
			{ID: "difference", Value: bank.Later(func() float64 { return math.Sqrt2 * difference() })},
			{ID: "ground-kept", Value: bank.Later(total)},
			{ID: "two-sided", Value: bank.Later(func() float64 { return level() / math.Sqrt2 })},
		},
		USlips: []bank.Slip{
			{ID: "power-u", Value: bank.Later(func() float64 { return level() / math.Sqrt((pierHigh-pierLow)*pierSamples/pierRate) })},
		},
		Range: [2]float64{2.6e-8, 5.6e-8},
		// γ² = 0.997
		Source: bank.Computed(testdata.Checks, "signal-selfnoise-05", gravlab.Must(signal.SelfNoiseFraction(0.997)), 1e-12),
	}
}

// ringU is the standard uncertainty of a parameter of the ringing. The fit takes its
// residuals for white up to half the rate, 10 Hz; the filter and the ground leave
// noise from 2 to 9 Hz only, with the same power in less of the band, so its density
// at the ringing is larger by 10/7. (200 sheets scatter by 1.2 times what the fit says.)
func (p pierRecord) ringU(i int) float64 { return math.Sqrt(10.0/7) * p.ring().U[i] }

// measureRing fits what follows the starts of the pump on average.
func (p pierRecord) measureRing() *fit.Result {
	x := gravlab.Must(p.make())
	y, _, err := gravlab.Must(signal.HighPass(2, 1, pierRate)).ZeroPhase(x[1])
	if err != nil {
		panic(err) // the record is long and has no gaps
	}
	stack := gravlab.Must(signal.StackAt(y, pierRate, p.starts, pierStretch))
	return gravlab.Must(fit.DampedOscillation(x[0][pierSkip:len(stack.Mean)], stack.Mean[pierSkip:], nil))
}

func (p pierRecord) resonance() bank.Question {
	f := func(factor float64) func(bank.Answers) float64 {
		return bank.Later(func() float64 { return factor / p.ring().P[fit.Period] })
	}
	return bank.Question{
		ID: "resonance", Kind: judge.KindMeasured, Marks: 3, Unit: "Hz",
		Solve: f(1),
		U: func() float64 {
			r := p.ring()
			return p.ringU(fit.Period) / (r.P[fit.Period] * r.P[fit.Period])
		},
		Slips: []bank.Slip{
			{ID: "half-period", Value: f(2)},
			{ID: "angular", Value: f(2 * math.Pi)},
			{ID: "period", Value: bank.Later(func() float64 { return p.ring().P[fit.Period] })},
			{ID: "microseism", Value: bank.Later(p.loudest)},
		},
		USlips: []bank.Slip{
			{ID: "period-u", Value: bank.Later(func() float64 { return p.ringU(fit.Period) })},
			{ID: "period-u", Value: bank.Later(func() float64 { return p.ring().U[fit.Period] })},
		},
		Range: [2]float64{3, 6},
	}
}

func (p pierRecord) quality() bank.Question {
	q := func(factor float64) func(bank.Answers) float64 {
		return bank.Later(func() float64 {
			r := p.ring()
			return factor * math.Pi * r.P[fit.DecayTime] / r.P[fit.Period]
		})
	}
	return bank.Question{
		ID: "quality", Kind: judge.KindMeasured, Marks: 2, Unit: "1",
		Solve: q(1),
		U: func() float64 {
			r := p.ring()
			rel := math.Hypot(p.ringU(fit.DecayTime)/r.P[fit.DecayTime], p.ringU(fit.Period)/r.P[fit.Period])
			return q(1)(nil) * rel
		},
		Slips: []bank.Slip{
			{ID: "no-pi", Value: q(1 / math.Pi)},
			{ID: "energy", Value: q(2)},
			{ID: "half-time", Value: q(math.Ln2)},
			{ID: "damping-ratio", Value: bank.Later(func() float64 { return 0.5 / q(1)(nil) })},
		},
		USlips: []bank.Slip{
			{ID: "period-alone", Value: bank.Later(func() float64 { return q(1)(nil) * p.ringU(fit.Period) / p.ring().P[fit.Period] })},
			{ID: "seconds", Value: bank.Later(func() float64 { return p.ringU(fit.DecayTime) })},
			{ID: "seconds", Value: bank.Later(func() float64 { return p.ring().U[fit.DecayTime] })},
		},
		Range: [2]float64{18, 60},
	}
}
