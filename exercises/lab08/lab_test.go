package lab08

import (
	"math"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/bank/banktest"
)

func TestLab(t *testing.T) { banktest.Check(t, Lab) }

// What the record gives for eta is compatible with 0, as it must be where materials fall
// alike, and yet tells g from the drive: no sheet's value is so small that both are right.
func TestEtaIsAboutItsUncertainty(t *testing.T) {
	least, most := math.Inf(1), 0.0
	for n := range banktest.Sheets() {
		s := Lab.Sheet(bank.NumberedCode(Lab.ID, n))
		q, _ := s.Question("eta")
		task := s.NumberTask(q, nil, 0)
		ratio := math.Abs(task.Want) / task.U
		least, most = math.Min(least, ratio), math.Max(most, ratio)
		for i, slip := range q.Slips {
			if math.IsNaN(task.Slips[i].Value) {
				t.Errorf("sheet %s: %q cannot be told from the right answer", s.Code, slip.Name)
			}
		}
	}
	t.Logf("|eta| is from %.2f to %.2f of its uncertainty", least, most)
	if least < 0.5 || most > 3 {
		t.Errorf("|eta| is from %.2f to %.2f of its uncertainty", least, most)
	}
}
