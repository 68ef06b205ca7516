package exercises

import (
	"math"
	"sync"

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

// valueOf is an answer that builds on no other.
func valueOf(v float64) func(Known) float64 { return func(Known) float64 { return v } }

// tellApart sets values that lie too near the right one, or near one before
// them, to NaN: such a slip leads nowhere on this sheet.
func tellApart(tol judge.Tolerance, right float64, values ...float64) []float64 {
	allowed := func(v float64) float64 { return math.Max(tol.Abs, tol.Rel*math.Abs(v)) }
	kept := []float64{right}
	for i, v := range values {
		for _, k := range kept {
			if !(math.Abs(v-k) > 2.05*math.Max(allowed(v), allowed(k))) {
				values[i] = math.NaN()
			}
		}
		if !math.IsNaN(values[i]) {
			kept = append(kept, v)
		}
	}
	return values
}

// measuredSlips turns mistakes into slips, without those that lie too near the
// right answer, or near one before them, to be told apart on this sheet.
func measuredSlips(right, u func() float64, slips ...Slip) []Slip {
	values := sync.OnceValue(func() []float64 {
		kept, out := []float64{right()}, make([]float64, len(slips))
		for i, s := range slips {
			out[i] = s.Value(nil)
			for _, k := range kept {
				if !(math.Abs(out[i]-k) > 2.05*judge.CoverageFactor*u()) {
					out[i] = math.NaN()
				}
			}
			if !math.IsNaN(out[i]) {
				kept = append(kept, out[i])
			}
		}
		return out
	})
	told := make([]Slip, len(slips))
	for i, s := range slips {
		told[i] = Slip{Name: s.Name, Value: func(Known) float64 { return values()[i] }, Fix: s.Fix}
	}
	return told
}
