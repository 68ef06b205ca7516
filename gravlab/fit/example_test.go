package fit_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/fit"
)

// A sensor cools to the temperature of the room.
func ExampleCurve_Fit() {
	c := fit.Curve{
		X:     []float64{0, 60, 120, 180, 240, 300},          // s
		Y:     []float64{8.02, 5.37, 3.64, 2.38, 1.68, 1.08}, // K above the room
		Sigma: []float64{0.05, 0.05, 0.05, 0.05, 0.05, 0.05},
		Model: func(p, x, dst []float64) {
			for i := range x {
				dst[i] = p[0] * math.Exp(-x[i]/p[1])
			}
		},
		Start: []float64{5, 100},
		Names: []string{"start", "tau"},
	}
	r, err := c.Fit()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(r)
	fmt.Printf("correlation %.2f\n", r.Correlation(0, 1))
	// Output:
	// start = 8.016 ± 0.046
	// tau = 150.7 ± 1.6
	// chi² = 2.31 for 4 degrees of freedom (p = 0.68)
	// correlation -0.58
}

// Two parameters that only ever occur as a product.
func ExampleResult_undetermined() {
	r, err := fit.Curve{
		X: []float64{1, 2, 3, 4}, Y: []float64{2.1, 3.9, 6.2, 7.9},
		Model: func(p, x, dst []float64) {
			for i := range x {
				dst[i] = p[0] * p[1] * x[i]
			}
		},
		Start: []float64{1, 1}, Names: []string{"volume", "density"},
	}.Fit()
	fmt.Println(r.Undetermined, err)
	// Output: [volume density] <nil>
}

// The swing of a torsion balance, read every 5 s with a noise of 20 µrad.
func ExampleDampedOscillation() {
	rng := rand.New(rand.NewPCG(1, 0))
	var t, theta, sigma []float64
	for k := range 600 {
		at := 5 * float64(k)
		t = append(t, at)
		theta = append(theta, 0.0041*math.Exp(-at/2100)*math.Cos(2*math.Pi*at/512-0.7)+0.0123+float64(2e-5*rng.NormFloat64()))
		sigma = append(sigma, 2e-5)
	}
	r, err := fit.DampedOscillation(t, theta, sigma)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("T = %.2f ± %.2f s\n", r.P[fit.Period], r.U[fit.Period])
	fmt.Printf("tau = %.0f ± %.0f s\n", r.P[fit.DecayTime], r.U[fit.DecayTime])
	fmt.Printf("correlation of A and tau %.2f\n", r.Correlation(fit.Amplitude, fit.DecayTime))
	// Output:
	// T = 512.03 ± 0.03 s
	// tau = 2103 ± 3 s
	// correlation of A and tau -0.76
}

func ExampleLinear() {
	x := []float64{0, 1, 2, 3}
	a := mat.NewDense(4, 2, nil)
	for i := range x {
		a.SetRow(i, []float64{1, x[i]})
	}
	r, err := fit.Linear(a, []float64{1, 3, 2, 5}, []float64{0.5, 0.5, 0.5, 0.5})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.2f + %.2f x, chi² %.1f for %d\n", r.P[0], r.P[1], r.Chi2, r.DoF)
	// Output: 1.10 + 1.10 x, chi² 10.8 for 2
}

func ExampleWeightedMean() {
	m, err := fit.WeightedMean([]float64{6.6721, 6.6758, 6.6740, 6.6729}, []float64{0.0012, 0.0007, 0.0004, 0.0005})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.5f ± %.5f, Birge ratio %.1f, p = %.4f\n", m.Value, m.U, m.Birge, m.PValue)
	// Output: 6.67384 ± 0.00028, Birge ratio 2.1, p = 0.0034
}

// Six cells seen from three stations: damping chooses the smallest densities
// that explain the readings within their errors.
func ExampleDamp() {
	a := mat.NewDense(3, 6, []float64{
		5, 3, 1, 0.5, 0.2, 0.1,
		1, 2, 4, 4, 2, 1,
		0.1, 0.2, 0.5, 1, 3, 5,
	})
	d, err := fit.Damp(a, []float64{0.4, 4.1, 0.6}, []float64{0.1, 0.1, 0.1})
	if err != nil {
		fmt.Println(err)
		return
	}
	s, err := d.Discrepancy(math.Sqrt(3))
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("misfit %.2f, %.1f of 6 decided by the data\n", s.ResidualNorm, s.Effective)
	// Output: misfit 1.73, 2.9 of 6 decided by the data
}
