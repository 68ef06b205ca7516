package fieldbook

import (
	"errors"
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
