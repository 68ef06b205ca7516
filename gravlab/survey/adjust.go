package survey

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/arg"
)

// A Tie is a station of known gravity.
type Tie struct {
	Station string
	Value   float64 // m/s², at the epoch, absolute or from a base of one's own; for what is refused see [Adjust]
	U       float64 // standard uncertainty; 0 holds the station fixed
	// Epoch is when the value held, and Rate (m/s² per s) with URate how it
	// changes since. A zero epoch means that the value holds now.
	Epoch       time.Time
	Rate, URate float64
}

// at brings the tie to a moment.
func (t Tie) at(now time.Time) (value, u float64) {
	if t.Epoch.IsZero() || now.IsZero() {
		return t.Value, t.U
	}
	age := now.Sub(t.Epoch).Seconds()
	return t.Value + t.Rate*age, math.Hypot(t.U, t.URate*age)
}

// check refuses what cannot be gravity on the ground in m/s², at this moment.
func (t Tie) check(fn string, now time.Time) error {
	value, u := t.at(now)
	if g := math.Abs(value); !(g <= 0.1 || value >= 9.7 && value <= 9.9) {
		hint := ""
		for _, unit := range []struct {
			name string
			size float64
		}{{"Gal", 1e-2}, {"mGal", gravlab.MilliGal}, {"µGal", gravlab.MicroGal}} {
			if meant := value * unit.size; meant >= 9.7 && meant <= 9.9 {
				hint = fmt.Sprintf("; did you mean %.9g, from %s?", meant, unit.name)
			}
		}
		if hint == "" {
			hint = "; 1 mGal is 1e-5 m/s²"
		}
		return arg.Bad(fn, "value of the tie at "+t.Station, value, "gravity in m/s², 9.7 to 9.9, or a difference of up to 0.1"+hint)
	}
	return arg.Between(fn, "uncertainty of the tie at "+t.Station, u, 0, 0.1, "standard uncertainty in m/s² (1 mGal is 1e-5)")
}

// A Drift says how the meter's zero wanders during the day: a polynomial of
// this degree, made a spline by the knots, with steps at the tares.
type Drift struct {
	// Degree is 0 for none, 1 for a line, up to 3 for a cubic.
	Degree int
	// Knots make it a spline: at each the highest derivative may change. With
	// degree 1 that is a broken line, with degree 3 the cubic spline. Wanted:
	// several base readings between knots.
	Knots []time.Time
	// Tares are moments at which the zero jumps. A tare is not drift: it needs
	// a cause in the field book, and a moment: see [Adjusted].Doubt.
	Tares []time.Time
}

// An Adjusted station.
type Adjusted struct {
	Name     string
	Value, U float64 // m/s²
	// Doubt is by how much Value can change if a tare lies elsewhere, at a place
	// where all fits exactly as before, m/s²; 0 where there is none. A station read
	// only beside the tare has it: no other reading says on which side of the tare
	// it was. It is not in U. Where the field book gives the moment of the tare it
	// can be forgotten; where the moment is a guess, see [FindTare].
	Ambiguity float64
}

// A Residual is observed less adjusted.
type Residual struct {
	Label string
	Value float64 // m/s²
	// W is the residual over its own standard deviation (the normalised
	// residual). It is NaN for an observation that nothing checks.
	W float64
	// Redundancy is how much of an error of this observation shows in its
	// residual: 0 none, 1 all of it.
	Redundancy float64
	// Smallest is the blunder that the test at 0.1 % finds with 80 %
	// probability, (z(0.9995) + z(0.8)) u/√redundancy = 4.132 u/√redundancy,
	// m/s²; +Inf for an unchecked one.
	MDB float64
}

// noncentrality is by how many standard deviations the mean of a normalised
// residual must lie off 0 for a two-sided test at 0.1 % to reject it with 80 %
// probability; what the far tail adds is below 1e-13.
var noncentrality = distuv.UnitNormal.Quantile(1-0.001/2) + distuv.UnitNormal.Quantile(0.8)

// An Adjustment is the outcome of [Adjust] or [AdjustNetwork].
type Adjustment struct {
	Stations  []Adjusted
	Residuals []Residual // in the order of the observations, ties with an uncertainty after them
	Chi2      float64
	DoF       int
	// Rate is the drift at the middle of the record, m/s² per s, with a spline
	// or polynomial its slope there.
	Rate, URate float64
	// Steps are the sizes of the tares, m/s², in their order.
	Steps, USteps []float64
	// Days are the drifts of all days, in the order given; nil for AdjustNetwork.
	Days []DayDrift
	// Remarks are those of the readings (see [Job.Reduce]), and what their
	// uncertainties say of themselves: one that is 30 times the usual, or usual ones
	// above a mGal.
	Remarks []Remark

	parameters *fit.Result
	index      map[string]int // of free stations among the parameters
}

// PValue is the probability of a chi² this large or larger if the stated
// uncertainties are right. NaN without degrees of freedom.
func (a *Adjustment) PValue() float64 { return a.parameters.PValue() }

// Station returns the value of a station.
func (a *Adjustment) Station(name string) (Adjusted, error) {
	for _, s := range a.Stations {
		if s.Name == name {
			return s, nil
		}
	}
	return Adjusted{}, arg.Bad("survey.Adjustment.Station", "name", name, "a station of the adjustment")
}

// Between is the difference of two stations, to less from, with the standard
// uncertainty that their correlation leaves.
func (a *Adjustment) Between(from, to string) (difference, u float64, err error) {
	f, err := a.Station(from)
	if err != nil {
		return 0, 0, err
	}
	t, err := a.Station(to)
	if err != nil {
		return 0, 0, err
	}
	if from == to {
		return 0, 0, nil
	}
	variance := f.U*f.U + t.U*t.U
	if i, ok := a.index[from]; ok {
		if j, ok := a.index[to]; ok {
			variance -= 2 * a.parameters.Cov.At(i, j)
		}
	}
	return t.Value - f.Value, math.Sqrt(math.Max(0, variance)), nil
}

// Worst is the observation with the largest normalised residual, and the
// critical value that the largest of all of them passes with probability alpha
// (0.05, say) when there is no blunder: two-sided, shared among the checked
// observations (Bonferroni). Take out one observation at a time and adjust
// again: a blunder drags its neighbours along.
func (a *Adjustment) Worst(alpha float64) (worst Residual, critical float64, err error) {
	if err := arg.Between("survey.Adjustment.Worst", "alpha", alpha, 1e-12, 0.5, "probability"); err != nil {
		return Residual{}, 0, err
	}
	n := 0
	for _, r := range a.Residuals {
		if math.IsNaN(r.W) {
			continue
		}
		n++
		if n == 1 || math.Abs(r.W) > math.Abs(worst.W) {
			worst = r
		}
	}
	if n == 0 {
		return Residual{}, 0, errors.New("survey.Adjustment.Worst: no observation is checked by another; repeat some")
	}
	return worst, distuv.UnitNormal.Quantile(1 - alpha/2/float64(n)), nil
}

// terms lists what each parameter of the drift adds to a reading at a time, the
// zero of the meter first and the tares last. scaled is the time from the
// middle of the record over half its length.
func (d Drift) terms(scaled func(time.Time) float64) []func(time.Time) float64 {
	terms := []func(time.Time) float64{func(time.Time) float64 { return 1 }}
	for k := 1; k <= d.Degree; k++ {
		terms = append(terms, func(t time.Time) float64 { return math.Pow(scaled(t), float64(k)) })
	}
	for _, knot := range d.Knots {
		terms = append(terms, func(t time.Time) float64 {
			return math.Pow(math.Max(0, scaled(t)-scaled(knot)), float64(d.Degree))
		})
	}
	for _, tare := range d.Tares {
		terms = append(terms, func(t time.Time) float64 {
			if t.Before(tare) {
				return 0
			}
			return 1
		})
	}
	return terms
}

// record returns the middle of a record, and the time from there over half its
// length. The readings must rise in time.
func record(readings []Reduced) (middle time.Time, half float64, scaled func(time.Time) float64) {
	start, end := readings[0].Time, readings[len(readings)-1].Time
	middle, half = start.Add(end.Sub(start)/2), end.Sub(start).Seconds()/2
	return middle, half, func(t time.Time) float64 { return t.Sub(middle).Seconds() / half }
}

// Adjust finds stations, drift and tares from the reduced readings of one meter, rising in
// time, in one least squares fit. For several days and meters take [AdjustDays]. Without
// a tie the first station read is held at zero and the values are differences from it.
//
// On the day a tie must have 9.7 to 9.9 m/s², where all gravity on the ground of
// the Earth lies (9.764 to 9.834; C. Hirt et al., Geophys. Res. Lett. 40, 4279,
// 2013; from memory), or, counted from a base of one's own, 0.1 m/s² or less in
// size, which is more than the whole of that range; and a standard uncertainty
// of 0.1 m/s² or less. Anything else is refused: it is probably in mGal or µGal.
//
// The uncertainty of each reading must be given (Reduced.UValue); the
// covariance is not scaled by chi², so look at chi² first. The uncertainty of
// the scale factor is not in it: see [ScaleUncertainty]. Knots and tares must lie between
// the first and the last reading. It is an error when the readings do not
// determine every station and every term of the drift.
//
// With n readings, p stations and q terms it takes n q² + p² q operations and p²
// numbers in memory.
func Adjust(readings []Reduced, ties []Tie, drift Drift) (*Adjustment, error) {
	return adjustDays("survey.Adjust", []MeterDay{{readings, drift}}, ties)
}

// A MeterDay is what one meter read in one day, with its drift.
type MeterDay struct {
	Readings []Reduced
	Drift    Drift
}

// A DayDrift is what an adjustment found of the drift of a [MeterDay].
type DayDrift struct {
	Rate, URate   float64   // at the middle of its record, m/s² per s
	Steps, USteps []float64 // of its tares, m/s²
}

// AdjustDays is [Adjust] for several days and meters in one fit: each has a zero, a drift
// and tares of its own, and the stations are common to all. What the stations of a day
// have in common then counts, which [AdjustNetwork] would lose. A day whose stations
// nothing joins to the others is an error, unless ties do. Rate and Steps of the result are
// those of the first day; all are in Adjustment.Days.
func AdjustDays(days []MeterDay, ties []Tie) (*Adjustment, error) {
	const fn = "survey.AdjustDays"
	if err := arg.AtLeast(fn, "days", len(days), 1); err != nil {
		return nil, err
	}
	return adjustDays(fn, days, ties)
}

func adjustDays(fn string, days []MeterDay, ties []Tie) (*Adjustment, error) {
	terms := make([][]func(time.Time) float64, len(days))
	first := make([]int, len(days)) // place of each day's first term
	total := 0
	var observations []observation
	var all []Reduced
	var earliest, latest time.Time
	for k, d := range days {
		if err := d.check(fn); err != nil {
			return nil, err
		}
		start, end := d.Readings[0].Time, d.Readings[len(d.Readings)-1].Time
		if k == 0 || start.Before(earliest) {
			earliest = start
		}
		if k == 0 || end.After(latest) {
			latest = end
		}
		_, _, scaled := record(d.Readings)
		terms[k], first[k] = d.Drift.terms(scaled), total
		total += len(terms[k])
	}
	middle := earliest.Add(latest.Sub(earliest) / 2)
	for _, t := range ties {
		if err := t.check(fn, middle); err != nil {
			return nil, err
		}
	}
	for k, d := range days {
		label := labels(d.Readings)
		for _, r := range d.Readings {
			o := observation{label: label(r.Reading), to: r.Station, value: r.Value, u: r.UValue, zero: first[k], other: make([]float64, total)}
			for i, term := range terms[k] {
				o.other[first[k]+i] = term(r.Time)
			}
			observations = append(observations, o)
		}
		all = append(all, d.Readings...)
	}
	a, others, err := solve(fn, observations, ties, middle)
	if err != nil {
		return nil, err
	}
	a.Remarks = remarks(all)
	for k, d := range days {
		at := others + first[k]
		a.setRate(d.Readings, d.Drift, at)
		day := DayDrift{Rate: a.Rate, URate: a.URate}
		firstTare := at + len(terms[k]) - len(d.Drift.Tares)
		for i := range d.Drift.Tares {
			day.Steps = append(day.Steps, a.parameters.P[firstTare+i])
			day.USteps = append(day.USteps, a.parameters.U[firstTare+i])
		}
		if len(d.Drift.Tares) > 0 {
			a.setDoubt(d.Readings, terms[k], at, day.Steps)
		}
		a.Days = append(a.Days, day)
	}
	a.Rate, a.URate, a.Steps, a.USteps = a.Days[0].Rate, a.Days[0].URate, a.Days[0].Steps, a.Days[0].USteps
	return a, nil
}

// check refuses what cannot be adjusted.
func (d MeterDay) check(fn string) error {
	readings, drift := d.Readings, d.Drift
	if err := arg.AtLeast(fn, "readings", len(readings), 2); err != nil {
		return err
	}
	if drift.Degree < 0 || drift.Degree > 3 {
		return arg.Bad(fn, "drift.Degree", drift.Degree, "from 0 to 3")
	}
	if len(drift.Knots) > 0 && drift.Degree == 0 {
		return arg.Bad(fn, "drift.Degree", 0, "from 1 to 3 where knots are given")
	}
	start, end := readings[0].Time, readings[len(readings)-1].Time
	if !end.After(start) {
		return arg.Bad(fn, "readings", "over no time", "readings whose times rise")
	}
	for i, r := range readings {
		if i > 0 && !r.Time.After(readings[i-1].Time) {
			return arg.Bad(fn, "time of the reading of "+r.Station, moment(r.Time), "a time after the reading before it, "+readings[i-1].place())
		}
	}
	for _, list := range []struct {
		name  string
		times []time.Time
	}{{"drift.Knots", drift.Knots}, {"drift.Tares", drift.Tares}} {
		for i, t := range list.times {
			if !t.After(start) || !t.Before(end) || i > 0 && !t.After(list.times[i-1]) {
				return arg.Bad(fn, list.name, moment(t), fmt.Sprintf("rising times between the first and the last reading, %s and %s", moment(start), moment(end)))
			}
		}
	}
	return nil
}

// setRate finds the slope of the drift at the middle of the record, where every
// power but the first has none; knots before the middle add theirs. others is the
// place of the first term of the drift.
func (a *Adjustment) setRate(readings []Reduced, drift Drift, others int) {
	a.Rate, a.URate = 0, 0
	if drift.Degree == 0 {
		return
	}
	_, half, scaled := record(readings)
	slope := make([]float64, 1+drift.Degree+len(drift.Knots))
	slope[1] = 1 / half
	for k, knot := range drift.Knots {
		if x := -scaled(knot); x > 0 {
			slope[1+drift.Degree+k] = float64(drift.Degree) * math.Pow(x, float64(drift.Degree-1)) / half
		}
	}
	variance := 0.0
	for i := range slope {
		a.Rate += slope[i] * a.parameters.P[others+i]
		for j := range slope {
			variance += slope[i] * slope[j] * a.parameters.Cov.At(others+i, others+j)
		}
	}
	a.URate = math.Sqrt(math.Max(0, variance))
}

// A Difference is an observed difference of gravity between two stations.
type Difference struct {
	From, To string
	Value, U float64 // g(To) − g(From), m/s²
}

// AdjustNetwork adjusts differences of gravity to values of stations, with the
// ties as they are or, where U is 0, held fixed. Without a tie the first
// station named is held at zero.
//
// The differences are taken to be independent. Those of one day ([Adjustment.Between])
// are not: values come out right and their uncertainties do not. Put the readings
// of all days into [AdjustDays] instead.
func AdjustNetwork(differences []Difference, ties []Tie) (*Adjustment, error) {
	const fn = "survey.AdjustNetwork"
	if err := arg.AtLeast(fn, "differences", len(differences), 1); err != nil {
		return nil, err
	}
	observations := make([]observation, len(differences))
	for i, d := range differences {
		if d.From == d.To || d.From == "" {
			return nil, arg.Bad(fn, fmt.Sprintf("differences[%d]", i), d.From+" to "+d.To, "two stations of unlike name")
		}
		observations[i] = observation{label: d.From + " to " + d.To, from: d.From, to: d.To, value: d.Value, u: d.U}
	}
	a, _, err := solve(fn, observations, ties, time.Time{})
	return a, err
}

// An observation is value = g(to) − g(from) + other·parameters, from "" for
// none.
type observation struct {
	label    string
	from, to string
	value, u float64
	other    []float64
	zero     int // which of other is the zero of its meter and day
}

// solve adjusts observations and ties; others is the place of the first
// parameter that is no station.
func solve(fn string, observations []observation, ties []Tie, now time.Time) (a *Adjustment, others int, err error) {
	var names []string
	seen := map[string]bool{}
	note := func(name string) {
		if name != "" && !seen[name] {
			seen[name] = true
			names = append(names, name)
		}
	}
	for i, o := range observations {
		if o.to == "" {
			return nil, 0, arg.Bad(fn, fmt.Sprintf("station of observation %d of %d", i+1, len(observations)), `""`, "a name")
		}
		if err := errors.Join(
			arg.Between(fn, "value of "+o.label, o.value, -1e12, 1e12, "gravity"),
			arg.Between(fn, "uncertainty of "+o.label, o.u, 1e-30, 1e12, "standard uncertainty above zero"),
		); err != nil {
			return nil, 0, err
		}
		note(o.from)
		note(o.to)
	}
	fixed := map[string]float64{}
	tied := map[string]bool{}
	var loose []observation
	for _, t := range ties {
		value, u := t.at(now)
		if !seen[t.Station] || tied[t.Station] {
			return nil, 0, arg.Bad(fn, "station of a tie", strconv.Quote(t.Station), "a station that was observed, once")
		}
		tied[t.Station] = true
		if err := errors.Join(
			arg.Between(fn, "value of the tie at "+t.Station, value, -1e12, 1e12, "gravity"),
			arg.Between(fn, "uncertainty of the tie at "+t.Station, u, 0, 1e12, "standard uncertainty"),
		); err != nil {
			return nil, 0, err
		}
		if u == 0 {
			fixed[t.Station] = value
		} else {
			loose = append(loose, observation{label: "tie " + t.Station, to: t.Station, value: value, u: u})
		}
	}
	if len(ties) == 0 {
		fixed[names[0]] = 0
	}
	index := map[string]int{}
	for _, name := range names {
		if _, ok := fixed[name]; !ok {
			index[name] = len(index)
		}
	}
	others = len(index)
	parameters := others + len(observations[0].other)
	if parameters == 0 {
		return nil, 0, fmt.Errorf("%s: every station is fixed; nothing is left to adjust", fn)
	}
	all := append(append([]observation(nil), observations...), loose...)
	if len(all) < parameters {
		return nil, 0, fmt.Errorf("%s: %d observations do not determine %d stations and %d terms of drift", fn, len(all), others, parameters-others)
	}
	// Values near 9.8 m/s² and residuals of nm/s²: a rounded value is taken off
	// each free station first.
	reference := 0.0
	if len(loose) > 0 {
		reference = loose[0].value
	}
	for _, name := range names {
		if v, ok := fixed[name]; ok {
			reference = v
			break
		}
	}
	rows := make([]sparse, len(all))
	y, sigma := make([]float64, len(all)), make([]float64, len(all))
	between := false
	for i, o := range all {
		y[i], sigma[i] = o.value, o.u
		between = between || o.from != ""
		for _, end := range []struct {
			name string
			sign float64
		}{{o.to, 1}, {o.from, -1}} {
			if end.name == "" {
				continue
			}
			if v, ok := fixed[end.name]; ok {
				y[i] -= end.sign * v
			} else {
				rows[i].add(index[end.name], end.sign)
				y[i] -= end.sign * reference
			}
		}
		for k, v := range o.other {
			if v != 0 {
				rows[i].add(others+k, v)
			}
		}
	}
	// The zero of each meter and day takes the size off its readings themselves.
	zeros := map[int]float64{}
	for i := range observations {
		if z := observations[i].zero; len(observations[i].other) > 0 {
			if _, ok := zeros[z]; !ok {
				zeros[z] = y[i]
			}
			y[i] -= zeros[z]
		}
	}
	var r *fit.Result
	if between || others == 0 {
		m := mat.NewDense(len(all), parameters, nil)
		for i, row := range rows {
			for k, j := range row.at {
				m.Set(i, j, row.value[k])
			}
		}
		r, err = fit.Linear(m, y, sigma)
	} else {
		r, err = stationsApart(rows, y, sigma, others, parameters)
	}
	if err != nil {
		return nil, 0, fmt.Errorf("%s: %w", fn, err)
	}
	if len(r.Undetermined) > 0 {
		return nil, 0, fmt.Errorf("%s: the observations do not determine everything: a station is not connected to one that is tied, or the drift has more terms than repeats (%d of %d parameters)", fn, len(r.Undetermined), parameters)
	}
	for z, v := range zeros {
		r.P[others+z] += v
	}
	a = &Adjustment{Chi2: r.Chi2, DoF: r.DoF, parameters: r, index: index}
	for _, name := range names {
		s := Adjusted{Name: name}
		if v, ok := fixed[name]; ok {
			s.Value = v
		} else {
			s.Value, s.U = r.P[index[name]]+reference, r.U[index[name]]
		}
		a.Stations = append(a.Stations, s)
	}
	for i, o := range all {
		leverage := 0.0
		for j, x := range rows[i].value {
			for k, z := range rows[i].value {
				leverage += x * z * r.Cov.At(rows[i].at[j], rows[i].at[k])
			}
		}
		res := Residual{Label: o.label, Value: r.Residuals[i], Redundancy: math.Max(0, 1-leverage/(o.u*o.u)), W: math.NaN(), MDB: math.Inf(1)}
		if res.Redundancy > 1e-9 {
			root := math.Sqrt(res.Redundancy)
			res.W = res.Value / (o.u * root)
			res.MDB = noncentrality * o.u / root
		}
		a.Residuals = append(a.Residuals, res)
	}
	return a, others, nil
}

// ScaleUncertainty is the uncertainty that the scale factor (relative standard
// uncertainty uScale) adds to a difference of gravity (m/s²): it grows with the
// difference, and repeats do not reduce it.
func ScaleUncertainty(difference, uScale float64) (float64, error) {
	const fn = "survey.ScaleUncertainty"
	if err := errors.Join(
		arg.Between(fn, "difference", difference, -100, 100, "gravity in m/s²"),
		arg.Between(fn, "uScale", uScale, 0, 1, "relative uncertainty"),
	); err != nil {
		return 0, err
	}
	return math.Abs(difference) * uScale, nil
}
