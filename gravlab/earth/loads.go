package earth

import (
	"errors"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// Layers of water or ice. Each function gives the direct Newtonian attraction,
// down positive, of a thin layer of surface density sigma (kg/m²; 1 mm of water
// is 1 kg/m²). What the load does to the ground beneath it is apart, in
// [LoadedGround].

// A Disc is a flat round layer.
type Disc struct {
	SurfaceDensity float64 // kg/m², signed
	Radius         float64 // m
}

// Effect is the attraction on the axis of the disc at height h (m), m/s², down
// positive: 2πGσ (1 − h/√(h²+a²)). Below the disc, h < 0, it is negative. At
// h = 0 it is the value just above the layer; just below it has the other sign.
func (d Disc) Effect(h float64) (float64, error) {
	const fn = "earth.Disc"
	if err := errors.Join(
		arg.Between(fn, "SurfaceDensity", d.SurfaceDensity, -1e9, 1e9, "surface density in kg/m²"),
		arg.Between(fn, "Radius", d.Radius, 1e-9, 1e9, "radius in m"),
		arg.Between(fn, "h", h, -1e12, 1e12, "height in m"),
	); err != nil {
		return 0, err
	}
	up := math.Abs(h)
	slant := math.Hypot(up, d.Radius)
	// 1 − h/s without the loss of digits far away.
	share := d.Radius / slant * (d.Radius / (slant + up))
	return math.Copysign(2*math.Pi*gravlab.G*share, h) * d.SurfaceDensity, nil
}

// FlatWave is the amplitude of the attraction at height h (m, above) of a thin
// layer sigma cos(2πx/λ) on a flat Earth, m/s²: 2πGσ exp(−2πh/λ). It holds for
// wavelengths (m) well below the Earth's radius; see [SphericalWave].
func FlatWave(sigma, wavelength, h float64) (float64, error) {
	const fn = "earth.FlatWave"
	if err := errors.Join(
		arg.Between(fn, "sigma", sigma, -1e9, 1e9, "surface density in kg/m²"),
		arg.Positive(fn, "wavelength", wavelength, "wavelength in m (the whole of it, not half)"),
		arg.NonNegative(fn, "h", h, "height in m"),
	); err != nil {
		return 0, err
	}
	return 2 * math.Pi * gravlab.G * sigma * math.Exp(-2*math.Pi*h/wavelength), nil
}

// SphericalWave is the attraction, down positive, at height h (m) above a
// sphere of the given radius (m) covered with a thin layer σ Y of spherical
// harmonic degree l, per unit of Y there, m/s²:
//
//	4πGσ (l+1)/(2l+1) (R/(R+h))^(l+2)
//
// The Earth beneath is rigid. The wavelength is about 2πR/(l+½).
func SphericalWave(sigma float64, degree int, radius, h float64) (float64, error) {
	const fn = "earth.SphericalWave"
	if err := errors.Join(
		arg.Between(fn, "sigma", sigma, -1e9, 1e9, "surface density in kg/m²"),
		checkDegree(fn, degree),
		arg.Between(fn, "radius", radius, 1, 1e12, "radius in m"),
		arg.NonNegative(fn, "h", h, "height in m"),
	); err != nil {
		return 0, err
	}
	l := float64(degree)
	return 4 * math.Pi * gravlab.G * sigma * (l + 1) / (2*l + 1) * math.Exp(-(l+2)*math.Log1p(h/radius)), nil
}

func checkDegree(fn string, degree int) error {
	if degree < 0 || degree > 1e6 {
		return arg.Bad(fn, "degree", degree, "a degree from 0 to 1,000,000")
	}
	return nil
}

// loadLove holds k' of an elastic, spherically symmetric Earth by degree; J.
// Wahr, M. Molenaar, F. Bryan, J. Geophys. Res. 103, 30205–30229 (1998), table
// 1, from memory.
var loadLove = []struct {
	degree int
	k      float64
}{
	{0, 0}, {1, 0.027}, {2, -0.303}, {3, -0.194}, {4, -0.132}, {5, -0.104}, {6, -0.089}, {7, -0.081}, {8, -0.076}, {9, -0.072},
	{10, -0.069}, {12, -0.064}, {15, -0.058}, {20, -0.051}, {30, -0.040}, {40, -0.033}, {50, -0.027}, {70, -0.020}, {100, -0.014},
	{150, -0.010}, {200, -0.007},
}

// LoadedGround is the fraction of the direct attraction of a layer of degree l
// that the sinking of the elastic ground takes away again, seen from orbit:
// the load Love number k'_l (negative: −0.30 for l = 2, −0.014 for l = 100).
// The whole signal is direct × (1 + k'). It is interpolated between tabulated
// degrees (Wahr, Molenaar and Bryan, J. Geophys. Res. 103, 30205, 1998, table
// 1; from memory) and refused beyond degree 200.
//
// A meter standing on the ground feels more than that, since it sinks with it:
// in g the term is not this one.
func LoadedGround(degree int) (float64, error) {
	const fn = "earth.LoadedGround"
	if degree < 0 || degree > 200 {
		return 0, arg.Bad(fn, "degree", degree, "a degree from 0 to 200")
	}
	for i := 1; i < len(loadLove); i++ {
		if a, b := loadLove[i-1], loadLove[i]; degree <= b.degree {
			x := float64(degree-a.degree) / float64(b.degree-a.degree)
			return a.k + x*(b.k-a.k), nil
		}
	}
	return 0, arg.Bad(fn, "degree", degree, "a degree from 0 to 200")
}

// SeaLevel is how far the sea rises, m, when a mass (kg) of land ice or water
// runs into it: mass over 1000 kg/m³ and 361.8e12 m² of ocean, so 361.8 Gt for
// 1 mm (common practice, no source). Gt are 1e12 kg; a km³ of ice is 0.917 of
// one.
func SeaLevel(mass float64) (float64, error) {
	if err := arg.Finite("earth.SeaLevel", "mass", mass, "mass in kg"); err != nil {
		return 0, err
	}
	return mass / (1000 * 361.8e12), nil
}
