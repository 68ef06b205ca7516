package pendulumcases

import (
	"testing"

	"gravity.example/gravlab/internal/check"
)

func TestCases(t *testing.T) { check.Test(t, Cases()) }

func TestEveryCallIsUsed(t *testing.T) {
	if left := calls.Unused("pendulum"); len(left) > 0 {
		t.Errorf("no row of model_checks.csv has the call %q", left)
	}
}
