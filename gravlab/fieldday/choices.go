package fieldday

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"gravity.example/gravlab/fieldbook"
	"gravity.example/gravlab/quantity"
)

// Choices are all decisions between the files and the results, in a table that can be changed
// and given back: choice, about, value, why. What is missing is decided by the program and
// added.
//
// It is CSV like every other table that people edit here, so that no module has to be
// fetched for it and a spreadsheet opens it.
type Choices struct {
	file string
	list []choice
}

type choice struct {
	name, about, value, why string
	line                    int
	used                    bool
}

// The names of the choices, with what they are about and what they may be.
var names = []struct{ name, about, values string }{
	{"heights", "", "ellipsoidal or orthometric"},
	{"u height", "", "standard uncertainty of heights that the points do not state, e.g. 0.02 m"},
	{"normal gravity", "", "GRS80 or WGS84; 1930 and 1967 only with \"old formulas\""},
	{"old formulas", "", "yes, to reduce with a formula that is no longer used"},
	{"gradient", "", "of gravity by height at points that state none, e.g. -0.3086 mGal/m"},
	{"tide factor", "", "gravimetric factor, 1 to 1.3"},
	{"tide", "meter", "computed, or by the meter"},
	{"scale", "meter", "factor of the meter, e.g. 1.000412"},
	{"u scale", "meter", "its standard uncertainty"},
	{"u reading", "meter", "as stated, or e.g. 5 µGal"},
	{"drift", "day", "line, loops (a broken line from base to base), curve (of degree 2) or none"},
	{"clock", "day", "minutes to add to its times, 0 or e.g. -60"},
	{"clock from", "day", "the moment, as written, of the first reading whose time is moved by clock"},
	{"tare", "day", "the moment of a step"},
	{"tare place", "day", "doubtful, known (from the field book), or by the map"},
	{"leave out", "station", "the moment of the reading"},
	{"search", "", "done, or again: look for tares and readings that are off"},
	{"plate", "", "flat, rounded or none"},
	{"density", "", "e.g. 2670 kg/m³"},
	{"u density", "", "its standard uncertainty"},
	{"atmosphere", "", "yes or no"},
	{"terrain from", "", "inner radius of the grid, e.g. 15 m; within it the slope of the grid is used"},
	{"terrain to", "", "outer radius, e.g. 1000 m; 0 m for none"},
}

// ReadChoices reads such a table. nil text is a table without lines.
func ReadChoices(file, text string) (*Choices, error) {
	c := &Choices{file: file}
	if strings.TrimSpace(text) == "" {
		return c, nil
	}
	in := csv.NewReader(strings.NewReader(strings.TrimPrefix(text, "\ufeff")))
	in.FieldsPerRecord = -1
	if first, _, _ := strings.Cut(text, "\n"); strings.Contains(first, ";") {
		in.Comma = ';'
	}
	var problems fieldbook.Problems
	for n := 0; ; n++ {
		row, err := in.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		line, _ := in.FieldPos(0)
		for len(row) < 4 {
			row = append(row, "")
		}
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
		}
		if n == 0 {
			if !slices.Equal(row[:4], []string{"choice", "about", "value", "why"}) {
				return nil, fmt.Errorf("%s: line 1: its columns are choice,about,value,why", file)
			}
			continue
		}
		known := slices.IndexFunc(names, func(k struct{ name, about, values string }) bool { return k.name == row[0] })
		if known < 0 {
			var all []string
			for _, k := range names {
				all = append(all, k.name)
			}
			problems = append(problems, fieldbook.Problem{File: file, Line: line, Text: fmt.Sprintf("there is no choice %q; there are %s", row[0], strings.Join(all, ", "))})
			continue
		}
		if many := row[0] == "tare" || row[0] == "leave out"; !many && slices.ContainsFunc(c.list, func(o choice) bool { return o.name == row[0] && o.about == row[1] }) {
			problems = append(problems, fieldbook.Problem{File: file, Line: line, Text: fmt.Sprintf("the choice %q is there twice", row[0])})
			continue
		}
		c.list = append(c.list, choice{name: row[0], about: row[1], value: row[2], why: row[3], line: line})
	}
	if len(problems) > 0 {
		return nil, problems
	}
	return c, nil
}

// CSV is the table, in the order of the list of names.
func (c *Choices) CSV() []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write([]string{"choice", "about", "value", "why"})
	for _, n := range names {
		for _, o := range c.list {
			if o.name == n.name {
				w.Write([]string{o.name, o.about, o.value, o.why})
			}
		}
	}
	w.Flush()
	return b.Bytes()
}

// unused reports choices about something that is not in the files.
func (c *Choices) unused() (problems fieldbook.Problems) {
	for _, o := range c.list {
		if !o.used {
			problems = append(problems, fieldbook.Problem{File: c.file, Line: o.line, Text: fmt.Sprintf("the choice %q about %q finds nothing in the files", o.name, o.about)})
		}
	}
	return problems
}

// take returns a choice, or adds it with a value and a reason.
func (c *Choices) take(name, about, value, why string) *choice {
	for i := range c.list {
		if o := &c.list[i]; o.name == name && o.about == about {
			o.used = true
			return o
		}
	}
	c.list = append(c.list, choice{name: name, about: about, value: value, why: why, used: true})
	return &c.list[len(c.list)-1]
}

func (c *Choices) add(name, about, value, why string) {
	c.list = append(c.list, choice{name: name, about: about, value: value, why: why, used: true})
}

// bad is a problem of a choice.
func (c *Choices) bad(o *choice) error {
	allowed := ""
	for _, n := range names {
		if n.name == o.name {
			allowed = n.values
		}
	}
	return fieldbook.Problem{File: c.file, Line: o.line, Text: fmt.Sprintf("%q cannot be the choice %q; it is %s", o.value, o.name, allowed)}
}

// number reads "5.1 µGal" in SI units of a dimension, within bounds.
func (c *Choices) number(o *choice, d quantity.Dimension, lo, hi float64) (float64, error) {
	text, unit, _ := strings.Cut(o.value, " ")
	v, err := strconv.ParseFloat(strings.Replace(text, "−", "-", 1), 64)
	u, errUnit := quantity.ParseUnit(unit)
	if err != nil || errUnit != nil || u.Dimension() != d {
		return 0, c.bad(o)
	}
	v *= u.SI()
	if !(v >= lo && v <= hi) || math.IsNaN(v) {
		return 0, c.bad(o)
	}
	return v, nil
}

// oneOf reads a word.
func (c *Choices) oneOf(o *choice, words ...string) (string, error) {
	if slices.Contains(words, o.value) {
		return o.value, nil
	}
	return "", c.bad(o)
}

const momentLayout = "2006-01-02T15:04:05Z07:00"

// moments are the times of all choices of a name about something.
func (c *Choices) moments(name, about string) (times []time.Time, err error) {
	for i := range c.list {
		o := &c.list[i]
		if o.name != name || o.about != about {
			continue
		}
		o.used = true
		t, bad := time.Parse(momentLayout, o.value)
		if bad != nil {
			err = errors.Join(err, fieldbook.Problem{File: c.file, Line: o.line, Text: fmt.Sprintf("%q is no moment; write it with its offset, like 2021-04-30T11:40:30+01:00", o.value)})
		}
		times = append(times, t)
	}
	slices.SortFunc(times, time.Time.Compare)
	return times, err
}
