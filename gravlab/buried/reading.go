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

// MapFraction is the share of 2 pi G M that a rectangular map on the level z = 0,
// from x1 to x2 north and y1 to y2 east, catches of a point mass below it: its
// solid angle seen from the mass, over 2 pi. A map to X = z each way catches a
// third, to 10 z nine tenths.
//
// Source: the solid angle of a rectangle; Gauss's theorem.
func MapFraction(x1, x2, y1, y2 float64, at r3.Vec) (float64, error) {
	const fn = "buried.MapFraction"
	if err := checkRectangle(fn, x1, x2, y1, y2); err != nil {
		return 0, err
	}
	if !finite3(at) || !(at.Z > 0) || math.Abs(at.X)+math.Abs(at.Y)+at.Z > 1e30 {
		return 0, arg.Bad(fn, "at", at, "a point below the map (Z > 0)")
	}
	return face(x1-at.X, x2-at.X, y1-at.Y, y2-at.Y, at.Z) / (2 * math.Pi), nil
}

func checkRectangle(fn string, x1, x2, y1, y2 float64) error {
	const lim = 1e30
	if !(x2 > x1 && x1 > -lim && x2 < lim) {
		return arg.Bad(fn, "x2", x2, fmt.Sprintf("a finite place in m north of x1, which is %g", x1))
	}
	if !(y2 > y1 && y1 > -lim && y2 < lim) {
		return arg.Bad(fn, "y2", y2, fmt.Sprintf("a finite place in m east of y1, which is %g", y1))
	}
	return nil
}

// ProfileFraction is the share of 2 pi G lambda that a profile from x1 to x2 on
// the level z = 0 catches of a line mass (kg/m) below it: the angle of the
// profile seen from the line, over pi.
func ProfileFraction(x1, x2 float64, at XZ) (float64, error) {
	const fn = "buried.ProfileFraction"
	if err := checkRectangle(fn, x1, x2, 0, 1); err != nil {
		return 0, err
	}
	if !isFinite(at.X) || !(at.Z > 0) || math.Abs(at.X)+at.Z > 1e30 {
		return 0, arg.Bad(fn, "at", at, "a line below the profile (Z > 0)")
	}
	a, b := x1-at.X, x2-at.X
	// arctan(b/z) - arctan(a/z) as one angle.
	return math.Atan2(at.Z*(b-a), at.Z*at.Z+a*b) / math.Pi, nil
}

// A MassEstimate is a mass read from an anomaly by Gauss's theorem.
type MassEstimate struct {
	Integral float64 // integral of gz over 2 pi G: kg for a map, kg/m for a profile
	Fraction float64 // what the finite map or profile catches of the whole, 0 to 1
	Mass     float64 // Caught/Share
	// PerOffset is what one m/s² of error in the base level adds to Mass, kg (or
	// kg/m) per m/s²: 10 µGal over a map of 100 m by 100 m are 2400 t in Caught.
	PerOffset float64
}

// ExcessMass integrates a map of gz, gz[i][j] at x[i] north and y[j] east (m,
// rising), by the trapezoid rule, and corrects for the share that a map of this
// size misses when the mass lies at a point below it. The regional must have
// been taken off. An extended body that is no deeper than a third of the map's
// width is a point to a few per cent of the missing share.
//
// Source: Gauss's theorem, M = integral of gz dA / (2 pi G): 23.85 t for 1 mGal
// over 1 m².
func ExcessMass(x, y []float64, gz [][]float64, at r3.Vec) (MassEstimate, error) {
	const fn = "buried.ExcessMass"
	err := errors.Join(
		arg.AtLeast(fn, "x", len(x), 2), arg.AtLeast(fn, "y", len(y), 2),
		arg.Rising(fn, "x", x, "place in m"), arg.Rising(fn, "y", y, "place in m"),
		arg.SameLength(fn, "x", len(x), "gz", len(gz)))
	if err != nil {
		return MassEstimate{}, err
	}
	for i, row := range gz {
		name := fmt.Sprintf("gz[%d]", i)
		if err := errors.Join(arg.SameLength(fn, "y", len(y), name, len(row)), checkLocal(fn, name, row)); err != nil {
			return MassEstimate{}, err
		}
	}
	share, err := MapFraction(x[0], x[len(x)-1], y[0], y[len(y)-1], at)
	if err != nil {
		return MassEstimate{}, err
	}
	lines := make([]float64, len(x))
	for i := range x {
		lines[i] = trapezoid(y, gz[i])
	}
	return caught(fn, trapezoid(x, lines), (x[len(x)-1]-x[0])*(y[len(y)-1]-y[0]), share)
}

// MassPerLength integrates a profile of gz (m/s²) at x (m, rising) across a long
// body by the trapezoid rule, and corrects for the share that a profile of this
// length misses when the mass lies on a line at a point of the section. The
// regional must have been taken off. (A profile over a compact body gives no
// mass: that needs a map.)
//
// Source: Gauss's theorem, lambda = integral of gz dx / (2 pi G).
func MassPerLength(x, gz []float64, at XZ) (MassEstimate, error) {
	const fn = "buried.MassPerLength"
	err := errors.Join(
		arg.AtLeast(fn, "x", len(x), 2), arg.Rising(fn, "x", x, "place in m"),
		arg.SameLength(fn, "x", len(x), "gz", len(gz)), checkLocal(fn, "gz", gz))
	if err != nil {
		return MassEstimate{}, err
	}
	share, err := ProfileFraction(x[0], x[len(x)-1], at)
	if err != nil {
		return MassEstimate{}, err
	}
	return caught(fn, trapezoid(x, gz), x[len(x)-1]-x[0], share)
}

// checkLocal refuses what the rest of gz without the regional cannot be; see
// [Anomaly] for the limit.
func checkLocal(fn, name string, gz []float64) error {
	for i, g := range gz {
		if !(math.Abs(g) <= 0.1) {
			return arg.Bad(fn, fmt.Sprintf("%s[%d]", name, i), g, "gravity in m/s² without the regional, at most 0.1 in size"+otherUnit)
		}
	}
	return nil
}

func trapezoid(x, y []float64) float64 {
	sum := 0.0
	for i := 1; i < len(x); i++ {
		sum += (x[i] - x[i-1]) * (y[i]/2 + y[i-1]/2)
	}
	return sum
}

func caught(fn string, integral, extent, share float64) (MassEstimate, error) {
	if !(share > 1e-12) {
		return MassEstimate{}, arg.Bad(fn, "at", share, "a place of which the map or profile catches a share worth correcting")
	}
	c := MassEstimate{Integral: integral / pi2G, Fraction: share}
	c.Mass = c.Integral / share
	c.PerOffset = extent / pi2G / share
	if !isFinite(c.Mass) || !isFinite(c.PerOffset) {
		return MassEstimate{}, arg.Bad(fn, "gz", integral, "values whose integral stays within the range of float64")
	}
	return c, nil
}

// MapIntegral integrates gz of a body over a rectangle of the level z, from x1
// to x2 and y1 to y2 (m), by Gauss points, doubling them until the result no
// longer changes by a part in 1e9; it returns the last change as an estimate of
// the error, m³/s². Over 2 pi G times the body's mass it is the share that such
// a map catches.
func MapIntegral(b Body, x1, x2, y1, y2, z float64) (integral, change float64, err error) {
	const fn = "buried.MapIntegral"
	if b == nil {
		return 0, 0, arg.Bad(fn, "b", nil, "a body, not nil")
	}
	if err := errors.Join(checkRectangle(fn, x1, x2, y1, y2), arg.Finite(fn, "z", z, "depth in m")); err != nil {
		return 0, 0, err
	}
	change = math.Inf(1)
	for panels := 1; panels <= 64; panels *= 2 {
		stations := make([]r3.Vec, 0, panels*panels*256)
		for i := range panels * 16 {
			for j := range panels * 16 {
				stations = append(stations, r3.Vec{
					X: x1 + (x2-x1)*(float64(i/16)+gauss16.at[i%16])/float64(panels),
					Y: y1 + (y2-y1)*(float64(j/16)+gauss16.at[j%16])/float64(panels),
					Z: z,
				})
			}
		}
		gz, err := GZAt(b, stations)
		if err != nil {
			return 0, 0, err
		}
		sum := 0.0
		for k, g := range gz {
			i, j := k/(panels*16), k%(panels*16)
			sum += g * gauss16.weight[i%16] * gauss16.weight[j%16]
		}
		sum *= (x2 - x1) * (y2 - y1) / float64(panels*panels)
		if panels > 1 {
			change = math.Abs(sum - integral)
		}
		integral = sum
		if change <= 1e-9*math.Abs(sum) {
			break
		}
	}
	if !isFinite(integral) {
		return 0, 0, arg.Bad(fn, "x1, x2, y1, y2", [4]float64{x1, x2, y1, y2}, "a map whose integral stays within the range of float64")
	}
	return integral, change, nil
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
