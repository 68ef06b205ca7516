package signal

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A MatchedFilter looks for a known shape in Gaussian noise of known covariance.
type MatchedFilter struct {
	weights []float64 // C⁻¹h / SNR: the statistic is their sum with the record
	snr     float64
}

// NewMatchedFilter makes the matched filter for a template h in noise whose
// covariance at lag k is autocovariance[k] (zero beyond its end: a single value
// is white noise of that variance). The template has the unit of the record.
// Time goes as the square of the template's length.
func NewMatchedFilter(template, autocovariance []float64) (MatchedFilter, error) {
	const fn = "signal.NewMatchedFilter"
	if err := arg.AtLeast(fn, "template", len(template), 1); err != nil {
		return MatchedFilter{}, err
	}
	if err := arg.AtLeast(fn, "autocovariance", len(autocovariance), 1); err != nil {
		return MatchedFilter{}, err
	}
	if err := checkRecord(fn, "template", template); err != nil {
		return MatchedFilter{}, err
	}
	if err := checkRecord(fn, "autocovariance", autocovariance); err != nil {
		return MatchedFilter{}, err
	}
	if !(autocovariance[0] > 0) {
		return MatchedFilter{}, arg.Bad(fn, "autocovariance[0]", autocovariance[0], "a positive variance")
	}
	w, ok := toeplitz(autocovariance, template)
	if !ok {
		return MatchedFilter{}, arg.Bad(fn, "autocovariance", "impossible", "the covariance of some noise: positive definite (Autocovariance gives one)")
	}
	var sum float64
	for i, h := range template {
		sum += w[i] * h
	}
	if !(sum > 0) || math.IsInf(sum, 1) {
		return MatchedFilter{}, arg.Bad(fn, "template", "empty or beyond float64", "a shape that differs from zero, not more than 1e100 times the noise")
	}
	snr := math.Sqrt(sum)
	for i := range w {
		w[i] /= snr
	}
	return MatchedFilter{weights: w, snr: snr}, nil
}

// toeplitz solves C·x = b with C[i][j] = c[|i-j|] by Levinson's recursion.
func toeplitz(c, b []float64) (x []float64, ok bool) {
	at := func(k int) float64 {
		if k < len(c) {
			return c[k] / c[0]
		}
		return 0
	}
	n := len(b)
	x = make([]float64, 0, n)
	a := make([]float64, 0, n) // predictor: x[k] from the ones before it
	next := make([]float64, n)
	e := 1.0
	for k := range n {
		if k > 0 {
			s := at(k)
			for j, v := range a {
				s -= v * at(k-1-j)
			}
			reflection := s / e
			for j, v := range a {
				next[j] = v - reflection*a[len(a)-1-j]
			}
			next[len(a)] = reflection
			a = append(a[:0], next[:k]...)
			e *= 1 - reflection*reflection
			if !(e > 0) {
				return nil, false
			}
		}
		s := b[k] / c[0]
		for j, v := range x {
			s -= v * at(k-j)
		}
		step := s / e
		for j := range x {
			x[j] -= step * a[k-1-j]
		}
		x = append(x, step)
	}
	return x, true
}

// SNR returns the signal-to-noise ratio √(hᵀC⁻¹h) of the template itself: the
// mean of Statistic when it is present once, in units of its standard deviation.
func (m MatchedFilter) SNR() float64 { return m.snr }

// Statistic returns the matched filter's output for a stretch of record as long
// as the template: normal with standard deviation 1 under noise alone, and with
// mean A·SNR() when A times the template is present.
func (m MatchedFilter) Statistic(x []float64) (float64, error) {
	const fn = "signal.MatchedFilter.Statistic"
	if len(m.weights) == 0 {
		return 0, arg.Bad(fn, "m", "empty", "a filter made by NewMatchedFilter")
	}
	if err := arg.SameLength(fn, "template", len(m.weights), "x", len(x)); err != nil {
		return 0, err
	}
	if err := checkRecord(fn, "x", x); err != nil {
		return 0, err
	}
	return m.at(x), nil
}

func (m MatchedFilter) at(x []float64) float64 {
	var s float64
	for i, w := range m.weights {
		s += w * x[i]
	}
	return s
}

// Amplitude returns the factor on the template that fits x best, and its
// standard uncertainty 1/SNR().
func (m MatchedFilter) Amplitude(x []float64) (a, u float64, err error) {
	z, err := m.Statistic(x)
	if err != nil {
		return 0, 0, err
	}
	return z / m.snr, 1 / m.snr, nil
}

// Slide returns the statistic with the template beginning at each sample of x
// where it fits: len(x) - len(template) + 1 values. A place whose stretch holds
// a missing sample (NaN) is NaN. Each place is a trial: see Threshold.
func (m MatchedFilter) Slide(x []float64) ([]float64, error) {
	const fn = "signal.MatchedFilter.Slide"
	if len(m.weights) == 0 {
		return nil, arg.Bad(fn, "m", "empty", "a filter made by NewMatchedFilter")
	}
	if err := arg.AtLeast(fn, "x", len(x), len(m.weights)); err != nil {
		return nil, err
	}
	for i, v := range x {
		if !math.IsNaN(v) && !(math.Abs(v) <= largest) {
			return nil, arg.Bad(fn, fmt.Sprintf("x[%d]", i), v, "a number below 1e100 in size, or NaN for a missing sample")
		}
	}
	z := make([]float64, len(x)-len(m.weights)+1)
	for i := range z {
		z[i] = m.at(x[i:])
	}
	return z, nil
}

// WhiteSNR returns the signal-to-noise ratio of a template, sampled rate times per
// second, in white noise of one-sided density psd (unit²/Hz): the root of
// 2/S ∫h²dt, the integral taken as a sum over the samples.
func WhiteSNR(template []float64, rate, psd float64) (float64, error) {
	const fn = "signal.WhiteSNR"
	if err := arg.AtLeast(fn, "template", len(template), 1); err != nil {
		return 0, err
	}
	if err := checkRecord(fn, "template", template); err != nil {
		return 0, err
	}
	if err := checkRate(fn, rate); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "psd", psd, "density in unit²/Hz"); err != nil {
		return 0, err
	}
	var s float64
	for _, h := range template {
		s += h * h
	}
	return math.Sqrt(2*s/rate) / math.Sqrt(psd), nil
}

// Threshold returns what Statistic must exceed so that noise alone does so in
// any of the trials with probability falseAlarm in all: one-sided (the sign of
// the signal is known), independent Gaussian trials, 1-(1-p)^trials = falseAlarm.
// Neighbouring places of Slide are not independent; counting each as a trial is
// safe, that is, the threshold is rather too high.
func Threshold(falseAlarm float64, trials int) (float64, error) {
	const fn = "signal.Threshold"
	p, err := eachTrial(fn, falseAlarm, trials)
	if err != nil {
		return 0, err
	}
	return upperNormal(p), nil
}

// eachTrial is the probability that each of some independent trials may have for one of
// them to come out with probability falseAlarm.
func eachTrial(fn string, falseAlarm float64, trials int) (float64, error) {
	if !(falseAlarm > 0 && falseAlarm < 1) {
		return 0, arg.Bad(fn, "falseAlarm", falseAlarm, "a probability between 0 and 1")
	}
	if trials < 1 {
		return 0, arg.Bad(fn, "trials", trials, "at least one trial")
	}
	p := -math.Expm1(math.Log1p(-falseAlarm) / float64(trials))
	if p == 0 {
		return 0, arg.Bad(fn, "falseAlarm", falseAlarm, "a probability above 1e-300 for each trial")
	}
	return p, nil
}

// AmplitudeThreshold returns the amplitude that a sine fitted to noise alone exceeds,
// at any of the trials' frequencies, with probability falseAlarm in all. Its phase is
// unknown, so cosine and sine are fitted: with n readings of white noise of standard
// deviation sigma each has the variance 2 sigma²/n, and the amplitude a is exceeded with
// probability exp(-n a²/(4 sigma²)) (J. D. Scargle, Astrophys. J. 263 (1982) 835,
// section III, from memory). The frequencies are independent, whole numbers of periods
// in the record and not 0 or half the rate. The unit is that of sigma.
func AmplitudeThreshold(sigma float64, n int, falseAlarm float64, trials int) (float64, error) {
	const fn = "signal.AmplitudeThreshold"
	if err := arg.NonNegative(fn, "sigma", sigma, "standard deviation of a reading"); err != nil {
		return 0, err
	}
	if n < 3 {
		return 0, arg.Bad(fn, "n", n, "at least 3 readings")
	}
	p, err := eachTrial(fn, falseAlarm, trials)
	if err != nil {
		return 0, err
	}
	return 2 * sigma * math.Sqrt(-math.Log(p)/float64(n)), nil
}

// upperNormal is the value that a standard normal exceeds with probability p.
// math.Erfcinv works with 1-2p, which keeps few digits of a small p; Newton's
// method on ln p puts them right.
func upperNormal(p float64) float64 {
	if p > 0.5 {
		return -upperNormal(1 - p)
	}
	z := math.Sqrt(-2 * math.Log(p)) // good enough in the far tail
	if p > 1e-10 {
		z = math.Sqrt2 * math.Erfcinv(2*p)
	}
	for range 8 {
		q := math.Erfc(z/math.Sqrt2) / 2
		density := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
		if !(q > 0) || !(density > 0) {
			break
		}
		z += math.Log(q/p) * q / density
	}
	return z
}

// FalseAlarm returns the probability that noise alone exceeds z in any of the
// trials: the trials factor done exactly, 1-(1-p)^trials and not trials·p.
func FalseAlarm(z float64, trials int) (float64, error) {
	const fn = "signal.FalseAlarm"
	if math.IsNaN(z) {
		return 0, arg.Bad(fn, "z", z, "a number")
	}
	if trials < 1 {
		return 0, arg.Bad(fn, "trials", trials, "at least one trial")
	}
	p := math.Erfc(z/math.Sqrt2) / 2
	return -math.Expm1(float64(trials) * math.Log1p(-p)), nil
}

// DetectionProbability returns how often a signal of ratio snr passes a
// threshold: 1 - Φ(threshold - snr).
func DetectionProbability(snr, threshold float64) (float64, error) {
	const fn = "signal.DetectionProbability"
	if err := arg.NonNegative(fn, "snr", snr, "signal-to-noise ratio"); err != nil {
		return 0, err
	}
	if err := arg.Finite(fn, "threshold", threshold, "threshold in standard deviations"); err != nil {
		return 0, err
	}
	return math.Erfc((threshold-snr)/math.Sqrt2) / 2, nil
}

// NeededSNR returns the signal-to-noise ratio at which one trial with false-alarm
// probability falseAlarm finds the signal with probability detection (one-sided
// Gaussian test, known shape and phase).
func NeededSNR(falseAlarm, detection float64) (float64, error) {
	const fn = "signal.NeededSNR"
	if !(falseAlarm > 1e-300 && falseAlarm < 1) {
		return 0, arg.Bad(fn, "falseAlarm", falseAlarm, "a probability between 1e-300 and 1")
	}
	if !(detection > 1e-300 && detection < 1) {
		return 0, arg.Bad(fn, "detection", detection, "a probability between 1e-300 and 1")
	}
	return upperNormal(falseAlarm) - upperNormal(detection), nil
}
