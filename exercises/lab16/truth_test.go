package lab16

import (
	"math"
	"testing"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/bank/banktest"
	"gravity.example/gravlab/earth"
)

// TestAgainstTheTruth sets what a sound analysis of the records finds against what they were made
// with: within one stated uncertainty two times in three and within two of them 19 times in 20, to
// the binomial limits of 1 in 1000. (100 sheets; 1,000 with GRAVLAB_LONG=1.)
func TestAgainstTheTruth(t *testing.T) {
	n := banktest.Sheets()
	within := map[string]*[2]int{}
	for i := range n {
		d := Lab.Draw(bank.NumberedCode(Lab.ID, i))
		shaft, ranges, grid := drawShaft(d), drawRange(d), drawMap(d)
		lower := d.Between("lower rock", 2870, 3250, 10)
		for name, v := range map[string]struct{ found, u, truth float64 }{
			"gradient": {shaft.gradient().Solve(nil), shaft.gradient().U(), gravlab.Must(earth.ShaftGradient(shaft.freeAir, lower))},
			"ranges":   {ranges.question().Solve(nil), ranges.question().U(), 1000 * d.Between("compensation", 22, 50, 0.5)},
			"body":     {grid.body().Solve(nil), grid.body().U(), d.Between("depth of the body", 2200, 3600, 50)},
		} {
			if within[name] == nil {
				within[name] = &[2]int{}
			}
			for k := range 2 {
				if math.Abs(v.found-v.truth) <= float64(k+1)*v.u {
					within[name][k]++
				}
			}
		}
	}
	for name, w := range within {
		t.Logf("%s: within u on %d and within 2u on %d of %d sheets", name, w[0], w[1], n)
		for k, p := range []float64{0.683, 0.954} {
			// 3.1 standard deviations of the binomial distribution.
			if low := p*float64(n) - 3.1*math.Sqrt(p*(1-p)*float64(n)); float64(w[k]) < low {
				t.Errorf("%s: within %d u on %d of %d sheets, at least %.0f wanted", name, k+1, w[k], n, low)
			}
		}
	}
}
