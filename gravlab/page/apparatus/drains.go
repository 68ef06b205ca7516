package apparatus

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
)

var drains = Scene{
	ID: "drains", Title: "Two drains in rubble", Labs: []string{"11"},
	Controls: []Control{
		{ID: "apart", Label: "distance between the drains", Unit: "m", Min: 2, Max: 16, Step: 0.5, Start: 10},
		{ID: "depth", Label: "depth of their axes", Unit: "m", Min: 2.5, Max: 8, Step: 0.1, Start: 4.5},
		{ID: "radius", Label: "radius", Unit: "m", Min: 0.3, Max: 1.2, Step: 0.05, Start: 1},
		{ID: "stones", Label: "excess mass of a stone", Unit: "kg", Min: 0, Max: 800, Step: 20, Start: 240},
		{ID: "sensors", Label: "what is read", Max: 1, Step: 1, Start: 0, Choices: []string{"one sensor: gravity", "two, 1 m apart: upper minus lower"}},
	},
	Note: "A section across the drains, to scale but for the stones, and above it what is read along the ground: dashed the drains alone, solid with the stones. The stones are points, of one throw of dice. The difference of two sensors falls off faster with depth, so that it tells neighbours apart and hears the nearest stones loudest. A void that gravity does not show may still be there.",
	view: viewDrains,
}

func viewDrains(set map[string]float64, _ float64) (State, error) {
	depth, apart, radius, half := set["depth"], set["apart"], set["radius"], 12.0
	ground := buried.Sum{}
	for _, side := range []float64{-0.5, 0.5} {
		ground = append(ground, buried.InfiniteCylinder{X: side * apart, Z: depth, Radius: radius, Contrast: -1900})
	}
	rubble := buried.Sum{}
	rng := rand.New(rand.NewPCG(11, 4))
	var places [][2]float64
	for range 60 {
		x, y, z := 1.2*half*(2*rng.Float64()-1), 12*rng.Float64()-6, 1+4*rng.Float64()
		rubble = append(rubble, buried.Point{At: r3.Vec{X: x, Y: y, Z: z}, Mass: set["stones"]})
		if math.Abs(y) < 2 {
			places = append(places, [2]float64{x, z})
		}
	}
	two := set["sensors"] > 0.5
	unit, name := gravlab.MicroGal, "gravity (µGal)"
	if two {
		name = "difference (µGal)"
	}
	read := func(b buried.Body, x float64) (float64, error) {
		low, err := b.GZ(r3.Vec{X: x})
		if err != nil || !two {
			return low / unit, err
		}
		high, err := b.GZ(r3.Vec{X: x, Z: -1})
		return (high - low) / unit, err
	}
	const n = 97
	x, clear, both := make([]float64, n), make([]float64, n), make([]float64, n)
	lo, hi, squares := math.Inf(1), math.Inf(-1), 0.0
	for i := range x {
		x[i] = -half + 2*half*float64(i)/(n-1)
		var err error
		if clear[i], err = read(ground, x[i]); err != nil {
			return State{}, err
		}
		stones, err := read(rubble, x[i])
		if err != nil {
			return State{}, err
		}
		both[i] = clear[i] + stones
		lo, hi, squares = min(lo, clear[i], both[i]), max(hi, clear[i], both[i]), squares+stones*stones/n
	}
	over, err := read(ground, apart/2)
	if err != nil {
		return State{}, err
	}
	between, err := read(ground, 0)
	if err != nil {
		return State{}, err
	}
	s := State{
		View: [4]float64{0, 0, 400, 340},
		Numbers: []Number{
			number("over", "above a drain, without stones", over, "µGal"),
			number("between", "midway between them", between, "µGal"),
			number("dent", "what is left midway of the reading above a drain", 100*between/over, "%"),
			number("stones", "stones alone, root mean square", math.Sqrt(squares), "µGal"),
		},
		Says: fmt.Sprintf("Above a drain %s µGal, midway %s; the stones alone make %s.", digits(over), digits(between), digits(math.Sqrt(squares))),
	}
	room := 0.08 * (hi - lo)
	chart := axes{left: 56, top: 32, right: 388, bottom: 158, x0: -half, x1: half, y0: lo - room, y1: hi + room, xName: "place (m)", yName: name}
	s.Shapes = append(s.Shapes, chart.frame()...)
	s.Shapes = append(s.Shapes, chart.curve("curve2", x, clear), chart.curve("curve", x, both))
	// The section below, on the places of the chart.
	const surface = 216.0
	scale := (chart.right - chart.left) / (2 * half)
	at := func(x, z float64) (float64, float64) { return (chart.left+chart.right)/2 + scale*x, surface + scale*z }
	s.Shapes = append(s.Shapes, line("support", chart.left, surface, chart.right, surface))
	if set["stones"] > 0 {
		for _, p := range places {
			px, py := at(p[0], p[1])
			if px > chart.left && px < chart.right {
				s.Shapes = append(s.Shapes, circle("plain", px, py, 2.2, ""))
			}
		}
	}
	for _, side := range []float64{-0.5, 0.5} {
		px, py := at(side*apart, depth)
		s.Shapes = append(s.Shapes, circle("void", px, py, scale*radius, ""))
	}
	s.Shapes = append(s.Shapes, box("sensor", chart.left+2, surface-8, chart.left+8, surface-1))
	if two {
		s.Shapes = append(s.Shapes, box("sensor", chart.left+2, surface-8-scale, chart.left+8, surface-1-scale))
	}
	return s, nil
}
