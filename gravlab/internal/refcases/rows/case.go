package rows

import (
	"fmt"
	"strconv"
	"strings"

	"gravity.example/gravlab/internal/check"
	"gravity.example/testdata"
)

// Case is the case of a row, answered by its call.
func (c Calls) Case(m testdata.ModelCheck, tol check.Tolerance) check.Case {
	return check.Case{
		ID: m.ID, Quantity: m.Quantity, Unit: m.Unit, Want: m.Value, Tol: tol,
		Source: "independent route: " + m.Route + " (" + m.Source + ")", Known: check.Computed,
		Got: func() (float64, error) { return c.Answer(m) },
	}
}

// Estimate is the tolerance for a reference with an error estimate such as
// "rel 1e-9 ...", "abs 1e-17" or "exact".
func Estimate(estimate string, method float64, why string) check.Tolerance {
	t := check.Tolerance{Rel: method, Why: why}
	fields := strings.Fields(strings.ReplaceAll(estimate, "below ", ""))
	if len(fields) < 2 || fields[0] == "exact" {
		return t
	}
	size, err := strconv.ParseFloat(strings.TrimRight(fields[1], ",;"), 64)
	if err != nil {
		panic(fmt.Sprintf("rows: error estimate %q holds no number", estimate))
	}
	switch {
	case fields[0] == "abs":
		t.Abs = size
	case size > method:
		t = check.Tolerance{Rel: size, Why: "the reference's own error estimate"}
	}
	return t
}

// Printed is the case of a published value: row id of a table of testdata, in
// the SI unit after multiplying the printed number by factor. text is the
// printed number, whose last digit sets the tolerance unless tol is given.
func Printed(id, quantity, unit, text string, factor float64, tol *check.Tolerance, source, known string, got func() (float64, error)) check.Case {
	value, err := strconv.ParseFloat(text, 64)
	if err != nil {
		panic(fmt.Sprintf("rows: %s: %q is not a number", id, text))
	}
	t := check.Digits(text)
	t.Abs *= factor
	if tol != nil {
		t = *tol
	}
	return check.Case{ID: id, Quantity: quantity, Unit: unit, Want: value * factor, Tol: t, Source: source, Known: KnownAs(known), Published: true, Got: got}
}

// KnownAs reads the column how_known of the tables.
func KnownAs(text string) check.Known {
	switch {
	case strings.HasPrefix(text, "from memory"):
		return check.Memory
	case strings.HasPrefix(text, "computed"):
		return check.Computed
	}
	return check.Read
}
