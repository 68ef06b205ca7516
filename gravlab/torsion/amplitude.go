package torsion

import (
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// PeriodAt returns the period, s, of an undamped swing whose upper turning
// point lies amplitude (rad, positive) above the equilibrium with the large
// spheres at the given position, with the exact torque. It comes from the
// energy integral
//
//	T = 2 ∫ dtheta / sqrt(2 W(theta)/I) between the turning points
//
// where W is the work of the restoring torque from theta to a turning point.
// Towards zero amplitude it tends to Period. It is an error if the beam would
// be caught by the large spheres, or touch something, on the way.
func (b Balance) PeriodAt(amplitude float64, at Position) (float64, error) {
	if err := arg.Positive("torsion.Balance.PeriodAt", "amplitude", amplitude, "angle in rad"); err != nil {
		return 0, err
	}
	k, rest, err := b.stiffnessAtRest(at)
	if err != nil {
		return 0, err
	}
	if at == Removed {
		return result("torsion.Balance.PeriodAt", 2*math.Pi*math.Sqrt(b.inertia()/k))
	}
	x, y, err := b.sphere(at)
	if err != nil {
		return 0, err
	}
	p, scale := b.pendant(), 2*gravlab.G*b.LargeMass
	restoring := func(theta float64) float64 {
		torque, _ := p.torque(x, y, theta)
		return b.Kappa*theta - scale*torque
	}
	work := func(from, to float64) float64 { return integral(restoring, from, to) }

	upper := rest + amplitude
	lower, err := lowerTurn(restoring, work, rest, upper)
	if err != nil {
		return 0, err
	}
	limit, what := b.touchAngle()
	switch {
	case math.Max(math.Abs(lower), math.Abs(upper)) > b.caseAngle():
		return 0, fmt.Errorf("torsion.Balance: with an amplitude of %g rad %s (at %.4g rad)", amplitude, touchesCase, b.caseAngle())
	case at == Plus && upper > limit, at == Minus && lower < -limit:
		return 0, fmt.Errorf("torsion.Balance: with an amplitude of %g rad %s (at %.4g rad)", amplitude, what, limit)
	}

	// With theta = middle - half cos(phi) the integrand is smooth and periodic
	// in phi, so that the midpoint rule converges faster than any power.
	const points = 64
	middle, half := (upper+lower)/2, (upper-lower)/2
	var sum float64
	for i := range points {
		phi := math.Pi * (float64(i) + 0.5) / points
		theta := middle - half*math.Cos(phi)
		w := work(theta, upper)
		if theta < rest { // the nearer turning point: nothing cancels
			w = -work(lower, theta)
		}
		sum += half * math.Sin(phi) / math.Sqrt(2*w/b.inertia())
	}
	period := 2 * math.Pi / points * sum
	if !finite(period) {
		return 0, arg.Bad("torsion.Balance.PeriodAt", "amplitude", amplitude, "a swing that the large spheres do not catch")
	}
	return period, nil
}

// lowerTurn finds the turning point below the equilibrium that belongs to the
// one above it: no work in all between them.
func lowerTurn(restoring func(float64) float64, work func(from, to float64) float64, rest, upper float64) (float64, error) {
	caught := fmt.Errorf("torsion.Balance: a swing up to %.4g rad leaves the hollow in which the beam swings: the large spheres catch it", upper)
	const steps = 64
	for i := 1; i <= steps; i++ {
		if !(restoring(rest+(upper-rest)*float64(i)/steps) > 0) {
			return 0, caught
		}
	}
	lower := rest - (upper - rest)
	for range 60 {
		if w := work(lower, upper); w <= 0 {
			// Newton's method, started on the far side of the root.
			for range 60 {
				next := lower + work(lower, upper)/restoring(lower)
				if !(next < rest) || next == lower || math.Abs(next-lower) < 1e-16*(upper-rest) {
					return lower, nil
				}
				lower = next
			}
			return lower, nil
		}
		lower -= 0.1 * (upper - rest)
		if !(restoring(lower) < 0) {
			return 0, caught
		}
	}
	return 0, caught
}

// integral integrates a smooth function by Gauss–Legendre's rule of 8 points on
// each of four parts. The torque is smooth on the scale of d/b, and a part of a
// swing is much smaller than that: the error is below rounding. Nodes and
// weights: M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions
// (1964), table 25.4 (from memory; held by a test).
func integral(f func(float64) float64, from, to float64) float64 {
	const parts = 4
	half := (to - from) / (2 * parts)
	var sum float64
	for i := range parts {
		middle := from + half*float64(2*i+1)
		for j, node := range gaussNodes {
			sum += gaussWeights[j] * (f(middle-half*node) + f(middle+half*node))
		}
	}
	return half * sum
}

var (
	gaussNodes   = [4]float64{0.18343464249564980, 0.52553240991632899, 0.79666647741362674, 0.96028985649753623}
	gaussWeights = [4]float64{0.36268378337836198, 0.31370664587788729, 0.22238103445337447, 0.10122853629037626}
)
