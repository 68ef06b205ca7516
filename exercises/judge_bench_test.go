package exercises

import "testing"

// BenchmarkVerdict judges the right answer to each question of each lab, warm:
// the budget is 1 ms.
func BenchmarkVerdict(b *testing.B) {
	for _, lab := range Labs() {
		p := lab.Paper("")
		right := p.RightAnswers()
		for _, q := range p.Questions {
			if q.Solve == nil {
				continue
			}
			unit := answerInSI(q, right[q.ID])
			b.Run(lab.FullID(q.ID), func(b *testing.B) {
				for b.Loop() {
					p.Judge(q, unit, nil, 0)
				}
			})
		}
	}
}
