package buried

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
)

// MapFraction is the fraction of 2 pi G M that a rectangular map on the level z = 0,
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

// ProfileFraction is the fraction of 2 pi G lambda that a profile from x1 to x2 on
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
	Mass     float64 // Integral/Fraction
	// PerOffset is what one m/s² of error in the base level adds to Mass, kg (or
	// kg/m) per m/s²: 10 µGal over a map of 100 m by 100 m are 2400 t in Integral.
	PerOffset float64
}

// ExcessMass integrates a map of gz, gz[i][j] at x[i] north and y[j] east (m,
// rising), by the trapezoid rule, and corrects for the fraction that a map of this
// size misses when the mass lies at a point below it. The regional must have
// been subtracted. An extended body that is no deeper than a third of the map's
// width is a point to a few per cent of the missing fraction.
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
// body by the trapezoid rule, and corrects for the fraction that a profile of this
// length misses when the mass lies on a line at a point of the section. The
// regional must have been subtracted. (A profile over a compact body gives no
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

// otherUnit is the hint that the values are not what they were taken for.
const otherUnit = "; did you mean µGal or mGal? 1 µGal is 1e-8, 1 mGal 1e-5 m/s²"

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
// the error, m³/s². Over 2 pi G times the body's mass it is the fraction that such
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
