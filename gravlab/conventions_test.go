package gravlab_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
)

// The axes: x north, y east, z down are right-handed.
func TestAxesAreRightHanded(t *testing.T) {
	north, east, down := r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}
	if r3.Cross(north, east) != down {
		t.Error("north cross east is not down")
	}
	// A body at heading 90° (clockwise from north) lies east.
	b := buried.Rotated{Body: buried.Point{At: r3.Vec{X: 10, Z: 5}, Mass: 1000}, Heading: math.Pi / 2}
	g, err := b.Gravity(r3.Vec{})
	if err != nil || !(g.Y > 0) || math.Abs(g.X) > 1e-6*g.Y {
		t.Errorf("a body turned from north to heading 90° pulls along %v (%v), want east", g, err)
	}
}

// A cube seen from all six sides: gravity points into it, the gradient along
// the line of sight is positive and twice each of the two across, all for
// positive mass; a void turns every sign; U is positive and grows towards it.
func TestCubeFromAllSixSides(t *testing.T) {
	for _, contrast := range []float64{1000, -1000} {
		sign := math.Copysign(1, contrast)
		cube := buried.Prism{Min: r3.Vec{X: -1, Y: -1, Z: -1}, Max: r3.Vec{X: 1, Y: 1, Z: 1}, Contrast: contrast}
		for _, side := range []struct {
			name string
			at   r3.Vec
		}{
			{"north", r3.Vec{X: 3}}, {"south", r3.Vec{X: -3}},
			{"east", r3.Vec{Y: 3}}, {"west", r3.Vec{Y: -3}},
			{"below", r3.Vec{Z: 3}}, {"above", r3.Vec{Z: -3}},
		} {
			g, err := cube.Gravity(side.at)
			if err != nil {
				t.Fatal(err)
			}
			inward := r3.Scale(-1.0/3, side.at)
			along := r3.Dot(g, inward)
			if !(sign*along > 0) || r3.Norm(r3.Sub(g, r3.Scale(along, inward))) > 1e-14*math.Abs(along) {
				t.Errorf("contrast %g, from %s: g = %v, want it along %v", contrast, side.name, g, r3.Scale(sign, inward))
			}
			tensor, err := cube.Gradient(side.at)
			if err != nil {
				t.Fatal(err)
			}
			inLine := r3.Dot(tensor.Apply(inward), inward)
			if !(sign*inLine > 0) {
				t.Errorf("contrast %g, from %s: gradient along the line of sight %g", contrast, side.name, inLine)
			}
			for _, axis := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
				want := inLine
				if r3.Dot(axis, inward) == 0 {
					want = -inLine / 2
				}
				if d := r3.Dot(tensor.Apply(axis), axis); math.Abs(d-want) > 1e-12*math.Abs(inLine) {
					t.Errorf("contrast %g, from %s: diagonal entry along %v is %g, want %g", contrast, side.name, axis, d, want)
				}
			}
			if off := math.Abs(tensor.XY) + math.Abs(tensor.XZ) + math.Abs(tensor.YZ); off > 1e-12*math.Abs(inLine) {
				t.Errorf("contrast %g, from %s: off-diagonal %g by symmetry zero", contrast, side.name, off)
			}
			u, err := cube.Potential(side.at)
			nearer, err2 := cube.Potential(r3.Scale(0.9, side.at))
			if err != nil || err2 != nil || !(sign*u > 0) || !(sign*(nearer-u) > 0) {
				t.Errorf("contrast %g, from %s: U = %g, nearer %g", contrast, side.name, u, nearer)
			}
			// All six sides see the same size.
			if want := gravlab.G * 8000 / 9; math.Abs(math.Abs(along)/want-1) > 0.02 {
				t.Errorf("from %s: |g| = %g, a point has %g", side.name, math.Abs(along), want)
			}
		}
	}
}

// The tensor is the derivative at the station: going down towards a mass gz
// grows, so g_zz > 0 above it; and over the Earth it is the free-air gradient,
// close to +3086 E, with half of it, negative, each way across.
func TestTensorSign(t *testing.T) {
	const radius, gm = 6371000.79, 3.986005e14
	earth := buried.Point{At: r3.Vec{Z: radius}, Mass: gm / gravlab.G}
	tensor, err := earth.Gradient(r3.Vec{})
	if err != nil {
		t.Fatal(err)
	}
	if zz := tensor.ZZ / gravlab.Eotvos; math.Abs(zz-3086) > 10 {
		t.Errorf("g_zz over the Earth %g E", zz)
	}
	if xx := tensor.XX / gravlab.Eotvos; math.Abs(xx+1543) > 5 {
		t.Errorf("g_xx over the Earth %g E", xx)
	}
	// Heights are up: a station 1 m higher is at z = -1 and has less gravity.
	low, _ := earth.GZ(r3.Vec{})
	high, _ := earth.GZ(r3.Vec{Z: -1})
	if d := (high - low) / gravlab.MilliGal; math.Abs(d+0.3086) > 0.001 {
		t.Errorf("1 m up gz changes by %g mGal", d)
	}
}

// Inside a body of density rho the trace is -4 pi G rho, outside zero.
func TestTrace(t *testing.T) {
	ball := buried.Sphere{Radius: 2, Contrast: 2500}
	in, err := ball.Gradient(r3.Vec{X: 0.5, Y: 0.2, Z: -1})
	if err != nil {
		t.Fatal(err)
	}
	if want := -4 * math.Pi * gravlab.G * 2500; math.Abs(in.Trace()/want-1) > 1e-12 {
		t.Errorf("trace inside %g, want %g", in.Trace(), want)
	}
	out, err := ball.Gradient(r3.Vec{X: 2, Y: 2, Z: -1})
	if err != nil || math.Abs(out.Trace()) > 1e-12*math.Abs(out.XX) {
		t.Errorf("trace outside %g (%v)", out.Trace(), err)
	}
}

// The units of the trade.
func TestUnitsOfTheTrade(t *testing.T) {
	if 1000*gravlab.MicroGal != gravlab.MilliGal || math.Abs(1000*gravlab.MilliGal/gravlab.Gal-1) > 1e-15 || gravlab.Gal != 0.01 {
		t.Error("Gal, mGal and µGal do not fit together")
	}
	// 1 E is 0.1 µGal/m.
	if math.Sin(30*gravlab.Degree) < 0.5-1e-15 || math.Sin(30*gravlab.Degree) > 0.5+1e-15 || 180*gravlab.Degree != math.Pi {
		t.Errorf("a degree is %g rad", gravlab.Degree)
	}
	if math.Abs(gravlab.Eotvos/(0.1*gravlab.MicroGal)-1) > 1e-15 {
		t.Error("1 E is not 0.1 µGal/m")
	}
}
