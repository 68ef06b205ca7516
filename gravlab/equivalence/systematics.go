package equivalence

import (
	"errors"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// A Balance is a torsion balance with two test masses of different matter at
// equal distance from the axis. A difference Δa of their accelerations, across
// the beam, turns it with the torque m b Δa. Each method below says which Δa a
// disturbance pretends, m/s²; over the drive that is an η.
type Balance struct {
	TestMass float64 // m of each, kg
	Arm      float64 // b, axis to centre of mass, m
	Kappa    float64 // torsion constant, N m/rad
}

// Validate reports what cannot be used.
func (b Balance) Validate() error {
	const fn = "equivalence.Balance"
	return errors.Join(
		arg.Between(fn, "TestMass", b.TestMass, 1e-9, 1e6, "mass in kg"),
		arg.Between(fn, "Arm", b.Arm, 1e-6, 1e3, "length in m"),
		arg.Between(fn, "Kappa", b.Kappa, 1e-18, 1e6, "torsion constant in N m/rad"),
	)
}

// Difference turns a torque (N m) into the Δa that it pretends, m/s².
func (b Balance) Difference(torque float64) (float64, error) {
	if err := errors.Join(b.Validate(), arg.Between("equivalence.Balance.Difference", "torque", torque, -1e6, 1e6, "torque in N m")); err != nil {
		return 0, err
	}
	return torque / (b.TestMass * b.Arm), nil
}

// Angle is the angle, rad, to which a Δa (m/s²) turns the balance at rest.
func (b Balance) Angle(difference float64) (float64, error) {
	if err := errors.Join(b.Validate(), arg.Between("equivalence.Balance.Angle", "difference", difference, -1e6, 1e6, "acceleration in m/s²")); err != nil {
		return 0, err
	}
	return b.TestMass * b.Arm * difference / b.Kappa, nil
}

// Magnetic is the Δa of a magnetic moment (A m²) left in the balance, in a
// horizontal field (T) that stands still while the balance turns: torque moment
// × field, once a turn, like the signal itself.
func (b Balance) Magnetic(moment, field float64) (float64, error) {
	const fn = "equivalence.Balance.Magnetic"
	if err := errors.Join(arg.Between(fn, "moment", moment, -1e3, 1e3, "moment in A m²"), arg.Between(fn, "field", field, -100, 100, "field in T")); err != nil {
		return 0, err
	}
	return b.Difference(moment * field)
}

// Thermal is the Δa of a temperature that swings by an amplitude (K) in step
// with the signal, when the balance turns by coefficient (rad/K).
func (b Balance) Thermal(coefficient, amplitude float64) (float64, error) {
	const fn = "equivalence.Balance.Thermal"
	if err := errors.Join(arg.Between(fn, "coefficient", coefficient, -1e3, 1e3, "coefficient in rad/K"), arg.Between(fn, "amplitude", amplitude, -1e3, 1e3, "amplitude in K")); err != nil {
		return 0, err
	}
	return b.Difference(b.Kappa * coefficient * amplitude)
}

// Tilt is the Δa of a tilt (rad) in step with the signal, when the balance
// turns by feedthrough (rad per rad of tilt; fibre and pivot decide it).
func (b Balance) Tilt(feedthrough, tilt float64) (float64, error) {
	const fn = "equivalence.Balance.Tilt"
	if err := errors.Join(arg.Between(fn, "feedthrough", feedthrough, -1, 1, "ratio"), arg.Between(fn, "tilt", tilt, -1, 1, "angle in rad")); err != nil {
		return 0, err
	}
	return b.Difference(b.Kappa * feedthrough * tilt)
}

// Patch is the Δa of a patch of surface potential (V) opposite an electrode at
// a bias (V) whose capacitance changes by slope (F/rad) as the balance turns:
// torque V δV dC/dθ, linear in the patch because of the bias.
func (b Balance) Patch(slope, bias, patch float64) (float64, error) {
	const fn = "equivalence.Balance.Patch"
	if err := errors.Join(
		arg.Between(fn, "slope", slope, -1, 1, "slope in F/rad"),
		arg.Between(fn, "bias", bias, -1e6, 1e6, "potential in V"),
		arg.Between(fn, "patch", patch, -1e6, 1e6, "potential in V"),
	); err != nil {
		return 0, err
	}
	return b.Difference(slope * bias * patch)
}

// GradientTorque is the coefficient of sin 2θ, N m, of the torque that a mass
// (kg) at a distance (m) from the axis, in the plane of the beam, exerts on it;
// θ is the beam's angle from the direction of the mass. Far away it is
// −3GM m b²/d³: the beam likes to point at the mass. It comes twice a turn, so
// a perfectly symmetric balance keeps it apart from the signal; odd harmonics
// vanish.
func (b Balance) GradientTorque(mass, distance float64) (float64, error) {
	const fn = "equivalence.Balance.GradientTorque"
	if err := errors.Join(b.Validate(),
		arg.Between(fn, "mass", mass, 0, 1e12, "mass in kg"),
		arg.Between(fn, "distance", distance, b.Arm*1.05, 1e9, "distance in m, beyond the test masses"),
	); err != nil {
		return 0, err
	}
	// With s = b/d, the torque of one side over GM m b/d² is −sin θ (1−2s cos θ+s²)^-3/2,
	// and the sum over equal steps is exact to the accuracy of float64 long
	// before 4096 of them, s being below 0.95. Even harmonics of the two sides
	// agree, so one side counts double; written with expm1 to keep digits.
	const n = 4096
	s := b.Arm / distance
	sum := 0.0
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		sum += -sin * math.Expm1(-1.5*math.Log1p(s*(s-2*cos))) * 2 * sin * cos
	}
	return gravlab.G * mass / distance * b.TestMass * s * 2 * (2 * sum / n), nil
}
