package torsion

import (
	"errors"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// ThermalTorque returns the thermal torque noise of a pendulum with viscous
// damping (gas, eddy currents), as a one-sided amplitude spectral density, N
// m/√Hz, the same at every frequency:
//
//	sqrt(4 k_B T I omega0/Q), omega0 = sqrt(kappa/I)
//
// for the stiffness kappa (N m/rad), the moment of inertia I (kg m²), the
// quality factor Q and the temperature T (K). Source: the
// fluctuation–dissipation theorem, H. B. Callen and T. A. Welton, Phys. Rev.
// 83, 34 (1951).
func ThermalTorque(kappa, inertia, q, temperature float64) (float64, error) {
	const fn = "torsion.ThermalTorque"
	if err := errors.Join(
		arg.Positive(fn, "kappa", kappa, "stiffness in N m/rad"),
		arg.Positive(fn, "inertia", inertia, "moment of inertia in kg m²"),
		arg.Positive(fn, "q", q, "quality factor"),
		arg.Positive(fn, "temperature", temperature, "temperature in K"),
	); err != nil {
		return 0, err
	}
	return result(fn, math.Sqrt(4*gravlab.BoltzmannK*temperature*math.Sqrt(kappa*inertia)/q))
}

// ThermalTorqueStructural returns the thermal torque noise of a pendulum with
// structural damping, a loss in the fibre that does not depend on frequency, at
// the frequency f (Hz), as a one-sided amplitude spectral density, N m/√Hz:
//
//	sqrt(4 k_B T kappa/(Q omega)), omega = 2 pi f
//
// It equals ThermalTorque at the resonance only, and is larger below. Source:
// P. R. Saulson, Phys. Rev. D 42, 2437 (1990), from memory.
func ThermalTorqueStructural(kappa, q, temperature, f float64) (float64, error) {
	const fn = "torsion.ThermalTorqueStructural"
	if err := errors.Join(
		arg.Positive(fn, "kappa", kappa, "stiffness in N m/rad"),
		arg.Positive(fn, "q", q, "quality factor"),
		arg.Positive(fn, "temperature", temperature, "temperature in K"),
		arg.Positive(fn, "f", f, "frequency in Hz"),
	); err != nil {
		return 0, err
	}
	return result(fn, math.Sqrt(4*gravlab.BoltzmannK*temperature*kappa/(q*2*math.Pi*f)))
}

// ThermalAngle returns the root mean square of the angle by thermal motion,
// rad:
//
//	sqrt(k_B T/kappa)
//
// whatever the damping, by equipartition. It is the spread of single readings
// over a time much longer than the decay time, all frequencies together; it is
// not the uncertainty of a measurement. AveragedThermalAngle is.
func ThermalAngle(kappa, temperature float64) (float64, error) {
	const fn = "torsion.ThermalAngle"
	if err := errors.Join(
		arg.Positive(fn, "kappa", kappa, "stiffness in N m/rad"),
		arg.Positive(fn, "temperature", temperature, "temperature in K"),
	); err != nil {
		return 0, err
	}
	return result(fn, math.Sqrt(gravlab.BoltzmannK*temperature/kappa))
}

// AveragedThermalAngle returns the standard uncertainty, rad, that thermal
// torque leaves in an equilibrium averaged over the time t (s), with viscous
// damping. The noise at rest, S = ThermalTorque²/kappa², is white at low
// frequencies, and the mean of white noise of one-sided density S has the
// variance S/(2 t):
//
//	u = ThermalTorque/(kappa sqrt(2 t))
//
// It holds for t much longer than the decay time Q/(pi f0); for shorter ones
// ThermalAngle is the limit, and is returned where it is smaller.
func AveragedThermalAngle(kappa, inertia, q, temperature, t float64) (float64, error) {
	if err := arg.Positive("torsion.AveragedThermalAngle", "t", t, "time in s"); err != nil {
		return 0, err
	}
	torque, err := ThermalTorque(kappa, inertia, q, temperature)
	if err != nil {
		return 0, err
	}
	single, err := ThermalAngle(kappa, temperature)
	if err != nil {
		return 0, err
	}
	return result("torsion.AveragedThermalAngle", math.Min(single, torque/(kappa*math.Sqrt(2*t))))
}

// PatchStiffness returns what a potential difference between one small flat
// face of the pendant and the grounded plates on either side of it adds to the
// torsion constant, N m/rad. It is negative: the face is pulled to whichever
// plate is nearer.
//
//	-2 eps0 A V² b²/gap³
//
// Model: a face of the area A (m²) at the arm b (m), half-way between two
// plates at the distance gap (m) each, plane and much larger than the gap;
// displacement b theta; potentials held. C = eps0 A (1/(gap-x) + 1/(gap+x)),
// energy -C V²/2. For patches V² is the mean of the square over the face, V
// (volt) its root, as long as patches are much wider than the gap; smaller ones
// pull less. Several faces add. A constant stiffness only changes the period; V
// that drifts or fluctuates makes a false signal.
func PatchStiffness(area, gap, arm, volts float64) (float64, error) {
	const fn = "torsion.PatchStiffness"
	if err := errors.Join(
		arg.Positive(fn, "area", area, "area in m²"),
		arg.Positive(fn, "gap", gap, "distance in m"),
		arg.Positive(fn, "arm", arm, "length in m"),
		arg.Finite(fn, "volts", volts, "potential in V"),
	); err != nil {
		return 0, err
	}
	return result(fn, -2*gravlab.VacuumPermittivity*area*volts*volts*arm*arm/(gap*gap*gap))
}

// A Tilt says how the support of the balance leans and what that does.
//
// Model: the pendant stays plumb below the head of the fibre, while everything
// that stands on the support, large spheres and scale, leans with it. So the
// axis of the beam moves by Height times the angle relative to the large
// spheres, along the beam and across. In addition the head of the fibre, which
// is never perfectly round, turns the beam in proportion to the tilt: the
// feed-through, which has to be measured on each fibre (a few per cent is
// common practice, no source).
type Tilt struct {
	Along       float64 // angle of the tilt that moves the axis along the beam, rad
	Across      float64 // angle of the tilt that moves the axis across the beam, towards positive y, rad
	Height      float64 // from the beam to the head of the fibre, m
	FeedThrough float64 // turn of the beam per tilt, rad/rad; acts on the sum of both tilts
}

// TiltEffect returns what the tilt adds to the turn of the beam in position
// Plus, rad: direct is the feed-through, the same in both positions of the
// large spheres, so that it cancels from the difference of the two if the tilt
// does not change between them; pull is the change of the gravitational torque
// over the stiffness, of second order in the tilt because one pair comes nearer
// when the other one recedes.
func (b Balance) TiltEffect(tilt Tilt) (direct, pull float64, err error) {
	const fn = "torsion.Tilt"
	if err := errors.Join(
		arg.Between(fn, "Along", tilt.Along, -0.1, 0.1, "tilt in rad"),
		arg.Between(fn, "Across", tilt.Across, -0.1, 0.1, "tilt in rad"),
		arg.NonNegative(fn, "Height", tilt.Height, "height in m"),
		arg.Finite(fn, "FeedThrough", tilt.FeedThrough, "turn per tilt"),
	); err != nil {
		return 0, 0, err
	}
	k, theta, err := b.stiffnessAtRest(Plus)
	if err != nil {
		return 0, 0, err
	}
	dx, dy := tilt.Height*math.Tan(tilt.Along), tilt.Height*math.Tan(tilt.Across)
	if math.Hypot(dx, dy) > b.Distance/4 {
		return 0, 0, arg.Bad(fn, "Height", tilt.Height, "so small that the axis moves by less than a quarter of Distance")
	}
	p := b.pendant()
	upright, _ := p.torque(b.Arm, b.Distance, theta)
	near, _ := p.torque(b.Arm-dx, b.Distance-dy, theta)
	far, _ := p.torque(-b.Arm-dx, -b.Distance-dy, theta)
	change := gravlab.G * b.LargeMass * (near + far - 2*upright)
	direct = tilt.FeedThrough * (tilt.Along + tilt.Across)
	pull = change / k
	if _, err := result("torsion.Balance.TiltEffect", direct+pull); err != nil {
		return 0, 0, err
	}
	return direct, pull, nil
}
