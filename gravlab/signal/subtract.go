package signal

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Cancellation is a record from which the part that a reference also saw was subtracted.
type Cancellation struct {
	// Residual is the record less the constant and the filtered reference.
	// Residual[i] belongs to sample First+i of the record: the filter reaches
	// Lags samples to both sides, so the ends have no value.
	Residual []float64
	First    int
	// Taps are the factors on the reference from Lags samples later to Lags
	// samples earlier; Taps[Lags] belongs to the same moment.
	Taps     []float64
	Constant float64 // unit of the record
	// Scatter (rms about the mean, unit of the record) before and after, on the
	// part that was fitted and on the part that was not. Only the last two are a
	// fair judgement: on its own data a fit always looks good.
	FittedBefore, FittedAfter float64
	JudgedBefore, JudgedAfter float64
}

// CancelReference fits record[n] = c + Σ h[j] reference[n-j], j from -lags to lags, by
// least squares to the samples before split, subtracts the result from the
// whole record, and judges it on the samples from split on, which the fit never saw.
// lags = 0 is a plain factor; lags·step should cover the difference in delay and
// in response of the two sensors. The filter is a measured transfer function in
// the time domain; noise of the reference's own makes it too small, as it does
// H1. Both parts must hold several times as many samples as the filter has taps.
func CancelReference(record, reference []float64, lags, split int) (Cancellation, error) {
	const fn = "signal.CancelReference"
	n := len(record)
	if err := arg.SameLength(fn, "record", n, "reference", len(reference)); err != nil {
		return Cancellation{}, err
	}
	if lags < 0 || lags > 2000 {
		return Cancellation{}, arg.Bad(fn, "lags", lags, "0 to 2000 samples")
	}
	taps := 2*lags + 1
	if split < lags+2*(taps+1) || split > n-lags-2 {
		return Cancellation{}, arg.Bad(fn, "split", split, fmt.Sprintf("a sample from %d to %d, so that both parts can be used with %d taps (the record has %d samples)", lags+2*(taps+1), n-lags-2, taps, n))
	}
	if err := checkRecord(fn, "record", record); err != nil {
		return Cancellation{}, err
	}
	if err := checkRecord(fn, "reference", reference); err != nil {
		return Cancellation{}, err
	}
	out, failed := cancelRoutine(record, reference, make([]float64, lags), make([]float64, split))
	if failed != "" {
		return Cancellation{}, arg.Bad(fn, "lags", lags, "fewer lags, or a reference that varies: neighbouring samples of this one follow from each other")
	}
	s := Cancellation{Residual: out[0], First: lags, Taps: out[1], Constant: out[2][0]}
	x, lo, hi := out[3], lags, split
	s.FittedBefore, s.FittedAfter = rms(x[lo:hi]), rms(s.Residual[:hi-lags])
	s.JudgedBefore, s.JudgedAfter = rms(x[hi:n-lags]), rms(s.Residual[hi-lags:])
	return s, nil
}

// An AR is a noise model in which each sample is a sum of the ones before it and
// something new: x[n] = Σ a[j] x[n-j] + e[n]. Its inverse turns coloured noise
// into white noise.
type AR struct {
	Coefficients []float64 // a[1], a[2], ...
	Variance     float64   // of e, unit²
}

// FitAR fits an autoregression of the given order to x by the Yule–Walker
// equations (Levinson's recursion). The mean is removed. The order should be
// small against the length (a tenth at most); it decides how fine a structure of
// the spectrum is followed, about rate/order.
func FitAR(x []float64, order int) (AR, error) {
	const fn = "signal.FitAR"
	if order < 0 || order > 5000 {
		return AR{}, arg.Bad(fn, "order", order, "0 to 5000")
	}
	if err := arg.AtLeast(fn, "x", len(x), max(10*order, 2)); err != nil {
		return AR{}, err
	}
	c, err := Autocovariance(x, order)
	if err != nil {
		return AR{}, err
	}
	if !(c[0] > 0) {
		return AR{}, arg.Bad(fn, "x", "constant", "a record that varies")
	}
	a := make([]float64, 0, order)
	next := make([]float64, order)
	e := c[0]
	for k := 1; k <= order; k++ {
		s := c[k]
		for j, v := range a {
			s -= v * c[k-1-j]
		}
		reflection := s / e
		if !(math.Abs(reflection) < 1) { // a pure line: nothing new ever comes
			break
		}
		for j, v := range a {
			next[j] = v - reflection*a[len(a)-1-j]
		}
		next[len(a)] = reflection
		a = append(a[:0], next[:k]...)
		e *= 1 - reflection*reflection
	}
	return AR{Coefficients: a, Variance: e}, nil
}

// Whiten returns e[n] = x[n] - Σ a[j] x[n-j] for n from the order on: shorter
// than x by the number of coefficients, nil when x is no longer than that. The
// mean of x is left in it (times 1 - Σa).
func (m AR) Whiten(x []float64) []float64 {
	p := len(m.Coefficients)
	if len(x) <= p {
		return nil
	}
	e := make([]float64, len(x)-p)
	for i := range e {
		v := x[i+p]
		for j, a := range m.Coefficients {
			v -= a * x[i+p-1-j]
		}
		e[i] = v
	}
	return e
}

// Autocovariance returns the covariance of x with itself 0 to lags samples
// later, the sums divided by the full length (biased low at long lags, but a
// possible covariance). The mean is removed first. Missing samples are refused.
func Autocovariance(x []float64, lags int) ([]float64, error) {
	const fn = "signal.Autocovariance"
	if err := arg.AtLeast(fn, "x", len(x), 2); err != nil {
		return nil, err
	}
	if lags < 0 || lags >= len(x) {
		return nil, arg.Bad(fn, "lags", lags, fmt.Sprintf("0 to %d samples, less than the record has", len(x)-1))
	}
	if err := checkRecord(fn, "x", x); err != nil {
		return nil, err
	}
	m := mean(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = v - m
	}
	c := make([]float64, lags+1)
	for k := range c {
		var s float64
		for i := k; i < len(d); i++ {
			s += d[i] * d[i-k]
		}
		c[k] = s / float64(len(d))
	}
	return c, nil
}
