package survey

import (
	"errors"
	"time"

	"gravity.example/gravlab/internal/arg"
)

// Star is the order base, station, base, station, ..., base: drift is seen
// often, and half of all readings are at the base.
func Star(base string, stations ...string) []string {
	order := []string{base}
	for _, s := range stations {
		order = append(order, s, base)
	}
	return order
}

// Step is the order A-B-A-B-C-B-C-D-C-...: each leg is measured three times, so
// that drift and a tare show at once. It ends at the base.
func Step(base string, stations ...string) []string {
	all := append([]string{base}, stations...)
	order := []string{base}
	for i := 1; i < len(all); i++ {
		order = append(order, all[i], all[i-1], all[i])
	}
	if len(all) > 1 {
		order = append(order, base)
	}
	return order
}

// Profile is out and back: A-B-C-D-C-B-A. Little walking, but the far end is
// read once.
func Profile(base string, stations ...string) []string {
	order := append([]string{base}, stations...)
	for i := len(stations) - 2; i >= 0; i-- {
		order = append(order, stations[i])
	}
	if len(stations) > 0 {
		order = append(order, base)
	}
	return order
}

// A LoopPlan says what an order of readings promises.
type LoopPlan struct {
	Stations    []Adjusted // U of each station over the first one, m/s²; values are zero
	URate       float64    // of the drift, m/s² per s
	RepeatShare float64    // readings beyond the first at each station, of all
	// Smallest is the largest blunder that some reading could hide from the
	// outlier test (0.1 %, found with 80 %), m/s²; +Inf where a reading is not
	// checked at all.
	MDB float64
}

// PlanLoop says, before the survey, what readings in this order, interval
// apart, each with standard uncertainty u (m/s²), will determine with a drift
// polynomial of this degree. Common practice wants at least a fifth of all
// readings to be repeats.
func PlanLoop(order []string, interval time.Duration, u float64, degree int) (LoopPlan, error) {
	const fn = "survey.PlanLoop"
	if err := errors.Join(arg.AtLeast(fn, "order", len(order), 2), arg.Between(fn, "u", u, 1e-15, 1, "standard uncertainty in m/s²")); err != nil {
		return LoopPlan{}, err
	}
	if interval <= 0 || interval > 240*time.Hour || len(order) > 10000 {
		return LoopPlan{}, arg.Bad(fn, "interval", interval, "a time above zero, up to ten days, for at most 10,000 readings")
	}
	start := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	readings := make([]Reduced, len(order))
	count := map[string]int{}
	for i, name := range order {
		readings[i] = Reduced{Reading: Reading{Station: name, Time: start.Add(time.Duration(i) * interval)}, UValue: u}
		count[name]++
	}
	a, err := Adjust(readings, nil, Drift{Degree: degree})
	if err != nil {
		return LoopPlan{}, err
	}
	plan := LoopPlan{Stations: a.Stations, URate: a.URate, RepeatShare: float64(len(order)-len(count)) / float64(len(order))}
	for _, r := range a.Residuals {
		plan.MDB = max(plan.MDB, r.MDB)
	}
	return plan, nil
}
