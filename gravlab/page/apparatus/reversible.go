package apparatus

import (
	"fmt"
	"math"

	"gravity.example/gravlab/pendulum"
)

var reversible = Scene{
	ID: "reversible", Title: "A reversible pendulum", Labs: []string{"15"},
	Controls: []Control{
		{ID: "place", Label: "place of the sliding weight, from edge 1", Unit: "m", Min: 0.1, Max: 0.9, Step: 0.005, Start: 0.5},
		{ID: "edge", Label: "swings on", Max: 1, Step: 1, Choices: []string{"edge 1", "edge 2"}},
		{ID: "heavy", Label: "mass of the heavy disc", Unit: "kg", Min: 0.8, Max: 1.8, Step: 0.05, Start: 1.4},
		{ID: "amplitude", Label: "amplitude", Unit: "°", Min: 0.1, Max: 20, Step: 0.1, Start: 10},
		{ID: "air", Label: "around it", Max: 2, Step: 1, Choices: []string{"a vacuum", "air; both discs of one size", "air; a small weight for the hollow disc"}},
	},
	Speed: 1,
	Note:  "Seen from the side, to scale: the edges are 1 m apart, and gravity is 9.81 m/s². The curves below are the periods of small swings on both edges, for all places of the sliding weight. The last two numbers follow from the periods that you would time, at this amplitude and in this air.",
	view:  viewReversible,
}

// turnedBody is the pendulum of the scene, in a vacuum or in air.
func turnedBody(set map[string]float64, place float64) pendulum.Reversible {
	r := pendulum.Reversible{Edges: 1, Gravity: 9.81, Parts: []pendulum.Part{
		{Mass: 1.0, At: 0.5, Length: 1.4, Volume: 7.5e-4},
		{Mass: set["heavy"], At: 1.1, Length: 0.06, Volume: 2.5e-4},
		{Mass: 0.15, At: -0.1, Length: 0.06, Volume: 2.5e-4},
		{Mass: 0.4, At: place, Length: 0.04},
	}}
	if set["air"] > 0.5 {
		r.AirDensity, r.AirInertia = 1.2, 0.9
	}
	if set["air"] > 1.5 {
		r.Parts[2].Volume = 2e-5
	}
	return r
}

func viewReversible(set map[string]float64, t float64) (State, error) {
	const g, edges = 9.81, 1.0
	body := turnedBody(set, set["place"])
	first, second, err := body.Periods()
	if err != nil {
		return State{}, err
	}
	onSecond := set["edge"] > 0.5
	small := first
	if onSecond {
		small = second
	}
	// The thread that swings like this body.
	like := pendulum.Pendulum{Bob: pendulum.Bob{Mass: 1}, Length: g * math.Pow(small/(2*math.Pi), 2), Gravity: g, Amplitude: set["amplitude"] * math.Pi / 180}
	motion, err := like.Motion()
	if err != nil {
		return State{}, err
	}
	theta, _ := motion.At(t)
	wide := motion.Period / small
	h1 := body.Centre()
	numbers := []Number{
		number("period", "period on this edge, as timed", motion.Period, "s"),
		number("difference", "edge 1 minus edge 2, small swings", 1e3*(first-second), "ms"),
		number("h1", "centre of mass from edge 1", h1, "m"),
		number("h2", "centre of mass from edge 2", edges-h1, "m"),
		number("one", "true g minus 4π²L/T² of this edge", 1e5*(g-4*math.Pi*math.Pi*edges/(motion.Period*motion.Period)), "mGal"),
	}
	says := fmt.Sprintf("The periods on the two edges differ by %s ms.", digits(1e3*math.Abs(first-second)))
	// Midway the formula of both periods has nothing to say.
	if math.Abs(2*h1-edges) > 1e-6 {
		both, err := pendulum.ReversibleGravity(first*wide, second*wide, h1, edges-h1)
		if err != nil {
			return State{}, err
		}
		numbers = append(numbers, number("both", "true g minus Bessel's formula of both edges", 1e5*zeroed(g-both), "mGal"))
	} else {
		says = "The centre of mass lies midway: the periods are equal, and say nothing about g."
	}

	s := State{View: [4]float64{-0.95, -0.33, 1.9, 2.35}, Numbers: numbers, Says: says}
	// Along the rod from the edge that it swings on, across, on the picture.
	at := func(along, across float64) (float64, float64) {
		if onSecond {
			along = edges - along
		}
		return along*math.Sin(theta) + across*math.Cos(theta), along*math.Cos(theta) - across*math.Sin(theta)
	}
	block := func(role string, from, to, half float64) Shape {
		var xy []float64
		for _, c := range [][2]float64{{from, -half}, {to, -half}, {to, half}, {from, half}, {from, -half}} {
			x, y := at(c[0], c[1])
			xy = append(xy, x, y)
		}
		return path(role, xy)
	}
	dot := func(role string, along, r float64) Shape {
		x, y := at(along, 0)
		return circle(role, x, y, r, "")
	}
	hollow := 0.08
	if set["air"] > 1.5 {
		hollow = 0.03
	}
	s.Shapes = append(s.Shapes,
		line("support", -0.35, 0, -0.04, 0), line("support", 0.04, 0, 0.35, 0),
		block("plain", -0.2, 1.2, 0.02),
		dot("mass", 1.1, 0.08), dot("support", -0.1, hollow), dot("sensor", set["place"], 0.018),
		block("sensor", -0.004, 0.004, 0.05), block("sensor", 0.996, 1.004, 0.05),
		dot("guide", h1, 0.012))

	const left, top, width, height = -0.75, 1.42, 1.5, 0.45
	const n = 60
	places, one, two := make([]float64, n+1), make([]float64, n+1), make([]float64, n+1)
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range places {
		places[i] = 0.1 + 0.8*float64(i)/n
		if one[i], two[i], err = turnedBody(set, places[i]).Periods(); err != nil {
			return State{}, err
		}
		lo, hi = min(lo, one[i], two[i]), max(hi, one[i], two[i])
	}
	x := left + width*(set["place"]-0.1)/0.8
	s.Drags = []Drag{dragAcross("place", [4]float64{left, top, left + width, top + height}, left, left+width, 0.1, 0.9)}
	s.Shapes = append(s.Shapes,
		line("guide", left, top+height, left+width, top+height), line("guide", x, top, x, top+height),
		graph("curve", left, top, width, height, places, one, 0.1, 0.9, lo, hi),
		graph("curve2", left, top, width, height, places, two, 0.1, 0.9, lo, hi),
		label(left+0.28*width, top+height+0.09, "small swings: edge 1 solid, edge 2 dashed"))
	return s, nil
}

// zeroed is a gravity without what rounding leaves of it.
func zeroed(g float64) float64 {
	if math.Abs(g) < 1e-12 {
		return 0
	}
	return g
}
