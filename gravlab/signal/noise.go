package signal

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gravity.example/gravlab/internal/arg"
)

// WhiteNoise returns n samples of Gaussian noise whose one-sided density is psd
// (unit²/Hz) from 0 to half the rate: standard deviation √(psd·rate/2).
// rng must not be nil.
func WhiteNoise(rng *rand.Rand, n int, rate, psd float64) ([]float64, error) {
	const fn = "signal.WhiteNoise"
	if err := checkLength(fn, n); err != nil {
		return nil, err
	}
	if err := checkRate(fn, rate); err != nil {
		return nil, err
	}
	if err := arg.NonNegative(fn, "psd", psd, "density in unit²/Hz"); err != nil {
		return nil, err
	}
	sigma := math.Sqrt(float64(psd*rate) / 2)
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(sigma * rng.NormFloat64())
	}
	return x, nil
}

func checkLength(fn string, n int) error {
	if n < 1 || n > 1<<27 {
		return arg.Bad(fn, "n", n, "1 to 2^27 samples")
	}
	return nil
}

// Noise returns n samples of Gaussian noise with a given one-sided density
// (unit²/Hz), a function of frequency (Hz) that is asked from rate/M up to half
// the rate, M being the power of two next above twice n. It must be zero or
// positive there; its value at 0 is never asked, so h/f is allowed.
//
// A random amplitude and phase is drawn for each frequency and transformed to
// time over M samples, of which the first n are returned: the end of the record
// has nothing to do with its beginning. Noise slower than rate/M is not in it,
// which for steep spectra (random walk) leaves out the slowest wandering. rng
// and psd must not be nil.
func Noise(rng *rand.Rand, n int, rate float64, psd func(f float64) float64) ([]float64, error) {
	const fn = "signal.Noise"
	if err := checkLength(fn, n); err != nil {
		return nil, err
	}
	if err := checkRate(fn, rate); err != nil {
		return nil, err
	}
	m := 4
	for m < 2*n {
		m *= 2
	}
	c := make([]complex128, m/2+1)
	for k := 1; k <= m/2; k++ {
		f := float64(k) * rate / float64(m)
		s := psd(f)
		if !(s >= 0 && s <= largest*largest) {
			return nil, arg.Bad(fn, fmt.Sprintf("psd(%g Hz)", f), s, "a finite density, zero or more, in unit²/Hz")
		}
		// The variance of the bin, s·rate/m, is shared by real and imaginary part
		// of a pair of twins; the bin at half the rate has half of it and no twin.
		a := math.Sqrt(float64(s*rate) / float64(m) / 4)
		re, im := rng.NormFloat64(), rng.NormFloat64()
		if k == m/2 {
			a *= math.Sqrt2
			im = 0
		}
		c[k] = complex(float64(a*re), float64(a*im))
	}
	out, _ := sequenceRoutine(parts(c))
	return out[0][:n:n], nil
}
