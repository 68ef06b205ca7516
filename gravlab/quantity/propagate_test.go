package quantity

import (
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"gravity.example/gravlab"
)

func product(x []float64) float64 { return x[0] * x[1] }

// TestPropagateClosedForm: u²(xy) = (y u_x)² + (x u_y)² + 2 x y u_x u_y r.
func TestPropagateClosedForm(t *testing.T) {
	for _, r := range []float64{-1, -0.3, 0, 0.8, 1} {
		correlation, err := Correlations(2, [3]float64{0, 1, r})
		if err != nil {
			t.Fatal(err)
		}
		b, err := Propagate(product, []Input{{Name: "x", Value: 3, U: 0.1}, {Name: "y", Value: -5, U: 0.2}}, correlation)
		if err != nil {
			t.Fatal(err)
		}
		want := math.Sqrt(0.25 + 0.36 - 2*0.3*r)
		if math.Abs(b.U-want) > 1e-10*want || math.Abs(b.Lines[0].Sensitivity+5) > 1e-10 {
			t.Errorf("r = %g: u = %.15g, sensitivity %.15g; want %.15g and -5", r, b.U, b.Lines[0].Sensitivity, want)
		}
		if sum := b.Lines[0].Share + b.Lines[1].Share + b.Correlated; math.Abs(sum-1) > 1e-12 {
			t.Errorf("r = %g: the shares add up to %.15g", r, sum)
		}
	}
}

// TestWelchSatterthwaite: two equal parts with nu degrees of freedom each have
// 2 nu; a part without any counts as infinitely many.
// TestLateTime: the sensitivity is the derivative at the value also where f
// turns round many times within a small part of it, as a phase does with a time
// that counts from long ago.
func TestLateTime(t *testing.T) {
	for _, at := range []float64{1, 1e3, 1e4, 1e5, 1e6, 1e7} {
		b, err := Propagate(func(x []float64) float64 { return 3 * math.Cos(2*math.Pi*x[0]/5) }, []Input{{Value: at + 0.7, U: 0.01}}, nil)
		if err != nil {
			t.Fatal(err)
		}
		want := -3 * 2 * math.Pi / 5 * math.Sin(2*math.Pi*(at+0.7)/5)
		if got := b.Lines[0].Sensitivity; math.Abs(got-want) > 1e-5*math.Abs(want) {
			t.Errorf("at %g s: sensitivity %.9g, want %.9g", at, got, want)
		}
	}
}

func TestWelchSatterthwaite(t *testing.T) {
	sum := func(x []float64) float64 { return x[0] + x[1] }
	for _, test := range []struct{ a, b, want float64 }{{4, 4, 8}, {4, 0, 16}, {0, 0, math.Inf(1)}} {
		b, err := Propagate(sum, []Input{{Value: 1, U: 1, DoF: test.a}, {Value: 1, U: 1, DoF: test.b}}, nil)
		if err != nil || !(b.DoF == test.want || math.Abs(b.DoF-test.want) < 1e-8) {
			t.Errorf("%g and %g degrees of freedom: %g, %v; want %g", test.a, test.b, b.DoF, err, test.want)
		}
	}
}

// TestMonteCarloLinear: for a linear model of normal inputs both ways agree,
// within five standard errors of the sample.
func TestMonteCarloLinear(t *testing.T) {
	inputs := []Input{{Name: "a", Value: 2, U: 0.3}, {Name: "b", Value: -1, U: 0.4}, {Name: "c", Value: 5, U: 0.2, Shape: Triangular}}
	f := func(x []float64) float64 { return x[0] - 2*x[1] + x[2] }
	for _, r := range []float64{-1, 0.7, 1} {
		correlation, err := Correlations(3, [3]float64{0, 1, r})
		if err != nil {
			t.Fatal(err)
		}
		b, err := Propagate(f, inputs, correlation)
		if err != nil {
			t.Fatal(err)
		}
		const trials = 100_000
		d, err := MonteCarlo(rand.New(rand.NewPCG(21, 0)), f, inputs, correlation, trials)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(d.Mean-b.Value) > 5*b.U/math.Sqrt(trials) || math.Abs(d.U-b.U) > 5*b.U/math.Sqrt(2*trials) {
			t.Errorf("r = %g: %g ± %g, first order %g ± %g", r, d.Mean, d.U, b.Value, b.U)
		}
	}
}

// TestShapes: mean, standard deviation and 97.5 % point of each shape.
// Student's t for 4 degrees of freedom: 2.776, standard deviation sqrt(2)
// (tables, e.g. Abramowitz and Stegun 26.10, from memory).
func TestShapes(t *testing.T) {
	const trials = 400_000
	tests := []struct {
		shape       Shape
		dof, sd, at float64
	}{
		{Normal, 0, 1, 1.95996}, {Rectangular, 0, 1, 0.95 * math.Sqrt(3)}, {Triangular, 0, 1, math.Sqrt(6) * (1 - math.Sqrt(0.05))}, {StudentT, 4, math.Sqrt2, 2.776},
	}
	for _, test := range tests {
		d, err := MonteCarlo(rand.New(rand.NewPCG(22, 0)), func(x []float64) float64 { return x[0] }, []Input{{Value: 0, U: 1, Shape: test.shape, DoF: test.dof}}, nil, trials)
		if err != nil {
			t.Fatal(err)
		}
		low, high, err := d.Symmetric(0.95)
		// Ends: sqrt(0.025 × 0.975/n) over the density, at least 0.02 there.
		slack := 5 * math.Sqrt(0.025/trials) / 0.02
		if err != nil || math.Abs(d.Mean) > 5*test.sd/math.Sqrt(trials) || math.Abs(high-test.at) > slack || math.Abs(low+test.at) > slack {
			t.Errorf("%v: mean %g, 95 %% from %g to %g, %v; want 0 ± %g", test.shape, d.Mean, low, high, err, test.at)
		}
		// The fourth moment of t with 4 degrees of freedom is infinite: no bound on U then.
		if test.shape != StudentT && math.Abs(d.U-test.sd) > 5*test.sd/math.Sqrt(trials) {
			t.Errorf("%v: U = %g, want %g", test.shape, d.U, test.sd)
		}
	}
}

// TestSameSeed: one seed gives one sample, on one core and on several.
func TestSameSeed(t *testing.T) {
	draw := func() []float64 {
		d, err := MonteCarlo(rand.New(rand.NewPCG(23, 5)), product, []Input{{Value: 1, U: 1}, {Value: 2, U: 1, Shape: StudentT, DoF: 3}}, nil, 100_000)
		if err != nil {
			t.Fatal(err)
		}
		return d.Values
	}
	several := draw()
	old := runtime.GOMAXPROCS(1)
	one := draw()
	runtime.GOMAXPROCS(old)
	if !slices.Equal(one, several) || !slices.IsSorted(one) {
		t.Error("the sample depends on the number of cores")
	}
}

func TestShortest(t *testing.T) {
	d := &Distribution{Values: []float64{0, 4, 4.1, 4.2, 4.3, 4.4, 4.5, 20, 40, 80}}
	low, high, err := d.Shortest(0.5) // five steps
	if err != nil || low != 4 || high != 4.5 {
		t.Errorf("shortest half: %g to %g, %v; want 4 to 4.5", low, high, err)
	}
	for _, p := range []float64{0, 1, math.NaN(), 0.999, -3} {
		if _, _, err := d.Symmetric(p); err == nil {
			t.Errorf("Symmetric(%g) of ten values gave an interval", p)
		}
	}
}

func TestRepeated(t *testing.T) {
	inputs, r, err := Repeated([]float64{1, 2, 3, 4}, []float64{8, 6, 4, 2}, []float64{5, 5, 5, 5})
	if err != nil {
		t.Fatal(err)
	}
	// s² = 5/3, u = sqrt(5/12); the second falls twice as fast.
	if math.Abs(inputs[0].U-math.Sqrt(5.0/12)) > 1e-15 || inputs[1].Value != 5 || inputs[0].DoF != 3 || math.Abs(r.At(0, 1)+1) > 1e-15 || inputs[2].U != 0 || r.At(0, 2) != 0 {
		t.Errorf("%+v\n%v", inputs, mat.Formatted(r))
	}
}

func TestBadPropagation(t *testing.T) {
	good := []Input{{Name: "a", Value: 1, U: 1}, {Name: "b", Value: 2, U: 1}}
	matrix := func(v ...float64) *mat.SymDense { return mat.NewSymDense(int(math.Sqrt(float64(len(v)))), v) }
	tests := []struct {
		name        string
		f           func([]float64) float64
		inputs      []Input
		correlation mat.Symmetric
	}{
		{"inputs", product, nil, nil},
		{"a", product, []Input{{Name: "a", Value: math.NaN(), U: 1}, good[1]}, nil},
		{"U of a", product, []Input{{Name: "a", Value: 1, U: -1}, good[1]}, nil},
		{"DoF of a", product, []Input{{Name: "a", Value: 1, U: 1, DoF: -1}, good[1]}, nil},
		{"Shape of a", product, []Input{{Name: "a", Value: 1, U: 1, Shape: 9}, good[1]}, nil},
		{"correlation", product, good, matrix(1)},
		{"correlation[1,0]", product, good, matrix(1, 2, 2, 1)},
		{"correlation[1,1]", product, good, matrix(1, 0, 0, 2)},
		{"correlation", func(x []float64) float64 { return x[0] }, append(slices.Clone(good), Input{Value: 1, U: 1}), matrix(1, 0.9, -0.9, 0.9, 1, 0.9, -0.9, 0.9, 1)},
		{"f", func([]float64) float64 { return math.NaN() }, good, nil},
	}
	for _, test := range tests {
		var e *gravlab.ArgumentError
		if _, err := Propagate(test.f, test.inputs, test.correlation); !errors.As(err, &e) || e.Name != test.name {
			t.Errorf("Propagate, %s: %v", test.name, err)
		}
		if _, err := MonteCarlo(rand.New(rand.NewPCG(1, 1)), test.f, test.inputs, test.correlation, 100); !errors.As(err, &e) || e.Name != test.name {
			t.Errorf("MonteCarlo, %s: %v", test.name, err)
		}
	}
	if _, err := MonteCarlo(rand.New(rand.NewPCG(1, 1)), product, good, nil, 1); err == nil {
		t.Error("one trial was accepted")
	}
	if _, err := MonteCarlo(rand.New(rand.NewPCG(1, 1)), product, []Input{{U: 1, Shape: Rectangular}, {U: 1}}, matrix(1, 0.5, 0.5, 1), 10); err == nil || !strings.Contains(err.Error(), "Normal") {
		t.Errorf("a correlated rectangular input: %v", err)
	}
}

func TestNoPanic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 4).Draw(t, "n")
		inputs := make([]Input, n)
		for i := range inputs {
			inputs[i] = Input{Value: rapid.Float64().Draw(t, "value"), U: rapid.Float64().Draw(t, "u"), DoF: rapid.Float64().Draw(t, "dof"), Shape: Shape(rapid.IntRange(-1, 4).Draw(t, "shape"))}
		}
		f := func(x []float64) float64 {
			sum := 1.0
			for _, v := range x {
				sum *= v
			}
			return sum
		}
		if b, err := Propagate(f, inputs, nil); err == nil {
			_ = b.String()
		}
		if d, err := MonteCarlo(rand.New(rand.NewPCG(1, 1)), f, inputs, nil, rapid.IntRange(-1, 50).Draw(t, "trials")); err == nil {
			d.Symmetric(rapid.Float64().Draw(t, "p"))
			d.Shortest(0.9)
		}
		a, b := rapid.SliceOf(rapid.Float64()).Draw(t, "a"), rapid.SliceOf(rapid.Float64()).Draw(t, "b")
		Repeated(a, b)
		q := Quantity{Value: rapid.Float64().Draw(t, "v"), U: rapid.Float64().Draw(t, "s"), Unit: MustUnit("µN m/rad")}
		_, _ = q.String(), q.Concise()
		_ = q.Unit.Suited(q.Value)
		_ = q.Digits(n)
	})
}

func BenchmarkMonteCarlo(b *testing.B) {
	inputs := []Input{{Value: 0.00413, U: 0.00004}, {Value: 512.3, U: 0.7}, {Value: 0.0468, U: 0.00012}, {Value: 1.492, U: 0.0004}, {Value: 0.0497, U: 0.00005, Shape: Rectangular}}
	f := func(x []float64) float64 {
		omega := 2 * math.Pi / x[1]
		return omega * omega * x[0] * x[2] * x[2] * x[4] / x[3]
	}
	for b.Loop() {
		if _, err := MonteCarlo(rand.New(rand.NewPCG(1, 0)), f, inputs, nil, 1_000_000); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkParse(b *testing.B) {
	want := MustUnit("N m/rad")
	for b.Loop() {
		if _, err := Parse("(1.23 ± 0.04) × 10⁻⁸ N·m/rad", want); err != nil {
			b.Fatal(err)
		}
	}
}
