package earth

import (
	"errors"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Drop is a body that falls freely in a vacuum, as in an absolute gravity meter.
// Depth is counted downward from the place that Gravity belongs to; gravity grows
// by Gradient per metre of depth.
type Drop struct {
	Start    float64 // m, depth at time 0
	Speed    float64 // m/s at time 0, downward positive
	Gravity  float64 // m/s², at depth 0
	Gradient float64 // s⁻², of gravity with depth; about 3.086e-6 above ground
}

// Depth returns the depth (m) at each time (s), from d²z/dt² = Gravity + Gradient·z,
// solved exactly.
func (d Drop) Depth(times []float64) ([]float64, error) {
	const fn = "earth.Drop"
	if err := errors.Join(
		arg.Between(fn, "Start", d.Start, -1e3, 1e3, "depth in m"),
		arg.Between(fn, "Speed", d.Speed, -1e3, 1e3, "speed in m/s"),
		arg.Between(fn, "Gravity", d.Gravity, -1e3, 1e3, "gravity in m/s²"),
		arg.Between(fn, "Gradient", d.Gradient, -1, 1, "gradient of gravity in s⁻²"),
		arg.AllFinite(fn, "times", times, "times in s"),
	); err != nil {
		return nil, err
	}
	depth := make([]float64, len(times))
	for i, t := range times {
		// The fall from rest in units of t², and the way of a body without gravity in
		// units of t: 1/2 and 1 where there is no gradient.
		fall, coast := t*t/2, t
		even := 1.0
		switch s := math.Sqrt(math.Abs(d.Gradient)); {
		case d.Gradient > 0:
			half := math.Sinh(s * t / 2)
			fall, coast, even = 2*half*half/d.Gradient, math.Sinh(s*t)/s, math.Cosh(s*t)
		case d.Gradient < 0:
			half := math.Sin(s * t / 2)
			fall, coast, even = -2*half*half/d.Gradient, math.Sin(s*t)/s, math.Cos(s*t)
		}
		depth[i] = d.Start*even + d.Speed*coast + d.Gravity*fall
	}
	return depth, nil
}

// DropReference says to which height the acceleration of a parabola belongs that
// was fitted by least squares, all readings alike, to a fall in gravity that
// grows with depth. times (s) are those of the readings, counted from rest;
// negative ones belong to a throw. The result is the depth below the point of
// rest at which gravity has the fitted value, as a fraction of the longest
// distance from it. It does not depend on the gradient to first order. Many
// readings at equal steps of time, from rest: 2/7.
//
// The gradient γ adds γ g t⁴/24 to the fall, of which the parabola takes a part.
// For atoms, which are read three times: V. D. Nagornyi, arXiv:1201.3962 (2012).
func DropReference(times []float64) (float64, error) {
	const fn = "earth.DropReference"
	if err := errors.Join(arg.AtLeast(fn, "times", len(times), 3), arg.Rising(fn, "times", times, "times in s, rising")); err != nil {
		return 0, err
	}
	longest := math.Max(math.Abs(times[0]), math.Abs(times[len(times)-1]))
	n := float64(len(times))
	mean := 0.0
	for _, t := range times {
		mean += t / longest / n
	}
	// The part of t² that neither a constant nor a slope explains.
	var squares, slope, spread float64
	for _, t := range times {
		x := t / longest
		squares += x * x / n
		slope += x * x * (x - mean)
		spread += (x - mean) * (x - mean)
	}
	slope /= spread
	var top, bottom float64
	for _, t := range times {
		x := t / longest
		q := x*x - squares - slope*(x-mean)
		top += q * x * x * x * x
		bottom += q * x * x
	}
	return top / bottom / 6, nil
}
