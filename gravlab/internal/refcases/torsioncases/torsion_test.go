package torsioncases

import (
	"testing"

	"gravity.example/gravlab/internal/check"
	"gravity.example/testdata"
)

func TestKnown(t *testing.T) { check.Test(t, Cases()) }

// TestEveryRow: no row of the table may be left out.
func TestEveryRow(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range Cases() {
		seen[c.ID] = true
	}
	for _, m := range testdata.ModelChecks("torsion") {
		if !seen[m.ID] {
			t.Errorf("%s is not checked", m.ID)
		}
	}
}

func TestEveryCallIsUsed(t *testing.T) {
	if left := calls.Unused("torsion"); len(left) > 0 {
		t.Errorf("no row of model_checks.csv has the call %q", left)
	}
}
