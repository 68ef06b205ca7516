package survey

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
)

// What a crew mistypes: refused or told, with the place.

// summer is the clock on the wall of the farm.
var summer = time.FixedZone("BST", 3600)

// farm is a day at Ashgill Farm by the clock on the wall, corrected to no noise.
func farm(t *testing.T) (Job, []Reading) {
	t.Helper()
	p := AshgillFarm()
	day, err := p.Simulate(rand.New(rand.NewPCG(46, 1)))
	if err != nil {
		t.Fatal(err)
	}
	for i := range day.Readings {
		day.Readings[i].Time = day.Readings[i].Time.In(summer)
	}
	return p.Job, day.Readings
}

func TestNaNIsToldAsNaN(t *testing.T) {
	job, readings := farm(t)
	nan := math.NaN()
	for what, spoil := range map[string]func(*Reading){
		"counter": func(r *Reading) { r.Counter = nan }, "u": func(r *Reading) { r.U = nan }, "level": func(r *Reading) { r.Level = nan },
		"sensor height": func(r *Reading) { r.SensorHeight = nan }, "pressure": func(r *Reading) { r.Pressure = nan }, "settled": func(r *Reading) { r.Settled = nan },
	} {
		bad := append([]Reading(nil), readings...)
		spoil(&bad[4])
		_, err := job.Reduce(bad)
		refused(t, what, err, "is NaN, which is not a number", bad[4].Station+" at 2021-04-14 09:54 BST")
		if err != nil && strings.Contains(err.Error(), "[4]") {
			t.Errorf("%s: an index for a place: %v", what, err)
		}
	}
	job.Stations[3].Site.Height = nan
	_, err := job.Reduce(readings)
	refused(t, "height", err, "station A3", "Height is NaN, which is not a number")
	if err != nil && strings.Contains(err.Error(), "twice") {
		t.Errorf("a height that is missing: %v", err)
	}
	job.Stations[3] = job.Stations[2]
	_, err = job.Reduce(readings)
	refused(t, "a name twice", err, "two of the name A2", "no name twice")
	r := sampleReport()
	r.Rows[0].UGravity = nan
	err = r.Validate()
	refused(t, "report", err, "UGravity of A1, by the wall is NaN, which is not a number")
	if err != nil && strings.Contains(err.Error(), "did you mean") {
		t.Errorf("NaN has no other unit: %v", err)
	}
}

// Places are named by station and by the reader's own clock.
func TestPlacesAreTheReaders(t *testing.T) {
	job, readings := farm(t)
	bad := append([]Reading(nil), readings...)
	bad[5].Station = "A4 "
	_, err := job.Reduce(bad)
	refused(t, "a blank after a name", err, `station of the reading at 2021-04-14 10:05 BST is "A4 "`)
	bad[5] = readings[5]
	bad[5].Time = readings[3].Time
	_, err = job.Reduce(bad)
	refused(t, "out of order", err, "2021-04-14 09:43 BST", "a time after the reading before it, "+readings[4].Station+" at 2021-04-14 09:54 BST")
	reduced, err := job.Reduce(readings)
	allowed(t, "the day", err)
	a, err := Adjust(reduced, nil, Drift{Degree: 1})
	allowed(t, "the day", err)
	if got, want := a.Residuals[0].Label, "base 09:10 BST"; got != want {
		t.Errorf("label %q, want %q", got, want)
	}
	_, err = Adjust(reduced, nil, Drift{Degree: 1, Tares: []time.Time{readings[0].Time.Add(-time.Hour)}})
	refused(t, "a tare before the day", err, "08:10 BST", "09:10 BST")
	// Two days in one adjustment are told apart.
	for i, r := range reduced {
		r.Time = r.Time.Add(24 * time.Hour)
		reduced[i].Time = reduced[i].Time.UTC()
		r.Time = r.Time.UTC()
		reduced = append(reduced, r)
	}
	night := reduced[len(readings)-1].Time.Add(6 * time.Hour)
	a, err = Adjust(reduced, nil, Drift{Degree: 1, Knots: []time.Time{night}, Tares: []time.Time{night.Add(time.Second)}})
	allowed(t, "two days", err)
	if got, want := a.Residuals[len(readings)].Label, "base 2021-04-15 08:10"; got != want {
		t.Errorf("label %q, want %q", got, want)
	}
}

// Each slip of a field book is told once with its reading, and an honest day says
// nothing.
func TestRemarksOnReadings(t *testing.T) {
	told := func(what string, spoil func(*Job, []Reading), texts ...string) {
		t.Helper()
		job, readings := farm(t)
		spoil(&job, readings)
		reduced, err := job.Reduce(readings)
		if err != nil {
			t.Errorf("%s: %v", what, err)
			return
		}
		a, err := Adjust(reduced, nil, Drift{Degree: 1})
		if err != nil {
			t.Errorf("%s: %v", what, err)
			return
		}
		var all []string
		for _, r := range a.Remarks {
			all = append(all, r.String())
		}
		got := strings.Join(all, "\n")
		if len(texts) == 0 && got != "" {
			t.Errorf("%s: %s", what, got)
		}
		for _, text := range texts {
			if !strings.Contains(got, text) {
				t.Errorf("%s: %q; want %q in it", what, got, text)
			}
		}
	}
	told("an honest day", func(*Job, []Reading) {})
	told("µGal for counter units", func(_ *Job, r []Reading) { r[6].U = 5 }, "A2, 2021-04-14 10:16 BST: its standard uncertainty is 5.203 mGal where 3 µGal is usual")
	told("µGal for all counter units", func(_ *Job, r []Reading) {
		for i := range r {
			r[i].U = 5
		}
	}, "half of the readings have a standard uncertainty of 5.2")
	told("level in degrees", func(_ *Job, r []Reading) { r[2].Level = 0.1 }, "base, 2021-04-14 09:32 BST: the meter was 0.1 rad off level, which is a correction of 4903 mGal")
	told("height in feet", func(j *Job, _ []Reading) { j.Stations[3].Site.Height /= 0.3048 }, "A3, 2021-04-14 10:27 BST: the pressure is 9 kPa above that of the standard atmosphere at the station's height, 1082.0 m; is the height in metres")
	told("pressure of the sea at a high station", func(j *Job, r []Reading) {
		for i := range j.Stations {
			j.Stations[i].Site.Height += 1000
		}
	}, "the pressure that of the place")
	told("no gradient", func(j *Job, _ []Reading) { j.Stations[1].Gradient = 0 }, "A1, 2021-04-14 09:21 BST: the sensor was", "no gradient")
	told("rise in cm", func(j *Job, _ []Reading) { j.Stations[2].WaterRise = 25 }, "A2, ", "the water table has risen by 25 m")
	told("longitude in degrees", func(j *Job, _ []Reading) {
		for i := range j.Stations {
			j.Stations[i].Site.Lon *= 180 / math.Pi
		}
	}, "base, 2021-04-14 09:10 BST: the clock (BST) is 10 h off the mean time of the longitude -136.1°")
	told("no place", func(j *Job, _ []Reading) { j.Stations[1].Site = earth.Site{} }, "A1, 2021-04-14 09:21 BST: the station has no place")
	// Honest and rare: a deep low, a clock of the far west of China, a clock in UTC
	// anywhere.
	told("a deep low", func(_ *Job, r []Reading) {
		for i := range r {
			r[i].Pressure -= 5500
		}
	})
	told("one zone for a wide land", func(j *Job, r []Reading) {
		for i := range j.Stations {
			j.Stations[i].Site.Lon = 74 * degree
		}
		for i := range r {
			r[i].Time = r[i].Time.In(time.FixedZone("", 8*3600))
		}
	})
	told("UTC far from Greenwich", func(j *Job, r []Reading) {
		for i := range j.Stations {
			j.Stations[i].Site.Lon = -150 * degree
		}
		for i := range r {
			r[i].Time = r[i].Time.UTC()
		}
	})
}

// fell is a grid of a slope that rises by a fifth towards the north, from 310 m at
// the middle, in cells of 10 m out to 200 m.
func fell() Terrain {
	t := Terrain{North: -200, East: -200, Cell: 10, Density: 2600}
	for i := range 41 {
		row := make([]float64, 41)
		for j := range row {
			row[j] = 310 + 0.2*(-200+10*float64(i))
		}
		t.Heights = append(t.Heights, row)
	}
	return t
}

func TestTerrainRefusesNoData(t *testing.T) {
	for _, c := range []struct {
		v     float64
		texts []string
	}{
		{-9999, []string{"the height at north -150 m, east -170 m", "is -9999", "without data"}}, {-32768, []string{"without data"}}, {-32767, []string{"without data"}},
		{9999, []string{"without data"}}, {32767, []string{"without data"}}, {-99999, []string{"without data"}}, {-3.4e38, []string{"without data"}}, {3.4e38, []string{"without data"}},
		{math.NaN(), []string{"north -150 m, east -170 m", "is NaN, which is not a number"}},
		{29032, []string{"did you mean 8849.0 m, from feet?"}},
	} {
		g := fell()
		g.Heights[5][3] = c.v
		_, _, err := g.Correction(0, 0, 310, 20, 150)
		refused(t, fmt.Sprint(c.v), err, c.texts...)
	}
	// The bottom of a trench may lie at 9999 m, and mountains stand high.
	for _, base := range []float64{-9999 - 310, -10500, 8400, -420 - 310} {
		g := fell()
		for i := range g.Heights {
			for j := range g.Heights[i] {
				g.Heights[i][j] += base
			}
		}
		_, _, err := g.Correction(0, 0, 310+base, 20, 150)
		allowed(t, fmt.Sprint("ground at ", 310+base), err)
	}
}

// A station that does not stand on its grid is another place's, or one of the two
// heights is in another unit or counts from another level.
func TestTerrainRefusesAnotherGround(t *testing.T) {
	g := fell()
	at := func(height float64) error {
		_, _, err := g.Correction(0, 0, height, 20, 150)
		return err
	}
	refused(t, "feet", at(310/0.3048), "height is 1017", "is the station's height in feet?", "the grid has 310.0 m")
	refused(t, "50 m of geoid", at(260), "from the sea or from the ellipsoid alike?")
	refused(t, "700 m over", at(1010), "height is 1010", "Apart")
	// On the slope, within a cell, on a roof, in a pit.
	for _, height := range []float64{310, 312, 306, 325, 295} {
		allowed(t, fmt.Sprint(height, " m"), at(height))
	}
	g.Apart = 120
	allowed(t, "on a tower", at(410))
	refused(t, "above the tower", at(500), "height is 500")
	for i := range g.Heights {
		for j := range g.Heights[i] {
			g.Heights[i][j] /= 0.3048
		}
	}
	g.Apart = 0
	refused(t, "a grid in feet", at(310), "are the heights of the grid in feet?")
	// What the cells do not explain is told where it is not refused.
	for height, want := range map[float64]string{310: "", 314: "", 320: "A4: its height is 3.0 m above", 300: "A4: its height is 3.0 m below"} {
		got := ""
		for _, r := range fell().Remarks("A4", 0, 0, height) {
			got += r.String()
		}
		if !strings.HasPrefix(got, want) || want == "" && got != "" {
			t.Errorf("at %g m: %q; want %q", height, got, want)
		}
	}
	// Coarse cells in steep ground explain much.
	cliff := Terrain{North: -900, East: -900, Cell: 90, Density: 2600}
	for range 21 {
		row := make([]float64, 21)
		for j := range row {
			row[j] = 1200
			if j > 10 {
				row[j] = 2100
			}
		}
		cliff.Heights = append(cliff.Heights, row)
	}
	for _, height := range []float64{1200, 1650, 2100} {
		_, _, err := cliff.Correction(0, 40, height, 100, 800)
		allowed(t, fmt.Sprint("on a cliff at ", height), err)
	}
	height, lowest, highest, err := fell().Ground(5, -3)
	allowed(t, "ground", err)
	near(t, "ground", height, 311, 1e-12)
	near(t, "lowest", lowest, 310-5, 1e-12) // 5 m north is the middle between two cells: that at 10 m counts, and those at 0 and 20 m
	near(t, "highest", highest, 314+5, 1e-12)
	_, _, _, err = fell().Ground(206, 0)
	refused(t, "beyond the grid", err, "north 206 m", "within the grid")
	_, _, err = fell().Correction(0, 900, 310, 20, 150)
	refused(t, "a station beyond the grid", err, "north 0 m, east 900 m", "from east -205 to 205 m", "are north and east exchanged?")
}

func TestAnomalyBeyondTheEarth(t *testing.T) {
	r := Reduction{Ellipsoid: earth.GRS80, Heights: Ellipsoidal, Plate: FlatPlate, Density: 2670, Atmosphere: true}
	lat, lon := 54.625*degree, -2.375*degree
	_, err := r.At(9.8137, lon, 310, 0)
	refused(t, "latitude and longitude exchanged", err, "which makes an anomaly of 34", "latitude -2.3750°", "are latitude and longitude exchanged")
	a, err := r.At(9.8137, lat, 310, 0)
	allowed(t, "at home", err)
	if a.Remark != "" {
		t.Errorf("an everyday anomaly: %s", a.Remark)
	}
	// On the floor of a sea 4000 m deep, by the sea water above it: γ less 0.3086 mGal
	// a metre up, and 4πGρ of 1030 kg/m³ water.
	bare := Reduction{Ellipsoid: earth.GRS80, Heights: Orthometric, Plate: NoPlate}
	for _, depth := range []float64{4000, 9900} {
		g := gravlab.Must(earth.GRS80.NormalGravity(0.2, -depth)) - 4*math.Pi*gravlab.G*1030*depth
		_, err = bare.At(g, 0.2, -depth, 0)
		allowed(t, fmt.Sprintf("on the floor of a sea of %g m", depth), err)
	}
	// A plateau of 5000 m that floats on 550 mGal of root is told, and kept.
	high := gravlab.Must(earth.GRS80.NormalGravity(0.55, 5000)) + 2*math.Pi*gravlab.G*2670*5000 - 550*gravlab.MilliGal
	a, err = Reduction{Ellipsoid: earth.GRS80, Heights: Orthometric, Plate: FlatPlate, Density: 2670}.At(high, 0.55, 5000, 0)
	allowed(t, "a high plateau", err)
	if !strings.Contains(a.Remark, "-550.0 mGal") || !strings.Contains(a.Remark, "is rare on the Earth") {
		t.Errorf("remark %q", a.Remark)
	}
}

// table is the farm's seven stations as a report.
func table(spoil func(i int, row *Row)) Report {
	p, r := AshgillFarm(), sampleReport()
	red := Reduction{Ellipsoid: earth.GRS80, Heights: Ellipsoidal, Plate: FlatPlate, Density: 2600}
	r.Rows = nil
	for i, s := range p.Job.Stations {
		row := Row{Station: s.Name, Lat: s.Site.Lat, Lon: s.Site.Lon, Height: s.Site.Height, Gravity: p.Truth[i].Value, UGravity: 5e-8, UAnomaly: 12e-8}
		if spoil != nil {
			spoil(i, &row)
		}
		row.Anomaly = gravlab.Must(red.At(row.Gravity, row.Lat, row.Height, 0))
		r.Rows = append(r.Rows, row)
	}
	return r
}

func TestReportTellsWhatIsDoubtful(t *testing.T) {
	remarks := func(r Report) string {
		text, err := r.Text()
		if err != nil {
			t.Fatal(err)
		}
		_, doubtful, _ := strings.Cut(text, "\nDoubtful\n")
		doubtful, _, _ = strings.Cut(doubtful, "\nCautions")
		return doubtful
	}
	if got := remarks(table(nil)); got != "" {
		t.Errorf("an honest table: %s", got)
	}
	one := remarks(table(func(i int, row *Row) {
		if i == 4 {
			row.Height += 10
		}
	}))
	if !strings.Contains(one, "- A4: its anomaly is +2.0") || strings.Count(one, "its anomaly is") != 1 {
		t.Errorf("one height 10 m off: %q", one)
	}
	feet := remarks(table(func(_ int, row *Row) { row.Height /= 0.3048 }))
	if !strings.Contains(feet, "are the heights in feet") {
		t.Errorf("heights in feet: %q", feet)
	}
	twice := table(nil)
	twice.Rows = append(twice.Rows, twice.Rows[2])
	if got := remarks(twice); !strings.Contains(got, "- A2: it is in the table twice") {
		t.Errorf("a station twice: %q", got)
	}
	// At 45° N, 30° E the wrong latitude makes an anomaly that can still be.
	exchanged := sampleReport()
	row := &exchanged.Rows[0]
	g := gravlab.Must(earth.GRS80.NormalGravity(45*degree, 0))
	row.Lat, row.Lon, row.Gravity, row.Height = 30*degree, 45*degree, g, 0
	row.Anomaly = gravlab.Must(Reduction{Ellipsoid: earth.GRS80, Heights: Ellipsoidal, Plate: FlatPlate, Density: 2670}.At(g, row.Lat, 0, 0))
	if got := remarks(exchanged); !strings.Contains(got, "would be 0.0 mGal with latitude and longitude exchanged") {
		t.Errorf("latitude and longitude exchanged: %q", got)
	}
}

// As many digits as the uncertainty asks for: JCGM 100, 7.2.6 (from memory).
func TestReportDigits(t *testing.T) {
	r := table(func(i int, row *Row) {
		row.UGravity, row.UAnomaly = []float64{0, 4e-9, 5e-8, 12e-8, 3e-6, 5e-8, 5e-8}[i], []float64{5e-8, 1.4e-8, 5e-8, 12e-8, 4e-5, 5e-8, 5e-8}[i]
	})
	text, err := r.CSV()
	allowed(t, "table", err)
	lines := strings.Split(text, "\r\n")
	for i, want := range map[int][2]string{1: {"981370.0000,0.0000", "0.005"}, 2: {"981368.4016,0.0004", "0.0014"}, 3: {"981367.095,0.005", "0.005"}, 4: {"981366.097,0.012", "0.012"}, 5: {"981365.2,0.3", "4"}} {
		cells := strings.Split(lines[i], ",")
		if got := [2]string{cells[4] + "," + cells[5], cells[11]}; got != want {
			t.Errorf("row %d: %q, want %q", i, got, want)
		}
		for j, of := range []int{6, 7, 8, 9, 10} { // with the decimals of u of the anomaly
			if _, have, _ := strings.Cut(cells[of], "."); len(have) != len(strings.TrimPrefix(want[1], "0."))*min(1, strings.Count(want[1], ".")) {
				t.Errorf("row %d, column %d of the anomaly: %s with u %s", i, j, cells[of], want[1])
			}
		}
	}
	// In the text the decimal points stand below each other.
	text, err = r.Text()
	allowed(t, "text", err)
	at := -1
	for line := range strings.Lines(text) {
		if i := strings.Index(line, " 9813"); i >= 0 && strings.Contains(line, "54.62") {
			if at >= 0 && i != at {
				t.Errorf("gravity begins in column %d and %d:\n%s", at, i, text)
			}
			at = i
		}
	}
	if at < 0 {
		t.Error("no row was looked at")
	}
}

// The near zone is told as it was done.
func TestReportTellsTheNearZone(t *testing.T) {
	r := sampleReport()
	r.Datum.NearZone = "an even slope of 12° (survey.Slope)"
	text, err := r.Text()
	allowed(t, "a slope", err)
	if !strings.Contains(text, "to 2000 m, by a grid of heights; within 20 m: an even slope of 12° (survey.Slope)") || strings.Contains(text, "sketch") {
		t.Errorf("near zone:\n%s", text)
	}
	r.Datum.NearZone = ""
	refused(t, "nothing stated", r.Validate(), "Datum.NearZone")
	r.Datum.TerrainNear = 0
	text, err = r.Text()
	allowed(t, "grid only", err)
	if !strings.Contains(text, "by a grid of heights up to the station") {
		t.Errorf("grid only:\n%s", text)
	}
	r.Datum.TerrainNear, r.Datum.NearZone = 3000, "left out"
	refused(t, "near beyond outer", r.Validate(), "at most TerrainOuter, which is 2000")
}

// A tare that is not in the drift moves the smallest chi² to a wrong shift: it is
// named instead. Without one nothing is.
func TestClockTrialsNameATare(t *testing.T) {
	shifts := []time.Duration{-2 * time.Hour, -time.Hour, 0, time.Hour, 2 * time.Hour}
	p := AshgillFarm()
	p.TareAfter, p.TareSize = 10, 62e-8
	p.Order = append(p.Order, p.Order...)
	wrong := 0
	for seed := range uint64(40) {
		day, err := p.Simulate(seeded(100 + seed))
		allowed(t, "day", err)
		for i := range day.Readings {
			day.Readings[i].Time = day.Readings[i].Time.In(summer)
		}
		_, err = ClockTrials(p.Job, day.Readings, nil, Drift{Degree: 1}, shifts...)
		refused(t, "a tare not in the drift", err, "a step of ", "µGal between", "BST", "tares of the drift")
		between := day.Readings[10].Time.Add(time.Minute)
		trials, err := ClockTrials(p.Job, day.Readings, nil, Drift{Degree: 1, Tares: []time.Time{between}}, shifts...)
		allowed(t, "the tare in the drift", err)
		for k := range trials {
			if trials[k] < trials[2] {
				wrong++
				break
			}
		}
	}
	if wrong > 0 {
		t.Errorf("%d of 40 days with the tare in the drift have another clock", wrong)
	}
	// Honest days, and days that are twice as noisy as they say, are not refused.
	p.TareAfter = -1
	refusals := 0
	for seed := range uint64(300) {
		day, err := p.Simulate(seeded(1000 + seed))
		allowed(t, "day", err)
		if seed%2 == 0 {
			for i := range day.Readings {
				day.Readings[i].U /= 2
			}
		}
		if _, err := ClockTrials(p.Job, day.Readings, nil, Drift{Degree: 1}, shifts...); err != nil {
			refusals++
		}
	}
	if refusals > 3 { // 0.3 are expected; 4 or more come once in 3000
		t.Errorf("%d of 300 honest days refused", refusals)
	}
	var bad *gravlab.ArgumentError
	if _, err := ClockTrials(p.Job, nil, nil, Drift{}); !errors.As(err, &bad) {
		t.Errorf("no shifts: %v", err)
	}
}
