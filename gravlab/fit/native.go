//go:build !wasip1

package fit

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/internal/native"
)

// What a confined program has the host do (package native). Each is called with anything.
var (
	triangleRoutine = native.Offer("fit.triangle", triangleOf)
	svdRoutine      = native.Offer("fit.svd", svdOf)
	linearRoutine   = native.Offer("fit.linear", linearOf)
	swingRoutine    = native.Offer("fit.swing", swingOf)
)

// mostNumbers is how many numbers a matrix may have that is made here: as many as one call
// hands over.
const mostNumbers = native.Max / 8

// matrix is the matrix whose size stands in dims, which must be that of its numbers.
func matrix(a, dims []float64) *mat.Dense {
	m, n := int(dims[0]), int(dims[1])
	if m < 1 || n < 1 || m > len(a) || n > len(a) || m*n != len(a) {
		panic(fmt.Sprintf("a matrix of %d by %d has not %d numbers", m, n, len(a)))
	}
	return mat.NewDense(m, n, a)
}

func fits(n int) {
	if n > mostNumbers/n {
		panic(fmt.Sprintf("a matrix of %d by %d is too large", n, n))
	}
}

// triangleOf is triangle; its matrix is overwritten by none of the library's functions.
func triangleOf(in ...[]float64) ([][]float64, string) {
	jf := matrix(in[0], in[1])
	m, n := jf.Dims()
	n--
	if n < 1 {
		panic("a Jacobian without parameters")
	}
	if m < n+1 { // QR wants at least as many rows as columns: rows of zeros change nothing
		fits(n + 1)
		taller := mat.NewDense(n+1, n+1, nil)
		taller.Slice(0, m, 0, n+1).(*mat.Dense).Copy(jf)
		jf = taller
	}
	var qr mat.QR
	qr.Factorize(jf)
	var whole mat.Dense
	qr.RTo(&whole)
	r, q := make([]float64, n*n), make([]float64, n)
	for i := range n {
		copy(r[i*n:], whole.RawRowView(i)[:n])
		q[i] = whole.At(i, n)
	}
	return [][]float64{r, q}, ""
}

// svdOf returns U, V and the singular values.
func svdOf(in ...[]float64) ([][]float64, string) {
	a := matrix(in[0], in[1])
	m, n := a.Dims()
	kind := mat.SVDThin
	if mat.SVDKind(in[1][2]) == mat.SVDFull {
		kind = mat.SVDFull
		fits(max(m, n))
	}
	var svd mat.SVD
	if !svd.Factorize(a, kind) {
		return nil, "no"
	}
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	return [][]float64{flatten(&u), flatten(&v), svd.Values(nil)}, ""
}

// swingOf is dampedOscillation in the parameters of the search. A text is what is wrong.
func swingOf(in ...[]float64) ([][]float64, string) {
	t, y, weights, n := in[0], in[1], in[2], len(in[3])
	if err := errors.Join(arg.Rising("", "t", t, "time in s"), arg.SameLength("", "t", len(t), "y", len(y)), arg.AllFinite("", "y", y, "reading"),
		arg.SameLength("", "t", len(t), "weights", len(weights)), arg.AllFinite("", "weights", weights, "weight"), arg.AtLeast("", "t", len(t), n)); err != nil || n != 5 && n != 6 {
		panic("the host was handed no oscillation")
	}
	s := newSwing(t, y, weights, n)
	found := &search{p: s.start(), chi2: s.chi2, linearise: s.linearise, enough: 1e-20, loose: looseAnalytic, noise: 0x1p-53 * weightedNorm(y, weights),
		advice: "take a record that holds more of a swing (half a period at the least), or one with less noise",
		lower:  boundsOf(nil, n, math.Inf(-1)), upper: boundsOf(nil, n, math.Inf(1))}
	r, chi2, iterations, err := found.minimum()
	said := ""
	if err != nil {
		said = err.Error()
	}
	if r == nil {
		return nil, said
	}
	inner := newResult(found, r, chi2, len(y), len(in[4]) > 0, oscillationNames[:n])
	inner.Iterations = iterations
	inner.P[inOmega] = s.slowest(inner.P[inOmega])
	s.evaluate(inner.P)
	inner.Residuals = make([]float64, len(y))
	for i := range y {
		inner.Residuals[i] = -s.f[i] / weights[i]
	}
	return inner.lists(), said
}

// linearOf solves a weighted linear problem among p = (particular + basis t)/scale.
func linearOf(in ...[]float64) ([][]float64, string) {
	y, weights, particular := in[1], in[2], in[3]
	m, n := len(y), len(particular)
	if m == 0 || n == 0 || len(weights) != m || len(in[0])%m != 0 || len(in[0])/m != n || len(in[4])%n != 0 {
		panic("the host was handed no linear problem")
	}
	fits(n)
	w := mat.NewDense(m, n, append([]float64(nil), in[0]...))
	scale := columnNorms(w)
	for i := range m {
		row := w.RawRowView(i)
		for j := range row {
			row[j] /= scale[j]
		}
	}
	free, basis := len(in[4])/n, (*mat.Dense)(nil)
	if free > 0 {
		fits(free)
		basis = mat.NewDense(n, free, in[4])
	}
	scaled := len(in[5]) > 0
	result := &Result{P: make([]float64, n), U: make([]float64, n), Cov: mat.NewSymDense(n, nil), DoF: m - free,
		Scaled: scaled, Names: names(nil, n), Residuals: make([]float64, m)}

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
			return nil, linearTooLarge
		}
		r, q := triangle(jf)
		var ok bool
		if svd, ok = newScaledSVD(r, columnNorms(r)); !ok {
			return nil, linearUnsolved
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
	return result.lists(), ""
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
