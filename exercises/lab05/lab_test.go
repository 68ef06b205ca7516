package lab05

import (
	"testing"

	"gravity.example/gravlab/bank/banktest"
)

func TestLab(t *testing.T) { banktest.Check(t, Lab) }

// What the lab teaches of uncertainties is named where it is forgotten.
func TestNaiveUncertainties(t *testing.T) {
	banktest.NamesU(t, Lab, "clock", "self-noise", "resonance", "quality", "microseism")
}
