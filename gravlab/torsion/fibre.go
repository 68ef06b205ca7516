package torsion

import (
	"errors"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Fibre is a round torsion fibre.
type Fibre struct {
	Radius       float64 // r: radius, not diameter, m
	Length       float64 // l: free length, m
	ShearModulus float64 // n: shear modulus, Pa (not Young's modulus, which is about 2.6 times as large)
}

// Kappa returns the torsion constant of the fibre, N m/rad:
//
//	kappa = pi n r⁴ / (2 l)
//
// It holds within the elastic range for a uniform fibre (Saint-Venant 1855; A.
// E. H. Love, Mathematical Theory of Elasticity, chapter XIV, from memory). A
// load of m g adds m g r²/(2 l) by its tension; see Ribbon, where that matters
// more.
func (f Fibre) Kappa() (float64, error) {
	const fn = "torsion.Fibre"
	if err := errors.Join(
		arg.Positive(fn, "Radius", f.Radius, "radius in m"),
		arg.Positive(fn, "Length", f.Length, "length in m"),
		arg.Positive(fn, "ShearModulus", f.ShearModulus, "shear modulus in Pa"),
	); err != nil {
		return 0, err
	}
	return result(fn, math.Pi*f.ShearModulus*math.Pow(f.Radius, 4)/(2*f.Length))
}

// A Ribbon is a flat torsion strip of rectangular section.
type Ribbon struct {
	Width        float64 // w, m
	Thickness    float64 // t, m; the smaller of the two, though they may be exchanged
	Length       float64 // l: free length, m
	ShearModulus float64 // n, Pa
	Load         float64 // weight that hangs on it, N; optional, zero for none
}

// Kappa returns the torsion constant of the ribbon, N m/rad: Saint-Venant's
// solution for a rectangle,
//
//	kappa = n w t³/(3 l) (1 - 192 t/(pi⁵ w) sum tanh(j pi w/(2 t))/j⁵) + F (w² + t²)/(12 l), j = 1, 3, 5...
//
// The bracket is the end correction: without it the constant comes out 19 % too
// large at w = 4 t. The last term is the weight F that a twisted ribbon lifts.
// Sources: S. P. Timoshenko and J. N. Goodier, Theory of Elasticity, 3rd ed.,
// section 109 (from memory) for the series; the tension term is the tilt of the
// stress F/(w t) over the section.
func (r Ribbon) Kappa() (float64, error) {
	const fn = "torsion.Ribbon"
	if err := errors.Join(
		arg.Positive(fn, "Width", r.Width, "width in m"),
		arg.Positive(fn, "Thickness", r.Thickness, "thickness in m"),
		arg.Positive(fn, "Length", r.Length, "length in m"),
		arg.Positive(fn, "ShearModulus", r.ShearModulus, "shear modulus in Pa"),
		arg.NonNegative(fn, "Load", r.Load, "weight in N"),
	); err != nil {
		return 0, err
	}
	w, t := max(r.Width, r.Thickness), min(r.Width, r.Thickness)
	// tanh is 1 within float64 from an argument of 19 on, so the tail of the
	// series is that of 1/j⁵; it is summed from the smallest term.
	var sum float64
	for j := 999.0; j >= 1; j -= 2 {
		sum += math.Tanh(j*math.Pi*w/(2*t)) / (j * j * j * j * j)
	}
	shape := 1 - 192*t/(math.Pow(math.Pi, 5)*w)*sum
	return result(fn, r.ShearModulus*w*t*t*t/(3*r.Length)*shape+r.Load*(w*w+t*t)/(12*r.Length))
}

// KappaFromPeriod returns the torsion constant, N m/rad, of a pendulum of
// moment of inertia I (kg m²) with the period T of a full swing, there and back
// (s):
//
//	kappa = I ((2 pi/T)² + 1/tau²)
//
// where tau is the decay time of the amplitude, s, and +Inf for a swing that
// does not decay. With the large spheres beside the balance the value holds the
// gradient of their pull; take the period with them removed, or use
// Balance.GFromSwing, which needs no torsion constant.
func KappaFromPeriod(inertia, period, tau float64) (float64, error) {
	const fn = "torsion.KappaFromPeriod"
	err := errors.Join(
		arg.Positive(fn, "inertia", inertia, "moment of inertia in kg m²"),
		arg.Positive(fn, "period", period, "full period in s"),
	)
	if !(tau > 0) {
		err = errors.Join(err, arg.Bad(fn, "tau", tau, "a positive decay time in s, +Inf for no decay"))
	}
	if err != nil {
		return 0, err
	}
	omega := 2 * math.Pi / period
	return result(fn, inertia*(omega*omega+1/(tau*tau)))
}
