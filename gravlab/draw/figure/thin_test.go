package figure

import (
	"math"
	"slices"
	"testing"
)

func ramp(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(i)
	}
	return x
}

// A thinned figure has no more points than it may, keeps every peak, both ends and
// short series whole, and leaves the original alone.
func TestThin(t *testing.T) {
	const n = 300_000
	x, y, u := ramp(n), make([]float64, n), make([]float64, n)
	for i := range x {
		y[i], u[i] = math.Sin(float64(i)/1e4), float64(i)
	}
	y[123_456], y[200_001] = 7, -9
	axis := Axis{Label: "a", Unit: "m"}
	f := &Figure{X: axis, Y: axis, Series: []Series{{Name: "long", Kind: Line, X: x, Y: y, U: u}, {Name: "short", Kind: Points, X: ramp(50), Y: ramp(50)}}}
	f.AddResiduals("m", x, y, nil, ramp(n))
	for _, most := range []int{20_000, 1001, 180} {
		g := Thin(f, most)
		if err := g.Validate(); err != nil {
			t.Error(err)
		}
		points := 0
		for _, p := range g.Panels() {
			for _, s := range p.Series {
				points += len(s.X)
			}
		}
		if points > most || points < most-6 {
			t.Errorf("%d points, of %d that there may be", points, most)
		}
		s := g.Series[0]
		if lo, hi := Range(s.Y); lo != -9 || hi != 7 {
			t.Errorf("%d points: from %v to %v, want -9 to 7", most, lo, hi)
		}
		if !slices.IsSorted(s.X) || !slices.Equal(s.X, s.U) || s.X[0] != 0 || s.X[len(s.X)-1] != n-1 {
			t.Errorf("%d points: x out of order, an uncertainty at another point, or an end lost", most)
		}
		if len(slices.Compact(slices.Clone(s.X))) != len(s.X) {
			t.Errorf("%d points: one stands twice", most)
		}
		if len(g.Series[1].X) != 50 {
			t.Errorf("%d points: of 50 points %d are left where all fit", most, len(g.Series[1].X))
		}
	}
	if len(f.Series[0].X) != n || len(f.Under[0].Series[0].X) != n {
		t.Error("the original was changed")
	}
	if Thin(f, 2*n+50) != f {
		t.Error("a figure that fits was thinned")
	}
}

// Gaps cost no point: readings with gaps between keep their readings, and a long
// gap stays a gap.
func TestThinGaps(t *testing.T) {
	const n = 30_000
	y := make([]float64, n)
	for i := range y {
		y[i] = math.Sin(float64(i) / 1000)
		if i%3 == 0 || i >= 10_000 && i < 11_000 {
			y[i] = math.NaN()
		}
	}
	axis := Axis{Label: "a", Unit: "m"}
	s := Thin(&Figure{X: axis, Y: axis, Series: []Series{{Kind: Line, X: ramp(n), Y: y}}}, 10_000).Series[0]
	gaps := 0
	for i, v := range s.Y {
		inside := s.X[i] >= 10_000 && s.X[i] < 11_000
		if !math.IsNaN(v) {
			if inside {
				t.Fatalf("a reading of %v at %v, inside the gap", v, s.X[i])
			}
			continue
		}
		gaps++
		if !inside && i > 0 && i < len(s.Y)-1 {
			t.Errorf("a gap at %v, where there are readings", s.X[i])
		}
	}
	if gaps < 100 || gaps > 400 {
		t.Errorf("%d gaps of %d points, in one gap of a thirtieth of the line", gaps, len(s.Y))
	}
}
