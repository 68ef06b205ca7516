package signalcases

import (
	"math/cmplx"

	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/signal"
)

// library compares with a general-purpose library; scipy_values.py beside this
// file makes the numbers.
func library() []check.Case {
	const source = "scipy 1.10.1 (scipy_values.py beside the case)"
	x, y := sequence(400, first), sequence(400, second)
	row := func(id, quantity, unit string, want, rel float64, got func() (float64, error)) check.Case {
		return check.Case{
			ID: "signal-library-" + id, Quantity: quantity, Unit: unit, Want: want,
			Tol:    check.Tolerance{Rel: rel, Why: "rounding in two float64 programs"},
			Source: source, Known: check.Computed, Got: got,
		}
	}
	density := func(w signal.Welch, bin int) func() (float64, error) {
		return func() (float64, error) {
			s, err := w.PSD(x, 10)
			if err != nil {
				return 0, err
			}
			return s.PSD[bin], nil
		}
	}
	pair := func(w signal.Welch, read func(signal.Pair) float64) func() (float64, error) {
		return func() (float64, error) {
			p, err := w.Pair(x, y, 10)
			if err != nil {
				return 0, err
			}
			return read(p), nil
		}
	}
	filtered := func(f signal.Filter, err error) func(i int) func() (float64, error) {
		return func(i int) func() (float64, error) {
			return func() (float64, error) {
				if err != nil {
					return 0, err
				}
				z, _, err := f.ZeroPhase(x)
				if err != nil {
					return 0, err
				}
				return z[i], nil
			}
		}
	}
	low4 := filtered(signal.LowPass(4, 0.8, 10))
	high3 := filtered(signal.HighPass(3, 0.5, 10))
	low5 := filtered(signal.LowPass(5, 2, 10))
	response := func(read func(complex128) float64) func() (float64, error) {
		return func() (float64, error) {
			f, err := signal.LowPass(4, 0.8, 10)
			return read(f.Response(1.3)), err
		}
	}
	limit := func(read func(lo, hi float64) float64) func() (float64, error) {
		return func() (float64, error) {
			dof, err := signal.Welch{Segment: 64}.DoF(15)
			if err != nil {
				return 0, err
			}
			lo, hi, err := signal.Spectrum{DoF: dof}.Limits(0.95)
			return read(lo, hi), err
		}
	}
	hann := signal.Welch{Segment: 64}
	return []check.Case{
		row("welch-line", "Welch density, straight line removed from each segment", "unit²/Hz", 5.226770423518004, 1e-11, density(signal.Welch{Segment: 50, Detrend: signal.RemoveLine}, 7)),
		row("welch-zero", "Welch density at zero, flat top, 75 % overlap (not doubled)", "unit²/Hz", 5.584003476434334, 1e-11, density(signal.Welch{Segment: 64, Step: 16, Window: signal.FlatTop}, 0)),
		row("welch-nyquist", "Welch density at half the rate (not doubled)", "unit²/Hz", 0.5013332789126058, 1e-11, density(signal.Welch{Segment: 64, Step: 16, Window: signal.FlatTop}, 32)),
		row("welch-odd", "Welch density of odd segments, last bin (doubled), nothing removed", "unit²/Hz", 1.3860377338362957, 1e-11, density(signal.Welch{Segment: 45, Step: 45, Window: signal.Rectangular, Detrend: signal.RemoveNothing}, 22)),
		row("coherence", "magnitude-squared coherence, Hamming window", "1", 0.13594810976711116, 1e-11, pair(signal.Welch{Segment: 40, Window: signal.Hamming}, func(p signal.Pair) float64 { return p.Coherence()[9] })),
		row("cross-real", "cross density, real part", "unit²/Hz", 1.9936509135617624, 1e-11, pair(hann, func(p signal.Pair) float64 { return real(p.PXY[11]) })),
		row("cross-imaginary", "cross density, imaginary part (sign of conj(X)·Y)", "unit²/Hz", -2.8042919001171294, 1e-11, pair(hann, func(p signal.Pair) float64 { return imag(p.PXY[11]) })),
		row("low4-start", "zero-phase low pass of order 4, first sample", "unit", -14.999060146409487, 1e-10, low4(0)),
		row("low4-middle", "zero-phase low pass of order 4, sample 201", "unit", 1.5179675229305853, 1e-10, low4(201)),
		row("high3-start", "zero-phase high pass of order 3, first sample", "unit", -0.002708481445433897, 1e-9, high3(0)),
		row("high3-middle", "zero-phase high pass of order 3, sample 201", "unit", -8.66183625908566, 1e-10, high3(201)),
		row("low5-start", "zero-phase low pass of order 5, first sample", "unit", -15.001291702526967, 1e-10, low5(0)),
		row("low5-middle", "zero-phase low pass of order 5, sample 201", "unit", -3.226742183103524, 1e-10, low5(201)),
		row("response-modulus", "response of one pass of a low pass of order 4", "1", 0.1229907101677597, 1e-11, response(cmplx.Abs)),
		row("response-phase", "phase of one pass of a low pass of order 4", "rad", 1.6482871253512956, 1e-11, response(cmplx.Phase)),
		row("limit-low", "lower 95 % factor of a density, 28.52 degrees of freedom", "1", 0.6321343881052308, 1e-11, limit(func(lo, _ float64) float64 { return lo })),
		row("limit-high", "upper 95 % factor of a density, 28.52 degrees of freedom", "1", 1.8174995162875545, 1e-11, limit(func(_, hi float64) float64 { return hi })),
		row("false-alarm", "false-alarm probability of 500 trials above 4.2", "1", 0.006650704550658304, 1e-10, func() (float64, error) { return signal.FalseAlarm(4.2, 500) }),
		row("threshold", "threshold for 1e-3 in 250 trials", "1", 4.465077251601202, 1e-10, func() (float64, error) { return signal.Threshold(1e-3, 250) }),
	}
}
