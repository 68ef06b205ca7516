package exercises

import (
	"slices"
	"strings"
	"testing"

	"gravity.example/gravlab/judge"
)

// What a question for a number or a function asks of a student stands in testdata/asks.csv:
//
//	formula         a formula of the text, or one that everybody knows, with the numbers of the
//	                prompt as they are printed: nothing is left to think about
//	interpretation  what the numbers mean has to be seen first (half a swing, one side, which ice)
//	derivation      the formula has to be found, or differentiated, or summed
//	design          a formula backwards: how good, how large, how far it has to be
//	program         a procedure has to be written
//	data            the numbers have to be taken from a recording or a row of readings
//
// Recordings with an uncertainty, choices and texts are none of these.
var asks = []string{"formula", "interpretation", "derivation", "design", "program", "data"}

// TestAsks: putting numbers into a formula earns at most a fifth of the marks of a lab.
// A question for a number that is not in the table counts as one of these.
func TestAsks(t *testing.T) {
	table := askedFor(t)
	for id, kind := range table {
		if !slices.Contains(asks, kind) {
			t.Errorf("asks.csv: %s asks for %q; use one of %s", id, kind, strings.Join(asks, ", "))
		}
	}
	for _, lab := range Labs() {
		if !lab.Graded {
			continue
		}
		plain, marks := 0, 0
		var which []string
		for _, q := range lab.Sheet("").Questions {
			marks += q.Marks
			id := lab.FullID(q.ID)
			kind, known := table[id]
			delete(table, id)
			asked := q.Kind == judge.KindNumber || q.Kind == judge.KindFunction
			if !known && asked {
				t.Logf("%s does not stand in asks.csv, and counts as a formula", id)
			}
			if kind == "formula" || !known && asked {
				plain += q.Marks
				which = append(which, q.ID)
			}
		}
		t.Logf("lab %s: %d of %d marks (%.0f %%) for numbers put into a formula: %s", lab.Number(), plain, marks, 100*float64(plain)/float64(marks), strings.Join(which, ", "))
		if 5*plain > marks {
			t.Errorf("lab %s: %d of its %d marks are earned by putting numbers into a formula; a fifth may be. Change a question into one that asks for a decision, an estimate, a design or a recording, and say so in testdata/asks.csv", lab.Number(), plain, marks)
		}
	}
	for id := range table {
		t.Errorf("asks.csv: the bank has no question %s", id)
	}
}
