package survey

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"strings"
	"text/tabwriter"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// Cautions are the sentences that every report about ground carries.
func Cautions() []string {
	return []string{
		"Gravity does not clear ground for digging, driving or building. Nothing in this report is a permit.",
		"A void that gravity does not show may still be there: not seen is not absent.",
		"Buried services are located, and voids judged, by those licensed to do it under the local code.",
		"On site: keep staff and antenna away from overhead lines; leave open ground in lightning; stay off ground that sags and never enter mine entries, wells or drains.",
		"Lift instrument and batteries with two people or a frame; mind livestock, wire and roads; tell somebody where you are.",
	}
}

// A Datum says on what the numbers of a report stand. Without it two surveys
// cannot be joined, so every field must be filled in.
type Datum struct {
	Ellipsoid      string  // of latitude, longitude and normal gravity, e.g. "GRS80"
	Heights        string  // kind and system, e.g. "ellipsoidal, from satellite positions"
	GravityDatum   string  // base, its value, its epoch and uncertainty
	TideSystem     string  // and the gravimetric factor, e.g. "zero-tide, factor 1.16"
	Pressure       string  // what was done about the air
	Plate          string  // slab or cap, and its radius
	Density        float64 // of plate and terrain, kg/m³
	TerrainNear    float64 // radius of the zone sketched on the spot, m
	TerrainOuter   float64 // out to which terrain was taken, m; 0 for no terrain
	ScaleFactor    float64
	UScaleFactor   float64
	DriftModel     string // e.g. "linear, with one tare at 11:40 (instrument knocked)"
	OutliersNoted  string // readings left out, and why; "none" if none
	UncertaintyFor string // what the u of the table holds and leaves out
}

// A Row is one station of a report, in SI units.
type Row struct {
	Station           string
	Lat, Lon          float64 // rad
	Height            float64 // m
	Gravity, UGravity float64 // m/s²
	Anomaly           Anomaly
	UAnomaly          float64 // m/s²
}

// A Report is a table of stations with its datum and its cautions.
type Report struct {
	Title string
	Datum Datum
	Rows  []Row
	Notes []string
}

// Validate refuses a report without rows, with a number that is none or that
// cannot be what it should be in its unit, or with a datum that is not stated in
// full.
func (r Report) Validate() error {
	const fn = "survey.Report"
	err := arg.AtLeast(fn, "Rows", len(r.Rows), 1)
	for _, f := range []struct{ name, text string }{
		{"Title", r.Title}, {"Datum.Ellipsoid", r.Datum.Ellipsoid}, {"Datum.Heights", r.Datum.Heights}, {"Datum.GravityDatum", r.Datum.GravityDatum},
		{"Datum.TideSystem", r.Datum.TideSystem}, {"Datum.Pressure", r.Datum.Pressure}, {"Datum.Plate", r.Datum.Plate},
		{"Datum.DriftModel", r.Datum.DriftModel}, {"Datum.OutliersNoted", r.Datum.OutliersNoted}, {"Datum.UncertaintyFor", r.Datum.UncertaintyFor},
	} {
		if strings.TrimSpace(f.text) == "" {
			err = errors.Join(err, arg.Bad(fn, f.name, `""`, "a statement: without it two surveys cannot be joined"))
		}
	}
	err = errors.Join(err,
		checkRock(fn, "Datum.Density", r.Datum.Density),
		arg.Between(fn, "Datum.TerrainNear", r.Datum.TerrainNear, 0, 1e6, "radius in m"),
		arg.Between(fn, "Datum.TerrainOuter", r.Datum.TerrainOuter, 0, 1e7, "radius in m"),
		arg.Between(fn, "Datum.ScaleFactor", r.Datum.ScaleFactor, 1e-9, 1e3, "scale factor"),
		arg.Between(fn, "Datum.UScaleFactor", r.Datum.UScaleFactor, 0, 1e3, "standard uncertainty"))
	kind := "" // of the first anomaly that is there
	for _, row := range r.Rows {
		if kind == "" {
			kind = row.Anomaly.Name
		}
	}
	if r.Datum.Density == 0 && strings.HasPrefix(kind, "Bouguer") {
		err = errors.Join(err, arg.Bad(fn, "Datum.Density", 0, "the density of plate and terrain in kg/m³, above 0 for a "+kind))
	}
	for i, row := range r.Rows {
		switch name := fmt.Sprintf("Rows[%d].Anomaly", i); {
		case row.Anomaly.Name == "":
			err = errors.Join(err, arg.Bad(fn, name, "missing (its Name is empty)", "what Reduction.At returns"))
		case row.Anomaly.Name != kind:
			err = errors.Join(err, arg.Bad(fn, name+".Name", row.Anomaly.Name, "one kind of anomaly in one table; a row before it has a "+kind))
		}
		if row.Station == "" {
			err = errors.Join(err, arg.Bad(fn, fmt.Sprintf("Rows[%d].Station", i), `""`, "a name"))
		}
		for _, f := range []struct {
			name    string
			v       float64
			lo, hi  float64
			allowed string
		}{
			{"Lat", row.Lat, -math.Pi / 2, math.Pi / 2, "a latitude in radians, from -π/2 to π/2; did you mean degrees? 1° is π/180"},
			// East positive, whether west is counted below 0 or beyond π.
			{"Lon", row.Lon, -math.Pi, 2 * math.Pi, "a longitude in radians, from -π to 2π; did you mean degrees? 1° is π/180"},
			{"Height", row.Height, -1e4, 1e4, "a height in m, from -10000 to 10000"},
			{"Gravity", row.Gravity, 9, 10.5, "gravity in m/s², from 9 to 10.5; did you mean mGal? 1 mGal is 1e-5 m/s²"},
			{"Anomaly.Value", row.Anomaly.Value, -1, 1, "an anomaly in m/s², from -1 to 1; did you mean mGal? 1 mGal is 1e-5 m/s²"},
			{"UGravity", row.UGravity, 0, 0.1, "a standard uncertainty in m/s², from 0 to 0.1; did you mean mGal or µGal?"},
			{"UAnomaly", row.UAnomaly, 0, 0.1, "a standard uncertainty in m/s², from 0 to 0.1; did you mean mGal or µGal?"},
		} {
			if !(f.v >= f.lo && f.v <= f.hi) {
				err = errors.Join(err, arg.Bad(fn, fmt.Sprintf("Rows[%d].%s", i, f.name), f.v, f.allowed))
			}
		}
	}
	return err
}

// head lists the datum, line by line.
func (r Report) head() [][2]string {
	d := r.Datum
	terrain := "not taken into account"
	if d.TerrainOuter > 0 {
		terrain = fmt.Sprintf("to %g m, near zone to %g m from a sketch", d.TerrainOuter, d.TerrainNear)
	}
	return [][2]string{
		{"Ellipsoid", d.Ellipsoid}, {"Heights", d.Heights}, {"Gravity datum", d.GravityDatum}, {"Tide", d.TideSystem}, {"Air pressure", d.Pressure},
		{"Plate", d.Plate}, {"Density", fmt.Sprintf("%g kg/m³", d.Density)}, {"Terrain", terrain},
		{"Scale factor", fmt.Sprintf("%.6f, standard uncertainty %.6f", d.ScaleFactor, d.UScaleFactor)},
		{"Drift", d.DriftModel}, {"Readings left out", d.OutliersNoted}, {"Uncertainty", "standard (k = 1); " + d.UncertaintyFor},
	}
}

var columns = []string{"station", "latitude (deg)", "longitude (deg)", "height (m)", "gravity (mGal)", "u (mGal)",
	"normal gravity (mGal)", "free air (mGal)", "plate (mGal)", "terrain (mGal)", "anomaly (mGal)", "u (mGal)"}

func (row Row) cells() []string {
	mGal := func(v float64, digits int) string { return fmt.Sprintf("%.*f", digits, v/gravlab.MilliGal) }
	degrees := func(v float64) string { return fmt.Sprintf("%.6f", v*180/math.Pi) }
	a := row.Anomaly
	return []string{row.Station, degrees(row.Lat), degrees(row.Lon), fmt.Sprintf("%.3f", row.Height), mGal(row.Gravity, 3), mGal(row.UGravity, 3),
		mGal(a.Normal, 3), mGal(a.FreeAir, 3), mGal(a.Rock, 3), mGal(a.Terrain, 3), mGal(a.Value, 3), mGal(row.UAnomaly, 3)}
}

// Text is the report as plain text: title, datum, table with units, notes and
// cautions.
func (r Report) Text() (string, error) {
	if err := r.Validate(); err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n\n", r.Title)
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, line := range r.head() {
		fmt.Fprintf(w, "%s\t%s\n", line[0], line[1])
	}
	w.Flush()
	fmt.Fprintf(&b, "\nThe anomaly is a %s.\n\n", r.Rows[0].Anomaly.Name)
	w = tabwriter.NewWriter(&b, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, strings.Join(columns, "\t")+"\t")
	for _, row := range r.Rows {
		fmt.Fprintln(w, strings.Join(row.cells(), "\t")+"\t")
	}
	w.Flush()
	if len(r.Notes) > 0 {
		fmt.Fprintf(&b, "\nNotes\n")
		for _, n := range r.Notes {
			fmt.Fprintf(&b, "- %s\n", n)
		}
	}
	fmt.Fprintf(&b, "\nCautions\n")
	for _, c := range Cautions() {
		fmt.Fprintf(&b, "- %s\n", c)
	}
	return b.String(), nil
}

// CSV is the table alone, by RFC 4180 with units in the head. The datum and the
// cautions go with it in a second file: see [Report.Text].
func (r Report) CSV() (string, error) {
	if err := r.Validate(); err != nil {
		return "", err
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	head := append([]string(nil), columns...)
	head[5], head[11] = "u of gravity (mGal)", "u of anomaly (mGal)"
	if err := w.Write(head); err != nil {
		return "", err
	}
	for _, row := range r.Rows {
		if err := w.Write(row.cells()); err != nil {
			return "", err
		}
	}
	w.Flush()
	return b.String(), w.Error()
}
