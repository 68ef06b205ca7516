package apparatus

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/equivalence"
)

var lift = Scene{
	ID: "lift", Title: "In the lift", Labs: []string{"07"},
	Controls: []Control{
		{ID: "a", Label: "acceleration of the lift, upward", Unit: "m/s²", Min: -9.81, Max: 5, Step: 0.01, Start: 0},
		{ID: "tilt", Label: "tilt of the box", Unit: "°", Min: 0, Max: 30, Step: 0.5, Start: 0},
		{ID: "m", Label: "mass of the person on the scale", Unit: "kg", Min: 40, Max: 120, Step: 1, Start: 70},
	},
	Note: "Seen from the side. The arrows are to scale with each other: gravity in grey, what the accelerometer reads in colour. Do such experiments standing on the floor of a public lift, never in a shaft or by a hatch.",
	view: viewLift,
}

func viewLift(set map[string]float64, _ float64) (State, error) {
	const g = 9.81
	down := r3.Vec{Z: g}
	force := equivalence.SpecificForce(r3.Vec{Z: -set["a"]}, down) // upward is -z
	tilt := set["tilt"] * math.Pi / 180
	// In the axes of the tilted box: along its floor and along its own vertical.
	along := force.Z * math.Sin(tilt)
	own := r3.Vec{X: along, Z: force.Z * math.Cos(tilt)}
	meter := equivalence.MeterReading(own)
	weight := set["m"] * math.Abs(meter) // a scale on the leaning floor reads what stands square on it
	says := fmt.Sprintf("The accelerometer reads %s m/s² upward along the box.", digits(meter))
	if math.Abs(force.Z) < 1e-9 {
		says = "The lift falls freely: the accelerometer reads nothing, and the scale shows no weight."
	}
	s := State{
		View: [4]float64{-6, -6, 12, 12},
		Numbers: []Number{
			number("reading", "accelerometer, along the vertical of the box", meter, "m/s²"),
			number("across", "accelerometer, along the floor of the box", math.Abs(along), "m/s²"),
			number("size", "magnitude of the specific force", r3.Norm(force), "m/s²"),
			number("weight", "force square on the scale", weight, "N"),
			number("scale", "reading of a bathroom scale set for this place", weight/g, "kg"),
			number("tiltloss", "reading lost by the tilt", 1e5*(r3.Norm(force)-meter), "mGal"),
		},
		Says: says,
	}
	corner := func(x, y float64) (float64, float64) {
		return x*math.Cos(tilt) - y*math.Sin(tilt), x*math.Sin(tilt) + y*math.Cos(tilt)
	}
	var walls []float64
	for _, c := range [][2]float64{{-2.5, -3}, {2.5, -3}, {2.5, 3}, {-2.5, 3}, {-2.5, -3}} {
		x, y := corner(c[0], c[1])
		walls = append(walls, x, y)
	}
	scale := 3.0 / g
	s.Shapes = append(s.Shapes, path("support", walls), circle("sensor", 0, 0, 0.35, ""),
		arrow("guide", 0.8, 0, 0.8, g*scale), label(1.3, 2.6, "g"))
	if math.Abs(force.Z) > 1e-9 {
		s.Shapes = append(s.Shapes, arrow("curve", -0.8, 0, -0.8, force.Z*scale), label(-1.3, force.Z*scale+0.3, "f"))
	}
	if a := set["a"]; math.Abs(a) > 1e-9 {
		s.Shapes = append(s.Shapes, arrow("curve2", 4.2, 0, 4.2, -a*scale), label(4.8, -a*scale/2, "a"))
	}
	return s, nil
}
