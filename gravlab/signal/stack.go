package signal

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Stack is the mean of what follows each of many starts: what is tied to the
// starts stays, what is not falls as the root of their number.
type Stack struct {
	Mean    []float64 // unit of the record; Mean[0] belongs to the start
	U       []float64 // standard uncertainty of each, from the scatter between starts
	Count   int       // starts that were used
	LeftOut int       // starts too close to an end of the record or to a gap
}

// StackAt averages the stretches of x of the given duration (s) that follow the
// starts (s from the first sample), such as the times at which a machine is
// switched on. Each stretch begins at the sample nearest to its start, so that
// detail faster than about rate/4 is blurred. A stretch that leaves the record
// or holds a missing sample (NaN) is left out and counted. The mean of the
// stretch is not removed. At least two stretches must remain.
func StackAt(x []float64, rate float64, starts []float64, duration float64) (Stack, error) {
	const fn = "signal.StackAt"
	if err := checkRate(fn, rate); err != nil {
		return Stack{}, err
	}
	if err := arg.AllFinite(fn, "starts", starts, "time in s"); err != nil {
		return Stack{}, err
	}
	if !(duration*rate >= 1 && duration*rate <= float64(len(x))) {
		return Stack{}, arg.Bad(fn, "duration", duration, fmt.Sprintf("a time from one sample (%g s) to the length of the record, %g s", 1/rate, float64(len(x))/rate))
	}
	n := int(math.Round(duration * rate))
	s := Stack{Mean: make([]float64, n), U: make([]float64, n)}
next:
	for _, t := range starts {
		place := math.Round(t * rate)
		if !(place >= 0 && place <= float64(len(x)-n)) {
			s.LeftOut++
			continue
		}
		stretch := x[int(place) : int(place)+n]
		for i, v := range stretch {
			if math.IsNaN(v) {
				s.LeftOut++
				continue next
			}
			if !(math.Abs(v) <= largest) {
				return Stack{}, arg.Bad(fn, fmt.Sprintf("x[%d]", int(place)+i), v, "a number below 1e100 in size, or NaN for a missing sample")
			}
		}
		s.Count++
		for i, v := range stretch { // running mean and sum of squares (Welford)
			d := v - s.Mean[i]
			s.Mean[i] += d / float64(s.Count)
			s.U[i] += d * (v - s.Mean[i])
		}
	}
	if s.Count < 2 {
		return Stack{}, arg.Bad(fn, "starts", fmt.Sprintf("of which %d can be used (%d left out)", s.Count, s.LeftOut), "at least two, each followed by a full stretch without a gap")
	}
	for i, q := range s.U {
		s.U[i] = math.Sqrt(q / float64(s.Count-1) / float64(s.Count))
	}
	return s, nil
}

// Resonance reads the highest peak of a density (or of any power) between its
// first and last frequency: the place of the peak, by a parabola through the
// three highest values, and the quality factor f0 over the width at half the
// power. Steps of the frequencies should be several times finer than the width;
// the window widens what it sees (by its ENBW, not in quadrature), so that for
// a narrow line the answer is a lower limit of Q. A peak whose flanks do not
// fall to half inside the range is refused.
func Resonance(freq, power []float64) (f0, q float64, err error) {
	const fn = "signal.Resonance"
	if err := arg.SameLength(fn, "freq", len(freq), "power", len(power)); err != nil {
		return 0, 0, err
	}
	if err := arg.AtLeast(fn, "freq", len(freq), 3); err != nil {
		return 0, 0, err
	}
	if err := arg.Rising(fn, "freq", freq, "frequency in Hz"); err != nil {
		return 0, 0, err
	}
	if err := arg.AllFinite(fn, "power", power, "power"); err != nil {
		return 0, 0, err
	}
	top := 0
	for i, p := range power {
		if p > power[top] {
			top = i
		}
	}
	flat := arg.Bad(fn, "power", "without a peak", "a peak whose flanks fall to half on both sides inside the range")
	if top == 0 || top == len(power)-1 || !(power[top] > 0) {
		return 0, 0, flat
	}
	a, b, c := power[top-1]/power[top], 1.0, power[top+1]/power[top]
	xa, xc := freq[top-1]-freq[top], freq[top+1]-freq[top]
	// Newton's form of the parabola about the highest point.
	s1, s2 := (b-a)/-xa, (c-b)/xc
	curvature := (s2 - s1) / (xc - xa)
	f0, peak := freq[top], 1.0
	if curvature < 0 {
		slope := s1 - xa*curvature
		x := math.Max(xa, math.Min(xc, -slope/(2*curvature)))
		f0 += x
		peak = 1 + slope*x + curvature*x*x
	}
	half := peak * power[top] / 2
	lo, hi := top, top
	for lo >= 0 && power[lo] > half {
		lo--
	}
	for hi < len(power) && power[hi] > half {
		hi++
	}
	if lo < 0 || hi == len(power) {
		return 0, 0, flat
	}
	cross := func(i, j int) float64 { // from i (above half) to j (below)
		return freq[i] + (freq[j]-freq[i])*((power[i]-half)/(power[i]-power[j]))
	}
	return f0, f0 / (cross(hi-1, hi) - cross(lo+1, lo)), nil
}
