package signal

import (
	"fmt"
	"math"
	"math/cmplx"

	"gravity.example/gravlab/internal/arg"
)

// A Filter is a Butterworth filter made of second-order sections, for use
// forwards and backwards: ZeroPhase then shifts nothing in time. The design is
// the analogue prototype's poles, placed by the bilinear transform with the
// corner frequency warped to its place (A. V. Oppenheim and R. W. Schafer,
// Discrete-Time Signal Processing, from memory).
//
// One pass is 3 dB down at the corner; forwards and backwards together 6 dB (a
// factor of 1/2 in amplitude), and the slope is that of twice the order.
type Filter struct {
	sections []biquad
	rate     float64
	memory   int // samples until the slowest part has fallen to 1e-3
}

// A biquad is y = b0 x + s1; s1 = b1 x - a1 y + s2; s2 = b2 x - a2 y.
type biquad struct{ b0, b1, b2, a1, a2 float64 }

// LowPass passes what is slower than corner (Hz). order is 1 to 12.
func LowPass(order int, corner, rate float64) (Filter, error) {
	return butterworth("signal.LowPass", order, corner, rate, false)
}

// HighPass passes what is faster than corner (Hz). order is 1 to 12.
func HighPass(order int, corner, rate float64) (Filter, error) {
	return butterworth("signal.HighPass", order, corner, rate, true)
}

// BandPass passes what lies between f1 and f2 (Hz): a high pass at f1 and a low
// pass at f2, each of the given order, one after the other. (That is not the
// transformed prototype that some tables call a band pass; for f2 > 2 f1 the
// two hardly differ.)
func BandPass(order int, f1, f2, rate float64) (Filter, error) {
	const fn = "signal.BandPass"
	if !(f1 < f2) {
		return Filter{}, arg.Bad(fn, "f2", f2, fmt.Sprintf("a frequency above f1, %g Hz", f1))
	}
	high, err := butterworth(fn, order, f1, rate, true)
	if err != nil {
		return Filter{}, err
	}
	low, err := butterworth(fn, order, f2, rate, false)
	if err != nil {
		return Filter{}, err
	}
	return Filter{sections: append(high.sections, low.sections...), rate: rate, memory: high.memory + low.memory}, nil
}

func butterworth(fn string, order int, corner, rate float64, high bool) (Filter, error) {
	if order < 1 || order > 12 {
		return Filter{}, arg.Bad(fn, "order", order, "1 to 12")
	}
	if err := checkRate(fn, rate); err != nil {
		return Filter{}, err
	}
	if !(corner > 1e-6*rate && corner < 0.499*rate) {
		return Filter{}, arg.Bad(fn, "corner", corner, fmt.Sprintf("a frequency from %g to %g Hz (1e-6 to 0.499 of the rate): decimate first for less", 1e-6*rate, 0.499*rate))
	}
	k := math.Tan(math.Pi * corner / rate)
	f := Filter{rate: rate}
	slowest := 0.0
	for i := range order / 2 {
		// The pair of poles at angle ±(π - that) has quality 1/(2 cos).
		damping := 2 * math.Sin(math.Pi*(2*float64(i)+1)/(2*float64(order)))
		d := 1 + damping*k + k*k
		s := biquad{a1: 2 * (k*k - 1) / d, a2: (1 - damping*k + k*k) / d}
		if high {
			s.b0, s.b1, s.b2 = 1/d, -2/d, 1/d
		} else {
			s.b0, s.b1, s.b2 = k*k/d, 2*k*k/d, k*k/d
		}
		f.sections = append(f.sections, s)
		slowest = math.Max(slowest, math.Sqrt(s.a2)) // the size of a pair of poles
	}
	if order%2 == 1 {
		d := 1 + k
		s := biquad{a1: (k - 1) / d}
		if high {
			s.b0, s.b1 = 1/d, -1/d
		} else {
			s.b0, s.b1 = k/d, k/d
		}
		f.sections = append(f.sections, s)
		slowest = math.Max(slowest, math.Abs(s.a1))
	}
	f.memory = 1 + int(math.Ceil(math.Log(1e-3)/math.Log(slowest)))
	return f, nil
}

// Response returns the response of one pass at f (Hz), for exp(+iωt). ZeroPhase
// has the square of its modulus and no phase.
func (f Filter) Response(freq float64) complex128 {
	z := cmplx.Rect(1, -2*math.Pi*freq/f.rate)
	h := complex(1, 0)
	for _, s := range f.sections {
		h *= (complex(s.b0, 0) + complex(s.b1, 0)*z + complex(s.b2, 0)*z*z) /
			(1 + complex(s.a1, 0)*z + complex(s.a2, 0)*z*z)
	}
	return h
}

// ZeroPhase returns x filtered forwards and backwards, as long as x, and the
// number of samples at each end that are not to be trusted. There the filter
// reaches beyond the record, which is continued by its own mirror image turned
// about the end point (2x[0] - x[i]); after edge samples what was assumed there
// has fallen to 1e-3. A record of no more than that is refused, as is one with
// a missing sample.
func (f Filter) ZeroPhase(x []float64) (y []float64, edge int, err error) {
	const fn = "signal.Filter.ZeroPhase"
	if len(f.sections) == 0 {
		return nil, 0, arg.Bad(fn, "f", "empty", "a filter made by LowPass, HighPass or BandPass")
	}
	if err := arg.AtLeast(fn, "x", len(x), f.memory+1); err != nil {
		return nil, 0, err
	}
	if err := checkRecord(fn, "x", x); err != nil {
		return nil, 0, err
	}
	e, n := f.memory, len(x)
	long := make([]float64, n+2*e)
	for i := range e {
		long[i] = 2*x[0] - x[e-i]
		long[n+e+i] = 2*x[n-1] - x[n-2-i]
	}
	copy(long[e:], x)
	for range 2 {
		f.pass(long)
		for i, j := 0, len(long)-1; i < j; i, j = i+1, j-1 {
			long[i], long[j] = long[j], long[i]
		}
	}
	return long[e : e+n : e+n], e, nil
}

// pass filters x in place, as if its first value had stood for ever before.
func (f Filter) pass(x []float64) {
	for _, s := range f.sections {
		gain := (s.b0 + s.b1 + s.b2) / (1 + s.a1 + s.a2)
		s2 := (s.b2 - s.a2*gain) * x[0]
		s1 := (s.b1-s.a1*gain)*x[0] + s2
		for i, v := range x {
			y := s.b0*v + s1
			s1 = s.b1*v - s.a1*y + s2
			s2 = s.b2*v - s.a2*y
			x[i] = y
		}
	}
}
