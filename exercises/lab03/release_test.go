package lab03

import (
	"math"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
)

// TestCreepShows: on every sheet of lab 03 the difference of the plain means is
// no answer to the step, and so is no damped frequency for the natural one. The
// numbers behind the recording come out right.
func TestCreepShows(t *testing.T) {
	const most = judge.CredibleFactor * judge.CoverageFactor
	for n := range 100 {
		code := bank.NumberedCode(Lab.ID, n)
		d := Lab.Draw(code)
		r := drawRelease(d)
		if step, u := r.rest(); math.Abs(r.meanDifference()-step) <= most*u {
			t.Errorf("sheet %s: step %g(%g) m, difference of the means %g m", code, step, u, r.meanDifference())
		}
		f0, u := r.natural()
		if damped := 1 / r.swing().P[fit.Period]; math.Abs(damped-f0) <= 2*judge.CoverageFactor*u {
			t.Errorf("sheet %s: natural %g(%g) Hz, damped %g Hz", code, f0, u, damped)
		}
		// Five standard uncertainties: one of 100 sheets in two million passes them by chance.
		if true0 := d.Between("release frequency", 1.3, 2.2, 0.01); math.Abs(f0-true0) > 5*u {
			t.Errorf("sheet %s: natural frequency %g(%g) Hz, made with %g Hz", code, f0, u, true0)
		}
		p := Lab.Sheet(code)
		q, _ := p.Question("mass")
		mass, made := p.RightAnswers()["mass"], d.Between("proof mass", 60, 140, 1)/1000
		if math.Abs(mass/made-1) > q.Tol.Rel {
			t.Errorf("sheet %s: mass %g kg, made with %g kg", code, mass, made)
		}
	}
}
