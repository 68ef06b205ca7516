package earth

import (
	"errors"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// Isostasy: mountains float. What stands above the datum is balanced by light
// rock below, so that columns of equal area have equal mass down to some depth.

// AiryRoot is how far the crust of a plateau reaches below the crust of the
// lowland, m, if the plateau of a height (m, zero or more) floats: height × crust/(mantle −
// crust), both in kg/m³ (G. B. Airy, Phil. Trans. R. Soc. 145, 101–104, 1855; from memory).
func AiryRoot(height, crust, mantle float64) (float64, error) {
	const fn = "earth.AiryRoot"
	if err := errors.Join(arg.NonNegative(fn, "height", height, "height in m"), arg.Between(fn, "crust", crust, 500, 10000, "density in kg/m³")); err != nil {
		return 0, err
	}
	if err := arg.Between(fn, "mantle", mantle, 500, 10000, "density in kg/m³"); err != nil {
		return 0, err
	}
	if !(mantle > crust) {
		return 0, arg.Bad(fn, "mantle", mantle, "denser than the crust, or nothing floats")
	}
	return height * crust / (mantle - crust), nil
}

// PrattDensity is the density, kg/m³, of a column that stands height (m) above
// the datum if all columns have equal mass down to a depth (m) below it, and a
// column without height has the given density (kg/m³): density × depth/(depth + height) (J.
// H. Pratt, 1859; from memory).
func PrattDensity(height, depth, density float64) (float64, error) {
	const fn = "earth.PrattDensity"
	if err := errors.Join(
		arg.NonNegative(fn, "height", height, "height in m"),
		arg.Positive(fn, "depth", depth, "depth of compensation in m"),
		arg.Between(fn, "density", density, 500, 10000, "density in kg/m³"),
	); err != nil {
		return 0, err
	}
	return density * depth / (depth + height), nil
}

// CompensatedWave is what a wave of topography, height × cos(2πx/λ), does to gravity
// at the datum per metre of its height, if its mass is missing at a depth (m) below: the
// free-air and the Bouguer anomaly over the height, m/s² per m,
//
//	2πGρ (1 − exp(−2π depth/λ)) and −2πGρ exp(−2π depth/λ).
//
// It keeps the first power of the height: ridges must be low beside their
// wavelength (m). Airy's root lies at the bottom of the crust. A depth of 0 is an ideal
// balance right under the ridge; a very deep one is none.
func CompensatedWave(density, wavelength, depth float64) (freeAir, bouguer float64, err error) {
	const fn = "earth.CompensatedWave"
	if err := errors.Join(
		checkDensity(fn, "density", density),
		arg.Positive(fn, "wavelength", wavelength, "wavelength in m (the whole of it, not half)"),
		arg.NonNegative(fn, "depth", depth, "depth of compensation in m"),
	); err != nil {
		return 0, 0, err
	}
	slab := 2 * math.Pi * gravlab.G * density
	k := 2 * math.Pi / wavelength
	return -slab * math.Expm1(-k*depth), -slab * math.Exp(-k*depth), nil
}
