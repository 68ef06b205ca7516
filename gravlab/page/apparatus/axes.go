package apparatus

import "math"

// Axes is the frame of a chart with ticks, names and units, in a picture that is 400 wide.
type axes struct {
	left, top, right, bottom float64 // of the frame, on the picture
	x0, x1, y0, y1           float64 // what the frame spans
	xName, yName             string  // with their units
	logX, logY               bool    // by powers of ten
}

// share is where a value lies between two others, 0 to 1.
func share(v, lo, hi float64, log bool) float64 {
	v = math.Max(lo, math.Min(v, hi))
	if log {
		return math.Log(v/lo) / math.Log(hi/lo)
	}
	return (v - lo) / (hi - lo)
}

// at is the place of a value, kept within the frame.
func (a axes) at(x, y float64) (float64, float64) {
	return a.left + (a.right-a.left)*share(x, a.x0, a.x1, a.logX), a.bottom - (a.bottom-a.top)*share(y, a.y0, a.y1, a.logY)
}

// frame draws both axes with some four ticks each. The name of the upright one stands above it.
func (a axes) frame() []Shape {
	shapes := []Shape{
		path("plain", []float64{a.left, a.top, a.left, a.bottom, a.right, a.bottom}),
		label(a.left+26, a.top-14, a.yName), label((a.left+a.right)/2, a.bottom+34, a.xName),
	}
	for _, v := range ticksOf(a.y0, a.y1, a.logY) {
		_, y := a.at(a.x0, v)
		shapes = append(shapes, line("plain", a.left-4, y, a.left, y), label(a.left-22, y+4, written(v, a.y1-a.y0, a.logY)))
	}
	for _, v := range ticksOf(a.x0, a.x1, a.logX) {
		x, _ := a.at(v, a.y0)
		shapes = append(shapes, line("plain", x, a.bottom, x, a.bottom+4), label(x, a.bottom+17, written(v, a.x1-a.x0, a.logX)))
	}
	return shapes
}

// ticksOf are round values from lo to hi.
func ticksOf(lo, hi float64, log bool) (list []float64) {
	if log {
		every := math.Ceil(math.Log10(hi/lo) / 5.5)
		for k := math.Ceil(math.Log10(lo) - 1e-9); k <= math.Log10(hi)+1e-9; k += every {
			list = append(list, math.Pow(10, k))
		}
		return list
	}
	step := tickStep((hi - lo) / 4)
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+step*1e-9; k++ {
		list = append(list, k*step)
	}
	return list
}

// written is a tick on an axis of some span.
func written(v, span float64, log bool) string {
	if !log {
		return tick(v, tickStep(span/4))
	}
	switch k := int(math.Round(math.Log10(v))); k {
	case -1:
		return "0.1"
	case 0:
		return "1"
	case 1:
		return "10"
	default:
		return "10" + superscript(k)
	}
}

// area is that of the frame.
func (a axes) area() [4]float64 { return [4]float64{a.left, a.top, a.right, a.bottom} }

// drag lets a control be set across the chart, between two values on the axis of x.
func (a axes) drag(control string, lo, hi float64) Drag {
	values := []float64{lo, hi}
	if a.logX {
		values = powers(lo, hi)
	}
	return dragAlong(control, a.area(), values, func(v float64) float64 { x, _ := a.at(v, a.y0); return x })
}

// dragTime lets the time be set across the chart, from x0 to x1 on the axis of x, whose unit is
// scale seconds of the scene; the scene begins at x0.
func (a axes) dragTime(x0, x1, scale float64) Drag {
	d := a.drag(dragsTime, x0, x1)
	d.Values = []float64{0, scale * (x1 - x0)}
	return d
}

// curve draws y over x.
func (a axes) curve(role string, x, y []float64) Shape {
	xy := make([]float64, 0, 2*len(x))
	for i := range x {
		px, py := a.at(x[i], y[i])
		xy = append(xy, px, py)
	}
	return path(role, xy)
}
