package marking

import (
	"math"
	"testing"

	"gravity.example/gravlab/bank"
)

// A class of five by hand. Question a: 2 2 1 0 0 of 2; question b: 3 2 2 1 0 of 3.
func TestItemStatistics(t *testing.T) {
	b := &marksBook{questions: []bank.Question{{ID: "a", Marks: 2}, {ID: "b", Marks: 3}}}
	for i, a := range []float64{2, 2, 1, 0, 0} {
		r := row{item: &item{}, cells: []cell{{BookMark: BookMark{Earned: a, Counts: true}, outcome: "right"}, {BookMark: BookMark{Earned: []float64{3, 2, 2, 1, 0}[i], Counts: true}, outcome: "slip", slip: "s"}}}
		b.rows = append(b.rows, r)
	}
	b.rows = append(b.rows, row{cells: make([]cell, 2)}) // missing: counts nowhere
	s := b.itemStatistics()
	if s[0].N != 5 || s[0].MeanFraction != 0.5 || math.Abs(s[1].MeanFraction-8.0/15) > 1e-15 || s[1].Slips["s"] != 5 {
		t.Errorf("%+v", s)
	}
	// With means 1 and 1.6: sum of products 4, of squares 4 and 5.2.
	if want := 4 / math.Sqrt(4*5.2); math.Abs(s[0].FollowsRest-want) > 1e-15 || math.Abs(s[1].FollowsRest-want) > 1e-15 {
		t.Errorf("follows the rest %v and %v, want %v", s[0].FollowsRest, s[1].FollowsRest, want)
	}
	b.rows[0].cells[0].Waits = true
	if s := b.itemStatistics(); !math.IsNaN(s[0].MeanFraction) || !math.IsNaN(s[0].FollowsRest) {
		t.Error("a question with texts that wait has numbers")
	}
	b.rows = b.rows[:4]
	b.rows[0].cells[0].Waits = false
	if s := b.itemStatistics(); !math.IsNaN(s[0].FollowsRest) || math.IsNaN(s[0].MeanFraction) {
		t.Errorf("four sheets: %+v", s[0])
	}
}

func TestSpread(t *testing.T) {
	s := spreadOf([]float64{1, 4, 4, 7.5, 33}, 33)
	if s.mean != 9.9 || s.median != 4 || s.lowest != 1 || s.highest != 33 {
		t.Errorf("%+v", s)
	}
	n := 0
	for i, b := range s.bins {
		n += b.n
		if i > 0 && b.from != s.bins[i-1].to+1 {
			t.Errorf("between %v and %v", s.bins[i-1], b)
		}
	}
	if n != 5 || len(s.bins) > 21 || s.bins[len(s.bins)-1].to != 33 || s.bins[len(s.bins)-1].n != 1 {
		t.Errorf("%d in %d bins: %+v", n, len(s.bins), s.bins)
	}
	if s := spreadOf([]float64{2, 4}, 5); s.median != 3 || math.Abs(s.deviation-math.Sqrt2) > 1e-15 {
		t.Errorf("%+v", s)
	}
}
