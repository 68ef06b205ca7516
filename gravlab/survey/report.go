package survey

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/internal/digits"
)

// Cautions are the sentences that every report about ground carries.
func Cautions() []string {
	return []string{
		"Gravity does not clear ground for digging, driving or building. Nothing in this report is a permit.",
		"A void that gravity does not show may still be there: not seen is not absent.",
		"Buried services are located, and voids judged, by those licensed to do it under the local code.",
		"On site: keep staff and antenna away from overhead lines; leave open ground in lightning; stay off ground that sags and never enter mine entries, wells or drains.",
		"Lift instrument and batteries with two people or a frame; watch out for livestock, wire and roads; tell someone where you are.",
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
	TerrainOuter   float64 // out to which terrain was taken, m; 0 for no terrain
	TerrainNear    float64 // radius within which the grid of heights was not used, m; 0 if it was used up to the station
	NearZone       string  // what was done within TerrainNear, e.g. "sectors sketched on the spot", "an even slope", "left out"
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
		arg.Between(fn, "Datum.TerrainOuter", r.Datum.TerrainOuter, 0, 1e7, "radius in m"),
		arg.Between(fn, "Datum.TerrainNear", r.Datum.TerrainNear, 0, 1e6, "radius in m"),
		arg.Between(fn, "Datum.ScaleFactor", r.Datum.ScaleFactor, 1e-9, 1e3, "scale factor"),
		arg.Between(fn, "Datum.UScaleFactor", r.Datum.UScaleFactor, 0, 1e3, "standard uncertainty"))
	if r.Datum.TerrainNear > r.Datum.TerrainOuter {
		err = errors.Join(err, arg.Bad(fn, "Datum.TerrainNear", r.Datum.TerrainNear, fmt.Sprintf("a radius in m of at most TerrainOuter, which is %g", r.Datum.TerrainOuter)))
	}
	if r.Datum.TerrainNear > 0 && strings.TrimSpace(r.Datum.NearZone) == "" {
		err = errors.Join(err, arg.Bad(fn, "Datum.NearZone", `""`, "what was done about the ground within TerrainNear: it matters most"))
	}
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
		of := " of " + row.Station
		if row.Station == "" {
			of = fmt.Sprintf(" of row %d", i+1)
			err = errors.Join(err, arg.Bad(fn, "Station"+of, `""`, "a name"))
		}
		switch {
		case row.Anomaly.Name == "":
			err = errors.Join(err, arg.Bad(fn, "Anomaly"+of, "missing (its Name is empty)", "what Reduction.At returns"))
		case row.Anomaly.Name != kind:
			err = errors.Join(err, arg.Bad(fn, "Anomaly.Name"+of, row.Anomaly.Name, "one kind of anomaly in one table; a row before it has a "+kind))
		}
		for _, f := range []struct {
			name          string
			v             float64
			lo, hi        float64
			what, mistake string
		}{
			{"Lat", row.Lat, -math.Pi / 2, math.Pi / 2, "a latitude in radians, from -π/2 to π/2", "degrees? 1° is π/180"},
			// East positive, whether west is counted below 0 or beyond π.
			{"Lon", row.Lon, -math.Pi, 2 * math.Pi, "a longitude in radians, from -π to 2π", "degrees? 1° is π/180"},
			{"Height", row.Height, -1e4, 1e4, "a height in m, from -10000 to 10000", "feet or mm?"},
			{"Gravity", row.Gravity, 9, 10.5, "gravity in m/s², from 9 to 10.5", "mGal? 1 mGal is 1e-5 m/s²"},
			{"Anomaly.Value", row.Anomaly.Value, -impossible, impossible, "an anomaly in m/s², from -0.015 to 0.015", "mGal? 1 mGal is 1e-5 m/s²"},
			{"UGravity", row.UGravity, 0, 0.1, "a standard uncertainty in m/s², from 0 to 0.1", "mGal or µGal?"},
			{"UAnomaly", row.UAnomaly, 0, 0.1, "a standard uncertainty in m/s², from 0 to 0.1", "mGal or µGal?"},
		} {
			if !(f.v >= f.lo && f.v <= f.hi) {
				if !math.IsNaN(f.v) {
					f.what += "; did you mean " + f.mistake
				}
				err = errors.Join(err, arg.Bad(fn, f.name+of, f.v, f.what))
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
		terrain = fmt.Sprintf("to %g m, by a grid of heights up to the station", d.TerrainOuter)
		if d.TerrainNear > 0 {
			terrain = fmt.Sprintf("to %g m, by a grid of heights; within %g m: %s", d.TerrainOuter, d.TerrainNear, d.NearZone)
		}
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

// cells writes each row with as many digits as its uncertainties ask for: what is
// part of the anomaly with those of the anomaly. A value without an uncertainty (a
// base that was held fixed) has as many as the finest of its column.
func (r Report) cells() [][]string {
	finestG, finestA := 3, 3
	first := true
	for _, row := range r.Rows {
		if row.UGravity > 0 && row.UAnomaly > 0 {
			g, a := mGalDecimals(row.UGravity, 0), mGalDecimals(row.UAnomaly, 0)
			if first {
				finestG, finestA, first = g, a, false
			}
			finestG, finestA = max(finestG, g), max(finestA, a)
		}
	}
	degrees := func(v float64) string { return fmt.Sprintf("%.6f", v*180/math.Pi) }
	var cells [][]string
	for _, row := range r.Rows {
		a := row.Anomaly
		line := []string{row.Station, degrees(row.Lat), degrees(row.Lon), fmt.Sprintf("%.3f", row.Height)}
		decimals := mGalDecimals(row.UGravity, finestG)
		for _, v := range []float64{row.Gravity, row.UGravity} {
			line = append(line, fmt.Sprintf("%.*f", decimals, v/gravlab.MilliGal))
		}
		decimals = mGalDecimals(row.UAnomaly, finestA)
		for _, v := range []float64{a.Normal, a.FreeAir, a.Rock, a.Terrain, a.Value, row.UAnomaly} {
			line = append(line, fmt.Sprintf("%.*f", decimals, v/gravlab.MilliGal))
		}
		cells = append(cells, line)
	}
	return cells
}

// mGalDecimals is how many decimals a number in mGal asks for by its uncertainty u
// (m/s²).
func mGalDecimals(u float64, without int) int {
	if u == 0 {
		return without
	}
	return digits.Decimals(u / gravlab.MilliGal)
}

// alignPoints fills up with spaces on the right, so that the decimal points of a
// column stand below each other when its cells are put to the right.
func alignPoints(cells [][]string) {
	if len(cells) == 0 {
		return
	}
	tail := func(s string) int { // from the point on
		if i := strings.IndexByte(s, '.'); i >= 0 {
			return len(s) - i
		}
		return 0
	}
	for column := 1; column < len(cells[0]); column++ {
		longest := 0
		for _, row := range cells {
			longest = max(longest, tail(row[column]))
		}
		for _, row := range cells {
			row[column] += strings.Repeat(" ", longest-tail(row[column]))
		}
	}
}

// Text is the report as plain text: title, datum, table with units, what is
// doubtful ([Report.Remarks]), notes and cautions. Numbers have as many digits as
// their uncertainties ask for.
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
	cells := r.cells()
	alignPoints(cells)
	for _, row := range cells {
		fmt.Fprintln(w, strings.Join(row, "\t")+"\t")
	}
	w.Flush()
	if remarks := r.Remarks(); len(remarks) > 0 {
		fmt.Fprintf(&b, "\nDoubtful\n")
		for _, remark := range remarks {
			fmt.Fprintf(&b, "- %s\n", remark)
		}
	}
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
	for _, row := range r.cells() {
		if err := w.Write(row); err != nil {
			return "", err
		}
	}
	w.Flush()
	return b.String(), w.Error()
}

// Rock near the surface has a density between these, kg/m³: ice, and rock of the
// mantle with room above it (from memory). Heights in feet pass for metres with a
// density near 6000.
const lightestRock, heaviestRock = 900.0, 4000.0

// steepAnomaly is more than the horizontal gradient of gravity over most bodies that
// a survey meets, 1/s²: a vertical contact of 500 kg/m³ from 5 to 500 m depth makes
// 2GΔρ ln(500/5) = 3.1e-7.
const steepAnomaly = 3e-7

// Remarks lists what is doubtful in the table, from the table alone: anomalies that
// are rare on the Earth, and whether latitude and longitude exchanged would explain
// them; a station twice; neighbours whose anomalies differ by more than ground can
// make in the distance between them, as one wrong height or one wrong reading does;
// and anomalies that follow the heights with a density that no rock has, as heights
// in feet do. Nothing of it is proof.
func (r Report) Remarks() (remarks []Remark) {
	seen := map[string]bool{}
	for _, row := range r.Rows {
		if seen[row.Station] {
			remarks = append(remarks, Remark{Station: row.Station, Text: "it is in the table twice"})
		}
		seen[row.Station] = true
		if row.Anomaly.Remark == "" {
			continue
		}
		text := row.Anomaly.Remark
		here, err := earth.GRS80.NormalGravity(row.Lat, 0)
		there, other := earth.GRS80.NormalGravity(row.Lon, 0)
		if exchanged := row.Anomaly.Value + here - there; err == nil && other == nil && math.Abs(exchanged) < rare/2 {
			text = fmt.Sprintf("its anomaly of %.1f mGal would be %.1f mGal with latitude and longitude exchanged", row.Anomaly.Value/gravlab.MilliGal, exchanged/gravlab.MilliGal)
		}
		remarks = append(remarks, Remark{Station: row.Station, Text: text})
	}
	remarks = append(remarks, r.outOfLine()...)
	return append(remarks, r.density()...)
}

// outOfLine remarks on stations that differ from their neighbours by more than
// ground can make. A wrong station is named, not those around it: it is out of line
// with each of its nearest two.
func (r Report) outOfLine() (remarks []Remark) {
	if len(r.Rows) < 4 || len(r.Rows) > 5000 {
		return nil // too few to say which is wrong; too many to compare each with each
	}
	type neighbour struct {
		row              int
		distance, excess float64
	}
	for i, a := range r.Rows {
		var near []neighbour
		for j, b := range r.Rows {
			if i == j {
				continue
			}
			distance := a.distance(b)
			excess := math.Abs(a.Anomaly.Value-b.Anomaly.Value) - steepAnomaly*distance - 4*math.Hypot(a.UAnomaly, b.UAnomaly)
			near = append(near, neighbour{j, distance, excess})
		}
		slices.SortFunc(near, func(x, y neighbour) int { return cmp.Compare(x.distance, y.distance) })
		if near[0].excess > 0 && near[1].excess > 0 {
			b := r.Rows[near[0].row]
			difference := (a.Anomaly.Value - b.Anomaly.Value) / gravlab.MilliGal
			remarks = append(remarks, Remark{Station: a.Station, Text: fmt.Sprintf("its anomaly is %+.2f mGal from that of %s, %.0f m away, which is more than ground makes as a rule; look at its height (10 m make about 2 mGal) and its readings", difference, b.Station, near[0].distance)})
		}
	}
	return remarks
}

// distance is that of two rows on a sphere, m, flat between them.
func (row Row) distance(other Row) float64 {
	const radius = 6371000.0
	return radius * math.Hypot(row.Lat-other.Lat, math.Cos(row.Lat)*math.Remainder(row.Lon-other.Lon, 2*math.Pi))
}

// density remarks on free-air values that follow the heights as over no rock. Over
// more than some 30 km the crust floats, and they follow them less.
func (r Report) density() []Remark {
	var heights, freeAir []float64
	for _, row := range r.Rows {
		if row.distance(r.Rows[0]) > 30000 {
			return nil
		}
		heights, freeAir = append(heights, row.Height), append(freeAir, row.Anomaly.FreeAir+row.Anomaly.Terrain)
	}
	d, err := DensityOfTopography(heights, freeAir)
	if err != nil || d.Remark == "" {
		return nil
	}
	return []Remark{{Text: d.Remark}}
}
