package lab02

import (
	"math"
	"math/rand/v2"
	"testing"

	"gravity.example/gravlab/bank/banktest"
)

func TestLab(t *testing.T) { banktest.Check(t, Lab) }

// Eight series of as many normal readings as those of 1935, with one value and
// with their scatter, each with a u of its own readings: what the texts say of the
// Birge ratio by chance, and of the true scatter of the weighted mean.
func TestChanceOf1935(t *testing.T) {
	const runs = 40000
	series, found := gravity1935Series(), weighted1935()
	random := rand.New(rand.NewPCG(19, 35))
	above, chi2Sum, squares := 0.0, 0.0, 0.0
	for range runs {
		var x, w [8]float64
		total, weighted := 0.0, 0.0
		for i, s := range series {
			// The mean and s² of normal readings are independent; (n-1)s²/σ² is χ².
			x[i] = s.s / math.Sqrt(s.n) * random.NormFloat64()
			c := 0.0
			for range int(s.n) - 1 {
				z := random.NormFloat64()
				c += z * z / (s.n - 1)
			}
			w[i] = s.n / (s.s * s.s * c)
			total, weighted = total+w[i], weighted+w[i]*x[i]
		}
		mean, chi2 := weighted/total, 0.0
		for i := range x {
			chi2 += w[i] * (x[i] - mean) * (x[i] - mean)
		}
		if chi2 >= found.Chi2 {
			above++
		}
		chi2Sum += chi2 / runs
		squares += mean * mean * total / runs
	}
	// 40,000 runs know the first to 2.5 %, the second to 0.03, the third to 0.4 %.
	if once := runs / above; math.Abs(once-26) > 2 {
		t.Errorf("such a ratio comes up once in %.1f times, the text says 26", once)
	}
	if math.Abs(chi2Sum-8.9) > 0.12 {
		t.Errorf("chi² is %.2f on average, the text says 8.9", chi2Sum)
	}
	if wide := math.Sqrt(squares); math.Abs(wide-1.25) > 0.02 {
		t.Errorf("the mean scatters by %.3f of its u, the text says 1.25", wide)
	}
}
