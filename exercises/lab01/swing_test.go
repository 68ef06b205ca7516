package lab01

import (
	"math"
	"testing"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
)

// TestSwingAgainstItsTruth: what the judge reads off a recording is what the
// balance did that made it, wherever the scale has its zero.
func TestSwingAgainstItsTruth(t *testing.T) {
	const sheets = 12
	pull := 0.0
	for n := range sheets {
		code := bank.NumberedCode(Lab.ID, n+1)
		d := Lab.Draw(code)
		w := drawWeighing(d)
		s := w.record(d)
		got := s.fit().Deflection
		z := (got.Value - gravlab.Must(w.Deflection())) / got.U
		if math.Abs(z) > 4 {
			t.Errorf("sheet %s, zero at %g m: deflection %.5g ± %.2g rad, %.1f u from the balance's own", code, s.zero, got.Value, got.U, z)
		}
		pull += z * z
		G := s.bigG()
		value := G.Solve(bank.Answers{"period": s.fit().Period.Value, "deflection": got.Value})
		// The dimensions are as printed here, so only the swing scatters.
		if math.Abs(value/gravlab.G-1) > 0.01 {
			t.Errorf("sheet %s: G = %.4g", code, value)
		}
	}
	if mean := pull / sheets; mean > 2.5 { // chi² of 12 over 12 exceeds this once in 400
		t.Errorf("mean square of the deviations is %.2f u²", mean)
	}
}
