package lab06

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

// TestPassingAgainstItsTruth sets the mass that the judge finds in the recordings
// of lab 06 against that of the ball that made them, and looks whether the floor
// can be overlooked: on no sheet may the swing alone give a mass that passes, not
// even with the largest uncertainty that is still credible.
func TestPassingAgainstItsTruth(t *testing.T) {
	const sheets = 30
	var pulls []float64
	for n := range sheets {
		d := Lab.Draw(bank.NumberedCode(Lab.ID, n))
		s := drawPassing(d).swing(d)
		made := s.p.Bob.Mass
		swing, shaker := s.detect[0](), s.detect[1]()
		// The geometry is exact in the recordings: only the noise may move the mass.
		pulls = append(pulls, (swing.Mass-shaker.Mass-made)/math.Hypot(swing.UNoise, shaker.UNoise))
		if u := s.mass().U(); math.Abs(swing.Mass-made) < judge.CoverageFactor*judge.CredibleFactor*u {
			t.Errorf("sheet %d: the swing alone gives %.1f kg for %.1f kg, u = %.2f kg", n, swing.Mass, made, u)
		}
	}
	mean, rms := floats.Sum(pulls)/sheets, math.Sqrt(floats.Dot(pulls, pulls)/sheets)
	t.Logf("deviations over uncertainty: mean %+.2f, rms %.2f", mean, rms)
	if math.Abs(mean) > 0.7 || rms < 0.6 || rms > 1.5 {
		t.Errorf("deviations over uncertainty have mean %.2f and rms %.2f", mean, rms)
	}
}
