package signal

import "math"

// cholesky solves a·x = b for a symmetric positive definite matrix (rows of
// equal length, only the lower triangle is read) and returns x and the inverse
// diagonal of a. ok is false when a column is, to twelve digits, a sum of the
// others: then the question has no single answer. Columns are scaled first, so
// that units do not decide.
func cholesky(a [][]float64, b []float64) (x, inverse []float64, ok bool) {
	n := len(b)
	scale := make([]float64, n)
	l := make([][]float64, n)
	for i := range n {
		if !(a[i][i] > 0) || math.IsInf(a[i][i], 1) {
			return nil, nil, false
		}
		scale[i] = 1 / math.Sqrt(a[i][i])
	}
	for i := range n {
		l[i] = make([]float64, i+1)
		for j := 0; j <= i; j++ {
			s := a[i][j] * scale[i] * scale[j]
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = s / l[j][j]
				continue
			}
			if !(s > 1e-12) {
				return nil, nil, false
			}
			l[i][i] = math.Sqrt(s)
		}
	}
	solve := func(v []float64) {
		for i := range n {
			for k := range i {
				v[i] -= l[i][k] * v[k]
			}
			v[i] /= l[i][i]
		}
		for i := n - 1; i >= 0; i-- {
			for k := i + 1; k < n; k++ {
				v[i] -= l[k][i] * v[k]
			}
			v[i] /= l[i][i]
		}
	}
	x = make([]float64, n)
	for i := range n {
		x[i] = b[i] * scale[i]
	}
	solve(x)
	inverse = make([]float64, n)
	unit := make([]float64, n)
	for i := range n {
		clear(unit)
		unit[i] = 1
		solve(unit)
		inverse[i] = unit[i] * scale[i] * scale[i]
		x[i] *= scale[i]
	}
	return x, inverse, true
}
