package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // time zones on machines without them; read only where a zone is asked for

	"gravity.example/gravlab"
	"gravity.example/gravlab/fieldbook"
	"gravity.example/gravlab/fieldday"
	"gravity.example/gravlab/internal/atomicfile"
)

var surveyCommand = command{
	name: "survey", args: "--readings FILE... --points FILE [flags]",
	short: "work out a day's gravity readings, from the meter's file to a report",
	long: `
Reads the files of a gravity survey, adjusts all readings together, reduces
them to anomalies and writes a report, tables, maps and all choices into a folder.

--readings FILE     station, time and reading; several files and meters go together
--points FILE       station, latitude, longitude, height
--terrain FILE      heights of the ground on a grid; repeated for tiles of one grid
--ties FILE         stations of known gravity
--calibration FILE  the maker's table of the counter, or a calibration line; may be repeated
--zone ZONE         of times without one, like Europe/London or UTC
--choices FILE      decisions to keep: a choices.csv that was written before, perhaps changed
--body              also fit a body under the field
--out DIR           the folder to write (default survey)
--check             read the files and tell what is in them; write nothing
--practice DIR      write the files of an invented day into a folder, to try this on

The first line of each table names its columns, in any order, with units in brackets:
  readings     station, date, time, reading or counter; also u, level, cross level,
               sensor height, pressure, settled, meter, tide
  points       station, latitude, longitude, and "ellipsoidal height" or "orthometric
               height"; also u height, gradient, north, east
  ties         station, gravity, u; also epoch, datum
  calibration  counter, gravity; or known, u known, read, u read; also meter
  terrain      north, east, height; or latitude, longitude, height; or a plain-text grid
               with ncols, nrows, xllcorner, yllcorner, cellsize and NODATA_value`,
	run: runSurvey,
}

// files is a flag that may be repeated, with one or more files each.
type files []string

func (f *files) String() string     { return strings.Join(*f, " ") }
func (f *files) Set(s string) error { *f = append(*f, s); return nil }

func runSurvey(_ context.Context, c *call) error {
	var readings, terrain, calibration files
	c.flags.Var(&readings, "readings", "")
	c.flags.Var(&terrain, "terrain", "")
	c.flags.Var(&calibration, "calibration", "")
	points, ties := c.flags.String("points", "", ""), c.flags.String("ties", "", "")
	zone, choices := c.flags.String("zone", "", ""), c.flags.String("choices", "", "")
	out, practice := c.flags.String("out", "survey", ""), c.flags.String("practice", "", "")
	check, body := c.flags.Bool("check", false, ""), c.flags.Bool("body", false, "")
	more, err := c.parse()
	if err != nil {
		return err
	}
	readings = append(readings, more...) // a shell's pattern gives several
	if *practice != "" {
		return writePractice(c, *practice)
	}
	if len(readings) == 0 || *points == "" {
		return usageError{errors.New("--readings and --points are needed"), "gravlab survey --practice DIR writes files to try it on; gravlab help survey says what the files hold"}
	}
	f := fieldbook.Files{}
	if *zone != "" {
		if f.Zone, err = time.LoadLocation(*zone); err != nil || *zone == "Local" {
			return usageError{fmt.Errorf("there is no time zone %q", *zone), "zones have names like Europe/London, America/Bogota or UTC"}
		}
	}
	for _, group := range []struct {
		names []string
		to    *[]fieldbook.File
	}{{readings, &f.Readings}, {terrain, &f.Terrain}, {calibration, &f.Calibration}} {
		for _, name := range group.names {
			one, err := readFile(name)
			if err != nil {
				return err
			}
			*group.to = append(*group.to, one)
		}
	}
	if f.Points, err = readFile(*points); err != nil {
		return err
	}
	if *ties != "" {
		if f.Ties, err = readFile(*ties); err != nil {
			return err
		}
	}
	book, err := fieldbook.Read(f)
	if err != nil {
		return usageError{err, ""}
	}
	if *check {
		return tellBook(c, book)
	}
	var decided *fieldday.Choices
	if *choices != "" {
		one, err := readFile(*choices)
		if err != nil {
			return err
		}
		if decided, err = fieldday.ReadChoices(one.Name, one.Text); err != nil {
			return usageError{err, ""}
		}
	}
	result, err := fieldday.Work(book, decided)
	if err != nil {
		return usageError{err, ""}
	}
	if *body {
		if err := result.FitBody(); err != nil {
			return err
		}
	}
	if err := result.Write(*out); err != nil {
		return err
	}
	fmt.Fprint(c.out, result.Summary())
	fmt.Fprintf(c.out, "%s and %s have the rest\n", filepath.Join(*out, "report.html"), filepath.Join(*out, "stations.csv"))
	return nil
}

func readFile(name string) (fieldbook.File, error) {
	info, err := os.Stat(name)
	if err == nil && info.Size() > fieldbook.MaxFile {
		err = fmt.Errorf("%s has more than 2 GB", name)
	}
	if err != nil {
		return fieldbook.File{}, usageError{err, ""}
	}
	// Once in memory: a terrain may have a hundred MB.
	var text strings.Builder
	text.Grow(int(info.Size()))
	in, err := os.Open(name)
	if err == nil {
		defer in.Close()
		_, err = io.Copy(&text, in)
	}
	if err != nil {
		return fieldbook.File{}, usageError{err, ""}
	}
	return fieldbook.File{Name: filepath.Base(name), Text: text.String()}, nil
}

// tellBook says what was read.
func tellBook(c *call, b *fieldbook.Book) error {
	days, meters := map[string]bool{}, map[string]bool{}
	for _, r := range b.Readings {
		days[r.Day()], meters[r.Meter] = true, true
	}
	used := b.Used()
	first, last := b.Readings[0].Time, b.Readings[0].Time
	for _, r := range b.Readings {
		if r.Time.Before(first) {
			first = r.Time
		}
		if r.Time.After(last) {
			last = r.Time
		}
	}
	fmt.Fprintf(c.out, "%d readings at %d stations; days: %d, meters: %d; from %s to %s\n", len(b.Readings), len(used), len(days), len(meters), first.Format("2006-01-02 15:04 MST"), last.Format("2006-01-02 15:04 MST"))
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range used {
		lo, hi = min(lo, p.Height), max(hi, p.Height)
	}
	const degree = math.Pi / 180
	fmt.Fprintf(c.out, "%s at %.5f° north, %.5f° east; heights from %.1f to %.1f m, %s\n", used[0].Name, used[0].Lat/degree, used[0].Lon/degree, lo, hi, b.Heights)
	counts := map[string]int{}
	for _, r := range b.Readings {
		counts[r.Station]++
	}
	var once []string
	for _, p := range used {
		if counts[p.Name] == 1 {
			once = append(once, p.Name)
		}
	}
	if len(once) > 0 {
		shown := strings.Join(once[:min(len(once), 12)], ", ")
		if len(once) > 12 {
			shown += fmt.Sprintf(" and %d more", len(once)-12)
		}
		fmt.Fprintf(c.out, "%d stations were read once, so that no repeat checks them: %s\n", len(once), shown)
	}
	for _, t := range b.Ties {
		fmt.Fprintf(c.out, "tie at %s: %.4f ± %.4f mGal\n", t.Station, t.Value/gravlab.MilliGal, t.U/gravlab.MilliGal)
	}
	if b.Terrain != nil {
		fmt.Fprintf(c.out, "terrain of %d by %d cells\n", len(b.Terrain.Heights), len(b.Terrain.Heights[0]))
	}
	for _, t := range b.Told {
		fmt.Fprintln(c.out, "look at", t.Error())
	}
	// The rest is found by working it out, without a word written.
	result, err := fieldday.Work(b, nil)
	if err != nil {
		return usageError{err, ""}
	}
	for _, d := range result.Doubts {
		if !slices.Contains(b.Told, d) {
			fmt.Fprintln(c.out, "look at", d.Error())
		}
	}
	return nil
}

func writePractice(c *call, dir string) error {
	text, _, err := fieldday.Practice(fieldday.PracticePlan{Seed: 1, Blunder: 16})
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for name, t := range text {
		path := filepath.Join(dir, name)
		if _, err := os.Stat(path); err == nil {
			return usageError{fmt.Errorf("%s is there already", path), "name a folder that is empty or new"}
		}
		if err := atomicfile.WriteFile(path, []byte(t), 0o644); err != nil {
			return err
		}
	}
	fmt.Fprintf(c.out, "the files of an invented day at Ashgill Farm are in %s; now try\n  gravlab survey --readings %[1]s/readings.csv --points %[1]s/points.csv --terrain %[1]s/terrain.txt --ties %[1]s/ties.csv --calibration %[1]s/table.csv --calibration %[1]s/line.csv --zone Europe/London --out day1\n", filepath.ToSlash(dir))
	return nil
}
