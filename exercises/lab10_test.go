package exercises

import (
	"testing"

	"gravity.example/gravlab/bank/banktest"
	"gravity.example/gravlab/judge"
)

// TestTrapsInTheFieldBite gives in what follows when the trap of the recording is
// not seen, with the largest uncertainty that the judge takes for credible: on
// no sheet may that be right.
func TestTrapsInTheFieldBite(t *testing.T) {
	traps := []struct {
		lab            Lab
		question, slip string
	}{
		{buriedSphere, "depth", "readings after the knock fitted as well"},
		{buriedSphere, "mass", "readings after the knock fitted as well"},
		{twoTunnels, "place", "the heights of the sensor not looked at"},
		{whatsInTheTruck, "speed", "the speed that the driver said"},
		{whatsInTheTruck, "apart", "the speed that the driver said"},
	}
	for _, trap := range traps {
		t.Run(trap.lab.Number()+" "+trap.question, func(t *testing.T) {
			t.Parallel()
			bitten, sheets := 0, min(200, banktest.Sheets())
			for n := range sheets {
				code := NumberedCode(trap.lab.ID, n)
				p := trap.lab.Sheet(code)
				q, _ := p.Question(trap.question)
				for _, s := range q.Slips {
					if s.Name != trap.slip {
						continue
					}
					bitten++
					value := s.Value(p.RightAnswers())
					a := judge.Answer{Value: value, U: judge.CredibleFactor * q.U(), Unit: siUnit(q.Unit)}
					if v := p.Judge(q, a, nil, 0); v.Outcome != judge.Slip || v.Slip != trap.slip {
						t.Fatalf("sheet %s: %g ± %g is %s (%s), not a slip", code, value, a.U, v.Outcome, v.Message)
					}
				}
			}
			if bitten != sheets {
				t.Fatalf("the slip %q stands on %d of %d sheets", trap.slip, bitten, sheets)
			}
		})
	}
}

// siUnit is the SI unit of the quantities asked for here.
func siUnit(unit string) string {
	if unit == "t" {
		return "kg"
	}
	return unit
}
