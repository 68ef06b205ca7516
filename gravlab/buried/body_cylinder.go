package buried

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// A Cylinder is a solid cylinder of finite length with its axis in any
// direction: {Z: 1} is a shaft or a tank standing up, {Y: 1} a tunnel that runs
// east. On its surface U and g are finite and continuous and are returned; the
// tensor jumps there (and is infinite on the rims) and is an error.
//
// Method: past three half-diagonals the expansion in Legendre functions, whose
// moments a cylinder has in closed form, is summed until it no longer changes.
// Nearer, the volume integral is done by hand twice (along the axis and along
// the radius), which leaves integrals over the angle around the rim, written so
// that no two nearly equal numbers are subtracted; they are done by Gauss
// points crowded towards the near side of the rim. Relative error of U and g
// below 1e-11 everywhere, of the tensor 1e-10 away from the rim; the tests
// measure it against closed forms on the axis, complete elliptic integrals and
// direct quadrature.
//
// Source: the potential of a disc as an integral around its rim, as in O. D.
// Kellogg, Foundations of Potential Theory (1929), chapter III; the tensor is
// also the field of a solenoid, N. Derby, S. Olbert, Am. J. Phys. 78 (2010) 229
// (citations from memory), which a test uses.
type Cylinder struct {
	Centre   r3.Vec  // middle of the axis, m
	Axis     r3.Vec  // direction of the axis, of any length but zero
	Radius   float64 // m
	Length   float64 // along the axis, m
	Contrast float64 // density contrast, kg/m³, signed
}

// Validate reports every field that cannot be used.
func (c Cylinder) Validate() error {
	const fn = "buried.Cylinder"
	err := errors.Join(
		checkVec(fn, "Centre", c.Centre),
		checkVec(fn, "Axis", c.Axis),
		arg.Positive(fn, "Radius", c.Radius, "length in m"),
		arg.Positive(fn, "Length", c.Length, "length in m"),
		checkContrast(fn, "Contrast", c.Contrast))
	if n := r3.Norm(c.Axis); err == nil && !(n > 1e-100 && n < 1e100) {
		err = arg.Bad(fn, "Axis", c.Axis, "a direction, such as {Z: 1}")
	}
	return err
}

// Mass is the excess mass, kg.
func (c Cylinder) Mass() float64 {
	return math.Pi * c.Radius * c.Radius * c.Length * c.Contrast
}

// A Disc is a thin horizontal sheet of mass with a circular rim. On the disc
// gz jumps: everything but the potential is an error there.
//
// Method and source: as for Cylinder.
type Disc struct {
	Centre         r3.Vec  // m
	Radius         float64 // m
	SurfaceDensity float64 // contrast times thickness, kg/m², signed
}

// Validate reports every field that cannot be used.
func (d Disc) Validate() error {
	const fn = "buried.Disc"
	return errors.Join(
		checkVec(fn, "Centre", d.Centre),
		arg.Positive(fn, "Radius", d.Radius, "length in m"),
		arg.Finite(fn, "SurfaceDensity", d.SurfaceDensity, "surface density in kg/m²"))
}

// Mass is the excess mass, kg.
func (d Disc) Mass() float64 { return math.Pi * d.Radius * d.Radius * d.SurfaceDensity }

// around is what an axisymmetric body does at a station, in its own cylinder
// coordinates (s from the axis, z along it, both seen from the body's centre).
// Entries are the potential and its derivatives by s and z; over is
// (dU/ds)/s, the curvature across, which is finite on the axis.
type around struct{ u, us, uz, uss, usz, uzz, over float64 }

// frame is a station in a body's own cylinder coordinates.
type frame struct {
	axis, out r3.Vec // unit vectors along the axis and away from it
	s, z      float64
}

func frameOf(centre, axis, at r3.Vec) frame {
	f := frame{axis: r3.Scale(1/r3.Norm(axis), axis)}
	d := r3.Sub(at, centre)
	f.z = r3.Dot(d, f.axis)
	side := r3.Sub(d, r3.Scale(f.z, f.axis))
	f.s = r3.Norm(side)
	if f.s > 0 {
		f.out = r3.Scale(1/f.s, side)
	}
	return f
}

func (f *frame) gravity(a around) r3.Vec {
	return r3.Add(r3.Scale(a.uz, f.axis), r3.Scale(a.us, f.out))
}

func (f *frame) tensor(a around) Tensor {
	// over on the diagonal, the rest on the dyads of the two directions.
	zz, ss, sz := a.uzz-a.over, a.uss-a.over, a.usz
	if f.s == 0 {
		ss, sz = 0, 0
	}
	e, n := f.axis, f.out
	return Tensor{
		XX: a.over + zz*e.X*e.X + ss*n.X*n.X + 2*sz*e.X*n.X,
		YY: a.over + zz*e.Y*e.Y + ss*n.Y*n.Y + 2*sz*e.Y*n.Y,
		ZZ: a.over + zz*e.Z*e.Z + ss*n.Z*n.Z + 2*sz*e.Z*n.Z,
		XY: zz*e.X*e.Y + ss*n.X*n.Y + sz*(e.X*n.Y+e.Y*n.X),
		XZ: zz*e.X*e.Z + ss*n.X*n.Z + sz*(e.X*n.Z+e.Z*n.X),
		YZ: zz*e.Y*e.Z + ss*n.Y*n.Z + sz*(e.Y*n.Z+e.Z*n.Y),
	}
}

// at works the cylinder out at a station, per G rho.
func (c *Cylinder) at(fn string, at r3.Vec) (frame, around, error) {
	n := c.Axis.X*c.Axis.X + c.Axis.Y*c.Axis.Y + c.Axis.Z*c.Axis.Z
	half := c.Length / 2
	h := math.Hypot(c.Radius, half)
	d := r3.Norm(r3.Sub(at, c.Centre))
	if !(c.Radius > 1e-20 && c.Length > 1e-20 && h < 1e20 && d < 1e25 && n > 1e-200 && n < 1e200 && contrastOK(c.Contrast)) {
		if err := c.Validate(); err != nil {
			return frame{}, around{}, err
		}
		return frame{}, around{}, tooFar(fn, at)
	}
	f := frameOf(c.Centre, c.Axis, at)
	if d > 3*h {
		return f, farAround(c.Radius, half, f.s, f.z, math.Pi*c.Radius*c.Radius*c.Length), nil
	}
	return f, cylinderAround(c.Radius, f.s, f.z, half), nil
}

// GZ is the downward gravity, m/s².
func (c Cylinder) GZ(at r3.Vec) (float64, error) {
	g, err := c.Gravity(at)
	return g.Z, err
}

// Gravity is the gravity vector, m/s².
func (c Cylinder) Gravity(at r3.Vec) (r3.Vec, error) {
	const fn = "buried.Cylinder.Gravity"
	f, a, err := c.at(fn, at)
	if err != nil {
		return r3.Vec{}, err
	}
	return finiteVec(fn, at, r3.Scale(gravlab.G*c.Contrast, f.gravity(a)))
}

// Potential is the potential, m²/s².
func (c Cylinder) Potential(at r3.Vec) (float64, error) {
	const fn = "buried.Cylinder.Potential"
	_, a, err := c.at(fn, at)
	if err != nil {
		return 0, err
	}
	return finite(fn, at, gravlab.G*c.Contrast*a.u)
}

// Gradient is the tensor, 1/s². On the surface: an error.
func (c Cylinder) Gradient(at r3.Vec) (Tensor, error) {
	const fn = "buried.Cylinder.Gradient"
	f, a, err := c.at(fn, at)
	if err != nil {
		return Tensor{}, err
	}
	z := math.Abs(f.z)
	if z <= c.Length/2 && f.s == c.Radius || z == c.Length/2 && f.s <= c.Radius {
		return Tensor{}, badStation(fn, at, "a station off the surface, where the tensor jumps or is infinite")
	}
	return finiteTensor(fn, at, f.tensor(a).scale(gravlab.G*c.Contrast))
}

func (d *Disc) at(fn string, at r3.Vec) (frame, around, error) {
	r := r3.Norm(r3.Sub(at, d.Centre))
	if !(d.Radius > 1e-20 && d.Radius < 1e20 && r < 1e25 && isFinite(d.SurfaceDensity)) {
		if err := d.Validate(); err != nil {
			return frame{}, around{}, err
		}
		return frame{}, around{}, tooFar(fn, at)
	}
	f := frameOf(d.Centre, r3.Vec{Z: 1}, at)
	if r > 3*d.Radius {
		return f, farAround(d.Radius, 0, f.s, f.z, math.Pi*d.Radius*d.Radius), nil
	}
	return f, discAround(d.Radius, f.s, -f.z), nil
}

func (d *Disc) off(fn string, at r3.Vec, f frame) error {
	if f.z == 0 && f.s <= d.Radius {
		return badStation(fn, at, "a station off the disc, where gz jumps")
	}
	return nil
}

// GZ is the downward gravity, m/s².
func (d Disc) GZ(at r3.Vec) (float64, error) {
	g, err := d.Gravity(at)
	return g.Z, err
}

// Gravity is the gravity vector, m/s².
func (d Disc) Gravity(at r3.Vec) (r3.Vec, error) {
	const fn = "buried.Disc.Gravity"
	f, a, err := d.at(fn, at)
	if err == nil {
		err = d.off(fn, at, f)
	}
	if err != nil {
		return r3.Vec{}, err
	}
	return finiteVec(fn, at, r3.Scale(gravlab.G*d.SurfaceDensity, f.gravity(a)))
}

// Potential is the potential, m²/s².
func (d Disc) Potential(at r3.Vec) (float64, error) {
	const fn = "buried.Disc.Potential"
	_, a, err := d.at(fn, at)
	if err != nil {
		return 0, err
	}
	return finite(fn, at, gravlab.G*d.SurfaceDensity*a.u)
}

// Gradient is the tensor, 1/s².
func (d Disc) Gradient(at r3.Vec) (Tensor, error) {
	const fn = "buried.Disc.Gradient"
	f, a, err := d.at(fn, at)
	if err == nil {
		err = d.off(fn, at, f)
	}
	if err != nil {
		return Tensor{}, err
	}
	return finiteTensor(fn, at, f.tensor(a).scale(gravlab.G*d.SurfaceDensity))
}
