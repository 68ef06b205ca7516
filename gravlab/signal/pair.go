package signal

import (
	"math"
	"math/cmplx"

	"gravity.example/gravlab/internal/arg"
)

// A Pair holds the averaged spectra of two records taken side by side.
type Pair struct {
	Freq     []float64    // Hz
	PXX, PYY []float64    // one-sided densities of x and y, unit²/Hz
	PXY      []complex128 // one-sided cross density, mean of conj(X)·Y
	Segments int          // segments averaged
	LeftOut  int          // segments left out because of gaps
	DOF      float64      // equivalent degrees of freedom of a density
}

// Pair returns the spectra of x and y and their cross density. Both records
// must be as long and taken at the same times: a clock that is late by dt turns
// the phase of H1 by -2πf·dt and, when dt is not small against a segment,
// lowers the coherence.
func (w Welch) Pair(x, y []float64, rate float64) (Pair, error) { return pair(records{w, x, y, rate}) }

// records are cut, tapered and averaged.
type records struct {
	Welch Welch
	X, Y  []float64
	Rate  float64
}

func (in records) pair() (Pair, error) {
	w, x, y, rate := in.Welch, in.X, in.Y, in.Rate
	const fn = "signal.Welch.Pair"
	if err := arg.SameLength(fn, "x", len(x), "y", len(y)); err != nil {
		return Pair{}, err
	}
	p, err := w.plan(fn, rate, x, y)
	if err != nil {
		return Pair{}, err
	}
	n := p.Segment
	half := n/2 + 1
	// One complex transform serves both records. y is first brought to the size
	// of x (by a power of two, which is exact), so that rounding in the larger
	// does not drown the smaller.
	scale := sizeRatio(x, y)
	sums := p.each(4*half, func(fft *transform, z []complex128, segments []int, sum []float64) {
		xx, yy, re, im := sum[:half], sum[half:2*half], sum[2*half:3*half], sum[3*half:]
		for _, s := range segments {
			p.fillReal(z, x[s:s+n])
			p.fillImag(z, y[s:s+n], scale)
			fft.forward(z)
			for k := range half {
				a, b := z[k], cmplx.Conj(z[(n-k)%n])
				fx := 0.5 * (a + b)
				d := 0.5 * (a - b)
				fy := complex(imag(d), -real(d)) // d/i
				xx[k] += abs2(fx)
				yy[k] += abs2(fy)
				c := cmplx.Conj(fx) * fy
				re[k] += real(c)
				im[k] += imag(c)
			}
		}
	})
	s := p.spectrum(rate)
	q := Pair{
		Freq: s.Freq, PXX: sums[:half:half], PYY: sums[half : 2*half : 2*half], PXY: make([]complex128, half),
		Segments: s.Segments, LeftOut: s.LeftOut, DOF: s.DoF,
	}
	unit := 2 / (rate * p.sumSq * float64(len(p.starts)))
	for k := range half {
		u := unit
		if k == 0 || (n%2 == 0 && k == half-1) {
			u /= 2
		}
		q.PXX[k] *= u
		q.PYY[k] *= u / (scale * scale)
		q.PXY[k] = complex(sums[2*half+k]*u/scale, sums[3*half+k]*u/scale)
	}
	return q, nil
}

// sizeRatio is the power of two nearest to the size of x over that of y.
func sizeRatio(x, y []float64) float64 {
	a, b := spread(x), spread(y)
	if !(a > 0) || !(b > 0) {
		return 1
	}
	_, e := math.Frexp(a / b)
	return math.Ldexp(1, max(min(e, 300), -300))
}

// spread is the largest step between neighbours: the size of what varies.
func spread(x []float64) float64 {
	var s float64
	for i := 1; i < len(x); i++ {
		if d := math.Abs(x[i] - x[i-1]); d > s { // NaN never is
			s = d
		}
	}
	return s
}

// Coherence returns the magnitude-squared coherence |Pxy|²/(Pxx Pyy) of each
// bin, from 0 to 1. Of records that have nothing in common it is not 0 but
// about 1/K, where K = Independent() is the number of independent averages.
// One average alone gives 1 whatever the records. A bin without power is NaN.
func (p Pair) Coherence() []float64 {
	c := make([]float64, len(p.Freq))
	for k := range c {
		a, r := p.amplitudes(k)
		c[k] = r / a * (r / a)
	}
	return c
}

// amplitudes returns √(Pxx Pyy) and |Pxy| of bin k; roots are taken first, so
// that small densities do not underflow.
func (p Pair) amplitudes(k int) (both, cross float64) {
	if k >= len(p.PXX) || k >= len(p.PYY) || k >= len(p.PXY) {
		return math.NaN(), math.NaN()
	}
	both = math.Sqrt(p.PXX[k]) * math.Sqrt(p.PYY[k])
	if both == 0 {
		return math.NaN(), math.NaN()
	}
	return both, cmplx.Abs(p.PXY[k])
}

// H1 returns the transfer function from x to y, Pxy/Pxx, for exp(+iωt). It is
// not biased by noise in y; noise in x makes it too small by Sx/(Sx+Nx). A bin
// without power is NaN.
func (p Pair) H1() []complex128 {
	h := make([]complex128, len(p.Freq))
	for k := range h {
		h[k] = cmplx.NaN()
		if k < len(p.PXX) && k < len(p.PXY) && p.PXX[k] > 0 {
			h[k] = p.PXY[k] / complex(p.PXX[k], 0)
		}
	}
	return h
}

// Independent returns the number of independent averages behind the coherence,
// half the degrees of freedom.
func (p Pair) Independent() float64 { return p.DOF / 2 }

// SelfNoise returns the density of the own noise of each of two like sensors,
// √(Pxx Pyy)·(1-γ) with γ = √coherence, in unit²/Hz. (Not 1-γ²: that counts
// both sensors, about twice as much.) It holds when both have the same transfer
// function, equal noise and exact alignment: 1 mrad of misalignment leaves 1e-3
// of the signal's amplitude in it. Where γ² is not well above 1/K the answer is
// biased low.
func (p Pair) SelfNoise() []float64 {
	s := make([]float64, len(p.Freq))
	for k := range s {
		both, cross := p.amplitudes(k)
		s[k] = math.Max(both-cross, 0)
		if math.IsNaN(both) {
			s[k] = math.NaN()
		}
	}
	return s
}

// SelfNoiseFraction returns the own noise of a sensor as a fraction of its power, for
// two like sensors whose magnitude-squared coherence is gamma2: 1 - √gamma2.
func SelfNoiseFraction(gamma2 float64) (float64, error) {
	if err := arg.Between("signal.SelfNoiseFraction", "gamma2", gamma2, 0, 1, "magnitude-squared coherence"); err != nil {
		return 0, err
	}
	// (1-γ²)/(1+γ) keeps the digits of a coherence close to 1.
	return (1 - gamma2) / (1 + math.Sqrt(gamma2)), nil
}

// ExpectedCoherence returns the magnitude-squared coherence of two sensors that
// see a common signal of density s and have independent noise n1 and n2 (all in
// the same unit²/Hz): s²/((s+n1)(s+n2)).
func ExpectedCoherence(s, n1, n2 float64) (float64, error) {
	const fn = "signal.ExpectedCoherence"
	for _, a := range []struct {
		name string
		v    float64
	}{{"s", s}, {"n1", n1}, {"n2", n2}} {
		if err := arg.NonNegative(fn, a.name, a.v, "density in unit²/Hz"); err != nil {
			return 0, err
		}
	}
	if s == 0 {
		if n1 == 0 || n2 == 0 {
			return 0, arg.Bad(fn, "s", s, "a positive density when a sensor has no noise")
		}
		return 0, nil
	}
	return 1 / ((1 + n1/s) * (1 + n2/s)), nil
}

// CoherenceThreshold returns the magnitude-squared coherence that two unrelated
// Gaussian records exceed in one bin with probability p, after k independent
// averages: 1 - p^(1/(k-1)). Ask for p divided by the number of bins looked at.
func CoherenceThreshold(k, p float64) (float64, error) {
	const fn = "signal.CoherenceThreshold"
	if !(k > 1) || math.IsInf(k, 1) {
		return 0, arg.Bad(fn, "k", k, "more than one average")
	}
	if !(p > 0 && p < 1) {
		return 0, arg.Bad(fn, "p", p, "a probability between 0 and 1")
	}
	return -math.Expm1(math.Log(p) / (k - 1)), nil
}
