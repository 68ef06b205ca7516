package fieldday

import (
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/survey"
)

// look finds stations that their neighbours do not expect, and lays the surface of the map.
func (r *Result) look() error {
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
		k, out := surface.Doubtful()
		if math.Abs(out.W) < critical(0.05, len(index)) {
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
