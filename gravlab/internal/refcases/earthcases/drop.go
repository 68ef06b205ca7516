package earthcases

import (
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/internal/check"
	"gravity.example/testdata"
)

// drops are the heights that a fitted parabola belongs to.
func drops() []check.Case {
	exact := func(id, quantity string, want float64, times ...float64) check.Case {
		return check.Case{
			ID: "earth-" + id, Quantity: quantity, Unit: "1", Want: want,
			Tol: check.Tolerance{Rel: closed, Why: closedWhy}, Source: testdata.Find(testdata.Examples, id)["source"], Known: check.Read, Published: true,
			Got: func() (float64, error) { return earth.DropReference(times) },
		}
	}
	many := make([]float64, 4001)
	for i := range many {
		many[i] = float64(i)
	}
	return []check.Case{
		exact("drop-01", "height of a fall read three times", 7.0/24, 0, 0.5, 1),
		exact("drop-02", "height of a throw read three times", 1.0/6, -1, 0, 1),
		{
			ID: "earth-drop-many", Quantity: "height of a fall read often", Unit: "1", Want: 2.0 / 7,
			Tol: check.Tolerance{Abs: 1e-3, Why: "4,001 readings instead of infinitely many: one part in their number"}, Known: check.Computed,
			Source: "projection of t⁴ on a parabola by Legendre polynomials, exact",
			Got:    func() (float64, error) { return earth.DropReference(many) },
		},
	}
}
