package lab16

import (
	"testing"

	"gravity.example/gravlab/bank/banktest"
)

func TestLab(t *testing.T) { banktest.Check(t, Lab) }

// An analysis that has not seen the trap of the recording is never right.
func TestTraps(t *testing.T) {
	banktest.Shows(t, Lab, "gradient", "drift-kept")
	banktest.Shows(t, Lab, "density", "handbook-gradient")
	banktest.Shows(t, Lab, "ranges", "basin-kept")
	banktest.Shows(t, Lab, "body", "plane-first")
}

// Readings of one set-up taken as independent, and a budget without its largest term, are named.
func TestNaiveUncertainties(t *testing.T) { banktest.NamesU(t, Lab, "gradient", "density", "ranges") }
