package signal_test

import (
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gravity.example/gravlab"
	"gravity.example/gravlab/signal"
)

func seeded(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 7)) }

func near(t *testing.T, what string, got, want, allowed float64) {
	t.Helper()
	if !(math.Abs(got-want) <= allowed) {
		t.Errorf("%s = %.12g, want %.12g within %.2g", what, got, want, allowed)
	}
}

func cosine(n int, rate, f, amplitude, phase float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * math.Cos(2*math.Pi*f*float64(i)/rate-phase)
	}
	return x
}

// The integral of a density is the variance: exact for one rectangular segment
// with its mean removed (Parseval).
func TestPSDHoldsTheVariance(t *testing.T) {
	for _, n := range []int{256, 255} {
		x, err := signal.WhiteNoise(seeded(1), n, 50, 3)
		if err != nil {
			t.Fatal(err)
		}
		s, err := signal.Welch{Segment: n, Window: signal.Rectangular}.PSD(x, 50)
		if err != nil {
			t.Fatal(err)
		}
		var m, variance float64
		for _, v := range x {
			m += v / float64(n)
		}
		for _, v := range x {
			variance += (v - m) * (v - m) / float64(n)
		}
		rms, err := s.RMS(0, s.Freq[len(s.Freq)-1])
		if err != nil {
			t.Fatal(err)
		}
		near(t, "variance", rms*rms, variance, 1e-12*variance)
	}
}

// A line of amplitude A holds A²/2, wherever it falls between bins.
func TestLineAmplitude(t *testing.T) {
	for _, w := range []signal.Window{signal.Hann, signal.Rectangular, signal.Hamming, signal.Blackman, signal.FlatTop} {
		for _, bin := range []float64{40, 40.3, 40.5, 39.6} {
			f := bin * 100 / 512
			s, err := signal.Welch{Segment: 512, Window: w}.PSD(cosine(8192, 100, f, 2.5, 0.4), 100)
			if err != nil {
				t.Fatal(err)
			}
			a, err := s.LineAmplitude(f)
			if err != nil {
				t.Fatal(err)
			}
			// The mirror line at negative frequency leaks in: about 1/(80π) of the
			// amplitude for the rectangular window, far less for the others.
			near(t, w.String(), a, 2.5, 2.5*0.01)
		}
	}
}

// The result must not depend on how many cores there are nor on the order in
// which they work.
func TestPSDRepeats(t *testing.T) {
	x, err := signal.WhiteNoise(seeded(2), 100_000, 10, 1)
	if err != nil {
		t.Fatal(err)
	}
	w := signal.Welch{Segment: 256}
	first, err := w.PSD(x, 10)
	if err != nil {
		t.Fatal(err)
	}
	for range 5 {
		again, err := w.PSD(x, 10)
		if err != nil {
			t.Fatal(err)
		}
		for k := range first.PSD {
			if first.PSD[k] != again.PSD[k] {
				t.Fatalf("bin %d: %g and then %g", k, first.PSD[k], again.PSD[k])
			}
		}
	}
}

// Scaling the record by c scales a density by c²; scaling the rate by c divides
// it by c.
func TestPSDScales(t *testing.T) {
	x, err := signal.WhiteNoise(seeded(3), 4000, 10, 1)
	if err != nil {
		t.Fatal(err)
	}
	y := make([]float64, len(x))
	for i := range x {
		y[i] = -3 * x[i]
	}
	a := gravlab.Must(signal.Welch{Segment: 200}.PSD(x, 10))
	b := gravlab.Must(signal.Welch{Segment: 200}.PSD(y, 40))
	for k := 1; k < len(a.PSD); k++ {
		near(t, "scaled density", b.PSD[k], a.PSD[k]*9/4, 1e-12*b.PSD[k])
	}
}

// White noise of density S must come out at S, inside the limits that the
// degrees of freedom state, as often as they say.
func TestLimitsCover(t *testing.T) {
	const trials, segments, segment = 400, 15, 64
	n := segment/2*(segments-1) + segment
	inside, bins := 0, 0
	var sum float64
	for i := range trials {
		x, err := signal.WhiteNoise(seeded(uint64(100+i)), n, 20, 5)
		if err != nil {
			t.Fatal(err)
		}
		s, err := signal.Welch{Segment: segment}.PSD(x, 20)
		if err != nil {
			t.Fatal(err)
		}
		if s.Segments != segments {
			t.Fatalf("%d segments, want %d", s.Segments, segments)
		}
		lo, hi, err := s.Limits(0.9)
		if err != nil {
			t.Fatal(err)
		}
		for k := 4; k < segment/2-1; k += 4 { // four bins apart: independent
			sum += s.PSD[k]
			bins++
			if s.PSD[k]*lo <= 5 && 5 <= s.PSD[k]*hi {
				inside++
			}
		}
	}
	near(t, "mean density", sum/float64(bins), 5, 5*4*math.Sqrt(2/28.5/float64(bins)))
	// Four standard deviations of a binomial count.
	near(t, "share inside the 90 % limits", float64(inside)/float64(bins), 0.9, 4*math.Sqrt(0.09/float64(bins)))
}

// Two records with one common signal: coherence, transfer and self-noise as the
// mixture says.
func TestPairOfSensors(t *testing.T) {
	const n, rate = 400_000, 10
	common := gravlab.Must(signal.WhiteNoise(seeded(10), n, rate, 4))
	x := gravlab.Must(signal.WhiteNoise(seeded(11), n, rate, 1))
	y := gravlab.Must(signal.WhiteNoise(seeded(12), n, rate, 1))
	for i := range common {
		x[i] += common[i]
		y[i] += common[i]
	}
	p := gravlab.Must(signal.Welch{Segment: 256}.Pair(x, y, rate))
	want := gravlab.Must(signal.ExpectedCoherence(4, 1, 1))
	var c, own, h float64
	bins := 0.0
	for k := 2; k < len(p.Freq)-2; k++ {
		c += p.Coherence()[k]
		own += p.SelfNoise()[k]
		h += real(p.H1()[k])
		bins++
	}
	near(t, "mean coherence", c/bins, want, 0.003)
	near(t, "mean self-noise", own/bins, 1, 0.01)
	near(t, "mean H1, low by S/(S+N)", h/bins, 0.8, 0.003)
}

// Of records with nothing in common the coherence averages 1/K, and exceeds the
// threshold as often as it says.
func TestCoherenceOfNothing(t *testing.T) {
	const n, rate = 200_000, 1
	x := gravlab.Must(signal.WhiteNoise(seeded(20), n, rate, 1))
	y := gravlab.Must(signal.WhiteNoise(seeded(21), n, rate, 7))
	w := signal.Welch{Segment: 4096, Window: signal.Rectangular, Step: 4096}
	p := gravlab.Must(w.Pair(x, y, rate))
	limit := gravlab.Must(signal.CoherenceThreshold(p.Independent(), 0.05))
	sum, above, bins := 0.0, 0.0, 0.0
	for _, c := range p.Coherence()[1 : len(p.Freq)-1] {
		sum += c
		bins++
		if c > limit {
			above++
		}
	}
	k := p.Independent()
	near(t, "K", k, 48, 1e-9)
	near(t, "mean coherence times K", sum/bins*k, 1, 4/math.Sqrt(bins))
	near(t, "share above the threshold", above/bins, 0.05, 4*math.Sqrt(0.05*0.95/bins))
}

// A record compared with itself delayed by d samples: coherence 1, phase -2πfd.
func TestH1SignOfDelay(t *testing.T) {
	const n, rate, delay = 100_000, 8.0, 1
	x := gravlab.Must(signal.WhiteNoise(seeded(30), n+delay, rate, 1))
	p := gravlab.Must(signal.Welch{Segment: 1024}.Pair(x[delay:], x[:n], rate)) // y[i] = x[i-1]
	for _, k := range []int{50, 200, 400} {
		near(t, "phase", cmplx.Phase(p.H1()[k]), -2*math.Pi*p.Freq[k]*delay/rate, 0.02)
	}
}

func TestSizesFarApart(t *testing.T) {
	x := gravlab.Must(signal.WhiteNoise(seeded(31), 4096, 1, 1e18))
	y := make([]float64, len(x))
	for i := range x {
		y[i] = 1e-18 * x[i]
	}
	p := gravlab.Must(signal.Welch{Segment: 256}.Pair(x, y, 1))
	for _, c := range p.Coherence()[1:] {
		near(t, "coherence", c, 1, 1e-9)
	}
}

func TestGapsAreSkippedOrRefused(t *testing.T) {
	x := gravlab.Must(signal.WhiteNoise(seeded(40), 1000, 1, 1))
	x[500] = math.NaN()
	var bad *gravlab.ArgumentError
	if _, err := (signal.Welch{Segment: 100}).PSD(x, 1); !errors.As(err, &bad) || bad.Name != "x[500]" {
		t.Errorf("a gap gave %v, want an ArgumentError about x[500]", err)
	}
	s, err := signal.Welch{Segment: 100, SkipGaps: true}.PSD(x, 1)
	if err != nil {
		t.Fatal(err)
	}
	if s.Segments != 17 || s.LeftOut != 2 {
		t.Errorf("%d segments and %d left out, want 17 and 2", s.Segments, s.LeftOut)
	}
}

// Adding the lines up again from their parameters must give the record, also
// with several at once and with a large constant.
func TestLinesRecover(t *testing.T) {
	a, b := cosine(1000, 20, 0.317, 3e-9, 1.1), cosine(1000, 20, 0.634, 1e-9, -2.5)
	x := make([]float64, len(a))
	for i := range a {
		x[i] = a[i] + b[i] + 9.8e-6
	}
	l, err := signal.Lines(x, 20, 0.317, 0.634)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "amplitude 1", l[0].Amplitude, 3e-9, 1e-18)
	near(t, "phase 1", l[0].Phase, 1.1, 1e-9)
	near(t, "amplitude 2", l[1].Amplitude, 1e-9, 1e-18)
	near(t, "phase 2", l[1].Phase, -2.5, 1e-9)

	// The same at uneven times, every third sample missing.
	var tt, y []float64
	for i, v := range x {
		if i%3 != 0 {
			tt, y = append(tt, float64(i)/20), append(y, v)
		}
	}
	m, err := signal.LinesAt(tt, y, 0.317, 0.634)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "amplitude with gaps", m[0].Amplitude, 3e-9, 1e-18)
	near(t, "phase with gaps", m[1].Phase, -2.5, 1e-9)
}

// The stated uncertainty of an amplitude is its scatter over many records.
func TestLineUncertainty(t *testing.T) {
	const trials = 2000
	var sum, sumSq, u float64
	for i := range trials {
		x := gravlab.Must(signal.WhiteNoise(seeded(uint64(1000+i)), 200, 10, 0.02))
		for j, v := range cosine(200, 10, 0.71, 1, 0.3) {
			x[j] += v
		}
		l := gravlab.Must(signal.SineFit(x, 10, 0.71))
		sum += l.Amplitude
		sumSq += l.Amplitude * l.Amplitude
		u += l.UAmplitude / trials
	}
	scatter := math.Sqrt(sumSq/trials - sum*sum/trials/trials)
	near(t, "scatter over stated uncertainty", scatter/u, 1, 4/math.Sqrt(2*trials))
}

// What a reference sees through a filter is taken off; judged on data that the
// fit did not see. A plain fit of noise to noise must not seem to help there.
func TestSubtract(t *testing.T) {
	const n = 20_000
	ref := gravlab.Must(signal.WhiteNoise(seeded(50), n, 1, 2))
	own := gravlab.Must(signal.WhiteNoise(seeded(51), n, 1, 0.02))
	x := make([]float64, n)
	for i := range x {
		x[i] = own[i] + 5
		if i > 0 && i < n-1 {
			x[i] += 0.8*ref[i] - 0.3*ref[i-1] + 0.1*ref[i+1]
		}
	}
	s, err := signal.CancelReference(x, ref, 2, n/2)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0, 0.1, 0.8, -0.3, 0} {
		near(t, "tap", s.Taps[i], want, 0.005)
	}
	near(t, "constant", s.Constant, 5, 0.01)
	near(t, "what is left", s.JudgedAfter, 0.1, 0.003)
	if s.First != 2 || len(s.Residual) != n-4 {
		t.Errorf("residual begins at %d with %d values", s.First, len(s.Residual))
	}

	nothing, err := signal.CancelReference(own, ref, 40, 300)
	if err != nil {
		t.Fatal(err)
	}
	if !(nothing.FittedAfter < 0.95*nothing.FittedBefore && nothing.JudgedAfter > nothing.JudgedBefore) {
		t.Errorf("noise fitted to noise: %.3g to %.3g where fitted, %.3g to %.3g where judged; want a flattering fit and an honest judgement",
			nothing.FittedBefore, nothing.FittedAfter, nothing.JudgedBefore, nothing.JudgedAfter)
	}
}

func TestARWhitens(t *testing.T) {
	e := gravlab.Must(signal.WhiteNoise(seeded(60), 50_000, 2, 1))
	x := make([]float64, len(e))
	for i := range x {
		x[i] = e[i]
		if i > 1 {
			x[i] += 0.9*x[i-1] - 0.5*x[i-2]
		}
	}
	m, err := signal.FitAR(x, 4)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0.9, -0.5, 0, 0} {
		near(t, "coefficient", m.Coefficients[i], want, 4/math.Sqrt(50_000))
	}
	near(t, "variance", m.Variance, 1, 4*math.Sqrt(2.0/50_000))
	c := gravlab.Must(signal.Autocovariance(m.Whiten(x), 5))
	for k := 1; k <= 5; k++ {
		near(t, "correlation left", c[k]/c[0], 0, 5/math.Sqrt(50_000))
	}
}

// The filter's output is normal with standard deviation 1 in the noise that it
// was made for, and finds the amplitude it was given.
func TestMatched(t *testing.T) {
	const n, trials = 50, 4000
	h := cosine(n, 10, 0.8, 1, 0.2)
	cov := make([]float64, n)
	for k := range cov {
		cov[k] = 0.49 / (1 - 0.49) * math.Pow(0.7, float64(k)) // AR(1), e of variance 0.49
	}
	m, err := signal.NewMatchedFilter(h, cov)
	if err != nil {
		t.Fatal(err)
	}
	rng := seeded(70)
	var sum, sumSq float64
	for range trials {
		x := make([]float64, n)
		x[0] = math.Sqrt(cov[0]) * rng.NormFloat64()
		for i := 1; i < n; i++ {
			x[i] = 0.7*x[i-1] + 0.7*rng.NormFloat64()
		}
		z := gravlab.Must(m.Statistic(x))
		sum += z
		sumSq += z * z
	}
	near(t, "mean of the statistic", sum/trials, 0, 4/math.Sqrt(trials))
	near(t, "variance of the statistic", sumSq/trials, 1, 4*math.Sqrt(2.0/trials))
	a, u, err := m.Amplitude(h)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "amplitude", a, 1, 1e-12)
	near(t, "uncertainty", u, 1/m.SNR(), 1e-15)
	z := gravlab.Must(m.Slide(append(make([]float64, 30), append(h, make([]float64, 30)...)...)))
	best := 0
	for i := range z {
		if z[i] > z[best] {
			best = i
		}
	}
	if best != 30 || len(z) != 61 {
		t.Errorf("best place %d of %d, want 30 of 61", best, len(z))
	}
}

func TestThresholds(t *testing.T) {
	for _, p := range []float64{0.5, 0.3, 1e-3, 1e-9, 1e-30, 1e-200} {
		z := gravlab.Must(signal.Threshold(p, 1))
		near(t, "false alarm of the threshold, relative", gravlab.Must(signal.FalseAlarm(z, 1))/p, 1, 1e-10)
	}
	z := gravlab.Must(signal.Threshold(0.01, 1000))
	near(t, "with trials", gravlab.Must(signal.FalseAlarm(z, 1000)), 0.01, 1e-14)
	rho := gravlab.Must(signal.NeededSNR(1e-3, 0.9))
	near(t, "detection", gravlab.Must(signal.DetectionProbability(rho, gravlab.Must(signal.Threshold(1e-3, 1)))), 0.9, 1e-13)
	near(t, "no signal: only false alarms", gravlab.Must(signal.DetectionProbability(0, gravlab.Must(signal.Threshold(1e-6, 1))))/1e-6, 1, 1e-12)
	// Tables of the normal distribution have z(0.95) = 1.6449; Python's
	// statistics.NormalDist has 1.644853626951472.
	near(t, "95 % at 5 %", gravlab.Must(signal.NeededSNR(0.05, 0.95)), 2*1.6448536269514722, 1e-12)
	p1 := gravlab.Must(signal.FalseAlarm(2.3, 1))
	near(t, "20 trials", gravlab.Must(signal.FalseAlarm(2.3, 20)), 1-math.Pow(1-p1, 20), 1e-12)
	tiny := gravlab.Must(signal.FalseAlarm(8.75, 1))
	near(t, "tiny probabilities keep their digits", gravlab.Must(signal.FalseAlarm(8.75, 7))/tiny, 7, 1e-9)
	for name, call := range map[string]func() (float64, error){
		"negative ratio":           func() (float64, error) { return signal.DetectionProbability(-1, 2) },
		"false alarm of 0":         func() (float64, error) { return signal.Threshold(0, 1) },
		"false alarm not a number": func() (float64, error) { return signal.Threshold(math.NaN(), 3) },
		"no trials":                func() (float64, error) { return signal.FalseAlarm(2, 0) },
		"detection for certain":    func() (float64, error) { return signal.NeededSNR(0.1, 1) },
	} {
		if _, err := call(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// White noise averages down as 1/√τ, a drift goes up as aτ/√2.
func TestAllanLaws(t *testing.T) {
	x := gravlab.Must(signal.WhiteNoise(seeded(80), 1<<17, 4, 8))
	for _, p := range gravlab.Must(signal.AllanCurve(x, 4))[:10] {
		near(t, "white noise", p.Deviation, math.Sqrt(8/(2*p.Tau)), 4*p.U)
	}
	drift := make([]float64, 1000)
	for i := range drift {
		drift[i] = 3e-9*float64(i) + 9.8
	}
	near(t, "drift", gravlab.Must(signal.OverlappingAllan(drift, 100)), 3e-9*100/math.Sqrt2, 1e-15)
}

// Noise with a given spectrum has that spectrum, whatever its colour.
func TestNoiseHasItsSpectrum(t *testing.T) {
	const rate = 10.0
	for name, psd := range map[string]func(float64) float64{
		"white":     func(float64) float64 { return 3 },
		"pink":      func(f float64) float64 { return 0.2 / f },
		"resonance": func(f float64) float64 { return 1 / (math.Pow(1-f*f, 2) + 0.01*f*f) },
	} {
		x := gravlab.Must(signal.Noise(seeded(90), 400_000, rate, psd))
		s := gravlab.Must(signal.Welch{Segment: 4096}.PSD(x, rate))
		var ratio float64
		n := 0.0
		for k := 20; k < len(s.Freq)-2; k++ {
			ratio += s.PSD[k] / psd(s.Freq[k])
			n++
		}
		// Neighbouring Hann bins are correlated: about half as many count.
		near(t, name, ratio/n, 1, 4*math.Sqrt(2/s.DoF/(n/2)))
		again := gravlab.Must(signal.Noise(seeded(90), 400_000, rate, psd))
		if again[399_999] != x[399_999] || again[7] != x[7] {
			t.Errorf("%s: the same seed gave another record", name)
		}
	}
}

// Zero phase: a slow wave passes unshifted, a fast one is gone, and the response
// at the corner is a half.
func TestZeroPhase(t *testing.T) {
	f, err := signal.LowPass(4, 1, 20)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "one pass at the corner", cmplx.Abs(f.Response(1)), math.Sqrt(0.5), 1e-12)
	near(t, "one pass at zero", cmplx.Abs(f.Response(0)), 1, 1e-12)
	for _, c := range []struct{ freq, want float64 }{{0.1, 1}, {1, 0.5}, {4, math.Pow(cmplx.Abs(f.Response(4)), 2)}} {
		x := cosine(2000, 20, c.freq, 1, 0.7)
		y, edge, err := f.ZeroPhase(x)
		if err != nil {
			t.Fatal(err)
		}
		l := gravlab.Must(signal.SineFit(y[edge:len(y)-edge], 20, c.freq))
		ref := gravlab.Must(signal.SineFit(x[edge:len(x)-edge], 20, c.freq))
		near(t, "amplitude", l.Amplitude, c.want, 2e-4)
		if c.want > 0.1 { // of what is filtered out the ends are the larger part
			near(t, "phase", l.Phase, ref.Phase, 1e-3)
		}
	}
	band, err := signal.BandPass(2, 0.5, 3, 20)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "band pass at zero", cmplx.Abs(band.Response(0)), 0, 1e-12)
	constant := make([]float64, 200)
	for i := range constant {
		constant[i] = 4
	}
	y, _, err := f.ZeroPhase(constant)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range y {
		near(t, "constant through a low pass", v, 4, 1e-12)
	}
}

func TestClippedAndGaps(t *testing.T) {
	x := []float64{0, 1, 5, 5, 5, 2, math.NaN(), math.NaN(), -3, -3, -3, -3, 5, 5, 0}
	c := signal.Clipped(x)
	if len(c) != 2 || c[0] != (signal.Range{From: 2, To: 5}) || c[1] != (signal.Range{From: 8, To: 12}) {
		t.Errorf("clipped %v, want samples 2 to 4 and 8 to 11", c)
	}
	g := signal.Gaps(signal.Mask(x, c, 1))
	if len(g) != 1 || g[0] != (signal.Range{From: 1, To: 13}) {
		t.Errorf("gaps %v, want one from 1 to 12", g)
	}
	y, err := signal.Regularise([]float64{10, 10.1, 10.302}, []float64{1, 2, 3}, 10)
	if err != nil || len(y) != 4 || y[3] != 3 || !math.IsNaN(y[2]) {
		t.Errorf("grid %v, %v", y, err)
	}
	if _, err := signal.Regularise([]float64{10, 10.1, 10.35}, []float64{1, 2, 3}, 10); err == nil {
		t.Error("a time between the places of the grid was accepted")
	}
}

// A ringing machine whose start times are known comes out of noise far above it,
// at its frequency and with its quality.
func TestStackFindsAResonance(t *testing.T) {
	const rate, f0, q = 20.0, 1.3, 15.0
	rng := seeded(110)
	x := gravlab.Must(signal.WhiteNoise(rng, 400_000, rate, 0.1)) // standard deviation 1
	var starts []float64
	for s := 40.0; s < 19900; s += 60 + 20*rng.Float64() {
		first := int(math.Round(s * rate))
		starts = append(starts, float64(first)/rate)
		for i := 0; i < 600; i++ {
			tt := float64(i) / rate
			x[first+i] += 0.5 * math.Exp(-math.Pi*f0/q*tt) * math.Sin(2*math.Pi*f0*tt)
		}
	}
	s, err := signal.StackAt(x, rate, starts, 30)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "uncertainty of the stack", s.U[300], 1/math.Sqrt(float64(s.Count)), 0.2/math.Sqrt(float64(s.Count)))
	padded := append(s.Mean, make([]float64, 4096-len(s.Mean))...)
	p := gravlab.Must(signal.Welch{Segment: 4096, Window: signal.Rectangular, Detrend: signal.RemoveNothing}.PSD(padded, rate))
	f, quality, err := signal.Resonance(p.Freq[100:500], p.PSD[100:500])
	if err != nil {
		t.Fatal(err)
	}
	near(t, "frequency", f, f0, 0.01)
	near(t, "quality", quality, q, 2)
}

// A Lorentzian has the width that it was given.
func TestResonanceReads(t *testing.T) {
	var f, p []float64
	for x := 0.5; x < 1.5; x += 0.001 {
		f = append(f, x)
		p = append(p, 7/(1+math.Pow((x-1.0003)/0.01, 2)))
	}
	f0, q, err := signal.Resonance(f, p)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "place", f0, 1.0003, 1e-5)
	near(t, "quality", q, 1.0003/0.02, 0.1)
}

// The rules of Gauss and Kronrod are exact for powers up to their degree.
func TestBandRMS(t *testing.T) {
	for _, c := range []struct {
		psd    func(float64) float64
		f1, f2 float64
		want   float64
	}{
		{func(float64) float64 { return 4 }, 2, 11, 36},
		{func(f float64) float64 { return 1 / f }, 1e-3, 1, math.Log(1000)},
		{func(f float64) float64 { return 1 / (1 + f*f) }, 1e-6, 1e6, math.Atan(1e6) - math.Atan(1e-6)},
		{func(f float64) float64 { return 1 / (math.Pow(f-2, 2) + 1e-6) }, 1, 3, 2e3 * math.Atan(1e3)},
	} {
		r, e, err := signal.BandRMS(c.psd, c.f1, c.f2)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "integral", r*r, c.want, 1e-9*c.want)
		if e > 1e-9*r {
			t.Errorf("error estimate %g of %g", e, r)
		}
	}
}

func TestSelfNoiseShareIsTheLimit(t *testing.T) {
	// For equal noise the share is N/(S+N): from the expected coherence back to it.
	for _, n := range []float64{1e-6, 0.1, 1, 20} {
		g := gravlab.Must(signal.ExpectedCoherence(1, n, n))
		near(t, "share", gravlab.Must(signal.SelfNoiseFraction(g)), n/(1+n), 1e-10)
	}
}

// The largest of the amplitudes of noise alone passes the threshold as often as asked.
func TestAmplitudeThreshold(t *testing.T) {
	const n, runs, sigma, falseAlarm, trials = 64, 4000, 1.7, 0.1, 31
	threshold, err := signal.AmplitudeThreshold(sigma, n, falseAlarm, trials)
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(3, 14))
	var cos, sin [n]float64
	for i := range n {
		sin[i], cos[i] = math.Sincos(2 * math.Pi * float64(i) / n)
	}
	above := 0
	for range runs {
		var x [n]float64
		for i := range x {
			x[i] = sigma * random.NormFloat64()
		}
		most := 0.0
		for k := 1; k <= trials; k++ {
			c, s := 0.0, 0.0
			for i, v := range x {
				c, s = c+v*cos[i*k%n]*2/n, s+v*sin[i*k%n]*2/n
			}
			most = max(most, math.Hypot(c, s))
		}
		if most > threshold {
			above++
		}
	}
	// Binomial: 4,000 at 0.1 scatter by 19.
	if math.Abs(float64(above)-falseAlarm*runs) > 3*math.Sqrt(runs*falseAlarm*(1-falseAlarm)) {
		t.Errorf("%d of %d records of noise pass the threshold, want about %g", above, runs, falseAlarm*runs)
	}
	for _, bad := range [][2]float64{{-1, 0.1}, {1, 0}, {1, 1}} {
		if _, err := signal.AmplitudeThreshold(bad[0], n, bad[1], trials); err == nil {
			t.Errorf("%v has no error", bad)
		}
	}
}
