// Package fieldday works out what package fieldbook has read, by the models of package
// survey, and writes the report of the day.
//
//	book, err := fieldbook.Read(files)
//	result, err := fieldday.Work(book, choices)
//	err = result.Write("day1")
//
// What is decided on the way is in [Choices], which can be changed and given back: the same
// files and choices give the same bytes. What is doubtful is in Result.Doubts.
package fieldday

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/fieldbook"
	"gravity.example/gravlab/quantity"
	"gravity.example/gravlab/survey"
)

// A Station is a point with what was found there. All in SI units.
type Station struct {
	fieldbook.Point
	North, East float64 // m
	Readings    int     // used
	Gravity     survey.Adjusted
	Anomaly     survey.Anomaly
	U           Parts  // of the anomaly
	OnMap       bool   // used for the map and the body
	Doubt       string // why it is not
	TerrainNear float64
	terrain     float64 // correction for a density of 1 kg/m³, m/s²
	told        bool    // that a body or a wrong reading would explain it
}

// Parts are what the uncertainty of an anomaly is made of, m/s².
type Parts struct{ Reading, Scale, Height, Terrain, Density float64 }

// Own is what stations do not share: reading, height and near terrain.
func (p Parts) Own() float64 {
	return math.Sqrt(p.Reading*p.Reading + p.Height*p.Height + p.Terrain*p.Terrain)
}

// All is the whole uncertainty.
func (p Parts) All() float64 { return math.Hypot(p.Own(), math.Hypot(p.Scale, p.Density)) }

// A Day is what one meter read on one local date.
type Day struct {
	Name     string // the date, and the meter where there is more than one
	Meter    string
	Readings []fieldbook.Reading // all
	Out      []int               // of them, left out
	Reduced  []survey.Reduced    // of those used
	Drift    survey.Drift
	Found    survey.DayDrift
	Loops    []Loop
	trials   []trial
	best     trial
	placed   bool // the map has told, or the choices were given
	shift    time.Duration
	from     time.Time // the first moment whose time is moved by shift; zero for all
	u        float64   // of a reading, 0 where the file states them, m/s²
}

// A Loop is from one reading of the base to the next.
type Loop struct {
	From, To time.Time
	Closure  float64 // by how much the base has changed, tide and all corrections made, m/s²
	Left     float64 // of it beside drift and tares
}

// A Result is all that was worked out.
type Result struct {
	Book         *fieldbook.Book
	Choices      *Choices
	Days         []*Day
	Stations     []Station
	Adjustment   *survey.Adjustment
	Reduction    survey.Reduction
	Density      *survey.TopographyDensity // by the hill, nil where it says nothing
	Base         string
	Tied         bool // to a base of known gravity
	Frame        survey.Frame
	Surface      *survey.Surface // in µGal; nil where there are too few stations
	TerrainTo    float64
	Terrain      float64 // from, m
	HowU         string  // where the uncertainty of a reading comes from
	Doubts       []fieldbook.Problem
	Body         *Body // nil where none was asked for
	legacy       string
	uDensity     float64
	unit, uUnit  []float64           // terrain correction for 1 kg/m³, and its uncertainty
	ownDensity   bool                // it was found here, not chosen
	ofAdjustment []fieldbook.Problem // of Doubts, those that adjust has told
	offset       float64             // added to the adjusted values, m/s²
}

const uUsual = 5 * gravlab.MicroGal // of a reading where no repeats tell, common practice, no source

// Work works out a book. An error is one of the files or of the choices.
func Work(book *fieldbook.Book, choices *Choices) (*Result, error) {
	if choices == nil {
		choices = &Choices{}
	}
	r := &Result{Book: book, Choices: choices}
	r.Doubts = append(r.Doubts, book.Told...)
	for _, step := range []func() error{r.place, r.split, r.search, r.adjust, r.reduce, r.look} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	if p := choices.unused(); len(p) > 0 {
		return nil, p
	}
	return r, nil
}

// place finds the base and the metres of the stations.
func (r *Result) place() error {
	c := r.Choices
	used := r.Book.Used()
	r.Base = r.Book.Readings[0].Station
	if len(r.Book.Ties) > 0 {
		r.Base, r.Tied = r.Book.Ties[0].Station, true
	}
	base, _ := r.Book.Point(r.Base)
	heights := map[survey.HeightKind]string{survey.Ellipsoidal: "ellipsoidal", survey.Orthometric: "orthometric"}[r.Book.Heights]
	o := c.take("heights", "", heights, "by the head of the points")
	word, err := c.oneOf(o, "ellipsoidal", "orthometric")
	if err != nil {
		if o.value == "" {
			return fieldbook.Problem{File: base.File, Line: 1, Text: "the head of the points does not say what the heights count from: write \"ellipsoidal height (m)\" for satellite positions, or \"orthometric height (m)\" for levelling. 30 m between the two are 9 mGal"}
		}
		return err
	}
	r.Reduction.Heights = map[string]survey.HeightKind{"ellipsoidal": survey.Ellipsoidal, "orthometric": survey.Orthometric}[word]
	if r.Book.Heights != survey.HeightUnstated && r.Book.Heights != r.Reduction.Heights {
		return fieldbook.Problem{File: c.file, Line: o.line, Text: "the choice of heights contradicts the head of the points"}
	}
	r.Frame = survey.Frame{Lat: base.Lat, Lon: base.Lon, Ellipsoid: earth.GRS80}
	grid := !math.IsNaN(base.North)
	for _, p := range used {
		n, e, err := r.Frame.Metres(p.Lat, p.Lon)
		if err != nil {
			return p.Problem("%v", err)
		}
		if grid {
			if math.IsNaN(p.North) || math.IsNaN(p.East) {
				return p.Problem("it has no north and east, which the base has")
			}
			d, map_ := math.Hypot(n, e), math.Hypot(p.North-base.North, p.East-base.East)
			if math.Abs(d-map_) > 2+0.005*d {
				return p.Problem("it is %.1f m from %s by north and east, and %.1f m by latitude and longitude; one of them is wrong", map_, r.Base, d)
			}
			n, e = p.North, p.East
		}
		r.Stations = append(r.Stations, Station{Point: p, North: n, East: e})
	}
	return nil
}

func (r *Result) station(name string) *Station {
	for i := range r.Stations {
		if r.Stations[i].Name == name {
			return &r.Stations[i]
		}
	}
	return nil
}

// split puts the readings into days.
func (r *Result) split() error {
	meters := map[string]bool{}
	for _, x := range r.Book.Readings {
		meters[x.Meter] = true
	}
	var last *Day
	for _, x := range r.Book.Readings {
		name := x.Day()
		if len(meters) > 1 {
			name += " " + x.Meter
		}
		if last == nil || last.Name != name {
			last = &Day{Name: name, Meter: x.Meter}
			r.Days = append(r.Days, last)
		}
		last.Readings = append(last.Readings, x)
	}
	return nil
}

// job is what the readings of a meter have in common.
func (r *Result) job(meter string, units bool) (survey.Job, error) {
	c := r.Choices
	j := survey.Job{Admittance: earth.PressureAdmittance, Permanent: earth.ZeroTide}
	scale, u, why := "1", "0", "no calibration was given"
	calibration := r.Book.Calibration(meter)
	if l := calibration.Line; l != nil {
		scale, u, why = fmt.Sprintf("%.6f", l.Scale), fmt.Sprintf("%.6f", l.UScale), "calibration line"
	}
	var err error
	if j.Meter.Scale, err = c.number(c.take("scale", meter, scale, why), quantity.One, 0.9, 1.1); err != nil {
		return j, err
	}
	if j.Meter.UScale, err = c.number(c.take("u scale", meter, u, why), quantity.One, 0, 0.01); err != nil {
		return j, err
	}
	if units {
		j.Meter.Table = calibration.Table
	}
	if j.Factor, err = c.number(c.take("tide factor", "", fmt.Sprint(earth.GravimetricFactor), "usual (Melchior 1983)"), quantity.One, 1, 1.3); err != nil {
		return j, err
	}
	tide, err := c.oneOf(c.take("tide", meter, "computed", "set to \"by the meter\" if the meter subtracts the tide itself and the file does not say how much"), "computed", "by the meter")
	if err != nil {
		return j, err
	}
	if tide == "by the meter" {
		j.Factor, j.Permanent = 0, earth.TideFree
	}
	gradient, err := c.number(c.take("gradient", "", "-0.3086 mGal/m", "normal gradient; measure it where the sensor stands high"), quantity.Gradient, -6e-6, -1e-6)
	if err != nil {
		return j, err
	}
	for _, s := range r.Stations {
		g := s.Gradient
		if math.IsNaN(g) {
			g = gradient
		}
		j.Stations = append(j.Stations, survey.Station{Name: s.Name, Gradient: g, Site: earth.Site{Lat: s.Lat, Lon: s.Lon, Height: s.Height}})
	}
	return j, nil
}

// reduced are the readings of a day but those left out, its clock moved by shift.
func (r *Result) reduced(d *Day, out []int, shift time.Duration, u float64) ([]survey.Reduced, error) {
	job, err := r.job(d.Meter, d.Readings[0].Units)
	if err != nil {
		return nil, err
	}
	own := job.Factor > 0 // a tide that the meter has added is taken out again
	var list []survey.Reading
	for i, x := range d.Readings {
		if slices.Contains(out, i) {
			continue
		}
		if x.Units != d.Readings[0].Units {
			return nil, x.Problem("this meter has readings in units of its counter and in units of gravity")
		}
		s := x.Reading
		s.Time = d.moved(s.Time, shift)
		if !math.IsNaN(x.Tide) && own {
			if x.Units {
				return nil, x.Problem("a tide added by the meter goes with readings in units of gravity")
			}
			s.Counter -= x.Tide
		}
		_, per, err := job.Meter.Gravity(s.Counter)
		if err != nil {
			return nil, x.Problem("%v", err)
		}
		switch {
		case u > 0:
			s.U = u / math.Abs(per)
		case x.UUnits == x.Units:
			s.U = x.U
		case x.Units:
			s.U = x.U / math.Abs(per)
		default:
			return nil, x.Problem("its uncertainty has no unit; write it in the head, like \"u (µGal)\"")
		}
		list = append(list, s)
	}
	reduced, err := job.Reduce(list)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", d.Readings[0].File, err)
	}
	return reduced, nil
}

// moved is the moment of a time that was written down, where the clock was off by shift from a
// moment on.
func (d *Day) moved(t time.Time, shift time.Duration) time.Time {
	if t.Before(d.from) {
		return t
	}
	return t.Add(shift)
}

// written undoes moved.
func (d *Day) written(t time.Time, shift time.Duration) time.Time {
	if back := t.Add(-shift); !back.Before(d.from) {
		return back
	}
	return t
}

// drift is the model of a day's drift without tares.
func (r *Result) drift(d *Day) (survey.Drift, error) {
	c := r.Choices
	word, err := c.oneOf(c.take("drift", d.Name, "line", "usual"), "line", "loops", "curve", "none")
	if err != nil {
		return survey.Drift{}, err
	}
	switch word {
	case "none":
		return survey.Drift{}, nil
	case "curve":
		return survey.Drift{Degree: 2}, nil
	case "loops":
		drift := survey.Drift{Degree: 1}
		last := len(d.Readings) - 1
		for i, x := range d.Readings {
			if x.Station == d.Readings[0].Station && i > 0 && i < last && d.Readings[i-1].Station != x.Station {
				drift.Knots = append(drift.Knots, x.Time)
			}
		}
		return drift, nil
	}
	return survey.Drift{Degree: 1}, nil
}

// search finds the uncertainty of readings, tares, and readings that are off.
func (r *Result) search() error {
	c := r.Choices
	o := c.take("search", "", "again", "")
	word, err := c.oneOf(o, "done", "again")
	if err != nil {
		return err
	}
	if word == "again" {
		c.list = slices.DeleteFunc(c.list, func(x choice) bool {
			return x.name == "tare place" && x.value != "known" || (x.name == "tare" || x.name == "leave out") && strings.HasPrefix(x.why, found)
		})
	}
	var how []string
	for _, meter := range r.meters() {
		text, err := r.searchMeter(meter, word == "again")
		if err != nil {
			return err
		}
		how = append(how, text)
	}
	r.HowU = strings.Join(how, " ")
	for i := range c.list {
		if o := &c.list[i]; o.name == "search" {
			o.value, o.why = "done", "the tares and readings left out below are what was found or chosen; \"again\" looks again"
		}
	}
	return nil
}

const (
	found    = "found: "
	outTold  = "this reading is left out: it does not fit the repeats, drift and tares of the day"
	stepTold = "a step of the meter's zero is assumed here; look in the field book for its cause"
)

func moment(t time.Time) string { return t.Format("2006-01-02 15:04:05 MST") }

func (r *Result) meters() (names []string) {
	for _, d := range r.Days {
		if !slices.Contains(names, d.Meter) {
			names = append(names, d.Meter)
		}
	}
	return names
}

func (r *Result) searchMeter(meter string, again bool) (how string, err error) {
	c := r.Choices
	var days []*Day
	stated := true
	for _, d := range r.Days {
		if d.Meter != meter {
			continue
		}
		days = append(days, d)
		for _, x := range d.Readings {
			stated = stated && !math.IsNaN(x.U)
		}
	}
	of := ""
	if meter != "" {
		of = " of " + meter
	}
	u := 0.0
	how = "The uncertainty of each reading" + of + " is as stated in the file."
	// What was chosen stands.
	given := slices.ContainsFunc(c.list, func(x choice) bool { return x.name == "u reading" && x.about == meter })
	switch {
	case given:
		o := c.take("u reading", meter, "", "")
		if o.value != "as stated" {
			if u, err = c.number(o, quantity.Acceleration, 1e-10, 1e-5); err != nil {
				return "", err
			}
			if how = fmt.Sprintf("The uncertainty of a reading%s is %s, chosen: %s.", of, o.value, o.why); strings.HasPrefix(o.why, "No uncertainty of a reading") {
				how = o.why
			}
		} else if !stated {
			return "", c.bad(o)
		}
	case stated:
		c.take("u reading", meter, "as stated", "in the file of readings")
	}
	known := given || stated
	if !known {
		u = uUsual
	}
	for round := range 4 {
		chi2, dof := 0.0, 0
		for _, d := range days {
			one, n, err := r.searchDay(d, u, again)
			if err != nil {
				return "", err
			}
			chi2, dof = chi2+one, dof+n
		}
		if known {
			break
		}
		if dof < 3 {
			how = fmt.Sprintf("No uncertainty of a reading%s was stated, and %d repeats are too few to find one: %.0f µGal is used (common practice, no source).", of, dof, uUsual/gravlab.MicroGal)
			break
		}
		next := math.Max(u*math.Sqrt(chi2/float64(dof)), 0.5*gravlab.MicroGal)
		how = fmt.Sprintf("No uncertainty of a reading%s was stated. It is found from repeats: with one uncertainty for all readings, the value under which the scatter of the %d readings beyond those that stations, drift and tares need is what chance makes is %.1f µGal, itself uncertain by %.0f %%. Readings left out do not count.", of, dof, next/gravlab.MicroGal, 100/math.Sqrt(2*float64(dof)))
		if math.Abs(next/u-1) < 0.005 || round == 3 {
			break
		}
		u = next
	}
	if !known {
		c.add("u reading", meter, fmt.Sprintf("%.3g µGal", u/gravlab.MicroGal), how)
		if u, err = c.number(&c.list[len(c.list)-1], quantity.Acceleration, 1e-10, 1e-5); err != nil {
			return "", err
		}
	}
	for _, d := range days {
		if _, _, err := r.searchDay(d, u, again); err != nil {
			return "", err
		}
		if err := r.settle(d, u); err != nil {
			return "", err
		}
	}
	return how, nil
}

// A trial is a day with some readings left out and perhaps a tare.
type trial struct {
	out   []int
	tare  *survey.TareGuess
	score float64 // chi² and what the freedoms cost
	chi2  float64
	dof   int
	at    time.Time // of the tare, of the places that fit alike
}

// critical is the largest |W| of n that chance passes with probability alpha.
func critical(alpha float64, n int) float64 {
	return distuv.UnitNormal.Quantile(1 - alpha/2/float64(max(1, n)))
}

// try adjusts a day alone without the readings out, with the likeliest tare where that is
// worth it, and returns the readings that fit worst with and without it.
func (r *Result) tryOut(d *Day, out []int, shift time.Duration, u float64, drift survey.Drift, search bool) (trial, []int, error) {
	t := trial{out: out}
	reduced, err := r.reduced(d, out, shift, u)
	if err != nil {
		return t, nil, err
	}
	for i := range drift.Tares {
		drift.Tares[i] = d.moved(drift.Tares[i], shift)
	}
	for i := range drift.Knots {
		drift.Knots[i] = d.moved(drift.Knots[i], shift)
	}
	a, err := survey.Adjust(reduced, nil, drift)
	if err != nil {
		return t, nil, err
	}
	// The places of the readings used.
	var place []int
	for i := range d.Readings {
		if !slices.Contains(out, i) {
			place = append(place, i)
		}
	}
	// In a short day each reading is a candidate, since a step in a wrong place hides which
	// is off; in a long one those that fit worst.
	worst := func(a *survey.Adjustment) (list []int) {
		var order []int
		for i := range place {
			if !math.IsNaN(a.Residuals[i].W) {
				order = append(order, i)
			}
		}
		slices.SortStableFunc(order, func(i, j int) int {
			return cmp.Compare(math.Abs(a.Residuals[j].W), math.Abs(a.Residuals[i].W))
		})
		if len(place) > 60 {
			order = order[:min(6, len(order))]
		}
		for _, i := range order {
			list = append(list, place[i])
		}
		return list
	}
	t.chi2, t.dof = a.Chi2, a.DoF
	var candidates []int
	candidates = append(candidates, worst(a)...)
	if search && len(drift.Tares) == 0 {
		if guess, err := survey.FindTare(reduced, nil, drift); err == nil {
			cost := critical(0.001, len(reduced))
			with := drift
			with.Tares = []time.Time{guess.At}
			if b, err := survey.Adjust(reduced, nil, with); err == nil {
				for _, k := range worst(b) {
					if !slices.Contains(candidates, k) {
						candidates = append(candidates, k)
					}
				}
				if math.Abs(guess.W) > cost {
					guess.At = d.written(guess.At, shift)
					t.tare, t.chi2, t.dof = &guess, b.Chi2, b.DoF
					t.score += cost * cost
				}
			}
		}
	}
	t.score += t.chi2 + float64(len(out))*math.Pow(critical(0.05, len(d.Readings)), 2)
	return t, candidates, nil
}

// best looks for the readings to leave out and the tare of a day together.
func (r *Result) best(d *Day, fixedOut []int, shift time.Duration, u float64, drift survey.Drift, search bool) (now trial, all []trial, err error) {
	now, candidates, err := r.tryOut(d, fixedOut, shift, u, cloned(drift), search)
	if err != nil || !search {
		return now, nil, err
	}
	now.score -= float64(len(fixedOut)) * math.Pow(critical(0.05, len(d.Readings)), 2)
	all = append(all, now)
	for range max(1, len(d.Readings)/10) {
		// A day whose scatter is what chance makes is left alone.
		if float64(now.dof) > 0 && fitPValue(now.chi2, now.dof) > 0.2 && now.tare == nil {
			break
		}
		next, more := now, candidates
		for _, k := range candidates {
			t, c, err := r.tryOut(d, append(slices.Clone(now.out), k), shift, u, cloned(drift), search)
			if err != nil {
				continue
			}
			t.score -= float64(len(fixedOut)) * math.Pow(critical(0.05, len(d.Readings)), 2)
			all = append(all, t)
			if t.score < next.score-1e-6 {
				next, more = t, c
			}
		}
		if next.score == now.score {
			break
		}
		now, candidates = next, more
	}
	return now, all, nil
}

// chosen are the readings left out and the drift with tares that the choices name.
func (r *Result) chosen(d *Day) (out []int, drift survey.Drift, err error) {
	if drift, err = r.drift(d); err != nil {
		return nil, drift, err
	}
	if drift.Tares, err = r.Choices.moments("tare", d.Name); err != nil {
		return nil, drift, err
	}
	for i, t := range drift.Tares {
		drift.Tares[i] = t.In(d.Readings[0].Time.Location())
	}
	done := map[string]bool{}
	for _, x := range d.Readings {
		if done[x.Station] {
			continue
		}
		done[x.Station] = true
		times, err := r.Choices.moments("leave out", x.Station)
		if err != nil {
			return nil, drift, err
		}
		for _, at := range times {
			for i, y := range d.Readings {
				if y.Station == x.Station && y.Time.Equal(at) {
					out = append(out, i)
				}
			}
		}
	}
	return out, drift, nil
}

// searchDay finds tares and readings to leave out, puts them into the choices, and returns
// chi² and degrees of freedom with them.
func (r *Result) searchDay(d *Day, u float64, again bool) (chi2 float64, dof int, err error) {
	if again { // what an earlier round found
		r.forget(d)
	}
	out, drift, err := r.chosen(d)
	if err != nil {
		return 0, 0, err
	}
	shift, err := r.clock(d)
	if err != nil {
		return 0, 0, err
	}
	t, all, err := r.best(d, out, shift, u, drift, again)
	d.trials, d.best = all, t
	if err != nil {
		var p fieldbook.Problem
		if errors.As(err, &p) {
			return 0, 0, err
		}
		if len(r.Days) > 1 {
			return 0, 0, nil // the days together may determine it
		}
		return 0, 0, fieldbook.Problem{File: d.Readings[0].File, Text: fmt.Sprintf("the readings of %s cannot be adjusted: %v. Without a return to the base, or another repeat, drift cannot be told from gravity; \"drift,%s,none\" among the choices takes it as zero", d.Name, err, d.Name)}
	}
	if t.tare != nil {
		t.at = t.tare.At.Round(time.Second)
	}
	r.record(d, t, out, "")
	return t.chi2, t.dof, nil
}

// record puts what a trial found into the choices; fixed are the readings that were left out
// before.
func (r *Result) record(d *Day, t trial, fixed []int, because string) {
	c := r.Choices
	if t.tare != nil {
		why := fmt.Sprintf(found+"%.1f ± %.1f µGal, %.1f standard uncertainties; look in the field book for its cause", t.tare.Size/gravlab.MicroGal, t.tare.U/gravlab.MicroGal, math.Abs(t.tare.W))
		c.add("tare", d.Name, t.at.In(d.Readings[0].Time.Location()).Format(momentLayout), why+because)
	}
	for _, k := range t.out {
		if slices.Contains(fixed, k) {
			continue
		}
		x := d.Readings[k]
		c.add("leave out", x.Station, x.Time.Format(momentLayout), found+"it does not fit the repeats, drift and tares of the day; "+x.File+" line "+fmt.Sprint(x.Line)+because)
	}
}

// forget takes out of the choices what was found of a day.
func (r *Result) forget(d *Day) {
	c := r.Choices
	c.list = slices.DeleteFunc(c.list, func(x choice) bool {
		mine := x.about == d.Name
		for _, y := range d.Readings {
			mine = mine || x.name == "leave out" && x.about == y.Station && x.value == y.Time.Format(momentLayout)
		}
		return mine && (x.name == "tare" || x.name == "leave out") && strings.HasPrefix(x.why, found)
	})
}

// stories are the trials that explain a day's readings nearly as well as the best one, each
// with every place of its step that they cannot tell apart.
func (d *Day) stories() (list []trial) {
	for _, t := range d.trials {
		if t.score > d.best.score+16 {
			continue
		}
		if t.tare == nil {
			list = append(list, t)
			continue
		}
		var used []time.Time
		for i, x := range d.Readings {
			if !slices.Contains(t.out, i) {
				used = append(used, d.moved(x.Time, d.shift))
			}
		}
		for _, k := range t.tare.Candidates {
			if k+1 < len(used) {
				t.at = d.written(used[k].Add(used[k+1].Sub(used[k])/2), d.shift).Round(time.Second)
				list = append(list, t)
			}
		}
	}
	slices.SortStableFunc(list, func(a, b trial) int { return cmp.Compare(a.score, b.score) })
	return list[:min(len(list), 60)]
}

// clock is by how much a day's times are moved.
func (r *Result) clock(d *Day) (time.Duration, error) {
	c := r.Choices
	v, err := c.number(c.take("clock", d.Name, "0 min", "as written"), quantity.Time, -86400, 86400)
	from, err2 := c.moments("clock from", d.Name)
	if len(from) > 0 {
		d.from = from[0]
	}
	err = errors.Join(err, err2)
	return time.Duration(math.Round(v)) * time.Second, err
}

// settle reduces a day by the choices and asks whether another clock, or a meter that
// subtracts the tide itself, fits better.
func (r *Result) settle(d *Day, u float64) error {
	out, drift, err := r.chosen(d)
	if err != nil {
		return err
	}
	shift, err := r.clock(d)
	if err != nil {
		return err
	}
	d.Out, d.shift, d.u = out, shift, u
	if len(drift.Tares) > 0 {
		o := r.Choices.take("tare place", d.Name, "doubtful", "set to \"known\" where the field book names the moment")
		word, err := r.Choices.oneOf(o, "doubtful", "known", "by the map")
		if err != nil {
			return err
		}
		d.placed = word != "doubtful"
	}
	if d.Reduced, err = r.reduced(d, out, shift, u); err != nil {
		return err
	}
	for i := range drift.Tares {
		drift.Tares[i] = d.moved(drift.Tares[i], shift)
	}
	for i := range drift.Knots {
		drift.Knots[i] = d.moved(drift.Knots[i], shift)
	}
	d.Drift = drift
	for _, k := range out {
		x := d.Readings[k]
		r.Doubts = append(r.Doubts, x.Problem(outTold))
	}
	for _, t := range drift.Tares {
		r.Doubts = append(r.Doubts, fieldbook.Problem{File: d.Readings[0].File, Time: moment(t), Text: stepTold})
	}
	base := drift
	base.Tares = nil
	now, _, err := r.best(d, nil, shift, u, base, true)
	if err != nil {
		return nil // the days together are adjusted later, or refused
	}
	better, at := now.score-12, time.Duration(0)
	for _, h := range []time.Duration{-2 * time.Hour, -time.Hour, time.Hour, 2 * time.Hour} {
		if t, _, err := r.best(d, nil, shift+h, u, base, true); err == nil && t.score < better {
			better, at = t.score, h
		}
	}
	// An hour that went wrong during the day: where the readings scatter too much, or the
	// whole day fits another hour better.
	var since *fieldbook.Reading
	if len(d.Readings) <= 60 && d.from.IsZero() && (at != 0 || fitPValue(now.chi2, now.dof) < 0.05) {
		for k := range d.Readings {
			if k == 0 {
				continue
			}
			d.from = d.Readings[k].Time
			for _, h := range []time.Duration{-time.Hour, time.Hour} {
				t, candidates, err := r.tryOut(d, nil, shift+h, u, cloned(base), true)
				if err != nil {
					continue
				}
				quick := t.score
				for _, k := range candidates[:min(4, len(candidates))] {
					if t, _, err := r.tryOut(d, []int{k}, shift+h, u, cloned(base), true); err == nil {
						quick = min(quick, t.score)
					}
				}
				if quick > better {
					continue
				}
				// Where it went wrong is one more thing that is chosen.
				if t, _, err := r.best(d, nil, shift+h, u, base, true); err == nil && t.score+6 < better {
					better, at, since = t.score+6, h, &d.Readings[k]
				}
			}
		}
		d.from = time.Time{}
	}
	if since != nil {
		r.Doubts = append(r.Doubts, since.Problem("from this reading on the times fit the tide better moved by %+.0f min (chi² with its penalties %.0f instead of %.0f): was the clock changed? If so, choose \"clock,%s,%.0f min\", \"clock from,%s,%s\" and \"search,,again\"", at.Minutes(), better, now.score, d.Name, (shift+at).Minutes(), d.Name, since.Time.Format(momentLayout)))
	} else if at != 0 {
		r.Doubts = append(r.Doubts, fieldbook.Problem{File: d.Readings[0].File, Text: fmt.Sprintf("the readings of %s fit the tide better with the clock moved by %+.0f min (chi² with its penalties %.0f instead of %.0f): is the time zone right? If not, choose \"clock,%s,%.0f min\" and \"search,,again\"", d.Name, at.Minutes(), better, now.score, d.Name, (shift + at).Minutes())})
	}
	return nil
}

func cloned(d survey.Drift) survey.Drift {
	d.Knots, d.Tares = slices.Clone(d.Knots), slices.Clone(d.Tares)
	return d
}

// together is the adjustment of all days.
func (r *Result) together() (*survey.Adjustment, error) {
	var days []survey.MeterDay
	for _, d := range r.Days {
		days = append(days, survey.MeterDay{Readings: d.Reduced, Drift: d.Drift})
	}
	var ties []survey.Tie
	for _, t := range r.Book.Ties {
		ties = append(ties, t.Tie)
	}
	return survey.AdjustDays(days, ties)
}

// adjust puts all days into one fit.
func (r *Result) adjust() error {
	a, err := r.together()
	if err != nil {
		return fmt.Errorf("the readings cannot be adjusted together: %w. Does each day share a station with another, and return to one?", err)
	}
	r.Adjustment = a
	var told []fieldbook.Problem
	for _, m := range a.Remarks {
		p := fieldbook.Problem{File: r.Book.Readings[0].File, Station: m.Station, Text: m.Text}
		if !m.Time.IsZero() {
			p.Time = moment(m.Time)
		}
		told = append(told, p)
	}
	if p := a.PValue(); p < 0.01 {
		told = append(told, fieldbook.Problem{File: r.Book.Readings[0].File, Text: fmt.Sprintf("the readings scatter more than their uncertainties allow (chi² %.1f for %d degrees of freedom): the uncertainties of the table are too small, or a step, a bend of the drift or a wrong reading is still there", a.Chi2, a.DoF)})
	}
	for i := range a.Residuals {
		if label := a.Residuals[i].Label; strings.HasPrefix(label, "tie ") && math.Abs(a.Residuals[i].W) > 3 {
			told = append(told, fieldbook.Problem{File: r.Book.Ties[0].File, Station: strings.TrimPrefix(label, "tie "), Text: fmt.Sprintf("this tie and the others disagree by %.3f mGal; some 14 mGal are a base on the datum of Potsdam", a.Residuals[i].Value/gravlab.MilliGal)})
		}
	}
	at := len(r.Doubts)
	if len(r.ofAdjustment) > 0 {
		at = slices.Index(r.Doubts, r.ofAdjustment[0])
		r.Doubts = slices.Delete(r.Doubts, at, at+len(r.ofAdjustment))
	}
	r.Doubts, r.ofAdjustment = slices.Insert(r.Doubts, at, told...), told
	k := 0
	for i, d := range r.Days {
		d.Found = a.Days[i]
		var before *survey.Reduced
		var beforeLeft float64
		for j := range d.Reduced {
			x := &d.Reduced[j]
			left := a.Residuals[k].Value
			k++
			if x.Station != d.Reduced[0].Station {
				continue
			}
			if before != nil && j > 0 && d.Reduced[j-1].Station != x.Station {
				d.Loops = append(d.Loops, Loop{From: before.Time, To: x.Time, Closure: x.Value - before.Value, Left: left - beforeLeft})
			}
			before, beforeLeft = x, left
		}
		for _, x := range d.Reduced {
			if s := r.station(x.Station); s != nil {
				s.Readings++
			}
		}
	}
	return nil
}
