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
	for _, ask := range []func() error{r.placeTares, r.whichOfTwo, r.placeTares} {
		if err := ask(); err != nil {
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

// placeTares asks the map where a step was that was found, and that several places between
// readings explain alike: at the wrong ones some stations stand out of their neighbours by
// its size.
func (r *Result) placeTares() error {
	for _, d := range r.Days {
		if d.placed || len(d.alike) < 2 || len(d.Drift.Tares) != 1 || len(r.Stations) < 12 {
			continue
		}
		here := d.Drift.Tares[0]
		best, second := math.Inf(-1), math.Inf(-1)
		var at time.Time
		for _, place := range d.alike {
			d.Drift.Tares[0] = place
			v, ok, err := r.smoothness()
			d.Drift.Tares[0] = here
			if err != nil {
				return err
			}
			if !ok {
				return nil // stations in one line have no map
			}
			switch {
			case v > best:
				best, second, at = v, best, place
			case v > second:
				second = v
			}
		}
		if best-second < 3 {
			continue // odds of less than 20 to 1
		}
		for i := range r.Choices.list {
			o := &r.Choices.list[i]
			if o.name == "tare place" && o.about == d.Name {
				o.value, o.why = "by the map", "see tare; set to \"doubtful\" if the field book has another moment"
			}
			if o.name == "tare" && o.about == d.Name {
				o.value = at.Add(-d.shift).Round(time.Second).In(d.Readings[0].Time.Location()).Format(momentLayout)
				o.why += fmt.Sprintf("; of %d places that the readings cannot tell apart this one makes the smoothest map, by odds of %.0f to 1", len(d.alike), math.Exp(math.Min(best-second, 9)))
			}
		}
		d.Drift.Tares[0] = at
		d.placed = true
		for i := range r.Doubts {
			if r.Doubts[i].Text == stepTold && r.Doubts[i].Time == moment(here) {
				r.Doubts[i].Time = moment(at)
			}
		}
		if err := r.again(); err != nil {
			return err
		}
	}
	return nil
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

// whichOfTwo asks the map which of two readings of a station is wrong, where one was left
// out: the readings alone cannot say.
func (r *Result) whichOfTwo() error {
	count := map[string]int{}
	for _, x := range r.Book.Readings {
		count[x.Station]++
	}
	for _, d := range r.Days {
		for k, out := range d.Out {
			name := d.Readings[out].Station
			other := slices.IndexFunc(d.Readings, func(x fieldbook.Reading) bool { return x.Station == name && x.Line != d.Readings[out].Line })
			if count[name] != 2 || other < 0 || len(r.Stations) < 12 {
				continue
			}
			chosen := slices.IndexFunc(r.Choices.list, func(o choice) bool {
				return o.name == "leave out" && o.about == name && strings.HasPrefix(o.why, found) && !strings.Contains(o.why, byMap)
			})
			if chosen < 0 {
				continue
			}
			o := &r.Choices.list[chosen]
			now, ok, err := r.smoothness()
			if err != nil || !ok {
				return err
			}
			swap := func(to int) (err error) {
				d.Out[k] = to
				d.Reduced, err = r.reduced(d, d.Out, d.shift, d.u)
				return err
			}
			if err := swap(other); err != nil {
				return err
			}
			then, _, err := r.smoothness()
			if err != nil {
				return err
			}
			o.why += fmt.Sprintf("; %s (odds of %.0f to 1)", byMap, math.Exp(math.Min(math.Abs(then-now), 9)))
			if then < now {
				if err := swap(out); err != nil {
					return err
				}
				continue
			}
			o.value = d.Readings[other].Time.Format(momentLayout)
			o.why = strings.Replace(o.why, fmt.Sprintf("line %d", d.Readings[out].Line), fmt.Sprintf("line %d", d.Readings[other].Line), 1)
			for i := range r.Doubts {
				if r.Doubts[i] == d.Readings[out].Problem(outTold) {
					r.Doubts[i] = d.Readings[other].Problem(outTold)
				}
			}
			if err := r.again(); err != nil {
				return err
			}
		}
	}
	return nil
}

const byMap = "of the two readings of this station the other one makes the smoother map"

// again adjusts after a step has moved.
func (r *Result) again() error {
	for _, d := range r.Days {
		d.Loops = nil
	}
	told := r.Doubts
	for i := range r.Stations {
		r.Stations[i].Readings = 0
	}
	if err := r.adjust(); err != nil {
		return err
	}
	r.Doubts = told
	for i := range r.Stations {
		s := &r.Stations[i]
		g, err := r.Adjustment.Station(s.Name)
		if err != nil {
			return err
		}
		g.Value += r.offset
		s.Anomaly.Value += g.Value - s.Gravity.Value
		s.Anomaly.FreeAir += g.Value - s.Gravity.Value
		s.Gravity = g
		if _, s.U.Reading, err = r.Adjustment.Between(r.Base, s.Name); err != nil {
			return err
		}
		r.doubtful(s)
	}
	return nil
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
