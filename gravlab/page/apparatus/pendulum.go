package apparatus

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/pendulum"
)

var pendulumPast = Scene{
	ID: "pendulum", Title: "A pendulum swings past a sensor", Labs: []string{"06"},
	Controls: []Control{
		{ID: "L", Label: "length L", Unit: "m", Min: 0.8, Max: 3, Step: 0.1, Start: 1.9},
		{ID: "m", Label: "mass of the bob m", Unit: "kg", Min: 1, Max: 30, Step: 0.5, Start: 14},
		{ID: "amplitude", Label: "amplitude", Unit: "°", Min: 2, Max: 60, Step: 1, Start: 24},
		{ID: "below", Label: "depth of the sensor below the resting bob", Unit: "m", Min: 0.4, Max: 1.5, Step: 0.05, Start: 0.6},
		{ID: "axis", Label: "axis of the sensor", Max: 1, Step: 1, Choices: []string{"vertical", "along the swing"}},
		{ID: "floor", Label: "rocking stiffness of the floor", Unit: "MN·m/rad", Min: 5, Max: 500, Step: 5, Start: 40},
	},
	Speed:  1,
	Record: &Record{Number: "pull", Column: "pull", Every: 0.05},
	Note:   "Seen from the side, to scale. The curve below is the pull along the sensor's axis over one swing, scaled to fill the space. The motion of the floor is not drawn: it rocks by a few microradians and sinks by a few micrometres. It is a round slab of 1.5 m radius on soft ground, whose stiffness against sinking follows from that against rocking.",
	view:   viewPendulum,
}

// slabRadius is that of the floor's slab, m. A rigid disc of radius r on an elastic
// half-space sinks with the stiffness 4 μ r/(1-ν) and rocks with 8 μ r³/(3(1-ν)), so
// that the first is 3/(2 r²) times the second (F. E. Richart, J. R. Hall, R. D. Woods,
// Vibrations of Soils and Foundations, 1970, chapter 7; from memory).
const slabRadius = 1.5

func viewPendulum(set map[string]float64, t float64) (State, error) {
	p := pendulum.Pendulum{Bob: pendulum.Bob{Mass: set["m"]}, Length: set["L"], Gravity: 9.81, Amplitude: set["amplitude"] * math.Pi / 180}
	below := p.Length + set["below"]
	station := pendulum.Station{At: r3.Vec{Z: below}, Axis: r3.Vec{Z: 1}}
	axis := "vertical"
	if set["axis"] >= 0.5 {
		station.Axis, axis = r3.Vec{X: 1}, "along the swing"
	}
	motion, err := p.Motion()
	if err != nil {
		return State{}, err
	}
	theta, _ := motion.At(t)
	pull, err := p.Pull(theta, station)
	if err != nil {
		return State{}, err
	}
	rocking := set["floor"] * 1e6
	effects, err := p.Compare(station, pendulum.Floor{
		RockingStiffness: rocking, PivotHeight: below,
		VerticalStiffness: 1.5 * rocking / (slabRadius * slabRadius), Share: 1,
	}, 2)
	if err != nil {
		return State{}, err
	}
	// By symmetry one of the two lines is nothing.
	one, two := &effects[0], &effects[1]
	one.Pull, two.Pull = withoutRounding(one.Pull, two.Pull)
	one.Floor, two.Floor = withoutRounding(one.Floor, two.Floor)
	tension, err := p.LargestTension()
	if err != nil {
		return State{}, err
	}

	const n = 80
	times, pulls := make([]float64, n+1), make([]float64, n+1)
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range times {
		times[i] = motion.Period * float64(i) / n
		at, _ := motion.At(times[i])
		if pulls[i], err = p.Pull(at, station); err != nil {
			return State{}, err
		}
		lo, hi = math.Min(lo, pulls[i]), math.Max(hi, pulls[i])
	}
	pull, _ = withoutRounding(pull, math.Max(math.Abs(lo), math.Abs(hi)))
	margin := 0.1*(hi-lo) + 1e-15
	lo, hi = lo-margin, hi+margin

	size := below * 1.15 // m
	bob := 0.045 * size
	x, z := p.Length*math.Sin(theta), p.Length*math.Cos(theta)
	s := State{
		View: [4]float64{-0.9 * size, -0.08 * size, 1.8 * size, 1.62 * size},
		Numbers: []Number{
			number("pull", "present pull along the axis", 1e9*pull, "nm/s²"),
			number("period", "period T", motion.Period, "s"),
			number("line1", "line at 1/T", 1e9*effects[0].Pull, "nm/s²"),
			number("line2", "line at 2/T", 1e9*effects[1].Pull, "nm/s²"),
			number("floor1", "floor's effect at 1/T", 1e9*effects[0].Floor, "nm/s²"),
			number("floor2", "floor's effect at 2/T", 1e9*effects[1].Floor, "nm/s²"),
			number("tension", "largest tension", tension, "N"),
		},
		Says: fmt.Sprintf("The bob pulls the sensor with %s nm/s² along its axis (%s).", digits(1e9*pull), axis),
	}
	arc := make([]float64, 0, 62)
	for i := -15; i <= 15; i++ {
		a := p.Amplitude * float64(i) / 15
		arc = append(arc, p.Length*math.Sin(a), p.Length*math.Cos(a))
	}
	s.Shapes = append(s.Shapes,
		line("support", -0.3*size, 0, 0.3*size, 0), path("guide", arc),
		line("plain", 0, 0, x, z), circle("mass", x, z, bob, "m"),
		box("sensor", -0.05*size, below, 0.05*size, below+0.07*size))
	if axis == "vertical" {
		s.Shapes = append(s.Shapes, arrow("sensor", 0.09*size, below, 0.09*size, below+0.1*size))
	} else {
		s.Shapes = append(s.Shapes, arrow("sensor", 0.06*size, below+0.035*size, 0.16*size, below+0.035*size))
	}
	left, top, width, height := -0.7*size, 1.15*size, 1.4*size, 0.28*size
	// The bob, on either side.
	amplitude := Drag{Control: "amplitude", Area: [4]float64{-size, 0, size, below}}
	for a := -60.0; a <= 60; a += 2 {
		amplitude.Places = append(amplitude.Places, p.Length*math.Sin(a*math.Pi/180))
		amplitude.Values = append(amplitude.Values, max(2, math.Abs(a)))
	}
	s.Drags = append(s.Drags, amplitude, dragAcross(dragsTime, [4]float64{left, top, left + width, top + height}, left, left+width, 0, motion.Period))
	now := math.Mod(t, motion.Period)
	s.Shapes = append(s.Shapes,
		line("guide", left, top+height, left+width, top+height),
		graph("curve", left, top, width, height, times, pulls, 0, motion.Period, lo, hi),
		circle("curve", left+width*now/motion.Period, top+height*(1-(pull-lo)/(hi-lo)), 0.012*size, ""),
		label(left+width/2, top+height+0.07*size, "the pull over one swing, scaled"))
	return s, nil
}

// withoutRounding returns two values that belong together, with 0 for one that is
// only what rounding leaves beside the other.
func withoutRounding(a, b float64) (float64, float64) {
	switch {
	case math.Abs(a) < 1e-9*math.Abs(b):
		a = 0
	case math.Abs(b) < 1e-9*math.Abs(a):
		b = 0
	}
	return a, b
}
