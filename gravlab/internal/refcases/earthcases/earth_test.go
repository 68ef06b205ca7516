package earthcases

import (
	"testing"

	"gravity.example/gravlab/internal/check"
)

func TestEarth(t *testing.T) { check.Test(t, Cases()) }

func TestEveryCallIsUsed(t *testing.T) {
	if left := calls.Unused("earth"); len(left) > 0 {
		t.Errorf("no row of model_checks.csv has the call %q", left)
	}
}
