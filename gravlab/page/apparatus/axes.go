package apparatus

import "math"

// Axes is the frame of a chart with ticks, names and units, in a picture that is 400 wide.
type axes struct {
	left, top, right, bottom float64 // of the frame, on the picture
	x0, x1, y0, y1           float64 // what the frame spans
	xName, yName             string  // with their units
}

// at is the place of a value, kept within the frame.
func (a axes) at(x, y float64) (float64, float64) {
	x, y = math.Max(a.x0, math.Min(x, a.x1)), math.Max(a.y0, math.Min(y, a.y1))
	return a.left + (a.right-a.left)*(x-a.x0)/(a.x1-a.x0), a.bottom - (a.bottom-a.top)*(y-a.y0)/(a.y1-a.y0)
}

// frame draws both axes with some four ticks each. The name of the upright one stands above it.
func (a axes) frame() []Shape {
	shapes := []Shape{
		path("plain", []float64{a.left, a.top, a.left, a.bottom, a.right, a.bottom}),
		label(a.left+26, a.top-14, a.yName), label((a.left+a.right)/2, a.bottom+34, a.xName),
	}
	for _, v := range ticksOf(a.y0, a.y1) {
		_, y := a.at(a.x0, v)
		shapes = append(shapes, line("plain", a.left-4, y, a.left, y), label(a.left-22, y+4, tick(v, tickStep((a.y1-a.y0)/4))))
	}
	for _, v := range ticksOf(a.x0, a.x1) {
		x, _ := a.at(v, a.y0)
		shapes = append(shapes, line("plain", x, a.bottom, x, a.bottom+4), label(x, a.bottom+17, tick(v, tickStep((a.x1-a.x0)/4))))
	}
	return shapes
}

// ticksOf are round values from lo to hi.
func ticksOf(lo, hi float64) (list []float64) {
	step := tickStep((hi - lo) / 4)
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+step*1e-9; k++ {
		list = append(list, k*step)
	}
	return list
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
