package lab02

import (
	"math"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
)

// TestClippingShows: on every sheet of lab 02 a fit with the clipped readings
// gives a decay time that no uncertainty the judge accepts could cover, and a fit
// of the readings after the last clipped one gives a right answer.
func TestClippingShows(t *testing.T) {
	for n := range 100 {
		code := bank.NumberedCode(Lab.ID, n)
		p := Lab.Sheet(code)
		q, _ := p.Question("tau")
		right, u := q.Solve(nil), q.U()
		clipped := q.Slips[0].Value(nil)
		if math.Abs(clipped-right) <= judge.CredibleFactor*judge.CoverageFactor*u {
			t.Errorf("sheet %s: clipped %g s, right %g(%g) s", code, clipped, right, u)
		}
		rec, _ := p.Recording("decay")
		columns, err := rec.Make()
		if err != nil {
			t.Fatal(err)
		}
		last := 0
		for i, x := range columns[1] {
			if math.Abs(x) >= readerRange {
				last = i
			}
		}
		if last < 30 {
			t.Errorf("sheet %s: only %d readings before the last clipped one", code, last)
		}
		late, err := fit.DampedOscillationDrift(columns[0][last+1:], columns[1][last+1:], nil)
		if err != nil {
			t.Fatal(err)
		}
		v := p.Judge(q, judge.Answer{Value: late.P[fit.DecayTime], U: late.U[fit.DecayTime], Unit: "s"}, nil, 0)
		if v.Outcome != judge.OutcomeRight || v.Marks != q.Marks {
			t.Errorf("sheet %s: %g(%g) s from the late readings is %s with %d marks, right is %g(%g) s: %s",
				code, late.P[fit.DecayTime], late.U[fit.DecayTime], v.Outcome, v.Marks, right, u, v.Message)
		}
	}
}

// TestRunsStatistic on a short list counted by hand: + + - + - - has 4 runs,
// 3 of each sign, so mu = 4 and sigma² = 3·2/5.
func TestRunsStatistic(t *testing.T) {
	if z := runsStatistic([]float64{1, 2, -1, 3, -2, -1}); z != 0 {
		t.Errorf("z = %g, want 0", z)
	}
	// + + + - - -: 2 runs.
	if z, want := runsStatistic([]float64{1, 2, 1, -3, -2, -1}), -2/math.Sqrt(1.2); math.Abs(z-want) > 1e-12 {
		t.Errorf("z = %g, want %g", z, want)
	}
}
