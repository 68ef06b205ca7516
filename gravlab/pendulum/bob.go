package pendulum

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// A Shape names the form of a bob.
type Shape int

const (
	Point    Shape = iota // all mass at the centre
	Sphere                // Radius
	Cylinder              // Radius, and Height along the rod
	Box                   // Along the swing, Across it, and Height along the rod
)

// A Bob is a uniform body whose centre hangs at Length. Fields that its shape
// does not use are not looked at.
type Bob struct {
	Shape  Shape
	Mass   float64 // kg
	Radius float64 // m
	Height float64 // m, along the rod
	Along  float64 // m, side in the plane of the swing
	Across float64 // m, side across it
}

// Validate says what about b cannot be.
func (b Bob) Validate() error {
	const fn = "pendulum.Bob"
	if err := checkMass(fn, "Mass", b.Mass); err != nil {
		return err
	}
	size := func(name string, v float64) error {
		return arg.Between(fn, name, v, 1e-9, 1e5, "length in m")
	}
	var errs [3]error
	switch b.Shape {
	case Point:
	case Sphere:
		errs[0] = size("Radius", b.Radius)
	case Cylinder:
		errs[0], errs[1] = size("Radius", b.Radius), size("Height", b.Height)
	case Box:
		errs[0], errs[1], errs[2] = size("Along", b.Along), size("Across", b.Across), size("Height", b.Height)
	default:
		return arg.Bad(fn, "Shape", int(b.Shape), "Point, Sphere, Cylinder or Box")
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// inertia returns the moment about the bob's centre, about the axis across the
// swing, kg m².
func (b Bob) inertia() float64 {
	switch b.Shape {
	case Sphere:
		return 0.4 * b.Mass * b.Radius * b.Radius
	case Cylinder:
		return b.Mass * (3*b.Radius*b.Radius + b.Height*b.Height) / 12
	case Box:
		return b.Mass * (b.Along*b.Along + b.Height*b.Height) / 12
	}
	return 0
}

// reach is the distance from the centre to the farthest point of the bob.
func (b Bob) reach() float64 {
	switch b.Shape {
	case Sphere:
		return b.Radius
	case Cylinder:
		return math.Hypot(b.Radius, b.Height/2)
	case Box:
		return math.Hypot(math.Hypot(b.Along, b.Across), b.Height) / 2
	}
	return 0
}

// inside reports whether a place in the bob's own axes lies in it or on it.
func (b Bob) inside(s r3.Vec) bool {
	switch b.Shape {
	case Sphere:
		return r3.Norm(s) < b.Radius
	case Cylinder:
		return math.Hypot(s.X, s.Y) <= b.Radius && math.Abs(s.Z) <= b.Height/2
	case Box:
		return math.Abs(s.X) <= b.Along/2 && math.Abs(s.Y) <= b.Across/2 && math.Abs(s.Z) <= b.Height/2
	}
	return s == r3.Vec{}
}

// Attraction returns the pull of the bob (m/s²) at a station, and an estimate of
// its error (m/s²). at is the station's place from the bob's centre (m) in the
// bob's own axes: X in the plane of the swing, Y across, Z along the rod away
// from the pivot. Points and spheres are exact; cylinders and boxes are
// integrated over columns parallel to the rod, doubling the number of columns
// until the answer stands to 1e-13 or 96 by 96 are used: the error then says
// what is left, which is much only within a tenth of the size from the surface.
// Beyond 1000 times the size mass and quadrupole serve (relative error 1e-12).
// A station inside the bob is refused; so is one on its surface, spheres apart.
func (b Bob) Attraction(at r3.Vec) (pull r3.Vec, uncertain float64, err error) {
	if err := b.Validate(); err != nil {
		return r3.Vec{}, 0, err
	}
	return b.attraction(at)
}

func (b Bob) attraction(at r3.Vec) (r3.Vec, float64, error) {
	const fn = "pendulum.Bob.Attraction"
	d := r3.Norm(at)
	if !(d <= 1e9) {
		return r3.Vec{}, 0, arg.Bad(fn, "at", at, "a finite place in m")
	}
	if b.inside(at) || d < 1e-9 {
		return r3.Vec{}, 0, arg.Bad(fn, "at", at, "a place outside the bob")
	}
	gm := gravlab.G * b.Mass
	n := r3.Scale(1/d, at)
	switch {
	case b.Shape == Point || b.Shape == Sphere:
		return r3.Scale(-gm/(d*d), n), 0, nil
	case d > 1000*b.reach():
		return b.far(n, d), 1e-12 * gm / (d * d), nil
	}
	last, _ := b.columns(at, 0)
	for level := 1; ; level++ {
		next, more := b.columns(at, level)
		e := r3.Norm(r3.Sub(next, last))
		if e <= 1e-13*r3.Norm(next) || !more {
			return next, e, nil
		}
		last = next
	}
}

// far is the pull of mass and quadrupole at distance d in the direction n.
func (b Bob) far(n r3.Vec, d float64) r3.Vec {
	// Mean squares of the coordinates.
	var x2, y2, z2 float64
	if b.Shape == Cylinder {
		x2, y2, z2 = b.Radius*b.Radius/4, b.Radius*b.Radius/4, b.Height*b.Height/12
	} else {
		x2, y2, z2 = b.Along*b.Along/12, b.Across*b.Across/12, b.Height*b.Height/12
	}
	r2 := x2 + y2 + z2
	q := r3.Vec{X: (3*x2 - r2) * n.X, Y: (3*y2 - r2) * n.Y, Z: (3*z2 - r2) * n.Z}
	qq := r3.Dot(n, q)
	gm := gravlab.G * b.Mass
	return r3.Add(r3.Scale(-gm/(d*d)*(1+2.5*qq/(d*d)), n), r3.Scale(gm/(d*d*d*d), q))
}

// rules holds Gauss's nodes and weights on 0..1 for each level of refinement.
var rules = sync.OnceValue(func() [5]struct{ x, w []float64 } {
	var r [5]struct{ x, w []float64 }
	for i := range r {
		n := 6 << i
		r[i].x, r[i].w = make([]float64, n), make([]float64, n)
		quad.Legendre{}.FixedLocations(r[i].x, r[i].w, 0, 1)
	}
	return r
})

// columns sums the bob's columns, each integrated along the rod in closed form.
func (b Bob) columns(at r3.Vec, level int) (pull r3.Vec, more bool) {
	all := rules()
	r := &all[level]
	more = level+1 < len(all)
	z1, z2 := -b.Height/2-at.Z, b.Height/2-at.Z
	gm := gravlab.G * b.Mass / b.Height
	if b.Shape == Box {
		// Mean over the face.
		for i, u := range r.x {
			dx := (u-0.5)*b.Along - at.X
			for j, v := range r.x {
				dy := (v-0.5)*b.Across - at.Y
				side, axial := column(dx*dx+dy*dy, z1, z2, b.Height)
				w := r.w[i] * r.w[j]
				pull.X += w * side * dx
				pull.Y += w * side * dy
				pull.Z += w * axial
			}
		}
		return r3.Scale(gm, pull), more
	}
	// The cylinder looks the same all round: work in the plane of the station.
	rho := math.Hypot(at.X, at.Y)
	turns := 2 * len(r.x)
	var radial, axial float64
	for j := range turns {
		// Half a turn serves for both; the midpoints of equal arcs.
		cos := math.Cos(math.Pi * (float64(j) + 0.5) / float64(turns))
		for i, u := range r.x {
			c := u * b.Radius
			dx := c*cos - rho
			side, a := column(c*c-2*c*rho*cos+rho*rho, z1, z2, b.Height)
			w := 2 * u * r.w[i] / float64(turns)
			radial += w * side * dx
			axial += w * a
		}
	}
	pull.Z = axial
	if rho > 0 {
		pull.X, pull.Y = radial*at.X/rho, radial*at.Y/rho
	}
	return r3.Scale(gm, pull), more
}

// column integrates 1/r³ and z/r³ along a line parallel to z from z1 to z2 at
// the squared distance s2, in forms that keep their digits when the ends are far
// away or on one side: length is z2 - z1, which cannot be had from them there.
func column(s2, z1, z2, length float64) (side, axial float64) {
	r1, r2 := math.Sqrt(s2+z1*z1), math.Sqrt(s2+z2*z2)
	axial = length * (z2 + z1) / (r1 * r2 * (r1 + r2))
	if z1*z2 > 0 {
		side = length * (z2 + z1) / (r1 * r2 * (z2*r1 + z1*r2))
	} else {
		side = (z2/r2 - z1/r1) / s2
	}
	return side, axial
}
