package buried

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// A EquivalentLayer is a thin layer on the surface z = 0 that pulls, everywhere
// above it, exactly as a point mass at a depth below the origin: its surface
// density is m d / (2 pi (s² + d²)^1.5). No measurement above the ground tells
// the two apart, nor any mixture of them: depth is a matter of what is known
// besides gravity.
//
// Source: Green's equivalent layer; Kellogg (1929), chapter VIII (chapter from
// memory).
type EquivalentLayer struct {
	Mass  float64 // kg, signed
	Depth float64 // of the point that it mimics, m
}

// Validate reports every field that cannot be used.
func (l EquivalentLayer) Validate() error {
	const fn = "buried.EquivalentLayer"
	return errors.Join(
		arg.Between(fn, "Mass", l.Mass, -1e30, 1e30, "excess mass in kg"),
		arg.Between(fn, "Depth", l.Depth, 1e-6, 1e9, "depth in m"))
}

// SurfaceDensity is the layer's density at the distance s from the origin, kg/m².
func (l EquivalentLayer) SurfaceDensity(s float64) (float64, error) {
	if err := errors.Join(l.Validate(), arg.Finite("buried.EquivalentLayer.SurfaceDensity", "s", s, "distance in m")); err != nil {
		return 0, err
	}
	return l.density(s), nil
}

func (l *EquivalentLayer) density(s float64) float64 {
	q := math.Hypot(s, l.Depth)
	return l.Mass / (2 * math.Pi) * (l.Depth / q) / (q * q)
}

// GZ is the pull of the layer itself, ring by ring, at a height above it and
// the distance x from the origin, m/s². It does not use the point mass, so that
// comparing the two shows something. Relative error below 1e-9 for heights of a
// thousandth to a thousand depths.
func (l EquivalentLayer) GZ(height, x float64) (float64, error) {
	const fn = "buried.EquivalentLayer.GZ"
	if err := errors.Join(l.Validate(),
		arg.Between(fn, "height", height, 1e-3*l.Depth, 1e3*l.Depth, "height in m above the layer, from 0.001 to 1000 depths,"),
		arg.Between(fn, "x", x, -1e3*l.Depth, 1e3*l.Depth, "distance in m within 1000 depths")); err != nil {
		return 0, err
	}
	x = math.Abs(x)
	// Panels of half the distance to whatever is nearest: the ring below the
	// station (height away) or the hump of the density (depth away).
	sum := 0.0
	for s := 0.0; s < 1e7*(height+x+l.Depth); {
		step := 0.5 * min(math.Hypot(s-x, height), math.Hypot(s, l.Depth))
		for i, t := range gauss16.at {
			at := s + t*step
			sum += step * gauss16.weight[i] * l.density(at) * ringPull(at, x, height)
		}
		s += step
	}
	return finite(fn, r3.Vec{X: x, Z: -height}, gravlab.G*sum)
}

// NestedSpheres returns spheres about one centre with one excess mass (kg) and
// the given radii (m): outside the largest they cannot be told apart. Each has
// the contrast that its size needs; a contrast that no ground can have is what
// limits the family.
func NestedSpheres(centre r3.Vec, mass float64, radii ...float64) ([]Sphere, error) {
	const fn = "buried.NestedSpheres"
	if err := errors.Join(checkVec(fn, "centre", centre), arg.Finite(fn, "mass", mass, "excess mass in kg"), arg.AtLeast(fn, "radii", len(radii), 1)); err != nil {
		return nil, err
	}
	spheres := make([]Sphere, len(radii))
	for i, r := range radii {
		if err := arg.Positive(fn, fmt.Sprintf("radii[%d]", i), r, "length in m"); err != nil {
			return nil, err
		}
		spheres[i] = Sphere{Centre: centre, Radius: r, Contrast: mass / (4 * math.Pi / 3 * r * r * r)}
		if err := spheres[i].Validate(); err != nil {
			return nil, fmt.Errorf("radius %g m: %w", r, err)
		}
	}
	return spheres, nil
}

// ringPull is the vertical pull, per G times mass per length of the ring, of a
// ring of radius s at the height h below it and the distance x from its axis.
//
// Source: the complete elliptic integral E; Kellogg (1929), chapter III.
func ringPull(s, x, h float64) float64 {
	far := (s+x)*(s+x) + h*h
	near := (s-x)*(s-x) + h*h
	return 4 * s * h * mathext.CompleteE(4*s*x/far) / (near * math.Sqrt(far))
}
