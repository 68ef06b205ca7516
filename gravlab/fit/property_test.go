package fit

import (
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// TestNoPanic: whatever the numbers and lengths, an answer or an error.
func TestNoPanic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slice := func(name string) []float64 {
			if rapid.Bool().Draw(t, name+" ordinary") {
				return rapid.SliceOfN(rapid.Float64Range(-10, 10), 0, 12).Draw(t, name)
			}
			return rapid.SliceOfN(rapid.Float64(), 0, 12).Draw(t, name)
		}
		x, y, u := slice("x"), slice("y"), slice("u")
		if rapid.Bool().Draw(t, "same length") {
			n := min(len(x), len(y), len(u))
			x, y, u = x[:n], y[:n], u[:n]
		}
		if rapid.Bool().Draw(t, "no sigma") {
			u = nil
		}
		WeightedMean(y, u)
		DampedOscillation(x, y, u)
		DampedOscillationDrift(x, y, u)
		Curve{X: x, Y: y, Sigma: u, Model: decay, Start: slice("start")[:0]}.Fit()
		start := rapid.SliceOfN(rapid.Float64(), 2, 2).Draw(t, "two")
		if r, err := (Curve{X: x, Y: y, Sigma: u, Model: decay, Start: start, Lower: slice("lower"), Upper: slice("upper")}).Fit(); err == nil {
			_ = r.String()
		}
		if r, err := (Curve{X: x, Y: y, Sigma: u, Model: decay, Start: start}).Fit(); err == nil {
			r.Correlation(0, 1)
			r.PValue()
			r.CoverageFactor(0.95)
		}
		if len(x) == 0 {
			return
		}
		a := mat.NewDense(1+len(x)/3, 3, append(append([]float64{}, x...), 1, 2, 3, 4, 5)[:3*(1+len(x)/3)])
		Linear(a, y, u)
		LinearConstrained(a, y, u, mat.NewDense(1, len(x), x), y)
		LinearConstrained(a, y, u, mat.NewDense(1, 3, []float64{1, 0, x[0]}), y[:min(1, len(y))])
		if d, err := Damp(a, y, u); err == nil {
			d.Solve(x[0])
			d.Discrepancy(x[0])
			d.Corner()
			d.LCurve(5)
		}
	})
}
