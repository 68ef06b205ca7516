package earth

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// Slab is the attraction of an infinite horizontal slab, 2πGρt in m/s², for a
// density or contrast (kg/m³, signed) and a thickness (m, zero or more). It is
// an effect on a station above the slab; below it the sign turns. The depth
// does not matter.
func Slab(density, thickness float64) (float64, error) {
	const fn = "earth.Slab"
	if err := errors.Join(checkDensity(fn, "density", density), arg.NonNegative(fn, "thickness", thickness, "thickness in m")); err != nil {
		return 0, err
	}
	return 2 * math.Pi * gravlab.G * density * thickness, nil
}

// checkDensity refuses what cannot be a density or contrast, and a number that
// was meant in g/cm³.
func checkDensity(fn, name string, density float64) error {
	if err := arg.Between(fn, name, density, -30000, 30000, "density or contrast in kg/m³"); err != nil {
		return err
	}
	// Rocks have less than 4 g/cm³. From 4 kg/m³ on it is a contrast, such as that
	// of soil that takes up 0.4 % of water; up to 1.3 a gas.
	if size := math.Abs(density); size > 1.3 && size < 4 {
		return arg.Bad(fn, name, density, fmt.Sprintf("a density in kg/m³; did you mean %g?", math.Round(density*1e6)/1e3))
	}
	return nil
}

// A Cap is a spherical Bouguer cap: a piece of a shell from radius R to R+h,
// out to an angle from the station, which stands in the middle of its top.
// The usual one goes out to 166.735 km along a sphere of 6371 km (Hayford and
// Bowie's zone O).
type Cap struct {
	Density   float64 // kg/m³, signed
	Thickness float64 // h, m
	HalfAngle float64 // at the centre of the Earth, rad
	Radius    float64 // R of its lower side, m
}

// BouguerCap is the usual cap for a station at height h (m) and a density
// (kg/m³): 166.735 km of arc on a sphere of 6371 km (T. R. LaFehr, Geophysics
// 56, 1179–1184, 1991).
func BouguerCap(density, h float64) Cap {
	return Cap{Density: density, Thickness: h, HalfAngle: 166735.0 / 6371000, Radius: 6371000}
}

// Validate reports what cannot be used.
func (c Cap) Validate() error {
	const fn = "earth.Cap"
	return errors.Join(
		checkDensity(fn, "Density", c.Density),
		arg.Between(fn, "Thickness", c.Thickness, 0, 1e9, "thickness in m"),
		arg.Between(fn, "HalfAngle", c.HalfAngle, 1e-9, math.Pi, "angle in rad"),
		arg.Between(fn, "Radius", c.Radius, 1, 1e12, "radius in m"),
	)
}

// Effect is the attraction of the cap, m/s², down positive.
//
// With r = R + h, the shell at radius x out to the angle ψ pulls with
// 2πGρ (x²/r²) (1 + (x − r cos ψ)/D) dx, D the distance to its rim; the
// integral over x is by Gauss and Legendre and good to 1e-13 of the slab of
// the same thickness.
func (c Cap) Effect() (float64, error) {
	if err := c.Validate(); err != nil {
		return 0, err
	}
	return 2 * math.Pi * gravlab.G * c.Density * (c.Thickness + c.excess()), nil
}

// LessSlab is the cap less the infinite slab of its thickness, m/s²: the
// curvature of the Earth, called Bullard B. It is 1.5 mGal at most (at 2.1 km,
// 2670 kg/m³), zero near 4.15 km and negative above.
func (c Cap) LessSlab() (float64, error) {
	if err := c.Validate(); err != nil {
		return 0, err
	}
	return 2 * math.Pi * gravlab.G * c.Density * c.excess(), nil
}

// excess is the thickness in m of the slab that pulls as the cap does less the
// slab.
func (c Cap) excess() float64 {
	r := c.Radius + c.Thickness
	half := math.Sin(c.HalfAngle / 2)
	k := r * math.Sin(c.HalfAngle) // half-width of the rim, the scale of D
	rise := 2 * r * half * half    // r − r cos ψ
	// With y = x − r cos ψ and D² = y² + k², x²/r² (1 + y/D) − 1 in terms of
	// the depth below the station, r − x.
	f := func(depth, y float64) float64 {
		square := depth / r * (depth/r - 2) // x²/r² − 1
		ratio := y / math.Hypot(y, k)
		return square*(1+ratio) + ratio
	}
	bottom := rise - c.Thickness
	if c.Thickness <= k || c.HalfAngle > math.Pi/2 {
		// Over the depth, not y: beside a wide rim a thin cap has few digits left.
		return quad.Fixed(func(depth float64) float64 { return f(depth, rise-depth) }, 0, c.Thickness, 48, nil, 0)
	}
	// A narrow cap changes within its own width: y = k sinh s evens that out.
	g := func(s float64) float64 {
		y := k * math.Sinh(s)
		return f(rise-y, y) * k * math.Cosh(s)
	}
	from, to := math.Asinh(bottom/k), math.Asinh(rise/k)
	panels := int(math.Ceil(to-from)) + 1
	sum, step := 0.0, (to-from)/float64(panels)
	for i := range panels {
		sum += quad.Fixed(g, from+float64(i)*step, from+float64(i+1)*step, 24, nil, 0)
	}
	return sum
}

// Atmosphere is the attraction of the air that normal gravity counts as lying
// below the station although it lies above, m/s²: the atmospheric correction,
// to be added to gravity observed at height h (m):
//
//	0.874 − 9.9e-5 h + 3.56e-9 h²  mGal
//
// (H. G. Wenzel 1985, in W. J. Hinze et al., Geophysics 70, J25–J32, 2005,
// eq. 2.) It holds to about 10 km; other heights are refused.
func Atmosphere(h float64) (float64, error) {
	if err := arg.Between("earth.Atmosphere", "h", h, -500, 1e4, "height in m"); err != nil {
		return 0, err
	}
	return gravlab.MilliGal * (0.874 - 9.9e-5*h + 3.56e-9*h*h), nil
}

// EotvosCorrection is what to add to the reading of a meter that moves at
// speed (m/s) over the ground towards heading (rad, clockwise from north) at
// latitude lat (rad), at a distance radius (m) from the Earth's centre:
//
//	2 ω v cos φ sin α + v²/r
//
// in m/s². Eastward motion makes the reading smaller, so the correction is
// positive. Exact for a steady great circle on a sphere; on the ellipsoid the
// second term is 0.3 % off.
func EotvosCorrection(speed, heading, lat, radius float64) (float64, error) {
	const fn = "earth.EotvosCorrection"
	if err := errors.Join(
		arg.Between(fn, "speed", speed, 0, 1e4, "speed in m/s"),
		arg.Between(fn, "heading", heading, -2*math.Pi, 2*math.Pi, "heading in rad (degrees are too large by 57.3)"),
		checkLatitude(fn, lat),
		arg.Between(fn, "radius", radius, 1e5, 1e9, "distance from the centre in m; a height alone is too small"),
	); err != nil {
		return 0, err
	}
	return 2*WGS84.Omega*speed*math.Cos(lat)*math.Sin(heading) + speed*speed/radius, nil
}

// PressureAdmittance is how gravity answers to air pressure, −3 nm/s² per hPa
// in m/s² per Pa (from memory; common practice): the direct pull of the air,
// −3.6, less what the ground gains by sinking under it. It varies by 10 % with
// place and weather.
const PressureAdmittance = -3e-9 / 100

// PressureCorrection is what to add to a reading taken at air pressure p (Pa)
// for the station's standard pressure pn (Pa), with an admittance in m/s² per
// Pa such as [PressureAdmittance].
func PressureCorrection(p, pn, admittance float64) (float64, error) {
	const fn = "earth.PressureCorrection"
	if err := errors.Join(
		arg.Between(fn, "p", p, 1e4, 1.2e5, "pressure in Pa (hPa are too small by 100)"),
		arg.Between(fn, "pn", pn, 1e4, 1.2e5, "pressure in Pa (hPa are too small by 100)"),
		arg.Between(fn, "admittance", admittance, -1e-9, 1e-9, "admittance in m/s² per Pa"),
	); err != nil {
		return 0, err
	}
	return -admittance * (p - pn), nil
}

// NormalPressure is the pressure of the standard atmosphere at height h (m),
// Pa: 101325 (1 − 0.0065 h/288.15)^5.2559 (DIN 5450 and ISO 2533; from memory).
// It holds to 11 km.
func NormalPressure(h float64) (float64, error) {
	if err := arg.Between("earth.NormalPressure", "h", h, -2000, 11000, "height in m"); err != nil {
		return 0, err
	}
	return 101325 * math.Pow(1-0.0065*h/288.15, 5.2559), nil
}

// AirColumn is the direct attraction, m/s², down positive (so negative), of
// the air that raises the pressure by dp (Pa), out to a radius (m) round the
// station on a flat Earth, where density falls off exponentially with a scale
// height (m) and g (m/s²) turns mass into pressure. The yielding of the ground
// is not in it.
//
//	−2πG (dp/g) (1/H) ∫ exp(−z/H) (1 − z/√(z²+R²)) dz
//
// by quadrature, good to 1e-12.
func AirColumn(dp, radius, scaleHeight, g float64) (float64, error) {
	const fn = "earth.AirColumn"
	if err := errors.Join(
		arg.Between(fn, "dp", dp, -1e5, 1e5, "change of pressure in Pa"),
		arg.Between(fn, "radius", radius, 1e-3, 1e9, "radius in m"),
		arg.Between(fn, "scaleHeight", scaleHeight, 1, 1e6, "scale height in m"),
		arg.Between(fn, "g", g, 0.1, 100, "gravity in m/s²"),
	); err != nil {
		return 0, err
	}
	// z = R sinh s makes the integrand (R/H) exp(−s − (R/H) sinh s).
	rho := radius / scaleHeight
	scale := 1 / (1 + rho)
	share := 0.0
	for panel := range 24 {
		share += quad.Fixed(func(s float64) float64 { return rho * math.Exp(-s-rho*math.Sinh(s)) },
			float64(2*panel)*scale, float64(2*panel+2)*scale, 16, nil, 0)
	}
	return -2 * math.Pi * gravlab.G * dp / g * share, nil
}

// OldNormalGravity is normal gravity on the ellipsoid, m/s², at geodetic latitude lat (rad) by
// a formula that is no longer used: "1930", the international formula (Cassinis), which goes
// with the datum of Potsdam, some 14 mGal too high; or "1967", that of the Geodetic Reference
// System 1967. Old surveys were reduced with them; no new one should be.
//
//	1930: 9.78049 (1 + 0.0052884 sin²φ − 0.0000059 sin²2φ)
//	1967: 9.78031846 (1 + 0.005278895 sin²φ + 0.000023462 sin⁴φ)
//
// (both from memory; the second is good to 0.04 µm/s² of the closed form).
func OldNormalGravity(formula string, lat float64) (float64, error) {
	const fn = "earth.OldNormalGravity"
	if err := checkLatitude(fn, lat); err != nil {
		return 0, err
	}
	s, s2 := math.Sin(lat), math.Sin(2*lat)
	switch formula {
	case "1930":
		return 9.78049 * (1 + 0.0052884*s*s - 0.0000059*s2*s2), nil
	case "1967":
		return 9.78031846 * (1 + 0.005278895*s*s + 0.000023462*s*s*s*s), nil
	}
	return 0, arg.Bad(fn, "formula", formula, `"1930" or "1967"`)
}
