//go:build !wasip1

package signal

import (
	"fmt"
	"sync"
	"unsafe"

	"gonum.org/v1/gonum/dsp/fourier"

	"gravity.example/gravlab/internal/native"
)

// What a confined program has the host do (package native). Each is called with anything.
var (
	_               = native.Offer("signal.forward", forwardOf)
	sequenceRoutine = native.Offer("signal.sequence", sequenceOf)
	cancelRoutine   = native.Offer("signal.cancel", cancelOf)
	pair            = native.Function("signal.pair", records.pair)
	density         = native.Function("signal.density", records.density)
)

// kept are transforms with their tables, by length.
var kept struct {
	sync.Mutex
	byLength map[int]*transform
}

const (
	mostKept    = 8
	longestKept = 1 << 16
)

// forwardOf transforms one list of complex numbers.
func forwardOf(in ...[]float64) ([][]float64, string) {
	n := len(in[0]) / 2
	if n < 1 || len(in[0])%2 != 0 || n > 4096 && largestPrime(n) > 1009 {
		panic(fmt.Sprintf("there is no transform of %d numbers", len(in[0])))
	}
	kept.Lock()
	defer kept.Unlock()
	t := kept.byLength[n]
	if t == nil {
		t = newTransform(n)
		if kept.byLength == nil || len(kept.byLength) >= mostKept {
			kept.byLength = map[int]*transform{}
		}
		if n <= longestKept {
			kept.byLength[n] = t
		}
	}
	z := append([]float64(nil), in[0]...)
	t.forward(complexes(z))
	return [][]float64{z}, ""
}

// sequenceOf is the real sequence of a half spectrum whose length is one more than a power of two.
func sequenceOf(in ...[]float64) ([][]float64, string) {
	n := len(in[0]) - 2
	if n < 2 || n&(n-1) != 0 {
		panic(fmt.Sprintf("there is no sequence of %d numbers", len(in[0])))
	}
	return [][]float64{fourier.NewFFT(n).Sequence(nil, complexes(in[0]))}, ""
}

// cancelOf is the numerical part of CancelReference; the lengths of the last two slices are lags
// and split. It returns the residual, the taps, the constant and the record less its level.
func cancelOf(in ...[]float64) ([][]float64, string) {
	record, reference, lags, split := in[0], in[1], len(in[2]), len(in[3])
	n, taps := len(record), 2*lags+1
	if len(reference) != n || lags > 2000 || split < lags+2*(taps+1) || split > n-lags-2 {
		panic("the host was handed no record with its reference")
	}
	// Means of the fitted part are taken off both, for the digits.
	levelX, levelR := mean(record[:split]), mean(reference[:split])
	x := make([]float64, n)
	r := make([]float64, n)
	for i := range n {
		x[i] = record[i] - levelX
		r[i] = reference[i] - levelR
	}
	// Normal equations over samples lo..hi-1. Column j holds r[i+lags-j]; the
	// last column is the constant. Each entry follows from its upper left
	// neighbour by one sample in and one out.
	lo, hi := lags, split
	m := taps + 1
	a := make([][]float64, m)
	for j := range a {
		a[j] = make([]float64, m)
	}
	b := make([]float64, m)
	for j := range taps {
		for i := lo; i < hi; i++ {
			v := r[i+lags-j]
			a[j][0] += v * r[i+lags]
			b[j] += v * x[i]
			a[taps][j] += v
		}
	}
	for j := 1; j < taps; j++ {
		for k := 1; k <= j; k++ {
			a[j][k] = a[j-1][k-1] + r[lo+lags-j]*r[lo+lags-k] - r[hi+lags-j]*r[hi+lags-k]
		}
	}
	a[taps][taps] = float64(hi - lo)
	for i := lo; i < hi; i++ {
		b[taps] += x[i]
	}
	h, _, ok := cholesky(a, b)
	if !ok {
		return nil, "neighbouring samples of the reference follow from each other"
	}
	s := Cancellation{
		Residual: make([]float64, n-2*lags), First: lags, Taps: h[:taps:taps],
		Constant: levelX + h[taps],
	}
	for _, t := range s.Taps {
		s.Constant -= t * levelR
	}
	for i := range s.Residual {
		v := x[i+lags] - h[taps]
		for j, t := range s.Taps {
			v -= t * r[i+2*lags-j]
		}
		s.Residual[i] = v
	}
	return [][]float64{s.Residual, s.Taps, {s.Constant}, x}, ""
}

// complexes are the complex numbers of which a list holds both parts.
func complexes(v []float64) []complex128 {
	return unsafe.Slice((*complex128)(unsafe.Pointer(&v[0])), len(v)/2)
}

func parts(z []complex128) []float64 {
	return unsafe.Slice((*float64)(unsafe.Pointer(&z[0])), 2*len(z))
}
