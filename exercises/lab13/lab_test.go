package lab13

import (
	"testing"

	"gravity.example/gravlab/bank/banktest"
)

func TestLab(t *testing.T) { banktest.Check(t, Lab) }

// An analysis that has not seen the trap of the recording is never right.
func TestTraps(t *testing.T) {
	banktest.Shows(t, Lab, "storage", "pump-days-kept")
	banktest.Shows(t, Lab, "rate", "spoiled-kept")
}
