package survey

import (
	"time"

	"gravity.example/gravlab/internal/arg"
)

// A LoopDifference is a station less the base, as one reading gives it.
type LoopDifference struct {
	Station string
	Time    time.Time
	Value   float64 // m/s²
}

// LoopDifferences is the reduction by hand: the drift runs in a straight line
// from each reading of the base to the next, and every reading between them is
// compared with it. It uses neither the repeats at other stations nor the
// uncertainties; [Adjust] uses both. The first and the last reading must be at
// the base.
func LoopDifferences(readings []Reduced, base string) ([]LoopDifference, error) {
	const fn = "survey.LoopDifferences"
	if err := arg.AtLeast(fn, "readings", len(readings), 3); err != nil {
		return nil, err
	}
	if readings[0].Station != base || readings[len(readings)-1].Station != base {
		return nil, arg.Bad(fn, "base", base, "the station of the first and of the last reading")
	}
	for i := 1; i < len(readings); i++ {
		if !readings[i].Time.After(readings[i-1].Time) {
			return nil, arg.Bad(fn, "time of the reading of "+readings[i].Station, moment(readings[i].Time), "a time after the reading before it, "+readings[i-1].place())
		}
	}
	var differences []LoopDifference
	before, after := 0, 0
	for i, r := range readings {
		if r.Station == base {
			before = i
			continue
		}
		if after < i {
			for after = i; readings[after].Station != base; after++ {
			}
		}
		a, b := readings[before], readings[after]
		share := r.Time.Sub(a.Time).Seconds() / b.Time.Sub(a.Time).Seconds()
		differences = append(differences, LoopDifference{Station: r.Station, Time: r.Time, Value: r.Value - (a.Value + share*(b.Value-a.Value))})
	}
	return differences, nil
}
