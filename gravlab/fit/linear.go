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
	scale := columnNorms(w)
	for i := range m {
		row := w.RawRowView(i)
		for j := range row {
			row[j] /= scale[j]
		}
	}
	// In scaled parameters z = scale p, the p allowed are z = particular + basis t.
	particular, basis := make([]float64, n), (*mat.Dense)(nil)
	if c != nil {
		if particular, basis, err = allowed(fn, c, d, scale); err != nil {
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
	result := &Result{P: make([]float64, n), U: make([]float64, n), Cov: mat.NewSymDense(n, nil), DoF: m - free,
		Scaled: sigma == nil, Names: names(nil, n), Residuals: make([]float64, m)}

	z := append([]float64(nil), particular...)
	var svd *scaledSVD
	rank := 0
	if free > 0 {
		jf := mat.NewDense(m, free+1, nil)
		jf.Slice(0, m, 0, free).(*mat.Dense).Mul(w, basis)
		for i := range m {
			f := -y[i] * weights[i]
			for j, v := range w.RawRowView(i) {
				f += v * particular[j]
			}
			jf.Set(i, free, f)
		}
		if !allFinite(jf) {
			return nil, arg.Bad(fn, "y/sigma", "too large", "values whose weighted squares a float64 can hold")
		}
		r, q := triangle(jf)
		var ok bool
		if svd, ok = newScaledSVD(r, columnNorms(r)); !ok {
			return nil, fmt.Errorf("%s: %w", fn, ErrNotConverged)
		}
		rank = svd.rank(looseAnalytic)
		b := svd.uTimes(q)
		for k := range b {
			if k < rank {
				b[k] /= -svd.s[k]
			} else {
				b[k] = 0
			}
		}
		for k, t := range svd.vTimes(b) {
			for j := range z {
				z[j] += basis.At(j, k) * t
			}
		}
	}
	for j := range z {
		result.P[j] = z[j] / scale[j]
	}
	for i := range m {
		model := 0.0
		for j, v := range w.RawRowView(i) {
			model += v * z[j]
		}
		f := model - y[i]*weights[i]
		result.Chi2 += f * f
		result.Residuals[i] = -f / weights[i]
	}
	if free > 0 {
		result.spread(svd, rank, basis, scale)
	}
	return result, nil
}

// spread fills in Cov, U and Undetermined of parameters p = basis t / scale.
func (r *Result) spread(svd *scaledSVD, rank int, basis *mat.Dense, scale []float64) {
	n, free := basis.Dims()
	variance := 1.0
	if r.Scaled {
		variance = r.Chi2 / float64(r.DoF)
	}
	// Directions of t in terms of the parameters, per singular vector.
	var directions mat.Dense
	v := mat.NewDense(free, free, nil)
	for k := range free {
		for l := range free {
			v.Set(k, l, svd.v.At(k, l)/svd.scale[k])
		}
	}
	directions.Mul(basis, v)
	for i := range n {
		for j := i; j < n; j++ {
			sum := 0.0
			for k := range rank {
				sum += directions.At(i, k) / svd.s[k] * directions.At(j, k) / svd.s[k]
			}
			r.Cov.SetSym(i, j, variance*sum/scale[i]/scale[j])
		}
	}
	for i := range n {
		r.U[i] = math.Sqrt(r.Cov.At(i, i))
		all, lost := 0.0, 0.0
		for k := range free {
			all = math.Hypot(all, directions.At(i, k))
			if k >= rank {
				lost = math.Hypot(lost, directions.At(i, k))
			}
		}
		if lost > math.Sqrt(looseAnalytic)*all {
			r.Undetermined = append(r.Undetermined, r.Names[i])
			r.U[i] = math.Inf(1)
			for k := range n {
				r.Cov.SetSym(i, k, math.NaN())
			}
			r.Cov.SetSym(i, i, math.Inf(1))
		}
	}
}

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
	var svd mat.SVD
	if !svd.Factorize(cs, mat.SVDFull) {
		return nil, nil, fmt.Errorf("%s: %w", fn, ErrNotConverged)
	}
	s := svd.Values(nil)
	rank := 0
	for _, v := range s {
		if v > looseAnalytic*s[0] {
			rank++
		}
	}
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
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
	w := mat.NewDense(m, n, nil)
	for i := range m {
		for j := range n {
			v := a.At(i, j) * weights[i]
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return nil, nil, arg.Bad(fn, fmt.Sprintf("a[%d,%d]", i, j), a.At(i, j), "a finite number, also when divided by its sigma")
			}
			w.Set(i, j, v)
		}
	}
	return w, weights, nil
}
