package fieldbook

import (
	"bufio"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// MaxCells is the most cells of a terrain: they take 8 bytes each.
const MaxCells = 25_000_000

// A Grid holds heights of the ground in rows from the south, of square or oblong cells.
// Its axes are metres north and east of the map grid of the points, or degrees.
type Grid struct {
	Degrees     bool
	North, East float64 // place of the middle of the first cell, m or rad
	StepNorth   float64 // m or rad
	StepEast    float64
	Heights     [][]float64 // m, NaN where there is none
	File        string
}

// readGrids reads the terrain. Several files are tiles of one grid.
func readGrids(files []File) (*Grid, Problems) {
	var tiles []*Grid
	for _, f := range files {
		g, problems := readGrid(f)
		if len(problems) > 0 {
			return nil, problems
		}
		tiles = append(tiles, g)
	}
	if len(tiles) == 1 {
		return tiles[0], nil
	}
	return join(tiles)
}

func readGrid(f File) (*Grid, Problems) {
	if p := checkText(f); p != nil {
		return nil, Problems{*p}
	}
	if strings.HasPrefix(strings.ToLower(strings.TrimSpace(f.Text)), "ncols") {
		return readRaster(f)
	}
	return readCells(f)
}

// sameHeight is by how much two tiles may differ where they overlap, m: what rounding makes.
const sameHeight = 0.02

// join lays tiles side by side: of one cell size, with their cells in line, and with the same
// heights where they overlap. Cells of no tile have no height.
func join(tiles []*Grid) (*Grid, Problems) {
	first := tiles[0]
	whole := &Grid{Degrees: first.Degrees, StepNorth: first.StepNorth, StepEast: first.StepEast}
	// Places in cells from the first tile.
	var rows, columns []int
	south, west, north, east := 0, 0, 0, 0
	var names []string
	for _, g := range tiles {
		bad := func(text string) Problems {
			return Problems{{File: g.File, Text: text + " " + first.File + "; lay all heights on one grid first, since heights from two sources differ where they meet"}}
		}
		names = append(names, g.File)
		size := func(a, b float64) bool {
			return math.Abs(a-b) <= 1e-6*b*float64(max(len(g.Heights), len(g.Heights[0])))
		}
		if g.Degrees != first.Degrees {
			return nil, bad("one grid is in degrees and the other in metres, unlike")
		}
		if !size(g.StepNorth, first.StepNorth) || !size(g.StepEast, first.StepEast) {
			return nil, bad("its cells have another size than those of")
		}
		i, j := (g.North-first.North)/first.StepNorth, (g.East-first.East)/first.StepEast
		if math.Abs(i-math.Round(i)) > 0.05 || math.Abs(j-math.Round(j)) > 0.05 {
			return nil, bad("its cells are not in line with those of")
		}
		rows, columns = append(rows, int(math.Round(i))), append(columns, int(math.Round(j)))
		south, west = min(south, rows[len(rows)-1]), min(west, columns[len(columns)-1])
		north, east = max(north, rows[len(rows)-1]+len(g.Heights)), max(east, columns[len(columns)-1]+len(g.Heights[0]))
	}
	if cells := float64(north-south) * float64(east-west); cells > MaxCells {
		return nil, Problems{{File: first.File, Text: fmt.Sprintf("the tiles make %.0f cells together; at most %d. Are all of them near the stations? Cut them to the terrain radius", cells, MaxCells)}}
	}
	whole.File = strings.Join(names, " and ")
	whole.North, whole.East = first.North+float64(south)*first.StepNorth, first.East+float64(west)*first.StepEast
	for range north - south {
		row := make([]float64, east-west)
		for j := range row {
			row[j] = math.NaN()
		}
		whole.Heights = append(whole.Heights, row)
	}
	for k, g := range tiles {
		for i, row := range g.Heights {
			to := whole.Heights[rows[k]-south+i][columns[k]-west:]
			for j, h := range row {
				if math.IsNaN(h) {
					continue
				}
				if math.Abs(to[j]-h) > sameHeight {
					return nil, Problems{{File: g.File, Text: fmt.Sprintf("it has %.2f m where another tile has %.2f m, in row %d from its south and column %d from its west; tiles of one grid agree where they overlap", h, to[j], i+1, j+1)}}
				}
				to[j] = h
			}
		}
	}
	return whole, nil
}

func readRaster(f File) (*Grid, Problems) {
	head := map[string]float64{}
	one := func(line int, text string, args ...any) Problems {
		return Problems{{File: f.Name, Line: line, Text: fmt.Sprintf(text, args...)}}
	}
	in := bufio.NewScanner(strings.NewReader(f.Text))
	in.Buffer(make([]byte, 1<<20), 1<<30)
	line := 0
	g := &Grid{File: f.Name}
	var rows, columns int
	var values []float64
	for in.Scan() {
		line++
		fields := strings.Fields(in.Text())
		if len(fields) == 0 {
			continue
		}
		if c := fields[0][0]; values == nil && (c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z') {
			if len(fields) != 2 {
				return nil, one(line, "the line %q is not a name and a number", in.Text())
			}
			v, err := strconv.ParseFloat(fields[1], 64)
			if err != nil {
				return nil, one(line, "%q is not a number", fields[1])
			}
			head[strings.ToLower(fields[0])] = v
			continue
		}
		if values == nil {
			for _, n := range []string{"ncols", "nrows", "cellsize"} {
				if !(head[n] > 0) {
					return nil, one(line, "the head has no %s above 0", n)
				}
			}
			if head["ncols"]*head["nrows"] > MaxCells {
				return nil, one(1, "%.0f cells are too many; at most %d. Cut the grid to the terrain radius round the stations", head["ncols"]*head["nrows"], MaxCells)
			}
			rows, columns = int(head["nrows"]), int(head["ncols"])
			values = make([]float64, 0, rows*columns)
		}
		for _, s := range fields {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				return nil, one(line, "%q is not a height", s)
			}
			if nodata, ok := head["nodata_value"]; ok && v == nodata || v == -9999 || v <= -32767 || v == -99999 {
				v = math.NaN()
			}
			if len(values) == rows*columns {
				return nil, one(line, "there are more heights than ncols times nrows, %d", rows*columns)
			}
			values = append(values, v)
		}
	}
	if err := in.Err(); err != nil {
		return nil, one(line, "%v", err)
	}
	if values == nil || len(values) != rows*columns {
		return nil, one(line, "there are %d heights and not ncols times nrows, %d; the file is cut off", len(values), rows*columns)
	}
	step := head["cellsize"]
	corner := func(axis string) float64 {
		if v, ok := head[axis+"llcenter"]; ok {
			return v
		}
		return head[axis+"llcorner"] + step/2
	}
	g.North, g.East, g.StepNorth, g.StepEast = corner("y"), corner("x"), step, step
	if step < 0.1 && math.Abs(g.North) <= 90 && math.Abs(g.East) <= 360 {
		const degree = math.Pi / 180
		g.Degrees = true
		g.North, g.East, g.StepNorth, g.StepEast = g.North*degree, g.East*degree, step*degree, step*degree
	}
	for i := rows - 1; i >= 0; i-- { // the file begins in the north
		g.Heights = append(g.Heights, values[i*columns:(i+1)*columns])
	}
	return g, nil
}

var cellColumns = []column{
	{name: "north", alike: []string{"northing"}, kinds: length},
	{name: "east", alike: []string{"easting"}, kinds: length},
	{name: "latitude", alike: []string{"lat"}, kinds: angle},
	{name: "longitude", alike: []string{"lon"}, kinds: angle},
	{name: "height", alike: []string{"elevation", "ellipsoidalheight", "orthometricheight", "h"}, kinds: length},
}

// readCells reads a table with a line per cell, in any order.
func readCells(f File) (*Grid, Problems) {
	t, problems := readTable(f, cellColumns)
	if len(problems) > 0 {
		return nil, problems
	}
	g := &Grid{File: f.Name}
	y, x := "north", "east"
	if !t.has("north") {
		g.Degrees = true
		y, x = "latitude", "longitude"
	}
	if problems = t.need(y, x, "height"); len(problems) > 0 {
		return nil, problems
	}
	n := len(t.rows)
	ys, xs, hs := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range t.rows {
		for _, c := range []struct {
			name string
			to   *float64
		}{{y, &ys[i]}, {x, &xs[i]}, {"height", &hs[i]}} {
			v, given, err := t.number(i, c.name)
			if c.name == "height" && (!given || err != nil && strings.Contains(err.Error(), "missing value")) {
				v, err, given = math.NaN(), nil, true
			}
			if err != nil || !given {
				return nil, Problems{{File: f.Name, Line: t.lines[i], Text: fmt.Sprintf("%q in the column %q is not a number", t.text(i, c.name), t.heads[c.name])}}
			}
			*c.to = v
		}
	}
	var ok bool
	var rows, columns int
	if g.North, g.StepNorth, rows, ok = axis(ys); ok {
		g.East, g.StepEast, columns, ok = axis(xs)
	}
	if !ok {
		return nil, Problems{{File: f.Name, Text: "the heights do not lie on an even grid along north and east; lay one through them first"}}
	}
	if rows*columns > MaxCells {
		return nil, Problems{{File: f.Name, Text: fmt.Sprintf("%d by %d cells are too many; at most %d. Is the spacing even?", rows, columns, MaxCells)}}
	}
	for range rows {
		row := make([]float64, columns)
		for j := range row {
			row[j] = math.NaN()
		}
		g.Heights = append(g.Heights, row)
	}
	for k := range hs {
		i, j := int(math.Round((ys[k]-g.North)/g.StepNorth)), int(math.Round((xs[k]-g.East)/g.StepEast))
		g.Heights[i][j] = hs[k]
	}
	return g, nil
}

// axis finds the even steps of a column of places.
func axis(v []float64) (first, step float64, n int, ok bool) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, x := range v {
		lo, hi = min(lo, x), max(hi, x)
	}
	step = math.Inf(1)
	for _, x := range v {
		if d := x - lo; d > 1e-9*(hi-lo) && d < step {
			step = d
		}
	}
	if !(hi > lo) {
		return 0, 0, 0, false
	}
	steps := math.Round((hi - lo) / step)
	if steps > 1e5 {
		return 0, 0, 0, false
	}
	step = (hi - lo) / steps
	for _, x := range v {
		if off := (x - lo) / step; math.Abs(off-math.Round(off)) > 0.01 {
			return 0, 0, 0, false
		}
	}
	return lo, step, int(steps) + 1, true
}
