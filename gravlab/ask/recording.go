package ask

import (
	"fmt"
	"strconv"
	"strings"

	"gravity.example/gravlab/wire"
)

// A Record is a table of numbers in SI units: a recording of the sheet's
// apparatus or of your own.
type Record struct {
	name    string
	columns []wire.Column
	values  [][]float64
}

// Recording returns a recording of the sheet's own apparatus. If there is none
// of that name it stops the program with a message that lists those there are. Those of a
// sealed sheet come from the CSV files beside the notebook, as they were handed out.
func (c StudentSheet) Recording(name string) *Record {
	rec := &Record{name: name}
	var all []float64
	for {
		f := c.frame(wire.Recording)
		f.Name, f.At = name, len(all)
		reply, err := wire.Exchange(f)
		if err != nil {
			panic(fmt.Errorf("the recording %q cannot be had: %w", name, err))
		}
		if reply.Kind != wire.Columns {
			panic(fmt.Errorf("the recording %q cannot be had: %s", name, reply.Text))
		}
		rec.columns = reply.Columns
		all = append(all, reply.Numbers...)
		if len(all) >= reply.Total || len(reply.Numbers) == 0 {
			break
		}
	}
	if n := len(rec.columns); n > 0 {
		samples := len(all) / n
		for i := range rec.columns {
			rec.values = append(rec.values, all[i*samples:(i+1)*samples:(i+1)*samples])
		}
	}
	return rec
}

// Column returns the numbers of a column in SI units. If there is no such
// column it stops the program with a message that lists those there are.
func (r *Record) Column(name string) []float64 {
	for i, c := range r.columns {
		if c.Name == name {
			return r.values[i]
		}
	}
	panic(fmt.Errorf("the recording %q has no column %q; its columns are %s", r.name, name, strings.Join(r.Names(), ", ")))
}

// Names returns the names of the columns in order.
func (r *Record) Names() []string {
	names := make([]string, len(r.columns))
	for i, c := range r.columns {
		names[i] = c.Name
	}
	return names
}

// Unit returns the SI unit of a column, or "" if there is no such column.
func (r *Record) Unit(name string) string {
	for _, c := range r.columns {
		if c.Name == name {
			return c.Unit
		}
	}
	return ""
}

// Len is the number of samples in each column.
func (r *Record) Len() int {
	if len(r.values) == 0 {
		return 0
	}
	return len(r.values[0])
}

// String describes the recording in one line: "swing: 2400 samples of time (s), angle (rad)".
func (r *Record) String() string {
	var b strings.Builder
	b.WriteString(r.name + ": " + strconv.Itoa(r.Len()) + " samples of ")
	for i, c := range r.columns {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(c.Name + " (" + c.Unit + ")")
	}
	return b.String()
}
