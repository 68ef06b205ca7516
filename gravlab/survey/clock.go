package survey

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// ClockTrials adjusts a field book again and again with all its times moved by
// each shift, and returns chi² for each: local time instead of UTC, or a wrong
// hour, leaves the tide of another moment in the readings. The right shift has
// the smallest chi². A meter that is noisier than the change of the tide
// in an hour (at most 470 nm/s² at 55° of latitude and 840 nm/s² at the equator, by
// package earth over 19 years, and less what passes for drift) cannot decide it:
// differences of chi² below 4 say nothing.
//
// A tare that is not in drift moves the smallest chi² to a wrong shift. So where a
// step somewhere in the day, with whatever of the shifts, takes more off the smallest
// chi² than chance would (1 time in 1000, for all places together), that is an error,
// which names the step: put its moment into drift.Tares and try again. A reading that
// is far off, and a right shift that is not among shifts, look like that too.
func ClockTrials(job Job, readings []Reading, ties []Tie, drift Drift, shifts ...time.Duration) ([]float64, error) {
	const fn = "survey.ClockTrials"
	if err := arg.AtLeast(fn, "shifts", len(shifts), 1); err != nil {
		return nil, err
	}
	moved := make([]Reading, len(readings))
	trials := make([]float64, len(shifts))
	smallest, smallestWithStep := math.Inf(1), math.Inf(1)
	var step TareGuess
	scatter := 1.0 // of the readings about the best fit, over what they state
	var before, after Reading
	for k, shift := range shifts {
		for i, r := range readings {
			moved[i] = r
			moved[i].Time = r.Time.Add(shift)
		}
		// The moments of the drift's knots and tares move with the clock.
		d := Drift{Degree: drift.Degree}
		for _, t := range drift.Knots {
			d.Knots = append(d.Knots, t.Add(shift))
		}
		for _, t := range drift.Tares {
			d.Tares = append(d.Tares, t.Add(shift))
		}
		reduced, err := job.Reduce(moved)
		if err != nil {
			return nil, err
		}
		a, err := Adjust(reduced, ties, d)
		if err != nil {
			return nil, err
		}
		trials[k] = a.Chi2
		smallest = min(smallest, a.Chi2)
		guess, found := likeliest(reduced, newDay(a, reduced, ties, d).places())
		if with := a.Chi2 - guess.W*guess.W; found && with < smallestWithStep {
			smallestWithStep, step = with, guess
			scatter = max(1, math.Sqrt(with/math.Max(1, float64(a.DoF-1))))
			before, after = readings[guess.After], readings[guess.After+1]
		}
	}
	const chance = 0.001
	// Two-sided, shared among the places (Bonferroni).
	critical := distuv.UnitNormal.Quantile(1 - chance/2/float64(len(readings)))
	if gain := smallest - smallestWithStep; math.Sqrt(gain) > critical*scatter {
		return nil, fmt.Errorf("%s: a step of %.0f ± %.0f µGal between %s and %s takes %.0f off the smallest chi² (%.0f), so that the shifts cannot be compared; put its moment into the tares of the drift, or leave out a reading that is far off, or try the shift that is right",
			fn, step.Size/gravlab.MicroGal, step.U/gravlab.MicroGal, before.place(), after.place(), gain, smallest)
	}
	return trials, nil
}
