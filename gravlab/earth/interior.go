package earth

import (
	"errors"
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// An Interior is a round, layered Earth: density depends on the distance from
// the centre alone. It does not rotate.
type Interior struct {
	Radius float64 // m
	Shells []Shell // from the centre outwards; the last one ends at Radius
}

// A Shell is a layer of an [Interior].
type Shell struct {
	Outer   float64   // radius of its upper side, m
	Density []float64 // kg/m³: ρ = d[0] + d[1] x + d[2] x² + …, with x = r/Radius
}

// PREM is the Preliminary Reference Earth Model: density by radius, from travel
// times of earthquake waves, free oscillations, the mass of the Earth and its
// moment of inertia (A. M. Dziewonski, D. L. Anderson, Phys. Earth Planet. Inter. 25,
// 297–356, 1981, table I; the coefficients are as printed there, in g/cm³, and were read
// in copies of the table, not in the paper). Neighbouring layers with the same density
// are one here. It ends with 3 km of sea, as the average Earth does.
var PREM = Interior{Radius: 6371e3, Shells: []Shell{
	{1221.5e3, []float64{13088.5, 0, -8838.1}},              // inner core
	{3480e3, []float64{12581.5, -1263.8, -3642.6, -5528.1}}, // outer core
	{5701e3, []float64{7956.5, -6476.1, 5528.3, -3080.7}},   // lower mantle
	{5771e3, []float64{5319.7, -1483.6}},                    // transition zone, three layers
	{5971e3, []float64{11249.4, -8029.8}},                   //
	{6151e3, []float64{7108.9, -3804.5}},                    //
	{6346.6e3, []float64{2691.0, 692.4}},                    // low-velocity zone and lid
	{6356e3, []float64{2900}}, {6368e3, []float64{2600}},    // crust
	{6371e3, []float64{1020}}, // sea
}}

// Validate reports what cannot be used.
func (e Interior) Validate() error {
	const fn = "earth.Interior"
	if err := errors.Join(arg.Between(fn, "Radius", e.Radius, 1, 1e12, "radius in m"), arg.AtLeast(fn, "Shells", len(e.Shells), 1)); err != nil {
		return err
	}
	below := 0.0
	for i, s := range e.Shells {
		name := fmt.Sprintf("Shells[%d]", i)
		if err := errors.Join(
			arg.AtLeast(fn, name+".Density", len(s.Density), 1),
			arg.AllFinite(fn, name+".Density", s.Density, "density in kg/m³"),
		); err != nil {
			return err
		}
		if !(s.Outer > below) {
			return arg.Bad(fn, name+".Outer", s.Outer, fmt.Sprintf("a radius in m above that of the shell below, %g", below))
		}
		below = s.Outer
	}
	if below != e.Radius {
		return arg.Bad(fn, "Radius", e.Radius, fmt.Sprintf("the radius of the last shell, %g m", below))
	}
	return nil
}

// checkRadius refuses a distance from the centre that is not inside.
func (e Interior) checkRadius(fn string, r float64) error {
	if err := e.Validate(); err != nil {
		return err
	}
	return arg.Between(fn, "r", r, 0, e.Radius, "distance from the centre in m (a depth in km is too small by far)")
}

// Density is the density at the distance r (m) from the centre, kg/m³. At a
// boundary it is that of the layer below.
func (e Interior) Density(r float64) (float64, error) {
	if err := e.checkRadius("earth.Interior.Density", r); err != nil {
		return 0, err
	}
	x, sum := r/e.Radius, 0.0
	for _, s := range e.Shells {
		if r <= s.Outer {
			for k := len(s.Density) - 1; k >= 0; k-- {
				sum = float64(sum*x) + s.Density[k]
			}
			break
		}
	}
	return sum, nil
}

// moment is the integral of ρ x^(n+2) dx from the centre to x = r/Radius.
func (e Interior) moment(r float64, n int) float64 {
	sum, below := 0.0, 0.0
	for _, s := range e.Shells {
		above := math.Min(r, s.Outer) / e.Radius
		for k, c := range s.Density {
			p := float64(k + n + 3)
			sum += c * (math.Pow(above, p) - math.Pow(below, p)) / p
		}
		if r <= s.Outer {
			break
		}
		below = above
	}
	return sum
}

// Mass is what lies within the distance r (m) of the centre, kg.
func (e Interior) Mass(r float64) (float64, error) {
	if err := e.checkRadius("earth.Interior.Mass", r); err != nil {
		return 0, err
	}
	return 4 * math.Pi * math.Pow(e.Radius, 3) * e.moment(r, 0), nil
}

// Gravity is G Mass(r)/r² at the distance r (m) from the centre, m/s²: the shells
// farther out do not pull, by Newton's shell theorem. At the centre it is 0.
func (e Interior) Gravity(r float64) (float64, error) {
	m, err := e.Mass(r)
	if err != nil || r == 0 {
		return 0, err
	}
	return gravlab.G * m / (r * r), nil
}

// Inertia is the moment of inertia about an axis through the centre of what lies
// within the distance r (m), kg m²: (8π/3) ∫ ρ r⁴ dr.
func (e Interior) Inertia(r float64) (float64, error) {
	if err := e.checkRadius("earth.Interior.Inertia", r); err != nil {
		return 0, err
	}
	return 8 * math.Pi / 3 * math.Pow(e.Radius, 5) * e.moment(r, 2), nil
}

// ShaftGradient is how fast g grows on the way down inside rock or water of a
// density (kg/m³), in m/s² per m: F − 4πGρ, where F is the free-air gradient of
// the place (positive, 3.086e-6 as a rule). It is Poisson's equation on a level
// Earth whose layers are wider than the shaft is deep. The Earth below pulls more on
// the way down, by F; each layer that was below and is now above takes 2πGρ away
// twice.
func ShaftGradient(freeAir, density float64) (float64, error) {
	const fn = "earth.ShaftGradient"
	if err := errors.Join(checkFreeAir(fn, freeAir), checkDensity(fn, "density", density)); err != nil {
		return 0, err
	}
	return freeAir - 4*math.Pi*gravlab.G*density, nil
}

// ShaftDensity is the density, kg/m³, that goes with a growth of g by gradient
// (m/s² per m of depth, signed) where the free-air gradient is freeAir (m/s² per m,
// positive): the inverse of [ShaftGradient], (F − gradient)/(4πG).
func ShaftDensity(freeAir, gradient float64) (float64, error) {
	const fn = "earth.ShaftDensity"
	if err := errors.Join(checkFreeAir(fn, freeAir), arg.Between(fn, "gradient", gradient, -1e-4, 1e-4, "gradient in m/s² per m")); err != nil {
		return 0, err
	}
	return (freeAir - gradient) / (4 * math.Pi * gravlab.G), nil
}

func checkFreeAir(fn string, freeAir float64) error {
	return arg.Between(fn, "freeAir", freeAir, 1e-7, 1e-4, "free-air gradient in m/s² per m, positive (0.3086 mGal/m are 3.086e-6)")
}

// MineDensity is the mean density of a round Earth, kg/m³, from gravity at the
// bottom and at the top of a mine: excess is g below over g above, less 1. The
// mine is depth (m) deep in rock (kg/m³) that covers the whole Earth, of radius
// radius (m), to that depth. It is Airy's method of 1854; he kept the first power of depth over
// radius, D = 3 d c/R / (2 c/R − excess), which is 1e-4 off at 400 m. The Earth's
// rotation, 0.2 % of the free-air gradient, is left out.
func MineDensity(rock, depth, radius, excess float64) (float64, error) {
	const fn = "earth.MineDensity"
	if err := errors.Join(
		arg.Between(fn, "rock", rock, 500, 10000, "density in kg/m³"),
		arg.Between(fn, "radius", radius, 1e3, 1e9, "radius in m"),
		arg.Between(fn, "depth", depth, 1e-3, radius/2, "depth in m"),
		arg.Between(fn, "excess", excess, -1, 1, "ratio of gravity below and above, less 1"),
	); err != nil {
		return 0, err
	}
	q := depth / radius
	// 1 − (1−q)³ and 1 − (1+e)(1−q)² without the loss of digits.
	d := rock * q * (3 - q*(3-q)) / (q*(2-q) - excess*(1-q)*(1-q))
	if !(d > 0) {
		return 0, arg.Bad(fn, "excess", excess, "less than 2 depth/radius: gravity cannot grow faster than towards a point")
	}
	return d, nil
}
