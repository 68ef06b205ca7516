// Package gravlab holds the constants and the conventions that every model
// of gravity in this module shares.
//
// # Conventions
//
// All numbers are float64 in SI units (metre, kilogram, second, radian,
// kelvin). Units, prefixes and typed text live at the edges, in package
// quantity.
//
//   - Axes: x north, y east, z down, right-handed. A station's height is
//     positive up, so z = -h. A point is an r3.Vec{X: north, Y: east, Z: down}.
//   - Gravity g is positive down and grows over excess mass. The gradient
//     tensor is T_ij = d(g_i)/d(x_j), the derivative at the station: T_zz > 0
//     above a positive contrast, and the free-air gradient is +3086 E. Outside
//     mass its trace is zero; inside a body of density rho it is -4 pi G rho.
//   - The potential U is positive for a positive mass and g = +grad U.
//   - Density contrast and excess mass are signed: a void is negative. Masses
//     of things (balls, bobs, loads) are positive.
//   - An accelerometer reads the specific force f = a - g (vectors), +9.8 m/s²
//     upward at rest. A gravity meter reads -f along z down.
//   - An effect is what a cause adds to g; a correction is minus the effect and
//     is added to the reading.
//   - Spectra are one-sided densities per hertz whose integral from 0 is the
//     variance. An amplitude density is the square root of one.
//   - An amplitude is zero to peak. Coherence is the magnitude squared.
//   - Uncertainties are standard (k = 1) unless a name or a comment says so.
//   - Time is UTC. Headings are clockwise from north. Latitude is geodetic
//     unless named otherwise.
//
// # Where to go next
//
// torsion is the balance that weighs the Earth, pendulum a mass that moves,
// buried the bodies under the ground, equivalence what falling can and cannot
// tell, sensor a mass on a spring, earth and survey the field.
package gravlab

import (
	"fmt"
	"math"
)

// Physical constants.
//
// Source: CODATA 2018 (E. Tiesinga et al., Rev. Mod. Phys. 93, 025010, 2021);
// G is the same in CODATA 2022.
const (
	// G is the Newtonian constant of gravitation, m³ kg⁻¹ s⁻².
	G = 6.67430e-11
	// UG is the standard uncertainty of G, m³ kg⁻¹ s⁻².
	UG = 0.00015e-11
	// BoltzmannK is the Boltzmann constant, J/K (exact).
	BoltzmannK = 1.380649e-23
	// SpeedOfLight is the speed of light in vacuum, m/s (exact).
	SpeedOfLight = 299792458.0
	// StandardGravity is the standard acceleration of gravity, m/s² (exact by
	// definition, 3rd CGPM 1901). It turns "g" as a unit into m/s²; it is not
	// the gravity of any place.
	StandardGravity = 9.80665
	// ElementaryCharge is the elementary charge, C (exact).
	ElementaryCharge = 1.602176634e-19
	// VacuumPermittivity is the vacuum electric permittivity, F/m.
	VacuumPermittivity = 8.8541878128e-12
	// LeadDensity is the density of lead at room temperature, kg/m³: D. R. Lide (ed.),
	// CRC Handbook of Chemistry and Physics, 80th ed. (1999).
	LeadDensity = 11350.0
)

// Units of the trade, in SI: multiply a number in the unit by the constant to
// have it in SI, divide to go back. (10 µGal is 10*MicroGal m/s².)
const (
	Gal      = 1e-2 // m/s²
	MilliGal = 1e-5 // m/s²
	MicroGal = 1e-8 // m/s²
	Eotvos   = 1e-9 // 1/s²

	Degree = math.Pi / 180 // rad
)

// Must returns v, and panics with err's message when err is not nil. It keeps
// the cells of a notebook short; a program should look at the error instead.
func Must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// An ArgumentError says which argument of which function cannot be used, its
// value, and what is allowed.
type ArgumentError struct {
	Func    string // function or type, e.g. "torsion.Balance"
	Name    string // argument or field, e.g. "Arm"
	Value   any    // the value given
	Allowed string // what is allowed, e.g. "a positive length in m"
}

func (e *ArgumentError) Error() string {
	if v, ok := e.Value.(float64); ok && math.IsNaN(v) {
		return fmt.Sprintf("%s: %s is NaN, which is not a number: a value that is missing, or the result of a calculation that failed; allowed: %s", e.Func, e.Name, e.Allowed)
	}
	return fmt.Sprintf("%s: %s is %v; allowed: %s", e.Func, e.Name, e.Value, e.Allowed)
}
