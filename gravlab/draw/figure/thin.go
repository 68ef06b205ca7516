package figure

import (
	"math"
	"slices"
)

// Thin returns f, or a copy in which all series together have at most the given
// number of points. Short series stay whole, and the long ones keep the same
// number: the first point, the last, and the lowest and the highest of each
// stretch between, so that peaks stay. A gap stays if it fills a stretch. A series
// keeps at least two points, whatever the number.
func Thin(f *Figure, points int) *Figure {
	var lengths []int
	for _, p := range f.Panels() {
		for _, s := range p.Series {
			lengths = append(lengths, len(s.X))
		}
	}
	each, long := fairShare(lengths, points)
	if !long {
		return f
	}
	g := *f
	g.Series = thinned(f.Series, each)
	g.Under = slices.Clone(f.Under)
	for i := range g.Under {
		g.Under[i].Series = thinned(g.Under[i].Series, each)
	}
	return &g
}

// fairShare is the largest number of points that each of the series may have, if
// the shorter ones leave to the longer ones what they do not need. long is false if
// all of them fit whole.
func fairShare(lengths []int, points int) (each int, long bool) {
	slices.Sort(lengths)
	for i, n := range lengths {
		each = points / (len(lengths) - i)
		if n > each {
			return max(each, 2), true
		}
		points -= n
	}
	return 0, false
}

func thinned(list []Series, most int) []Series {
	list = slices.Clone(list)
	for i, s := range list {
		n := len(s.X)
		whole := len(s.Y) == n && (len(s.U) == n || len(s.U) == 0)
		if n <= most || !whole {
			continue
		}
		y := func(k int) float64 { return s.Y[k] }
		kept := []int{0}
		stretches := (most - 2) / 2
		for b := range stretches {
			lo, hi := Extremes(1+b*(n-2)/stretches, 1+(b+1)*(n-2)/stretches, y)
			kept = append(kept, min(lo, hi))
			if lo != hi {
				kept = append(kept, max(lo, hi))
			}
		}
		kept = append(kept, n-1)
		list[i].X, list[i].Y, list[i].U = pick(s.X, kept), pick(s.Y, kept), pick(s.U, kept)
	}
	return list
}

// Extremes returns the places of the lowest and of the highest among y(from) to
// y(to-1). A NaN is neither of them, unless all are NaN.
func Extremes(from, to int, y func(int) float64) (lo, hi int) {
	lo, hi = from, from
	lowest := y(from)
	highest := lowest
	for k := from + 1; k < to; k++ {
		v := y(k)
		if v < lowest || math.IsNaN(lowest) {
			lo, lowest = k, v
		}
		if v > highest || math.IsNaN(highest) {
			hi, highest = k, v
		}
	}
	return lo, hi
}

func pick(v []float64, kept []int) []float64 {
	if len(v) == 0 {
		return v
	}
	out := make([]float64, len(kept))
	for i, k := range kept {
		out[i] = v[k]
	}
	return out
}
