package exercises

import (
	"testing"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

// BenchmarkVerdict judges the right answer to each question of each lab, warm:
// the budget is 1 ms.
func BenchmarkVerdict(b *testing.B) {
	for _, lab := range Labs() {
		p := lab.Sheet("")
		right := p.RightAnswers()
		for _, q := range p.Questions {
			if q.Solve == nil {
				continue
			}
			a := judge.Answer{Value: right[q.ID] / quantity.MustUnit(q.Unit).SI(), Unit: q.Unit}
			if q.Kind == judge.KindMeasured {
				a.U = q.U() / quantity.MustUnit(q.Unit).SI()
			}
			b.Run(lab.FullID(q.ID), func(b *testing.B) {
				for b.Loop() {
					p.Judge(q, a, nil, 0)
				}
			})
		}
	}
}
