package sensor

import (
	"math"

	"gravity.example/gravlab/internal/arg"
)

// HorizontalTilt returns what a horizontal sensor reads (specific force, m/s²)
// when the positive end of its axis is raised by tilt (rad) under g (m/s²):
// +g sin(tilt). 1 µrad is 1 µg (about 10 µm/s²).
func HorizontalTilt(g, tilt float64) (float64, error) {
	if err := checkTilt("sensor.HorizontalTilt", g, tilt); err != nil {
		return 0, err
	}
	return g * math.Sin(tilt), nil
}

// VerticalTilt returns by how much a vertical sensor tilted by tilt (rad) reads
// g (m/s²) too low: g(1 - cos tilt), about g tilt²/2.
func VerticalTilt(g, tilt float64) (float64, error) {
	if err := checkTilt("sensor.VerticalTilt", g, tilt); err != nil {
		return 0, err
	}
	s := math.Sin(tilt / 2)
	return 2 * g * s * s, nil
}

func checkTilt(fn string, g, tilt float64) error {
	if err := arg.Finite(fn, "g", g, "acceleration in m/s²"); err != nil {
		return err
	}
	return arg.Between(fn, "tilt", tilt, -math.Pi, math.Pi, "angle in rad (did you give degrees?)")
}

// CrossAxis returns what a sensor reads whose axis is turned by misalignment
// (rad) from the wanted direction towards another, when along and across are the
// accelerations (m/s²) in these two: along cos + across sin. Model: a rigid
// misalignment, the same at all frequencies.
func CrossAxis(along, across, misalignment float64) (float64, error) {
	const fn = "sensor.CrossAxis"
	if err := arg.Finite(fn, "across", across, "acceleration in m/s²"); err != nil {
		return 0, err
	}
	if err := checkTilt(fn, along, misalignment); err != nil {
		return 0, err
	}
	sin, cos := math.Sincos(misalignment)
	return along*cos + across*sin, nil
}

// SpringTemperature returns the change of a vertical sensor's reading of g with
// temperature (m/s²/K), -g·alpha, when the stiffness of its spring changes by
// the part alpha (1/K) per kelvin. Model: the spring holds the whole weight, so
// a spring that softens when warm (alpha < 0) lets the mass sink as more gravity
// would; geometry does not change, and everything has one temperature (for a lag
// see Temperature).
func SpringTemperature(g, alpha float64) (float64, error) {
	const fn = "sensor.SpringTemperature"
	if err := arg.Finite(fn, "g", g, "acceleration in m/s²"); err != nil {
		return 0, err
	}
	if err := arg.Between(fn, "alpha", alpha, -1, 1, "relative change per kelvin"); err != nil {
		return 0, err
	}
	return -g * alpha, nil
}

// MagneticMoment returns the acceleration (m/s²) of a mass (kg) that carries a
// permanent magnetic moment (A m²) along the axis, in a field whose component
// along the axis grows by gradient (T/m) along it: moment·gradient/mass.
func MagneticMoment(moment, gradient, mass float64) (float64, error) {
	const fn = "sensor.MagneticMoment"
	if err := arg.Finite(fn, "moment", moment, "magnetic moment in A m²"); err != nil {
		return 0, err
	}
	if err := arg.Finite(fn, "gradient", gradient, "gradient in T/m"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "mass", mass, "mass in kg"); err != nil {
		return 0, err
	}
	return moment * gradient / mass, nil
}

// MagneticSusceptibility returns the acceleration (m/s²) by the moment that the
// field itself induces in a body of volume susceptibility chi (1, SI, small) and
// density (kg/m³): chi B B'/(μ0 density), with field B (T) and gradient B' (T/m)
// along the axis. The demagnetising field is left out, so abs(chi) may be 0.1 at most.
func MagneticSusceptibility(chi, field, gradient, density float64) (float64, error) {
	const fn = "sensor.MagneticSusceptibility"
	if err := arg.Between(fn, "chi", chi, -0.1, 0.1, "volume susceptibility (SI)"); err != nil {
		return 0, err
	}
	if err := arg.Finite(fn, "field", field, "field in T"); err != nil {
		return 0, err
	}
	if err := arg.Finite(fn, "gradient", gradient, "gradient in T/m"); err != nil {
		return 0, err
	}
	if !(density >= 30 && density <= 30000) {
		allowed := "a density from 30 to 30000 kg/m³"
		if density > 0.03 && density < 30 {
			allowed = "a density in kg/m³; did you mean " + trim(density*1000) + "?"
		}
		return 0, arg.Bad(fn, "density", density, allowed)
	}
	const mu0 = 1.25663706212e-6 // N/A², CODATA 2018
	return chi * field * gradient / (mu0 * density), nil
}
