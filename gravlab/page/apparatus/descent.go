package apparatus

import (
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
)

var descent = Scene{
	ID: "descent", Title: "Down into a planet", Labs: []string{"16"},
	Controls: []Control{
		{ID: "depth", Label: "depth, as a fraction of the radius", Unit: "%", Max: 100, Step: 0.1, Start: 20},
		{ID: "radius", Label: "radius of the planet", Unit: "km", Min: 1500, Max: 7000, Step: 1, Start: 6371},
		{ID: "core", Label: "radius of its core", Unit: "km", Min: 500, Max: 6500, Step: 1, Start: 3480},
		{ID: "inner", Label: "density of the core", Unit: "kg/m³", Min: 2000, Max: 15000, Step: 10, Start: 11000},
		{ID: "outer", Label: "density of the mantle", Unit: "kg/m³", Min: 1000, Max: 7000, Step: 10, Start: 4450},
	},
	Note: "A cut through the planet, to scale. It is round, does not rotate, and has two layers of one density each. For a planet of the Earth's radius the dashed curve is the Earth by PREM.",
	view: viewDescent,
}

func viewDescent(set map[string]float64, _ float64) (State, error) {
	radius, core := 1e3*set["radius"], 1e3*set["core"]
	if core > radius-50e3 {
		return State{}, fmt.Errorf("the core would reach the surface: choose a smaller core or a larger planet")
	}
	planet := earth.Interior{Radius: radius, Shells: []earth.Shell{{Outer: core, Density: []float64{set["inner"]}}, {Outer: radius, Density: []float64{set["outer"]}}}}
	r := radius * (1 - set["depth"]/100)
	here, err := planet.Gravity(r)
	if err != nil {
		return State{}, err
	}
	mass, err := planet.Mass(radius)
	if err != nil {
		return State{}, err
	}
	inertia, err := planet.Inertia(radius)
	if err != nil {
		return State{}, err
	}
	like := radius == earth.PREM.Radius
	const n = 160
	down, g, prem := make([]float64, n+1), make([]float64, n+1), make([]float64, n+1)
	largest := 0.0
	for i := range down {
		at := radius * (1 - float64(i)/n)
		down[i] = (radius - at) / 1e6
		if g[i], err = planet.Gravity(at); err != nil {
			return State{}, err
		}
		if like {
			if prem[i], err = earth.PREM.Gravity(at); err != nil {
				return State{}, err
			}
		}
		largest = max(largest, g[i], prem[i])
	}
	numbers := []Number{
		number("down", "depth", (radius-r)/1e3, "km"),
		number("g", "g there", here, "m/s²"),
	}
	says := fmt.Sprintf("At %s km g is %s m/s².", digits((radius-r)/1e3), digits(here))
	if r > 0 {
		density, err := planet.Density(r)
		if err != nil {
			return State{}, err
		}
		slope := 4*math.Pi*gravlab.G*density - 2*here/r // dg/dr, from M' = 4πr²ρ
		still := here / (2 * math.Pi * gravlab.G * r)
		numbers = append(numbers,
			number("slope", "growth of g per kilometre of depth", -1e3*slope/gravlab.MilliGal, "mGal"),
			number("still", "density with which g would stand still there", still, "kg/m³"))
		switch grows := -slope; {
		case grows > 0:
			says += " On the way down it grows."
		case grows < 0:
			says += " On the way down it falls."
		}
	}
	numbers = append(numbers,
		number("mean", "mean density of the planet", mass/(4.0/3*math.Pi*radius*radius*radius), "kg/m³"),
		number("inertia", "moment of inertia over MR²", inertia/(mass*radius*radius), ""))

	const size = 78.0
	x, y := 84.0, 160.0
	chart := axes{left: 216, top: 40, right: 388, bottom: 280, x1: radius / 1e6, y1: 1.08 * largest, xName: "depth (1000 km)", yName: "g (m/s²)"}
	s := State{View: [4]float64{0, 0, 400, 340}, Numbers: numbers, Says: says}
	s.Drags = []Drag{dragDown("depth", [4]float64{x - size, y - size, x + size, y}, y-size, y, 0, 100), dragAcross("depth", chart.area(), chart.left, chart.right, 0, 100)}
	mx, my := chart.at((radius-r)/1e6, here)
	s.Shapes = append(s.Shapes,
		circle("support", x, y, size, ""), circle("mass", x, y, size*core/radius, ""),
		line("guide", x, y-size, x, y), circle("sensor", x, y-size*r/radius, 4, ""),
		line("plain", x-size, 270, x+size, 270), label(x, 286, digits(2*radius/1e3)+" km across"))
	s.Shapes = append(s.Shapes, chart.frame()...)
	if like {
		s.Shapes = append(s.Shapes, chart.curve("curve2", down, prem))
	}
	s.Shapes = append(s.Shapes, chart.curve("curve", down, g), circle("sensor", mx, my, 4, ""))
	return s, nil
}
