package torsion

import (
	"errors"
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// A Balance is the apparatus of the package comment: a beam on a fibre with a
// small sphere at either end, and two large spheres that can be moved.
//
// Fields marked optional may be zero, which means what their comment says; all
// other fields must be positive.
type Balance struct {
	Arm       float64 // b: fibre axis to the centre of a small sphere, m
	Distance  float64 // d: centre of a small to centre of a large sphere at theta = 0, perpendicular to the beam, m
	SmallMass float64 // m: mass of each small sphere, kg
	LargeMass float64 // M: mass of each large sphere, kg

	SmallRadius float64 // r: radius of a small sphere, m; optional, zero for a point
	LargeRadius float64 // R: radius of a large sphere, m; optional, zero for a point

	BeamMass     float64 // mass of the beam, a thin uniform rod through the axis, kg; optional, zero for a beam without mass
	BeamLength   float64 // full length of the beam, m; optional, zero for 2 b
	ExtraInertia float64 // moment of inertia of mirror and clamp, kg m²; optional. They are taken to be too near the axis to be pulled

	Kappa   float64 // kappa: torsion constant of the fibre, N m/rad; optional, zero for not yet known
	Damping float64 // c: damping torque per angular speed, N m s/rad; optional, zero for none

	InLine    float64 // s: centre to centre with the large spheres in line with the beam, m; optional, zero if there is no such position
	Clearance float64 // how far a small sphere can move either way before it touches the case, m; optional, zero for no case
}

// Skelmire returns the balance in the basement laboratory of the fictional
// Skelmire College, with lead spheres and a tungsten fibre. Its dimensions are
// invented; its period is about 10 minutes.
func Skelmire() Balance {
	return Balance{
		Arm: 0.120, Distance: 0.075,
		SmallMass: 0.050, LargeMass: 4.0,
		SmallRadius: 0.01017, LargeRadius: 0.04384,
		BeamMass: 0.012, ExtraInertia: 4e-6,
		Kappa: 1.65e-7, Damping: 1.5e-6,
		InLine: 0.070, Clearance: 0.009,
	}
}

// Validate returns an error that names every field that cannot be used. Every
// method calls it. Beside signs it looks at sizes: lengths of 1e-9 to 1e9 m,
// masses of 1e-15 to 1e30 kg and what goes with them, so that no power of them
// is beyond float64.
func (b Balance) Validate() error {
	const fn = "torsion.Balance"
	if err := errors.Join(
		within(fn, "Arm", b.Arm, 1e-9, 1e9, "length in m"),
		within(fn, "Distance", b.Distance, 1e-9, 1e9, "length in m"),
		within(fn, "SmallMass", b.SmallMass, 1e-15, 1e30, "mass in kg"),
		within(fn, "LargeMass", b.LargeMass, 1e-15, 1e30, "mass in kg"),
		optional(fn, "SmallRadius", b.SmallRadius, 1e9, "radius in m"),
		optional(fn, "LargeRadius", b.LargeRadius, 1e9, "radius in m"),
		optional(fn, "BeamMass", b.BeamMass, 1e30, "mass in kg"),
		optional(fn, "BeamLength", b.BeamLength, 1e9, "length in m (zero means twice the arm)"),
		optional(fn, "ExtraInertia", b.ExtraInertia, 1e30, "moment of inertia in kg m²"),
		optional(fn, "Kappa", b.Kappa, 1e30, "torsion constant in N m/rad (zero means not yet known)"),
		optional(fn, "Damping", b.Damping, 1e30, "damping in N m s/rad"),
		optional(fn, "InLine", b.InLine, 1e9, "distance in m (zero means no such position)"),
		optional(fn, "Clearance", b.Clearance, 1e9, "distance in m (zero means no case)"),
	); err != nil {
		return err
	}
	touch := b.SmallRadius + b.LargeRadius
	if b.Distance < touch {
		return arg.Bad(fn, "Distance", b.Distance, "at least SmallRadius + LargeRadius: it is from centre to centre, not the gap between the surfaces")
	}
	if b.SmallRadius >= b.Arm {
		return arg.Bad(fn, "SmallRadius", b.SmallRadius, "less than the arm")
	}
	if b.InLine > 0 && (b.InLine < touch || b.halfBeam() > b.Arm+b.InLine-b.LargeRadius) {
		return arg.Bad(fn, "InLine", b.InLine, "large enough that the large spheres touch neither the small ones nor the beam")
	}
	return nil
}

// within refuses what a required field cannot be.
func within(fn, name string, v, lo, hi float64, what string) error {
	if v >= lo && v <= hi {
		return nil
	}
	return arg.Bad(fn, name, v, fmt.Sprintf("a positive %s, %g to %g", what, lo, hi))
}

// optional refuses what an optional field cannot be: a value that is neither
// zero nor of a size that float64 can work with.
func optional(fn, name string, v, hi float64, what string) error {
	if v == 0 || v >= 1e-30 && v <= hi {
		return nil
	}
	return arg.Bad(fn, name, v, fmt.Sprintf("a %s, zero or more, at most %g", what, hi))
}

// alone gives the balance large spheres where it has none, far away: for what does
// not depend on them.
func (b Balance) alone() Balance {
	if b.LargeMass == 0 {
		b.LargeMass = 1
	}
	if b.Distance == 0 {
		b.Distance, b.LargeRadius, b.InLine = 1e9, 0, 0
	}
	return b
}

// validateSwing also asks for what only a balance that can swing has.
func (b Balance) validateSwing() error {
	if err := b.Validate(); err != nil {
		return err
	}
	return within("torsion.Balance", "Kappa", b.Kappa, 1e-30, 1e30, "torsion constant in N m/rad")
}

func (b Balance) halfBeam() float64 {
	if b.BeamLength == 0 {
		return b.Arm
	}
	return b.BeamLength / 2
}

// Inertia returns the moment of inertia about the fibre, kg m²:
//
//	I = 2 m (b² + 2/5 r²) + 1/12 m_beam L² + I_extra
//
// the balls by the parallel-axis theorem, the beam as a thin uniform rod. It does
// not depend on Distance and LargeMass, which may be 0.
func (b Balance) Inertia() (float64, error) {
	b = b.alone()
	if err := b.Validate(); err != nil {
		return 0, err
	}
	return result("torsion.Balance.Inertia", b.inertia())
}

func (b Balance) inertia() float64 {
	length := 2 * b.halfBeam()
	return 2*b.SmallMass*(b.Arm*b.Arm+0.4*b.SmallRadius*b.SmallRadius) + b.BeamMass*length*length/12 + b.ExtraInertia
}

// A Position says where the large spheres stand. With the beam at theta = 0
// along x and the small spheres at (b, 0) and (-b, 0):
type Position int

const (
	Plus    Position = iota // at (b, d) and (-b, -d): they pull the beam to positive theta
	Minus                   // at (b, -d) and (-b, d): the mirror image
	InLine                  // at (b+s, 0) and (-b-s, 0): in line with the beam, they stiffen it
	Removed                 // too far away to matter
)

func (p Position) String() string {
	switch p {
	case Plus:
		return "plus"
	case Minus:
		return "minus"
	case InLine:
		return "in line"
	case Removed:
		return "removed"
	}
	return "unknown position"
}

// sphere returns the place of the large sphere that belongs to the small one at
// (b, 0); the other large sphere is its mirror image in the axis.
func (b Balance) sphere(at Position) (x, y float64, err error) {
	switch at {
	case Plus:
		return b.Arm, b.Distance, nil
	case Minus:
		return b.Arm, -b.Distance, nil
	case InLine:
		if b.InLine == 0 {
			return 0, 0, arg.Bad("torsion.Balance", "InLine", b.InLine, "a positive distance in m when the large spheres stand in line")
		}
		return b.Arm + b.InLine, 0, nil
	}
	return 0, 0, arg.Bad("torsion.Balance", "position", int(at), "Plus, Minus, InLine or Removed")
}

const touchesCase = "a small sphere touches the case"

// caseAngle is the largest turn either way that the case allows, +Inf without
// one.
func (b Balance) caseAngle() float64 {
	if b.Clearance > 0 && b.Clearance < b.Arm {
		return math.Asin(b.Clearance / b.Arm)
	}
	return math.Inf(1)
}

// touchAngle is the largest turn towards the large spheres in position Plus
// before something touches, and what touches: the case, the spheres each other,
// or a beam that is longer than the arms a large sphere. It is +Inf when nothing
// is in the way.
func (b Balance) touchAngle() (angle float64, what string) {
	angle = b.caseAngle()
	if !math.IsInf(angle, 1) {
		what = touchesCase
	}
	reach := math.Hypot(b.Arm, b.Distance) // of the centre of a large sphere
	meet := func(along, touch float64, says string) {
		// Law of cosines for the triangle axis, place on the beam, large sphere.
		cos := (reach*reach + along*along - touch*touch) / (2 * reach * along)
		if touch == 0 || cos >= 1 {
			return
		}
		if a := math.Atan2(b.Distance, b.Arm) - math.Acos(math.Max(cos, -1)); a < angle {
			angle, what = math.Max(a, 0), says
		}
	}
	meet(b.Arm, b.SmallRadius+b.LargeRadius, "a small sphere touches a large one")
	if b.halfBeam() > b.Arm {
		// The beam's end, or the place where it is the sphere's tangent.
		tangent := math.Sqrt(reach*reach - b.LargeRadius*b.LargeRadius)
		meet(math.Min(b.halfBeam(), tangent), b.LargeRadius, "the beam touches a large sphere")
	}
	return angle, what
}

// Torque returns the gravitational torque about the fibre when the beam stands
// at angle theta (rad, any) and the large spheres at the given position, N m.
// It counts all four pairs of spheres and the pull on the beam, for any angle.
//
// The spheres are exact as points (Newton, Principia, book I, propositions LXXI
// and LXXIV). The beam is a line; its torque is the integral of Newton's law
// along it in closed form. An error says where spheres would overlap, or where
// the beam would pass through a large one.
func (b Balance) Torque(theta float64, at Position) (float64, error) {
	torque, _, err := b.torqueAndSlope(theta, at)
	return torque, err
}

// Stiffness returns what turns the beam back per angle at theta, N m/rad: the
// torsion constant less the slope of the gravitational torque there,
//
//	k = kappa - d(torque)/d(theta)
//
// In positions Plus and Minus gravity softens the balance, in line it stiffens
// it. Kappa may be zero: then it is the gravitational part alone.
func (b Balance) Stiffness(theta float64, at Position) (float64, error) {
	_, slope, err := b.torqueAndSlope(theta, at)
	return b.Kappa - slope, err
}

// torqueAndSlope returns the torque and its derivative with respect to theta.
func (b Balance) torqueAndSlope(theta float64, at Position) (torque, slope float64, err error) {
	if err := b.Validate(); err != nil {
		return 0, 0, err
	}
	if err := arg.Finite("torsion.Balance", "theta", theta, "angle in rad"); err != nil {
		return 0, 0, err
	}
	if at == Removed {
		return 0, 0, nil
	}
	x, y, err := b.sphere(at)
	if err != nil {
		return 0, 0, err
	}
	if err := b.apart(x, y, theta); err != nil {
		return 0, 0, err
	}
	p := b.pendant()
	torque, slope = p.torque(x, y, theta)
	scale := 2 * gravlab.G * b.LargeMass
	torque, slope = scale*torque, scale*slope
	if !finite(torque) || !finite(slope) {
		return 0, 0, arg.Bad("torsion.Balance", "theta", theta, "an angle at which no sphere or beam meets another, and dimensions that float64 can hold")
	}
	return torque, slope, nil
}

// apart refuses angles at which a large sphere at (x, y) or (-x, -y) would
// overlap a small one or the beam.
func (b Balance) apart(x, y, theta float64) error {
	sin, cos := math.Sincos(theta)
	along := math.Abs(x*cos + y*sin)
	across := math.Abs(y*cos - x*sin)
	// A hair of freedom: touching spheres are allowed.
	touch := (b.SmallRadius + b.LargeRadius) * (1 - 1e-12)
	beam := math.Hypot(math.Max(along-b.halfBeam(), 0), across) // to its nearest place
	overlap := math.Hypot(along-b.Arm, across) < touch ||
		(b.BeamMass > 0 || b.BeamLength > 0) && beam < b.LargeRadius*(1-1e-12)
	if overlap {
		return arg.Bad("torsion.Balance", "theta", theta, "an angle at which the large spheres overlap neither the small ones nor the beam")
	}
	return nil
}

// TorqueOf returns the torque about the fibre, N m, from one more mass (kg; a
// person, say, taken as a point) at (x, y) in the plane of the beam, m, with
// the beam at angle theta. It acts on both small spheres and on the beam. One
// mass also pulls the whole pendant sideways; a fibre gives way to that without
// turning. The large spheres do not enter: Distance and LargeMass may be 0.
func (b Balance) TorqueOf(mass, x, y, theta float64) (float64, error) {
	const fn = "torsion.Balance.TorqueOf"
	b = b.alone()
	if err := b.Validate(); err != nil {
		return 0, err
	}
	if err := errors.Join(
		arg.Positive(fn, "mass", mass, "mass in kg"),
		arg.Finite(fn, "x", x, "place in m"),
		arg.Finite(fn, "y", y, "place in m"),
		arg.Finite(fn, "theta", theta, "angle in rad"),
	); err != nil {
		return 0, err
	}
	torque, _ := b.pendant().torque(x, y, theta)
	torque *= gravlab.G * mass
	if !finite(torque) {
		return 0, arg.Bad(fn, "x, y", [2]float64{x, y}, "a place off the small spheres and the beam")
	}
	return torque, nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// result refuses a result that float64 cannot hold.
func result(fn string, v float64) (float64, error) {
	if !finite(v) {
		return 0, fmt.Errorf("%s: the result is %g: the arguments are beyond what float64 can hold", fn, v)
	}
	return v, nil
}
