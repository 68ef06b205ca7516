package fieldday

import (
	"cmp"
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
	return r.lay()
}

// lay lays the surface of the map, and takes stations off it that stand out of their
// neighbours, the worst first, up to one in ten. Of up to [survey.MostForShape] stations the
// shape of the covariance is found anew each time; of more it is held until all are told,
// which a few wrong stations among so many do not change.
func (r *Result) lay() error {
	seen := &seenBodies{}
	var dropping *survey.Dropping
	var index []int
	var value []float64
	for round := 0; ; round++ {
		if dropping == nil {
			var north, east, u []float64
			index, north, east, value, u = r.onMap()
			if len(index) < 8 {
				return nil
			}
			surface, err := survey.FitSurface(north, east, value, u)
			if err != nil {
				return nil // stations in one line have no map
			}
			r.Surface = surface
			if round == 0 && len(index) > survey.MostForShape {
				dropping = surface.Dropping()
			}
		}
		if round >= max(1, len(index)/10) {
			break
		}
		var outs []survey.LeftOut
		if dropping != nil {
			outs = dropping.LeaveOneOut()
		} else {
			outs = r.Surface.LeaveOneOutFreely()
		}
		k := r.outstanding(seen, index, value, outs)
		if k < 0 {
			break
		}
		seen.without(index[k])
		if dropping != nil {
			dropping.Drop(k)
		}
	}
	if dropping != nil && slices.ContainsFunc(index, func(i int) bool { return !r.Stations[i].OnMap }) {
		_, north, east, value, u := r.onMap()
		if surface, err := survey.FitSurface(north, east, value, u); err == nil {
			r.Surface = surface
		}
	}
	return nil
}

// outstanding takes the station off the map that stands out most of what its neighbours
// expect and that no body explains, and returns its place in the list; -1 for none. Those
// that stand out more and that a body explains are told.
func (r *Result) outstanding(seen *seenBodies, index []int, value []float64, outs []survey.LeftOut) int {
	left := 0
	var order []int
	for i := range outs {
		if !math.IsNaN(outs[i].W) {
			left++
			order = append(order, i)
		}
	}
	w := critical(0.05, left)
	slices.SortStableFunc(order, func(i, j int) int {
		return cmp.Compare(math.Abs(outs[j].W), math.Abs(outs[i].W))
	})
	for _, k := range order {
		if math.Abs(outs[k].W) <= w {
			break
		}
		s := &r.Stations[index[k]]
		off := value[k] - outs[k].Predicted
		if r.explained(seen, index[k], w) {
			if !s.told {
				s.told = true
				r.Doubts = append(r.Doubts, s.Problem("its anomaly is %.0f µGal off what its neighbours expect of a smooth map. A body under the field explains it, and so would a wrong reading: the two cannot be told apart by these readings. Read it again; it stays on the map", off))
			}
			continue
		}
		s.OnMap = false
		s.Doubt = fmt.Sprintf("its anomaly is %.0f µGal off what its neighbours expect, %.1f standard uncertainties", off, math.Abs(outs[k].W))
		if s.Readings < 2 {
			s.Doubt += "; it was read once, so that no other reading checks it: read it again"
		} else {
			s.Doubt += "; it was read more than once, so look at its height"
		}
		r.Doubts = append(r.Doubts, s.Problem("%s. A small body just beneath it would look the same, and its one value cannot tell the two apart. It is not on the map", s.Doubt))
		return k
	}
	return -1
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
	near := r.near(d)
	values := make([]float64, len(stories))
	best := 0
	for i, t := range stories {
		values[i] = math.Inf(-1)
		if err := adopt(t); err == nil {
			v, ok, err := r.smoothness(near)
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

// near are the stations by which the stories of a day are told apart: those that it read, and
// of the others the nearest to them, up to [survey.MostForShape] in all.
func (r *Result) near(d *Day) (index []int) {
	read := map[string]bool{}
	for _, x := range d.Readings {
		read[x.Station] = true
	}
	away := make([]float64, len(r.Stations))
	for i, s := range r.Stations {
		index = append(index, i)
		if read[s.Name] {
			continue
		}
		away[i] = math.Inf(1)
		for _, t := range r.Stations {
			if read[t.Name] {
				away[i] = min(away[i], math.Hypot(t.North-s.North, t.East-s.East))
			}
		}
	}
	index = least(index, max(survey.MostForShape, len(read)), func(i int) float64 { return away[i] })
	slices.Sort(index)
	return index
}

// smoothness is how likely the map of these stations is that the days as they stand make.
func (r *Result) smoothness(index []int) (v float64, ok bool, err error) {
	a, err := r.together()
	if err != nil {
		return 0, false, err
	}
	found := map[string]float64{}
	for _, s := range a.Stations {
		found[s.Name] = s.Value
	}
	n := len(index)
	north, east, value, u := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i, k := range index {
		s := r.Stations[k]
		g, ok := found[s.Name]
		if !ok {
			return 0, false, fmt.Errorf("%s is not in the adjustment", s.Name)
		}
		north[i], east[i] = s.North, s.East
		value[i] = (s.Anomaly.Value - (s.Gravity.Value - r.offset) + g) / gravlab.MicroGal
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
