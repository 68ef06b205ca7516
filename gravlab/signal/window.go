package signal

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Window tapers a segment before its transform. The zero value is Hann.
type Window int

// The windows, as sums of cosines in periodic form. Coefficients: common
// practice; the flat top has five terms (0.21557895, 0.41663158, 0.277263158,
// 0.083578947, 0.006947368).
const (
	Hann Window = iota
	Rectangular
	Hamming
	Blackman
	FlatTop
)

// cosines holds the coefficients of sum (-1)^j c[j] cos(2πjn/N).
var cosines = [...][]float64{
	Hann:        {0.5, 0.5},
	Rectangular: {1},
	Hamming:     {0.54, 0.46},
	Blackman:    {0.42, 0.5, 0.08},
	FlatTop:     {0.21557895, 0.41663158, 0.277263158, 0.083578947, 0.006947368},
}

func (w Window) valid() bool { return w >= 0 && int(w) < len(cosines) }

// String returns the name of the window.
func (w Window) String() string {
	if !w.valid() {
		return fmt.Sprintf("Window(%d)", int(w))
	}
	return [...]string{"Hann", "rectangular", "Hamming", "Blackman", "flat top"}[w]
}

// Coefficients returns the n values of the window in periodic form: the form
// for averaged spectra. (Filters want the symmetric form, whose equivalent
// noise bandwidth differs: 1.5238 for Hann at 64 points instead of 1.5.)
// It returns nil for n < 1 and for an unknown window.
func (w Window) Coefficients(n int) []float64 {
	if n < 1 || !w.valid() {
		return nil
	}
	c := make([]float64, n)
	for i := range c {
		sign := 1.0
		for j, a := range cosines[w] {
			// The angle is reduced first, so that long windows stay exact.
			turn := float64((j*i)%n) / float64(n)
			c[i] += sign * a * math.Cos(2*math.Pi*turn)
			sign = -sign
		}
	}
	return c
}

// ENBW returns the equivalent noise bandwidth of the window of n points, in
// bins: N Σw²/(Σw)². Times rate/n it is in hertz. A line of amplitude A stands
// A²/(2·ENBW) high in a density.
func (w Window) ENBW(n int) (float64, error) {
	if !w.valid() {
		return 0, arg.Bad("signal.ENBW", "window", int(w), "one of the windows of package signal")
	}
	if n < 1 || n > 1<<28 {
		return 0, arg.Bad("signal.ENBW", "n", n, "a number of points from 1 to 2^28")
	}
	var s, q float64
	for _, v := range w.Coefficients(n) {
		s += v
		q += v * v
	}
	if s <= 0 {
		return 0, arg.Bad("signal.ENBW", "n", n, "at least 2 points: this window vanishes at fewer")
	}
	return float64(n) * q / (s * s), nil
}
