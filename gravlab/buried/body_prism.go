package buried

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// A Prism is a right rectangular block with sides along the axes (see Rotated
// for others), from the corner Min (south, west, top) to the corner Max (north,
// east, bottom).
//
// On a face, an edge or a corner, and on their lines outside, U and g are
// finite and continuous and are returned. The tensor jumps on a face and is
// infinite on an edge or at a corner: an error there.
//
// Source: the corner sums of D. Nagy, Geophysics 31 (1966) 362, and D. Nagy,
// G. Papp, J. Benedek, J. Geodesy 74 (2000) 552 (citations from memory). The
// sum of the logarithms that share a factor is taken as one logarithm of a
// product, the sum of four arctangents as one angle of a product of complex
// numbers: it is the solid angle of a face. With h half the space diagonal and
// d the distance from the centre, three ways share the work:
//
//   - d > 40 h: monopole, quadrupole and hexadecapole of the block; relative
//     error below 3e-10, falling as (h/d)^6. (Corner sums lose everything
//     there: at 1e5 sizes they return noise or zero.)
//   - 3 h < d < 40 h and a flat or needle-like block (d³ > 1e5 V): Gauss
//     points in the volume, relative error below 1e-11.
//   - else the corner sums, relative error about 1e-16 d³/V outside.
type Prism struct {
	Min, Max r3.Vec  // corners, m
	Contrast float64 // density contrast, kg/m³, signed
}

// Validate reports every field that cannot be used.
func (p Prism) Validate() error {
	const fn = "buried.Prism"
	err := errors.Join(
		checkVec(fn, "Min", p.Min),
		checkVec(fn, "Max", p.Max),
		checkContrast(fn, "Contrast", p.Contrast))
	if err == nil && !(p.Max.X > p.Min.X && p.Max.Y > p.Min.Y && p.Max.Z > p.Min.Z) {
		err = arg.Bad(fn, "Max", p.Max, "a corner north of, east of and below Min")
	}
	return err
}

// Mass is the excess mass, kg.
func (p Prism) Mass() float64 {
	return (p.Max.X - p.Min.X) * (p.Max.Y - p.Min.Y) * (p.Max.Z - p.Min.Z) * p.Contrast
}

// block is a prism as one station sees it: its sides less the station.
type block struct{ x1, x2, y1, y2, z1, z2 float64 }

// method is how to work a block out.
type method int

const (
	byCorners method = iota
	byMultipole
	byQuadrature
	refused
)

// relativeTo returns the block as a station sees it.
func (p *Prism) relativeTo(at r3.Vec) block {
	return block{p.Min.X - at.X, p.Max.X - at.X, p.Min.Y - at.Y, p.Max.Y - at.Y, p.Min.Z - at.Z, p.Max.Z - at.Z}
}

// method says how to work out the prism at a station. Its powers, up to the
// twelfth, must stay finite.
func (p *Prism) method(at r3.Vec) method {
	dx, dy, dz := p.Max.X-p.Min.X, p.Max.Y-p.Min.Y, p.Max.Z-p.Min.Z
	sx, sy, sz := p.Max.X-at.X+(p.Min.X-at.X), p.Max.Y-at.Y+(p.Min.Y-at.Y), p.Max.Z-at.Z+(p.Min.Z-at.Z)
	size := dx*dx + dy*dy + dz*dz // (2h)²
	dist := sx*sx + sy*sy + sz*sz // (2d)²
	switch {
	case !(dx > 1e-20 && dy > 1e-20 && dz > 1e-20 && size < 1e20 && dist < 1e40 && contrastOK(p.Contrast)):
		return refused
	case dist <= 9*size:
		return byCorners
	case dist > 1600*size:
		return byMultipole
	case dist*dist*dist > 64e10*(dx*dx)*(dy*dy)*(dz*dz):
		return byQuadrature
	}
	return byCorners
}

func (p Prism) refuse(fn string, at r3.Vec) error {
	if err := p.Validate(); err != nil {
		return err
	}
	if !finite3(at) {
		return tooFar(fn, at)
	}
	return badStation(fn, at, "a prism with sides from 1e-20 to 1e10 m and a station within 1e20 m")
}

// GZ is the downward gravity, m/s².
func (p Prism) GZ(at r3.Vec) (float64, error) {
	switch p.method(at) {
	case byCorners:
		return gravlab.G * p.Contrast * gzCorners(p.Min.X-at.X, p.Max.X-at.X, p.Min.Y-at.Y, p.Max.Y-at.Y, p.Min.Z-at.Z, p.Max.Z-at.Z), nil
	case byMultipole:
		e := p.expand(at)
		return gravlab.G * p.Contrast * e.gz(), nil
	case byQuadrature:
		return gravlab.G * p.Contrast * p.quadrature(at).g.Z, nil
	}
	return 0, p.refuse("buried.Prism.GZ", at)
}

// Gravity is the gravity vector, m/s².
func (p Prism) Gravity(at r3.Vec) (r3.Vec, error) {
	var g r3.Vec
	b := p.relativeTo(at)
	switch p.method(at) {
	case byCorners:
		g = r3.Vec{
			X: gzCorners(b.y1, b.y2, b.z1, b.z2, b.x1, b.x2),
			Y: gzCorners(b.z1, b.z2, b.x1, b.x2, b.y1, b.y2),
			Z: gzCorners(b.x1, b.x2, b.y1, b.y2, b.z1, b.z2),
		}
	case byMultipole:
		e := p.expand(at)
		g = e.gravity()
	case byQuadrature:
		g = p.quadrature(at).g
	default:
		return r3.Vec{}, p.refuse("buried.Prism.Gravity", at)
	}
	return r3.Scale(gravlab.G*p.Contrast, g), nil
}

// Potential is the potential, m²/s².
func (p Prism) Potential(at r3.Vec) (float64, error) {
	u := 0.0
	b := p.relativeTo(at)
	switch p.method(at) {
	case byCorners:
		u = b.potential()
	case byMultipole:
		e := p.expand(at)
		u = e.potential()
	case byQuadrature:
		u = p.quadrature(at).u
	default:
		return 0, p.refuse("buried.Prism.Potential", at)
	}
	return gravlab.G * p.Contrast * u, nil
}

// Gradient is the tensor, 1/s². On a face, an edge or a corner: an error.
func (p Prism) Gradient(at r3.Vec) (Tensor, error) {
	const fn = "buried.Prism.Gradient"
	var t Tensor
	b := p.relativeTo(at)
	switch p.method(at) {
	case byCorners:
		if b.onSurface() {
			return Tensor{}, badStation(fn, at, "a station off the faces, edges and corners, where the tensor jumps or is infinite")
		}
		t = b.tensor()
	case byMultipole:
		e := p.expand(at)
		t = e.tensor()
	case byQuadrature:
		t = p.quadrature(at).t
	default:
		return Tensor{}, p.refuse(fn, at)
	}
	return finiteTensor(fn, at, t.scale(gravlab.G*p.Contrast))
}

// onSurface reports whether the station lies on a face, an edge or a corner.
func (b *block) onSurface() bool {
	inside := b.x1 <= 0 && b.x2 >= 0 && b.y1 <= 0 && b.y2 >= 0 && b.z1 <= 0 && b.z2 >= 0
	return inside && (b.x1 == 0 || b.x2 == 0 || b.y1 == 0 || b.y2 == 0 || b.z1 == 0 || b.z2 == 0)
}

// multipole is the expansion of a block about its centre. The odd orders vanish by
// symmetry; orders 2 and 4 are a linear and a quadratic form in the squares of
// the coordinates.
type multipole struct {
	x, y, z float64 // from the station to the centre
	r2      float64
	volume  float64
	c       [3]float64 // S2 = sum c_i w_i, w = (x², y², z²)
	q       [6]float64 // S4 = sum q_ij w_i w_j: xx xy xz yy yz zz
}

func (p *Prism) expand(at r3.Vec) (e multipole) {
	hx, hy, hz := (p.Max.X-p.Min.X)/2, (p.Max.Y-p.Min.Y)/2, (p.Max.Z-p.Min.Z)/2
	e.x, e.y, e.z = (p.Min.X-at.X)+hx, (p.Min.Y-at.Y)+hy, (p.Min.Z-at.Z)+hz
	e.volume = 8 * hx * hy * hz
	e.r2 = e.x*e.x + e.y*e.y + e.z*e.z
	// The mean squares of the coordinates inside.
	a, b, c := hx*hx/3, hy*hy/3, hz*hz/3
	e.c = [3]float64{a - (b+c)/2, b - (a+c)/2, c - (a+b)/2}
	// Fourth moments, mean x⁴ = 9/5 a². Order 4 of the expansion, with
	// R² = wx + wy + wz put in, is (8 wx² + 3 wy² + 3 wz² - 24 wx wy
	// - 24 wx wz + 6 wy wz)/24 for x⁴, and for x² y² (times 1/4)
	// -12 wx² - 12 wy² + 3 wz² + 81 wx wy - 9 wx wz - 9 wy wz.
	x4, y4, z4 := 1.8*a*a/24, 1.8*b*b/24, 1.8*c*c/24
	xy, xz, yz := a*b/4, a*c/4, b*c/4
	e.q = [6]float64{
		24*x4 + 9*(y4+z4) - 12*(xy+xz) + 3*yz,
		(-72*(x4+y4) + 18*z4 + 81*xy - 9*(xz+yz)) / 2,
		(-72*(x4+z4) + 18*y4 + 81*xz - 9*(xy+yz)) / 2,
		24*y4 + 9*(x4+z4) - 12*(xy+yz) + 3*xz,
		(-72*(y4+z4) + 18*x4 + 81*yz - 9*(xy+xz)) / 2,
		24*z4 + 9*(x4+y4) - 12*(xz+yz) + 3*xy,
	}
	return e
}

// forms returns S2, S4 and half the derivatives of S4 by x², y², z².
func (p *multipole) forms() (s2, s4, dx, dy, dz float64) {
	wx, wy, wz := p.x*p.x, p.y*p.y, p.z*p.z
	q := &p.q
	dx = q[0]*wx + q[1]*wy + q[2]*wz
	dy = q[1]*wx + q[3]*wy + q[4]*wz
	dz = q[2]*wx + q[4]*wy + q[5]*wz
	return p.c[0]*wx + p.c[1]*wy + p.c[2]*wz, dx*wx + dy*wy + dz*wz, dx, dy, dz
}

// potential is volume times 1/R + S2/R⁵ + S4/R⁹.
func (p *multipole) potential() float64 {
	s2, s4, _, _, _ := p.forms()
	i2 := 1 / p.r2
	return p.volume * math.Sqrt(i2) * (1 + i2*i2*(s2+i2*i2*s4))
}

// radial returns f and the factors of S2 and S4 in the gradient: minus the
// potential's gradient by (x, y, z) is x_i (f) less the gradients of the forms.
func (p *multipole) radial(s2, s4 float64) (f, f5, f9 float64) {
	i2 := 1 / p.r2
	f3 := p.volume * i2 * math.Sqrt(i2)
	f5 = f3 * i2
	f9 = f5 * i2 * i2
	return f3 + 5*s2*f5*i2 + 9*s4*f9*i2, f5, f9
}

func (p *multipole) gz() float64 {
	s2, s4, _, _, dz := p.forms()
	f, f5, f9 := p.radial(s2, s4)
	return p.z * (f - 2*p.c[2]*f5 - 4*dz*f9)
}

func (p *multipole) gravity() r3.Vec {
	s2, s4, dx, dy, dz := p.forms()
	f, f5, f9 := p.radial(s2, s4)
	return r3.Vec{
		X: p.x * (f - 2*p.c[0]*f5 - 4*dx*f9),
		Y: p.y * (f - 2*p.c[1]*f5 - 4*dy*f9),
		Z: p.z * (f - 2*p.c[2]*f5 - 4*dz*f9),
	}
}

func (p *multipole) tensor() Tensor {
	s2, s4, dx, dy, dz := p.forms()
	i2 := 1 / p.r2
	f3 := p.volume * i2 * math.Sqrt(i2)
	f5, f7, f9 := f3*i2, f3*i2*i2, f3*i2*i2*i2
	f11, f13 := f9*i2, f9*i2*i2
	// Second derivatives of the potential by x_i, x_j.
	all := -f3 - 5*s2*f7 - 9*s4*f11               // times delta_ij
	both := 3*f5 + 35*s2*f9 + 99*s4*f13           // times x_i x_j
	g := [3]float64{dx, dy, dz}                   // S4 gradient is 4 x_i g_i
	q := &p.q                                     // S4 second derivative: 4 delta g_i + 8 x_i x_j q_ij
	form := func(i, j int, qij float64) float64 { // times x_i x_j
		return both - 10*(p.c[i]+p.c[j])*f7 - 36*(g[i]+g[j])*f11 + 8*qij*f9
	}
	same := func(i int) float64 { return all + 2*p.c[i]*f5 + 4*g[i]*f9 }
	return Tensor{
		XX: p.x*p.x*form(0, 0, q[0]) + same(0),
		XY: p.x * p.y * form(0, 1, q[1]),
		XZ: p.x * p.z * form(0, 2, q[2]),
		YY: p.y*p.y*form(1, 1, q[3]) + same(1),
		YZ: p.y * p.z * form(1, 2, q[4]),
		ZZ: p.z*p.z*form(2, 2, q[5]) + same(2),
	}
}

// field is what a block does at a station, per G rho.
type field struct {
	u float64
	g r3.Vec
	t Tensor
}

// quadrature replaces the prism by Gauss points. Its sides are taken from its own
// corners, not from differences of distances to the station.
func (p *Prism) quadrature(at r3.Vec) field {
	b := p.relativeTo(at)
	d := math.Sqrt((b.x1+b.x2)*(b.x1+b.x2)+(b.y1+b.y2)*(b.y1+b.y2)+(b.z1+b.z2)*(b.z1+b.z2)) / 2
	rule := func(side float64) *gaussRule {
		switch h := side / 2 / d; {
		case h < 1e-3:
			return &gauss2
		case h < 0.05:
			return &gauss4
		}
		return &gauss8
	}
	dx, dy, dz := p.Max.X-p.Min.X, p.Max.Y-p.Min.Y, p.Max.Z-p.Min.Z
	rx, ry, rz := rule(dx), rule(dy), rule(dz)
	var f field
	for i, s := range rx.at {
		for j, t := range ry.at {
			for k, u := range rz.at {
				v := r3.Vec{X: b.x1 + s*dx, Y: b.y1 + t*dy, Z: b.z1 + u*dz}
				m := rx.weight[i] * ry.weight[j] * rz.weight[k]
				r := math.Sqrt(v.X*v.X + v.Y*v.Y + v.Z*v.Z)
				f.u += m / r
				f.g = r3.Add(f.g, r3.Scale(m/(r*r*r), v))
				f.t = f.t.add(pointTensor(m, v, r))
			}
		}
	}
	volume := dx * dy * dz
	return field{u: volume * f.u, g: r3.Scale(volume, f.g), t: f.t.scale(volume)}
}
