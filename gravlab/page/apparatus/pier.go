package apparatus

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"

	"gravity.example/gravlab/signal"
)

var pier = Scene{
	ID: "pier", Title: "Two sensors on one pier", Labs: []string{"05"},
	Controls: []Control{
		{ID: "ground", Label: "ground, above 1 Hz", Unit: "nm/s²/√Hz", Max: 400, Step: 10, Start: 250},
		{ID: "a", Label: "own noise of a", Unit: "nm/s²/√Hz", Min: 10, Max: 400, Step: 10, Start: 100},
		{ID: "b", Label: "own noise of b", Unit: "nm/s²/√Hz", Min: 10, Max: 400, Step: 10, Start: 100},
		{ID: "late", Label: "clock of b late by", Unit: "s", Max: 0.2, Step: 0.05},
		{ID: "tilt", Label: "angle between their axes", Unit: "mrad", Max: 100, Step: 1},
		{ID: "f", Label: "frequency looked at", Unit: "Hz", Min: 0.1, Max: 3.9, Step: 0.1, Start: 1.5},
	},
	Speed: 20,
	Note:  "The pier is a sketch, and the angle is drawn five times as large. Below it are the last 20 s of both records, b shifted down. The coherence is that of the records so far, in segments of 12.8 s that overlap by half: solid as estimated, dashed as it would be in the end, and level what one frequency in a hundred exceeds by chance where nothing is shared. The microseism grows with the ground, which moves as much sideways as up and down. The record takes 400 s, twenty in one.",
	view:  viewPier,
}

// How the records of the pier are taken and cut.
const (
	pairRate    = 20.0 // samples a second
	pairSamples = 8000
	pairSegment = 256
	pairFirst   = 2 * pairSegment // the fewest samples that are averaged
)

// pairGround is the one-sided power density of the ground, (nm/s²)²/Hz: level above 1 Hz, falling
// towards long periods, and a microseism at 5 s that is four times as strong.
func pairGround(level float64) func(f float64) float64 {
	return func(f float64) float64 {
		if f > 9 {
			return 0 // what the anti-alias filter leaves out
		}
		x := math.Log(f/0.2) / 0.3
		return level * level * (math.Pow(math.Min(1, f), 2) + 16*math.Exp(-x*x/2))
	}
}

// pairRecords are both records from their start, nm/s², in one of many draws.
func pairRecords(set map[string]float64, n int, pair uint64) (a, b []float64, err error) {
	late := int(math.Round(set["late"] * pairRate))
	const most = 4 // samples
	stream := func(of uint64) *rand.Rand { return rand.New(rand.NewPCG(pair, of)) }
	ground, err := signal.Noise(stream(1), pairSamples+most, pairRate, pairGround(set["ground"]))
	if err != nil {
		return nil, nil, err
	}
	sin, cos := math.Sincos(set["tilt"] / 1000)
	aside := make([]float64, len(ground))
	if sin > 0 {
		if aside, err = signal.Noise(stream(4), pairSamples+most, pairRate, pairGround(set["ground"])); err != nil {
			return nil, nil, err
		}
	}
	ra, rb := stream(2), stream(3)
	sample := math.Sqrt(pairRate / 2)
	a, b = make([]float64, n), make([]float64, n)
	for i := range a {
		a[i] = ground[most+i] + sample*set["a"]*ra.NormFloat64()
		b[i] = cos*ground[most+i-late] + sin*aside[most+i-late] + sample*set["b"]*rb.NormFloat64()
	}
	return a, b, nil
}

func viewPier(set map[string]float64, t float64) (State, error) {
	n := int(math.Max(pairFirst, math.Min(math.Floor(t*pairRate), pairSamples)))
	a, b, err := pairRecords(set, n, 1)
	if err != nil {
		return State{}, err
	}
	p, err := signal.Welch{Segment: pairSegment}.Pair(a, b, pairRate)
	if err != nil {
		return State{}, err
	}
	chance, err := signal.CoherenceThreshold(p.Independent(), 0.01)
	if err != nil {
		return State{}, err
	}
	estimate, h := p.Coherence(), p.H1()
	ground := pairGround(set["ground"])
	sin, cos := math.Sincos(set["tilt"] / 1000)
	var f, seen, end []float64
	for i, v := range p.Freq {
		if v <= 0 || v > 4 {
			continue
		}
		// Of b's share of the ground a sees the part along its own axis.
		shared := ground(v) * cos * cos
		whole, err := signal.ExpectedCoherence(shared, set["a"]*set["a"]*cos*cos, set["b"]*set["b"]+ground(v)*sin*sin)
		if err != nil {
			return State{}, err
		}
		f, seen, end = append(f, v), append(seen, estimate[i]), append(end, whole)
	}
	k := int(math.Round(set["f"] * pairSegment / pairRate)) // the bin that is looked at
	phase := cmplx.Phase(h[k]) * 180 / math.Pi
	s := State{
		View: [4]float64{0, 0, 400, 340},
		Numbers: []Number{
			number("time", "recorded", float64(n)/pairRate, "s"),
			counted("segments", "segments averaged", p.Segments),
			number("bin", "nearest frequency of the spectra", p.Freq[k], "Hz"),
			number("coherence", "coherence there, so far", estimate[k], ""),
			number("end", "coherence there, in the end", end[k-1], ""),
			number("phase", "phase of b against a there", phase, "°"),
			number("chance", "exceeded by chance once in 100", chance, ""),
			number("self", "noise of each there, by the coherence", math.Sqrt(p.SelfNoise()[k]), "nm/s²/√Hz"),
		},
		Says: fmt.Sprintf("After %s s and %d segments the coherence at %s Hz is %s; in the end it would be %s. b is turned by %s° against a.",
			digits(float64(n)/pairRate), p.Segments, digits(p.Freq[k]), digits(estimate[k]), digits(end[k-1]), digits(phase)),
	}

	// The pier in the ground with both sensors.
	s.Shapes = append(s.Shapes,
		line("support", 10, 118, 50, 118), line("support", 130, 118, 170, 118),
		box("support", 50, 84, 130, 140),
		box("sensor", 58, 56, 82, 84), turned(110, 84-12*math.Sin(5*set["tilt"]/1000), 24, 28, 5*set["tilt"]/1000),
		label(70, 46, "a"), label(110, 46, "b"), label(90, 116, "pier"),
		arrow("plain", 90, 176, 90, 146), label(128, 168, "ground"))

	if set["tilt"] > 0 {
		s.Shapes = append(s.Shapes, label(90, 28, "angle drawn 5 times"))
	}

	// The last 20 s, b below a.
	const span = 20.0
	from := max(0, n-int(span*pairRate))
	largest := 0.0
	for i := from; i < n; i++ {
		largest = max(largest, math.Abs(a[i]), math.Abs(b[i]))
	}
	largest /= 1000
	strips := axes{left: 46, top: 206, right: 166, bottom: 292, x0: float64(from) / pairRate, x1: float64(from)/pairRate + span, y0: -3.2 * largest, y1: 1.1 * largest, xName: "time (s)", yName: "a, b lower (µm/s²)"}
	var times, ya, yb []float64
	for i := from; i < n; i++ {
		times, ya, yb = append(times, float64(i)/pairRate), append(ya, a[i]/1000), append(yb, b[i]/1000-2.1*largest)
	}
	s.Shapes = append(s.Shapes, strips.frame()...)
	s.Shapes = append(s.Shapes, strips.curve("curve", times, ya), strips.curve("curve2", times, yb))

	chart := axes{left: 222, top: 40, right: 388, bottom: 292, x1: 4, y1: 1, xName: "frequency (Hz)", yName: "coherence"}
	s.Drags = []Drag{chart.drag("f", 0.1, 3.9)}
	x, y := chart.at(p.Freq[k], estimate[k])
	_, level := chart.at(0, chance)
	s.Shapes = append(s.Shapes, chart.frame()...)
	s.Shapes = append(s.Shapes, line("guide", chart.left, level, chart.right, level), line("guide", x, chart.top, x, chart.bottom),
		chart.curve("curve2", f, end), chart.curve("curve", f, seen), circle("sensor", x, y, 4, ""))
	return s, nil
}

// turned is a box of some width and height, turned about the middle of its foot.
func turned(x, y, width, height, angle float64) Shape {
	sin, cos := math.Sincos(angle)
	var xy []float64
	for _, c := range [][2]float64{{-0.5, 0}, {-0.5, -1}, {0.5, -1}, {0.5, 0}, {-0.5, 0}} {
		u, v := width*c[0], height*c[1]
		xy = append(xy, x+u*cos-v*sin, y+u*sin+v*cos)
	}
	return path("sensor", xy)
}
