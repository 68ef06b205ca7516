package fieldday

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gravity.example/gravlab"
	"gravity.example/gravlab/fieldbook"
	"gravity.example/gravlab/survey"
)

// look finds stations that their neighbours do not expect, and lays the surface of the map.
func (r *Result) look() error {
	for _, d := range r.Days {
		if err := r.askMap(d); err != nil {
			return err
		}
	}
	r.hill()
	for i := range r.Stations {
		s := &r.Stations[i]
		s.OnMap = s.Doubt == ""
		if s.Doubt != "" {
			r.Doubts = append(r.Doubts, s.Problem("%s; it is not on the map", s.Doubt))
		}
	}
	if report, err := r.report(); err == nil {
		for _, m := range report.Remarks() {
			s := r.station(m.Station)
			if s != nil {
				r.Doubts = append(r.Doubts, s.Problem("%s", m.Text))
			}
		}
	}
	for round := 0; ; round++ {
		index, north, east, value, u := r.onMap()
		if len(index) < 8 {
			break
		}
		surface, err := survey.FitSurface(north, east, value, u)
		if err != nil {
			break // stations in one line have no map
		}
		r.Surface = surface
		if round >= max(1, len(index)/10) {
			break
		}
		k, out := -1, survey.LeftOut{}
		for i, o := range surface.LeaveOneOutFreely() {
			w := critical(0.05, len(index))
			if math.Abs(o.W) <= w || math.Abs(o.W) < math.Abs(out.W) {
				continue
			}
			s := &r.Stations[index[i]]
			if !r.explained(index[i], w) {
				k, out = i, o
			} else if !s.told {
				s.told = true
				r.Doubts = append(r.Doubts, s.Problem("its anomaly is %.0f µGal off what its neighbours expect of a smooth map. A body under the field explains it, and so would a wrong reading: the two cannot be told apart by these readings. Read it again; it stays on the map", value[i]-o.Predicted))
			}
		}
		if k < 0 {
			break
		}
		s := &r.Stations[index[k]]
		s.OnMap = false
		s.Doubt = fmt.Sprintf("its anomaly is %.0f µGal off what its neighbours expect, %.1f standard uncertainties", value[k]-out.Predicted, math.Abs(out.W))
		if s.Readings < 2 {
			s.Doubt += "; it was read once, so that no other reading checks it: read it again"
		} else {
			s.Doubt += "; it was read more than once, so look at its height"
		}
		r.Doubts = append(r.Doubts, s.Problem("%s. A small body just beneath it would look the same, and its one value cannot tell the two apart. It is not on the map", s.Doubt))
	}
	return nil
}

// onMap are the stations that count for the map, in µGal.
func (r *Result) onMap() (index []int, north, east, value, u []float64) {
	for i, s := range r.Stations {
		if s.OnMap {
			index = append(index, i)
			north, east = append(north, s.North), append(east, s.East)
			value = append(value, s.Anomaly.Value/gravlab.MicroGal)
			u = append(u, math.Max(s.U.Own(), 1e-10)/gravlab.MicroGal)
		}
	}
	return
}

// report is the table of package survey.
func (r *Result) report() (survey.Report, error) {
	t := survey.Report{Title: "Gravity survey", Datum: r.datum()}
	for _, s := range r.Stations {
		t.Rows = append(t.Rows, survey.Row{Station: s.Name, Lat: s.Lat, Lon: s.Lon, Height: s.Height, Gravity: s.Gravity.Value, UGravity: s.Gravity.U, Anomaly: s.Anomaly, UAnomaly: s.U.All()})
	}
	return t, t.Validate()
}

// askMap asks the map which story of a day is true, where several explain the readings nearly
// alike: where a step was, which of two readings of a station is wrong, or whether it was a
// step at all. With a wrong one some stations stand out of their neighbours. A story counts by
// the likelihoods of the readings and of the map together.
func (r *Result) askMap(d *Day) error {
	stories := d.stories()
	if d.placed || len(stories) < 2 || len(r.Stations) < 12 {
		return nil
	}
	before, reduced, out := d.Drift, d.Reduced, d.Out
	restore := func() { d.Drift, d.Reduced, d.Out = before, reduced, out }
	adopt := func(t trial) (err error) {
		d.Drift = cloned(before)
		if t.tare != nil {
			d.Drift.Tares = []time.Time{d.moved(t.at, d.shift)}
		} else if d.best.tare != nil {
			d.Drift.Tares = nil
		}
		if !slices.Equal(d.Out, t.out) {
			d.Out = t.out
			d.Reduced, err = r.reduced(d, d.Out, d.shift, d.u)
		}
		return err
	}
	values := make([]float64, len(stories))
	best := 0
	for i, t := range stories {
		values[i] = math.Inf(-1)
		if err := adopt(t); err == nil {
			v, ok, err := r.smoothness()
			if err == nil && !ok {
				restore()
				return nil // stations in one line have no map
			}
			if err == nil {
				values[i] = v - t.score/2
			}
		}
		restore()
		if values[i] > values[best] {
			best = i
		}
	}
	winner := stories[best]
	second := math.Inf(-1) // of those with another step
	for i, t := range stories {
		if (t.tare == nil) != (winner.tare == nil) || !t.at.Equal(winner.at) {
			second = max(second, values[i])
		}
	}
	certain := values[best]-second >= 3 // odds of 20 to 1
	if !certain && winner.tare != nil && d.best.tare != nil && slices.Equal(winner.out, d.best.out) {
		return nil
	}
	fixed := slices.Clone(d.trials[0].out)
	r.forget(d)
	because := fmt.Sprintf("; of %d stories that explain the readings nearly alike this one makes the likeliest map, by odds of %.0f to 1 over another step", len(stories), math.Exp(math.Min(values[best]-second, 9)))
	r.record(d, winner, fixed, because)
	r.Choices.list = slices.DeleteFunc(r.Choices.list, func(o choice) bool { return o.name == "tare place" && o.about == d.Name })
	if err := adopt(winner); err != nil {
		return err
	}
	if len(d.Drift.Tares) > 0 {
		word, why := "doubtful", "set to \"known\" where the field book names the moment"
		if certain {
			word, why = "by the map", "see tare; set to \"doubtful\" if the field book has another moment"
		}
		r.Choices.take("tare place", d.Name, word, why)
	}
	d.placed = certain
	r.tellFound(d)
	return r.again()
}

// tellFound lists what is left out and where steps are assumed, instead of what was listed of
// the day before.
func (r *Result) tellFound(d *Day) {
	var list []fieldbook.Problem
	for _, k := range d.Out {
		list = append(list, d.Readings[k].Problem(outTold))
	}
	for _, t := range d.Drift.Tares {
		list = append(list, fieldbook.Problem{File: d.Readings[0].File, Time: moment(t), Text: stepTold})
	}
	at := slices.IndexFunc(r.Doubts, d.told)
	r.Doubts = slices.DeleteFunc(r.Doubts, d.told)
	if at < 0 {
		at = len(r.Doubts)
	}
	r.Doubts = slices.Insert(r.Doubts, min(at, len(r.Doubts)), list...)
}

// told says that a doubt is one of tellFound about this day.
func (d *Day) told(p fieldbook.Problem) bool {
	if p.Text != outTold && p.Text != stepTold || p.File != d.Readings[0].File {
		return false
	}
	return strings.HasPrefix(p.Time, d.Readings[0].Day())
}

// smoothness is how likely the map is that the days as they stand make.
func (r *Result) smoothness() (v float64, ok bool, err error) {
	a, err := r.together()
	if err != nil {
		return 0, false, err
	}
	n := len(r.Stations)
	north, east, value, u := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i, s := range r.Stations {
		g, err := a.Station(s.Name)
		if err != nil {
			return 0, false, err
		}
		north[i], east[i] = s.North, s.East
		value[i] = (s.Anomaly.Value - (s.Gravity.Value - r.offset) + g.Value) / gravlab.MicroGal
		u[i] = math.Max(s.U.Own(), 1e-10) / gravlab.MicroGal
	}
	surface, err := survey.FitSurface(north, east, value, u)
	if err != nil {
		return 0, false, nil
	}
	return surface.LikelihoodLog(), true, nil
}

// again adjusts after a step has moved.
func (r *Result) again() error {
	for _, d := range r.Days {
		d.Loops = nil
	}
	for i := range r.Stations {
		r.Stations[i].Readings = 0
	}
	if err := r.adjust(); err != nil {
		return err
	}
	if r.ownDensity { // it was found from the values as they were
		r.Choices.list = slices.DeleteFunc(r.Choices.list, func(o choice) bool { return o.name == "density" || o.name == "u density" })
	}
	return r.reduce()
}

// doubtful says that a station hangs on the place of a step, unless the map or the choices
// have told it.
func (r *Result) doubtful(s *Station) {
	s.Doubt = ""
	if s.Gravity.Ambiguity > 0 {
		for _, d := range r.Days {
			if len(d.Drift.Tares) > 0 && !d.placed && slices.ContainsFunc(d.Reduced, func(x survey.Reduced) bool { return x.Station == s.Name }) {
				s.Doubt = fmt.Sprintf("it may be off by %.0f µGal: no other reading says on which side of the step it was read", s.Gravity.Ambiguity/gravlab.MicroGal)
			}
		}
	}
}

// hill finds the density of the hill from the values as they stand.
func (r *Result) hill() {
	var heights, values []float64
	for _, s := range r.Stations {
		if s.Doubt == "" {
			heights, values = append(heights, s.Height-s.terrain/(2*math.Pi*gravlab.G)), append(values, s.Anomaly.FreeAir)
		}
	}
	if r.Density == nil || len(heights) < 5 {
		return
	}
	if d, err := robustDensity(heights, values); err == nil {
		r.Density = &d
	}
}
