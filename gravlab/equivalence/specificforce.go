package equivalence

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/internal/arg"
)

// SpecificForce is what an accelerometer reads, a − g, m/s², for the
// acceleration a of its case and the gravity g at its place, both in any one
// inertial set of axes. At rest, with g = {Z: 9.8} (z down), it is {Z: −9.8}:
// 9.8 upward. In free fall a = g and it reads nothing.
func SpecificForce(a, g r3.Vec) r3.Vec { return r3.Sub(a, g) }

// MeterReading is what a gravity meter reads, m/s², from the specific force in
// axes whose z is down along the meter's axis: −f_z, positive at rest.
func MeterReading(f r3.Vec) float64 { return -f.Z }

// Weight is what a scale under a mass (kg) reads, in N, where gravity is g and
// the floor accelerates upward at a (both m/s²): m (g + a), and zero when the
// floor falls away faster than the mass.
func Weight(mass, g, a float64) (float64, error) {
	const fn = "equivalence.Weight"
	if err := errors.Join(
		arg.Between(fn, "mass", mass, 0, 1e12, "mass in kg"),
		arg.Between(fn, "g", g, -1e3, 1e3, "gravity in m/s²"),
		arg.Between(fn, "a", a, -1e6, 1e6, "acceleration in m/s², upward positive"),
	); err != nil {
		return 0, err
	}
	return math.Max(0, mass*(g+a)), nil
}

// A Lift starts, or stops, with one smooth pulse of acceleration
// (Peak/2)(1 − cos 2πt/Pulse), upward positive.
type Lift struct {
	Gravity float64 // m/s²
	Peak    float64 // m/s², negative for a start downward
	Pulse   float64 // s
}

// Validate reports what cannot be used.
func (l Lift) Validate() error {
	const fn = "equivalence.Lift"
	return errors.Join(
		arg.Between(fn, "Gravity", l.Gravity, 0, 1e3, "gravity in m/s²"),
		arg.Between(fn, "Peak", l.Peak, -1e3, 1e3, "acceleration in m/s²"),
		arg.Between(fn, "Pulse", l.Pulse, 1e-6, 1e6, "time in s"),
	)
}

// Acceleration is that of the cabin at time t (s) from the start of the pulse,
// m/s², upward; zero before and after it.
func (l Lift) Acceleration(t float64) float64 {
	if !(t > 0 && t < l.Pulse) {
		return 0
	}
	s := math.Sin(math.Pi * t / l.Pulse)
	return l.Peak * s * s
}

// Speed is that of the cabin, m/s, upward, if it stood still before the pulse.
func (l Lift) Speed(t float64) float64 {
	t = math.Min(math.Max(t, 0), l.Pulse)
	return l.Peak / 2 * (t - l.Pulse/(2*math.Pi)*math.Sin(2*math.Pi*t/l.Pulse))
}

// Rise is how far the cabin has come, m, at time t from the start of the pulse.
func (l Lift) Rise(t float64) float64 {
	coast := math.Max(0, t-l.Pulse)
	t = math.Min(math.Max(t, 0), l.Pulse)
	w := 2 * math.Pi / l.Pulse
	s := math.Sin(w * t / 2)
	return l.Peak/2*(t*t/2-2*s*s/(w*w)) + coast*l.Speed(l.Pulse)
}

// Reading is what an accelerometer on the floor reads, m/s², upward: g + a.
func (l Lift) Reading(t float64) float64 { return l.Gravity + l.Acceleration(t) }

// A Turntable turns steadily about the vertical.
type Turntable struct {
	Gravity float64 // m/s²
	Rate    float64 // rad/s
	Radius  float64 // of the sensor's place, m
}

// Validate reports what cannot be used.
func (p Turntable) Validate() error {
	const fn = "equivalence.Turntable"
	return errors.Join(
		arg.Between(fn, "Gravity", p.Gravity, 0, 1e3, "gravity in m/s²"),
		arg.Between(fn, "Rate", p.Rate, -1e5, 1e5, "angular velocity in rad/s (turns a minute are too large by 9.55)"),
		arg.Between(fn, "Radius", p.Radius, 0, 1e9, "radius in m"),
	)
}

// SpecificForce is that of a body at rest on the table: X towards the axis, Z
// down. Its size is √(g² + ω⁴r²), and it leans inward by atan(ω²r/g).
func (p Turntable) SpecificForce() r3.Vec {
	return SpecificForce(r3.Vec{X: p.Rate * p.Rate * p.Radius}, r3.Vec{Z: p.Gravity})
}

// TiltLoss is how much less a vertical accelerometer or gravity meter reads
// when its axis leans from the vertical by tilt (rad): g (1 − cos ε), about
// g ε²/2, m/s².
func TiltLoss(g, tilt float64) (float64, error) {
	const fn = "equivalence.TiltLoss"
	if err := errors.Join(
		arg.Between(fn, "g", g, 0, 1e3, "gravity in m/s²"),
		arg.Between(fn, "tilt", tilt, -math.Pi, math.Pi, "angle in rad"),
	); err != nil {
		return 0, err
	}
	s := math.Sin(tilt / 2)
	return 2 * g * s * s, nil
}

// TiltFor is the tilt (rad) that makes a vertical sensor lose a reading of a
// (m/s²): 45 µrad for 1 µGal.
func TiltFor(g, a float64) (float64, error) {
	const fn = "equivalence.TiltFor"
	if err := errors.Join(
		arg.Between(fn, "g", g, 1e-6, 1e3, "gravity in m/s²"),
		arg.Between(fn, "a", a, 0, 2*g, "loss in m/s², at most 2g"),
	); err != nil {
		return 0, err
	}
	return 2 * math.Asin(math.Min(1, math.Sqrt(a/(2*g)))), nil
}

// EotvosEffect is what motion over the turning Earth adds to a meter's reading,
// m/s²: minus [earth.EotvosCorrection], whose arguments it takes.
func EotvosEffect(speed, heading, lat, radius float64) (float64, error) {
	c, err := earth.EotvosCorrection(speed, heading, lat, radius)
	return -c, err
}
