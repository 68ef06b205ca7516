package lab11

import (
	"testing"

	"gravity.example/gravlab/bank/banktest"
)

func TestLab(t *testing.T) { banktest.Check(t, Lab) }

// An analysis that has not seen the trap of the recording is never right.
func TestTraps(t *testing.T) {
	banktest.Bites(t, Lab, "place", "height-ignored")
}

// Stones taken as noise, and a density taken as exact, are named on every sheet.
func TestNaiveUncertainties(t *testing.T) { banktest.NamesU(t, Lab, "place", "depth", "radius") }
