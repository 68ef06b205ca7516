package judge

import (
	"math"
	"strings"
	"testing"
)

// TestUncertainties: an uncertainty that a taught mistake gives is named though a
// result with it would be credible; one that is off by less than a factor of 3
// gets full marks, and beyond 1.5 a remark.
func TestUncertainties(t *testing.T) {
	task := NumberTask{
		Marks: 4, Unit: "m", Want: 10, U: 0.1, Carried: math.NaN(), Hint: "one",
		USlips: []WrongValue{{Name: "months taken as independent", Value: 0.05, Carried: math.NaN(), Fix: "They resemble each other."}},
	}
	for _, c := range []struct {
		u       float64
		outcome Outcome
		marks   int
		says    string
	}{
		{0.1, OutcomeRight, 4, ""},
		{0.148, OutcomeRight, 4, ""},
		{0.068, OutcomeRight, 4, ""},
		{0.2, OutcomeRight, 4, "Your uncertainty is 2.0 times what this record allows."},
		{0.0635, OutcomeRight, 4, "gives one 1.6 times as large"},
		{0.05, OutcomeSlip, 2, "months taken as independent"},
		{0.06, OutcomeSlip, 2, "months taken as independent"},
		{0.041, OutcomeSlip, 2, "months taken as independent"},
		{0.039, OutcomeRight, 4, "gives one 2.6 times as large"},
		{0.031, OutcomeOff, 2, "far smaller"},
		{0.31, OutcomeOff, 2, "far larger"},
	} {
		u := c.u
		v := Number(task, Answer{Value: 10, U: u, Unit: "m"})
		if v.Outcome != c.outcome || v.Marks != c.marks || !strings.Contains(v.Message, c.says) || (c.says == "") != (v.Message == "") {
			t.Errorf("± %v: %s, %d marks, %q; want %s, %d, %q", u, v.Outcome, v.Marks, v.Message, c.outcome, c.marks, c.says)
		}
	}
}
