package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"

	"gravity.example/gravlab"
)

// near reports whether two numbers agree to a share rel of the second.
func near(got, want, rel float64) bool { return math.Abs(got-want) <= rel*math.Abs(want) }

func decay(p, x, dst []float64) {
	for i := range x {
		dst[i] = p[0] * math.Exp(-x[i]/p[1])
	}
}

func decayRecord(rng *rand.Rand, n int, sigma float64) (x, y, s []float64) {
	for i := range n {
		x = append(x, float64(i)/4)
		y = append(y, 3*math.Exp(-x[i]/1.5)+sigma*rng.NormFloat64())
		s = append(s, sigma)
	}
	return x, y, s
}

// atMost is the probability of at most k successes in n trials.
func atMost(k, n int, p float64) float64 {
	if k < 0 {
		return 0
	}
	if k >= n {
		return 1
	}
	return mathext.RegIncBeta(float64(n-k), float64(k+1), 1-p)
}

// checkCoverage compares a count with the exact binomial limits outside which
// it falls by chance once in ten thousand times.
func checkCoverage(t *testing.T, what string, inside, trials int) {
	t.Helper()
	if low, high := atMost(inside, trials, 0.95), 1-atMost(inside-1, trials, 0.95); low < 5e-5 || high < 5e-5 {
		t.Errorf("%s: %d of %d intervals of 95 %% hold the true value, outside the binomial limits", what, inside, trials)
	}
}

func TestCoverage(t *testing.T) {
	const trials = 5000
	rng := rand.New(rand.NewPCG(7, 0))
	var known, unknown int
	for range trials {
		x, y, s := decayRecord(rng, 16, 0.05)
		for _, sigma := range [][]float64{s, nil} {
			r, err := Curve{X: x, Y: y, Sigma: sigma, Model: decay, Start: []float64{1, 1}}.Fit()
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(r.P[1]-1.5) <= r.CoverageFactor(0.95)*r.U[1] {
				if sigma == nil {
					unknown++
				} else {
					known++
				}
			}
		}
	}
	checkCoverage(t, "sigma known", known, trials)
	checkCoverage(t, "sigma unknown", unknown, trials)
}

// TestCoverageCanFail: intervals 15 % too short must be noticed.
func TestCoverageCanFail(t *testing.T) {
	inside := int(5000 * 0.904)
	if low := atMost(inside, 5000, 0.95); low >= 5e-5 {
		t.Errorf("%d of 5000 pass as 95 %%", inside)
	}
}

func TestCoverageFactor(t *testing.T) {
	// Source: Student's t and normal tables, e.g. Abramowitz and Stegun (1964),
	// tables 26.10 and 26.1 (from memory).
	tests := []struct {
		scaled bool
		dof    int
		p      float64
		want   float64
	}{
		{false, 3, 0.95, 1.960}, {true, 1, 0.95, 12.706}, {true, 10, 0.95, 2.228}, {true, 30, 0.99, 2.750}, {false, 0, 0.6827, 1.000},
	}
	for _, test := range tests {
		r := Result{Scaled: test.scaled, DoF: test.dof}
		if got := r.CoverageFactor(test.p); math.Abs(got-test.want) > 0.0005 {
			t.Errorf("scaled %v, %d degrees of freedom: CoverageFactor(%g) = %.4f, want %.3f", test.scaled, test.dof, test.p, got, test.want)
		}
	}
	for _, p := range []float64{0, 1, math.NaN(), -1} {
		if got := (&Result{}).CoverageFactor(p); !math.IsNaN(got) {
			t.Errorf("CoverageFactor(%g) = %g, want NaN", p, got)
		}
	}
}

// TestSigma: a common factor on sigma leaves the parameters, scales known
// uncertainties and drops out of unknown ones.
func TestSigma(t *testing.T) {
	x, y, s := decayRecord(rand.New(rand.NewPCG(3, 0)), 20, 0.05)
	fit := func(sigma []float64) *Result {
		r, err := Curve{X: x, Y: y, Sigma: sigma, Model: decay, Start: []float64{1, 1}}.Fit()
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	wide := make([]float64, len(s))
	for i := range s {
		wide[i] = 10 * s[i]
	}
	one, ten, none := fit(s), fit(wide), fit(nil)
	for j := range one.P {
		if !near(ten.P[j], one.P[j], 1e-9) || !near(none.P[j], one.P[j], 1e-9) {
			t.Errorf("parameter %d depends on the size of sigma: %g, %g, %g", j, one.P[j], ten.P[j], none.P[j])
		}
		if !near(ten.U[j], 10*one.U[j], 1e-8) {
			t.Errorf("U[%d] = %g with ten times the sigma, want %g", j, ten.U[j], 10*one.U[j])
		}
		if want := one.U[j] * math.Sqrt(one.ReducedChi2()); !near(none.U[j], want, 1e-8) {
			t.Errorf("U[%d] = %g with sigma unknown, want %g", j, none.U[j], want)
		}
	}
	if one.Scaled || !none.Scaled || !math.IsNaN(none.PValue()) || !(one.PValue() > 0 && one.PValue() < 1) {
		t.Errorf("Scaled %v and %v, p %g and %g", one.Scaled, none.Scaled, one.PValue(), none.PValue())
	}
}

// TestFarCoordinate: a place given in a large coordinate must not spoil the
// difference quotients.
func TestFarCoordinate(t *testing.T) {
	for _, from := range []float64{0, 4e5, 1e9} {
		var c Curve
		for i := range 41 {
			x := float64(i) - 20
			c.X = append(c.X, from+x)
			c.Y = append(c.Y, 978000+0.1*math.Exp(-x*x/50))
		}
		c.Model = func(p, x, dst []float64) {
			for i := range x {
				u := (x[i] - p[1]) / p[2]
				dst[i] = p[0]*math.Exp(-u*u/2) + p[3]
			}
		}
		c.Sigma = slices.Repeat([]float64{0.001}, len(c.X))
		c.Start = []float64{0.05, from + 2, 3, 978000}
		numeric, err := c.Fit()
		if err != nil {
			t.Errorf("from %g: %v", from, err)
			continue
		}
		c.Jacobian = func(p, x []float64, dst *mat.Dense) {
			for i := range x {
				u := (x[i] - p[1]) / p[2]
				e := math.Exp(-u * u / 2)
				dst.SetRow(i, []float64{e, p[0] * e * u / p[2], p[0] * e * u * u / p[2], 1})
			}
		}
		analytic, err := c.Fit()
		if err != nil {
			t.Errorf("from %g: %v", from, err)
			continue
		}
		for j := range numeric.P {
			// Values of 1e6 with a signal of 0.1 leave 9 digits of the signal: the
			// best difference quotient is good to 9 × 2/3 of them.
			if !near(numeric.U[j], analytic.U[j], 1e-5) || math.Abs(numeric.P[j]-analytic.P[j]) > 1e-5*analytic.U[j]+1e-15*math.Abs(analytic.P[j]) {
				t.Errorf("from %g: parameter %d is %.12g ± %.6g numerically, %.12g ± %.6g analytically", from, j, numeric.P[j], numeric.U[j], analytic.P[j], analytic.U[j])
			}
		}
	}
}

func TestBounds(t *testing.T) {
	// y = 2 - x exactly; with the slope held at or above -0.5 the best line has
	// that slope and goes through the middle of the points.
	line := func(p, x, dst []float64) {
		for i := range x {
			dst[i] = p[0] + p[1]*x[i]
		}
	}
	c := Curve{X: []float64{0, 1, 2, 3, 4}, Y: []float64{2, 1, 0, -1, -2}, Sigma: []float64{1, 1, 1, 1, 1}, Model: line,
		Start: []float64{0, 0}, Lower: []float64{math.Inf(-1), -0.5}, Upper: []float64{math.Inf(1), 5}, Names: []string{"height", "slope"}}
	r, err := c.Fit()
	if err != nil {
		t.Fatal(err)
	}
	if !near(r.P[0], 1, 1e-12) || r.P[1] != -0.5 || !slices.Equal(r.AtBound, []string{"slope"}) {
		t.Errorf("P = %v, at bound %v; want [1 -0.5], [slope]", r.P, r.AtBound)
	}
	if !near(r.U[0], math.Sqrt(0.2), 1e-9) || !math.IsNaN(r.U[1]) {
		t.Errorf("U = %v, want sqrt(1/5) and NaN", r.U)
	}
	if text := r.String(); !strings.Contains(text, "slope = -0.5, held by its bound") {
		t.Errorf("no word of the bound in %q", text)
	}
	// A start on the bound leaves it when the data say so.
	c.Lower[1], c.Start[1] = -5, -5
	if r, err = c.Fit(); err != nil || !near(r.P[1], -1, 1e-12) || r.AtBound != nil {
		t.Errorf("from the bound: P = %v, at bound %v, %v; want slope -1", r.P, r.AtBound, err)
	}
	// Equal bounds fix.
	c.Lower[1], c.Upper[1], c.Start[1] = -2, -2, -2
	r, err = c.Fit()
	if err != nil || !near(r.P[0], 4, 1e-12) || r.U[1] != 0 || r.DoF != 4 {
		t.Errorf("slope fixed at -2: P = %v, U = %v, DoF %d, %v; want height 4, U 0, DoF 4", r.P, r.U, r.DoF, err)
	}
}

// TestBoundsStayInside: the model is never asked outside the bounds.
func TestBoundsStayInside(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 0))
	for range 200 {
		x, y, s := decayRecord(rng, 12, 0.5)
		outside := 0
		lower, upper := []float64{0, 0.2}, []float64{3, 1.4 + rng.Float64()}
		_, err := Curve{X: x, Y: y, Sigma: s, Start: []float64{1, 0.3}, Lower: lower, Upper: upper,
			Model: func(p, x, dst []float64) {
				for j := range p {
					if p[j] < lower[j] || p[j] > upper[j] {
						outside++
					}
				}
				decay(p, x, dst)
			}}.Fit()
		if err != nil || outside > 0 {
			t.Fatalf("%d calls outside the bounds, %v", outside, err)
		}
	}
}

// TestUndetermined: the verdict names the parameters, and does not depend on
// their units.
func TestUndetermined(t *testing.T) {
	for _, unit := range []float64{1, 1e-12, 1e9} {
		c := Curve{X: []float64{0, 1, 2, 3, 4, 5}, Y: []float64{1, 2, 4, 4, 6, 7}, Sigma: []float64{1, 1, 1, 1, 1, 1},
			Model: func(p, x, dst []float64) {
				for i := range x {
					dst[i] = p[0] + (p[1]/unit+p[2])*x[i]
				}
			},
			Start: []float64{0, unit, 2}, Names: []string{"height", "mass", "density"}}
		r, err := c.Fit()
		if err != nil {
			t.Errorf("unit %g: %v", unit, err)
			continue
		}
		if !slices.Equal(r.Undetermined, []string{"mass", "density"}) || !math.IsInf(r.U[1], 1) || !math.IsInf(r.U[2], 1) {
			t.Errorf("unit %g: undetermined %v, U %v; want mass and density", unit, r.Undetermined, r.U)
		}
		// The height is determined all the same: sigma² [sum x² / (n sum x² - (sum x)²)].
		if want := math.Sqrt(55.0 / (6*55 - 15*15)); !near(r.U[0], want, 1e-7) {
			t.Errorf("unit %g: U of the height = %g, want %g", unit, r.U[0], want)
		}
		if !strings.Contains(r.String(), "mass: not determined by these data") {
			t.Errorf("unit %g: no plain word in %q", unit, r)
		}
	}
	// A parameter without any effect.
	c := Curve{X: []float64{0, 1, 2}, Y: []float64{1, 1, 2}, Model: func(p, x, dst []float64) {
		for i := range x {
			dst[i] = p[0]
		}
	}, Start: []float64{1, 1}}
	r, err := c.Fit()
	if err != nil || !slices.Equal(r.Undetermined, []string{"p[1]"}) {
		t.Errorf("undetermined %v, %v; want p[1]", r.Undetermined, err)
	}
}

func TestNotConverged(t *testing.T) {
	x, y, s := decayRecord(rand.New(rand.NewPCG(3, 0)), 20, 0.05)
	c := Curve{X: x, Y: y, Sigma: s, Model: decay, Start: []float64{1, 1},
		Jacobian: func(p, x []float64, dst *mat.Dense) { // of the wrong sign
			for i := range x {
				e := math.Exp(-x[i] / p[1])
				dst.SetRow(i, []float64{-e, -p[0] * e * x[i] / (p[1] * p[1])})
			}
		}}
	r, err := c.Fit()
	if !errors.Is(err, ErrNotConverged) || r == nil {
		t.Errorf("result %v, error %v; want a result and ErrNotConverged", r, err)
	}
}

// TestHardModel: a model that does not exist everywhere only makes steps shorter.
func TestHardModel(t *testing.T) {
	c := Curve{X: []float64{1, 2, 3, 4, 5}, Start: []float64{0.5, 30}, Model: func(p, x, dst []float64) {
		for i := range x {
			dst[i] = p[0] * math.Log(p[1]+x[i]-1.5) // NaN for p[1] < 0.5
		}
	}}
	c.Y = make([]float64, 5)
	c.Model([]float64{2, 0.6}, c.X, c.Y)
	r, err := c.Fit()
	if err != nil || !near(r.P[0], 2, 1e-6) || !near(r.P[1], 0.6, 1e-6) {
		t.Errorf("P = %v, %v; want [2 0.6]", r.P, err)
	}
}

func TestBadCurve(t *testing.T) {
	good := func() Curve {
		return Curve{X: []float64{0, 1, 2, 3}, Y: []float64{3, 2, 1, 1}, Sigma: []float64{1, 1, 1, 1}, Model: decay, Start: []float64{1, 1}}
	}
	tests := []struct {
		name   string
		change func(*Curve)
	}{
		{"X", func(c *Curve) { c.X = c.X[:3] }},
		{"X[1]", func(c *Curve) { c.X[1] = math.NaN() }},
		{"Y[2]", func(c *Curve) { c.Y[2] = math.Inf(1) }},
		{"Sigma", func(c *Curve) { c.Sigma = c.Sigma[:1] }},
		{"Sigma[0]", func(c *Curve) { c.Sigma[0] = 0 }},
		{"Sigma[3]", func(c *Curve) { c.Sigma[3] = -1 }},
		{"Start", func(c *Curve) { c.Start = nil }},
		{"Start[1]", func(c *Curve) { c.Start[1] = math.NaN() }},
		{"Start", func(c *Curve) { c.Start[1] = 0 }}, // x/0
		{"Lower", func(c *Curve) { c.Lower = []float64{0} }},
		{"Lower[0]", func(c *Curve) { c.Lower, c.Upper = []float64{2, 0}, []float64{1, 2} }},
		{"Start[0]", func(c *Curve) { c.Lower, c.Upper = []float64{2, 0}, []float64{3, 2} }},
		{"Upper", func(c *Curve) { c.Upper = []float64{1, 2, 3} }},
		{"Names", func(c *Curve) { c.Names = []string{"a"} }},
		{"Y", func(c *Curve) { c.X, c.Y, c.Sigma = c.X[:1], c.Y[:1], c.Sigma[:1] }},
		{"Y", func(c *Curve) { c.X, c.Y, c.Sigma = c.X[:2], c.Y[:2], nil }},
		{"Y", func(c *Curve) { c.X, c.Y, c.Sigma = nil, nil, nil }},
	}
	for _, test := range tests {
		c := good()
		test.change(&c)
		r, err := c.Fit()
		var bad *gravlab.ArgumentError
		if !errors.As(err, &bad) || bad.Name != test.name || r != nil {
			t.Errorf("%s: result %v, error %v", test.name, r, err)
		}
	}
	c := good()
	if _, err := c.Fit(); err != nil {
		t.Errorf("the good curve: %v", err)
	}
}

// TestExactData ends on the true parameters when there is no noise at all.
func TestExactData(t *testing.T) {
	c := Curve{Model: decay, Start: []float64{1, 1}}
	for i := range 10 {
		c.X = append(c.X, float64(i))
	}
	c.Y = make([]float64, 10)
	c.Model([]float64{5, 2.5}, c.X, c.Y)
	r, err := c.Fit()
	if err != nil || !near(r.P[0], 5, 1e-12) || !near(r.P[1], 2.5, 1e-12) {
		t.Errorf("P = %v, %v; want [5 2.5]", r.P, err)
	}
}

// TestFarTail: with many degrees of freedom Student's t is the normal
// distribution and a little more, also far out. The expansion in 1/nu is
// Abramowitz and Stegun (1964), 26.7.5 (from memory); the term after it is
// smaller than the tolerance.
func TestFarTail(t *testing.T) {
	for _, outside := range []float64{0.05, 0.0027, 5.733e-7, 1e-9, 1e-12} {
		z := (&Result{}).CoverageFactor(1 - outside)
		for nu := 20000; nu < 3e6; nu += 1 + nu/50 {
			n := float64(nu)
			want := z + (z*z*z+z)/(4*n) + (5*math.Pow(z, 5)+16*z*z*z+3*z)/(96*n*n)
			if k := (&Result{DoF: nu, Scaled: true}).CoverageFactor(1 - outside); !(math.Abs(k-want) <= 1e-7*want) {
				t.Fatalf("%g outside, %d degrees of freedom: k = %.9g, want %.9g", outside, nu, k, want)
			}
		}
	}
	for _, p := range []float64{1e-300, 1e-17, 1e-6} { // near the middle t is even
		if k := (&Result{DoF: 2, Scaled: true}).CoverageFactor(p); !(math.Abs(k-p*math.Sqrt2) <= 1e-9*p+1e-16) {
			t.Errorf("p = %g: k = %g, want %g", p, k, p*math.Sqrt2)
		}
	}
}
