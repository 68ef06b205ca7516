package exercises

import (
	"fmt"
	"math"
	"strconv"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

// TestSoundAndNaive: an answer that is right, written with four digits (more where a question asks
// for more) or to the second digit of its uncertainty, earns full marks on 99 % of sheets. With
// the uncertainty of a mistake that the sheet tells, it is named on 95 %. (1,000 sheets with
// GRAVLAB_LONG=1.)
func TestSoundAndNaive(t *testing.T) {
	type count struct{ sheets, full, naive, named int }
	counts, order := map[string]*count{}, []string{}
	numbers(func(lab bank.Lab, s bank.Sheet, q bank.Question, right bank.Answers, task judge.NumberTask) {
		id := lab.FullID(q.ID)
		c := counts[id]
		if c == nil {
			c = &count{}
			counts[id], order = c, append(order, id)
		}
		c.sheets++
		unit := quantity.MustUnit(q.Unit).SI()
		// Where a question asks for a finer answer it says so (12/normal).
		digits := max(4, 1+int(math.Ceil(math.Log10(math.Abs(task.Want)/task.Allowed(task.Want)))))
		a := judge.Answer{Value: toDigits(task.Want/unit, digits), Unit: q.Unit}
		if q.Kind == judge.KindMeasured {
			a.U = toDigits(task.U/unit, 2)
			place := math.Pow(10, math.Floor(math.Log10(a.U))-1)
			a.Value = math.Round(task.Want/unit/place) * place
		}
		if v := s.Judge(q, a, nil, 0); v.Marks == q.Marks {
			c.full++
		}
		for _, slip := range q.USlips {
			c.naive++
			b := a
			b.U = toDigits(slip.Value(right)/unit, 2)
			if v := s.Judge(q, b, nil, 0); v.Outcome == judge.OutcomeSlip {
				c.named++
			}
		}
	})
	worst := 1.0
	for _, id := range order {
		c := counts[id]
		if 100*c.full < 99*c.sheets {
			t.Errorf("%s: a right answer has full marks on %d of %d sheets", id, c.full, c.sheets)
		}
		if 100*c.named < 95*c.naive {
			t.Errorf("%s: mistakes of the uncertainty are named %d of %d times", id, c.named, c.naive)
		}
		worst = min(worst, float64(c.full)/float64(c.sheets))
	}
	t.Logf("%d questions; a right answer has full marks on at least %.1f %% of sheets", len(order), 100*worst)
}

// toDigits rounds v to n significant digits, as people write it.
func toDigits(v float64, n int) float64 {
	r, err := strconv.ParseFloat(fmt.Sprintf("%.*e", n-1, v), 64)
	if err != nil {
		panic(err)
	}
	return r
}
