package fieldday

import (
	"fmt"
	"math"
	"strings"

	"gravity.example/gravlab"
	"gravity.example/gravlab/draw"
	"gravity.example/gravlab/draw/figure"
	"gravity.example/gravlab/internal/parallel"
)

// A raster is the surface on an even grid, in µGal, NaN beyond the stations.
type raster struct {
	x, y     []float64 // m east and north of the base
	value, u []float64
	interval float64
}

// raster works out the surface on some 60 by 60 places. Farther from every station than
// twice the usual spacing there is none.
func (r *Result) raster() *raster {
	if r.Surface == nil {
		return nil
	}
	index, north, east, _, _ := r.onMap()
	n0, n1 := figure.Range(north)
	e0, e1 := figure.Range(east)
	spacing := math.Sqrt(math.Max((n1-n0)*(e1-e0), 1) / float64(len(index)))
	margin := spacing / 2
	n0, n1, e0, e1 = n0-margin, n1+margin, e0-margin, e1+margin
	cell := round2(math.Max(n1-n0, e1-e0) / 70)
	g := &raster{}
	for x := math.Floor(e0/cell) * cell; x <= e1; x += cell {
		g.x = append(g.x, x)
	}
	for y := math.Floor(n0/cell) * cell; y <= n1; y += cell {
		g.y = append(g.y, y)
	}
	g.value, g.u = make([]float64, len(g.x)*len(g.y)), make([]float64, len(g.x)*len(g.y))
	parallel.Each(len(g.y), func(j int) {
		for i := range g.x {
			k := j*len(g.x) + i
			near := math.Inf(1)
			for s := range north {
				near = min(near, math.Hypot(north[s]-g.y[j], east[s]-g.x[i]))
			}
			if near > 2*spacing {
				g.value[k], g.u[k] = math.NaN(), math.NaN()
				continue
			}
			if len(index) <= 400 {
				g.value[k], g.u[k] = r.Surface.At(g.y[j], g.x[i])
			} else {
				g.value[k], g.u[k] = r.Surface.Value(g.y[j], g.x[i]), math.NaN()
			}
		}
	})
	lo, hi := figure.Range(g.value)
	usual := 0.0
	for _, s := range index {
		usual += r.Stations[s].U.Own() / gravlab.MicroGal / float64(len(index))
	}
	// Lines closer than the uncertainty show noise; more than some twelve cannot be told.
	g.interval = draw.Nice(math.Max((hi-lo)/9, usual))
	return g
}

// round2 is v to two digits.
func round2(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v))-1)
	return math.Round(v/p) * p
}

// ground adds stations, a bar and north to a map.
func (r *Result) ground(f *figure.Figure) {
	var on, off figure.Series
	on, off = figure.Series{Name: "station", Kind: figure.Points}, figure.Series{Name: "doubtful station", Kind: figure.Points}
	for _, s := range r.Stations {
		to := &on
		if !s.OnMap {
			to = &off
		}
		to.X, to.Y = append(to.X, s.East), append(to.Y, s.North)
	}
	f.Series = append(f.Series, on)
	if len(off.X) > 0 {
		f.Series = append(f.Series, off)
	}
	e0, e1 := math.Inf(1), math.Inf(-1)
	n0, n1 := math.Inf(1), math.Inf(-1)
	for _, s := range r.Stations {
		e0, e1, n0, n1 = min(e0, s.East), max(e1, s.East), min(n0, s.North), max(n1, s.North)
	}
	if f.Map != nil {
		e0, e1 = f.Map.X[0], f.Map.X[len(f.Map.X)-1]
		n0, n1 = f.Map.Y[0], f.Map.Y[len(f.Map.Y)-1]
	}
	// Names hide the lines of a map of many stations; the order of the readings has them.
	if len(r.Stations) <= 20 || f.Map == nil && len(r.Stations) <= 60 {
		for _, s := range r.Stations {
			f.Marks = append(f.Marks, figure.Mark{Kind: figure.Label, X: s.East, Y: s.North, Text: s.Name})
		}
	}
	bar := draw.Nice((e1 - e0) / 6)
	f.Series = append(f.Series, figure.Series{Name: fmt.Sprintf("%g m", bar), Kind: figure.Line, X: []float64{e1 - 1.1*bar, e1 - 0.1*bar}, Y: []float64{n0, n0}})
	f.Marks = append(f.Marks, figure.Mark{Kind: figure.Label, X: e0, Y: n1, Text: "N ↑"})
}

func (r *Result) mapFigure(g *raster) *figure.Figure {
	f := &figure.Figure{
		Title:   "Bouguer anomaly",
		X:       figure.Axis{Label: r.toward("east"), Unit: "m"},
		Y:       figure.Axis{Label: r.toward("north"), Unit: "m"},
		Caption: fmt.Sprintf("Lines every %g µGal, dashed below zero. The mean over the stations on the map is subtracted.", g.interval),
		Map:     &figure.Map{Label: "anomaly", Unit: "µGal", X: g.x, Y: g.y, Z: g.value, Signed: true, Fit: true, Lines: true, Square: true, Interval: g.interval},
	}
	if len(r.Stations) > 0 {
		f.Title = upper(r.Stations[0].Anomaly.Name)
	}
	r.ground(f)
	return f
}

func (r *Result) uFigure(g *raster) *figure.Figure {
	f := &figure.Figure{
		Title:   "Standard uncertainty of the map",
		X:       figure.Axis{Label: r.toward("east"), Unit: "m"},
		Y:       figure.Axis{Label: r.toward("north"), Unit: "m"},
		Caption: "It is largest where stations are far apart: there one more would tell most.",
		Map:     &figure.Map{Label: "uncertainty", Unit: "µGal", X: g.x, Y: g.y, Z: g.u, Square: true},
	}
	r.ground(f)
	return f
}

// toward names an axis: from the base, or on the map grid of the points.
func (r *Result) toward(side string) string {
	if math.IsNaN(r.Stations[0].Point.North) {
		return side + " of " + r.Base
	}
	return side + " on the map grid"
}

func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// line is the direction along which the stations spread most, and their middle.
func (r *Result) line() (north, east, n0, e0 float64) {
	n := float64(len(r.Stations))
	for _, s := range r.Stations {
		n0, e0 = n0+s.North/n, e0+s.East/n
	}
	var nn, ne, ee float64
	for _, s := range r.Stations {
		nn, ne, ee = nn+(s.North-n0)*(s.North-n0), ne+(s.North-n0)*(s.East-e0), ee+(s.East-e0)*(s.East-e0)
	}
	a := 0.5 * math.Atan2(2*ne, nn-ee)
	return math.Cos(a), math.Sin(a), n0, e0
}

func (r *Result) profileFigure(offset float64) *figure.Figure {
	north, east, n0, e0 := r.line()
	if r.Surface != nil { // through the place where the map is farthest from its mean
		index, ns, es, vs, _ := r.onMap()
		far := 0.0
		for k := range index {
			if d := math.Abs(vs[k] - offset); d > far {
				far, n0, e0 = d, ns[k], es[k]
			}
		}
	}
	bearing := math.Mod(math.Atan2(east, north)*180/math.Pi+360, 180)
	f := &figure.Figure{
		Title:   "Profile",
		Caption: fmt.Sprintf("Stations seen along %.0f° from north. The band is the map along the line, with its standard uncertainty.", bearing),
		X:       figure.Axis{Label: fmt.Sprintf("distance along %.0f°", bearing), Unit: "m"},
		Y:       figure.Axis{Label: "anomaly", Unit: "µGal"},
	}
	across := math.Inf(1)
	if r.Surface != nil {
		lo, hi := math.Inf(1), math.Inf(-1)
		wide := 0.0
		for _, s := range r.Stations {
			d := (s.North-n0)*north + (s.East-e0)*east
			lo, hi = min(lo, d), max(hi, d)
			wide = max(wide, math.Abs((s.East-e0)*north-(s.North-n0)*east))
		}
		across = wide / 4
		x, y, u := []float64{}, []float64{}, []float64{}
		for k := range 101 {
			d := lo + (hi-lo)*float64(k)/100
			v, uv := r.Surface.At(n0+d*north, e0+d*east)
			x, y, u = append(x, d), append(y, v-offset), append(u, uv)
		}
		f.Series = append(f.Series, figure.Series{Name: "map", Kind: figure.Line, X: x, Y: y, U: u})
	}
	points := figure.Series{Name: "stations near the line", Kind: figure.Points}
	heights := figure.Series{Name: "height", Kind: figure.Points}
	for _, s := range r.Stations {
		if off := math.Abs((s.East-e0)*north - (s.North-n0)*east); off > across || s.Doubt != "" {
			continue
		}
		d := (s.North-n0)*north + (s.East-e0)*east
		points.X, points.Y, points.U = append(points.X, d), append(points.Y, s.Anomaly.Value/gravlab.MicroGal-offset), append(points.U, s.U.Own()/gravlab.MicroGal)
		heights.X, heights.Y = append(heights.X, d), append(heights.Y, s.Height)
	}
	f.Series = append(f.Series, points)
	f.Under = append(f.Under, figure.Panel{Y: figure.Axis{Label: "height", Unit: "m"}, Series: []figure.Series{heights}})
	return f
}

// mostLoops is the most loops that the drawing of the network tells apart.
const mostLoops = 8

// networkFigure draws the walks between readings: each loop, from one reading of the base to
// the next, with its misclosure, or with many loops each day.
func (r *Result) networkFigure() *figure.Figure {
	f := &figure.Figure{
		Title: "Order of the readings",
		X:     figure.Axis{Label: r.toward("east"), Unit: "m"},
		Y:     figure.Axis{Label: r.toward("north"), Unit: "m"},
	}
	loops := 0
	for _, d := range r.Days {
		loops += len(d.Loops)
	}
	if loops > 0 && loops <= mostLoops {
		f.Caption = "Each line is a loop, from one reading of the base to the next. \"Closes by\" is the change of the base, \"left\" what remains of it beside drift and steps."
		for _, d := range r.Days {
			for _, l := range d.Loops {
				s := figure.Series{Name: fmt.Sprintf("%s to %s closes by %+.0f, left %+.0f µGal", l.From.Format("15:04"), l.To.Format("15:04"), to(l.Closure/gravlab.MicroGal, 0)+0, to(l.Left/gravlab.MicroGal, 0)+0), Kind: figure.Line}
				if len(r.Days) > 1 {
					s.Name = l.From.Format("2 Jan ") + s.Name
				}
				s.Name = strings.ReplaceAll(s.Name, "-", "−")
				for _, x := range d.Reduced {
					if !x.Time.Before(l.From) && !x.Time.After(l.To) {
						at := r.station(x.Station)
						s.X, s.Y = append(s.X, at.East), append(s.Y, at.North)
					}
				}
				f.Series = append(f.Series, s)
			}
		}
	} else {
		f.Caption = "Each line is a walk from one reading to the next. The table of loops says by how much the base has changed, and what is left beside drift and steps."
		for _, d := range r.Days[:min(len(r.Days), mostLoops)] {
			s := figure.Series{Name: "walk of " + d.Name, Kind: figure.Line}
			for _, x := range d.Reduced {
				at := r.station(x.Station)
				s.X, s.Y = append(s.X, at.East), append(s.Y, at.North)
			}
			f.Series = append(f.Series, s)
		}
		if n := len(r.Days) - mostLoops; n > 0 {
			f.Caption += fmt.Sprintf(" The walks of %d more days are not drawn.", n)
		}
	}
	r.ground(f)
	return f
}
