package marking

import (
	"math"
	"slices"

	"gravity.example/gravlab/judge"
)

// An itemStatistic says how a question worked in a class.
type itemStatistic struct {
	// MeanFraction is the mean of the marks over the marks that could be had: 1 if
	// everybody had all. FollowsRest is the correlation (Pearson) of the question's
	// marks with the marks for all other questions: the corrected item-total
	// correlation. NaN where there is nothing to compute it from.
	//
	// Both are the usual ones of test analysis; common practice, no source.
	MeanFraction, FollowsRest float64
	N                         int // sheets that it is computed from
	Outcomes                  map[judge.Outcome]int
	Slips                     map[string]int
	Adjusted                  int
}

// fewest is the number of sheets below which a correlation says next to nothing.
const fewest = 5

// itemStatistics looks at the marked sheets. A question of which a text still waits for
// its marks has neither number.
func (b *marksBook) itemStatistics() []itemStatistic {
	out := make([]itemStatistic, len(b.questions))
	for i, q := range b.questions {
		s := itemStatistic{Outcomes: map[judge.Outcome]int{}, Slips: map[string]int{}}
		var own, others []float64
		waits := false
		for _, r := range b.rows {
			if !r.marked() {
				continue
			}
			c := r.cells[i]
			if c.outcome == judge.OutcomeWaiting && !c.Waits {
				s.Outcomes[readByLecturer]++
			} else {
				s.Outcomes[c.outcome]++
			}
			if c.slip != "" {
				s.Slips[c.slip]++
			}
			if c.Adjusted {
				s.Adjusted++
			}
			waits = waits || c.Waits
			own = append(own, c.Earned)
			others = append(others, r.marks().Total()-c.Earned)
		}
		s.N = len(own)
		s.MeanFraction, s.FollowsRest = mean(own)/float64(q.Marks), math.NaN()
		if waits {
			s.MeanFraction = math.NaN()
		} else if s.N >= fewest {
			s.FollowsRest = correlation(own, others)
		}
		out[i] = s
	}
	return out
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// correlation is Pearson's; NaN if one of the two does not vary.
func correlation(x, y []float64) float64 {
	mx, my := mean(x), mean(y)
	var sxx, syy, sxy float64
	for i := range x {
		dx, dy := x[i]-mx, y[i]-my
		sxx, syy, sxy = sxx+float64(dx*dx), syy+float64(dy*dy), sxy+float64(dx*dy)
	}
	if sxx <= 1e-12 || syy <= 1e-12 {
		return math.NaN()
	}
	return sxy / math.Sqrt(sxx*syy)
}

// spread is how the totals are spread.
type spread struct {
	mean, median, deviation float64
	lowest, highest         float64
	bins                    []bin
}

// A bin counts totals from From to To; both count, and bins do not overlap for
// whole marks.
type bin struct {
	from, to float64
	n        int
}

func spreadOf(totals []float64, of int) spread {
	s := spread{mean: math.NaN(), median: math.NaN(), deviation: math.NaN(), lowest: math.NaN(), highest: math.NaN()}
	width := 1
	for of/width >= 21 {
		width++
	}
	for from := 0; from <= of; from += width {
		s.bins = append(s.bins, bin{from: float64(from), to: float64(min(from+width-1, of))})
	}
	if len(totals) == 0 {
		return s
	}
	sorted := slices.Sorted(slices.Values(totals))
	n := len(sorted)
	s.mean, s.median = mean(sorted), (sorted[(n-1)/2]+sorted[n/2])/2
	s.lowest, s.highest = sorted[0], sorted[n-1]
	if n > 1 {
		sum := 0.0
		for _, v := range sorted {
			sum += float64((v - s.mean) * (v - s.mean))
		}
		s.deviation = math.Sqrt(sum / float64(n-1))
	}
	for _, v := range sorted {
		s.bins[max(0, min(int(v)/width, len(s.bins)-1))].n++
	}
	return s
}
