package ask

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"unicode/utf8"

	"gravity.example/gravlab/wire"
)

// readOwn says that this program has read a recording of the student's own.
var readOwn atomic.Bool

// maxFile is the most bytes of a recording file.
const maxFile = 5_000_000

// OwnRecording reads a recording of your own apparatus: a CSV file (RFC 4180)
// beside the notebook, whose header gives every column's name and unit:
//
//	time (s),angle (mrad)
//	0.00,12.31
//	0.05,12.02
//
// The columns come back in SI units (here rad), under the names in the header.
// A pure number has the unit 1. If the file cannot be used it stops the program
// with a message that names the line. A column called time has to rise. What is
// odd and may be right is printed and kept: uneven time steps, which a fit can use
// and a spectrum cannot; a number that loggers write where a value is missing
// (-9999 and its like) far outside the rest of its column; accelerations in "g",
// which is the gram.
func (c StudentSheet) OwnRecording(file string) *Record {
	if file != filepath.Base(file) || file == "" || file == "." || file == ".." || strings.ContainsAny(file, `/\:`) {
		panic(fmt.Errorf("%q is not the name of a file beside the notebook; put the file there and give its name alone", file))
	}
	text, err := readFile(c, file)
	if err != nil {
		panic(err)
	}
	rec, remarks, err := parse(file, text)
	if err != nil {
		panic(fmt.Errorf("%s: %w", file, err))
	}
	for _, r := range remarks {
		fmt.Printf("%s: %s\n", file, r)
	}
	readOwn.Store(true)
	return rec
}

// ReadTable reads the text of such a file; name is for messages. Programs that serve cells
// call it.
func ReadTable(name, text string) (*Record, error) {
	rec, _, err := parse(name, text)
	return rec, err
}

// tooLong is the refusal of a file above maxFile.
func tooLong(file string, size int64) error {
	return fmt.Errorf("%s has %d bytes; at most %d (5 MB) can be read: cut the recording, or take fewer samples per second", file, size, maxFile)
}

// parse reads a recording. remarks say what is odd and yet usable.
func parse(name, text string) (rec *Record, remarks []string, err error) {
	if i := strings.IndexFunc(text, func(r rune) bool { return r == utf8.RuneError || r == 0 }); i >= 0 {
		return nil, nil, fmt.Errorf("line %d: the file is not UTF-8 text; save it again as CSV with the encoding UTF-8, so that µ and ² can be read", 1+strings.Count(text[:i], "\n"))
	}
	in := csv.NewReader(strings.NewReader(text))
	in.TrimLeadingSpace = true
	header, err := in.Read()
	if err == io.EOF {
		return nil, nil, errors.New("the file is empty; its first line names the columns, like \"time (s),angle (mrad)\"")
	}
	if err != nil {
		return nil, nil, plainCSV(err)
	}
	if len(header) == 1 && strings.ContainsAny(header[0], ";\t") {
		return nil, nil, errors.New("line 1: its columns are separated by semicolons or tabs; put commas between the columns and write numbers with a point, like \"0.05,12.31\"")
	}
	rec = &Record{name: name}
	factors := make([]float64, len(header))
	for i, h := range header {
		h = strings.TrimSpace(strings.TrimPrefix(h, "\ufeff"))
		column, unit, ok := nameAndUnit(h)
		if !ok {
			return nil, nil, fmt.Errorf("line 1: column %d is %q; write its name and its unit in brackets, like \"angle (mrad)\", or \"(1)\" for a pure number", i+1, h)
		}
		if slices.Contains(rec.Names(), column) {
			return nil, nil, fmt.Errorf("line 1: there are two columns %q", column)
		}
		factor, si, err := toSI(unit)
		if err != nil {
			return nil, nil, fmt.Errorf("line 1: column %q: %w", column, err)
		}
		if inGrams(column, unit) {
			remarks = append(remarks, fmt.Sprintf("line 1: column %q is read in grams, which become kg; if it holds accelerations in units of 9.80665 m/s², write \"%s (%sn)\"", column, column, unit))
		}
		factors[i] = factor
		rec.columns = append(rec.columns, wire.Column{Name: column, Unit: si})
	}
	rec.values = make([][]float64, len(header))
	var lines []int // of each sample, for messages
	for {
		row, err := in.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, nil, plainCSV(err)
		}
		line, _ := in.FieldPos(0)
		for i, text := range row {
			v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
			if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
				return nil, nil, fmt.Errorf("line %d: %q in column %q is not a number; write it with a point, like 12.31", line, text, rec.columns[i].Name)
			}
			rec.values[i] = append(rec.values[i], v*factors[i])
		}
		lines = append(lines, line)
	}
	if len(lines) == 0 {
		return nil, nil, errors.New("there is no line after the header")
	}
	for i := range rec.columns {
		if r := missing(rec.columns[i].Name, rec.values[i], factors[i], lines); r != "" {
			remarks = append(remarks, r)
		}
	}
	i := slices.Index(rec.Names(), "time")
	if i < 0 {
		return rec, remarks, nil
	}
	if rec.columns[i].Unit != "s" {
		return nil, nil, fmt.Errorf("line 1: the column time is in %q; use a unit of time, as in \"time (s)\"", rec.columns[i].Unit)
	}
	uneven, err := steps(rec.values[i], lines)
	if err != nil {
		return nil, nil, err
	}
	if uneven != "" {
		remarks = append(remarks, uneven)
	}
	return rec, remarks, nil
}

// inGrams says that a column in grams may be an accelerometer's: its name speaks of
// no mass.
func inGrams(column, unit string) bool {
	column = strings.ToLower(column)
	return slices.Contains([]string{"g", "mg", "µg", "μg", "ug"}, unit) &&
		!strings.Contains(column, "mass") && !strings.Contains(column, "load") && !strings.Contains(column, "weight")
}

// missing finds the first of the numbers that loggers and maps write where a value
// is missing (common practice, no source), where it lies far outside the others of
// its column. Values are in SI, factor times what the file says.
func missing(column string, values []float64, factor float64, lines []int) (remark string) {
	size := make([]float64, len(values))
	for i, v := range values {
		size[i] = math.Abs(v / factor)
	}
	slices.Sort(size)
	usual := size[len(size)/2]
	for i, v := range values {
		for _, code := range []float64{-9999, -99999, 9999, 99999, -32768, -32767, 32767} {
			if math.Abs(v-code*factor) <= 1e-9*math.Abs(v) && usual < math.Abs(code)/4 {
				return fmt.Sprintf("line %d: %g in column %q looks like the mark of a missing value; leave such lines out", lines[i], code, column)
			}
		}
	}
	return ""
}

// plainCSV says what encoding/csv found in the words of this package.
func plainCSV(err error) error {
	var p *csv.ParseError
	if !errors.As(err, &p) {
		return err
	}
	if errors.Is(p.Err, csv.ErrFieldCount) {
		return fmt.Errorf("line %d: it has more or fewer columns than the header", p.Line)
	}
	return fmt.Errorf("line %d: %w", p.Line, p.Err)
}

// steps looks at the steps of a column of times, in s.
func steps(t []float64, lines []int) (remark string, err error) {
	if len(t) < 3 {
		return "", nil
	}
	d := make([]float64, len(t)-1)
	for i := range d {
		d[i] = t[i+1] - t[i]
		if !(d[i] > 0) {
			return "", fmt.Errorf("line %d: the time goes from %v s to %v s; it has to rise from line to line", lines[i+1], t[i], t[i+1])
		}
	}
	sorted := slices.Clone(d)
	slices.Sort(sorted)
	usual := sorted[len(sorted)/2]
	for i, step := range d {
		// A missing sample doubles a step, one too many halves it; times written to
		// a few digits make steps uneven by less.
		if math.Abs(step-usual) > 0.45*usual {
			return fmt.Sprintf("line %d: the time step is %.4g s where most are %.4g s: samples are missing or too many there", lines[i+1], step, usual), nil
		}
	}
	return "", nil
}

// nameAndUnit takes "angle (mrad)" apart.
func nameAndUnit(h string) (name, unit string, ok bool) {
	// The last bracket closes one that others may stand within: "drift (nm/(s² d))".
	open, depth := len(h), 0
	for i := len(h) - 1; i >= 0; i-- {
		switch h[i] {
		case ')':
			depth++
		case '(':
			depth--
		}
		if depth == 0 {
			open = i
			break
		}
	}
	if open < 1 || open == len(h) || !strings.HasSuffix(h, ")") {
		return "", "", false
	}
	name = strings.TrimSpace(h[:open])
	unit = strings.TrimSpace(h[open+1 : len(h)-1])
	return name, unit, name != "" && unit != ""
}
