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
		{ID: "apart", Label: "distance of the drains", Unit: "m", Min: 2, Max: 16, Step: 0.5, Start: 10},
		{ID: "depth", Label: "depth of their axes", Unit: "m", Min: 1.5, Max: 11, Step: 0.05, Start: 3.6},
		{ID: "radius", Label: "radius", Unit: "m", Min: 0.3, Max: 1.2, Step: 0.05, Start: 0.5},
		{ID: "stones", Label: "excess mass of a stone", Unit: "kg", Min: 0, Max: 800, Step: 20, Start: 600},
		{ID: "sensors", Label: "what is read", Max: 1, Step: 1, Start: 0, Choices: []string{"one sensor", "two, 1 m apart"}},
		{ID: "meter", Label: "noise of a gravity meter", Unit: "µGal", Min: 1, Max: 6, Step: 0.5, Start: 3},
		{ID: "pair", Label: "noise of a gradiometer", Unit: "E", Min: 2, Max: 20, Step: 1, Start: 12},
	},
	Note: "A section across the drains, to scale but for the stones, and above it what is read along the ground: dashed the drains alone, solid with the stones. The stones are points, strewn once by chance, none of them in a drain; those within 2 m of the section are drawn. The difference of two sensors, upper minus lower, falls off faster with depth, so that it tells neighbours apart and shows the nearest stones most. The last two numbers are for one drain alone, straight above it, with the true gradient. A void that gravity does not show may still be there.",
	view: viewDrains,
}

func viewDrains(set map[string]float64, _ float64) (State, error) {
	depth, apart, radius, half := set["depth"], set["apart"], set["radius"], 12.0
	if apart < 2*radius+0.1 {
		return State{}, fmt.Errorf("the drains would meet: take a larger distance between them, or a smaller radius")
	}
	ground := buried.Sum{}
	for _, side := range []float64{-0.5, 0.5} {
		ground = append(ground, buried.InfiniteCylinder{X: side * apart, Z: depth, Radius: radius, Contrast: -1900})
	}
	rubble := buried.Sum{}
	rng := rand.New(rand.NewPCG(11, 4))
	var places [][2]float64
	for range 60 {
		x, y, z := 1.2*half*(2*rng.Float64()-1), 12*rng.Float64()-6, 1+4*rng.Float64()
		if math.Hypot(math.Abs(x)-apart/2, z-depth) < radius+0.2 {
			continue
		}
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
	alone := buried.InfiniteCylinder{Z: depth, Radius: radius, Contrast: -1900}
	pull, err := alone.GZ(r3.Vec{})
	if err != nil {
		return State{}, err
	}
	gradient, err := buried.Pair{Separation: r3.Vec{Z: 1}}.True(alone, r3.Vec{})
	if err != nil {
		return State{}, err
	}
	s := State{
		View: [4]float64{0, 0, 400, 356},
		Numbers: []Number{
			number("over", "above a drain, without stones", over, "µGal"),
			number("between", "midway between them", between, "µGal"),
			number("dent", "what is left midway of the reading above a drain", 100*between/over, "%"),
			number("stones", "stones alone, root mean square", math.Sqrt(squares), "µGal"),
			number("meter", "one drain, over the noise of the meter", math.Abs(pull)/gravlab.MicroGal/set["meter"], ""),
			number("gradiometer", "over that of the gradiometer", math.Abs(gradient)/gravlab.Eotvos/set["pair"], ""),
		},
		Says: fmt.Sprintf("Above a drain %s µGal, midway %s; the stones alone make %s.", digits(over), digits(between), digits(math.Sqrt(squares))),
	}
	room := 0.08 * (hi - lo)
	chart := axes{left: 56, top: 32, right: 388, bottom: 128, x0: -half, x1: half, y0: lo - room, y1: hi + room, xName: "place (m)", yName: name}
	s.Shapes = append(s.Shapes, chart.frame()...)
	s.Shapes = append(s.Shapes, chart.curve("curve2", x, clear), chart.curve("curve", x, both))
	// The section below, on the places of the chart.
	const surface = 182.0
	scale := (chart.right - chart.left) / (2 * half)
	at := func(x, z float64) (float64, float64) { return (chart.left+chart.right)/2 + scale*x, surface + scale*z }
	s.Shapes = append(s.Shapes, line("support", chart.left, surface, chart.right, surface))
	_, bottom := at(0, 12)
	_, highest := at(0, 1.5)
	_, lowest := at(0, 11)
	s.Drags = []Drag{dragDown("depth", [4]float64{chart.left, surface, chart.right, bottom}, highest, lowest, 1.5, 11)}
	s.Shapes = append(s.Shapes, line("plain", chart.left, surface, chart.left, bottom))
	for _, z := range []float64{5, 10} {
		_, y := at(0, z)
		s.Shapes = append(s.Shapes, line("plain", chart.left-4, y, chart.left, y), label(chart.left-24, y+4, fmt.Sprintf("%.0f m", z)))
	}
	if set["stones"] > 0 {
		s.Shapes = append(s.Shapes, label(318, surface-7, "stones not to scale"))
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
