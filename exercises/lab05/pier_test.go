package lab05

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/pendulum"
)

// TestPierAgainstItsTruth sets what the judge finds in the recordings of lab 05
// against what they were made with: the deviations over the stated uncertainties
// must scatter by about 1 and have no bias.
func TestPierAgainstItsTruth(t *testing.T) {
	const sheets = 40
	pulls := map[string][]float64{}
	for n := range sheets {
		d := Lab.Draw(bank.NumberedCode(Lab.ID, n))
		p, e := drawPier(d), drawEvening(d)
		add := func(name string, got, u, truth float64) { pulls[name] = append(pulls[name], (got-truth)/u) }
		add("delay", p.delay()[0], p.delay()[1], p.late)
		own := p.selfNoise()
		add("own noise", own.Solve(nil), own.U(), p.own)
		r := p.ring()
		add("resonance", r.P[fit.Period], p.ringU(fit.Period), 1/p.f0)
		q := p.quality()
		add("quality", q.Solve(nil), q.U(), p.q)

		// The true rms in the band, from the density that the sea was made with.
		ground, power := pierGround(e.peak, d.Between("sea", 1.2, 2, 0.1)*1e-6), 0.0
		for f := eveningLow + 5e-4; f < eveningHigh; f += 1e-3 {
			power += ground(f) * 1e-3
		}
		add("microseism", e.quiet()[0], e.quiet()[1], math.Sqrt(power))
		if seen := math.Abs(e.whole()-e.quiet()[0]) / e.quiet()[1]; seen < judge.CoverageFactor*judge.CredibleFactor {
			t.Errorf("sheet %d: the earthquake moves the rms by %.1f standard uncertainties only", n, seen)
		}
	}
	for name, v := range pulls {
		mean := floats.Sum(v) / sheets
		rms := math.Sqrt(floats.Dot(v, v) / sheets)
		t.Logf("%-11s mean %+.2f, rms %.2f", name, mean, rms)
		// The mean of 40 has u = 0.16 and the rms 0.11.
		if math.Abs(mean) > 0.6 || rms < 0.65 || rms > 1.45 {
			t.Errorf("%s: deviations over uncertainty have mean %.2f and rms %.2f", name, mean, rms)
		}
	}
}

// TestPierGroundIsAGround: the ground of lab 05 lies between the noise models of
// 1993 wherever the recordings have it.
func TestPierGroundIsAGround(t *testing.T) {
	for _, level := range []float64{1.2e-6, 2e-6} {
		ground := pierGround(0.2, level)
		for f := 1.0 / 40; f <= 9; f *= 1.02 {
			lo, _ := pendulum.LowNoise.Density(f)
			hi, _ := pendulum.HighNoise.Density(f)
			if v := math.Sqrt(ground(f)); !(v > lo && v < hi) {
				t.Errorf("%.3f Hz: %g m/s²/√Hz is not between %g and %g", f, v, lo, hi)
			}
		}
	}
}
