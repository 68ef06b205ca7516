package quantity

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/internal/arg"
)

// Repeated evaluates readings that were taken several times under the same
// conditions: one slice for each quantity, the k-th value of every slice read
// in the same set. Each input is the mean with U = s/sqrt(n) and n-1 degrees of
// freedom; the matrix holds the correlation coefficients of the means. A
// quantity that never varies has U = 0 and no correlation.
// Source: JCGM 100:2008, 4.2 and 5.2.3 (type A evaluation; from memory).
//
// It returns an error for fewer than two sets, slices of unlike length and
// numbers that are not finite.
func Repeated(readings ...[]float64) ([]Input, *mat.SymDense, error) {
	const fn = "quantity.Repeated"
	if err := arg.AtLeast(fn, "readings", len(readings), 1); err != nil {
		return nil, nil, err
	}
	var errs []error
	for i, r := range readings {
		name := fmt.Sprintf("readings[%d]", i)
		errs = append(errs, arg.AtLeast(fn, name, len(r), 2), arg.SameLength(fn, "readings[0]", len(readings[0]), name, len(r)), arg.AllFinite(fn, name, r, "reading"))
	}
	if err := errors.Join(errs...); err != nil {
		return nil, nil, err
	}
	n := float64(len(readings[0]))
	inputs := make([]Input, len(readings))
	off := make([][]float64, len(readings)) // from the mean, length 1
	for i, r := range readings {
		mean := 0.0
		for _, v := range r {
			mean += (v - r[0]) / n
		}
		length := 0.0
		for _, v := range r {
			off[i] = append(off[i], v-r[0]-mean)
			length = math.Hypot(length, v-r[0]-mean)
		}
		inputs[i] = Input{Name: fmt.Sprintf("x[%d]", i), Value: r[0] + mean, U: length / math.Sqrt(n-1) / math.Sqrt(n), DoF: n - 1}
		if math.IsInf(length, 0) || math.IsNaN(length) {
			return nil, nil, arg.Bad(fn, fmt.Sprintf("readings[%d]", i), "too large", "readings whose differences a float64 can hold")
		}
		for k := range off[i] {
			if length > 0 {
				off[i][k] /= length
			}
		}
	}
	r := mat.NewSymDense(len(readings), nil)
	for i := range readings {
		for j := range i {
			sum := 0.0
			for k := range off[i] {
				sum += off[i][k] * off[j][k]
			}
			r.SetSym(i, j, math.Max(-1, math.Min(1, sum)))
		}
		r.SetSym(i, i, 1)
	}
	return inputs, r, nil
}
