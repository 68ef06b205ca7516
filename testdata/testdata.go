// Package testdata holds published tables and recordings, and numbers computed
// with general-purpose libraries, each with its source (SOURCES.md). Tests, the
// bank of questions and gravlab verify read them here, so that no published
// number is typed twice.
package testdata

import (
	"embed"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// FS holds the files of this folder.
//
//go:embed *.csv
var FS embed.FS

// The tables whose rows have an id, for Find.
const (
	Examples = "worked_examples.csv" // answers that books and papers print
	Checks   = "model_checks.csv"    // computed with general-purpose libraries
	Values   = "values.csv"          // constants, apparatus, measurements and limits
)

// A Row is one line of a table, by the names in its head.
type Row map[string]string

// Float returns the number in a column. It panics when the cell holds none:
// the tables are part of the program, and its tests read every one.
func (r Row) Float(column string) float64 {
	v, err := strconv.ParseFloat(strings.TrimSpace(r[column]), 64)
	if err != nil {
		panic(fmt.Sprintf("testdata: column %q of row %v holds no number", column, r))
	}
	return v
}

// tables holds what was read already, by name: the bank asks for the same rows
// again for every sheet and every verdict.
var tables sync.Map

// Table returns the rows of a table, such as "big_g.csv". Like Float it panics
// when the file is missing or broken. The rows are shared: leave them as they
// are.
func Table(name string) []Row {
	if rows, ok := tables.Load(name); ok {
		return slices.Clone(rows.([]Row))
	}
	rows := read(name)
	tables.Store(name, rows)
	return slices.Clone(rows)
}

func read(name string) []Row {
	f, err := FS.Open(name)
	if err != nil {
		panic("testdata: " + err.Error())
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil || len(records) < 2 {
		panic(fmt.Sprintf("testdata: %s: %v (%d lines)", name, err, len(records)))
	}
	rows := make([]Row, 0, len(records)-1)
	for _, record := range records[1:] {
		row := Row{}
		for i, column := range records[0] {
			row[column] = record[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// Find returns the row of a table whose column "id" is id, and panics if there
// is none: Find(Values, "codata2018_G"), Find(Examples, "torsion-02").
func Find(table, id string) Row {
	for _, row := range Table(table) {
		if row["id"] == id {
			return row
		}
	}
	panic(fmt.Sprintf("testdata: %s has no row %q", table, id))
}

// A ModelCheck is one independently computed value of model_checks.csv.
type ModelCheck struct {
	ID, Package, Quantity, Unit, Route, Source string
	Call                                       string // what computes the value, as in "Sphere.GZ"; see gravlab/internal/refcases/rows
	Value                                      float64
	ErrorEstimate                              string            // "rel ...", "abs ..." or "exact"
	Inputs                                     map[string]string // SI unless the name says otherwise
}

// Float returns an input as a number; it panics when the input holds none.
func (m ModelCheck) Float(name string) float64 {
	v, err := strconv.ParseFloat(strings.TrimSpace(m.Inputs[name]), 64)
	if err != nil {
		panic(fmt.Sprintf("testdata: %s: input %q is %q, not a number", m.ID, name, m.Inputs[name]))
	}
	return v
}

// Vector returns an input written "(1 2 3)" as its three numbers.
func (m ModelCheck) Vector(name string) [3]float64 {
	fields := strings.Fields(strings.Trim(m.Inputs[name], "()"))
	if len(fields) != 3 {
		panic(fmt.Sprintf("testdata: %s: input %q is %q, not a vector", m.ID, name, m.Inputs[name]))
	}
	var v [3]float64
	for i, f := range fields {
		var err error
		if v[i], err = strconv.ParseFloat(f, 64); err != nil {
			panic(fmt.Sprintf("testdata: %s: input %q is %q, not a vector", m.ID, name, m.Inputs[name]))
		}
	}
	return v
}

// ModelChecks returns the rows of model_checks.csv for one package.
func ModelChecks(pkg string) []ModelCheck {
	var checks []ModelCheck
	for _, row := range Table(Checks) {
		if row["package"] != pkg {
			continue
		}
		inputs := map[string]string{}
		for _, part := range strings.Split(row["inputs"], ";") {
			name, value, _ := strings.Cut(part, "=")
			inputs[strings.TrimSpace(name)] = strings.TrimSpace(value)
		}
		checks = append(checks, ModelCheck{
			ID: row["id"], Package: pkg, Call: row["call"], Quantity: row["quantity"], Unit: row["unit"], Route: row["route"],
			Source: row["source"], Value: row.Float("value"), ErrorEstimate: row["error_estimate"], Inputs: inputs,
		})
	}
	return checks
}
