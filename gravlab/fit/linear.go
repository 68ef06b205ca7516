package fit

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/internal/arg"
)

// Linear fits y = A p: it minimises |(A p - y)/sigma|². A has a row for each
// point and a column for each parameter; sigma are the standard uncertainties
// of y, nil when they are equal and unknown. A combination of parameters that
// A does not determine is left at the shortest solution (columns scaled to
// length 1) and its parameters are named in Result.Undetermined.
//
// It returns an error for an empty A, for unlike lengths, for numbers that are
// not finite, and for fewer points than parameters. See [Damp] for those.
func Linear(a mat.Matrix, y, sigma []float64) (*Result, error) {
	return linear("fit.Linear", a, y, sigma, nil, nil)
}

// LinearConstrained fits y = A p as [Linear] does, among the p that satisfy
// C p = d exactly: C has a row for each condition. Conditions that repeat each
// other are allowed, conditions that contradict each other are an error. Each
// independent condition adds a degree of freedom.
func LinearConstrained(a mat.Matrix, y, sigma []float64, c mat.Matrix, d []float64) (*Result, error) {
	const fn = "fit.LinearConstrained"
	if c == nil {
		return nil, arg.Bad(fn, "c", "nil", "a matrix with a row for each condition")
	}
	rows, columns := c.Dims()
	if err := errors.Join(
		arg.AtLeast(fn, "d", len(d), 1),
		arg.SameLength(fn, "rows of c", rows, "d", len(d)),
		arg.AllFinite(fn, "d", d, "number")); err != nil {
		return nil, err
	}
	if !allFinite(c) {
		return nil, arg.Bad(fn, "c", "not finite", "finite numbers")
	}
	if a != nil {
		if _, n := a.Dims(); n != columns {
			return nil, arg.Bad(fn, "c", fmt.Sprintf("of %d columns", columns), fmt.Sprintf("as many columns as a, which has %d", n))
		}
	}
	return linear(fn, a, y, sigma, c, d)
}

func linear(fn string, a mat.Matrix, y, sigma []float64, c mat.Matrix, d []float64) (*Result, error) {
	w, weights, err := weighted(fn, a, y, sigma)
	if err != nil {
		return nil, err
	}
	m, n := w.Dims()
	// In scaled parameters z = scale p, the p allowed are z = particular + basis t.
	particular, basis := make([]float64, n), (*mat.Dense)(nil)
	if c != nil {
		if particular, basis, err = allowed(fn, c, d, columnNorms(w)); err != nil {
			return nil, err
		}
	} else {
		basis = mat.NewDense(n, n, nil)
		for j := range n {
			basis.Set(j, j, 1)
		}
	}
	free := 0
	if basis != nil {
		_, free = basis.Dims()
	}
	if err := enoughPoints(fn, "y", m, free, sigma == nil); err != nil {
		return nil, err
	}
	if basis == nil {
		basis = new(mat.Dense)
	}
	out, failed := linearRoutine(flatten(w), y, weights, particular, flatten(basis), boolean(sigma == nil))
	switch failed {
	case linearTooLarge:
		return nil, arg.Bad(fn, "y/sigma", "too large", "values whose weighted squares a float64 can hold")
	case linearUnsolved:
		return nil, fmt.Errorf("%s: %w", fn, ErrNotConverged)
	}
	return resultOf(out, names(nil, n)), nil
}

const (
	linearTooLarge = "too large"
	linearUnsolved = "not solved"
)

// allowed returns one solution of C z/scale = d and an orthonormal basis of
// the directions in which z may move; the basis is nil when there is none.
func allowed(fn string, c mat.Matrix, d, scale []float64) (particular []float64, basis *mat.Dense, err error) {
	rows, n := c.Dims()
	// Rows scaled to length 1: the rank must not depend on a condition's unit.
	cs := mat.NewDense(rows, n, nil)
	ds := make([]float64, rows)
	for i := range rows {
		length := 0.0
		for j := range n {
			length = math.Hypot(length, c.At(i, j)/scale[j])
		}
		if length == 0 || math.IsInf(length, 1) {
			return nil, nil, arg.Bad(fn, fmt.Sprintf("row %d of c", i), "zero, or too large for a float64", "a condition on at least one parameter")
		}
		for j := range n {
			cs.Set(i, j, c.At(i, j)/scale[j]/length)
		}
		ds[i] = d[i] / length
	}
	u, v, s, ok := factorise(cs, mat.SVDFull)
	if !ok {
		return nil, nil, fmt.Errorf("%s: %w", fn, ErrNotConverged)
	}
	rank := 0
	for _, v := range s {
		if v > looseAnalytic*s[0] {
			rank++
		}
	}
	particular = make([]float64, n)
	for k := range rank {
		b := 0.0
		for i := range rows {
			b += u.At(i, k) * ds[i]
		}
		for j := range n {
			particular[j] += v.At(j, k) * b / s[k]
		}
	}
	size := 0.0
	for _, v := range ds {
		size = math.Hypot(size, v)
	}
	for i := range rows {
		reached := 0.0
		for j := range n {
			reached += cs.At(i, j) * particular[j]
		}
		if !(math.Abs(reached-ds[i]) <= 1e-9*size) {
			return nil, nil, arg.Bad(fn, fmt.Sprintf("d[%d]", i), d[i], "conditions that do not contradict each other")
		}
	}
	if rank < n {
		basis = mat.DenseCopyOf(v.Slice(0, n, rank, n))
	}
	return particular, basis, nil
}

// weighted checks a linear problem and returns A/sigma and 1/sigma.
func weighted(fn string, a mat.Matrix, y, sigma []float64) (*mat.Dense, []float64, error) {
	if a == nil {
		return nil, nil, arg.Bad(fn, "a", "nil", "a matrix with a row for each point and a column for each parameter")
	}
	m, n := a.Dims()
	if m == 0 || n == 0 {
		return nil, nil, arg.Bad(fn, "a", fmt.Sprintf("%d by %d", m, n), "at least one row and one column")
	}
	if err := errors.Join(arg.SameLength(fn, "rows of a", m, "y", len(y)), arg.AllFinite(fn, "y", y, "number")); err != nil {
		return nil, nil, err
	}
	weights, err := weightsOf(fn, sigma, m)
	if err != nil {
		return nil, nil, err
	}
	w := mat.DenseCopyOf(a)
	for i := range m {
		row, weight := w.RawRowView(i), weights[i]
		for j, v := range row {
			if row[j] = v * weight; !(math.Abs(row[j]) <= math.MaxFloat64) {
				return nil, nil, arg.Bad(fn, fmt.Sprintf("a[%d,%d]", i, j), v, "a finite number, also when divided by its sigma")
			}
		}
	}
	return w, weights, nil
}
