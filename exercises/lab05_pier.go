package exercises

import (
	"fmt"
	"math"
	"sync"

	"gravity.example/gravlab"
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
	d      *Draw
	own    float64 // m/s²/√Hz, of each sensor
	late   float64 // s, by which the record of b comes after that of a
	f0, q  float64 // of the floor's resonance
	starts []float64
	make   func() ([][]float64, error)
	pair   func() signal.Pair
	delay  func() [2]float64 // s: value and standard uncertainty
	ring   func() *fit.Result
}

// drawPier draws a pair whose clocks are half a sample and more apart, so that
// no shift by whole samples mends them.
func drawPier(d *Draw) pierRecord {
	p := pierRecord{
		d:    d,
		own:  d.Between("own noise", 30, 50, 1) * 1e-9,
		late: d.Pick("late", 0.075, 0.125),
		f0:   d.Between("floor resonance", 3.2, 5.8, 0.02),
		q:    d.Between("floor q", 25, 45, 1),
	}
	r := d.Rand("starts")
	for t := 12 + r.Float64()*10; t < pierSamples/pierRate-pierStretch-2; t += 30 + r.Float64()*15 {
		p.starts = append(p.starts, clean(math.Round(t*pierRate)/pierRate))
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

// record makes the ground at twice the rate, so that b can read it half a
// sample late, and leaves out what an anti-alias filter would.
func (p pierRecord) record() ([][]float64, error) {
	ground := pierGround(p.d.Between("pier microseism", 0.16, 0.24, 0.01), 1.2e-6)
	const fine = 2 * pierRate
	const before = 20 // samples at the fine rate, ahead of time 0
	x, err := signal.Noise(p.d.Rand("ground"), 2*pierSamples+before, fine, func(f float64) float64 {
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
		a[i] = pierStep(x[before+2*i] + float64(own*ra.NormFloat64()) + 4.1e-6)
		b[i] = pierStep(float64(gain*x[before+2*i-shift]) + float64(own*rb.NormFloat64()) - 2.7e-6)
	}
	return [][]float64{t, a, b}, nil
}

// pierStep rounds to the digitiser's step of 1 nm/s².
func pierStep(v float64) float64 { return math.Round(v*1e9) / 1e9 }

func (p pierRecord) recording() Recording {
	return Recording{
		ID: "pier", Title: "Two like vertical sensors on one pier, 800 s",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "a", Unit: "m/s²"}, {Name: "b", Unit: "m/s²"}},
		Make:    p.make,
	}
}

func (p pierRecord) startsRecording() Recording {
	return Recording{
		ID: "starts", Title: "When the pump next door was switched on, by the clock of sensor a",
		Columns: []Column{{Name: "time", Unit: "s"}},
		Make:    func() ([][]float64, error) { return [][]float64{append([]float64(nil), p.starts...)}, nil },
	}
}

// measureDelay fits the slope of the phase of H1 through zero from 0.1 to
// 3.5 Hz, where the two see the same and the phase has not turned round: of the
// largest delay, 125 ms, it does at 4 Hz.
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

func (p pierRecord) clock() Question {
	delay := func(factor float64) func(Known) float64 {
		return pierValue(func() float64 { return factor * p.delay()[0] })
	}
	whole := func(round func(float64) float64) func(Known) float64 {
		return pierValue(func() float64 { return round(p.delay()[0]*pierRate) / pierRate })
	}
	return Question{
		ID: "clock", Kind: judge.Measured, Marks: 3, Title: "Whose clock is late?",
		Prompt: "`sheet.Recording(\"pier\")` holds what two like sensors on one pier wrote, 20 times a second: `time` in s, `a` and `b` in m/s². Each has a recorder with a clock of its own. By how much does the record of b come *after* that of a, and how well do you know it? Use what the two show between 0.1 and 3.5 Hz; the answer need not be a whole number of samples.",
		Unit:   "ms",
		Solve:  delay(1),
		U:      func() float64 { return p.delay()[1] },
		Slips: []Slip{
			{Name: "the phase divided by f instead of 2πf", Value: delay(2 * math.Pi), Fix: "A whole turn of the phase is 2π: φ = −2π f δ."},
			{Name: "a whole number of samples", Value: whole(math.Floor), Fix: "Shifting by whole samples is too coarse here. How does the phase grow with the frequency?"},
			{Name: "a whole number of samples", Value: whole(math.Ceil), Fix: "Shifting by whole samples is too coarse here. How does the phase grow with the frequency?"},
		},
		Range: [2]float64{0.06, 0.14},
		Hints: [2]string{"Plot the phase of H1 against the frequency: a straight line. What is its slope?", "φ = −2π f δ. Fit the slope through zero between 0.1 and 3.5 Hz; the scatter about the line gives its uncertainty."},
		Worked: "%%\n// A delay turns the phase of H1 by -2 pi f delta: fit that slope.\n" + pierReading +
			"fp, ff, n := 0.0, 0.0, 0.0\nfor i, h := range pair.H1() {\n\tif f := pair.Freq[i]; f >= 0.1 && f <= 3.5 {\n\t\tfp += f * math.Atan2(imag(h), real(h))\n\t\tff += f * f\n\t\tn++\n\t}\n}\nslope, s := fp/ff, 0.0 // rad/Hz\nfor i, h := range pair.H1() {\n\tif f := pair.Freq[i]; f >= 0.1 && f <= 3.5 {\n\t\ts += math.Pow(math.Atan2(imag(h), real(h))-slope*f, 2)\n\t}\n}\n// A Hann window mixes neighbouring bins: half of them count.\nu := math.Sqrt(2 * s / (n - 1) / ff)\nsheet.Measured(\"clock\", -slope/(2*math.Pi), u/(2*math.Pi), \"s\")",
		Reasoning: "What a wrote at $t$, b wrote at $t+\\delta$: the transfer function from a to b is $e^{-i\\omega\\delta}$ (times a factor near 1), with the phase $-2\\pi f\\delta$. Some ninety bins with a phase each make the slope good to about a quarter of a millisecond, less than a hundredth of a sample.",
		Source:    Source{Text: "common practice, no source: delay from the slope of the phase; the sheet's own recording, whose delay is a number of half samples"},
	}
}

// pierReading is the code with which the worked answers about the pair start.
const pierReading = "rec := sheet.Recording(\"pier\")\npair := gravlab.Must(signal.Welch{Segment: 512}.Pair(rec.Column(\"a\"), rec.Column(\"b\"), 20))\n"

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

func (p pierRecord) selfNoise() Question {
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
	check := testdata.Find("model_checks.csv", "signal-selfnoise-05") // γ² = 0.997
	return Question{
		ID: "self-noise", Kind: judge.Measured, Marks: 3, Title: "The sensors' own noise",
		Prompt: fmt.Sprintf("From the same record: what is the amplitude density of *one* sensor's own noise between %g and %g Hz, and how well do you know it? Average the power density over the band, then take its root. Use segments of 512 samples and take both sensors as equally good. The ground is several times louder there.", pierLow, pierHigh),
		Unit:   "nm/s²/√Hz",
		Solve:  pierValue(level),
		U:      func() float64 { return level() / (2 * math.Sqrt((pierHigh-pierLow)*pierSamples/pierRate)) },
		Slips: []Slip{
			{Name: "the noise of both sensors together", Value: pierValue(shared), Fix: "1 − γ² (or the difference of the two) counts the noise of both. One of them?"},
			{Name: "the difference of two records that are out of step", Value: pierValue(difference), Fix: "The clocks differ: sample by sample the ground does not cancel.\nThe coherence does not mind."},
			{Name: "a two-sided density", Value: pierValue(func() float64 { return level() / math.Sqrt2 }), Fix: "Densities here are one-sided: all of the power lies above zero frequency."},
		},
		Range: [2]float64{2.6e-8, 5.6e-8},
		Hints: [2]string{"Pair.SelfNoise() gives the power density of one sensor's own noise, bin by bin. Average it over the band.", "A power density averaged over the bandwidth B and the time T has about B·T independent values here; the relative u of its root is about 1/(2√(BT))."},
		Worked: "%%\n// What the two do not share is their own noise: P (1 - gamma) each.\n" + pierReading +
			"s, n := 0.0, 0.0\nfor i, own := range pair.SelfNoise() {\n\tif f := pair.Freq[i]; f >= 1 && f <= 2 {\n\t\ts += own\n\t\tn++\n\t}\n}\nasd := math.Sqrt(s / n)\n// B T = 1 Hz times 800 s independent values: the mean power is known to\n// 1/sqrt(B T), its root to half of that. The ground's scatter drops out.\nu := asd / (2 * math.Sqrt(1*800))\nsheet.Measured(\"self-noise\", asd, u, \"m/s²/√Hz\")",
		Reasoning: "With a common signal $S$ and own noise $N$ each, $P = S + N$ and $\\gamma = S/P$, so $N = P(1-\\gamma)$. $P(1-\\gamma^2) = N(1+\\gamma)$ is nearly twice that. The delay between the clocks leaves $\\gamma$ alone, but in a plain difference it leaves $2S(1-\\cos\\omega\\delta)$ of the ground.",
		Source: Source{Text: "independently computed: " + check["route"] + " for the formula; the sheet's own recording for the value", Check: &SourceCheck{
			Table: "model_checks.csv", ID: "signal-selfnoise-05", Got: gravlab.Must(signal.SelfNoiseShare(0.997)), Want: check.Float("value"), Within: 1e-12}},
	}
}

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

// ringReading is the code with which the worked answers about the pump start.
const ringReading = "rec, starts := sheet.Recording(\"pier\"), sheet.Recording(\"starts\").Column(\"time\")\ny, _, err := gravlab.Must(signal.HighPass(2, 1, 20)).ZeroPhase(rec.Column(\"a\"))\nif err != nil {\n\tpanic(err)\n}\nstack := gravlab.Must(signal.StackAt(y, 20, starts, 8))\nn := len(stack.Mean)\nring := gravlab.Must(fit.DampedOscillation(rec.Column(\"time\")[5:n], stack.Mean[5:n], nil))\n"

func (p pierRecord) resonance() Question {
	f := func(factor float64) func(Known) float64 {
		return pierValue(func() float64 { return factor / p.ring().P[fit.Period] })
	}
	return Question{
		ID: "resonance", Kind: judge.Measured, Marks: 3, Title: "What rings when the pump starts?",
		Prompt: "A pump next door was switched on every half minute or so while the pair was recording; `sheet.Recording(\"starts\")` lists when (column `time` in s, on the clock of sensor a). Each start makes the floor ring for a moment, too faintly to be read well in one go. At which frequency does it ring, and how well do you know it?",
		Unit:   "Hz",
		Solve:  f(1),
		U: func() float64 {
			r := p.ring()
			return r.U[fit.Period] / (r.P[fit.Period] * r.P[fit.Period])
		},
		Slips: []Slip{
			{Name: "half a period taken for one", Value: f(2), Fix: "A period is from crest to crest, not from one zero to the next."},
			{Name: "the angular frequency", Value: f(2 * math.Pi), Fix: "f = 1/T, in Hz. ω = 2πf is in rad/s."},
			{Name: "the period given for the frequency", Value: pierValue(func() float64 { return p.ring().P[fit.Period] }), Fix: "f = 1/T."},
		},
		Range: [2]float64{3, 6},
		Hints: [2]string{"Average what follows all the starts: signal.StackAt. What is not tied to the pump averages away.", "Take the microseism off first with signal.HighPass(2, 1, 20) and ZeroPhase, then fit.DampedOscillation to the stack, from 0.25 s after the start."},
		Worked: "%%\n// Take off the microseism, average what follows the starts, fit the ringing.\n" + ringReading +
			"T, u := ring.P[fit.Period], ring.U[fit.Period]\nsheet.Measured(\"resonance\", 1/T, u/(T*T), \"Hz\")",
		Reasoning: "The ringing begins in the same phase after every start, so it adds up, while the rest falls with the root of the number of starts. The filter keeps the loud microseism out of the average; it runs forwards and backwards, so it shifts nothing in time.",
		Source:    Source{Text: "common practice, no source: averages tied to known times, least squares; the sheet's own recording"},
	}
}

func (p pierRecord) quality() Question {
	q := func(factor float64) func(Known) float64 {
		return pierValue(func() float64 {
			r := p.ring()
			return factor * math.Pi * r.P[fit.DecayTime] / r.P[fit.Period]
		})
	}
	return Question{
		ID: "quality", Kind: judge.Measured, Marks: 2, Title: "How long does it ring?",
		Prompt: "From the same average: what is the quality factor $Q$ of the floor's resonance, and how well do you know it?",
		Unit:   "1",
		Solve:  q(1),
		U: func() float64 {
			r := p.ring()
			rel := math.Hypot(r.U[fit.DecayTime]/r.P[fit.DecayTime], r.U[fit.Period]/r.P[fit.Period])
			return q(1)(nil) * rel
		},
		Slips: []Slip{
			{Name: "the decay time over the period, without π", Value: q(1 / math.Pi), Fix: "Q is 2π times the energy over its loss in a period, and energy falls twice as fast as amplitude."},
			{Name: "the decay time taken for that of the energy", Value: q(2), Fix: "fit.DecayTime belongs to the amplitude: Q = π f τ with that."},
		},
		Range: [2]float64{18, 60},
		Hints: [2]string{"The amplitude falls to 1/e in the time τ; the fit gives τ and T.", "Q = π f τ. Relative uncertainties of τ and T in quadrature; one of them hardly counts."},
		Worked: "%%\n// Q = pi tau/T with the decay time of the amplitude.\n" + ringReading +
			"tau, T := ring.P[fit.DecayTime], ring.P[fit.Period]\nQ := math.Pi * tau / T\nrel := math.Hypot(ring.U[fit.DecayTime]/tau, ring.U[fit.Period]/T)\nsheet.Measured(\"quality\", Q, Q*rel, \"1\")",
		Reasoning: "$Q = \\omega_0\\tau/2 = \\pi f\\tau$ with the decay time $\\tau$ of the amplitude. The period is known a hundred times better than the decay time, so $u(Q)/Q \\approx u(\\tau)/\\tau$. Reading $Q$ off the width of the peak in a spectrum would be worse: the window widens the peak.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}
