package survey

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/internal/arg"
)

// heaviest is more than any ground weighs, kg/m³: the heaviest ore that lies in
// masses, galena, has 7600 (from memory).
const heaviest = 10000

// checkRock refuses what is no density of ground, a number meant in g/cm³, and
// one with a digit too many.
func checkRock(fn, name string, density float64) error {
	if density > 0.5 && density < 25 {
		return arg.Bad(fn, name, density, fmt.Sprintf("a density in kg/m³; did you mean %g?", math.Round(density*1e6)/1e3))
	}
	if density > heaviest && density <= 1e8 {
		meant := density
		for meant > heaviest {
			meant /= 10
		}
		return arg.Bad(fn, name, density, fmt.Sprintf("a density in kg/m³, from 0 to %d; did you mean %.4g?", heaviest, meant))
	}
	return arg.Between(fn, name, density, 0, heaviest, "density in kg/m³")
}

// checkGiven refuses as well a density of 0, which in a struct is one that was
// forgotten.
func checkGiven(fn, name string, density float64) error {
	if density == 0 {
		return arg.Bad(fn, name, 0, "a density in kg/m³, above 0 (2670 is usual)")
	}
	return checkRock(fn, name, density)
}

// A Sector is one of n equal parts of a ring round the station, whose ground
// stands at one height above or below the station.
type Sector struct {
	Inner, Outer float64 // radii of the ring, m
	Parts        int     // n
	Height       float64 // of the ground over the station, m, either sign
	Density      float64 // kg/m³
}

// Correction is the terrain correction of the sector, m/s², never negative:
//
//	(2πGρ/n) (r₂ − r₁ + √(r₁²+h²) − √(r₂²+h²))
//
// (S. Hammer, Geophysics 4, 184–194, 1939; from memory). Hills pull up and
// valleys fail to pull down: both are added to gravity.
func (s Sector) Correction() (float64, error) {
	const fn = "survey.Sector"
	if err := errors.Join(
		arg.Between(fn, "Inner", s.Inner, 0, 1e6, "radius in m"),
		arg.Between(fn, "Outer", s.Outer, s.Inner, 1e6, "radius in m, at least Inner"),
		arg.Between(fn, "Parts", float64(s.Parts), 1, 1e6, "number of parts"),
		arg.Between(fn, "Height", s.Height, -1e5, 1e5, "height in m"),
		checkGiven(fn, "Density", s.Density),
	); err != nil {
		return 0, err
	}
	// r − √(r²+h²) = −h²/(r+√(r²+h²)): no digits are lost for low ground.
	h2 := s.Height * s.Height
	lack := func(r float64) float64 {
		if h2 == 0 {
			return 0
		}
		return h2 / (r + math.Hypot(r, s.Height))
	}
	return 2 * math.Pi * gravlab.G * s.Density / float64(s.Parts) * math.Max(0, lack(s.Inner)-lack(s.Outer)), nil
}

// Cone is the terrain correction, m/s², at the top (or in the pit) of a cone of
// slope (rad) and density (kg/m³) out to a horizontal radius (m):
// 2πGρR (1 − cos α), for slopes to 85 degrees either way.
func Cone(slope, radius, density float64) (float64, error) {
	if err := checkSlope("survey.Cone", slope, radius, density); err != nil {
		return 0, err
	}
	s := math.Sin(slope / 2)
	return 4 * math.Pi * gravlab.G * density * radius * s * s, nil
}

// Slope is the near-zone terrain correction, m/s², of a station on a plane that
// slopes by an angle (rad), out to a horizontal radius (m): the ground rises on
// one side and falls on the other, and both add up. Over the azimuth,
//
//	GρR ∫ (1 − 1/√(1 + tan²α cos²θ)) dθ
//
// by equal steps, good to 1e-12 up to 85 degrees, beyond which slopes are
// refused.
func Slope(slope, radius, density float64) (float64, error) {
	if err := checkSlope("survey.Slope", slope, radius, density); err != nil {
		return 0, err
	}
	const n = 720
	k := math.Tan(slope)
	sum := 0.0
	for i := range n {
		c := k * math.Cos(math.Pi*(float64(i)+0.5)/n)
		root := math.Sqrt(1 + c*c)
		sum += c * c / (root * (root + 1))
	}
	return gravlab.G * density * radius * 2 * math.Pi * sum / n, nil
}

func checkSlope(fn string, slope, radius, density float64) error {
	return errors.Join(
		arg.Between(fn, "slope", slope, -85*math.Pi/180, 85*math.Pi/180, "angle in rad"),
		arg.Between(fn, "radius", radius, 0, 1e6, "radius in m"),
		checkRock(fn, "density", density))
}

// A Terrain is a grid of heights of the ground, cell by cell.
type Terrain struct {
	North, East float64     // place of the middle of the first cell, m
	Cell        float64     // side of a cell, m
	Heights     [][]float64 // [i][j]: i cells north, j cells east of the first, m
	Density     float64     // kg/m³
}

// Validate reports what cannot be used.
func (t Terrain) Validate() error {
	const fn = "survey.Terrain"
	err := errors.Join(
		arg.Between(fn, "North", t.North, -1e8, 1e8, "place in m"),
		arg.Between(fn, "East", t.East, -1e8, 1e8, "place in m"),
		arg.Between(fn, "Cell", t.Cell, 1e-3, 1e6, "length in m"),
		arg.AtLeast(fn, "Heights", len(t.Heights), 1),
		checkGiven(fn, "Density", t.Density))
	for i, row := range t.Heights {
		name := fmt.Sprintf("Heights[%d]", i)
		err = errors.Join(err, arg.AtLeast(fn, name, len(row), 1), arg.SameLength(fn, "Heights[0]", len(t.Heights[0]), name, len(row)))
		for j, h := range row {
			if !(math.Abs(h) <= 1e5) {
				return errors.Join(err, arg.Bad(fn, fmt.Sprintf("%s[%d]", name, j), h, "a height in m"))
			}
		}
	}
	return err
}

// Correction is the terrain correction, m/s², of all cells whose middle lies
// from inner to outer (m) from a station at north, east and height (m): each
// cell is an upright prism between the station's level and its own height. Of
// the near zone, within inner, take [Sector] or [Slope] with heights sketched on
// the spot: the first metres matter most and no grid knows them. Cells are
// flat on top, so that inner should be several cells. So is the Earth here, which
// will do out to about 20 km (common practice, no source). cells is how many were
// used; none is an error, and so is a disc of radius outer that leaves the grid.
func (t Terrain) Correction(north, east, height, inner, outer float64) (correction float64, cells int, err error) {
	const fn = "survey.Terrain.Correction"
	if err := errors.Join(t.Validate(),
		arg.Between(fn, "north", north, -1e8, 1e8, "place in m"),
		arg.Between(fn, "east", east, -1e8, 1e8, "place in m"),
		arg.Between(fn, "height", height, -1e5, 1e5, "height in m"),
		arg.Between(fn, "inner", inner, 0, 1e8, "radius in m"),
		arg.Between(fn, "outer", outer, inner, 1e8, "radius in m, at least inner"),
	); err != nil {
		return 0, 0, err
	}
	top := t.North + t.Cell*(float64(len(t.Heights))-0.5)
	right := t.East + t.Cell*(float64(len(t.Heights[0]))-0.5)
	if north-outer < t.North-t.Cell/2 || north+outer > top || east-outer < t.East-t.Cell/2 || east+outer > right {
		return 0, 0, arg.Bad(fn, "outer", outer, "a radius within the grid: half a hill is worse than none, state a smaller one")
	}
	at := r3.Vec{X: north, Y: east, Z: -height}
	for i, row := range t.Heights {
		x := t.North + t.Cell*float64(i)
		for j, h := range row {
			y := t.East + t.Cell*float64(j)
			if d := math.Hypot(x-north, y-east); d < inner || d > outer {
				continue
			}
			cells++
			if h == height {
				continue
			}
			p := buried.Prism{
				Min:      r3.Vec{X: x - t.Cell/2, Y: y - t.Cell/2, Z: -math.Max(h, height)},
				Max:      r3.Vec{X: x + t.Cell/2, Y: y + t.Cell/2, Z: -math.Min(h, height)},
				Contrast: t.Density,
			}
			gz, err := p.GZ(at)
			if err != nil {
				return 0, 0, fmt.Errorf("%s: cell %d, %d: %w", fn, i, j, err)
			}
			correction += math.Abs(gz)
		}
	}
	if cells == 0 {
		return 0, 0, arg.Bad(fn, "outer", outer, "a radius that holds at least one cell")
	}
	return correction, cells, nil
}
