package buried

// Gauss–Legendre points and weights on [0, 1]. Source: the zeros of the
// Legendre polynomials, M. Abramowitz, I. A. Stegun, Handbook of Mathematical
// Functions (1964), table 25.4, shifted from [-1, 1]; a test compares them with
// gonum's.
type gaussRule struct{ at, weight []float64 }

// shifted makes a symmetric rule on [0, 1] from the positive half of the rule
// on [-1, 1].
func shifted(x, w []float64) gaussRule {
	var r gaussRule
	for i := len(x) - 1; i >= 0; i-- {
		r.at = append(r.at, (1-x[i])/2)
		r.weight = append(r.weight, w[i]/2)
	}
	for i := range x {
		r.at = append(r.at, (1+x[i])/2)
		r.weight = append(r.weight, w[i]/2)
	}
	return r
}

var (
	gauss2 = shifted([]float64{0.57735026918962576}, []float64{1})
	gauss4 = shifted(
		[]float64{0.33998104358485626, 0.86113631159405258},
		[]float64{0.65214515486254614, 0.34785484513745386})
	gauss8 = shifted(
		[]float64{0.18343464249564980, 0.52553240991632899, 0.79666647741362674, 0.96028985649753623},
		[]float64{0.36268378337836198, 0.31370664587788729, 0.22238103445337447, 0.10122853629037626})
	gauss16 = shifted(
		[]float64{0.09501250983763744, 0.28160355077925891, 0.45801677765722739, 0.61787624440264375,
			0.75540440835500303, 0.86563120238783174, 0.94457502307323258, 0.98940093499164993},
		[]float64{0.18945061045506850, 0.18260341504492359, 0.16915651939500254, 0.14959598881657673,
			0.12462897125553387, 0.09515851168249278, 0.06225352393864789, 0.02715245941175410})
)
