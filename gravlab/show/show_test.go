package show

import (
	"math"
	"slices"
	"testing"

	"gravity.example/gravlab/draw/figure"
)

func TestItems(t *testing.T) {
	x, u := []float64{1, 2}, []float64{0.1, 0.2}
	f := build("T", Axis("time", "s"), LogAxis("power", "W"), []Item{
		Line("a", x, x), Points("b", x, x, u), Steps("c", x, x), Band("d", x, x, u),
		Vertical(1, "v"), Horizontal(2, "h"), Label(1, 2, "l"), Span(1, 2, "s"),
		Residuals("W", x, x, u, x), Caption("See."),
	})
	if err := f.Validate(); err != nil {
		t.Fatal(err)
	}
	var kinds []figure.Kind
	for _, s := range f.Series {
		kinds = append(kinds, s.Kind)
	}
	if !slices.Equal(kinds, []figure.Kind{figure.Line, figure.Points, figure.Steps, figure.Band}) {
		t.Errorf("series %v", kinds)
	}
	if f.Series[0].U != nil || f.Series[1].U[1] != 0.2 || len(f.Marks) != 4 || len(f.Under) != 1 || f.Caption != "See." || !f.Y.Log {
		t.Errorf("%+v", f)
	}
}

// A thinned figure keeps every peak and gap-free ends, fits into a frame, and
// leaves the student's slices alone.
func TestThin(t *testing.T) {
	const n = 300_000
	x, y, u := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range x {
		x[i], y[i], u[i] = float64(i), math.Sin(float64(i)/1e4), 0.5
	}
	y[123_456], y[200_001] = 7, -9
	y[5] = math.NaN()
	short := []float64{1, 2, 3}
	f := build("T", Axis("time", "s"), Axis("angle", "rad"), []Item{Line("long", x, y, u), Points("short", short, short), Residuals("rad", x, y, u, y)})
	g := thin(f)
	if count(g) > room {
		t.Errorf("%d numbers, room is for %d", count(g), room)
	}
	if err := g.Validate(); err != nil {
		t.Error(err)
	}
	long := g.Series[0]
	if lo, hi := figure.Range(long.Y); lo != -9 || hi != 7 {
		t.Errorf("from %v to %v, want -9 to 7", lo, hi)
	}
	if !slices.IsSorted(long.X) || len(long.U) != len(long.X) {
		t.Error("x out of order, or u lost")
	}
	if len(g.Series[1].X) != 3 || len(f.Series[0].X) != n || len(f.Under[0].Series[0].X) != n {
		t.Error("a short series or the original was changed")
	}
	var many []Item
	for range 40 {
		many = append(many, Line("one of many", x, y, u))
	}
	if n := count(thin(build("T", f.X, f.Y, many))); n > room {
		t.Errorf("40 series are thinned to %d numbers, room is for %d", n, room)
	}
	if thin(g) != g {
		t.Error("a figure that fits was thinned")
	}
}
