package exercises

import (
	"math"
	"math/rand/v2"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

// TestReasonsByAccident: of 30,000 random values within two powers of ten of a right answer, on
// sheets of all labs, at most one in a hundred is told a mistake that can be made in any
// question. Those of a question's own are wider and more, and are told where an answer fits them.
func TestReasonsByAccident(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	n, general, own, right := 0, 0, 0, 0
	for _, lab := range Labs() {
		for i := range 3 {
			s := lab.Sheet(bank.NumberedCode(lab.ID, 40+i))
			for _, q := range s.Questions {
				if q.Solve == nil {
					continue
				}
				task := s.NumberTask(q, nil, 0)
				known := map[string]bool{}
				for _, slip := range task.Slips {
					known[slip.Name] = true
				}
				for _, slip := range task.USlips {
					known[slip.Name] = true
				}
				si := quantity.MustUnit(q.Unit).SI()
				for range 62 {
					v := task.Want * math.Pow(10, 4*random.Float64()-2)
					n++
					verdict := judge.Number(task, judge.Answer{Value: bank.RoundTo(v/si, 5), U: task.U / si, Unit: q.Unit})
					switch {
					case verdict.Outcome == judge.OutcomeRight:
						right++
					case verdict.Outcome == judge.OutcomeSlip && known[verdict.Slip]:
						own++
					case verdict.Outcome == judge.OutcomeSlip || verdict.Outcome == judge.OutcomeUnit:
						general++
					}
				}
			}
		}
	}
	per := func(k int) float64 { return 100 * float64(k) / float64(n) }
	t.Logf("of %d values %.2f %% are right, %.2f %% fit a question's own mistake, %.2f %% one that can be made in any", n, per(right), per(own), per(general))
	if per(general) > 1 {
		t.Errorf("%.2f %% of %d random values are told a mistake that can be made in any question", per(general), n)
	}
}
