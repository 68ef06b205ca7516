package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab"
)

func randomMatrix(rng *rand.Rand, m, n int) *mat.Dense {
	a := mat.NewDense(m, n, nil)
	for i := range m {
		for j := range n {
			a.Set(i, j, rng.NormFloat64())
		}
	}
	return a
}

func randomVector(rng *rand.Rand, n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = rng.NormFloat64()
	}
	return v
}

// TestLinearAgainstCurve: two ways to one answer.
func TestLinearAgainstCurve(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 0))
	a, y := randomMatrix(rng, 12, 3), randomVector(rng, 12)
	sigma := make([]float64, 12)
	x := make([]float64, 12)
	for i := range sigma {
		sigma[i] = 0.5 + rng.Float64()
		x[i] = float64(i)
	}
	for _, s := range [][]float64{sigma, nil} {
		l, err := Linear(a, y, s)
		if err != nil {
			t.Fatal(err)
		}
		c, err := Curve{X: x, Y: y, Sigma: s, Start: []float64{1, 1, 1}, Model: func(p, x, dst []float64) {
			mat.NewVecDense(len(dst), dst).MulVec(a, mat.NewVecDense(3, p))
		}}.Fit()
		if err != nil {
			t.Fatal(err)
		}
		if !mat.EqualApprox(l.Cov, c.Cov, 1e-7) || !near(l.Chi2, c.Chi2, 1e-9) || l.DoF != c.DoF {
			t.Errorf("chi² %g for %d and %g for %d, covariances\n%v\n%v", l.Chi2, l.DoF, c.Chi2, c.DoF, mat.Formatted(l.Cov), mat.Formatted(c.Cov))
		}
		for j := range l.P {
			if math.Abs(l.P[j]-c.P[j]) > 1e-8*l.U[j] {
				t.Errorf("parameter %d: %.15g and %.15g", j, l.P[j], c.P[j])
			}
		}
		for i := range y {
			if math.Abs(l.Residuals[i]-c.Residuals[i]) > 1e-8 {
				t.Errorf("residual %d: %g and %g", i, l.Residuals[i], c.Residuals[i])
			}
		}
	}
}

// TestConstrainedBySubstitution: with p2 = 1 - p0 put into the model, a free
// fit of two parameters gives the same.
func TestConstrainedBySubstitution(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 0))
	a, y := randomMatrix(rng, 9, 3), randomVector(rng, 9)
	c := mat.NewDense(2, 3, []float64{1, 0, 1, 2e9, 0, 2e9}) // the same condition twice, in other units
	r, err := LinearConstrained(a, y, nil, c, []float64{1, 2e9})
	if err != nil {
		t.Fatal(err)
	}
	b, z := mat.NewDense(9, 2, nil), make([]float64, 9)
	for i := range z {
		b.SetRow(i, []float64{a.At(i, 0) - a.At(i, 2), a.At(i, 1)})
		z[i] = y[i] - a.At(i, 2)
	}
	s, err := Linear(b, z, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !near(r.P[0], s.P[0], 1e-9) || !near(r.P[1], s.P[1], 1e-9) || !near(r.P[2], 1-s.P[0], 1e-9) || r.DoF != s.DoF ||
		!near(r.U[0], s.U[0], 1e-9) || !near(r.U[2], s.U[0], 1e-9) || !near(r.Correlation(0, 2), -1, 1e-9) {
		t.Errorf("constrained %v ± %v for %d, substituted %v ± %v for %d", r.P, r.U, r.DoF, s.P, s.U, s.DoF)
	}
	// As many conditions as parameters leave nothing to fit.
	r, err = LinearConstrained(a, y, nil, mat.NewDense(3, 3, []float64{1, 0, 0, 0, 1, 0, 0, 0, 1}), []float64{1, 2, 3})
	if err != nil || !near(r.P[2], 3, 1e-12) || r.U[1] != 0 || r.DoF != 9 {
		t.Errorf("all fixed: %v ± %v for %d, %v", r.P, r.U, r.DoF, err)
	}
	if _, err = LinearConstrained(a, y, nil, c, []float64{1, 3e9}); err == nil {
		t.Error("contradicting conditions were accepted")
	}
}

func TestLinearUndetermined(t *testing.T) {
	// Columns 1 and 2 are parallel, in units a factor 1e9 apart.
	a := mat.NewDense(5, 3, nil)
	for i := range 5 {
		a.SetRow(i, []float64{1, float64(i), 1e9 * float64(i)})
	}
	r, err := Linear(a, []float64{1, 2, 3, 4, 6}, nil)
	if err != nil || !slices.Equal(r.Undetermined, []string{"p[1]", "p[2]"}) || math.IsInf(r.U[0], 1) {
		t.Fatalf("undetermined %v, U %v, %v", r.Undetermined, r.U, err)
	}
	// The sum that is determined has the slope of the plain line, 1.2.
	if slope := r.P[1] + 1e9*r.P[2]; !near(slope, 1.2, 1e-12) {
		t.Errorf("slope %g, want 1.2", slope)
	}
}

// TestDampedByRows: damping is the same as more rows lambda x = 0.
func TestDampedByRows(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 0))
	for _, size := range [][2]int{{8, 4}, {4, 8}, {5, 5}} {
		m, n := size[0], size[1]
		a, y := randomMatrix(rng, m, n), randomVector(rng, m)
		const lambda = 0.3
		d, err := Damp(a, y, nil)
		if err != nil {
			t.Fatal(err)
		}
		s, err := d.Solve(lambda)
		if err != nil {
			t.Fatal(err)
		}
		tall := mat.NewDense(m+n, n, nil)
		tall.Slice(0, m, 0, n).(*mat.Dense).Copy(a)
		for j := range n {
			tall.Set(m+j, j, lambda)
		}
		r, err := Linear(tall, append(slices.Clone(y), make([]float64, n)...), nil)
		if err != nil {
			t.Fatal(err)
		}
		for j := range n {
			if math.Abs(s.X[j]-r.P[j]) > 1e-12 {
				t.Errorf("%d by %d: x[%d] = %.15g, by rows %.15g", m, n, j, s.X[j], r.P[j])
			}
		}
		residual := mat.Norm(mat.NewVecDense(m, s.Residuals), 2)
		if !near(s.ResidualNorm, residual, 1e-10) || !near(s.SolutionNorm, mat.Norm(mat.NewVecDense(n, s.X), 2), 1e-12) {
			t.Errorf("%d by %d: norms %g and %g, from the vectors %g and %g", m, n, s.ResidualNorm, s.SolutionNorm, residual, mat.Norm(mat.NewVecDense(n, s.X), 2))
		}
		if !(s.Effective > 0 && s.Effective < float64(min(m, n))) {
			t.Errorf("%d by %d: %g effective parameters", m, n, s.Effective)
		}
	}
}

// smoothing is the inversion of a smooth kernel, the standard example of a
// problem that needs damping.
func smoothing(rng *rand.Rand, noise float64) (a *mat.Dense, y, x []float64) {
	const n = 40
	a = mat.NewDense(n, n, nil)
	x = make([]float64, n)
	for i := range n {
		x[i] = math.Sin(math.Pi*float64(i)/n) + 0.5*math.Sin(3*math.Pi*float64(i)/n)
		for j := range n {
			d := float64(i-j) / n
			a.Set(i, j, 1/math.Pow(0.1*0.1+d*d, 1.5)/1000)
		}
	}
	y = make([]float64, n)
	for i := range n {
		for j := range n {
			y[i] += a.At(i, j) * x[j]
		}
		y[i] += noise * rng.NormFloat64()
	}
	return a, y, x
}

func TestDampingChoices(t *testing.T) {
	rng := rand.New(rand.NewPCG(14, 0))
	const noise = 0.05
	a, y, x := smoothing(rng, noise)
	d, err := Damp(a, y, slices.Repeat([]float64{noise}, len(y)))
	if err != nil {
		t.Fatal(err)
	}
	miss := func(s *Damped) float64 {
		sum := 0.0
		for j := range x {
			sum += (s.X[j] - x[j]) * (s.X[j] - x[j])
		}
		return math.Sqrt(sum)
	}
	delta := math.Sqrt(float64(len(y)))
	byMisfit, err := d.Discrepancy(delta)
	if err != nil || !near(byMisfit.ResidualNorm, delta, 1e-9) {
		t.Fatalf("misfit %v, want %g, %v", byMisfit, delta, err)
	}
	byCorner, err := d.Corner()
	if err != nil {
		t.Fatal(err)
	}
	// The corner really is where the curve bends most: against the angle between
	// neighbouring pieces of the curve itself.
	curve, err := d.LCurve(400)
	if err != nil {
		t.Fatal(err)
	}
	best, sharpest := 0, 0.0
	for i := 1; i+1 < len(curve); i++ {
		point := func(k int) (float64, float64) {
			return math.Log(curve[k].ResidualNorm), math.Log(curve[k].SolutionNorm)
		}
		x0, y0 := point(i - 1)
		x1, y1 := point(i)
		x2, y2 := point(i + 1)
		turn := (x1-x0)*(y2-y1) - (y1-y0)*(x2-x1)
		sides := math.Hypot(x1-x0, y1-y0) * math.Hypot(x2-x1, y2-y1) * math.Hypot(x2-x0, y2-y0)
		if bend := 2 * turn / sides; bend > sharpest { // curvature of the circle through the three
			best, sharpest = i, bend
		}
	}
	if ratio := byCorner.Lambda / curve[best].Lambda; ratio < 0.9 || ratio > 1.1 {
		t.Errorf("corner at lambda %g, the curve bends most at %g", byCorner.Lambda, curve[best].Lambda)
	}
	least := math.Inf(1)
	for _, s := range curve {
		least = math.Min(least, miss(s))
	}
	if miss(byMisfit) > 2*least || miss(byCorner) > 0.01*miss(curve[0]) {
		t.Errorf("misses the truth by %g (discrepancy) and %g (corner); the best damping by %g, hardly any by %g", miss(byMisfit), miss(byCorner), least, miss(curve[0]))
	}
	for _, delta := range []float64{0, -1, math.NaN(), 1e9, math.Inf(1)} {
		if _, err := d.Discrepancy(delta); err == nil {
			t.Errorf("Discrepancy(%g) found a damping", delta)
		}
	}
	for i := 1; i < len(curve); i++ {
		if curve[i].ResidualNorm < curve[i-1].ResidualNorm || curve[i].SolutionNorm > curve[i-1].SolutionNorm {
			t.Fatalf("the L-curve turns back at lambda %g", curve[i].Lambda)
		}
	}
}

func TestWeightedMean(t *testing.T) {
	x, u := []float64{6.6721, 6.6758, 6.6740, 6.6729}, []float64{0.0012, 0.0007, 0.0004, 0.0005}
	m, err := WeightedMean(x, u)
	if err != nil {
		t.Fatal(err)
	}
	// A weighted mean is a fit of one constant.
	r, err := Linear(mat.NewDense(4, 1, []float64{1, 1, 1, 1}), x, u)
	if err != nil || !near(m.Value, r.P[0], 1e-14) || !near(m.U, r.U[0], 1e-12) || !near(m.Chi2, r.Chi2, 1e-9) || !near(m.PValue, r.PValue(), 1e-9) {
		t.Errorf("mean %+v, fit %v, %v", m, r, err)
	}
	if m.ExpandedU() != m.U*m.Birge || !(m.Birge > 1) {
		t.Errorf("ExpandedU %g with U %g and Birge ratio %g", m.ExpandedU(), m.U, m.Birge)
	}
	one, err := WeightedMean([]float64{3}, []float64{1e-200})
	if err != nil || one.Value != 3 || one.U != 1e-200 || !math.IsNaN(one.PValue) || one.ExpandedU() != 1e-200 {
		t.Errorf("one value: %+v, %v", one, err)
	}
	for _, bad := range [][2][]float64{{nil, nil}, {{1}, {0}}, {{1}, {-1}}, {{1}, {math.NaN()}}, {{math.NaN()}, {1}}, {{1, 2}, {1}}, {{1}, {math.Inf(1)}}} {
		var e *gravlab.ArgumentError
		if _, err := WeightedMean(bad[0], bad[1]); !errors.As(err, &e) {
			t.Errorf("WeightedMean(%v, %v): %v", bad[0], bad[1], err)
		}
	}
}
