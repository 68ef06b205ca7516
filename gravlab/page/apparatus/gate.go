package apparatus

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/buried"
)

var gate = Scene{
	ID: "gate", Title: "A truck over a sensor", Labs: []string{"14"},
	Controls: []Control{
		{ID: "apart", Label: "distance between the loads", Unit: "m", Min: 1, Max: 8, Step: 0.1, Start: 3.7},
		{ID: "front", Label: "front load, 1.1 m above the road", Unit: "t", Min: 0.5, Max: 6, Step: 0.1, Start: 2.3},
		{ID: "cargo", Label: "cargo", Unit: "t", Min: 0.5, Max: 8, Step: 0.1, Start: 5.1},
		{ID: "height", Label: "height of the cargo above the road", Unit: "m", Min: 0.8, Max: 2, Step: 0.1, Start: 1.5},
		{ID: "higher", Label: "how much higher the one it is compared with lies", Unit: "m", Min: 0, Max: 1, Step: 0.05, Start: 0.5},
		{ID: "speed", Label: "speed", Unit: "km/h", Min: 3, Max: 15, Step: 0.1, Start: 6.3},
	},
	Speed:  1,
	Record: &Record{Number: "now", Column: "reading", Every: 0.1},
	Note:   "The lane from the side, to scale but for the loads, which are points. The sensor is 1.2 m below the road and reads upwards. Below, its reading: solid with this cargo, dashed with one that lies higher and is heavier, so that its pull straight above is the same. A screening result is a reason for a trained officer to look, nothing more.",
	view:   viewGate,
}

func viewGate(set map[string]float64, t float64) (State, error) {
	const deep, far, low = 1.2, 12.0, 1.1 // m: sensor below the road, before and behind it, front load above the road
	v, apart, height := set["speed"]/3.6, set["apart"], set["height"]
	ends := (2*far + apart) / v
	t = math.Min(t, ends)
	above := height + deep
	ratio := math.Pow((above+set["higher"])/above, 2)
	truck := func(mass, height float64) buried.Pass {
		return buried.Pass{Speed: v, Loads: []buried.Load{{X: -far, Mass: 1e3 * set["front"], Height: low}, {X: -far - apart, Mass: 1e3 * mass, Height: height}}}
	}
	this, other := truck(set["cargo"], height), truck(set["cargo"]*ratio, height+set["higher"])
	sensor := r3.Vec{Z: deep}
	pull := func(p buried.Pass, at float64) (float64, error) {
		a, err := p.Attraction(sensor, at)
		return -a.Z * 1e9, err
	}
	const n = 150
	times, one, two := make([]float64, n+1), make([]float64, n+1), make([]float64, n+1)
	largest, unlike := 0.0, 0.0
	for i := range times {
		times[i] = ends * float64(i) / n
		var err error
		if one[i], err = pull(this, times[i]); err != nil {
			return State{}, err
		}
		if two[i], err = pull(other, times[i]); err != nil {
			return State{}, err
		}
		largest, unlike = max(largest, one[i], two[i]), max(unlike, math.Abs(one[i]-two[i]))
	}
	now, err := pull(this, t)
	if err != nil {
		return State{}, err
	}
	s := State{
		View: [4]float64{0, 0, 400, 340},
		Numbers: []Number{
			number("time", "time", t, "s"),
			number("now", "reading now", now, "nm/s²"),
			number("peak", "largest reading", largestOf(one), "nm/s²"),
			number("mass", "cargo of the dashed curve", set["cargo"]*ratio, "t"),
			number("unlike", "largest difference of the curves", unlike, "nm/s²"),
		},
		Says: fmt.Sprintf("The cargo of %s t and one of %s t that lies %s m higher differ by at most %s nm/s² in the record.", digits(set["cargo"]), digits(set["cargo"]*ratio), digits(set["higher"]), digits(unlike)),
	}
	// The lane: 10 units for a metre, the sensor at its middle.
	const scale, road, middle = 10.0, 84.0, 200.0
	at := func(x, z float64) (float64, float64) { return middle + scale*x, road - scale*z }
	front := this.Loads[0].X + v*t
	back := front - apart
	block := func(role string, x1, z1, x2, z2 float64) {
		ax, ay := at(x1, z1)
		bx, by := at(x2, z2)
		ax, bx = math.Max(2, math.Min(ax, 398)), math.Max(2, math.Min(bx, 398))
		if ax < bx {
			s.Shapes = append(s.Shapes, box(role, ax, by, bx, ay))
		}
	}
	dot := func(role string, x, z, r float64) {
		px, py := at(x, z)
		if px > 2+scale*r && px < 398-scale*r {
			s.Shapes = append(s.Shapes, circle(role, px, py, scale*r, ""))
		}
	}
	s.Shapes = append(s.Shapes, line("support", 0, road, 400, road))
	block("plain", back-1.5, 0.6, front-1.2, 3.2)
	block("plain", front-1.1, 0.5, front+1.1, 2.4)
	dot("plain", back, 0.4, 0.4)
	dot("plain", front, 0.4, 0.4)
	dot("mass", back, height, 0.3)
	dot("mass", front, low, 0.25)
	block("sensor", -0.3, -1.5, 0.3, -0.9)
	s.Shapes = append(s.Shapes, label(middle, road+30, "sensor"), line("plain", 20, road+26, 70, road+26), label(45, road+22, "5 m"))
	chart := axes{left: 62, top: 150, right: 388, bottom: 292, x1: ends, y1: 1.08 * largest, xName: "time (s)", yName: "reading (nm/s²)"}
	s.Drags = []Drag{chart.dragTime(0, ends, 1)}
	x, y := chart.at(t, now)
	s.Shapes = append(s.Shapes, chart.frame()...)
	s.Shapes = append(s.Shapes, chart.curve("curve2", times, two), chart.curve("guide", times, one))
	come, seen := []float64{}, []float64{}
	for i := range times {
		if times[i] < t {
			come, seen = append(come, times[i]), append(seen, one[i])
		}
	}
	s.Shapes = append(s.Shapes, chart.curve("curve", append(come, t), append(seen, now)), circle("sensor", x, y, 4, ""))
	return s, nil
}

func largestOf(list []float64) float64 {
	most := math.Inf(-1)
	for _, v := range list {
		most = max(most, v)
	}
	return most
}
