package survey

import (
	"time"

	"gravity.example/gravlab/internal/arg"
)

// ClockTrials adjusts a field book again and again with all its times moved by
// each shift, and returns chi² for each: local time taken for UTC, or a wrong
// hour, leaves the tide of another moment in the readings. The right shift has
// the smallest chi². A meter that is noisier than the change of the tide
// in an hour (at most 470 nm/s² at 55° of latitude and 840 nm/s² at the equator, by
// package earth over 19 years, and less what passes for drift) cannot decide it:
// differences of chi² below 4 say nothing.
func ClockTrials(job Job, readings []Reading, ties []Tie, drift Drift, shifts ...time.Duration) ([]float64, error) {
	if err := arg.AtLeast("survey.ClockTrials", "shifts", len(shifts), 1); err != nil {
		return nil, err
	}
	moved := make([]Reading, len(readings))
	trials := make([]float64, len(shifts))
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
	}
	return trials, nil
}
