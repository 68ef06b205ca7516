package bank

import (
	"math"
	"testing"

	"gravity.example/gravlab/judge"
)

// TestZeroIsBlank: a mistake that leads to 0 can be named only where an uncertainty beside it
// shows that something was entered.
func TestZeroIsBlank(t *testing.T) {
	q := Question{
		ID: "q", Kind: judge.KindNumber, Unit: "m", Tol: judge.Tolerance{Rel: 0.01},
		Solve: Always(2), Slips: []Slip{{ID: "none", Name: "nothing left", Value: Always(0)}},
	}
	s := Sheet{Questions: []Question{q}}
	if v := s.NumberTask(q, nil, 0).Slips[0].Value; !math.IsNaN(v) || len(s.LeftOut(q)) != 1 {
		t.Errorf("the slip of a number is %v, left out %v", v, s.LeftOut(q))
	}
	q.Kind, q.U = judge.KindMeasured, func() float64 { return 0.1 }
	s.Questions[0] = q
	if v := s.NumberTask(q, nil, 0).Slips[0].Value; v != 0 || len(s.LeftOut(q)) != 0 {
		t.Errorf("the slip of a measured value is %v, left out %v", v, s.LeftOut(q))
	}
}
