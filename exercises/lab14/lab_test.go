package lab14

import (
	"testing"

	"gravity.example/gravlab/bank/banktest"
)

func TestLab(t *testing.T) { banktest.Check(t, Lab) }

// An analysis that has not seen the trap of the recording is never right.
func TestTraps(t *testing.T) {
	banktest.Bites(t, Lab, "speed", "driver-speed")
	banktest.Bites(t, Lab, "apart", "driver-speed")
}
