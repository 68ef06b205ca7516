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
//	GρR ∫ (1 − 1/√(1 + tan²α cos²θ)) dθ = 2πGρR (1 − 1/M(1, 1/cos α))
//
// with the arithmetic-geometric mean M (Gauss; DLMF 19.8.5), to rounding at any angle. Slopes
// beyond 85 degrees are refused.
func Slope(slope, radius, density float64) (float64, error) {
	if err := checkSlope("survey.Slope", slope, radius, density); err != nil {
		return 0, err
	}
	// Both means less 1, so that a gentle slope loses no digits.
	s := math.Sin(slope / 2)
	a, b := 0.0, 2*s*s/math.Cos(slope)
	for math.Abs(a-b) > 1e-15*math.Abs(a+b) {
		product := a + b + a*b
		a, b = (a+b)/2, product/(1+math.Sqrt(1+product))
	}
	return 2 * math.Pi * gravlab.G * density * radius * a / (1 + a), nil
}

func checkSlope(fn string, slope, radius, density float64) error {
	return errors.Join(
		arg.Between(fn, "slope", slope, -85*math.Pi/180, 85*math.Pi/180, "angle in rad"),
		arg.Between(fn, "radius", radius, 0, 1e6, "radius in m"),
		checkRock(fn, "density", density))
}

// A Terrain is a grid of heights of the ground, cell by cell. The heights of the
// stations must be of the same kind: maps of heights count from the sea, satellite
// positions from the ellipsoid, and the two differ by up to 110 m.
type Terrain struct {
	North, East float64     // place of the middle of the first cell, m
	Cell        float64     // side of a cell, m
	Heights     [][]float64 // [i][j]: i cells north, j cells east of the first, m
	Density     float64     // kg/m³
	// Apart is by how much a station may stand above or below the ground of the grid,
	// beyond what its cells explain, m. 0 means 16 m, the error that is allowed to
	// maps of heights from radar in orbit (90 %; the specification of the mission
	// of 2000, T. G. Farr et al., Rev. Geophys. 45, RG2004, 2007; from memory), which
	// covers a house as well. State more for a station on a tower or in a shaft.
	Apart float64
}

const usuallyApart = 16.0 // m

// Validate reports what cannot be used. It refuses what maps hold in place of a
// height where there is none: NaN, what is no height of ground (-32768, -99999,
// 9999), and -9999 in a grid that has no other ground below -9000 m.
func (t Terrain) Validate() error {
	const fn = "survey.Terrain"
	err := errors.Join(
		arg.Between(fn, "North", t.North, -1e8, 1e8, "place in m"),
		arg.Between(fn, "East", t.East, -1e8, 1e8, "place in m"),
		arg.Between(fn, "Cell", t.Cell, 1e-3, 1e6, "length in m"),
		arg.Between(fn, "Apart", t.Apart, 0, 1e4, "length in m"),
		arg.AtLeast(fn, "Heights", len(t.Heights), 1),
		checkGiven(fn, "Density", t.Density))
	trench := false
	for i, row := range t.Heights {
		name := fmt.Sprintf("Heights[%d]", i)
		err = errors.Join(err, arg.AtLeast(fn, name, len(row), 1), arg.SameLength(fn, "Heights[0]", len(t.Heights[0]), name, len(row)))
		for _, h := range row {
			trench = trench || h < -9000 && h != -9999
		}
	}
	for i, row := range t.Heights {
		for j, h := range row {
			noData := h == -9999 && !trench || h < lowestGround || h == 9999 || h >= 32767
			if !noData && h >= lowestGround && h <= highestGround {
				continue
			}
			name := fmt.Sprintf("the height at north %g m, east %g m (Heights[%d][%d])", t.North+t.Cell*float64(i), t.East+t.Cell*float64(j), i, j)
			if noData {
				return errors.Join(err, arg.Bad(fn, name, h, "a height of ground in m; this marks a cell without data: fill it, or cut the grid there"))
			}
			return errors.Join(err, checkGround(fn, name, h))
		}
	}
	return err
}

// Ground is the height of the ground of the grid at a place (m), the mean of the
// cells round it, weighted by how near they are, and between what heights the
// ground there can lie: from the lowest to the highest of the cell and its
// neighbours, and half a cell (a slope of 45 degrees within it) either way. A
// station outside them stands on another ground than the grid's. A place beyond
// the grid is an error.
func (t Terrain) Ground(north, east float64) (height, lowest, highest float64, err error) {
	const fn = "survey.Terrain.Ground"
	if err := t.Validate(); err != nil {
		return 0, 0, 0, err
	}
	return t.ground(fn, north, east)
}

// checkPlace refuses a place beyond the edges of the grid.
func (t Terrain) checkPlace(fn string, north, east float64) error {
	south, west := t.North-t.Cell/2, t.East-t.Cell/2
	top, right := south+t.Cell*float64(len(t.Heights)), west+t.Cell*float64(len(t.Heights[0]))
	if !(north >= south && north <= top && east >= west && east <= right) {
		return arg.Bad(fn, "the place", fmt.Sprintf("north %g m, east %g m", north, east), fmt.Sprintf("a place within the grid, which goes from north %g to %g m and from east %g to %g m; are north and east exchanged?", south, top, west, right))
	}
	return nil
}

// ground is Ground for a grid that was validated.
func (t Terrain) ground(fn string, north, east float64) (height, lowest, highest float64, err error) {
	if err := t.checkPlace(fn, north, east); err != nil {
		return 0, 0, 0, err
	}
	y, x := (north-t.North)/t.Cell, (east-t.East)/t.Cell
	rows, columns := len(t.Heights), len(t.Heights[0])
	at := func(i, j int) float64 { return t.Heights[min(max(i, 0), rows-1)][min(max(j, 0), columns-1)] }
	i, j := int(math.Round(y)), int(math.Round(x))
	lowest, highest = math.Inf(1), math.Inf(-1)
	for di := -1; di <= 1; di++ {
		for dj := -1; dj <= 1; dj++ {
			h := at(i+di, j+dj)
			lowest, highest = min(lowest, h), max(highest, h)
		}
	}
	i, j = int(math.Floor(y)), int(math.Floor(x))
	u, v := y-float64(i), x-float64(j)
	height = (1-u)*((1-v)*at(i, j)+v*at(i, j+1)) + u*((1-v)*at(i+1, j)+v*at(i+1, j+1))
	return height, lowest - t.Cell/2, highest + t.Cell/2, nil
}

// checkStation refuses a station that does not stand on the ground of the grid.
func (t Terrain) checkStation(fn string, north, east, height float64) error {
	ground, lowest, highest, err := t.ground(fn, north, east)
	if err != nil {
		return err
	}
	apart := t.Apart
	if apart == 0 {
		apart = usuallyApart
	}
	if height >= lowest-apart && height <= highest+apart {
		return nil
	}
	hint := "are both in metres, and from the sea or from the ellipsoid alike?"
	for _, meant := range []struct {
		h    float64
		what string
	}{{0.3048 * height, "is the station's height in feet?"}, {height / 0.3048, "are the heights of the grid in feet?"}} {
		if meant.h >= lowest && meant.h <= highest {
			hint = meant.what
		}
	}
	return arg.Bad(fn, "height", height, fmt.Sprintf("a height from %.1f to %.1f m at north %g m, east %g m, where the grid has %.1f m; %s For a station on a tower or in a shaft, set Apart",
		lowest-apart, highest+apart, north, east, ground, hint))
}

// Remarks tells of a station at a place and a height (m) that stands above or below
// all that the cells explain (see [Terrain.Ground]), on a roof or by a wrong height.
func (t Terrain) Remarks(station string, north, east, height float64) []Remark {
	ground, lowest, highest, err := t.Ground(north, east)
	if err != nil {
		return nil // Correction says why
	}
	return offGround(station, height, ground, lowest, highest)
}

func offGround(station string, height, ground, lowest, highest float64) []Remark {
	off, where := height-highest, "above"
	if height < lowest {
		off, where = lowest-height, "below"
	}
	if !(off > 0) {
		return nil
	}
	return []Remark{{Station: station, Text: fmt.Sprintf("its height is %.1f m %s the range of the grid there (%.1f to %.1f m, %.1f m by interpolation); is it on a roof or in a pit, is the height wrong, or is it of another kind?", off, where, lowest, highest, ground)}}
}

// Correction is the terrain correction, m/s², of all cells whose middle lies
// from inner to outer (m) from a station at north, east and height (m): each
// cell is an upright prism between the station's level and its own height. (Beyond
// a hundred cells two terms of its series, good to 2e-9 of the cell's pull.) Of
// the near zone, within inner, take [Sector] or [Slope] with heights sketched on
// the spot: the first metres matter most and no grid knows them. Cells are
// flat on top, so that inner should be several cells. So is the Earth here, which
// will do out to about 20 km (common practice, no source). cells is how many were
// used; none is an error, and so are a disc of radius outer that leaves the grid
// and a station that does not stand on the ground of the grid: see
// [Terrain.Ground] and Apart. Of a station that stands within Apart and yet beyond
// what the cells explain [Terrain.Remarks] tells: 10 m too high on a level field make
// some 300 µGal beyond 15 m.
func (t Terrain) Correction(north, east, height, inner, outer float64) (correction float64, cells int, err error) {
	c, err := correct(ring{t, north, east, height, inner, outer})
	return c.Correction, c.Cells, err
}

// A ring of terrain around a station.
type ring struct {
	Terrain                           Terrain
	North, East, Height, Inner, Outer float64
}

type ringCorrection struct {
	Correction float64
	Cells      int
}

func (in ring) correct() (ringCorrection, error) {
	correction, cells, err := in.Terrain.correct(in.North, in.East, in.Height, in.Inner, in.Outer)
	return ringCorrection{correction, cells}, err
}

func (t Terrain) correct(north, east, height, inner, outer float64) (correction float64, cells int, err error) {
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
	if err := t.checkPlace(fn, north, east); err != nil {
		return 0, 0, err
	}
	top := t.North + t.Cell*(float64(len(t.Heights))-0.5)
	right := t.East + t.Cell*(float64(len(t.Heights[0]))-0.5)
	if north-outer < t.North-t.Cell/2 || north+outer > top || east-outer < t.East-t.Cell/2 || east+outer > right {
		return 0, 0, arg.Bad(fn, "outer", outer, "a radius within the grid: half a hill is worse than none, state a smaller one")
	}
	if err := t.checkStation(fn, north, east, height); err != nil {
		return 0, 0, err
	}
	at := r3.Vec{X: north, Y: east, Z: -height}
	within := func(place, first float64, cells int) (from, to int) { // those that a disc of radius outer can hold
		middle, reach := (place-first)/t.Cell, outer/t.Cell+1
		return max(0, int(middle-reach)), min(cells, int(middle+reach)+1)
	}
	bottom, above := within(north, t.North, len(t.Heights))
	left, beyond := within(east, t.East, len(t.Heights[0]))
	for i := bottom; i < above; i++ {
		x := t.North + t.Cell*float64(i)
		for j := left; j < beyond; j++ {
			y := t.East + t.Cell*float64(j)
			d := math.Sqrt((x-north)*(x-north) + (y-east)*(y-east))
			if d < inner || d > outer {
				continue
			}
			cells++
			h := t.Heights[i][j]
			if h == height {
				continue
			}
			if d > farCells*t.Cell {
				correction += t.column(d, h-height)
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

// farCells is the distance in cells from which on a cell is a column.
const farCells = 100

// column is the pull, m/s², of a cell whose middle is at the horizontal distance d (m) and whose
// ground is h (m) above or below the station, as a series in the side c of the cell:
//
//	Gρ c² (F + c²/24 ∇²F), F = 1/d − 1/s, s = √(d² + h²)
//
// F is that of a thin column and ∇²F its Laplacian over the map, 1/d³ − 1/s³ + 3h²/s⁵. The next
// term is at most 0.2 (c/d)⁴ of F: 2e-9 at a hundred cells, for a sixth of the time of a prism.
func (t *Terrain) column(d, h float64) float64 {
	h2, c2 := h*h, t.Cell*t.Cell
	s2 := d*d + h2
	s := math.Sqrt(s2)
	f := h2 / (d * s * (s + d)) // keeps its digits on low ground
	laplacian := f*(1/(d*d)+1/(d*s)+1/s2) + 3*h2/(s2*s2*s)
	return gravlab.G * t.Density * c2 * (f + c2/24*laplacian)
}
