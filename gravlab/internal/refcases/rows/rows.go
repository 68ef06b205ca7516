// Package rows answers the rows of testdata/model_checks.csv. A row's column "call" names what
// computes its value, as a rule the function or method of the model; a package of known answers
// has a table of these names.
package rows

import (
	"fmt"
	"maps"
	"slices"

	"gravity.example/testdata"
)

// Calls are functions of the inputs of a row, by the name in its column "call".
type Calls map[string]func(m testdata.ModelCheck) (float64, error)

// Answer computes the value of a row.
func (c Calls) Answer(m testdata.ModelCheck) (float64, error) {
	f, ok := c[m.Call]
	if !ok {
		return 0, fmt.Errorf("model_checks.csv, row %s: package %s has no call %q; it has %q",
			m.ID, m.Package, m.Call, slices.Sorted(maps.Keys(c)))
	}
	return f(m)
}

// Unused returns the calls that no row of a package names.
func (c Calls) Unused(pkg string) []string {
	left := maps.Clone(c)
	for _, m := range testdata.ModelChecks(pkg) {
		delete(left, m.Call)
	}
	return slices.Sorted(maps.Keys(left))
}
