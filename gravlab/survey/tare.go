package survey

import (
	"errors"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

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
	// Alike are the indices of all places that fit as well as this one, rising,
	// After among them. With more than one the readings do not say where the step
	// lies, and After is only the first of them.
	Candidates []int
	// Doubtful are the stations whose values hang on which of them it is, by up to
	// Size: in most cases those read only between the first and the last of Alike.
	// It is not known whether they were read before the step or after it.
	Ambiguous []string
}

// FindTare tries a step between each reading and the next beside stations and
// drift, and returns the likeliest one: that which takes the most off chi²,
// W² of it. The size is what [Adjust] finds with the step in [Drift].Tares, and
// U stands on the stated uncertainties of the readings.
//
// A reading that nothing checks (a station read once) cannot say on which side of
// it the step lies: of the places that fit alike the first is returned, all are in
// Alike, and what hangs on the choice is in Doubtful. Those stations' values are
// off by Size if the choice is wrong, and chi² does not show it. In the field,
// read each of them again before the day ends: that settles it. Afterwards, look
// in the field book for the moment. Where it has none, leave Doubtful out of the
// table and of all that is computed from it, or adjust with [AdjustUnknownTare],
// whose uncertainties hold the doubt, and name the stations in the notes of the
// report. What [Adjust] finds with At among its tares is true only if At is: it
// tells what hangs on it in [Adjusted].Doubt.
//
// It is an error when no place can be tried, and so is all that [Adjust]
// refuses. A step is a guess until the field book names its cause. After the one
// [Adjust], each place costs time as the number of readings.
func FindTare(readings []Reduced, ties []Tie, drift Drift) (TareGuess, error) {
	best, _, _, err := findTare(readings, ties, drift)
	return best, err
}

// findTare also returns the adjustment without a step and all the places.
func findTare(readings []Reduced, ties []Tie, drift Drift) (best TareGuess, a *Adjustment, places []place, err error) {
	if a, err = Adjust(readings, ties, drift); err != nil {
		return best, nil, nil, err
	}
	if len(drift.Tares) > 0 {
		return best, nil, nil, arg.Bad("survey.FindTare", "drift.Tares", len(drift.Tares), "none: they are what is looked for")
	}
	places = newDay(a, readings, ties, drift).places()
	best, found := likeliest(readings, places)
	if !found {
		return best, nil, nil, errors.New("survey.FindTare: the day has too few repeats to find a step anywhere")
	}
	for i, p := range places {
		if p.tried && math.Abs(p.size/p.u) >= math.Abs(best.W)*(1-1e-9) {
			best.Candidates = append(best.Candidates, i)
		}
	}
	best.Ambiguous = a.doubtful(readings, drift, places, best)
	return best, a, places, nil
}

// likeliest is the place that takes the most off chi².
func likeliest(readings []Reduced, places []place) (best TareGuess, found bool) {
	best.After = -1
	for i, p := range places {
		// Better by more than rounding, else the first of equals.
		if w := p.size / p.u; p.tried && (best.After < 0 || math.Abs(w) > math.Abs(best.W)*(1+1e-9)) {
			from, to := readings[i].Time, readings[i+1].Time
			best = TareGuess{After: i, At: from.Add(to.Sub(from) / 2), Size: p.size, U: p.u, W: w}
		}
	}
	return best, best.After >= 0
}

// doubtful lists the stations whose values differ among the places that fit
// alike.
func (a *Adjustment) doubtful(readings []Reduced, drift Drift, places []place, best TareGuess) (names []string) {
	if len(best.Candidates) < 2 {
		return nil
	}
	// With a step of this size the value of a station is its value without one,
	// less what the station makes of the step.
	lo, hi := make([]float64, len(a.index)), make([]float64, len(a.index))
	for i := range lo {
		lo[i], hi[i] = math.Inf(1), math.Inf(-1)
	}
	_, _, scaled := record(readings)
	alike := func(after int) bool {
		_, is := slices.BinarySearch(best.Candidates, after)
		return is
	}
	a.eachStep(readings, drift.terms(scaled), len(a.index), alike, func(after int, made []float64, _ float64) {
		for i := range lo {
			change := -places[after].size * made[i]
			lo[i], hi[i] = min(lo[i], change), max(hi[i], change)
		}
	})
	for _, s := range a.Stations {
		if i, free := a.index[s.Name]; free && hi[i]-lo[i] > 1e-6*math.Abs(best.Size) {
			names = append(names, s.Name)
		}
	}
	return names
}

// eachStep says, for a step after each reading but the last, what the parameters
// of the adjustment make of it: the coefficients of the nearest that they come to
// 1 from the step on and 0 before, weighted as the readings are, and the share of
// its square that is left. others is the place of the first term of the drift. Only the steps
// that are wanted are worked out: each costs time as the square of the stations.
func (a *Adjustment) eachStep(readings []Reduced, terms []func(time.Time) float64, others int, wanted func(after int) bool, do func(after int, made []float64, left float64)) {
	parameters := len(a.parameters.P)
	product := mat.NewVecDense(parameters, nil) // of every column with the step
	made := mat.NewVecDense(parameters, nil)
	square := 0.0
	for i := len(readings) - 1; i > 0; i-- {
		r := readings[i]
		weight := 1 / (r.UValue * r.UValue)
		square += weight
		if k, free := a.index[r.Station]; free {
			product.SetVec(k, product.AtVec(k)+weight)
		}
		for k, term := range terms {
			product.SetVec(others+k, product.AtVec(others+k)+weight*term(r.Time))
		}
		if wanted(i - 1) {
			made.MulVec(a.parameters.Cov, product)
			do(i-1, made.RawVector().Data, 1-mat.Dot(made, product)/square)
		}
	}
}

// setDoubt finds what hangs on the moments of the tares. Where the parameters of
// the adjustment, a tare's with a factor λ among them, make a step at another
// place to nothing left, that step can take the tare's part, and all fits as
// before: with the tare's size over λ, and the other parameters less what they
// make of it.
func (a *Adjustment) setDoubt(readings []Reduced, terms []func(time.Time) float64, others int, steps []float64) {
	first := others + len(terms) - len(steps)
	every := func(int) bool { return true }
	a.eachStep(readings, terms, others, every, func(_ int, made []float64, left float64) {
		if left > 1e-9 {
			return // a tare here fits otherwise
		}
		for k, size := range steps {
			lambda := made[first+k]
			if math.Abs(lambda) < 1e-6 {
				continue // no place for this tare
			}
			for i := range a.Stations {
				s := &a.Stations[i]
				if j, free := a.index[s.Name]; free && math.Abs(made[j]/lambda) > 1e-6 {
					s.Ambiguity = max(s.Ambiguity, math.Abs(size*made[j]/lambda))
				}
			}
		}
	})
}

// AdjustUnknownTare is [Adjust] for a day on which there was a step, but it is not known
// where. It takes the step to lie between any two readings alike, before they have
// been looked at, and of any size: then each place counts by how well it fits,
// exp(−chi²/2) times the uncertainty of the size there (common practice, no
// source: the theorem of Bayes with the size integrated out). Values, drift and
// step are means over all places, and their covariance holds both that at each
// place and how the places differ. Where one place fits best by far the result is
// that of Adjust with the step there. Where several fit alike a station that hangs
// on the choice is at the mean of its values with an uncertainty like their
// half-difference. That is not a normal distribution: the truth is near one end or
// the other.
//
// Residuals, chi² and its degrees of freedom are those of the place that fits
// best, the first of them. A place found by [FindTare] that the field book
// confirms needs none of this: put its moment into [Drift].Tares. It is an error
// where FindTare has one. It costs about three times what Adjust does.
func AdjustUnknownTare(readings []Reduced, ties []Tie, drift Drift) (*Adjustment, error) {
	guess, without, places, err := findTare(readings, ties, drift)
	if err != nil {
		return nil, err
	}
	terms := drift
	drift.Tares = []time.Time{guess.At}
	a, err := Adjust(readings, ties, drift)
	if err != nil {
		return nil, err
	}

	// A step of size s after a reading changes the parameters by s times a
	// direction: less what they make of it, and 1 for the step itself.
	type possible struct {
		weight, size, u float64
		direction       *mat.VecDense
	}
	var all []possible
	total, n := 0.0, len(without.parameters.P)
	_, _, scaled := record(readings)
	tried := func(after int) bool { return places[after].tried }
	without.eachStep(readings, terms.terms(scaled), len(without.index), tried, func(after int, made []float64, _ float64) {
		p := places[after]
		w := p.size / p.u
		weight := p.u / guess.U * math.Exp((w*w-guess.W*guess.W)/2)
		if weight < 1e-12 {
			return
		}
		direction := mat.NewVecDense(n+1, nil)
		for k := range n {
			direction.SetVec(k, -made[k])
		}
		direction.SetVec(n, 1)
		all = append(all, possible{weight, p.size, p.u, direction})
		total += weight
	})
	mean := mat.NewVecDense(n+1, nil)
	for i := range all {
		all[i].weight /= total
		mean.AddScaledVec(mean, all[i].weight*all[i].size, all[i].direction)
	}
	cov := mat.NewSymDense(n+1, nil)
	for i := range n {
		for j := i; j < n; j++ {
			cov.SetSym(i, j, without.parameters.Cov.At(i, j))
		}
	}
	var off mat.VecDense
	for _, p := range all {
		cov.SymRankOne(cov, p.weight*p.u*p.u, p.direction)
		off.AddScaledVec(mean, -p.size, p.direction)
		cov.SymRankOne(cov, p.weight, &off)
	}

	parameters := *a.parameters
	parameters.P, parameters.U, parameters.Cov = make([]float64, n+1), make([]float64, n+1), cov
	for i := range parameters.P {
		if i < n {
			parameters.P[i] = without.parameters.P[i]
		}
		parameters.P[i] += mean.AtVec(i)
		parameters.U[i] = math.Sqrt(math.Max(0, cov.At(i, i)))
	}
	a.parameters = &parameters
	for i, s := range without.Stations {
		if k, free := without.index[s.Name]; free {
			s.Value, s.U = s.Value+mean.AtVec(k), parameters.U[k]
		}
		a.Stations[i] = s
	}
	a.setRate(readings, drift, len(a.index))
	a.Steps, a.USteps = []float64{parameters.P[n]}, []float64{parameters.U[n]}
	return a, nil
}

// A place is what a step after a reading would find.
type place struct {
	size, u float64 // m/s²
	tried   bool    // false where it cannot be told from the stations or the drift
}

// places are all places, by the index of the reading before.
func (d *day) places() []place {
	places := make([]place, d.readings-1)
	for i := range places {
		places[i].size, places[i].u, places[i].tried = d.step(i + 1)
	}
	return places
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
			along := floats.Dot(v, q)
			for i := range v {
				v[i] -= along * q[i]
			}
		}
	}
	return floats.Norm(v, 2)
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
	return floats.Dot(d.column, d.residual) / length / length, 1 / length, true
}
