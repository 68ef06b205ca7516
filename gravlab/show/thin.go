package show

import (
	"math"

	"gravity.example/gravlab/draw/figure"
)

// room is how many numbers fit into one frame beside the head.
const room = 120_000

// mostPoints is how many points a long series keeps at most when a figure has to
// be thinned: several for each dot across a screen.
const mostPoints = 8_000

// thin returns f, or a copy that fits into a frame: of each stretch of a long
// series only the lowest and the highest point are kept, which looks the same.
func thin(f *figure.Figure) *figure.Figure {
	if count(f) <= room {
		return f
	}
	n := 0
	for _, p := range f.Panels() {
		n += len(p.Series)
	}
	keep := min(mostPoints, room/3/n) // X, Y and U
	g := *f
	g.Series = thinned(f.Series, keep)
	g.Under = append([]figure.Panel(nil), f.Under...)
	for i := range g.Under {
		g.Under[i].Series = thinned(g.Under[i].Series, keep)
	}
	return &g
}

func count(f *figure.Figure) int {
	n := 0
	for _, p := range f.Panels() {
		for _, s := range p.Series {
			n += len(s.X) + len(s.Y) + len(s.U)
		}
	}
	return n
}

func thinned(list []figure.Series, keep int) []figure.Series {
	list = append([]figure.Series(nil), list...)
	for i, s := range list {
		n := len(s.X)
		whole := len(s.Y) == n && (len(s.U) == n || len(s.U) == 0)
		if n <= keep || !whole {
			continue
		}
		t := s
		t.X, t.Y, t.U = nil, nil, nil
		stretches := keep / 2
		for b := range stretches {
			lo, hi := b*n/stretches, (b+1)*n/stretches
			low, high := lo, lo
			for k := lo; k < hi; k++ {
				// A NaN, which is a gap, is replaced by what follows it.
				if s.Y[k] < s.Y[low] || math.IsNaN(s.Y[low]) {
					low = k
				}
				if s.Y[k] > s.Y[high] || math.IsNaN(s.Y[high]) {
					high = k
				}
			}
			for _, k := range []int{min(low, high), max(low, high)} {
				t.X, t.Y = append(t.X, s.X[k]), append(t.Y, s.Y[k])
				if len(s.U) > 0 {
					t.U = append(t.U, s.U[k])
				}
			}
		}
		list[i] = t
	}
	return list
}
