package sensor

import (
	"math"

	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/signal"
)

// AllanPowerLaw returns the Allan deviation, after averaging for tau (s), of
// noise whose one-sided power density is h·f^exponent:
//
//	exponent  0   white        √(h/(2τ))
//	exponent -1   flicker      √(2 ln 2 · h)
//	exponent -2   random walk  √(2π² h τ/3)
//
// h has the unit (m/s²)² Hz^(-1-exponent). Other exponents are refused.
// (IEEE Std 1139, from memory.)
func AllanPowerLaw(h float64, exponent int, tau float64) (float64, error) {
	const fn = "sensor.AllanPowerLaw"
	if err := arg.NonNegative(fn, "h", h, "power density at 1 Hz"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "tau", tau, "time in s"); err != nil {
		return 0, err
	}
	switch exponent {
	case 0:
		return math.Sqrt(h / (2 * tau)), nil
	case -1:
		return math.Sqrt(2 * math.Ln2 * h), nil
	case -2:
		return math.Pi * math.Sqrt(2*h*tau/3), nil
	}
	return 0, arg.Bad(fn, "exponent", exponent, "0 (white), -1 (flicker) or -2 (random walk)")
}

// AllanDeviation returns the Allan deviation (m/s²) of the whole budget after
// averaging for tau (s), readings being made of everything below the frequency
// cutoff (Hz):
//
//	σ²(τ) = 2 ∫ S(f) sin⁴(πfτ)/(πfτ)² df     from 0 to cutoff
//
// cutoff·tau must be at least 1/2 (a reading lasts as long as the filter lets
// it). Above 200/tau sin⁴ is replaced by its mean 3/8 and below 1e-6/tau
// the density is not asked; a spectrum steeper than 1/f³ there has no Allan
// deviation. Relative error below 1e-4 for spectra smooth over 1/tau.
func (b Budget) AllanDeviation(tau, cutoff float64) (float64, error) {
	const fn = "sensor.Budget.AllanDeviation"
	if err := b.validate(fn); err != nil {
		return 0, err
	}
	if err := arg.Between(fn, "tau", tau, 1e-12, 1e12, "time in s"); err != nil {
		return 0, err
	}
	if !(cutoff*tau >= 0.5 && cutoff <= 1e15) {
		return 0, arg.Bad(fn, "cutoff", cutoff, "a frequency in Hz of at least 1/(2 tau)")
	}
	weight := func(f float64) float64 {
		u := math.Pi * f * tau
		if f*tau > 200 {
			return 0.75 / (u * u)
		}
		s := math.Sin(u)
		return 2 * s * s * (s / u) * (s / u)
	}
	var sum float64
	add := func(f1, f2 float64) error {
		if f2 <= f1 {
			return nil
		}
		r, _, err := signal.BandRMS(func(f float64) float64 { return b.power(f) * weight(f) }, f1, f2)
		sum += r * r
		return err
	}
	// Each turn of the sine is a piece of its own.
	last := 1e-6 / tau
	for k := 1; k <= 200; k++ {
		next := math.Min(float64(k)/tau, cutoff)
		if err := add(last, next); err != nil {
			return 0, err
		}
		last = math.Max(last, next)
	}
	if err := add(last, cutoff); err != nil {
		return 0, err
	}
	return math.Sqrt(sum), nil
}
