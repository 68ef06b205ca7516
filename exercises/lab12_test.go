package exercises

import (
	"gravity.example/gravlab/bank/banktest"
	"math"
	"testing"
)

// TestTrapsShow holds the recordings of labs 12 and 13 to their promise: on
// every sheet an analysis that has not seen the trap ends well outside what is
// taken as right.
func TestTrapsShow(t *testing.T) {
	for _, trap := range []struct{ lab, question, slip string }{
		{"12", "rate", "the hour of the phone left in"},
		{"12", "station", "the wrong counter value left in"},
		{"13", "storage", "the days of the pump left in"},
		{"13", "rate", "the spoiled months left in"},
	} {
		lab, err := Find(trap.lab)
		if err != nil {
			t.Fatal(err)
		}
		for n := range banktest.Sheets() / 20 {
			code := NumberedCode(lab.ID, n)
			p := lab.Sheet(code)
			q, _ := p.Question(trap.question)
			task, found := p.NumberTask(q, nil, 0), false
			for _, s := range task.Slips {
				if s.Name == trap.slip {
					found = math.Abs(s.Value-task.Want) > 2*task.Allowed(task.Want)
				}
			}
			if !found {
				t.Errorf("%s on sheet %s: %q does not show", lab.FullID(q.ID), code, trap.slip)
			}
		}
	}
}

// TestFieldworkTare leaves the tare out of the model, which no slip need show:
// both the drift and chi² must notice, and the usual search must find its place.
func TestFieldworkTare(t *testing.T) {
	for n := range 20 {
		code := NumberedCode(aDayInTheField.ID, n)
		day := newFieldworkDay(aDayInTheField.Draw(code))
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
