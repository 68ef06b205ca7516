package torsion

import (
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// Deflection returns theta_e, the angle from the middle at which the beam comes
// to rest with the large spheres in position Plus, rad. (In position Minus it
// rests at -theta_e: switching sides moves it by 2 theta_e.) It solves
//
//	kappa theta = torque(theta)
//
// exactly, on the branch of solutions that starts at theta = 0 for large
// spheres without mass. There is none, and Deflection says so, when the large
// spheres are heavier than SnapIn allows or when something touches first.
func (b Balance) Deflection() (float64, error) {
	if err := b.validateSwing(); err != nil {
		return 0, err
	}
	limit := b.snapIn()
	switch {
	case b.LargeMass > limit.FoldMass && limit.FoldMass < limit.TouchMass:
		return 0, fmt.Errorf("torsion.Balance: no equilibrium: with LargeMass %.6g kg the beam snaps in; it balances up to %.6g kg (at %.4g rad)",
			b.LargeMass, limit.FoldMass, limit.FoldAngle)
	case b.LargeMass > limit.TouchMass:
		return 0, fmt.Errorf("torsion.Balance: no free equilibrium: with LargeMass %.6g kg %s (at %.4g rad); this happens from %.6g kg",
			b.LargeMass, limit.Touches, limit.TouchAngle, limit.TouchMass)
	}
	p := b.pendant()
	end := math.Min(limit.FoldAngle, limit.TouchAngle)
	if math.IsInf(end, 1) {
		end = math.Atan2(b.Distance, b.Arm)
	}
	scale := 2 * gravlab.G * b.LargeMass
	theta := root(func(theta float64) (float64, float64) {
		torque, slope := p.torque(b.Arm, b.Distance, theta)
		return b.Kappa*theta - scale*torque, b.Kappa - scale*slope
	}, 0, end)
	if math.IsNaN(theta) {
		return 0, arg.Bad("torsion.Balance", "dimensions", b, "masses and lengths whose torque float64 can hold")
	}
	return theta, nil
}

// A SnapIn says up to which mass of each large sphere the balance has an
// equilibrium, if everything else stays as it is. The gravitational torque
// grows ever faster towards the large spheres, the fibre's only in proportion:
// beyond the fold the fibre never holds. In a real balance something usually
// touches before that, so both are here; the smaller mass counts.
type SnapIn struct {
	FoldMass  float64 // largest mass with an equilibrium if nothing were in the way, kg; +Inf if there is always one
	FoldAngle float64 // its angle, rad; +Inf if there is no fold

	TouchMass  float64 // mass at whose equilibrium something touches, kg; +Inf if nothing does before the fold
	TouchAngle float64 // angle at which it touches, rad; +Inf if nothing is in the way
	Touches    string  // what touches what; empty if nothing is in the way
}

// SnapIn returns the limit of stability in position Plus. LargeMass does not
// enter and may be 0, nor does the radius of the large sphere change with its mass here. The
// fold is where the mass that a given equilibrium needs,
//
//	M(theta) = kappa theta / (torque(theta)/M),
//
// first stops growing. It can be missing: with the large spheres far off the
// arc of the small ones, the beam turns smoothly until it points at them.
func (b Balance) SnapIn() (SnapIn, error) {
	if b.LargeMass == 0 {
		b.LargeMass = 1
	}
	if err := b.validateSwing(); err != nil {
		return SnapIn{}, err
	}
	return b.snapIn(), nil
}

func (b Balance) snapIn() SnapIn {
	s, _ := snap(b)
	return s
}

func (b Balance) findSnapIn() SnapIn {
	p := b.pendant()
	mass := func(theta float64) float64 {
		torque, _ := p.torque(b.Arm, b.Distance, theta)
		return b.Kappa * theta / (2 * gravlab.G * torque)
	}
	// The mass stops growing where torque = theta d(torque)/d(theta).
	growth := func(theta float64) float64 {
		torque, slope := p.torque(b.Arm, b.Distance, theta)
		return torque - theta*slope
	}
	s := SnapIn{FoldMass: math.Inf(1), FoldAngle: math.Inf(1), TouchMass: math.Inf(1)}
	s.TouchAngle, s.Touches = b.touchAngle()

	// With the beam pointing at the large spheres the torque is zero again. The
	// fold lies about a third of the way; it is bracketed on a fine grid.
	const steps = 400
	pointing := math.Atan2(b.Distance, b.Arm)
	for i := 1; i < steps; i++ {
		lo, hi := pointing*float64(i-1)/steps, pointing*float64(i)/steps
		if growth(hi) < 0 {
			s.FoldAngle = bisect(growth, lo, hi)
			s.FoldMass = mass(s.FoldAngle)
			break
		}
	}
	if s.TouchAngle <= s.FoldAngle && s.TouchAngle < pointing {
		s.TouchMass = mass(s.TouchAngle)
	}
	return s
}

// Corrections splits the deflection into the textbook formula and what it
// leaves out, rad. Simple + Far + Beam + Angle = Exact.
type Corrections struct {
	Simple float64 // 2 G m M b / (kappa d²): near spheres only, at theta = 0
	Far    float64 // the far spheres pull back: minus Simple times (d/sqrt(d²+4b²))³
	Beam   float64 // the large spheres pull the beam as well, at theta = 0
	Angle  float64 // the torque grows as the beam turns (gradient of gravity) and the exact geometry
	Exact  float64 // Deflection
}

// Corrections returns the deflection term by term.
func (b Balance) Corrections() (Corrections, error) {
	exact, err := b.Deflection()
	if err != nil {
		return Corrections{}, err
	}
	points := pendant{arm: b.Arm, ball: b.SmallMass}
	scale := 2 * gravlab.G * b.LargeMass / b.Kappa
	balls, _ := points.torque(b.Arm, b.Distance, 0)
	all, _ := b.pendant().torque(b.Arm, b.Distance, 0)
	c := Corrections{Exact: exact}
	c.Simple = scale * b.SmallMass * b.Arm / (b.Distance * b.Distance)
	reach := math.Hypot(b.Distance, 2*b.Arm)
	c.Far = -c.Simple * math.Pow(b.Distance/reach, 3)
	c.Beam = scale * (all - balls)
	c.Angle = exact - scale*all
	return c, nil
}

// Period returns the period of small undamped swings about the equilibrium with
// the large spheres at the given position, s:
//
//	T = 2 pi sqrt(I/k)
//
// with the stiffness k there, so that the gradient of gravity is counted. A
// full period: there and back.
func (b Balance) Period(at Position) (float64, error) {
	k, _, err := b.stiffnessAtRest(at)
	if err != nil {
		return 0, err
	}
	return result("torsion.Balance.Period", 2*math.Pi*math.Sqrt(b.inertia()/k))
}

// stiffnessAtRest returns the stiffness at the equilibrium, and the
// equilibrium.
func (b Balance) stiffnessAtRest(at Position) (k, theta float64, err error) {
	if err := b.validateSwing(); err != nil {
		return 0, 0, err
	}
	if at == Plus || at == Minus {
		if theta, err = b.Deflection(); err != nil {
			return 0, 0, err
		}
		if at == Minus {
			theta = -theta
		}
	}
	if k, err = b.Stiffness(theta, at); err != nil {
		return 0, 0, err
	}
	if !(k > 0) {
		return 0, 0, fmt.Errorf("torsion.Balance: the equilibrium at %.6g rad is the snap-in limit: its stiffness is %.3g N m/rad", theta, k)
	}
	return k, theta, nil
}

// root finds the zero of a function that is at most zero at lo and at least
// zero at hi, from its value and derivative: Newton's method, kept between the
// ends by bisection.
func root(f func(float64) (value, slope float64), lo, hi float64) float64 {
	x := lo
	for range 200 {
		value, slope := f(x)
		if math.IsNaN(value) {
			return math.NaN()
		}
		if value == 0 {
			return x
		}
		if value < 0 {
			lo = x
		} else {
			hi = x
		}
		next := x - value/slope
		if !(next > lo && next < hi) {
			next = lo + (hi-lo)/2
		}
		if next == x || hi-lo <= 2e-16*math.Abs(hi) {
			return next
		}
		x = next
	}
	return x
}

// bisect finds where f changes from positive at lo to negative at hi.
func bisect(f func(float64) float64, lo, hi float64) float64 {
	for range 200 {
		mid := lo + (hi-lo)/2
		if mid <= lo || mid >= hi {
			break
		}
		if f(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo + (hi-lo)/2
}
