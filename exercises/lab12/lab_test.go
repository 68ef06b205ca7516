package lab12

import (
	"testing"

	"gravity.example/gravlab/bank/banktest"
)

func TestLab(t *testing.T) { banktest.Check(t, Lab) }

// An analysis that has not seen the trap of the recording is never right.
func TestTraps(t *testing.T) {
	banktest.Shows(t, Lab, "rate", "summer-time-kept")
	banktest.Shows(t, Lab, "station", "wrong-counter-kept")
}
