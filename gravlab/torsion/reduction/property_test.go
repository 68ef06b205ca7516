package reduction

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"gravity.example/gravlab/torsion"
)

func anyNumber() *rapid.Generator[float64] {
	return rapid.OneOf(
		rapid.Float64(),
		rapid.Float64Range(0, 1),
		rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Inf(-1), 1e-308, 1e308, 1e-9, 1e9}),
	)
}

// TestFitOfAnything: readings that are no swing give an error or numbers.
func TestFitOfAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		count := rapid.IntRange(0, 30).Draw(t, "count")
		rec := torsion.Recording{
			Times:    make([]float64, count),
			Readings: rapid.SliceOfN(rapid.OneOf(rapid.Float64Range(-1, 1), anyNumber()), count, count).Draw(t, "readings"),
		}
		for i := range rec.Times {
			rec.Times[i] = 10 * float64(i-3)
		}
		if f, err := Fit(rec, Window{}); err == nil && math.IsNaN(f.Period.Value) {
			t.Fatalf("fit %+v without an error", f)
		}
	})
}

// TestBudgetOfAnything: any uncertainty gives numbers or an error.
func TestBudgetOfAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := func(name string) float64 { return anyNumber().Draw(t, name) }
		b := torsion.Skelmire()
		b.BeamMass = rapid.OneOf(rapid.Just(0.0), anyNumber()).Draw(t, "beam")
		u := Uncertainties{n("arm"), n("distance"), n("m"), n("M"), n("r"), n("length"), n("beam mass"), n("inertia"), n("theta"), n("period"), n("r"), n("torque")}
		budget, err := Budget(b, rapid.OneOf(rapid.Just(0.0035), anyNumber()).Draw(t, "deflection"), rapid.OneOf(rapid.Just(600.0), anyNumber()).Draw(t, "T"), u)
		if err != nil {
			return
		}
		if sum := budget.Value + budget.U + budget.Correlated; math.IsNaN(sum) || math.IsInf(sum, 0) {
			t.Fatalf("budget %+v without an error", budget)
		}
		_ = budget.String()
	})
}
