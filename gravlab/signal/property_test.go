package signal_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"gravity.example/gravlab/signal"
)

// number draws any float64, the awkward ones often.
func number(t *rapid.T, name string) float64 {
	if rapid.Bool().Draw(t, name+" awkward") {
		return rapid.SampledFrom([]float64{0, math.Copysign(0, -1), 1, -1, math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, math.SmallestNonzeroFloat64, 1e-300, 1e150}).Draw(t, name)
	}
	return rapid.Float64().Draw(t, name)
}

func record(t *rapid.T, name string) []float64 {
	switch rapid.IntRange(0, 3).Draw(t, name+" kind") {
	case 0:
		return nil
	case 1:
		return rapid.SliceOfN(rapid.Float64(), 0, 80).Draw(t, name)
	case 2:
		x := rapid.SliceOfN(rapid.Float64Range(-1e90, 1e90), 0, 80).Draw(t, name)
		if len(x) > 3 && rapid.Bool().Draw(t, name+" gap") {
			x[2] = math.NaN()
		}
		return x
	}
	x := make([]float64, rapid.IntRange(0, 80).Draw(t, name+" length"))
	level := number(t, name+" level")
	for i := range x {
		x[i] = level
	}
	return x
}

func whole(t *rapid.T, name string) int {
	if rapid.Bool().Draw(t, name+" small") {
		return rapid.IntRange(-3, 70).Draw(t, name)
	}
	return rapid.SampledFrom([]int{math.MinInt, math.MaxInt, math.MinInt / 2, math.MaxInt / 2}).Draw(t, name)
}

// No argument whatever makes a function panic, and what has no error is a number.
func TestNoPanic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x, y := record(t, "x"), record(t, "y")
		if rapid.Bool().Draw(t, "same length") {
			y = append(y, make([]float64, len(x))...)[:len(x)]
		}
		a, b, c := number(t, "a"), number(t, "b"), number(t, "c")
		m, n := whole(t, "m"), whole(t, "n")
		finite := func(what string, err error, v ...float64) {
			for _, v := range v {
				if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
					t.Fatalf("%s is %v without an error", what, v)
				}
			}
		}
		w := signal.Welch{Segment: m, Step: n, Window: signal.Window(rapid.IntRange(-1, 5).Draw(t, "window")), Detrend: signal.Detrend(rapid.IntRange(-1, 3).Draw(t, "detrend")), SkipGaps: rapid.Bool().Draw(t, "skip")}
		if s, err := w.PSD(x, a); err == nil {
			_, _, _ = s.Limits(b)
			_ = s.ASD()
			_, _ = s.RMS(b, c)
			_, _ = s.LineAmplitude(b)
		}
		if p, err := w.Pair(x, y, a); err == nil {
			p.Coherence()
			p.H1()
			p.SelfNoise()
		}
		if m < 1<<20 {
			_, _ = w.DoF(n)
			_, _ = w.Window.ENBW(m)
			w.Window.Coefficients(m)
		}
		_ = w.Window.String()
		_, _, _ = signal.Spectrum{Freq: x, PSD: y, DoF: a}.Limits(b)
		_, _ = signal.Spectrum{Freq: x, PSD: y}.RMS(a, b)
		_, _ = signal.Spectrum{Freq: x, PSD: y}.LineAmplitude(a)
		q := signal.Pair{Freq: x, PXX: y}
		q.Coherence()
		q.H1()
		q.SelfNoise()
		v, err := signal.SelfNoiseFraction(a)
		finite("SelfNoiseFraction", err, v)
		v, err = signal.ExpectedCoherence(a, b, c)
		finite("ExpectedCoherence", err, v)
		v, err = signal.CoherenceThreshold(a, b)
		finite("CoherenceThreshold", err, v)
		_, _ = signal.SineFit(x, a, b)
		_, _ = signal.Lines(x, a, y...)
		_, _ = signal.LinesAt(x, y, a, b)
		if m < 30 {
			_, _ = signal.CancelReference(x, y, m, n)
		}
		_, _ = signal.CancelReference(x, y, m, n)
		if r, err := signal.FitAR(x, m); err == nil {
			r.Whiten(y)
		}
		_, _ = signal.Autocovariance(x, m)
		if f, err := signal.NewMatchedFilter(x, y); err == nil {
			_, _ = f.Statistic(y)
			_, _, _ = f.Amplitude(x)
			_, _ = f.Slide(y)
		}
		_, _ = signal.MatchedFilter{}.Statistic(x)
		_, _ = signal.MatchedFilter{}.Slide(x)
		v, err = signal.WhiteSNR(x, a, b)
		finite("WhiteSNR", err, v)
		v, err = signal.Threshold(a, m)
		finite("Threshold", err, v)
		v, err = signal.FalseAlarm(a, m)
		finite("FalseAlarm", err, v)
		v, err = signal.DetectionProbability(a, b)
		finite("DetectionProbability", err, v)
		v, err = signal.NeededSNR(a, b)
		finite("NeededSNR", err, v)
		v, err = signal.OverlappingAllan(x, m)
		finite("OverlappingAllan", err, v)
		v, err = signal.NonOverlappingAllan(x, m)
		finite("NonOverlappingAllan", err, v)
		_, _ = signal.AllanCurve(x, a)
		for _, filter := range []func() (signal.Filter, error){
			func() (signal.Filter, error) { return signal.LowPass(m, a, b) },
			func() (signal.Filter, error) { return signal.HighPass(m, a, b) },
			func() (signal.Filter, error) { return signal.BandPass(m, a, b, c) },
			func() (signal.Filter, error) { return signal.Filter{}, nil },
		} {
			f, err := filter()
			if err == nil {
				f.Response(a)
				_, _, _ = f.ZeroPhase(x)
			}
		}
		signal.Gaps(x)
		signal.Mask(x, append(signal.Clipped(x), signal.Range{From: m, To: n}), n)
		_, _ = signal.Regularise(x, y, a)
		_, _ = signal.StackAt(x, a, y, b)
		_, _, _ = signal.Resonance(x, y)
		rng := rand.New(rand.NewPCG(1, 2))
		if m < 1000 {
			_, _ = signal.WhiteNoise(rng, m, a, b)
			_, _ = signal.Noise(rng, m, a, func(f float64) float64 { return b })
		}
		v, e, err := signal.BandRMS(func(f float64) float64 { return c }, a, b)
		finite("BandRMS", err, v, e)
	})
}
