package survey

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab"
)

// The blunder called smallest is found as often as its comment says: normal
// residuals about its size, tested at 0.1 % on both sides.
func TestSmallestBlunder(t *testing.T) {
	a, err := AdjustNetwork([]Difference{{From: "a", To: "b", Value: 1e-6, U: 1e-8}, {From: "b", To: "c", Value: 2e-6, U: 1e-8}, {From: "c", To: "a", Value: -3e-6, U: 1e-8}},
		[]Tie{{Station: "a", Value: 9.81}})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range a.Residuals {
		shift := r.MDB * math.Sqrt(r.Redundancy) / 1e-8
		critical := distuv.UnitNormal.Quantile(1 - 0.001/2)
		found := distuv.UnitNormal.Survival(critical-shift) + distuv.UnitNormal.CDF(-critical-shift)
		near(t, "probability of finding the smallest blunder", found, 0.8, 1e-9)
		near(t, "in standard deviations", shift, 3.290527+0.841621, 2e-7) // normal quantiles to seven digits, from tables
	}
}

// With the degrees of freedom Student's interval holds the density as often as it
// says; the normal one does not.
func TestDensityOfTopographyCovers(t *testing.T) {
	const trials = 4000
	rng := rand.New(rand.NewPCG(3, 7))
	heights := []float64{0, 12, 27, 41, 30, 9}
	freeAir := make([]float64, len(heights))
	student, normal := 0, 0
	for range trials {
		for i, h := range heights {
			freeAir[i] = 2*math.Pi*gravlab.G*2300*h + 2e-7*rng.NormFloat64()
		}
		d := gravlab.Must(DensityOfTopography(heights, freeAir))
		if d.DoF != len(heights)-2 {
			t.Fatalf("%d degrees of freedom", d.DoF)
		}
		off := math.Abs(d.Density-2300) / d.U
		if off <= (distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(d.DoF)}).Quantile(0.975) {
			student++
		}
		if off <= distuv.UnitNormal.Quantile(0.975) {
			normal++
		}
	}
	// Three standard deviations of the binomial counts.
	allowed := 3 * math.Sqrt(0.95*0.05*trials)
	if math.Abs(float64(student)-0.95*trials) > allowed {
		t.Errorf("Student's interval held %d of %d", student, trials)
	}
	if float64(normal) > 0.95*trials-allowed {
		t.Errorf("the normal interval held %d of %d: no reason for degrees of freedom", normal, trials)
	}
}
