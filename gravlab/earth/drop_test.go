package earth_test

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
)

// A fall of 20 cm, and to which depth the g of a parabola belongs.
func ExampleDropReference() {
	var times []float64
	for i := range 201 {
		times = append(times, float64(i)*1e-3)
	}
	fraction := gravlab.Must(earth.DropReference(times))
	fmt.Printf("%.3f of the fall\n", fraction)
	// Output:
	// 0.286 of the fall
}

// The exact fall obeys its equation, whatever the sign of the gradient is, and
// has the limits of a uniform field.
func TestDropObeysItsEquation(t *testing.T) {
	for _, gradient := range []float64{3.086e-6, -3.086e-6, 0, 0.4, -0.4} {
		d := earth.Drop{Start: 0.01, Speed: 0.3, Gravity: 9.8, Gradient: gradient}
		const at, h = 0.7, 1e-3
		z := gravlab.Must(d.Depth([]float64{0, at - 2*h, at - h, at, at + h, at + 2*h}))
		if z[0] != d.Start {
			t.Errorf("gradient %g: starts at %g", gradient, z[0])
		}
		got := (-z[1] + 16*z[2] - 30*z[3] + 16*z[4] - z[5]) / (12 * h * h)
		if want := d.Gravity + gradient*z[3]; math.Abs(got-want) > 1e-8 { // rounding of 2 m over h²
			t.Errorf("gradient %g: acceleration %.12g, want %.12g", gradient, got, want)
		}
	}
}

// The g of a parabola that is fitted to an exact fall is gravity at the reference.
func TestDropReferenceAgainstFit(t *testing.T) {
	const g, gradient = 9.81, 3.086e-3 // a thousand times the Earth's, to show in float64
	var times []float64
	for i := range 60 {
		times = append(times, 0.02+0.19*math.Sqrt(float64(i)/59)) // equal steps of distance, roughly
	}
	z := gravlab.Must(earth.Drop{Gravity: g, Gradient: gradient}.Depth(times))
	a := mat.NewDense(len(times), 3, nil)
	for i, x := range times {
		a.SetRow(i, []float64{1, x, x * x / 2})
	}
	var p mat.VecDense
	if err := p.SolveVec(a, mat.NewVecDense(len(z), z)); err != nil {
		t.Fatal(err)
	}
	depth := (p.AtVec(2) - g) / gradient
	want := gravlab.Must(earth.DropReference(times)) * z[len(z)-1]
	if math.Abs(depth-want) > 1e-4*want { // second order in gradient times t²
		t.Errorf("the parabola's g belongs to %.6f m, by DropReference %.6f m", depth, want)
	}
}
