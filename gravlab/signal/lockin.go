package signal

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Line is a steady oscillation A cos(2πft - φ) found in a record, t = 0 at
// the first sample (or at t = 0 of LinesAt).
type Line struct {
	Freq      float64 // Hz
	Amplitude float64 // A, zero to peak, unit
	Phase     float64 // φ, rad, from -π to π
	// UAmplitude and UPhase are standard uncertainties from the scatter of the
	// residuals, taken as white. Where the noise has a colour, scale them by the
	// root of its density at Freq over its mean density.
	UAmplitude float64 // unit
	UPhase     float64 // rad
}

// SineFit measures the line at a known frequency f (Hz) in x, sampled rate times
// per second, by least squares together with a constant:
//
//	x(t) = c + A cos(2πft - φ)
//
// The frequency must be right to a small part of 1/duration, else the line is
// smeared. Missing samples (NaN) are refused; give the rest to LinesAt.
func SineFit(x []float64, rate, f float64) (Line, error) {
	lines, err := lines("signal.SineFit", nil, x, rate, []float64{f})
	if err != nil {
		return Line{}, err
	}
	return lines[0], nil
}

// Lines measures several lines at once, so that none leaks into another.
func Lines(x []float64, rate float64, freqs ...float64) ([]Line, error) {
	return lines("signal.Lines", nil, x, rate, freqs)
}

// LinesAt does the same for values at any times t (s), in any order: the way
// to measure lines in a record with gaps. The phase counts from t = 0.
func LinesAt(t, x []float64, freqs ...float64) ([]Line, error) {
	const fn = "signal.LinesAt"
	if err := arg.SameLength(fn, "t", len(t), "x", len(x)); err != nil {
		return nil, err
	}
	if err := arg.AllFinite(fn, "t", t, "time in s"); err != nil {
		return nil, err
	}
	if t == nil {
		t = []float64{}
	}
	return lines(fn, t, x, 1, freqs)
}

// lines fits a constant and the lines at freqs. t == nil means equal steps.
func lines(fn string, t, x []float64, rate float64, freqs []float64) ([]Line, error) {
	if err := checkRate(fn, rate); err != nil {
		return nil, err
	}
	if len(freqs) == 0 || len(freqs) > 100 {
		return nil, arg.Bad(fn, "freqs", fmt.Sprintf("of length %d", len(freqs)), "1 to 100 frequencies")
	}
	m := 2*len(freqs) + 1
	if err := arg.AtLeast(fn, "x", len(x), m+1); err != nil {
		return nil, err
	}
	if err := checkRecord(fn, "x", x); err != nil {
		return nil, err
	}
	for i, f := range freqs {
		if !(f > 0) || f > 1e12 || (t == nil && f >= rate/2) {
			return nil, arg.Bad(fn, fmt.Sprintf("frequency %d", i+1), f, "a positive frequency in Hz, below half the rate")
		}
	}
	basis := make([]float64, m)
	fill := func(i int) {
		basis[0] = 1
		for j, f := range freqs {
			// Whole turns are taken off before multiplying by 2π.
			var turns float64
			if t == nil {
				turns = f / rate * float64(i)
			} else {
				turns = f * t[i]
			}
			turns -= math.Floor(turns)
			basis[2*j+2], basis[2*j+1] = math.Sincos(2 * math.Pi * turns)
		}
	}
	// The level is taken off first: a constant 10⁹ times the line must not cost
	// its digits.
	level := mean(x)
	a := make([][]float64, m)
	for i := range a {
		a[i] = make([]float64, m)
	}
	b := make([]float64, m)
	for i, v := range x {
		fill(i)
		for j, p := range basis {
			b[j] += p * (v - level)
			for k := 0; k <= j; k++ {
				a[j][k] += p * basis[k]
			}
		}
	}
	c, inverse, ok := cholesky(a, b)
	if !ok {
		return nil, arg.Bad(fn, "freqs", freqs, "frequencies that the record can tell apart: apart from each other, from zero and from half the rate by about 1/duration")
	}
	var sum float64
	for i, v := range x {
		fill(i)
		r := v - level
		for j, p := range basis {
			r -= c[j] * p
		}
		sum += r * r
	}
	scatter := math.Sqrt(sum / float64(len(x)-m))
	out := make([]Line, len(freqs))
	for j, f := range freqs {
		p, q := c[2*j+1], c[2*j+2]
		amplitude := math.Hypot(p, q)
		u := scatter * math.Sqrt((inverse[2*j+1]+inverse[2*j+2])/2)
		uPhase := math.Pi / math.Sqrt(3) // nothing known: even from -π to π
		if amplitude > 0 {
			uPhase = math.Min(u/amplitude, uPhase)
		}
		out[j] = Line{Freq: f, Amplitude: amplitude, Phase: math.Atan2(q, p), UAmplitude: u, UPhase: uPhase}
	}
	return out, nil
}
