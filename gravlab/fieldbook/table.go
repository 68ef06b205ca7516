package fieldbook

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"gravity.example/gravlab/quantity"
)

// MaxFile is the most bytes of a file, MaxLines the most lines of a table. MaxReadings is the
// most readings of all files, and MaxStations the most stations read: the work grows as the
// square of the readings of a day and the cube of the stations (1,000 take seconds, 2,000 a
// minute or two).
const (
	MaxFile     = 2 << 30
	MaxLines    = 1_000_000
	MaxReadings = 20_000
	MaxStations = 3_000
)

// A File is the name and the text of a file.
type File struct{ Name, Text string }

// A table is a CSV file whose columns are known.
type table struct {
	file    string
	columns map[string]int // place of each column that is known
	units   map[string]quantity.Unit
	heads   map[string]string // as written
	unused  []string
	rows    [][]string
	lines   []int
	comma   bool // numbers may have a decimal comma
}

// A column says how a head is understood.
type column struct {
	name  string
	alike []string // other heads for it, without blanks and in lower case
	kinds []quantity.Dimension
	bare  bool // may have no unit
}

var (
	angle        = []quantity.Dimension{quantity.Angle}
	length       = []quantity.Dimension{quantity.Length}
	acceleration = []quantity.Dimension{quantity.Acceleration}
)

// plainName is a name without what people write in more than one way.
func plainName(s string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case ' ', '-', '_', '.', '\u00a0', '\t':
			return -1
		}
		return r
	}, strings.ToLower(strings.TrimSpace(s)))
}

// checkText refuses what is no text.
func checkText(f File) *Problem {
	switch {
	case strings.TrimSpace(f.Text) == "":
		return &Problem{File: f.Name, Text: "the file is empty; its first line names the columns, like \"station,time,counter\""}
	case len(f.Text) > MaxFile:
		return &Problem{File: f.Name, Text: "the file has more than 2 GB; cut it"}
	}
	for i, r := range f.Text {
		if r == 0 || r == utf8.RuneError {
			if _, size := utf8.DecodeRuneInString(f.Text[i:]); r == 0 || size == 1 {
				return &Problem{File: f.Name, Line: 1 + strings.Count(f.Text[:i], "\n"), Text: "this is not UTF-8 text; if it is a spreadsheet or a picture, save the table as CSV with the encoding UTF-8"}
			}
		}
	}
	return nil
}

// readTable reads a table with these columns. Heads that are none of them are left.
func readTable(f File, columns []column) (*table, Problems) {
	if p := checkText(f); p != nil {
		return nil, Problems{*p}
	}
	text := strings.TrimPrefix(f.Text, "\ufeff")
	first, _, _ := strings.Cut(text, "\n")
	t := &table{file: f.Name, columns: map[string]int{}, units: map[string]quantity.Unit{}, heads: map[string]string{}}
	in := csv.NewReader(strings.NewReader(text))
	in.TrimLeadingSpace = true
	switch {
	case strings.Contains(first, ";"):
		in.Comma, t.comma = ';', true
	case strings.Contains(first, "\t"):
		in.Comma, t.comma = '\t', true
	}
	heads, err := in.Read()
	if err != nil {
		return nil, Problems{t.csvProblem(err)}
	}
	var problems Problems
	bad := func(text string, args ...any) {
		problems = append(problems, Problem{File: f.Name, Line: 1, Text: fmt.Sprintf(text, args...)})
	}
	for i, head := range heads {
		name, unit := head, ""
		if open := strings.Index(head, "("); open >= 0 && strings.HasSuffix(strings.TrimSpace(head), ")") {
			name, unit = head[:open], strings.TrimSuffix(strings.TrimSpace(head[open+1:]), ")")
		}
		c, ok := find(columns, plainName(name))
		if !ok {
			t.unused = append(t.unused, strings.TrimSpace(head))
			continue
		}
		if _, twice := t.columns[c.name]; twice {
			bad("there are two columns for %s, %q and %q; leave one", c.name, t.heads[c.name], strings.TrimSpace(head))
			continue
		}
		t.columns[c.name], t.heads[c.name] = i, strings.TrimSpace(head)
		if len(c.kinds) == 0 {
			continue
		}
		if unit == "" {
			if !c.bare {
				bad("the column %q has no unit; write it in brackets, like \"%s (%s)\"", head, strings.TrimSpace(name), example(c.kinds[0]))
			}
			continue
		}
		u, err := quantity.ParseUnit(unit)
		if err != nil {
			bad("the unit of the column %q: %v", head, err)
			continue
		}
		fits := false
		for _, k := range c.kinds {
			fits = fits || u.Dimension() == k
		}
		if !fits {
			bad("the column %q has a unit of something else; write it like \"%s (%s)\"", head, strings.TrimSpace(name), example(c.kinds[0]))
			continue
		}
		t.units[c.name] = u
	}
	if len(t.columns) == 0 {
		bad("none of the heads %q is known; this file is of another kind, or its first line does not name the columns", strings.Join(heads, ", "))
	}
	if len(problems) > 0 {
		return nil, problems
	}
	for {
		row, err := in.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, append(problems, t.csvProblem(err))
		}
		line, _ := in.FieldPos(0)
		t.rows, t.lines = append(t.rows, row), append(t.lines, line)
		if len(t.rows) > MaxLines {
			return nil, Problems{{File: f.Name, Line: line, Text: fmt.Sprintf("there are more than %d lines; a table of readings holds one line per reading, not the meter's raw samples", MaxLines)}}
		}
	}
	if len(t.rows) == 0 {
		return nil, Problems{{File: f.Name, Text: "there is no line after the head"}}
	}
	return t, nil
}

func find(columns []column, head string) (column, bool) {
	for _, c := range columns {
		if head == plainName(c.name) {
			return c, true
		}
		for _, a := range c.alike {
			if head == a {
				return c, true
			}
		}
	}
	return column{}, false
}

func example(d quantity.Dimension) string {
	switch d {
	case quantity.Angle:
		return "deg"
	case quantity.Length:
		return "m"
	case quantity.Acceleration:
		return "mGal"
	case quantity.Time:
		return "s"
	case quantity.Gradient:
		return "mGal/m"
	case pressure:
		return "hPa"
	}
	return "1"
}

func (t *table) csvProblem(err error) Problem {
	var p *csv.ParseError
	if errors.As(err, &p) {
		text := p.Err.Error()
		if errors.Is(p.Err, csv.ErrFieldCount) {
			text = "it has more or fewer columns than the first line; is a decimal comma among the separators?"
		}
		return Problem{File: t.file, Line: p.Line, Text: text}
	}
	return Problem{File: t.file, Text: err.Error()}
}

// has says that the table has a column.
func (t *table) has(name string) bool { _, ok := t.columns[name]; return ok }

// need reports columns that are missing.
func (t *table) need(names ...string) (problems Problems) {
	for _, n := range names {
		if !t.has(n) {
			problems = append(problems, Problem{File: t.file, Line: 1, Text: fmt.Sprintf("there is no column %q", n)})
		}
	}
	return problems
}

// text is a cell, "" where there is no such column.
func (t *table) text(row int, name string) string {
	i, ok := t.columns[name]
	if !ok {
		return ""
	}
	return strings.TrimSpace(t.rows[row][i])
}

// number is a cell in SI units; without a unit it is as written.
func (t *table) number(row int, name string) (value float64, given bool, err error) {
	s := t.text(row, name)
	if s == "" {
		return 0, false, nil
	}
	v, err := t.parse(s)
	if err != nil {
		return 0, false, fmt.Errorf("%q in the column %q %w", s, t.heads[name], err)
	}
	if u, ok := t.units[name]; ok {
		v *= u.SI()
	}
	return v, true, nil
}

// missing are the numbers that loggers and maps write where a value is missing
// (common practice, no source).
var missing = []float64{-9999, -99999, 99999, -32768}

func (t *table) parse(s string) (float64, error) {
	plain := strings.NewReplacer("−", "-", "\u00a0", "", " ", "").Replace(s)
	if strings.Contains(plain, ",") {
		if strings.Contains(plain, ".") || strings.Count(plain, ",") > 1 {
			return 0, errors.New("has a comma and a point, or two commas; write it without separators of thousands")
		}
		if !t.comma {
			return 0, errors.New("has a comma in a file whose columns are separated by commas; write a point")
		}
		plain = strings.Replace(plain, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(plain, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || strings.ContainsAny(plain, "xXpP_") {
		return 0, errors.New("is not a number")
	}
	for _, m := range missing {
		if v == m {
			return 0, errors.New("is the mark of a missing value; leave the cell empty or the line out")
		}
	}
	return v, nil
}

// unitless says that the column exists and has no unit, or the unit 1.
func (t *table) unitless(name string) bool {
	u, ok := t.units[name]
	return t.has(name) && (!ok || u.Dimension() == quantity.One)
}
