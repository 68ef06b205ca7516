package apparatus

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/equivalence"
)

// The rides of the lift.
const (
	ridesUp = iota
	ridesDown
	ridesCut // the cable is cut
)

var lift = Scene{
	ID: "lift", Title: "In the lift", Labs: []string{"07"},
	Controls: []Control{
		{ID: "ride", Label: "ride", Max: 2, Step: 1, Choices: []string{"up", "down", "cable cut"}},
		{ID: "peak", Label: "largest acceleration", Unit: "m/s²", Min: 0.2, Max: 3, Step: 0.05, Start: 1.1},
		{ID: "travel", Label: "time from start to stop", Unit: "s", Min: 3, Max: 12, Step: 0.5, Start: 8},
		{ID: "tilt", Label: "tilt of the scale", Unit: "°", Min: 0, Max: 30, Step: 0.5, Start: 0},
		{ID: "m", Label: "mass of the person", Unit: "kg", Min: 40, Max: 120, Step: 1, Start: 70},
	},
	Speed:  1,
	Record: &Record{Number: "reading", Column: "reading", Every: 0.02},
	Note: "The shaft is to scale and the cabin in it is not. With the cable cut the drawing stops before the pit. " +
		"Try it on a bathroom scale in a public lift; never in a shaft, by a hatch or with anything that holds the cabin.",
	view: viewLift,
}

const (
	liftGravity = 9.81 // m/s²
	liftPulse   = 2.4  // s, of the start and of the stop
	liftWait    = 1.0  // s before the start
	liftFall    = 2.0  // s that a fall is shown for
	liftFloor   = 3.0  // m between floors
)

// A ride is what the cabin does: its acceleration, speed and height at a time from
// the beginning of the ride, all upward.
type ride struct {
	ends float64 // s
	at   func(t float64) (a, v, h float64)
}

func rideOf(set map[string]float64) ride {
	if set["ride"] == ridesCut {
		return ride{liftWait + liftFall, func(t float64) (a, v, h float64) {
			t -= liftWait
			top := liftGravity*liftFall*liftFall/2 + liftFloor
			if t <= 0 {
				return 0, 0, top
			}
			return -liftGravity, -liftGravity * t, top - liftGravity*t*t/2
		}}
	}
	peak, from := set["peak"], 0.0
	start := equivalence.Lift{Gravity: liftGravity, Peak: peak, Pulse: liftPulse}
	if set["ride"] == ridesDown {
		from = start.Rise(set["travel"] + liftPulse)
		stop := equivalence.Lift{Peak: -peak, Pulse: liftPulse}
		from += stop.Rise(liftPulse)
		start.Peak = -peak
	}
	stop := equivalence.Lift{Gravity: liftGravity, Peak: -start.Peak, Pulse: liftPulse}
	return ride{liftWait + set["travel"] + liftPulse + 1, func(t float64) (a, v, h float64) {
		t -= liftWait
		late := t - set["travel"]
		return start.Acceleration(t) + stop.Acceleration(late), start.Speed(t) + stop.Speed(late), from + start.Rise(t) + stop.Rise(late)
	}}
}

func viewLift(set map[string]float64, t float64) (State, error) {
	r := rideOf(set)
	tilt := set["tilt"] * math.Pi / 180
	// The scale reads what stands square on it, in the kilograms of this place.
	kilograms := func(a float64) float64 {
		force := equivalence.SpecificForce(r3.Vec{Z: -a}, r3.Vec{Z: liftGravity}) // upward is -z
		return set["m"] * math.Abs(equivalence.MeterReading(r3.Vec{X: force.Z * math.Sin(tilt), Z: force.Z * math.Cos(tilt)})) / liftGravity
	}
	shown := math.Min(t, r.ends)
	a, v, h := r.at(shown)
	force := equivalence.SpecificForce(r3.Vec{Z: -a}, r3.Vec{Z: liftGravity})
	along := force.Z * math.Sin(tilt)
	meter := equivalence.MeterReading(r3.Vec{X: along, Z: force.Z * math.Cos(tilt)})
	says := fmt.Sprintf("The scale reads %s kg; the cabin moves at %s m/s.", digits(kilograms(a)), digits(v))
	if math.Abs(force.Z) < 1e-9 {
		says = "The lift falls freely: the accelerometer reads nothing, and the scale shows no weight."
	}
	s := State{
		View: [4]float64{0, 0, 400, 340},
		Numbers: []Number{
			number("time", "time", shown, "s"),
			number("scale", "reading of the scale", kilograms(a), "kg"),
			number("reading", "accelerometer, square to the scale", meter, "m/s²"),
			number("across", "accelerometer, along the scale", math.Abs(along), "m/s²"),
			number("a", "acceleration of the lift, upward", a, "m/s²"),
			number("speed", "speed, upward", v, "m/s"),
			number("height", "height above the lowest point", h, "m"),
		},
		Says: says,
	}
	s.Shapes = append(s.Shapes, cabin(r, h, set["ride"] == ridesCut && shown > liftWait, tilt)...)
	var reading []float64
	for i := range 241 {
		a, _, _ := r.at(r.ends * float64(i) / 240)
		reading = append(reading, kilograms(a))
	}
	strips{yName: "scale in kg", xName: "time in s", ends: r.ends, values: reading, at: shown, now: kilograms(a), fromZero: true}.draw(&s, 1)
	return s, nil
}

// cabin draws the shaft with its floors, and the cabin with somebody on a scale.
func cabin(r ride, h float64, cut bool, tilt float64) []Shape {
	const left, right, top, bottom, tall = 34.0, 124.0, 14.0, 314.0, 92.0
	highest := 0.0
	for i := range 101 {
		_, _, at := r.at(r.ends * float64(i) / 100)
		highest = math.Max(highest, at)
	}
	highest = math.Max(highest, 2*liftFloor)
	y := func(h float64) float64 { return bottom - (bottom-top-tall)*h/highest } // of the cabin's floor
	shapes := []Shape{path("support", []float64{left, top, left, bottom, right, bottom, right, top})}
	for at := 0.0; at <= highest; at += liftFloor {
		shapes = append(shapes, line("guide", left-10, y(at), left, y(at)))
	}
	b := y(h)
	if !cut {
		shapes = append(shapes, line("plain", 79, top, 79, b-tall))
	}
	shapes = append(shapes, box("plain", left+8, b-tall, right-8, b))
	// The person, on a scale that may lean, with its middle on the floor.
	turn := func(x, up float64) (float64, float64) {
		return 79 + x*math.Cos(tilt) - up*math.Sin(tilt), b - 16 - x*math.Sin(tilt) - up*math.Cos(tilt)
	}
	x1, y1 := turn(-22, 0)
	x2, y2 := turn(22, 0)
	shapes = append(shapes, line("mass", x1, y1, x2, y2), line("plain", 79, b-16, 79, b))
	hip, neck := 24.0, 48.0
	for _, l := range [][4]float64{{-8, 0, 0, hip}, {8, 0, 0, hip}, {0, hip, 0, neck}, {-11, 30, 0, 43}, {11, 30, 0, 43}} {
		ax, ay := turn(l[0], l[1])
		bx, by := turn(l[2], l[3])
		shapes = append(shapes, line("sensor", ax, ay, bx, by))
	}
	cx, cy := turn(0, neck+7)
	return append(shapes, circle("sensor", cx, cy, 7, ""))
}
