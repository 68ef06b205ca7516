package signal

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Range is the samples From, From+1, ..., To-1 of a record.
type Range struct{ From, To int }

// Gaps returns the runs of missing samples (NaN) of x.
func Gaps(x []float64) []Range {
	return runs(len(x), func(i int) bool { return math.IsNaN(x[i]) })
}

// runs returns the ranges over which is(i) holds.
func runs(n int, is func(int) bool) []Range {
	var out []Range
	for i := 0; i < n; i++ {
		if !is(i) {
			continue
		}
		j := i + 1
		for j < n && is(j) {
			j++
		}
		out = append(out, Range{i, j})
		i = j
	}
	return out
}

// Clipped returns the runs of at least three equal samples that stand at the
// largest or the smallest value of x: what a converter or an amplifier at its
// end leaves. A record that is coarsely digitised can show such runs without
// having been clipped, and one whose clipping carries noise hides them; look.
// A constant record is one run.
func Clipped(x []float64) []Range {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		lo, hi = math.Min(lo, nanTo(v, lo)), math.Max(hi, nanTo(v, hi))
	}
	var out []Range
	for _, r := range runs(len(x), func(i int) bool { return x[i] == lo || x[i] == hi }) {
		// A run may change from one end to the other.
		for from := r.From; from < r.To; {
			to := from + 1
			for to < r.To && x[to] == x[from] {
				to++
			}
			if to-from >= 3 {
				out = append(out, Range{from, to})
			}
			from = to
		}
	}
	return out
}

func nanTo(v, other float64) float64 {
	if math.IsNaN(v) {
		return other
	}
	return v
}

// Mask returns a copy of x in which the samples of the ranges, and margin
// samples on either side of each, are missing (NaN). Parts of ranges outside
// the record, and a negative margin, count for nothing.
func Mask(x []float64, ranges []Range, margin int) []float64 {
	out := append([]float64(nil), x...)
	margin = max(min(margin, len(x)), 0)
	for _, r := range ranges {
		for i := max(max(r.From, 0)-margin, 0); i < min(min(r.To, len(x))+margin, len(x)); i++ {
			if r.From < r.To {
				out[i] = math.NaN()
			}
		}
	}
	return out
}

// Regularise puts values taken at times t (s, rising) on a grid of equal steps that
// begins at t[0], rate samples per second. Where the grid has no value it is NaN.
// A time that lies more than a tenth of a step off the grid is an error, for
// then the clock or the rate is wrong; so is a record with more than 100 missing
// samples for each one present.
func Regularise(t, x []float64, rate float64) ([]float64, error) {
	const fn = "signal.Regularise"
	if err := arg.SameLength(fn, "t", len(t), "x", len(x)); err != nil {
		return nil, err
	}
	if err := arg.AtLeast(fn, "t", len(t), 1); err != nil {
		return nil, err
	}
	if err := checkRate(fn, rate); err != nil {
		return nil, err
	}
	if err := arg.Rising(fn, "t", t, "time in s"); err != nil {
		return nil, err
	}
	span := (t[len(t)-1] - t[0]) * rate
	if !(span < 100*float64(len(t))) {
		return nil, arg.Bad(fn, "rate", rate, fmt.Sprintf("a rate that fits the times: %d values would fill %g places", len(t), span))
	}
	out := make([]float64, int(math.Round(span))+1)
	for i := range out {
		out[i] = math.NaN()
	}
	last := -1
	for i, v := range x {
		place := (t[i] - t[0]) * rate
		k := int(math.Round(place))
		if math.Abs(place-float64(k)) > 0.1 || k == last {
			return nil, arg.Bad(fn, fmt.Sprintf("t[%d]", i), t[i], fmt.Sprintf("a time within a tenth of a step (%g s) of the grid, one for each place", 1/rate))
		}
		out[k], last = v, k
	}
	return out, nil
}
