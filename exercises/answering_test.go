package exercises

import (
	"math"
	"strings"
	"testing"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

// digits is what every graded lab says about rounding, in its head.
const digits = "**Answers.** Carry all digits while you calculate and round at the end only. " +
	"Give in at least four digits; where an uncertainty is asked for, two digits of it, and the value down to the same place."

// TestRoundingAsTold: an answer that is rounded as the head of its lab tells is
// right. A question that wants more digits says so.
func TestRoundingAsTold(t *testing.T) {
	for _, lab := range Labs() {
		if head := readLab(t, lab).Cells[0].Source; lab.Graded && strings.Count(head, digits) != 1 {
			t.Errorf("the head of %s does not say how answers are rounded", lab.ID)
		}
		t.Run(lab.Number(), func(t *testing.T) {
			t.Parallel()
			for n := range 20 {
				p := lab.Paper(NumberedCode(lab.ID, n))
				right := p.RightAnswers()
				for _, q := range p.Questions {
					if q.Solve == nil || strings.Contains(q.Prompt, "or better") {
						continue
					}
					unit, err := quantity.ParseUnit(q.Unit)
					if err != nil {
						t.Fatal(err)
					}
					value := right[q.ID] / unit.SI()
					a := judge.Answer{Value: roundTo(value, 4), Unit: q.Unit}
					if q.Kind == judge.Measured {
						a.U = roundTo(q.U()/unit.SI(), 2)
						place := math.Pow(10, math.Floor(math.Log10(a.U))-1)
						a.Value = math.Round(value/place) * place
					}
					if v := p.Judge(q, a, nil, 0); v.Outcome != judge.Right {
						t.Errorf("%s on sheet %s: %g ± %g, rounded from %g, is %s: %s", lab.FullID(q.ID), p.Code, a.Value, a.U, value, v.Outcome, v.Message)
					}
				}
			}
		})
	}
}

// TestCarriedFromAnything: whatever somebody answered before, the judge has a
// word about what builds on it.
func TestCarriedFromAnything(t *testing.T) {
	for _, lab := range Labs() {
		p := lab.Paper("")
		for _, q := range p.Questions {
			for _, earlier := range []float64{0, -1, 1e-300, -1e300, math.MaxFloat64, math.Inf(1), math.NaN()} {
				own := Known{}
				for _, id := range q.Uses {
					own[id] = earlier
				}
				if len(own) > 0 {
					p.Judge(q, judge.Answer{Value: 1, U: 0.1, Unit: q.Unit}, own, 0)
				}
			}
		}
	}
}

// TestShareSaysPerCent: what is wanted in per cent says so where it is asked.
func TestShareSaysPerCent(t *testing.T) {
	for _, lab := range Labs() {
		for _, q := range lab.Paper("").Questions {
			if q.Unit == "%" && !strings.Contains(q.Prompt, "in per cent") {
				t.Errorf("%s wants %% and does not say so: %s", lab.FullID(q.ID), q.Prompt)
			}
		}
	}
}
