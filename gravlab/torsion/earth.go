package torsion

import (
	"errors"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// EarthMass returns the mass of the Earth, kg, from a measured G (m³ kg⁻¹ s⁻²),
// the gravity g at its surface (m/s²) and its radius (m):
//
//	M = g R²/G
//
// A balance alone does not weigh the Earth: g comes from a pendulum and R from
// surveys. The Earth is taken as a sphere that does not rotate; rotation and
// flattening change g by up to 0.5 % between equator and pole.
func EarthMass(bigG, g, radius float64) (float64, error) {
	if err := validateEarth("torsion.EarthMass", bigG, g, radius); err != nil {
		return 0, err
	}
	return result("torsion.EarthMass", g*radius*radius/bigG)
}

// EarthDensity returns the mean density of the Earth, kg/m³, from the same
// values as EarthMass:
//
//	rho = 3 g/(4 pi G R)
func EarthDensity(bigG, g, radius float64) (float64, error) {
	if err := validateEarth("torsion.EarthDensity", bigG, g, radius); err != nil {
		return 0, err
	}
	return result("torsion.EarthDensity", 3*g/(4*math.Pi*bigG*radius))
}

// MassFromOrbit returns the mass, kg, of a body about which a much lighter one
// circles at the distance r between the centres (m) with the period T (s), by
// Kepler's third law:
//
//	M = 4 pi² r³/(G T²)
func MassFromOrbit(bigG, r, period float64) (float64, error) {
	const fn = "torsion.MassFromOrbit"
	if err := errors.Join(
		arg.Positive(fn, "bigG", bigG, "constant of gravitation in m³ kg⁻¹ s⁻²"),
		arg.Positive(fn, "r", r, "distance in m"),
		arg.Positive(fn, "period", period, "period in s"),
	); err != nil {
		return 0, err
	}
	omega := 2 * math.Pi / period
	return result(fn, omega*omega*r*r*r/bigG)
}

func validateEarth(fn string, bigG, g, radius float64) error {
	return errors.Join(
		arg.Positive(fn, "bigG", bigG, "constant of gravitation in m³ kg⁻¹ s⁻²"),
		arg.Positive(fn, "g", g, "gravity in m/s²"),
		arg.Positive(fn, "radius", radius, "radius in m"),
	)
}
