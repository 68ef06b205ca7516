package fieldbook

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gravity.example/gravlab/quantity"
	"gravity.example/gravlab/survey"
)

// Files are the files of a survey. Readings and Points are needed.
type Files struct {
	Readings, Terrain, Calibration []File
	Points, Ties                   File
	// Zone is that of times without an offset; nil where none is stated.
	Zone *time.Location
}

// A Reading is one line of a file of readings, in SI units, with its place.
type Reading struct {
	survey.Reading         // Counter is in m/s² where Units is false; U is not used
	U              float64 // standard uncertainty, m/s² or counter units; NaN where none is given
	UUnits         bool    // U is in counter units
	Units          bool    // Counter is in units of the counter
	Meter          string  // "" where the file names none
	Tide           float64 // what the meter itself has added for the tide, m/s²; NaN where the file does not say
	File           string
	Line           int
}

// Day is the local date of the reading.
func (r Reading) Day() string { return r.Time.Format("2006-01-02") }

// Problem is a problem of this reading.
func (r Reading) Problem(text string, args ...any) Problem {
	return Problem{r.File, r.Line, r.Station, moment(r.Time), fmt.Sprintf(text, args...)}
}

// A Point is a mark on the ground.
type Point struct {
	Name        string
	Lat, Lon    float64 // rad
	Height      float64 // m
	UHeight     float64 // standard uncertainty, m; NaN where none is given
	North, East float64 // on a map grid, m; NaN where none is given
	Gradient    float64 // 1/s²; NaN where none is given
	File        string
	Line        int
}

// Problem is a problem of this point.
func (p Point) Problem(text string, args ...any) Problem {
	return Problem{p.File, p.Line, p.Name, "", fmt.Sprintf(text, args...)}
}

// A Tie is a line of the file of ties.
type Tie struct {
	survey.Tie
	Datum string // of its value, as written
	File  string
	Line  int
}

// A Calibration is what is known of a meter's scale.
type Calibration struct {
	Meter string            // "" for a meter that has none of its own
	Table []survey.TableRow // m/s² at counter values; nil for none
	// Line is the fit of a calibration line, nil for none.
	Line *survey.Calibration
}

// A Book holds everything that was read.
type Book struct {
	Readings     []Reading // of each meter in turn, rising in time
	Points       []Point
	Heights      survey.HeightKind // by the head of the points, HeightUnstated where it does not say
	Ties         []Tie
	Calibrations []Calibration // at most one of a meter
	Terrain      *Grid         // nil for none
	Told         []Problem     // what may be right and is more often a slip
}

// Calibration is what is known of a meter: its own table and line, and what it has not of the
// files that name no meter.
func (b *Book) Calibration(meter string) (c Calibration) {
	c.Meter = meter
	for _, of := range []string{"", meter} {
		for _, one := range b.Calibrations {
			if one.Meter != of {
				continue
			}
			if one.Table != nil {
				c.Table = one.Table
			}
			if one.Line != nil {
				c.Line = one.Line
			}
		}
	}
	return c
}

// Point is the point of a name.
func (b *Book) Point(name string) (Point, bool) {
	for _, p := range b.Points {
		if p.Name == name {
			return p, true
		}
	}
	return Point{}, false
}

// Used are the points that were read, in the order of the file.
func (b *Book) Used() (used []Point) {
	seen := map[string]bool{}
	for _, r := range b.Readings {
		seen[r.Station] = true
	}
	for _, p := range b.Points {
		if seen[p.Name] {
			used = append(used, p)
		}
	}
	return used
}

// Read reads the files and compares them. An error is of type [Problems] and holds all
// that is wrong.
func Read(f Files) (*Book, error) {
	b := &Book{}
	var problems Problems
	add := func(p Problems) { problems = append(problems, p...) }
	add(b.readPoints(f.Points))
	for _, file := range f.Readings {
		add(b.readReadings(file, f.Zone))
	}
	if len(f.Readings) == 0 {
		add(Problems{{Text: "there is no file of readings"}})
	}
	if f.Ties.Name != "" {
		add(b.readTies(f.Ties))
	}
	for _, file := range f.Calibration {
		add(b.readCalibration(file))
	}
	if n := len(b.Readings); len(problems) == 0 && n > MaxReadings {
		r := b.Readings[MaxReadings]
		return nil, Problems{r.Problem("with this line there are more than %d readings, %d in all; a table of readings holds one line per reading, not the meter's raw samples. Split a survey of that size by areas", MaxReadings, n)}
	}
	if len(problems) == 0 {
		add(b.order())
	}
	if len(problems) == 0 {
		add(b.compare())
	}
	if len(problems) == 0 && len(f.Terrain) > 0 {
		grid, p := readGrids(f.Terrain)
		b.Terrain = grid
		add(p)
	}
	if len(problems) > 0 {
		return nil, problems
	}
	return b, nil
}

var pointColumns = []column{
	{name: "station", alike: []string{"point", "name", "mark", "site", "id"}},
	{name: "latitude", alike: []string{"lat"}, kinds: angle},
	{name: "longitude", alike: []string{"lon", "long"}, kinds: angle},
	{name: "height", alike: []string{"elevation", "h"}, kinds: length},
	{name: "ellipsoidal height", alike: []string{"heightellipsoidal", "heightaboveellipsoid"}, kinds: length},
	{name: "orthometric height", alike: []string{"levelledheight", "heightorthometric", "heightabovesea", "heightabovegeoid"}, kinds: length},
	{name: "u height", alike: []string{"uh", "uncertainty", "heightuncertainty", "uheight"}, kinds: length},
	{name: "north", alike: []string{"northing", "n"}, kinds: length},
	{name: "east", alike: []string{"easting", "e"}, kinds: length},
	{name: "gradient", kinds: []quantity.Dimension{quantity.Gradient}},
	{name: "note", alike: []string{"notes", "remark"}},
}

func (b *Book) readPoints(f File) (problems Problems) {
	if f.Name == "" {
		return Problems{{Text: "there is no file of points"}}
	}
	t, problems := readTable(f, pointColumns)
	if len(problems) > 0 {
		return problems
	}
	height, kinds := "", 0
	for _, h := range []string{"height", "ellipsoidal height", "orthometric height"} {
		if t.has(h) {
			height, kinds = h, kinds+1
		}
	}
	switch height {
	case "ellipsoidal height":
		b.Heights = survey.Ellipsoidal
	case "orthometric height":
		b.Heights = survey.Orthometric
	}
	problems = t.need("station", "latitude", "longitude")
	if kinds != 1 {
		problems = append(problems, Problem{File: f.Name, Line: 1, Text: "one column of heights is needed: \"ellipsoidal height (m)\" from satellite positions, or \"orthometric height (m)\" from levelling"})
	}
	if t.has("north") != t.has("east") {
		problems = append(problems, Problem{File: f.Name, Line: 1, Text: "north and east belong together; one of them is missing"})
	}
	if len(problems) > 0 {
		return problems
	}
	b.unused(t)
	seen := map[string]Point{}
	for i := range t.rows {
		p := Point{Name: t.text(i, "station"), File: f.Name, Line: t.lines[i], UHeight: math.NaN(), North: math.NaN(), East: math.NaN(), Gradient: math.NaN()}
		bad := func(text string, args ...any) { problems = append(problems, p.Problem(text, args...)) }
		if plainName(p.Name) == "" {
			bad("the point has no name")
			continue
		}
		if other, twice := seen[plainName(p.Name)]; twice {
			bad("the point is there twice: line %d has it too, as %q", other.Line, other.Name)
			continue
		}
		seen[plainName(p.Name)] = p
		for _, c := range []struct {
			name   string
			to     *float64
			needed bool
			lo, hi float64
			allow  string
		}{
			{"latitude", &p.Lat, true, -math.Pi / 2, math.Pi / 2, "a latitude from -90 to 90 degrees; are latitude and longitude exchanged, or degrees under a head in rad?"},
			{"longitude", &p.Lon, true, -math.Pi, 2 * math.Pi, "a longitude from -180 to 360 degrees, east positive; are these degrees under a head in rad?"},
			{height, &p.Height, true, -500, 9000, "a height of ground in metres, from -500 to 9000; is it in feet?"},
			{"u height", &p.UHeight, false, 0, 1000, "a standard uncertainty from 0 to 1000 m"},
			{"north", &p.North, false, -1e8, 1e8, "metres"},
			{"east", &p.East, false, -1e8, 1e8, "metres"},
			{"gradient", &p.Gradient, false, -6e-6, -1e-6, "a gradient of gravity by height, about -0.3086 mGal/m; is the sign missing?"},
		} {
			v, given, err := t.number(i, c.name)
			switch {
			case err != nil:
				bad("%v", err)
			case !given && c.needed:
				bad("there is no %s", c.name)
			case given && !(v >= c.lo && v <= c.hi):
				bad("%q in the column %q is not %s", t.text(i, c.name), t.heads[c.name], c.allow)
			case given:
				*c.to = v
			}
		}
		if p.Lon > math.Pi {
			p.Lon -= 2 * math.Pi
		}
		b.Points = append(b.Points, p)
	}
	return problems
}

func (b *Book) unused(t *table) {
	for _, head := range t.unused {
		b.Told = append(b.Told, Problem{File: t.file, Line: 1, Text: fmt.Sprintf("the column %q is not used", head)})
	}
}

var readingColumns = []column{
	{name: "station", alike: []string{"point", "name", "mark", "site"}},
	{name: "date"},
	{name: "time", alike: []string{"moment", "datetime", "clock"}},
	{name: "reading", alike: []string{"counter", "gravity", "grav"}, kinds: []quantity.Dimension{quantity.Acceleration, quantity.One}, bare: true},
	{name: "u", alike: []string{"uncertainty", "ureading", "sd", "standarddeviation"}, kinds: []quantity.Dimension{quantity.Acceleration, quantity.One}, bare: true},
	{name: "level", alike: []string{"longlevel", "tiltx"}, kinds: angle},
	{name: "cross level", alike: []string{"crosslevel", "tilty"}, kinds: angle},
	{name: "sensor height", alike: []string{"instrumentheight", "tripod"}, kinds: length},
	{name: "pressure", alike: []string{"airpressure"}, kinds: []quantity.Dimension{pressure}},
	{name: "settled", kinds: []quantity.Dimension{quantity.Time}},
	{name: "meter", alike: []string{"instrument"}},
	{name: "tide", alike: []string{"tideadded", "tidecorrection"}, kinds: acceleration},
	{name: "note", alike: []string{"notes", "remark"}},
}

var pressure = quantity.MustUnit("Pa").Dimension()

func (b *Book) readReadings(f File, zone *time.Location) (problems Problems) {
	t, problems := readTable(f, readingColumns)
	if len(problems) > 0 {
		return problems
	}
	if problems = t.need("station", "time", "reading"); len(problems) > 0 {
		return problems
	}
	// A zone in the head of the column overrides the option.
	head := t.heads["time"]
	if open := strings.Index(head, "("); open >= 0 {
		name := strings.TrimSuffix(strings.TrimSpace(head[open+1:]), ")")
		if place, err := time.LoadLocation(name); err == nil && name != "" && name != "Local" {
			zone = place
		} else {
			return Problems{{File: f.Name, Line: 1, Text: fmt.Sprintf("%q in the head %q is no time zone; write UTC or a name like Europe/London", name, head)}}
		}
	}
	b.unused(t)
	known := map[string]string{}
	for _, p := range b.Points {
		known[plainName(p.Name)] = p.Name
	}
	for i := range t.rows {
		r := Reading{File: f.Name, Line: t.lines[i], Meter: t.text(i, "meter"), U: math.NaN(), Tide: math.NaN(), Units: t.unitless("reading"), UUnits: t.unitless("u")}
		when := t.text(i, "time")
		if date := t.text(i, "date"); date != "" {
			when = date + " " + when
		}
		written := t.text(i, "station")
		at, err := parseTime(when, zone)
		bad := func(text string, args ...any) {
			p := Problem{f.Name, t.lines[i], written, "", fmt.Sprintf(text, args...)}
			if !at.IsZero() {
				p.Time = moment(at)
			}
			problems = append(problems, p)
		}
		if err != nil {
			bad("%v", err)
		} else if at.Year() < 1950 || at.Year() > 2099 {
			bad("the year %d is not one of a survey", at.Year())
		}
		r.Time = at
		name, there := known[plainName(written)]
		if !there && len(b.Points) > 0 {
			hint := ""
			if near := nearest(plainName(written), known); near != "" {
				hint = "; did you mean " + near + "?"
			}
			bad("there is no point %q in the file of points%s", written, hint)
		}
		r.Station = name
		for _, c := range []struct {
			name   string
			to     *float64
			needed bool
			lo, hi float64
			allow  string
		}{
			{"reading", &r.Counter, true, -1e6, 1e6, "a reading"},
			{"u", &r.U, false, 0, 1e6, "a standard uncertainty, 0 or above"},
			{"level", &r.Level, false, -0.05, 0.05, "a level within 50 mrad (2.9°); is its unit right in the head?"},
			{"cross level", &r.CrossLevel, false, -0.05, 0.05, "a level within 50 mrad (2.9°); is its unit right in the head?"},
			{"sensor height", &r.SensorHeight, false, -2, 10, "a height of the sensor above the mark from -2 to 10 m; is its unit right in the head?"},
			{"pressure", &r.Pressure, false, 3e4, 1.1e5, "a pressure of the air, 300 to 1100 hPa"},
			{"settled", &r.Settled, false, 0, 1e6, "the time since the meter was set down"},
			{"tide", &r.Tide, false, -5e-6, 5e-6, "what the meter has added for the tide, within 500 µGal"},
		} {
			v, given, err := t.number(i, c.name)
			switch {
			case err != nil:
				bad("%v", err)
			case !given && c.needed:
				bad("there is no %s", t.heads[c.name])
			case given && !(v >= c.lo && v <= c.hi):
				bad("%q in the column %q is not %s", t.text(i, c.name), t.heads[c.name], c.allow)
			case given:
				*c.to = v
			}
		}
		if r.U == 0 {
			bad("an uncertainty of 0 says that the reading is exact; leave the cell empty where it is not known")
		}
		b.Readings = append(b.Readings, r)
	}
	return problems
}

// nearest is the name that differs by one letter, where there is one alone.
func nearest(written string, known map[string]string) string {
	found := ""
	for plain, name := range known {
		if oneApart(written, plain) {
			if found != "" {
				return ""
			}
			found = name
		}
	}
	return found
}

func oneApart(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	if len(b)-len(a) > 1 {
		return false
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	if len(a) == len(b) {
		return i < len(a) && a[i+1:] == b[i+1:]
	}
	return a[i:] == b[i+1:]
}

var tieColumns = []column{
	{name: "station", alike: []string{"point", "name", "base"}},
	{name: "gravity", alike: []string{"value", "g"}, kinds: acceleration},
	{name: "u", alike: []string{"uncertainty", "ugravity"}, kinds: acceleration},
	{name: "epoch", alike: []string{"date"}},
	{name: "datum", alike: []string{"system", "gravitydatum"}},
	{name: "note", alike: []string{"notes", "remark"}},
}

func (b *Book) readTies(f File) (problems Problems) {
	t, problems := readTable(f, tieColumns)
	if len(problems) > 0 {
		return problems
	}
	if problems = t.need("station", "gravity", "u"); len(problems) > 0 {
		return problems
	}
	b.unused(t)
	for i := range t.rows {
		tie := Tie{File: f.Name, Line: t.lines[i], Datum: t.text(i, "datum")}
		written := t.text(i, "station")
		bad := func(text string, args ...any) {
			problems = append(problems, Problem{f.Name, t.lines[i], written, "", fmt.Sprintf(text, args...)})
		}
		for _, p := range b.Points {
			if plainName(p.Name) == plainName(written) {
				tie.Station = p.Name
			}
		}
		if tie.Station == "" {
			bad("there is no point %q in the file of points", written)
		}
		var err error
		var given bool
		if tie.Value, given, err = t.number(i, "gravity"); err != nil || !given {
			bad("its gravity: %q is not a number", t.text(i, "gravity"))
		} else if !gravityOnEarth(tie.Value) {
			bad("gravity of %.7g m/s² is not on the Earth; is the unit right in the head %q?", tie.Value, t.heads["gravity"])
		}
		if tie.U, given, err = t.number(i, "u"); err != nil || !given {
			bad("its uncertainty: %q is not a number", t.text(i, "u"))
		} else if !(tie.U >= 0 && tie.U < 1e-3) {
			bad("an uncertainty of %.3g m/s² is not one of a base; is the unit right in the head %q?", tie.U, t.heads["u"])
		}
		if e := t.text(i, "epoch"); e != "" {
			at, err := time.Parse("2006-01-02", e)
			if err != nil {
				if at, err = time.Parse("2006", e); err != nil {
					bad("the epoch %q is not a date like 1998-06-01 or a year", e)
				}
			}
			tie.Epoch = at
		}
		// The datum of Potsdam of 1909 reads about 14 mGal too much (C. Morelli et al., The
		// International Gravity Standardization Net 1971, IAG, 1974; from memory).
		if strings.Contains(strings.ToLower(tie.Datum), "potsdam") {
			bad("its value is on the datum of Potsdam, which is about 14 mGal too high. Look the base up on IGSN71 or an absolute datum; a constant of -14 mGal is good to some 0.3 mGal only (from memory), and is not applied here")
		}
		b.Ties = append(b.Ties, tie)
	}
	return problems
}

// gravityOnEarth says that v (m/s²) is gravity on the ground, or counts from a base of one's
// own and is not gravity in a wrong unit.
func gravityOnEarth(v float64) bool {
	for _, unit := range []float64{1e1, 1e2, 1e3, 1e5} {
		if v*unit >= 9.7 && v*unit <= 9.9 {
			return false
		}
	}
	return v >= 9.7 && v <= 9.9 || math.Abs(v) <= 0.1
}

var calibrationColumns = []column{
	{name: "counter", kinds: []quantity.Dimension{quantity.One}, bare: true},
	{name: "gravity", alike: []string{"value"}, kinds: acceleration},
	{name: "known", alike: []string{"knowngravity"}, kinds: acceleration},
	{name: "u known", alike: []string{"uknown"}, kinds: acceleration},
	{name: "read", alike: []string{"readgravity"}, kinds: acceleration},
	{name: "u read", alike: []string{"uread"}, kinds: acceleration},
	{name: "meter", alike: []string{"instrument"}},
	{name: "note", alike: []string{"notes", "remark", "station"}},
}

func (b *Book) readCalibration(f File) (problems Problems) {
	t, problems := readTable(f, calibrationColumns)
	if len(problems) > 0 {
		return problems
	}
	isTable := t.has("counter")
	names := []string{"counter", "gravity"}
	if !isTable {
		names = []string{"known", "u known", "read", "u read"}
	}
	if problems = t.need(names...); len(problems) > 0 {
		problems[len(problems)-1].Text += "; a maker's table has counter and gravity, a calibration line has known, u known, read and u read"
		return problems
	}
	b.unused(t)
	// Of each meter in the order of the file.
	var meters []string
	columns := map[string][][]float64{}
	for i := range t.rows {
		meter := t.text(i, "meter")
		if columns[meter] == nil {
			meters, columns[meter] = append(meters, meter), make([][]float64, len(names))
		}
		for k, n := range names {
			v, given, err := t.number(i, n)
			if err != nil || !given {
				problems = append(problems, Problem{File: f.Name, Line: t.lines[i], Text: fmt.Sprintf("%q in the column %q is not a number", t.text(i, n), t.heads[n])})
			}
			columns[meter][k] = append(columns[meter][k], v)
		}
	}
	if len(problems) > 0 {
		return problems
	}
	for _, meter := range meters {
		of := ""
		if meter != "" {
			of = " of the meter " + meter
		}
		whole := func(text string, args ...any) {
			problems = append(problems, Problem{File: f.Name, Text: fmt.Sprintf(text, args...)})
		}
		at := slices.IndexFunc(b.Calibrations, func(c Calibration) bool { return c.Meter == meter })
		if at < 0 {
			at = len(b.Calibrations)
			b.Calibrations = append(b.Calibrations, Calibration{Meter: meter})
		}
		c, values := &b.Calibrations[at], columns[meter]
		if !isTable {
			if c.Line != nil {
				whole("there are two calibration lines%s; put their stations into one file, or name the meters in a column \"meter\"", of)
				continue
			}
			line, err := survey.Calibrate(values[0], values[1], values[2], values[3])
			if err != nil {
				whole("the calibration line%s: %v", of, err)
				continue
			}
			c.Line = line
			continue
		}
		if c.Table != nil {
			whole("there are two tables of the counter%s; give one per meter, with a column \"meter\" that names it", of)
			continue
		}
		for i := range values[0] {
			c.Table = append(c.Table, survey.TableRow{Counter: values[0][i], Gravity: values[1][i]})
		}
		if err := (survey.Meter{Table: c.Table, Scale: 1}).Validate(); err != nil {
			whole("the table%s: %v", of, err)
		}
	}
	return problems
}

// order puts the readings of each meter in a row and refuses times that do not rise
// within a file.
func (b *Book) order() (problems Problems) {
	last := map[[2]string]Reading{}
	for _, r := range b.Readings {
		key := [2]string{r.File, r.Meter}
		if before, ok := last[key]; ok && !r.Time.After(before.Time) {
			text := "its time is not after that of line %d, %s; is the hour or the date wrong?"
			if r.Time.Equal(before.Time) && r.Station == before.Station && r.Counter == before.Counter {
				text = "this line is there twice: it is the same as line %d, %s"
			}
			problems = append(problems, r.Problem(text, before.Line, moment(before.Time)))
		}
		last[key] = r
	}
	slices.SortStableFunc(b.Readings, func(x, y Reading) int {
		if c := strings.Compare(x.Meter, y.Meter); c != 0 {
			return c
		}
		return x.Time.Compare(y.Time)
	})
	for i := 1; i < len(b.Readings); i++ {
		r, before := b.Readings[i], b.Readings[i-1]
		if len(problems) == 0 && r.Meter == before.Meter && !r.Time.After(before.Time) {
			problems = append(problems, r.Problem("%s, line %d has another reading of this meter at the same time", before.File, before.Line))
		}
	}
	return problems
}

// compare holds the files against each other.
func (b *Book) compare() (problems Problems) {
	stations := map[string]bool{}
	meters := map[string]bool{}
	for _, r := range b.Readings {
		stations[r.Station], meters[r.Meter] = true, true
		if r.Units && len(problems) == 0 && b.Calibration(r.Meter).Table == nil {
			of := ""
			if r.Meter != "" {
				of = " for the meter " + r.Meter
			}
			problems = append(problems, r.Problem("the reading is in units of the counter, and there is no table%s that turns them into gravity; give it with --calibration, or write the unit into the head, like \"reading (mGal)\"", of))
		}
		if !math.IsNaN(r.U) && !r.UUnits && r.U > 1e-5 {
			problems = append(problems, r.Problem("an uncertainty of %.3g mGal is no reading; is the unit of u right in the head?", r.U*1e5))
		}
		if !math.IsNaN(r.U) && r.UUnits && r.Units && r.U > 1 {
			problems = append(problems, r.Problem("an uncertainty of %g units of the counter, about %g mGal, is no reading; is it in µGal? Write the unit into the head, like \"u (µGal)\"", r.U, r.U))
		}
	}
	for _, c := range b.Calibrations {
		if c.Meter != "" && !meters[c.Meter] {
			problems = append(problems, Problem{Text: fmt.Sprintf("there is a calibration of the meter %q, and no reading of it; the names of meters in both files must be the same", c.Meter)})
		}
	}
	if len(stations) < 2 {
		problems = append(problems, Problem{Text: "all readings are at one station; a difference needs two"})
	}
	for _, tie := range b.Ties {
		if !stations[tie.Station] {
			problems = append(problems, Problem{tie.File, tie.Line, tie.Station, "", "the tie was never read; read the base with the same meter, or take the line out"})
		}
	}
	used := b.Used()
	if len(used) > MaxStations {
		problems = append(problems, used[MaxStations].Problem("with this point more than %d stations were read, %d in all; split the survey by areas that share stations", MaxStations, len(used)))
		return problems
	}
	// The middle is the point, of the first twenty, that has the most others near.
	away := func(p, q Point) float64 { return math.Hypot(p.Lat-q.Lat, (p.Lon-q.Lon)*math.Cos(q.Lat)) * 6371 }
	var middle Point
	most := -1
	for _, q := range used[:min(20, len(used))] {
		n := 0
		for _, p := range used {
			if away(p, q) <= 100 {
				n++
			}
		}
		if n > most {
			most, middle = n, q
		}
	}
	midLat, midLon := middle.Lat, middle.Lon
	const degree = math.Pi / 180
	for _, p := range used {
		if d := away(p, middle); d > 100 {
			hint := "is a digit wrong?"
			switch {
			case math.Hypot(p.Lon-midLat, p.Lat-midLon) < 0.02:
				hint = "are latitude and longitude exchanged?"
			case math.Hypot(p.Lat-midLat, -p.Lon-midLon) < 0.02:
				hint = "is the sign of the longitude missing?"
			}
			problems = append(problems, p.Problem("it is %.0f km from the other stations, at %.4f°, %.4f°; %s", d, p.Lat/degree, p.Lon/degree, hint))
		}
	}
	return problems
}
