package fieldbook

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"gravity.example/gravlab/survey"
)

const goodPoints = "station,latitude (deg),longitude (deg),ellipsoidal height (m)\nbase,54.6250,-2.3750,310\nA 1,54.6254,-2.3745,318.2\n"
const goodReadings = "time,station,reading (mGal),u (µGal)\n2021-04-30 09:10,base,4012.334,3\n2021-04-30 09:21,a1,4010.745,3\n2021-04-30 09:32,Base,4012.351,3\n"

func london(t *testing.T) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Skipf("no time zones on this machine: %v", err)
	}
	return zone
}

func read(t *testing.T, readings, points string) (*Book, error) {
	t.Helper()
	return Read(Files{Readings: []File{{"readings.csv", readings}}, Points: File{"points.csv", points}, Zone: london(t)})
}

// TestReadsAsWritten: any order of columns, names as people write them, semicolons with
// decimal commas, an offset in the time, and units of the head all mean the same.
func TestReadsAsWritten(t *testing.T) {
	want, err := read(t, goodReadings, goodPoints)
	if err != nil {
		t.Fatal(err)
	}
	if want.Heights != survey.Ellipsoidal || want.Readings[1].Station != "A 1" || want.Readings[0].Time.UTC().Hour() != 8 {
		t.Fatalf("read %+v", want.Readings[1])
	}
	for name, text := range map[string]string{
		"semicolons and decimal commas":  "station;date;time;reading (mGal);u (mGal)\nbase;30.04.2021;09:10;4012,334;0,003\nA-1;30.04.2021;09:21;4010,745;0,003\nBASE;30.04.2021;09:32;4012,351;0,003\n",
		"other columns, byte order mark": "\ufeffu (nm/s²),reading (µGal),note,station,time\n30,4012334,,base,2021-04-30T09:10+01:00\n30,4010745,windy,A_1,2021-04-30T09:21+01:00\n30,4012351,,base,2021-04-30T08:32Z\n",
		"tabs and UTC":                   "station\ttime (UTC)\treading (mGal)\tu (µGal)\nbase\t2021-04-30 08:10\t4012.334\t3\nA1\t2021-04-30 08:21\t4010.745\t3\nbase\t2021-04-30 08:32\t4012.351\t3\n",
	} {
		got, err := read(t, text, goodPoints)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for i, r := range got.Readings {
			w := want.Readings[i]
			if r.Station != w.Station || !r.Time.Equal(w.Time) || math.Abs(r.Counter-w.Counter) > 1e-15 || math.Abs(r.U-w.U) > 1e-18 {
				t.Errorf("%s: reading %d is %s %v %v ± %v, want %s %v %v ± %v", name, i, r.Station, r.Time, r.Counter, r.U, w.Station, w.Time, w.Counter, w.U)
			}
		}
	}
}

// TestBadInput: each mistake is refused with its place and what to do.
func TestBadInput(t *testing.T) {
	replace := strings.NewReplacer
	for _, c := range []struct {
		name, readings, points string
		want                   []string
	}{
		{"empty", "", goodPoints, []string{"readings.csv", "empty"}},
		{"no lines", "station,time,reading (mGal)\n", goodPoints, []string{"no line after the head"}},
		{"a spreadsheet's own file", "PK\x03\x04\x00\x00\xff\xfe", goodPoints, []string{"line 1", "not UTF-8", "CSV"}},
		{"another kind of table", "a,b\n1,2\n", goodPoints, []string{"another kind"}},
		{"no unit of height", goodReadings, replace("ellipsoidal height (m)", "ellipsoidal height").Replace(goodPoints), []string{"points.csv: line 1", "no unit"}},
		{"no height", goodReadings, replace("ellipsoidal height", "top").Replace(goodPoints), []string{"one column of heights"}},
		{"a wrong unit", goodReadings, replace("latitude (deg)", "latitude (m)").Replace(goodPoints), []string{"unit of something else"}},
		{"a name that is no point", replace("a1", "a7").Replace(goodReadings), goodPoints, []string{"line 3", "09:21:00 BST", "did you mean A 1?"}},
		{"a point twice", goodReadings, goodPoints + "a-1,54.6254,-2.3745,318.2\n", []string{"points.csv: line 4", "twice", "line 3"}},
		{"a line twice", goodReadings + "2021-04-30 09:32,Base,4012.351,3\n", goodPoints, []string{"line 5", "there twice", "line 4"}},
		{"time backwards", replace("09:32", "09:12").Replace(goodReadings), goodPoints, []string{"readings.csv: line 4: base, 2021-04-30 09:12:00 BST", "not after"}},
		{"day or month", replace("2021-04-30 09:21", "04/05/2021 09:21").Replace(goodReadings), goodPoints, []string{"line 3", "day first or the month"}},
		{"the hour of autumn", replace("2021-04-30 09:21", "2021-10-31 01:30").Replace(goodReadings), goodPoints, []string{"line 3", "twice", "2021-10-31T01:30:00+01:00", "2021-10-31T01:30:00Z"}},
		{"the hour of spring", replace("2021-04-30 09:10", "2021-03-28 01:30").Replace(goodReadings), goodPoints, []string{"line 2", "does not exist"}},
		{"no number", replace("4010.745", "4O10.745").Replace(goodReadings), goodPoints, []string{"line 3: a1", "not a number"}},
		{"NaN", replace("4010.745", "NaN").Replace(goodReadings), goodPoints, []string{"not a number"}},
		{"a mark of nothing", replace("4010.745", "-9999").Replace(goodReadings), goodPoints, []string{"mark of a missing value"}},
		{"degrees as radians", goodReadings, replace("(deg)", "(rad)").Replace(goodPoints), []string{"points.csv: line 2: base", "degrees under a head in rad"}},
		{"exchanged", goodReadings, replace("54.6254,-2.3745", "-2.3745,54.6254").Replace(goodPoints) + "A2,54.6260,-2.3742,320\n", []string{"A 1", "exchanged"}},
		{"a sign lost", strings.Replace(goodReadings, "2021-04-30 09:32", "2021-04-30 09:30,A2,4011,3\n2021-04-30 09:32", 1), replace("-2.3745", "2.3745").Replace(goodPoints) + "A2,54.6260,-2.3742,320\n", []string{"A 1", "sign of the longitude"}},
		{"feet beyond hills", goodReadings, replace("318.2", "31820").Replace(goodPoints), []string{"in feet?"}},
		{"an uncertainty in the wrong unit", replace("u (µGal)", "u (mGal)").Replace(goodReadings), goodPoints, []string{"line 2: base", "unit of u"}},
		{"µGal typed as counter", replace("reading (mGal),u (µGal)", "counter,u").Replace(goodReadings), goodPoints, []string{"table", "µGal"}},
		{"an uncertainty of 0", replace(",3\n", ",0\n").Replace(goodReadings), goodPoints, []string{"exact"}},
		{"one station", "time,station,reading (mGal)\n2021-04-30 09:10,base,4012.334\n2021-04-30 09:20,base,4012.3\n", goodPoints, []string{"one station"}},
		{"a cell too many", replace("4010.745,3", "4010,745,3").Replace(goodReadings), goodPoints, []string{"line 3", "decimal comma"}},
		{"thousands", "station;time;reading (mGal)\nbase;2021-04-30 09:10;4.012,334\na1;2021-04-30 09:20;4010,3\n", goodPoints, []string{"comma and a point"}},
		{"a tilt of degrees", "time,station,reading (mGal),level (deg)\n2021-04-30 09:10,base,4012.334,12\n2021-04-30 09:20,a1,4012.3,0\n", goodPoints, []string{"line 2", "50 mrad"}},
		{"a pressure in Pa", "time,station,reading (mGal),pressure (Pa)\n2021-04-30 09:10,base,4012.334,977\n2021-04-30 09:20,a1,4012.3,977\n", goodPoints, []string{"300 to 1100 hPa"}},
		{"a height that is no number", goodReadings, replace("318.2", "NaN").Replace(goodPoints), []string{"points.csv: line 3: A 1", "not a number"}},
		{"a level that is no number", "time,station,reading (mGal),level (arcsec)\n2021-04-30 09:10,base,4012.334,NaN\n2021-04-30 09:20,a1,4012.3,0\n", goodPoints, []string{"readings.csv: line 2: base, 2021-04-30 09:10:00 BST", "not a number"}},
		{"a pressure a hundred times too large", "time,station,reading (mGal),pressure (hPa)\n2021-04-30 09:10,base,4012.334,97700\n2021-04-30 09:20,a1,4012.3,977\n", goodPoints, []string{"line 2: base, 2021-04-30 09:10:00 BST", "300 to 1100 hPa"}},
		{"a gradient without its sign", goodReadings, "station,latitude (deg),longitude (deg),ellipsoidal height (m),gradient (mGal/m)\nbase,54.6250,-2.3750,310,0.31\nA 1,54.6254,-2.3745,318.2,-0.31\n", []string{"points.csv: line 2: base", "sign missing"}},
		{"a gradient in another unit", goodReadings, "station,latitude (deg),longitude (deg),ellipsoidal height (m),gradient (1/s²)\nbase,54.6250,-2.3750,310,-0.31\nA 1,54.6254,-2.3745,318.2,-0.31\n", []string{"points.csv: line 2: base", "-0.3086 mGal/m"}},
		{"more lines than readings", "time,station,reading (mGal)\n" + strings.Repeat("2021-04-30 09:10,base,4012.334\n", MaxLines+1), goodPoints, []string{"readings.csv: line 1000002", "raw samples"}},
		{"a meter's raw samples", samples(MaxReadings + 5), goodPoints, []string{"readings.csv: line 20002: base, 2021-04-30 14:43:", "raw samples"}},
		{"a long ago year", replace("2021-04-30 09:10", "1921-04-30 09:10").Replace(goodReadings), goodPoints, []string{"1921"}},
	} {
		_, err := read(t, c.readings, c.points)
		var p Problems
		if !errors.As(err, &p) {
			t.Errorf("%s: error %v, want problems", c.name, err)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %v\nwant %q in it", c.name, err, w)
			}
		}
	}
	_, err := Read(Files{Readings: []File{{"r.csv", goodReadings}}, Points: File{"points.csv", goodPoints}})
	if err == nil || !strings.Contains(err.Error(), "no time zone") {
		t.Errorf("without a zone: %v", err)
	}
}

// samples are readings every second, in turn at two points.
func samples(n int) string {
	var b strings.Builder
	b.WriteString("time,station,reading (mGal)\n")
	at := time.Date(2021, 4, 30, 9, 10, 0, 0, time.UTC)
	for i := range n {
		fmt.Fprintf(&b, "%s,%s,4012.3\n", at.Format("2006-01-02 15:04:05"), []string{"base", "a1"}[i%2])
		at = at.Add(time.Second)
	}
	return b.String()
}

// TestTies: a base on the old datum, in the wrong unit, or never read is refused.
func TestTies(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"station,gravity (mGal),u (mGal),datum\nbase,981370.0,0.01,Potsdam 1909\n", "14 mGal"},
		{"station,gravity (µGal),u (mGal)\nbase,981370.0,0.01\n", "not on the Earth"},
		{"station,gravity (mGal),u (m/s²)\nbase,981370.0,0.01\n", "unit right in the head"},
		{"station,gravity (mGal),u (mGal)\nbaze,981370.0,0.01\n", "no point"},
	} {
		_, err := Read(Files{Readings: []File{{"r.csv", goodReadings}}, Points: File{"points.csv", goodPoints}, Ties: File{"ties.csv", c.text}, Zone: london(t)})
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "ties.csv: line 2") {
			t.Errorf("%q: %v, want %q", c.text, err, c.want)
		}
	}
}

// TestGrids: a plain-text grid and a table are the same ground, and what is no grid is
// refused.
func TestGrids(t *testing.T) {
	raster, p := readGrids([]File{{"g.txt", "ncols 3\nnrows 2\nxllcorner 10\nyllcorner 20\ncellsize 4\nNODATA_value -1\n1 2 3\n4 -1 6\n"}})
	if p != nil {
		t.Fatal(p)
	}
	cells, p := readGrids([]File{{"g.csv", "north (m),east (m),height (m)\n26,12,1\n26,16,2\n26,20,3\n22,12,4\n22,16,\n22,20,6\n"}})
	if p != nil {
		t.Fatal(p)
	}
	for _, g := range []*Grid{raster, cells} {
		if g.North != 22 || g.East != 12 || g.StepNorth != 4 || g.Heights[0][0] != 4 || g.Heights[1][2] != 3 || !math.IsNaN(g.Heights[0][1]) {
			t.Errorf("%s: %+v", g.File, g)
		}
	}
	for _, c := range []struct{ text, want string }{
		{"ncols 20000\nnrows 5000\ncellsize 1\n1 2\n", "cells are too many"},
		{"ncols 2\nnrows 2\ncellsize 1\n1 2\n3\n", "cut off"},
		{"ncols 2\nnrows 1\n1 2\n", "cellsize"},
		{"ncols 2\nnrows 1\ncellsize 1\n1 x\n", "line 4"},
		{"north (m),east (m),height (m)\n0,0,1\n0,1,1\n1,0.37,1\n", "even grid"},
	} {
		if _, p := readGrids([]File{{"g", c.text}}); p == nil || !strings.Contains(p.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.text, p, c.want)
		}
	}
}

// TestTiles: tiles make the grid that they were cut from, in any order, and tiles of different
// ground are refused.
func TestTiles(t *testing.T) {
	tile := func(east int, heights string) File {
		return File{fmt.Sprintf("t%d.txt", east), fmt.Sprintf("ncols 2\nnrows 2\nxllcorner %d\nyllcorner 20\ncellsize 4\n%s", east, heights)}
	}
	g, p := readGrids([]File{tile(22, "5 6\n7 8\n"), tile(10, "1 2\n3 4\n")})
	if p != nil {
		t.Fatal(p)
	}
	if g.North != 22 || g.East != 12 || len(g.Heights) != 2 || len(g.Heights[0]) != 5 || g.Heights[0][0] != 3 || g.Heights[1][4] != 6 || !math.IsNaN(g.Heights[0][2]) {
		t.Errorf("%+v", g)
	}
	if g, p = readGrids([]File{tile(14, "2 5\n4 7\n"), tile(10, "1 2\n3 4\n")}); p != nil || g.Heights[1][2] != 5 {
		t.Errorf("overlapping: %+v %v", g, p)
	}
	for _, c := range []struct {
		second File
		want   string
	}{
		{tile(14, "3 5\n4 7\n"), "t14.txt: it has 3.00 m where another tile has 2.00 m"},
		{tile(15, "2 5\n4 7\n"), "not in line"},
		{File{"c.txt", "ncols 2\nnrows 2\nxllcorner 18\nyllcorner 20\ncellsize 5\n1 2\n3 4\n"}, "another size"},
		{tile(400000002, "1 2\n3 4\n"), "near the stations"},
	} {
		if _, p := readGrids([]File{tile(10, "1 2\n3 4\n"), c.second}); p == nil || !strings.Contains(p.Error(), c.want) {
			t.Errorf("%v, want %q", p, c.want)
		}
	}
}

// TestMeters: each meter has the table and the line that name it, and others those that name
// none.
func TestMeters(t *testing.T) {
	readings := "time,station,counter,u (µGal),meter\n2021-04-30 09:10,base,10,3,G1\n2021-04-30 09:21,a1,11,3,G1\n2021-04-30 09:12,base,20,3,G2\n2021-04-30 09:25,a1,21,3,G2\n"
	table := File{"table.csv", "meter,counter,gravity (mGal)\nG1,0,0\nG1,100,102\nG2,0,0\nG2,100,104\n"}
	line := File{"line.csv", "known (mGal),u known (mGal),read (mGal),u read (mGal)\n0,0.005,0,0.005\n50,0.005,49.99,0.005\n100,0.005,99.98,0.005\n"}
	files := func(calibration ...File) Files {
		return Files{Readings: []File{{"r.csv", readings}}, Points: File{"points.csv", goodPoints}, Calibration: calibration, Zone: london(t)}
	}
	b, err := Read(files(table, line))
	if err != nil {
		t.Fatal(err)
	}
	for meter, per := range map[string]float64{"G1": 102e-5, "G2": 104e-5} {
		c := b.Calibration(meter)
		if len(c.Table) != 2 || math.Abs(c.Table[1].Gravity-per) > 1e-15 || c.Line == nil || math.Abs(c.Line.Scale-1.0002) > 1e-6 {
			t.Errorf("%s: %+v", meter, c)
		}
	}
	for _, c := range []struct {
		files []File
		want  string
	}{
		{[]File{{"t.csv", "meter,counter,gravity (mGal)\nG1,0,0\nG1,100,102\n"}}, "G2"},
		{[]File{table, table}, "two tables of the counter of the meter G1"},
		{[]File{table, line, line}, "two calibration lines"},
		{[]File{{"t.csv", "meter,counter,gravity (mGal)\nG1,0,0\nG1,100,102\nG2,0,0\nG2,100,104\nG3,0,0\nG3,100,104\n"}}, "no reading of it"},
	} {
		if _, err := Read(files(c.files...)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add(goodReadings, goodPoints)
	f.Add("ncols 2", "station")
	f.Fuzz(func(t *testing.T, readings, points string) {
		b, err := Read(Files{Readings: []File{{"r", readings}}, Points: File{"p", points}, Terrain: []File{{"t", readings}}, Zone: time.UTC})
		if err == nil && len(b.Readings) < 2 {
			t.Error("a book of one reading was accepted")
		}
	})
}
