package pendulum_test

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab"
	"gravity.example/gravlab/pendulum"
)

// kit is a tube with two discs of one size, one of them hollow, and a weight that
// slides in the tube.
func kit(slide float64) pendulum.Reversible {
	return pendulum.Reversible{Edges: 1, Gravity: 9.81, Parts: []pendulum.Part{
		{Mass: 1.0, At: 0.5, Length: 1.4, Volume: 5e-4},
		{Mass: 1.4, At: 1.1, Length: 0.06, Volume: 1.7e-4},
		{Mass: 0.15, At: -0.1, Length: 0.06, Volume: 1.7e-4},
		{Mass: 0.4, At: slide, Length: 0.04},
	}}
}

// Two periods, and what they say of g although the inertia is unknown.
func ExampleReversible() {
	r := kit(0.2)
	t1, t2, err := r.Periods()
	h1 := r.Centre()
	fmt.Printf("%.5f s and %.5f s\n", t1, t2)
	fmt.Printf("g = %.6f m/s²\n", gravlab.Must(pendulum.ReversibleGravity(gravlab.Must(t1, err), t2, h1, r.Edges-h1)))
	// Output:
	// 2.01574 s and 2.03008 s
	// g = 9.810000 m/s²
}

// A uniform rod on its end is a simple pendulum of two thirds of its length, and
// the other edge of that distance gives the same period.
func TestUniformRod(t *testing.T) {
	r := pendulum.Reversible{Edges: 2.0 / 3, Gravity: 9.81, Parts: []pendulum.Part{{Mass: 3, At: 0.5, Length: 1}}}
	first, second, err := r.Periods()
	if err != nil {
		t.Fatal(err)
	}
	want := 2 * math.Pi * math.Sqrt(2.0/3/9.81)
	if math.Abs(first-want) > 1e-14 || math.Abs(second-want) > 1e-14 {
		t.Errorf("%.16g s and %.16g s, want %.16g s", first, second, want)
	}
}

// Air spoils g from equal periods, unless the outside of the pendulum is
// symmetric about the middle between its edges.
func TestSymmetricInAir(t *testing.T) {
	inAir := func(symmetric bool) float64 {
		r := kit(0)
		r.AirDensity, r.AirInertia = 1.2, 0.7
		if !symmetric {
			r.Parts[2].Volume = 0
		}
		// The slide where the periods are equal.
		period := 0.0
		lo, hi := 0.6, 0.85
		for range 200 {
			r.Parts[3].At = (lo + hi) / 2
			t1, t2, err := r.Periods()
			if err != nil {
				t.Fatal(err)
			}
			if period = t1; t1 > t2 {
				lo = r.Parts[3].At
			} else {
				hi = r.Parts[3].At
			}
		}
		if t1, t2, _ := r.Periods(); math.Abs(t1-t2) > 1e-12 {
			t.Fatalf("no equal periods: %g s and %g s", t1, t2)
		}
		return 4 * math.Pi * math.Pi * r.Edges / (period * period)
	}
	if g := inAir(true); math.Abs(g-9.81) > 1e-11 {
		t.Errorf("symmetric: g = %.12g m/s²", g)
	}
	if g := inAir(false); math.Abs(g-9.81) < 1e-4 {
		t.Errorf("not symmetric: g = %.9g m/s² although air was there", g)
	}
}

// A support with a mass of its own, a thousandth of the bob's, against the one
// that follows at once: the lower of the two frequencies of the pair.
func TestSwayAgainstTwoMasses(t *testing.T) {
	const m, length, g, stiffness = 2.0, 0.9, 9.81, 4000.0
	ratio, err := pendulum.SwayRatio(m*g, stiffness, length)
	if err != nil {
		t.Fatal(err)
	}
	// Small angles: (M+m) x'' + m L a'' + k x = 0 and x'' + L a'' + g a = 0.
	inertia := mat.NewDense(2, 2, []float64{m * 1.001, m * length, 1, length})
	force := mat.NewDense(2, 2, []float64{stiffness, 0, 0, g})
	var a mat.Dense
	if err := a.Solve(inertia, force); err != nil {
		t.Fatal(err)
	}
	var e mat.Eigen
	if !e.Factorize(&a, mat.EigenNone) {
		t.Fatal("no eigenvalues")
	}
	v := e.Values(nil)
	slow := math.Sqrt(math.Min(real(v[0]), real(v[1])))
	// The support's mass shifts the frequency by (m_s/m) (load/(k L))²/2 or so.
	if got, want := ratio, math.Sqrt(g/length)/slow; math.Abs(got-want) > 1e-7 {
		t.Errorf("ratio %.9f, by eigenvalues %.9f", got, want)
	}
}

func TestReversibleRefuses(t *testing.T) {
	tips := kit(0.2)
	tips.Parts[1].At = -2
	for name, r := range map[string]pendulum.Reversible{"nothing": {}, "tips": tips, "no parts": {Edges: 1, Gravity: 9.8}} {
		if _, _, err := r.Periods(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := pendulum.ReversibleGravity(2, 2, 0.5, 0.5); err == nil {
		t.Error("a centre of mass midway is not refused")
	}
}
