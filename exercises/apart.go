package exercises

import (
	"math"

	"gravity.example/gravlab/judge"
)

// measuredApart returns the value v that a mistake leads to, or NaN where it
// lies so near the right value of a measured question with the uncertainty u, or
// the values of other mistakes, that no answer could tell which was made.
func measuredApart(v, right, u float64, others ...float64) float64 {
	for _, o := range append(others, right) {
		if math.Abs(v-o) < 2.5*judge.CoverageFactor*u {
			return math.NaN()
		}
	}
	return v
}

// apartFrom returns the values that mistakes lead to, with NaN for those that
// lie within distance of the right one or of an earlier one.
func apartFrom(right, distance float64, values ...float64) []float64 {
	taken := []float64{right}
	for i, v := range values {
		for _, o := range taken {
			if math.Abs(v-o) < distance {
				values[i] = math.NaN()
			}
		}
		taken = append(taken, v)
	}
	return values
}
