package buried

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// A Point is an excess mass without size. At the point itself nothing is
// defined: every method returns an error there.
//
// Source: Newton's law, g = G m r/r³.
type Point struct {
	At   r3.Vec  // m
	Mass float64 // excess mass, kg, signed
}

// Validate reports every field that cannot be used.
func (p Point) Validate() error {
	return errors.Join(
		checkVec("buried.Point", "At", p.At),
		arg.Finite("buried.Point", "Mass", p.Mass, "excess mass in kg"))
}

// from returns the vector from the station to the point and its length, or an
// error. Sizes are kept within 1e-100 to 1e100 m so that cubes stay finite.
func (p Point) from(fn string, at r3.Vec) (r3.Vec, float64, error) {
	d := r3.Vec{X: p.At.X - at.X, Y: p.At.Y - at.Y, Z: p.At.Z - at.Z}
	r := math.Sqrt(d.X*d.X + d.Y*d.Y + d.Z*d.Z)
	if !(r > 1e-100 && r < 1e100) || !isFinite(p.Mass) {
		return d, r, p.refuse(fn, at)
	}
	return d, r, nil
}

func (p Point) refuse(fn string, at r3.Vec) error {
	if err := p.Validate(); err != nil {
		return err
	}
	if at == p.At {
		return badStation(fn, at, "any station but the point itself")
	}
	return tooFar(fn, at)
}

// GZ is the downward gravity, m/s².
func (p Point) GZ(at r3.Vec) (float64, error) {
	d, r, err := p.from("buried.Point.GZ", at)
	if err != nil {
		return 0, err
	}
	return finite("buried.Point.GZ", at, gravlab.G*p.Mass*d.Z/(r*r*r))
}

// Gravity is the gravity vector, m/s².
func (p Point) Gravity(at r3.Vec) (r3.Vec, error) {
	d, r, err := p.from("buried.Point.Gravity", at)
	if err != nil {
		return r3.Vec{}, err
	}
	return finiteVec("buried.Point.Gravity", at, r3.Scale(gravlab.G*p.Mass/(r*r*r), d))
}

// Potential is G m/r, m²/s².
func (p Point) Potential(at r3.Vec) (float64, error) {
	_, r, err := p.from("buried.Point.Potential", at)
	if err != nil {
		return 0, err
	}
	return finite("buried.Point.Potential", at, gravlab.G*p.Mass/r)
}

// Gradient is the tensor G m (3 r r - r²)/r⁵, 1/s².
func (p Point) Gradient(at r3.Vec) (Tensor, error) {
	d, r, err := p.from("buried.Point.Gradient", at)
	if err != nil {
		return Tensor{}, err
	}
	return finiteTensor("buried.Point.Gradient", at, pointTensor(gravlab.G*p.Mass, d, r))
}

func pointTensor(gm float64, d r3.Vec, r float64) Tensor {
	f := 1 / r
	x, y, z := d.X*f, d.Y*f, d.Z*f
	f *= gm * f * f
	return Tensor{
		XX: f * (3*x*x - 1), XY: f * 3 * x * y, XZ: f * 3 * x * z,
		YY: f * (3*y*y - 1), YZ: f * 3 * y * z,
		ZZ: f * (3*z*z - 1),
	}
}

// A Sphere is a ball of uniform density contrast. Outside it pulls as a point;
// inside g falls linearly to zero at the centre and the tensor is -4/3 pi G
// rho on the diagonal. On the surface g is continuous; the tensor jumps there
// and is an error.
//
// Source: the shell theorem (Newton 1687), in any textbook of the potential.
type Sphere struct {
	Centre   r3.Vec  // m
	Radius   float64 // m
	Contrast float64 // density contrast, kg/m³, signed: a void is negative
}

// Validate reports every field that cannot be used.
func (s Sphere) Validate() error {
	return errors.Join(
		checkVec("buried.Sphere", "Centre", s.Centre),
		arg.Positive("buried.Sphere", "Radius", s.Radius, "length in m"),
		checkContrast("buried.Sphere", "Contrast", s.Contrast))
}

// Mass is the excess mass, 4/3 pi R³ times the contrast, kg.
func (s Sphere) Mass() float64 {
	return 4 * math.Pi / 3 * s.Radius * s.Radius * s.Radius * s.Contrast
}

// from returns the vector from the station to the centre and its length.
func (s *Sphere) from(at r3.Vec) (d r3.Vec, r float64, ok bool) {
	d = r3.Vec{X: s.Centre.X - at.X, Y: s.Centre.Y - at.Y, Z: s.Centre.Z - at.Z}
	r = math.Sqrt(d.X*d.X + d.Y*d.Y + d.Z*d.Z)
	return d, r, s.Radius > 1e-100 && s.Radius < 1e100 && r < 1e100 && contrastOK(s.Contrast)
}

func (s Sphere) refuse(fn string, at r3.Vec) error {
	if err := s.Validate(); err != nil {
		return err
	}
	return tooFar(fn, at)
}

// pull is g over distance: G M/r³, or the same with r = R inside.
func (s *Sphere) pull(r float64) float64 {
	const k = 4 * math.Pi / 3 * gravlab.G
	if r <= s.Radius {
		return k * s.Contrast
	}
	q := s.Radius / r
	return k * s.Contrast * (q * q * q)
}

// GZ is the downward gravity, m/s².
func (s Sphere) GZ(at r3.Vec) (float64, error) {
	d, r, ok := s.from(at)
	if !ok {
		return 0, s.refuse("buried.Sphere.GZ", at)
	}
	return s.pull(r) * d.Z, nil
}

// Gravity is the gravity vector, m/s².
func (s Sphere) Gravity(at r3.Vec) (r3.Vec, error) {
	d, r, ok := s.from(at)
	if !ok {
		return r3.Vec{}, s.refuse("buried.Sphere.Gravity", at)
	}
	return r3.Scale(s.pull(r), d), nil
}

// Potential is the potential, m²/s²: G M/r outside, 2/3 pi G rho (3 R² - r²)
// inside.
func (s Sphere) Potential(at r3.Vec) (float64, error) {
	_, r, ok := s.from(at)
	if !ok {
		return 0, s.refuse("buried.Sphere.Potential", at)
	}
	if r <= s.Radius {
		return pi2G / 3 * s.Contrast * (3*s.Radius*s.Radius - r*r), nil
	}
	return s.pull(r) * r * r, nil
}

// Gradient is the tensor, 1/s². On the surface it jumps: an error.
func (s Sphere) Gradient(at r3.Vec) (Tensor, error) {
	d, r, ok := s.from(at)
	if !ok || r == s.Radius {
		return Tensor{}, s.refuseGradient(at, ok)
	}
	f := s.pull(r)
	if r < s.Radius {
		return Tensor{XX: -f, YY: -f, ZZ: -f}, nil
	}
	i := 1 / r
	x, y, z := d.X*i, d.Y*i, d.Z*i
	f3 := 3 * f
	fx, fy := f3*x, f3*y
	return Tensor{
		XX: fx*x - f, XY: fx * y, XZ: fx * z,
		YY: fy*y - f, YZ: fy * z,
		ZZ: f3*z*z - f,
	}, nil
}

func (s Sphere) refuseGradient(at r3.Vec, ok bool) error {
	if !ok {
		return s.refuse("buried.Sphere.Gradient", at)
	}
	return badStation("buried.Sphere.Gradient", at, "a station off the surface, where the tensor jumps")
}
