package buried

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
)

// A Shape is the simplest body of a kind, for reading and fitting anomalies.
type Shape int

const (
	// PointShape is a sphere or any compact body.
	PointShape Shape = iota
	// LineShape is a horizontal line without ends: a tunnel, a drain.
	LineShape
	// ShaftShape is a thin vertical line from a depth down without end.
	ShaftShape
	// SheetShape is a thin half sheet (fault); see DepthFromHalfWidth.
	SheetShape
)

func (s Shape) String() string {
	switch s {
	case PointShape:
		return "point"
	case LineShape:
		return "line"
	case ShaftShape:
		return "shaft"
	case SheetShape:
		return "sheet"
	}
	return fmt.Sprintf("shape %d", int(s))
}

// DepthFromHalfWidth returns the depth (m) of a body of a known shape from the
// distance (m) between the peak of its gz and the place where gz is half the
// peak: 1.3048 times it for a point (centre), once for a line (axis),
// 1/sqrt(3) for a deep shaft (top). For a sheet the width is the distance
// between a quarter and three quarters of the whole rise, and the depth half
// of it.
//
// The rules assume the shape, a flat station level and no regional: a slope
// left in shifts them.
//
// Source: SEG Wiki, Dictionary, Fig. H-1 Half-width (point and line); the
// others follow from the profiles of Rod and SemiInfiniteSheet.
func DepthFromHalfWidth(shape Shape, halfWidth float64) (float64, error) {
	const fn = "buried.DepthFromHalfWidth"
	if err := arg.Between(fn, "halfWidth", halfWidth, 1e-12, 1e12, "length in m"); err != nil {
		return 0, err
	}
	switch shape {
	case PointShape:
		return halfWidth / math.Sqrt(math.Cbrt(4)-1), nil
	case LineShape:
		return halfWidth, nil
	case ShaftShape:
		return halfWidth / math.Sqrt(3), nil
	case SheetShape:
		return halfWidth / 2, nil
	}
	return 0, arg.Bad(fn, "shape", shape, "PointShape, LineShape, ShaftShape or SheetShape")
}

// DepthBound returns the greatest depth (m) to the top of a body from the peak
// of its gz (m/s²) and the steepest slope of gz along the profile (1/s²):
// 0.8587 peak/slope for a body of any shape (PointShape), 0.6495 peak/slope for
// one that is long across the profile (LineShape). Signs do not matter, but
// the whole body must be heavier, or the whole lighter, than its host.
//
// Source: R. A. Smith, Geophysical Prospecting 7 (1959) 55; M. H. P. Bott, R.
// A. Smith, Geophysical Prospecting 6 (1958) 1 (citations and the rounded 0.86
// and 0.65 from memory); the factors are 48 sqrt(5)/125 and 3 sqrt(3)/8, those
// of a point and of a line, which reach the bound.
func DepthBound(shape Shape, peak, slope float64) (float64, error) {
	const fn = "buried.DepthBound"
	if err := errors.Join(arg.Finite(fn, "peak", peak, "gravity in m/s²"), arg.Finite(fn, "slope", slope, "slope in 1/s²")); err != nil {
		return 0, err
	}
	if slope == 0 || peak == 0 {
		return 0, arg.Bad(fn, "peak and slope", [2]float64{peak, slope}, "two numbers that are not zero")
	}
	ratio := math.Abs(peak / slope)
	switch shape {
	case PointShape:
		ratio *= 48 * math.Sqrt(5) / 125
	case LineShape:
		ratio *= 3 * math.Sqrt(3) / 8
	default:
		return 0, arg.Bad(fn, "shape", shape, "PointShape or LineShape")
	}
	if !isFinite(ratio) || ratio == 0 {
		return 0, arg.Bad(fn, "peak and slope", [2]float64{peak, slope}, "a ratio within the range of float64")
	}
	return ratio, nil
}

// HalfWidth returns the distance (m) from a peak of |gz|, along a horizontal or
// any other direction, to the first place where |gz| is half of that at the
// peak. It looks as far as 1000 km, in steps that grow by a tenth from 1 mm on.
func HalfWidth(b Body, peak, along r3.Vec) (float64, error) {
	const fn = "buried.HalfWidth"
	if b == nil {
		return 0, arg.Bad(fn, "b", nil, "a body, not nil")
	}
	if n := r3.Norm(along); !(n > 1e-100 && n < 1e100) {
		return 0, arg.Bad(fn, "along", along, "a direction, such as {X: 1}")
	}
	along = r3.Unit(along)
	top, err := b.GZ(peak)
	if err != nil {
		return 0, err
	}
	if top == 0 {
		return 0, arg.Bad(fn, "peak", peak, "a station where gz is not zero")
	}
	excess := func(s float64) (float64, error) {
		g, err := b.GZ(r3.Add(peak, r3.Scale(s, along)))
		return g/top - 0.5, err
	}
	lo, hi := 0.0, 1e-3
	for {
		e, err := excess(hi)
		if err != nil {
			return 0, err
		}
		if e <= 0 {
			break
		}
		if hi > 1e6 {
			return 0, arg.Bad(fn, "peak", peak, "a peak whose half lies within 1000 km along the direction")
		}
		lo, hi = hi, hi*1.1
	}
	for hi-lo > 1e-15*hi {
		middle := lo + (hi-lo)/2
		if middle == lo || middle == hi {
			break
		}
		e, err := excess(middle)
		if err != nil {
			return 0, err
		}
		if e > 0 {
			lo = middle
		} else {
			hi = middle
		}
	}
	return lo + (hi-lo)/2, nil
}

// RadiusOfSphere is the radius (m) of a sphere of an excess mass (kg) and a
// contrast (kg/m³) of the same sign.
func RadiusOfSphere(mass, contrast float64) (float64, error) {
	return radiusOf("buried.RadiusOfSphere", mass, contrast, func(v float64) float64 { return math.Cbrt(3 * v / (4 * math.Pi)) })
}

// RadiusOfInfiniteCylinder is the radius (m) of a tunnel of an excess mass per length
// (kg/m) and a contrast (kg/m³) of the same sign.
func RadiusOfInfiniteCylinder(massPerLength, contrast float64) (float64, error) {
	return radiusOf("buried.RadiusOfInfiniteCylinder", massPerLength, contrast, func(v float64) float64 { return math.Sqrt(v / math.Pi) })
}

func radiusOf(fn string, mass, contrast float64, of func(float64) float64) (float64, error) {
	if err := errors.Join(arg.Finite(fn, "mass", mass, "excess mass"), checkContrast(fn, "contrast", contrast)); err != nil {
		return 0, err
	}
	if !(mass/contrast > 0) || !isFinite(mass/contrast) {
		return 0, arg.Bad(fn, "contrast", contrast, fmt.Sprintf("a contrast with the sign of the mass, which is %g", mass))
	}
	return of(mass / contrast), nil
}
