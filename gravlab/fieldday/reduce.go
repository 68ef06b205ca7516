package fieldday

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/fieldbook"
	"gravity.example/gravlab/internal/parallel"
	"gravity.example/gravlab/quantity"
	"gravity.example/gravlab/survey"
)

// usualRock is the usual density of reduction, kg/m³ (common practice, no source).
const usualRock = 2670

// reduce turns gravity into anomalies, with terrain and density.
func (r *Result) reduce() error {
	c := r.Choices
	word, err := c.oneOf(c.take("normal gravity", "", "GRS80", "usual"), "GRS80", "WGS84", "1930", "1967")
	if err != nil {
		return err
	}
	r.Reduction.Ellipsoid = earth.GRS80
	switch word {
	case "WGS84":
		r.Reduction.Ellipsoid = earth.WGS84
	case "1930", "1967":
		r.legacy = word
		o := c.take("old formulas", "", "no", "the formulas of 1930 and 1967 are no longer used")
		if yes, err := c.oneOf(o, "yes", "no"); err != nil {
			return err
		} else if yes == "no" {
			return fieldbook.Problem{File: c.file, Text: fmt.Sprintf("the formula of %s is no longer used: it differs from GRS80 by up to 17 mGal (1930) or 0.9 mGal (1967). To join an old survey, choose \"old formulas,,yes\" as well", word)}
		}
	}
	if word, err = c.oneOf(c.take("plate", "", "flat", "usual for a small field"), "flat", "rounded", "none"); err != nil {
		return err
	}
	r.Reduction.Plate = map[string]survey.Plate{"flat": survey.FlatPlate, "rounded": survey.RoundedPlate, "none": survey.NoPlate}[word]
	if word, err = c.oneOf(c.take("atmosphere", "", "yes", "usual"), "yes", "no"); err != nil {
		return err
	}
	r.Reduction.Atmosphere = word == "yes"
	uHeight, err := c.number(c.take("u height", "", "0.02 m", "for points that state none; common practice, no source"), quantity.Length, 0, 100)
	if err != nil {
		return err
	}

	offset := 0.0
	base, err := r.Adjustment.Station(r.Base)
	if err != nil {
		return err
	}
	baseStation := r.station(r.Base)
	if !r.Tied {
		normal, err := r.Reduction.Ellipsoid.NormalGravity(baseStation.Lat, baseStation.Height)
		if err != nil {
			return err
		}
		offset = normal - base.Value
	}
	r.offset = offset
	if r.unit == nil {
		if r.unit, r.uUnit, err = r.terrain(); err != nil {
			return err
		}
	}
	terrain, uNear := r.unit, r.uUnit
	// Free air first, with no plate: of it the density is found.
	free := r.Reduction
	free.Plate, free.Density = survey.NoPlate, 0
	freeAir := make([]float64, len(r.Stations))
	for i := range r.Stations {
		s := &r.Stations[i]
		if s.Gravity, err = r.Adjustment.Station(s.Name); err != nil {
			return err
		}
		s.Gravity.Value += offset
		a, err := r.at(free, s, 0)
		if err != nil {
			return s.Problem("%v", err)
		}
		freeAir[i] = a.FreeAir
		r.doubtful(s)
	}
	if err := r.density(freeAir, terrain); err != nil {
		return err
	}
	job, err := r.job(r.Days[0].Meter, r.Days[0].Readings[0].Units)
	if err != nil {
		return err
	}
	for i := range r.Stations {
		s := &r.Stations[i]
		s.terrain = terrain[i]
		t := terrain[i] * r.Reduction.Density
		if s.Anomaly, err = r.at(r.Reduction, s, t); err != nil {
			return s.Problem("%v", err)
		}
		per, err := r.Reduction.PerMetre(s.Lat)
		if err != nil {
			return err
		}
		uh := s.UHeight
		if math.IsNaN(uh) {
			uh = uHeight
		}
		_, uBetween, err := r.Adjustment.Between(r.Base, s.Name)
		if err != nil {
			return err
		}
		scale, err := survey.ScaleUncertainty(s.Gravity.Value-baseStation.Gravity.Value, job.Meter.UScale/job.Meter.Scale)
		if err != nil {
			return err
		}
		lever := -2*math.Pi*gravlab.G*(s.Height-baseStation.Height) + terrain[i] - terrain[r.index(r.Base)]
		if r.Reduction.Plate == survey.NoPlate {
			lever = terrain[i] - terrain[r.index(r.Base)]
		}
		s.U = Parts{Reading: uBetween, Scale: scale, Height: math.Abs(per) * uh, Terrain: uNear[i] * r.Reduction.Density, Density: math.Abs(lever) * r.uDensity}
	}
	return nil
}

func (r *Result) index(name string) int {
	for i := range r.Stations {
		if r.Stations[i].Name == name {
			return i
		}
	}
	return -1
}

// at is Reduction.At, with a formula of old where that was chosen.
func (r *Result) at(by survey.Reduction, s *Station, terrain float64) (survey.Anomaly, error) {
	a, err := by.At(s.Gravity.Value, s.Lat, s.Height, terrain)
	if err != nil || r.legacy == "" {
		return a, err
	}
	old, err := earth.OldNormalGravity(r.legacy, s.Lat)
	if err != nil {
		return a, err
	}
	now, err := by.Ellipsoid.NormalGravity(s.Lat, 0)
	if err != nil {
		return a, err
	}
	a.Normal += old - now
	a.FreeAir -= old - now
	a.Value -= old - now
	return a, nil
}

// density finds the density of the hill, and chooses one.
func (r *Result) density(freeAir, terrain []float64) error {
	c := r.Choices
	heights, values := []float64{}, []float64{}
	low, high := math.Inf(1), math.Inf(-1)
	for i, s := range r.Stations {
		if s.Doubt != "" {
			continue
		}
		// A kg/m³ of density makes 2πGh − t: as a height.
		heights = append(heights, s.Height-terrain[i]/(2*math.Pi*gravlab.G))
		values = append(values, freeAir[i])
		low, high = min(low, s.Height), max(high, s.Height)
	}
	value, u, why := fmt.Sprintf("%d kg/m³", usualRock), "100 kg/m³", "usual; the relief is too small for a density by the hill"
	if len(heights) >= 5 && high-low > 3 {
		d, err := robustDensity(heights, values)
		if err == nil {
			r.Density = &d
			why = fmt.Sprintf("usual; by the hill it is %.0f ± %.0f kg/m³, too uncertain to use", d.Density, d.U)
			if d.U <= 150 && d.Remark == "" && d.Density > 1000 && d.Density < 3500 {
				value, u = fmt.Sprintf("%.0f kg/m³", math.Round(d.Density/10)*10), fmt.Sprintf("%.0f kg/m³", math.Ceil(d.U/10)*10)
				why = fmt.Sprintf("by the hill: the anomalies follow the heights least (%.0f ± %.0f kg/m³, relief %.0f m). It fails where the geology follows the hill", d.Density, d.U, high-low)
			}
		}
	}
	if !slices.ContainsFunc(c.list, func(o choice) bool { return o.name == "density" || o.name == "u density" }) {
		r.ownDensity = true
	}
	var err error
	if r.Reduction.Density, err = c.number(c.take("density", "", value, why), quantity.Density, 100, 5000); err != nil {
		return err
	}
	r.uDensity, err = c.number(c.take("u density", "", u, "for the column of density; it is common to all stations"), quantity.Density, 0, 2000)
	return err
}

// robustDensity is the density by the hill without the values that are farthest from the
// line, one by one while they are beyond 4 of its standard deviations.
func robustDensity(heights, values []float64) (survey.TopographyDensity, error) {
	for {
		d, err := survey.DensityOfTopography(heights, values)
		if err != nil || len(heights) <= 8 {
			return d, err
		}
		worst, at, sum := 0.0, -1, 0.0
		for i := range heights {
			off := values[i] - d.Offset - d.Slope*heights[i]
			sum += off * off
			if math.Abs(off) > worst {
				worst, at = math.Abs(off), i
			}
		}
		if worst < 4*math.Sqrt((sum-worst*worst)/float64(len(heights)-3)) {
			return d, nil
		}
		heights = append(append([]float64(nil), heights[:at]...), heights[at+1:]...)
		values = append(append([]float64(nil), values[:at]...), values[at+1:]...)
	}
}

// terrain is the correction of each station for a density of 1 kg/m³, and its
// uncertainty from the near zone.
func (r *Result) terrain() (correction, u []float64, err error) {
	c := r.Choices
	correction, u = make([]float64, len(r.Stations)), make([]float64, len(r.Stations))
	if r.Book.Terrain == nil {
		c.take("terrain from", "", "0 m", "no grid was given")
		c.take("terrain to", "", "0 m", "no grid was given")
		return correction, u, nil
	}
	t, err := r.metres(r.Book.Terrain)
	if err != nil {
		return nil, nil, err
	}
	reach, nearest := math.Inf(1), ""
	whole := survey.Terrain{North: t.North, East: t.East, Cell: t.Cell, Heights: t.Heights}
	for _, s := range r.Stations {
		south, west := whole.North-t.Cell/2, whole.East-t.Cell/2
		top, right := south+t.Cell*float64(len(t.Heights)), west+t.Cell*float64(len(t.Heights[0]))
		if d := min(s.North-south, top-s.North, s.East-west, right-s.East); d < reach {
			reach, nearest = d, s.Name
		}
	}
	near := 3 * t.Cell
	if reach < 2*near {
		s := r.station(nearest)
		return nil, nil, s.Problem("the terrain of %s does not cover it: %.0f m of grid lie round it, and at least %.0f m are wanted; are latitude and longitude right, with their signs?", r.Book.Terrain.File, reach, 2*near)
	}
	outer := math.Min(roundDown(reach), 20000)
	if r.Terrain, err = c.number(c.take("terrain from", "", fmt.Sprintf("%g m", to(near, 3)), "three cells; within it the slope of the grid is used"), quantity.Length, 2*t.Cell, 1e4); err != nil {
		return nil, nil, err
	}
	if r.TerrainTo, err = c.number(c.take("terrain to", "", fmt.Sprintf("%g m", outer), "as far as the grid goes round every station"), quantity.Length, 0, 1e5); err != nil {
		return nil, nil, err
	}
	if r.TerrainTo == 0 {
		r.Terrain = 0
		return correction, u, nil
	}
	if r.TerrainTo > reach {
		return nil, nil, r.station(nearest).Problem("the terrain goes %.0f m round it, less than the %.0f m chosen", reach, r.TerrainTo)
	}
	// What no station's disc touches may have no height.
	mean, n := 0.0, 0
	for _, row := range t.Heights {
		for _, h := range row {
			if !math.IsNaN(h) {
				mean, n = mean+h, n+1
			}
		}
	}
	if n == 0 {
		return nil, nil, fieldbook.Problem{File: r.Book.Terrain.File, Text: "no cell has a height"}
	}
	mean /= float64(n)
	for i, row := range t.Heights {
		for j, h := range row {
			if !math.IsNaN(h) {
				continue
			}
			y, x := t.North+t.Cell*float64(i), t.East+t.Cell*float64(j)
			for _, s := range r.Stations {
				if d := math.Hypot(s.North-y, s.East-x); d <= r.TerrainTo {
					return nil, nil, s.Problem("a cell of %s without a height lies %.0f m from it, at north %.0f m, east %.0f m; fill it, or choose a smaller \"terrain to\"", r.Book.Terrain.File, d, y, x)
				}
			}
			row[j] = mean
		}
	}
	t.Density = 1000
	pyramid, err := survey.NewTerrainPyramid(t)
	if err != nil {
		return nil, nil, fieldbook.Problem{File: r.Book.Terrain.File, Text: err.Error()}
	}
	errs := make([]error, len(r.Stations))
	parallel.Each(len(r.Stations), func(i int) {
		s := &r.Stations[i]
		far, _, err := pyramid.Correction(s.North, s.East, s.Height, r.Terrain, r.TerrainTo)
		if err == nil {
			var flat float64
			flat, _, u[i], err = pyramid.NearSlope(s.North, s.East, r.Terrain)
			correction[i], u[i], s.TerrainNear = (far+flat)/1000, u[i]/1000, flat/1000
		}
		errs[i] = err
	})
	for i, err := range errs {
		if err != nil {
			return nil, nil, r.Stations[i].Problem("against the terrain of %s: %v", r.Book.Terrain.File, err)
		}
		for _, m := range pyramid.Remarks(r.Stations[i].Name, r.Stations[i].North, r.Stations[i].East, r.Stations[i].Height) {
			r.Doubts = append(r.Doubts, r.Stations[i].Problem("%s", m.Text))
		}
	}
	return correction, u, nil
}

// metres lays a grid out in metres of the stations' frame. A grid in degrees is
// interpolated to square cells as large as its smaller side, bilinearly.
func (r *Result) metres(g *fieldbook.Grid) (survey.Terrain, error) {
	if !g.Degrees {
		if math.IsNaN(r.Stations[0].Point.North) {
			return survey.Terrain{}, fieldbook.Problem{File: g.File, Text: "the grid is in metres north and east, and the points have latitude and longitude only; add the columns \"north (m)\" and \"east (m)\" of the same map grid to the points"}
		}
		if math.Abs(g.StepNorth-g.StepEast) > 1e-3*g.StepNorth {
			return survey.Terrain{}, fieldbook.Problem{File: g.File, Text: fmt.Sprintf("its cells are %g m by %g m; square ones are wanted", g.StepNorth, g.StepEast)}
		}
		heights := make([][]float64, len(g.Heights))
		copy(heights, g.Heights)
		return survey.Terrain{North: g.North, East: g.East, Cell: g.StepNorth, Heights: heights}, nil
	}
	if !math.IsNaN(r.Stations[0].Point.North) {
		for i := range r.Stations { // by latitude and longitude, as the grid
			n, e, err := r.Frame.Metres(r.Stations[i].Lat, r.Stations[i].Lon)
			if err != nil {
				return survey.Terrain{}, err
			}
			r.Stations[i].North, r.Stations[i].East = n, e
		}
	}
	rows, columns := len(g.Heights), len(g.Heights[0])
	midLat := g.North + g.StepNorth*float64(rows-1)/2
	cell := math.Floor(10*min(g.StepNorth, g.StepEast*math.Cos(midLat))*6371000) / 10
	var south, north, west, east = math.Inf(-1), math.Inf(1), math.Inf(-1), math.Inf(1)
	for i := range 5 { // the largest box within the grid
		f := float64(i) / 4
		for _, edge := range []struct {
			lat, lon float64
			to       *float64
			inward   func(...float64) float64
			isNorth  bool
		}{
			{g.North, g.East + f*g.StepEast*float64(columns-1), &south, nil, true},
			{g.North + g.StepNorth*float64(rows-1), g.East + f*g.StepEast*float64(columns-1), &north, nil, true},
			{g.North + f*g.StepNorth*float64(rows-1), g.East, &west, nil, false},
			{g.North + f*g.StepNorth*float64(rows-1), g.East + g.StepEast*float64(columns-1), &east, nil, false},
		} {
			n, e, err := r.Frame.Metres(edge.lat, edge.lon)
			if err != nil {
				return survey.Terrain{}, fieldbook.Problem{File: g.File, Text: fmt.Sprintf("the grid is not where the stations are: %v", err)}
			}
			v := e
			if edge.isNorth {
				v = n
			}
			if edge.to == &south || edge.to == &west {
				*edge.to = max(*edge.to, v)
			} else {
				*edge.to = min(*edge.to, v)
			}
		}
	}
	ny, nx := int((north-south)/cell)+1, int((east-west)/cell)+1
	if ny < 3 || nx < 3 || ny*nx > 2*fieldbook.MaxCells {
		return survey.Terrain{}, fieldbook.Problem{File: g.File, Text: fmt.Sprintf("it makes %d by %d cells of %g m", ny, nx, cell)}
	}
	t := survey.Terrain{North: south, East: west, Cell: cell}
	errs := make([]error, ny)
	t.Heights = make([][]float64, ny)
	parallel.Each(ny, func(i int) {
		row := make([]float64, nx)
		for j := range row {
			lat, lon, err := r.Frame.Place(south+cell*float64(i), west+cell*float64(j))
			if err != nil {
				errs[i] = err
				return
			}
			y, x := (lat-g.North)/g.StepNorth, (lon-g.East)/g.StepEast
			a, b := min(max(int(y), 0), rows-2), min(max(int(x), 0), columns-2)
			v, w := min(max(y-float64(a), 0), 1), min(max(x-float64(b), 0), 1)
			row[j] = (1-v)*((1-w)*g.Heights[a][b]+w*g.Heights[a][b+1]) + v*((1-w)*g.Heights[a+1][b]+w*g.Heights[a+1][b+1])
		}
		t.Heights[i] = row
	})
	for _, err := range errs {
		if err != nil {
			return survey.Terrain{}, err
		}
	}
	return t, nil
}

// roundDown is a round number of m, not above v.
func roundDown(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, f := range []float64{9, 8, 7, 6, 5, 4, 3, 2.5, 2, 1.5, 1.2, 1} {
		if f*p <= v {
			return f * p
		}
	}
	return v
}

// datum is the head of the report.
func (r *Result) datum() survey.Datum {
	word := func(name, about string) string {
		for _, o := range r.Choices.list {
			if o.name == name && o.about == about {
				return o.value
			}
		}
		return ""
	}
	d := survey.Datum{Ellipsoid: r.Reduction.Ellipsoid.Name, Heights: r.Reduction.Heights.String(), Density: r.Reduction.Density, TerrainOuter: r.TerrainTo, TerrainNear: r.Terrain, ScaleFactor: 1}
	if r.legacy != "" {
		d.Ellipsoid += ", normal gravity by the formula of " + r.legacy
	}
	if r.Tied {
		var ties []string
		for _, t := range r.Book.Ties {
			text := fmt.Sprintf("%s %.5f ± %.5f mGal", t.Station, t.Value/gravlab.MilliGal, t.U/gravlab.MilliGal)
			if t.Datum != "" {
				text += ", " + t.Datum
			}
			if !t.Epoch.IsZero() {
				text += ", " + t.Epoch.Format("2006-01-02")
			}
			ties = append(ties, text)
		}
		d.GravityDatum = strings.Join(ties, "; ")
	} else {
		d.GravityDatum = "none: values count from normal gravity at " + r.Base
	}
	d.TideSystem = "zero-tide, factor " + word("tide factor", "")
	for _, m := range r.meters() {
		if word("tide", m) != "computed" {
			d.TideSystem += "; the meter " + m + " subtracts the tide itself, in a system that it does not state"
		}
	}
	d.Pressure = "−3 nm/s² per hPa where it was logged, from the standard atmosphere at the station"
	d.Plate = word("plate", "") + " plate"
	d.NearZone = "left out: no terrain"
	if r.TerrainTo > 0 {
		d.NearZone = "by the slope of the grid"
	}
	var drifts, outs []string
	for _, day := range r.Days {
		text := day.Name + ": " + word("drift", day.Name)
		for _, t := range day.Drift.Tares {
			text += ", a step at " + t.Format("15:04:05 MST")
		}
		drifts = append(drifts, text)
		for _, k := range day.Out {
			outs = append(outs, day.Readings[k].Station+" at "+day.Readings[k].Time.Format("2006-01-02 15:04 MST"))
		}
	}
	d.DriftModel = strings.Join(drifts, "; ")
	d.OutliersNoted = "none"
	if len(outs) > 0 {
		d.OutliersNoted = strings.Join(outs, ", ") + ": see choices.csv"
	}
	if job, err := r.job(r.Days[0].Meter, r.Days[0].Readings[0].Units); err == nil {
		d.ScaleFactor, d.UScaleFactor = job.Meter.Scale, job.Meter.UScale
	}
	d.UncertaintyFor = "reading, scale, height, near terrain and density, over the base; not the base itself, far terrain, ocean loading, groundwater"
	return d
}
