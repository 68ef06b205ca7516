package pendulum

import (
	"errors"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Part is one piece of a [Reversible] pendulum: a uniform line of mass along
// the rod, or a point if its Length is 0.
type Part struct {
	Mass   float64 // kg
	At     float64 // m, of its middle, from the first edge towards the second; may be negative
	Length float64 // m, along the rod
	Volume float64 // m³ of air that it displaces; a closed hollow body counts whole
}

// A Reversible is a rigid pendulum with two knife edges that face each other. It
// swings on one of them, is turned over and swings on the other. When both
// periods T are equal and its centre of mass lies nearer to one edge than to the
// other, a point on a thread as long as the distance of the edges would have the
// same period: g = 4π² Edges/T², whatever the moment of inertia is.
//
// Small swings, edges without radius or friction, a rigid rod and a rigid
// support. Air is an ideal fluid beside the rod: its buoyancy, and an inertia of
// AirInertia times the displaced air (see [SphereAirInertia]), both at the place of
// the part.
//
// Source: F. W. Bessel, Untersuchungen über die Länge des einfachen
// Secundenpendels (1828), for the formula and for the symmetric form (from memory).
type Reversible struct {
	Edges      float64 // m, from the first edge to the second
	Gravity    float64 // m/s²
	Parts      []Part
	AirDensity float64 // kg/m³; 0 in vacuum
	AirInertia float64 // kg of air that move with each kg of displaced air
}

// Centre is the distance of the centre of mass from the first edge, m.
func (r Reversible) Centre() float64 {
	mass, moment := 0.0, 0.0
	for _, p := range r.Parts {
		mass += p.Mass
		moment += p.Mass * p.At
	}
	return moment / mass
}

// Periods returns the periods of small swings (s) on the first and on the second
// edge. A pendulum that would tip over on one of them is refused.
func (r Reversible) Periods() (first, second float64, err error) {
	const fn = "pendulum.Reversible"
	errs := []error{
		arg.Between(fn, "Edges", r.Edges, 1e-6, 1e6, "distance of the edges in m"),
		arg.Between(fn, "Gravity", r.Gravity, 1e-9, 1e9, "gravity in m/s²"),
		arg.Between(fn, "AirDensity", r.AirDensity, 0, 1e5, "density of the air in kg/m³"),
		arg.Between(fn, "AirInertia", r.AirInertia, 0, 1e3, "air that moves with the pendulum, per displaced air"),
		arg.AtLeast(fn, "Parts", len(r.Parts), 1),
	}
	for _, p := range r.Parts {
		errs = append(errs,
			arg.Between(fn, "Mass", p.Mass, 1e-9, 1e9, "mass of a part in kg"),
			arg.Between(fn, "At", p.At, -1e6, 1e6, "place of a part in m"),
			arg.Between(fn, "Length", p.Length, 0, 1e6, "length of a part in m"),
			arg.Between(fn, "Volume", p.Volume, 0, 1e9, "volume of a part in m³"))
	}
	if err := errors.Join(errs...); err != nil {
		return 0, 0, err
	}
	period := func(edge, side float64) (float64, error) {
		inertia, moment := 0.0, 0.0
		for _, p := range r.Parts {
			below := side * (p.At - edge)
			air := r.AirDensity * p.Volume
			inertia += (p.Mass + r.AirInertia*air) * (below*below + p.Length*p.Length/12)
			moment += (p.Mass - air) * below
		}
		if !(moment > 0) {
			return 0, arg.Bad(fn, "Parts", moment, "parts whose weight lies below either edge")
		}
		return 2 * math.Pi * math.Sqrt(inertia/(r.Gravity*moment)), nil
	}
	first, err = period(0, 1)
	if err != nil {
		return 0, 0, err
	}
	second, err = period(r.Edges, -1)
	return first, second, err
}

// ReversibleGravity returns g (m/s²) from the periods (s) of small swings on two
// edges and the distances h1 and h2 (m) of the centre of mass from them:
//
//	8π²/g = (T1² + T2²)/(h1 + h2) + (T1² - T2²)/(h1 - h2)
//
// exact in vacuum. The nearer the periods, the less h1 - h2 counts. Equal
// distances are refused: then the periods are equal whatever g is.
func ReversibleGravity(t1, t2, h1, h2 float64) (float64, error) {
	const fn = "pendulum.ReversibleGravity"
	if err := errors.Join(
		arg.Positive(fn, "t1", t1, "period in s"), arg.Positive(fn, "t2", t2, "period in s"),
		arg.Positive(fn, "h1", h1, "distance in m"), arg.Positive(fn, "h2", h2, "distance in m"),
	); err != nil {
		return 0, err
	}
	if h1 == h2 {
		return 0, arg.Bad(fn, "h2", h2, "another distance than h1: a centre of mass midway says nothing about g")
	}
	// Without h1-h2 in a denominator: g = 4π² (h1²-h2²)/(h1 T1² - h2 T2²).
	return 4 * math.Pi * math.Pi * (h1 - h2) * (h1 + h2) / (h1*t1*t1 - h2*t2*t2), nil
}

// SphereAirInertia is the mass of air that swings with a sphere of the given
// radius (m), per mass of air that it displaces:
//
//	1/2 + (9/4) δ/radius        δ = √(ν T/π)
//
// with the kinematic viscosity ν (m²/s; air at 20 °C 1.5e-5) and the period T (s,
// there and back). The half is that of an ideal fluid; δ is the thickness of the
// layer that viscosity drags along. For swings much smaller than the radius, far
// from walls.
//
// Source: G. G. Stokes, Trans. Cambridge Phil. Soc. 9 (1851) 8, as reprinted in his
// Mathematical and Physical Papers, vol. 3 (1901), pages 81 to 95.
func SphereAirInertia(radius, period, viscosity float64) (float64, error) {
	const fn = "pendulum.SphereAirInertia"
	if err := errors.Join(
		arg.Positive(fn, "radius", radius, "radius in m"), arg.Positive(fn, "period", period, "period in s"),
		arg.NonNegative(fn, "viscosity", viscosity, "kinematic viscosity in m²/s"),
	); err != nil {
		return 0, err
	}
	return 0.5 + 9.0/4*math.Sqrt(viscosity*period/math.Pi)/radius, nil
}

// SwayRatio is the period on a support that yields sideways over that on a rigid
// one: √(1 + load/(stiffness·length)), for a weight of load (N) on a thread of the
// given length (m) and a support that moves by 1/stiffness (m/N). The support
// follows at once: its own mass is left out, right while it would swing much
// faster than the pendulum. The pendulum swings as if its thread were longer by
// what the load would push the support sideways.
func SwayRatio(load, stiffness, length float64) (float64, error) {
	const fn = "pendulum.SwayRatio"
	if err := errors.Join(
		arg.Positive(fn, "load", load, "weight in N"), arg.Positive(fn, "stiffness", stiffness, "sideways stiffness in N/m"),
		arg.Positive(fn, "length", length, "length in m"),
	); err != nil {
		return 0, err
	}
	return math.Sqrt(1 + load/(stiffness*length)), nil
}
