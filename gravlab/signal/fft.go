//go:build !wasip1

package signal

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/dsp/fourier"
)

// A transform is a complex Fourier transform exp(-iωt) of one length, with its
// tables and its scratch space; one goroutine uses it at a time.
//
// Powers of two go by a self-sorting method of radix 4 (T. G. Stockham's form of
// the fast Fourier transform, 1966, from memory), which takes about a third of the
// time of the mixed-radix library code that serves all other lengths. The tests
// hold one against the other.
type transform struct {
	n        int
	other    *fourier.CmplxFFT
	twiddles []complex128 // exp(-2πik/n)
	scratch  []complex128
}

func newTransform(n int) *transform {
	t := &transform{n: n}
	if bits.OnesCount(uint(n)) != 1 {
		t.other = fourier.NewCmplxFFT(n)
		return t
	}
	t.twiddles = make([]complex128, n)
	t.scratch = make([]complex128, n)
	for k := range t.twiddles {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		t.twiddles[k] = complex(cos, -sin)
	}
	return t
}

// forward replaces z by its transform.
func (t *transform) forward(z []complex128) {
	if t.other != nil {
		t.other.Coefficients(z, z)
		return
	}
	x, y := z, t.scratch
	n, s := t.n, 1 // s transforms of n points each are left
	for n >= 4 {
		n /= 4
		if s == 1 {
			t.firstPass(x, y)
		} else {
			t.pass(x, y, n, s)
		}
		s *= 4
		x, y = y, x
	}
	if n == 2 {
		a, b := x[:s], x[s:2*s]
		c, d := y[:s], y[s:2*s]
		for q := range a {
			c[q], d[q] = a[q]+b[q], a[q]-b[q]
		}
		x, y = y, x
	}
	if &x[0] != &z[0] {
		copy(z, x)
	}
}

// firstPass is pass with s = 1, whose inner loop would be one step long.
func (t *transform) firstPass(x, y []complex128) {
	n := t.n / 4
	x0, x1, x2, x3 := x[:n], x[n:2*n], x[2*n:3*n], x[3*n:4*n]
	for p := range x0 {
		w1, w2, w3 := t.twiddles[p], t.twiddles[2*p], t.twiddles[3*p]
		a, b, c, d := x0[p], x1[p], x2[p], x3[p]
		ac, amc := a+c, a-c
		bd, e := b+d, b-d
		jbd := complex(-imag(e), real(e))
		out := y[4*p : 4*p+4 : 4*p+4]
		out[0] = ac + bd
		out[1] = w1 * (amc - jbd)
		out[2] = w2 * (ac - bd)
		out[3] = w3 * (amc + jbd)
	}
}

func (t *transform) pass(x, y []complex128, n, s int) {
	for p := range n {
		w1, w2, w3 := t.twiddles[p*s], t.twiddles[2*p*s], t.twiddles[3*p*s]
		x0 := x[s*p:][:s]
		x1 := x[s*(p+n):][:s]
		x2 := x[s*(p+2*n):][:s]
		x3 := x[s*(p+3*n):][:s]
		y0 := y[s*4*p:][:s]
		y1 := y[s*(4*p+1):][:s]
		y2 := y[s*(4*p+2):][:s]
		y3 := y[s*(4*p+3):][:s]
		for q := range y0 {
			a, b, c, d := x0[q], x1[q], x2[q], x3[q]
			ac, amc := a+c, a-c
			bd, e := b+d, b-d
			jbd := complex(-imag(e), real(e))
			y0[q] = ac + bd
			y1[q] = w1 * (amc - jbd)
			y2[q] = w2 * (ac - bd)
			y3[q] = w3 * (amc + jbd)
		}
	}
}
