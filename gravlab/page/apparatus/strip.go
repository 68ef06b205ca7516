package apparatus

import (
	"math"
	"strconv"
	"strings"

	numbers "gravity.example/gravlab/internal/digits"
)

// A strips is what a strip chart shows: values at even places from 0 to ends, of which those
// up to at have come; now is the value there.
type strips struct {
	yName, xName string // with their units
	ends, at     float64
	values       []float64
	now          float64
	fromZero     bool // the values are never below zero
}

// draw puts a strip chart into the right half of a picture of 400 by 340: what has come as a line,
// what will come dashed. The time is dragged in it; second is a unit of its axis in seconds.
func (c strips) draw(s *State, second float64) {
	const left, right, top, bottom = 196.0, 390.0, 34.0, 290.0
	s.Drags = append(s.Drags, dragAcross(dragsTime, [4]float64{left, top, right, bottom}, left, right, 0, c.ends*second))
	lo, hi := c.values[0], c.values[0]
	for _, v := range c.values {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	step := tickStep((hi - lo) / 3)
	lo, hi = step*math.Floor(lo/step-0.3), step*math.Ceil(hi/step+0.3)
	if c.fromZero {
		lo = math.Max(lo, 0)
	}
	x := func(t float64) float64 { return left + (right-left)*t/c.ends }
	y := func(v float64) float64 { return bottom - (bottom-top)*(v-lo)/(hi-lo) }
	shapes := []Shape{path("plain", []float64{left, top, left, bottom, right, bottom}), label(left+26, top-14, c.yName), label((left+right)/2, bottom+34, c.xName)}
	for i := 0; lo+float64(i)*step <= hi+step/100; i++ {
		v := lo + float64(i)*step
		shapes = append(shapes, line("plain", left-4, y(v), left, y(v)), label(left-26, y(v)+4, tick(v, step)))
	}
	for t, every := 0.0, tickStep(c.ends/4); t <= c.ends*(1+1e-9); t += every {
		shapes = append(shapes, line("plain", x(t), bottom, x(t), bottom+4), label(x(t), bottom+17, tick(t, every)))
	}
	var whole, come []float64
	for i, v := range c.values {
		t := c.ends * float64(i) / float64(len(c.values)-1)
		whole = append(whole, x(t), y(v))
		if t <= c.at {
			come = append(come, x(t), y(v))
		}
	}
	come = append(come, x(c.at), y(c.now))
	s.Shapes = append(s.Shapes, shapes...)
	s.Shapes = append(s.Shapes, path("guide", whole), path("curve", come), circle("sensor", x(c.at), y(c.now), 4, ""))
}

// tickStep is the step of an axis, not below v; 1 where nothing is to be seen.
func tickStep(v float64) float64 {
	if !(v > 0) {
		return 1
	}
	return numbers.Nice(v)
}

// tick writes a tick with as many decimals as its step has.
func tick(v, step float64) string {
	if math.Abs(v) < step/100 {
		v = 0
	}
	return strings.Replace(strconv.FormatFloat(v, 'f', max(0, int(math.Ceil(-math.Log10(step)-1e-9))), 64), "-", "−", 1)
}
