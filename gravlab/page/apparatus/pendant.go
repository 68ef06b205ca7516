package apparatus

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gravity.example/gravlab/torsion"
)

var pendant = Scene{
	ID: "pendant", Title: "A pendant and a stopwatch", Labs: []string{"02"},
	Controls: []Control{
		{ID: "period", Label: "full period T", Unit: "s", Min: 4, Max: 12, Step: 0.5, Start: 8.5},
		{ID: "half", Label: "half-time of the amplitude", Unit: "s", Min: 20, Max: 240, Step: 5, Start: 150},
		{ID: "start", Label: "turned by hand to", Unit: "°", Min: 2, Max: 30, Step: 1, Start: 25},
		{ID: "swings", Label: "full swings timed", Min: 1, Max: 20, Step: 1, Start: 10},
		{ID: "hand", Label: "uncertainty of a press", Unit: "s", Min: 0, Max: 0.4, Step: 0.02, Start: 0.28},
		{ID: "timing", Label: "number of the timing", Min: 1, Max: 10, Step: 1, Start: 1},
	},
	Speed:  4,
	Record: &Record{Number: "angle", Column: "angle", Every: 0.2},
	Note:   "The pendant from above, turned by its true angle; four seconds pass in one. The record ends when a little over a fifth of the amplitude is left. The dashed arcs and curves are the amplitude. The stopwatch stops after the swings to be timed; each timing has presses of its own, early or late by chance.",
	view:   viewPendant,
}

// presses are the errors of a timing's two presses of the button, in standard uncertainties.
func presses(timing float64) (on, off float64) {
	random := rand.New(rand.NewPCG(2, uint64(math.Round(timing))))
	return random.NormFloat64(), random.NormFloat64()
}

func viewPendant(set map[string]float64, t float64) (State, error) {
	period, tau, start := set["period"], set["half"]/math.Ln2, set["start"]*math.Pi/180
	const halves, inertia = 2.2, 2.2e-3 // kg m²: the motion does not depend on it
	ends := halves * set["half"]
	t = math.Min(t, ends)
	w := 2 * math.Pi / period
	swing := torsion.Swing{Inertia: inertia, Kappa: inertia * (w*w + 1/(tau*tau)), Damping: 2 * inertia / tau, Start: start}
	theta, err := swing.Angle(t)
	if err != nil {
		return State{}, err
	}
	envelope := func(t float64) float64 { return start * math.Hypot(1, 1/(w*tau)) * math.Exp(-t/tau) }
	n := math.Round(set["swings"])
	on, off := presses(set["timing"])
	timed := n * period
	watch, done := t, t >= timed
	if done {
		watch = timed + set["hand"]*(off-on)
	}
	counted := math.Floor(t/period + 1e-9)
	left := envelope(t) / envelope(0)
	deg := 180 / math.Pi
	s := State{
		View: [4]float64{0, 0, 400, 340},
		Numbers: []Number{
			number("time", "time since it was let go", t, "s"),
			number("count", "full swings since then", counted, ""),
			number("angle", "angle now", deg*theta, "°"),
			number("left", "amplitude left", 100*left, "%"),
			number("watch", "stopwatch", watch, "s"),
			number("u", "uncertainty of the period from one timing", math.Sqrt2*set["hand"]/n, "s"),
		},
	}
	s.Numbers[1].Text = fmt.Sprintf("%.0f", counted)
	s.Says = fmt.Sprintf("After %s s and %.0f full swings %s %% of the amplitude is left.", digits(t), counted, digits(100*left))
	if done {
		s.Numbers = append(s.Numbers, number("timedperiod", "period by this timing", watch/n, "s"))
		s.Says += fmt.Sprintf(" The stopwatch stopped at %s s after %.0f swings.", digits(watch), n)
	}

	// The pendant about its fibre, and how far it still turns.
	const cx, cy, arm, disc = 100.0, 76.0, 50.0, 9.0
	x, y := arm*math.Cos(theta), -arm*math.Sin(theta)
	inner := 1 - disc/arm
	arc := func(side float64) Shape {
		var xy []float64
		for i := range 25 {
			a := envelope(t) * (float64(i)/12 - 1)
			xy = append(xy, cx+side*(arm+14)*math.Cos(a), cy-side*(arm+14)*math.Sin(a))
		}
		return path("curve2", xy)
	}
	s.Shapes = append(s.Shapes,
		line("guide", cx-arm-22, cy, cx-arm+disc-20, cy), line("guide", cx+arm-disc+20, cy, cx+arm+22, cy),
		arc(1), arc(-1),
		line("support", cx-inner*x, cy-inner*y, cx+inner*x, cy+inner*y), circle("support", cx, cy, 3, ""),
		circle("mass", cx+x, cy+y, disc, ""), circle("mass", cx-x, cy-y, disc, ""),
		label(cx, 148, "pendant from above"))

	// The stopwatch: a turn of its hand is a minute.
	const wx, wy, dial = 300.0, 76.0, 46.0
	s.Shapes = append(s.Shapes, circle("plain", wx, wy, dial, ""), box("plain", wx-4, wy-dial-9, wx+4, wy-dial-1))
	for k := range 12 {
		sin, cos := math.Sincos(float64(k) * math.Pi / 6)
		s.Shapes = append(s.Shapes, line("plain", wx+(dial-6)*sin, wy-(dial-6)*cos, wx+(dial-1)*sin, wy-(dial-1)*cos))
	}
	sin, cos := math.Sincos(2 * math.Pi * watch / 60)
	s.Shapes = append(s.Shapes, line("sensor", wx, wy, wx+(dial-10)*sin, wy-(dial-10)*cos), circle("sensor", wx, wy, 3, ""),
		label(wx, 148, fmt.Sprintf("%.2f s, a minute a turn", watch)))

	// The chart: eighteen places in a period, at which the curve is smooth.
	chart := axes{left: 46, top: 186, right: 388, bottom: 292, x1: ends, y0: -1.1 * set["start"], y1: 1.1 * set["start"], xName: "time (s)", yName: "angle (°)"}
	count := int(math.Ceil(18 * ends / period))
	var times, come []float64
	for i := 0; i <= count; i++ {
		if at := ends * float64(i) / float64(count); at < t {
			times = append(times, at)
		}
	}
	times = append(times, t)
	if come, err = swing.Angles(times); err != nil {
		return State{}, err
	}
	for i := range come {
		come[i] *= deg
	}
	var whole, over, under []float64
	for i := range 61 {
		at := ends * float64(i) / 60
		whole, over, under = append(whole, at), append(over, deg*envelope(at)), append(under, -deg*envelope(at))
	}
	s.Drags = []Drag{chart.dragTime(0, ends, 1)}
	px, py := chart.at(t, deg*theta)
	s.Shapes = append(s.Shapes, chart.frame()...)
	s.Shapes = append(s.Shapes, chart.curve("curve2", whole, over), chart.curve("curve2", whole, under), chart.curve("curve", times, come), circle("sensor", px, py, 4, ""))
	return s, nil
}
