package banktest

import (
	"math"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

// Shows holds a recording to its promise: on every sheet an analysis that has not seen its
// trap leads to a slip's value, well outside what is taken as right.
func Shows(t *testing.T, lab bank.Lab, question, slip string) {
	t.Helper()
	for n := range max(1, Sheets()/20) {
		s, q, i := find(t, lab, n, question, slip)
		task := s.NumberTask(q, nil, 0)
		if v := task.Slips[i].Value; !(math.Abs(v-task.Want) > 2*task.Allowed(task.Want)) {
			t.Errorf("%s on sheet %s: the slip %q gives %g, the right answer is %g", lab.FullID(question), s.Code, slip, v, task.Want)
		}
	}
}

// Bites submits what follows when the trap of a recording is not seen, with the largest
// uncertainty that the judge takes for credible: on no sheet may that be right.
func Bites(t *testing.T, lab bank.Lab, question, slip string) {
	t.Helper()
	for n := range min(200, Sheets()) {
		s, q, i := find(t, lab, n, question, slip)
		unit := quantity.MustUnit(q.Unit)
		a := judge.Answer{
			Value: q.Slips[i].Value(s.RightAnswers()) / unit.SI(), U: judge.CredibleFactor * q.U() / unit.SI(), Unit: q.Unit,
		}
		if v := s.Judge(q, a, nil, 0); v.Outcome != judge.OutcomeSlip || v.Slip != q.Slips[i].Name {
			t.Fatalf("sheet %s: %g ± %g %s is %s (%s), not the slip %q", s.Code, a.Value, a.U, a.Unit, v.Outcome, v.Message, slip)
		}
	}
}

// NamesU submits the right value with the uncertainty that each of the question's
// mistakes of the uncertainty gives: on every sheet the mistake is named.
func NamesU(t *testing.T, lab bank.Lab, questions ...string) {
	t.Helper()
	for n := range Sheets() {
		s := lab.Sheet(bank.NumberedCode(lab.ID, n))
		for _, id := range questions {
			q, ok := s.Question(id)
			if !ok || len(q.USlips) == 0 {
				t.Fatalf("%s has no mistakes of an uncertainty", lab.FullID(id))
			}
			unit := quantity.MustUnit(q.Unit).SI()
			for _, slip := range q.USlips {
				a := judge.Answer{Value: q.Solve(s.RightAnswers()) / unit, U: slip.Value(s.RightAnswers()) / unit, Unit: q.Unit}
				if v := s.Judge(q, a, nil, 0); v.Outcome != judge.OutcomeSlip || v.Slip != slip.Name {
					t.Errorf("%s on sheet %s with the uncertainty of %q: %s, %s", lab.FullID(id), s.Code, slip.Name, v.Outcome, v.Message)
				}
			}
		}
	}
}

func find(t *testing.T, lab bank.Lab, n int, question, slip string) (bank.Sheet, bank.Question, int) {
	t.Helper()
	s := lab.Sheet(bank.NumberedCode(lab.ID, n))
	q, ok := s.Question(question)
	if !ok {
		t.Fatalf("lab %s has no question %q", lab.ID, question)
	}
	for i, x := range q.Slips {
		if x.ID == slip {
			return s, q, i
		}
	}
	t.Fatalf("%s has no slip %q", lab.FullID(question), slip)
	return s, q, 0
}
