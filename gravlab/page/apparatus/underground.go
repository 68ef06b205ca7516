package apparatus

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
)

var underground = Scene{
	ID: "underground", Title: "Bodies under a line of stations", Labs: []string{"10"},
	Controls: []Control{
		{ID: "z", Label: "depth to the centre", Unit: "m", Min: 2, Max: 20, Step: 0.5, Start: 6},
		{ID: "r", Label: "radius", Unit: "m", Min: 0.5, Max: 4, Step: 0.1, Start: 1.5},
		{ID: "contrast", Label: "density contrast", Unit: "kg/m³", Min: -2400, Max: 1500, Step: 50, Start: -1900},
		{ID: "long", Label: "shape", Max: 1, Step: 1, Start: 1, Choices: []string{"sphere", "long tunnel"}},
		{ID: "apart", Label: "distance of a second, equal body to the north (0: none)", Unit: "m", Min: 0, Max: 20, Step: 0.5, Start: 0},
	},
	Note: "A section, to scale, with the ground at the top. The curve above is gz along the line of stations, scaled to fill the space. Gravity does not clear ground for digging: a void that it does not show may still be there.",
	view: viewUnderground,
}

func viewUnderground(set map[string]float64, _ float64) (State, error) {
	z, r, contrast := set["z"], set["r"], set["contrast"]
	if r > z-0.2 {
		return State{}, fmt.Errorf("the body would stick out of the ground: choose a smaller radius or a greater depth")
	}
	if math.Abs(contrast) < 50 {
		return State{}, fmt.Errorf("without a density contrast there is nothing to see")
	}
	long := set["long"] >= 0.5
	// The line of stations runs along x here; a tunnel runs across it.
	body := func(x float64) buried.Body {
		if long {
			return buried.InfiniteCylinder{X: x, Z: z, Radius: r, Contrast: contrast}
		}
		return buried.Sphere{Centre: r3.Vec{X: x, Z: z}, Radius: r, Contrast: contrast}
	}
	first, second := 0.0, math.NaN()
	bodies := buried.Sum{}
	if set["apart"] > 0 {
		first, second = -set["apart"]/2, set["apart"]/2
		bodies = append(bodies, body(second))
	}
	bodies = append(bodies, body(first))

	const n = 121
	var x, gz []float64
	peak := 0.0
	for i := range n {
		at := -30 + 60*float64(i)/(n-1)
		g, err := bodies.GZ(r3.Vec{X: at})
		if err != nil {
			return State{}, err
		}
		x, gz = append(x, at), append(gz, g/gravlab.MicroGal)
		if math.Abs(g/gravlab.MicroGal) > math.Abs(peak) {
			peak = g / gravlab.MicroGal
		}
	}
	above, err := body(0).GZ(r3.Vec{})
	if err != nil {
		return State{}, err
	}
	gradient, err := body(0).Gradient(r3.Vec{})
	if err != nil {
		return State{}, err
	}
	half, err := buried.HalfWidth(body(0), r3.Vec{}, r3.Vec{X: 1})
	if err != nil {
		return State{}, err
	}
	size := 1.3 * math.Abs(peak)
	lo, hi := -size, size
	s := State{
		View: [4]float64{-31, -17, 62, 44},
		Numbers: []Number{
			number("peak", "largest gz along the line", peak, "µGal"),
			number("above", "gz straight above one body alone", above/gravlab.MicroGal, "µGal"),
			number("gradient", "vertical gradient there", gradient.ZZ/gravlab.Eotvos, "E"),
			number("half", "half-width at half maximum", half, "m"),
		},
		Says: fmt.Sprintf("The largest value of gz along the line is %s µGal; that of one body alone has half its peak value %s m from the centre.", digits(peak), digits(half)),
	}
	if !long {
		mass := 4.0 / 3 * math.Pi * r * r * r * contrast
		s.Numbers = append(s.Numbers, number("mass", "excess mass of one body", mass/1000, "t"))
	} else {
		s.Numbers = append(s.Numbers, number("mass", "excess mass per metre of one body", math.Pi*r*r*contrast/1000, "t/m"))
	}
	s.Drags = []Drag{dragDown("z", [4]float64{-31, 0, 31, 24}, 2, 20, 2, 20)}
	role := "mass"
	if contrast < 0 {
		role = "void"
	}
	s.Shapes = append(s.Shapes,
		line("guide", -30, -8, 30, -8), label(-27, -8.6, "0"),
		graph("curve", -30, -15.5, 60, 15, x, gz, -30, 30, lo, hi),
		line("support", -31, 0, 31, 0), circle(role, first, z, r, ""))
	if second == second {
		s.Shapes = append(s.Shapes, circle(role, second, z, r, ""))
	}
	for at := -30.0; at <= 30; at += 5 {
		s.Shapes = append(s.Shapes, line("sensor", at, -0.6, at, 0))
	}
	s.Shapes = append(s.Shapes, line("plain", -29, 25.5, -19, 25.5), label(-24, 25, "10 m"))
	return s, nil
}
