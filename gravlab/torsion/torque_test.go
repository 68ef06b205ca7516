package torsion

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/integrate/quad"

	"gravity.example/gravlab"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s = %.15g, want %.15g within a relative %.1g", what, got, want, rel)
	}
}

// someBalances returns balances of many shapes from a seed.
func someBalances(n int) []Balance {
	random := rand.New(rand.NewPCG(7, 11))
	between := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, random.Float64()) }
	var balances []Balance
	for range n {
		b := Balance{
			Arm: between(0.02, 1), SmallMass: between(0.005, 1), LargeMass: between(0.5, 200),
			BeamMass: between(0.001, 0.1), ExtraInertia: between(1e-8, 1e-5), Damping: between(1e-9, 1e-7),
		}
		b.Distance = b.Arm * between(0.1, 2)
		b.BeamLength = 2 * b.Arm * between(0.8, 1.1)
		b.InLine = b.Arm * between(0.3, 1)
		b.SmallRadius = 0.1 * b.Distance
		// A deflection of a few mrad by the textbook formula.
		b.Kappa = 2 * gravlab.G * b.SmallMass * b.LargeMass * b.Arm / (b.Distance * b.Distance) / between(1e-3, 1e-2)
		balances = append(balances, b)
	}
	return balances
}

// TestTorqueByQuadrature compares the closed form with Newton's law summed over
// both spheres and integrated along the beam.
func TestTorqueByQuadrature(t *testing.T) {
	for _, b := range someBalances(40) {
		p := b.pendant()
		for _, place := range [][2]float64{{1, 0.4}, {0.2, 0.7}, {0, 0.3}, {-0.4, 0.3}, {1.5, 0.01}, {1.5, -2}, {40, 30}} {
			x, y := place[0]*b.Arm, place[1]*b.Arm
			for _, theta := range []float64{0, 0.02, -0.3, 2.2} {
				sin, cos := math.Sincos(theta)
				// Torque per length and mass of an element at w along the beam.
				pull := func(w float64) float64 {
					dx, dy := x-w*cos, y-w*sin
					return (w*cos*dy - w*sin*dx) / math.Pow(dx*dx+dy*dy, 1.5)
				}
				want := p.ball * (pull(b.Arm) + pull(-b.Arm))
				size := p.ball * (math.Abs(pull(b.Arm)) + math.Abs(pull(-b.Arm)))
				const pieces = 40
				for i := range pieces {
					lo := p.half * (2*float64(i)/pieces - 1)
					hi := p.half * (2*float64(i+1)/pieces - 1)
					part := p.line * quad.Fixed(pull, lo, hi, 12, quad.Legendre{}, 0)
					want += part
					size += math.Abs(part)
				}
				// The sum cancels; its rounding is that of its parts.
				if got, _ := p.torque(x, y, theta); math.Abs(got-want) > 1e-12*size {
					t.Errorf("torque of %+v on %+v at %g rad = %.15g, want %.15g", place, p, theta, got, want)
				}
			}
		}
	}
}

// TestTorqueFarOff: from afar only the quadrupole of the pendant is left,
//
//	torque = 3/2 G M Q sin(2 phi)/R³, Q = 2 m b² + m_beam L²/12
//
// which the naive sum of the four pulls loses to rounding.
func TestTorqueFarOff(t *testing.T) {
	b := Skelmire()
	p := b.pendant()
	q := 2*b.SmallMass*b.Arm*b.Arm + b.BeamMass*4*b.Arm*b.Arm/12
	for _, distance := range []float64{1e2, 1e4, 1e6} {
		for _, phi := range []float64{0.1, 0.7, 1.5, 1.5707, 3} {
			got, _ := p.torque(distance*math.Cos(phi), distance*math.Sin(phi), 0)
			// The next order is smaller by (b/R)² times at most 10.
			rel := 10*b.Arm*b.Arm/(distance*distance) + 1e-12
			near(t, "torque from afar", got, 1.5*q*math.Sin(2*phi)/(distance*distance*distance), rel)
		}
	}
}

func TestSlopeByDifference(t *testing.T) {
	for _, b := range someBalances(40) {
		for _, at := range []Position{Plus, Minus, InLine} {
			x, y, err := b.sphere(at)
			if err != nil {
				t.Fatal(err)
			}
			p := b.pendant()
			for _, theta := range []float64{0.003, -0.05, 0.02, 1.8} {
				f := func(theta float64) float64 { torque, _ := p.torque(x, y, theta); return torque }
				want := fd.Derivative(f, theta, &fd.Settings{Formula: fd.Central, Step: 1e-5})
				_, got := p.torque(x, y, theta)
				torque := math.Abs(f(theta))
				// Truncation and rounding of the difference, for torques that
				// change within d/b.
				if math.Abs(got-want) > 1e-6*(math.Abs(want)+torque) {
					t.Errorf("slope of %+v %v at %g rad = %.12g, by difference %.12g", b, at, theta, got, want)
				}
			}
		}
	}
}

func TestSymmetry(t *testing.T) {
	for _, b := range someBalances(20) {
		for _, theta := range []float64{0, 0.01, 0.04, -0.05} {
			plus := gravlab.Must(b.Torque(theta, Plus))
			near(t, "mirror image", gravlab.Must(b.Torque(-theta, Minus)), -plus, 1e-14)
			near(t, "half a turn", gravlab.Must(b.Torque(theta+math.Pi, Plus)), plus, 1e-12)
		}
		if torque := gravlab.Must(b.Torque(0, InLine)); torque != 0 {
			t.Errorf("torque in line = %g, want 0", torque)
		}
		if k := gravlab.Must(b.Stiffness(0, InLine)); k <= b.Kappa {
			t.Errorf("in line the stiffness is %g, want more than kappa = %g", k, b.Kappa)
		}
		if k := gravlab.Must(b.Stiffness(0, Plus)); b.Distance < b.Arm && k >= b.Kappa {
			t.Errorf("in Plus the stiffness is %g, want less than kappa = %g", k, b.Kappa)
		}
	}
}

// TestScaling: lengths times 3 and masses times 2 make the torque 4/3 of it.
func TestScaling(t *testing.T) {
	for _, b := range someBalances(10) {
		big := b
		for _, length := range []*float64{&big.Arm, &big.Distance, &big.BeamLength, &big.SmallRadius, &big.InLine} {
			*length *= 3
		}
		for _, mass := range []*float64{&big.SmallMass, &big.LargeMass, &big.BeamMass} {
			*mass *= 2
		}
		near(t, "scaled torque", gravlab.Must(big.Torque(0.02, Plus)), 4./3*gravlab.Must(b.Torque(0.02, Plus)), 1e-13)
	}
}

// TestSizeOfSpheres: the radius of a ball enters the inertia, not the pull.
func TestSizeOfSpheres(t *testing.T) {
	b := Skelmire()
	point := b
	point.SmallRadius, point.LargeRadius = 0, 0
	near(t, "torque", gravlab.Must(b.Torque(0.01, Plus)), gravlab.Must(point.Torque(0.01, Plus)), 1e-15)
	want := gravlab.Must(point.Inertia()) + 2*0.4*b.SmallMass*b.SmallRadius*b.SmallRadius
	near(t, "inertia", gravlab.Must(b.Inertia()), want, 1e-15)
}

func TestTorqueRefuses(t *testing.T) {
	b := Skelmire()
	tests := []struct {
		name   string
		change func(*Balance)
		theta  float64
		at     Position
		want   string
	}{
		{"negative mass", func(b *Balance) { b.SmallMass = -1 }, 0, Plus, "SmallMass"},
		{"no arm", func(b *Balance) { b.Arm = 0 }, 0, Plus, "Arm"},
		{"gap for d", func(b *Balance) { b.Distance = 0.021 }, 0, Plus, "not the gap"},
		{"NaN", func(b *Balance) { b.LargeMass = math.NaN() }, 0, Plus, "LargeMass"},
		{"no in-line position", func(b *Balance) { b.InLine = 0 }, 0, InLine, "InLine"},
		{"NaN angle", func(*Balance) {}, math.NaN(), Plus, "theta"},
		{"spheres overlap", func(*Balance) {}, 0.5, Plus, "overlap"},
		{"unknown position", func(*Balance) {}, 0, Position(9), "position"},
	}
	for _, test := range tests {
		changed := b
		test.change(&changed)
		_, err := changed.Torque(test.theta, test.at)
		var bad *gravlab.ArgumentError
		if !errors.As(err, &bad) || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: error %q, want one that says %q", test.name, err, test.want)
		}
	}
	if _, err := b.TorqueOf(80, b.Arm, 0, 0); err == nil {
		t.Error("a person on a small sphere: no error")
	}
	if _, err := b.TorqueOf(80, 0.5*b.Arm, 0, 0); err == nil {
		t.Error("a person on the beam: no error")
	}
}

func BenchmarkTorque(b *testing.B) {
	balance := Skelmire()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := balance.Torque(0.003, Plus); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDeflection(b *testing.B) {
	balance := Skelmire()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := balance.Deflection(); err != nil {
			b.Fatal(err)
		}
	}
}

// TestTorqueDoesNotAllocate: the integrator and students' loops call it often.
func TestTorqueDoesNotAllocate(t *testing.T) {
	b := Skelmire()
	if n := testing.AllocsPerRun(100, func() { b.Torque(0.003, Plus) }); n != 0 {
		t.Errorf("%v allocations in a torque, want none", n)
	}
}
