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
// mistakes of the uncertainty gives. The mistake is named on every sheet where it changes the
// uncertainty by judge.TellingFactor or more, and on 95 % of sheets at the least. On the others
// two sound analyses differ by as much.
func NamesU(t *testing.T, lab bank.Lab, questions ...string) {
	t.Helper()
	told, of := map[string]int{}, map[string]int{}
	for n := range Sheets() {
		s := lab.Sheet(bank.NumberedCode(lab.ID, n))
		for _, id := range questions {
			q, ok := s.Question(id)
			if !ok || len(q.USlips) == 0 {
				t.Fatalf("%s has no mistakes of an uncertainty", lab.FullID(id))
			}
			unit := quantity.MustUnit(q.Unit).SI()
			for _, slip := range q.USlips {
				wrong := slip.Value(s.RightAnswers())
				a := judge.Answer{Value: q.Solve(s.RightAnswers()) / unit, U: wrong / unit, Unit: q.Unit}
				v := s.Judge(q, a, nil, 0)
				named := v.Outcome == judge.OutcomeSlip && v.Slip == slip.Name
				of[id+": "+slip.Name]++
				if named {
					told[id+": "+slip.Name]++
				}
				if apart := max(wrong/q.U(), q.U()/wrong); !named && apart >= judge.TellingFactor {
					t.Errorf("%s on sheet %s with the uncertainty of %q, which changes it by a factor of %.2f: %s, %s", lab.FullID(id), s.Code, slip.Name, apart, v.Outcome, v.Message)
				}
			}
		}
	}
	for mistake, n := range of {
		if 100*told[mistake] < 95*n {
			t.Errorf("lab %s, %s: named on %d of %d sheets", lab.Number(), mistake, told[mistake], n)
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
