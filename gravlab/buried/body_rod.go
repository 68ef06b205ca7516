package buried

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// A Rod is a thin straight line of mass: a shaft, a pipe, a borehole. On the
// rod, ends included, nothing is defined: an error. Beyond its ends, on its
// line, everything is.
//
// Source: integrals of 1/r, 1/r³ and s/r³ along the line, written so that no
// two nearly equal numbers are subtracted; past 1e5 lengths the rod is a point
// (error below 1e-10).
type Rod struct {
	From, To    r3.Vec  // ends, m
	LineDensity float64 // excess mass per length, kg/m, signed
}

// Validate reports every field that cannot be used.
func (r Rod) Validate() error {
	err := errors.Join(
		checkVec("buried.Rod", "From", r.From),
		checkVec("buried.Rod", "To", r.To),
		arg.Finite("buried.Rod", "LineDensity", r.LineDensity, "excess mass per length in kg/m"))
	if err == nil && r.From == r.To {
		err = arg.Bad("buried.Rod", "To", r.To, "an end away from From")
	}
	return err
}

// Mass is the excess mass, kg.
func (r Rod) Mass() float64 { return r.LineDensity * r3.Norm(r3.Sub(r.To, r.From)) }

// rodView is a rod as one station sees it.
type rodView struct {
	e      r3.Vec  // unit vector from From to To
	n      r3.Vec  // unit vector from the station square to the rod's line
	h      float64 // distance to that line
	s1, s2 float64 // places of the two ends along e, from the station's foot
	r1, r2 float64 // distances of the two ends
	length float64
	far    bool // past 1e5 lengths
}

func (r *Rod) view(fn string, at r3.Vec) (v rodView, err error) {
	if !finite3(r.From) || !finite3(r.To) || !isFinite(r.LineDensity) || r.From == r.To {
		return v, r.Validate()
	}
	a, b := r3.Sub(r.From, at), r3.Sub(r.To, at)
	d := r3.Sub(r.To, r.From)
	v.length = r3.Norm(d)
	v.r1, v.r2 = r3.Norm(a), r3.Norm(b)
	if !(v.r1 < 1e90 && v.r2 < 1e90 && v.length > 1e-90) {
		return v, tooFar(fn, at)
	}
	v.e = r3.Scale(1/v.length, d)
	v.s1, v.s2 = r3.Dot(a, v.e), r3.Dot(b, v.e)
	// The nearer end gives the foot with the smaller error.
	near, s := a, v.s1
	if v.r2 < v.r1 {
		near, s = b, v.s2
	}
	foot := r3.Sub(near, r3.Scale(s, v.e))
	v.h = r3.Norm(foot)
	if v.h > 0 {
		v.n = r3.Scale(1/v.h, foot)
	}
	onRod := v.s1 <= 0 && v.s2 >= 0 && v.h <= 1e-15*v.length
	if onRod || v.r1 == 0 || v.r2 == 0 {
		return v, badStation(fn, at, "a station off the rod")
	}
	v.far = v.r1 > 1e5*v.length
	return v, nil
}

// k1 is the integral of 1/r, k3 of 1/r³, k4 of s/r³ along the rod.
func (v *rodView) k1() float64 {
	// ln((r1+r2+L)/(r1+r2-L)); near the rod r1+r2 is close to L.
	sum := v.r1 + v.r2
	if v.s1 < 0 && v.s2 > 0 {
		q := v.h * v.h * (1/(v.r1-v.s1) + 1/(v.r2+v.s2)) // = r1 + r2 - L
		return math.Log((sum + v.length) / q)
	}
	return 2 * math.Atanh(v.length/sum)
}

func (v *rodView) k3() float64 {
	if v.s1 < 0 && v.s2 > 0 {
		return (v.s2/v.r2 - v.s1/v.r1) / (v.h * v.h)
	}
	return v.length * math.Abs(v.s1+v.s2) / (v.r1 * v.r2 * (math.Abs(v.s2)*v.r1 + math.Abs(v.s1)*v.r2))
}

func (v *rodView) k4() float64 {
	return v.length * (v.s1 + v.s2) / ((v.r1 + v.r2) * v.r1 * v.r2)
}

func (r *Rod) point() Point {
	return Point{At: r3.Scale(0.5, r3.Add(r.From, r.To)), Mass: r.Mass()}
}

// GZ is the downward gravity, m/s².
func (r Rod) GZ(at r3.Vec) (float64, error) {
	g, err := r.Gravity(at)
	return g.Z, err
}

// Gravity is the gravity vector, m/s².
func (r Rod) Gravity(at r3.Vec) (r3.Vec, error) {
	v, err := r.view("buried.Rod.Gravity", at)
	if err != nil {
		return r3.Vec{}, err
	}
	if v.far {
		return r.point().Gravity(at)
	}
	across, along := 0.0, v.k4()
	if v.h > 0 {
		across = v.h * v.k3()
	}
	g := r3.Scale(gravlab.G*r.LineDensity, r3.Add(r3.Scale(across, v.n), r3.Scale(along, v.e)))
	return finiteVec("buried.Rod.Gravity", at, g)
}

// Potential is the potential, m²/s².
func (r Rod) Potential(at r3.Vec) (float64, error) {
	v, err := r.view("buried.Rod.Potential", at)
	if err != nil {
		return 0, err
	}
	if v.far {
		return r.point().Potential(at)
	}
	return finite("buried.Rod.Potential", at, gravlab.G*r.LineDensity*v.k1())
}

// Gradient is the tensor, 1/s².
func (r Rod) Gradient(at r3.Vec) (Tensor, error) {
	v, err := r.view("buried.Rod.Gradient", at)
	if err != nil {
		return Tensor{}, err
	}
	if v.far {
		return r.point().Gradient(at)
	}
	i1, i2 := 1/(v.r1*v.r1*v.r1), 1/(v.r2*v.r2*v.r2)
	k3 := v.k3()
	ends := v.s2*i2 - v.s1*i1
	ee, nn, en := -ends+k3, ends+2*k3, v.h*(i1-i2)
	if v.h == 0 {
		nn, en = 0, 0
	}
	e, n := v.e, v.n
	t := Tensor{
		XX: -k3 + ee*e.X*e.X + nn*n.X*n.X + 2*en*e.X*n.X,
		YY: -k3 + ee*e.Y*e.Y + nn*n.Y*n.Y + 2*en*e.Y*n.Y,
		ZZ: -k3 + ee*e.Z*e.Z + nn*n.Z*n.Z + 2*en*e.Z*n.Z,
		XY: ee*e.X*e.Y + nn*n.X*n.Y + en*(e.X*n.Y+e.Y*n.X),
		XZ: ee*e.X*e.Z + nn*n.X*n.Z + en*(e.X*n.Z+e.Z*n.X),
		YZ: ee*e.Y*e.Z + nn*n.Y*n.Z + en*(e.Y*n.Z+e.Z*n.Y),
	}
	return finiteTensor("buried.Rod.Gradient", at, t.scale(gravlab.G*r.LineDensity))
}
