package buried

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// regional returns the columns that are fitted beside any body: one, and the
// coordinates that vary, centred and scaled.
func regional(stations []r3.Vec) [][]float64 {
	columns := [][]float64{make([]float64, len(stations))}
	for i := range stations {
		columns[0][i] = 1
	}
	for _, coordinate := range []func(r3.Vec) float64{func(v r3.Vec) float64 { return v.X }, func(v r3.Vec) float64 { return v.Y }} {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, s := range stations {
			lo, hi = min(lo, coordinate(s)), max(hi, coordinate(s))
		}
		if hi <= lo {
			continue
		}
		column := make([]float64, len(stations))
		for i, s := range stations {
			column[i] = (coordinate(s) - (lo+hi)/2) / (hi - lo)
		}
		columns = append(columns, column)
	}
	return columns
}

// without takes from v, in place, its parts along the orthonormal basis, twice
// over so that nothing is left to rounding.
func without(v []float64, basis [][]float64) {
	for range 2 {
		for _, b := range basis {
			d := dot(v, b)
			for i := range v {
				v[i] -= d * b[i]
			}
		}
	}
}

// extend adds the direction of v to an orthonormal basis, unless v lies in it.
func extend(basis [][]float64, v []float64) [][]float64 {
	w := append([]float64(nil), v...)
	before := math.Sqrt(dot(w, w))
	without(w, basis)
	n := math.Sqrt(dot(w, w))
	if !(n > 1e-9*before) {
		return basis
	}
	for i := range w {
		w[i] /= n
	}
	return append(basis, w)
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}
