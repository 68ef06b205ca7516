package exercises

import (
	"testing"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

// answerInSI gives in an SI value in the question's own unit.
func answerInSI(q Question, v float64) judge.Answer {
	unit := quantity.MustUnit(q.Unit)
	a := judge.Answer{Value: v / unit.SI(), Unit: q.Unit}
	if q.Kind == judge.Measured {
		a.U = q.U() / unit.SI()
	}
	return a
}

// TestEverySlipIsNamed gives in the value of each slip of each numeric question,
// over many sheets, and expects the judge to name it; and the right value, and
// expects full marks.
func TestEverySlipIsNamed(t *testing.T) {
	for _, lab := range Labs() {
		t.Run(lab.Number(), func(t *testing.T) {
			t.Parallel()
			tried := 0
			for n := range min(200, seeds(t)) {
				p := lab.Paper(NumberedCode(lab.ID, n))
				right := p.RightAnswers()
				for _, q := range p.Questions {
					if q.Solve == nil {
						continue
					}
					id := lab.FullID(q.ID)
					if v := p.Judge(q, answerInSI(q, right[q.ID]), nil, 0); v.Outcome != judge.Right || v.Marks != q.Marks {
						t.Errorf("%s on sheet %s: the right answer gets %s, %d of %d: %s", id, p.Code, v.Outcome, v.Marks, v.Of, v.Message)
					}
					for _, s := range q.Slips {
						value := s.Value(right)
						if value != value {
							continue // this slip leads nowhere with these numbers
						}
						tried++
						if v := p.Judge(q, answerInSI(q, value), nil, 0); v.Outcome != judge.Slip || v.Slip != s.Name {
							t.Errorf("%s on sheet %s: the slip %q (%g) gets %s %q: %s", id, p.Code, s.Name, value, v.Outcome, v.Slip, v.Message)
						}
					}
				}
				if t.Failed() {
					return
				}
			}
			if tried == 0 {
				t.Error("no slip was tried")
			}
		})
	}
}
