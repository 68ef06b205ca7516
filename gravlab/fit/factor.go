package fit

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// triangle returns the upper triangular R (n by n) and q = Qᵀf of the
// factorisation J = Q R. Factorising the m by n+1 matrix (J f) gives both at
// once: its last column is q on top of the part of f that no parameter
// reaches. jf may be overwritten.
func triangle(jf *mat.Dense) (r *mat.Dense, q []float64) {
	m, n := jf.Dims()
	out, _ := triangleRoutine(flatten(jf), []float64{float64(m), float64(n)})
	return mat.NewDense(n-1, n-1, out[0]), out[1]
}

// flatten returns the numbers of a matrix, row by row; they may be its own.
func flatten(a *mat.Dense) []float64 {
	raw := a.RawMatrix()
	if raw.Stride == raw.Cols {
		return raw.Data[:raw.Rows*raw.Cols]
	}
	return mat.DenseCopyOf(a).RawMatrix().Data
}

// columnNorms returns the length of each column, 1 for a column of zeros.
func columnNorms(a mat.Matrix) []float64 {
	m, n := a.Dims()
	norms := make([]float64, n)
	for j := range norms {
		for i := range m {
			norms[j] = math.Hypot(norms[j], a.At(i, j))
		}
		if norms[j] == 0 {
			norms[j] = 1
		}
	}
	return norms
}

// scaledSVD factorises A diag(1/scale) = U diag(s) Vᵀ.
type scaledSVD struct {
	u, v  mat.Dense
	s     []float64
	scale []float64
}

func newScaledSVD(a mat.Matrix, scale []float64) (*scaledSVD, bool) {
	m, n := a.Dims()
	b := mat.NewDense(m, n, nil)
	for i := range m {
		for j := range n {
			b.Set(i, j, a.At(i, j)/scale[j])
		}
	}
	u, v, s, ok := factorise(b, mat.SVDThin)
	if !ok {
		return nil, false
	}
	return &scaledSVD{u: *u, v: *v, s: s, scale: scale}, true
}

// factorise returns a = U diag(s) Vᵀ; mat.SVDFull wants all columns of U and V, which may
// take more memory than a does.
func factorise(a *mat.Dense, kind mat.SVDKind) (u, v *mat.Dense, s []float64, ok bool) {
	m, n := a.Dims()
	out, failed := svdRoutine(flatten(a), []float64{float64(m), float64(n), float64(kind)})
	if failed != "" {
		return nil, nil, nil, false
	}
	return mat.NewDense(m, len(out[0])/m, out[0]), mat.NewDense(n, len(out[1])/n, out[1]), out[2], true
}

// uTimes returns Uᵀx.
func (f *scaledSVD) uTimes(x []float64) []float64 {
	b := make([]float64, len(f.s))
	for k := range b {
		for i, xi := range x {
			b[k] += f.u.At(i, k) * xi
		}
	}
	return b
}

// vTimes returns diag(1/scale) V c.
func (f *scaledSVD) vTimes(c []float64) []float64 {
	x := make([]float64, len(f.scale))
	for j := range x {
		for k, ck := range c {
			x[j] += f.v.At(j, k) * ck
		}
		x[j] /= f.scale[j]
	}
	return x
}

// rank counts the singular values above limit times the largest.
func (f *scaledSVD) rank(limit float64) int {
	rank := 0
	for _, s := range f.s {
		if s > limit*f.s[0] {
			rank++
		}
	}
	return rank
}

// covariance returns (AᵀA)⁻¹, as a pseudo-inverse of the given rank, and which
// columns take part in the directions left out.
func (f *scaledSVD) covariance(rank int, limit float64) (cov *mat.SymDense, loose []bool) {
	n := len(f.scale)
	cov = mat.NewSymDense(n, nil)
	loose = make([]bool, n)
	for i := range n {
		for j := i; j < n; j++ {
			sum := 0.0
			for k := range rank {
				sum += f.v.At(i, k) / f.s[k] * f.v.At(j, k) / f.s[k]
			}
			cov.SetSym(i, j, sum/f.scale[i]/f.scale[j])
		}
		// What the kept directions leave of the unit vector along parameter i.
		kept := 0.0
		for k := range rank {
			kept += f.v.At(i, k) * f.v.At(i, k)
		}
		loose[i] = rank < n && 1-kept > limit
	}
	return cov, loose
}

// allFinite reports whether a holds neither NaN nor an infinity.
func allFinite(a mat.Matrix) bool {
	m, n := a.Dims()
	dense, _ := a.(*mat.Dense)
	for i := range m {
		if dense != nil {
			sum := 0.0
			for _, v := range dense.RawRowView(i) {
				sum += v - v // NaN unless v is finite
			}
			if sum != 0 {
				return false
			}
			continue
		}
		for j := range n {
			if v := a.At(i, j); math.IsNaN(v) || math.IsInf(v, 0) {
				return false
			}
		}
	}
	return true
}
