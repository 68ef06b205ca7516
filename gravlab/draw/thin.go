package draw

import (
	"math"

	"gonum.org/v1/plot/vg"

	"gravity.example/gravlab/draw/figure"
)

// column is the width of a column in which a line is thinned, in points. A
// figure on a screen has about as many pixels.
const column = 0.75

// thin keeps of a line, in each column, the first, the last, the lowest and the
// highest point, in their order.
func thin(pts []vg.Point) []vg.Point {
	kept := thinned(len(pts), func(i int) (x, y float64) { return float64(pts[i].X) / column, float64(pts[i].Y) })
	out := make([]vg.Point, len(kept))
	for i, k := range kept {
		out[i] = pts[k]
	}
	return out
}

// thinned returns the indices of the points of a line that are kept; x counts
// columns. Lines that go back and forth in x stay right: a column begins anew
// whenever x leaves it.
func thinned(n int, at func(i int) (x, y float64)) []int {
	y := func(i int) float64 { _, y := at(i); return y }
	var kept []int
	for i := 0; i < n; {
		x, _ := at(i)
		col, j := math.Floor(x), i+1
		for ; j < n; j++ {
			if x, _ := at(j); math.Floor(x) != col {
				break
			}
		}
		lo, hi := figure.Extremes(i, j, y)
		last := -1
		for _, k := range []int{i, min(lo, hi), max(lo, hi), j - 1} {
			if k > last {
				kept = append(kept, k)
				last = k
			}
		}
		i = j
	}
	return kept
}

// mostDots is how many points of a series are drawn one by one.
const mostDots = 3000

// spread returns the indices of points to be drawn: all, or so many that no two
// lie in the same cell of a grid which is as coarse as needed. A point that lies
// apart from the others is always kept.
func spread(pts []vg.Point) []int {
	all := make([]int, len(pts))
	for i := range all {
		all[i] = i
	}
	if len(pts) <= mostDots {
		return all
	}
	for cell := 0.75; ; cell *= 1.5 {
		type key struct{ x, y int32 }
		taken := map[key]bool{}
		kept := all[:0:0]
		for i, p := range pts {
			k := key{int32(float64(p.X) / cell), int32(float64(p.Y) / cell)}
			if !taken[k] {
				taken[k] = true
				kept = append(kept, i)
			}
		}
		if len(kept) <= mostDots {
			return kept
		}
	}
}
