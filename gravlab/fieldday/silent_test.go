package fieldday

import (
	"fmt"
	"strings"
	"testing"

	"gravity.example/gravlab/fieldbook"
)

// edit changes a column of a table, of the lines that a test picks (from 0, without the head).
func edit(text string, column int, pick func(line int) bool, to func(cell string) string) string {
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	for i := 1; i < len(lines); i++ {
		if pick(i - 1) {
			cells := strings.Split(lines[i], ",")
			cells[column] = to(cells[column])
			lines[i] = strings.Join(cells, ",")
		}
	}
	return strings.Join(lines, "\n") + "\n"
}

func every(int) bool { return true }

func line(n int) func(int) bool { return func(i int) bool { return i == n } }

// scaled multiplies a number in a cell and adds to it.
func scaled(factor, add float64) func(string) string {
	return func(cell string) string {
		var v float64
		if _, err := fmt.Sscan(cell, &v); err != nil {
			panic(err)
		}
		return fmt.Sprintf("%.8f", v*factor+add)
	}
}

// TestNothingPasses: what is wrong in a way that each file by itself can be right is refused or
// told, with its place.
func TestNothingPasses(t *testing.T) {
	text := mustPractice(t)
	for _, c := range []struct {
		name string
		file string
		edit func(string) string
		want []string // in the error or in one doubt
	}{
		{"all heights in feet", "points.csv", func(s string) string { return edit(s, 3, every, scaled(1/0.3048, 0)) }, []string{"points.csv: line 2", "feet"}},
		{"one height in feet", "points.csv", func(s string) string { return edit(s, 3, line(7), scaled(1/0.3048, 0)) }, []string{"line 9: S7", "feet"}},
		{"one height 10 m off", "points.csv", func(s string) string { return edit(s, 3, line(7), scaled(1, 10)) }, []string{"line 9: S7", "above the range of the grid"}},
		{"a station 50 m under its ground", "points.csv", func(s string) string { return edit(s, 3, line(7), scaled(1, -50)) }, []string{"line 9: S7", "where the grid has"}},
		{"the terrain in feet", "terrain.txt", func(s string) string {
			return "ncols 3\nnrows 3\nxllcorner -900\nyllcorner -900\ncellsize 600\n" + strings.Repeat("1010 1020 1030\n", 3)
		}, []string{"points.csv", "grid"}},
		{"a hole near a station", "terrain.txt", func(s string) string { return strings.Replace(s, "\n", "\n", 1)[:len(s)/2] + holed(s[len(s)/2:]) }, []string{"points.csv: line", "without a height"}},
		{"terrain that does not cover", "terrain.txt", func(s string) string { return strings.Replace(s, "xllcorner -552.5", "xllcorner 200", 1) }, []string{"does not cover"}},
		{"latitude and longitude exchanged in all", "points.csv", func(s string) string {
			return strings.Replace(strings.Replace(strings.Replace(s, "latitude", "x", 1), "longitude", "latitude", 1), "x (deg)", "longitude (deg)", 1)
		}, []string{"by latitude and longitude"}},
		{"a longitude without its sign", "points.csv", func(s string) string {
			return edit(s, 2, line(7), func(c string) string { return strings.TrimPrefix(c, "-") })
		}, []string{"line 9: S7", "sign of the longitude"}},
		{"an uncertainty typed in another unit", "readings.csv", func(s string) string { return edit(s, 4, line(7), scaled(1000, 0)) }, []string{"line 9: S7", "uncertainty"}},
		{"a counter ten times too large", "readings.csv", func(s string) string { return edit(s, 3, line(7), scaled(10, 0)) }, []string{"line 9: S7", "table"}},
		{"a sensor height in mm", "readings.csv", func(s string) string { return edit(s, 7, line(7), scaled(100, 0)) }, []string{"line 9: S7", "sensor height"}},
		{"a day without a return", "readings.csv", func(s string) string {
			lines := strings.SplitAfter(s, "\n")
			return strings.Join(lines[:8], "")
		}, []string{"Without a return to the base"}},
	} {
		files := map[string]string{}
		for name, s := range text {
			files[name] = s
		}
		files[c.file] = c.edit(files[c.file])
		book, err := fieldbook.Read(PracticeFiles(files))
		var r *Result
		if err == nil {
			r, err = Work(book, nil)
		}
		var told []string
		if err != nil {
			told = strings.Split(err.Error(), "\n")
		} else {
			for _, d := range r.Doubts {
				told = append(told, d.Error())
			}
		}
		found := false
		for _, one := range told {
			all := true
			for _, w := range c.want {
				all = all && strings.Contains(one, w)
			}
			found = found || all
		}
		if !found {
			t.Errorf("%s: %.600q; want one with %q", c.name, told, c.want)
		}
	}
}

// holed puts a mark of nothing in place of the height in the middle of the first lines.
func holed(rest string) string {
	lines := strings.SplitAfter(rest, "\n")
	for i := 1; i < min(4, len(lines)); i++ {
		cells := strings.Fields(lines[i])
		cells[len(cells)/2] = "-9999"
		lines[i] = strings.Join(cells, " ") + "\n"
	}
	return strings.Join(lines, "")
}

// TestWrongHour: a clock an hour off is told, with what to choose; the tide of a clock that
// is right says nothing.
func TestWrongHour(t *testing.T) {
	if testing.Short() {
		t.Skip("works several days out")
	}
	told := 0
	const days = 2
	for seed := range days {
		text, _, err := Practice(PracticePlan{Seed: uint64(seed + 40), Blunder: -1, NoTare: true})
		if err != nil {
			t.Fatal(err)
		}
		files := PracticeFiles(text)
		files.Readings[0].Text = strings.Replace(files.Readings[0].Text, ",time,", ",time (UTC),", 1)
		book, err := fieldbook.Read(files)
		if err != nil {
			t.Fatal(err)
		}
		r, err := Work(book, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range r.Doubts {
			if strings.Contains(d.Text, "clock moved by -60 min") {
				told++
			}
		}
	}
	t.Logf("told on %d of %d days", told, days)
	if told < days/2 {
		t.Errorf("a clock that is an hour off was told on %d of %d days", told, days)
	}
}
