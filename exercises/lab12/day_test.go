package lab12

import (
	"math"
	"testing"

	"gravity.example/gravlab/bank"
)

// TestFieldworkTare leaves the tare out of the model, which no slip need show:
// both the drift and chi² must notice, and the usual search must find its place.
func TestFieldworkTare(t *testing.T) {
	for n := range 20 {
		code := bank.NumberedCode(Lab.ID, n)
		day := newFieldworkDay(Lab.Draw(code))
		right, smooth := day.right(), day.adjust(fieldworkFaults{hour: true, blunder: true}, nil)
		if math.Abs(smooth.Rate-right.Rate) < 6*right.URate || smooth.Chi2 < 3*right.Chi2 {
			t.Errorf("sheet %s: without the tare the drift is %g, with it %g; chi² %.0f and %.0f", code, smooth.Rate, right.Rate, smooth.Chi2, right.Chi2)
		}
		truth := day.plan()
		if math.Abs(right.Rate-truth.Rate) > 4*right.URate || math.Abs(right.Steps[0]-truth.TareSize) > 4*right.USteps[0] {
			t.Errorf("sheet %s: drift %g, true %g; tare %g, true %g", code, right.Rate, truth.Rate, right.Steps[0], truth.TareSize)
		}
	}
}
