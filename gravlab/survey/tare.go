package survey

import (
	"errors"
	"math"
	"time"

	"gravity.example/gravlab/internal/arg"
)

// A TareGuess is a step between two readings.
type TareGuess struct {
	After   int       // the index of the reading before it
	At      time.Time // half-way to the reading after it, for Drift.Tares
	Size, U float64   // by how much the readings after it are too high, and its standard uncertainty, m/s²
	// W is Size over U: how many standard uncertainties the step is away from
	// none. It is the largest of as many tries as there are places, so that a
	// day without a tare passes |W| = 3 more often than the one time in 370 of a
	// single place: with n places at most n times in 370.
	W float64
}

// FindTare tries a step between each reading and the next beside stations and
// drift, and returns the likeliest one: that which takes the most off chi²,
// W² of it. The size is what [Adjust] finds with the step in [Drift].Tares, and
// U stands on the stated uncertainties of the readings. A reading that nothing
// checks (a station read once) cannot say on which side of it the step lies; of
// places that fit alike the first is returned.
//
// It is an error when no place can be tried, and so is all that [Adjust]
// refuses. A step is a guess until the field book names its cause. After the one
// [Adjust], each place costs time as the number of readings.
func FindTare(readings []Reduced, ties []Tie, drift Drift) (TareGuess, error) {
	a, err := Adjust(readings, ties, drift)
	if err != nil {
		return TareGuess{}, err
	}
	if len(drift.Tares) > 0 {
		return TareGuess{}, arg.Bad("survey.FindTare", "drift.Tares", len(drift.Tares), "none: they are what is looked for")
	}
	d := newDay(a, readings, ties, drift)
	best := TareGuess{After: -1}
	for i := 0; i+1 < len(readings); i++ {
		size, u, ok := d.step(i + 1)
		if !ok {
			continue // a step here cannot be told from the stations or the drift
		}
		// Better by more than rounding, else the first of equals.
		if w := size / u; best.After < 0 || math.Abs(w) > math.Abs(best.W)*(1+1e-9) {
			from, to := readings[i].Time, readings[i+1].Time
			best = TareGuess{After: i, At: from.Add(to.Sub(from) / 2), Size: size, U: u, W: w}
		}
	}
	if best.After < 0 {
		return best, errors.New("survey.FindTare: the day has too few repeats to tell a step anywhere")
	}
	return best, nil
}

// A day holds an adjustment as FindTare needs it: what one more parameter would
// find, without the adjustment being made again.
//
// Each observation divided by its u has variance 1, and the adjustment is
// y = A p with A and y so divided. Give it one more column s, 1/u from the step
// on and 0 before. Of s only the part counts that the columns of A cannot make,
//
//	s⊥ = s − (what of s the columns of A make)
//
// and along it lies all that the step can do: to the residuals r = y − A p of
// the adjustment without the step,
//
//	size = s⊥·r / s⊥·s⊥     u = 1/√(s⊥·s⊥)     fall of chi² = (size/u)²
//
// exactly what the adjustment with the step would find (common practice, no
// source: the normal equations with p eliminated).
//
// The part that A makes is taken off in two goes. A free station is one column,
// 1/u at its own readings and 0 elsewhere: what it makes of any column is the
// weighted mean over its readings, so taking the mean off is all it needs. The
// stations have no reading in common, so that they do not disturb each other.
// The few terms of the drift, with the means taken off too, are made orthogonal
// and of length 1; of them the scalar products are taken off.
type day struct {
	station  []int     // of each observation, readings before loose ties; −1 for a fixed one
	u        []float64 // m/s²
	weight   []float64 // of each station, the sum of 1/u²
	residual []float64 // r
	drifts   [][]float64
	readings int
	column   []float64 // room for s
	mean     []float64 // room, one for each station
}

func newDay(a *Adjustment, readings []Reduced, ties []Tie, drift Drift) *day {
	middle, _, scaled := record(readings)
	d := &day{readings: len(readings), weight: make([]float64, len(a.index)), mean: make([]float64, len(a.index))}
	add := func(name string, u float64) {
		station, free := a.index[name]
		if !free {
			station = -1
		} else {
			d.weight[station] += 1 / (u * u)
		}
		d.residual = append(d.residual, a.Residuals[len(d.u)].Value/u)
		d.station, d.u = append(d.station, station), append(d.u, u)
	}
	for _, r := range readings {
		add(r.Station, r.UValue)
	}
	for _, t := range ties {
		if _, u := t.at(middle); u > 0 {
			add(t.Station, u)
		}
	}
	d.column = make([]float64, len(d.u))
	for _, term := range drift.terms(scaled) {
		v := make([]float64, len(d.u)) // no drift in a tie
		for i, r := range readings {
			v[i] = term(r.Time) / r.UValue
		}
		length := d.reduce(v)
		for i := range v {
			v[i] /= length
		}
		d.drifts = append(d.drifts, v)
	}
	return d
}

// reduce takes from v, in place, what stations and drift can make of it, and
// returns the length of what is left. Twice over, so that nothing of them is
// left to rounding.
func (d *day) reduce(v []float64) float64 {
	for range 2 {
		clear(d.mean)
		for i, s := range d.station {
			if s >= 0 {
				d.mean[s] += v[i] / d.u[i] / d.weight[s]
			}
		}
		for i, s := range d.station {
			if s >= 0 {
				v[i] -= d.mean[s] / d.u[i]
			}
		}
		for _, q := range d.drifts {
			along := product(v, q)
			for i := range v {
				v[i] -= along * q[i]
			}
		}
	}
	return math.Sqrt(product(v, v))
}

// step is what a step before the reading of index first would find; not ok
// where stations and drift make the like of it.
func (d *day) step(first int) (size, u float64, ok bool) {
	before := 0.0
	for i := range d.column {
		d.column[i] = 0
		if i >= first && i < d.readings {
			d.column[i] = 1 / d.u[i]
		}
		before = math.Hypot(before, d.column[i])
	}
	length := d.reduce(d.column)
	if !(length > 1e-10*before) {
		return 0, 0, false
	}
	return product(d.column, d.residual) / length / length, 1 / length, true
}

func product(a, b []float64) float64 {
	sum := 0.0
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}
