package equivalence

import (
	"errors"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

const c2 = gravlab.SpeedOfLight * gravlab.SpeedOfLight

// Redshift is the fraction by which a clock runs fast that stands h (m) higher
// where gravity is g (m/s²): g h/c². Light that climbs from below is red by as
// much. Uniform gravity: good to h over the Earth's radius.
func Redshift(g, h float64) (float64, error) {
	const fn = "equivalence.Redshift"
	if err := errors.Join(
		arg.Between(fn, "g", g, -1e6, 1e6, "gravity in m/s²"),
		arg.Between(fn, "h", h, -1e9, 1e9, "height in m"),
	); err != nil {
		return 0, err
	}
	return g * h / c2, nil
}

// RedshiftSphere is [Redshift] above a sphere that does not turn, with gravity
// that falls off: GM h/(R (R+h) c²), gm in m³/s², radius and h in m.
func RedshiftSphere(gm, radius, h float64) (float64, error) {
	if err := validateOrbit("equivalence.RedshiftSphere", gm, radius, h); err != nil {
		return 0, err
	}
	return gm / radius / (radius + h) * h / c2, nil
}

// OrbitClock is the net fraction by which a clock in a circular orbit at height
// h (m) runs fast against one at rest on the sphere below: redshift less
// v²/2c². Low orbits run slow, high ones fast; they agree at h = R/2.
func OrbitClock(gm, radius, h float64) (float64, error) {
	red, err := RedshiftSphere(gm, radius, h)
	if err != nil {
		return 0, err
	}
	return red - gm/(radius+h)/(2*c2), nil
}

// HeightOf is the difference of height, m, that two clocks show whose rates
// differ by the fraction, where gravity is g (m/s²), and its standard
// uncertainty for one of the fraction.
func HeightOf(fraction, uFraction, g float64) (h, u float64, err error) {
	const fn = "equivalence.HeightOf"
	if err := errors.Join(
		arg.Between(fn, "fraction", fraction, -1e-3, 1e-3, "fraction of the rate"),
		arg.Between(fn, "uFraction", uFraction, 0, 1e-3, "fraction of the rate"),
		arg.Between(fn, "g", g, 1e-3, 1e6, "gravity in m/s²"),
	); err != nil {
		return 0, 0, err
	}
	return fraction * c2 / g, uFraction * c2 / g, nil
}
