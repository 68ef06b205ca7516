package buried

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// XZ is a point of a vertical section: X north along the profile, Z down, m.
type XZ struct{ X, Z float64 }

// A Polygon is a body without ends along y (east) whose section is a polygon,
// convex or not, its vertices in order either way round. At a vertex and on an
// edge g is finite and continuous; the tensor there jumps or is infinite and is
// an error. The potential is logarithmic: -2 G times the integral of rho
// ln(r / 1 m) over the section.
//
// Source: the line integral of M. Talwani, J. L. Worzel, M. Landisman, J.
// Geophys. Res. 64 (1959) 49 (citation from memory), in the form that adds for
// each edge c/d² (dz ln(r2/r1) - dx theta), c = x1 z2 - x2 z1, theta the angle
// under which the edge is seen. Past 50 section sizes each edge is integrated
// by four Gauss points, past 1e5 the section is a line through its centroid:
// the relative error stays below 1e-10 for sections up to ten times as long as
// thick. A thin one loses digits by rounding, about 1e-15 times distance times
// size over area.
type Polygon struct {
	Vertices []XZ    // m
	Contrast float64 // density contrast, kg/m³, signed
}

// Validate reports what cannot be used: fewer than three vertices, numbers
// that are not finite, a vertex twice in a row, edges that cross, no area. It
// takes a time that grows as the square of the number of vertices; the other
// methods trust that the edges do not cross.
func (p Polygon) Validate() error {
	const fn = "buried.Polygon"
	if err := arg.AtLeast(fn, "Vertices", len(p.Vertices), 3); err != nil {
		return err
	}
	if err := checkContrast(fn, "Contrast", p.Contrast); err != nil {
		return err
	}
	n := len(p.Vertices)
	for i, v := range p.Vertices {
		name := fmt.Sprintf("Vertices[%d]", i)
		if !isFinite(v.X) || !isFinite(v.Z) || math.Abs(v.X)+math.Abs(v.Z) > 1e90 {
			return arg.Bad(fn, name, v, "two finite coordinates in m")
		}
		if v == p.Vertices[(i+1)%n] {
			return arg.Bad(fn, name, v, "a vertex unlike the next one")
		}
	}
	for i := range n {
		for j := i + 2; j < n; j++ {
			if i == 0 && j == n-1 {
				continue
			}
			if edgesCross(p.Vertices[i], p.Vertices[i+1], p.Vertices[j], p.Vertices[(j+1)%n]) {
				return arg.Bad(fn, fmt.Sprintf("Vertices[%d]", j), p.Vertices[j], fmt.Sprintf("edges that do not cross; this one crosses the edge from Vertices[%d]", i))
			}
		}
	}
	if area, _ := p.section(); area == 0 {
		return arg.Bad(fn, "Vertices", "without area", "a section with an area")
	}
	return nil
}

func edgesCross(a, b, c, d XZ) bool {
	side := func(p, q, r XZ) float64 { return (q.X-p.X)*(r.Z-p.Z) - (q.Z-p.Z)*(r.X-p.X) }
	return side(a, b, c)*side(a, b, d) < 0 && side(c, d, a)*side(c, d, b) < 0
}

// section returns the signed area and the centroid, worked out from the first
// vertex so that a section far from the origin loses nothing.
func (p *Polygon) section() (area float64, centroid XZ) {
	o := p.Vertices[0]
	var sx, sz float64
	for i := range p.Vertices {
		v := p.Vertices[i]
		w := p.Vertices[(i+1)%len(p.Vertices)]
		vx, vz, wx, wz := v.X-o.X, v.Z-o.Z, w.X-o.X, w.Z-o.Z
		c := vx*wz - wx*vz
		area += c / 2
		sx += c * (vx + wx) / 6
		sz += c * (vz + wz) / 6
	}
	if area != 0 {
		centroid = XZ{o.X + sx/area, o.Z + sz/area}
	}
	return area, centroid
}

// MassPerLength is the excess mass per metre along y, kg/m.
func (p Polygon) MassPerLength() float64 {
	if len(p.Vertices) < 3 {
		return 0
	}
	area, _ := p.section()
	return math.Abs(area) * p.Contrast
}

// regime says how far the station is.
type regime int

const (
	near regime = iota
	far
	veryFar
)

// look returns the regime of a station and the sign that makes the section's
// area positive, or an error for what the other methods cannot work with.
func (p *Polygon) look(fn string, at r3.Vec) (regime, float64, error) {
	if len(p.Vertices) < 3 || !contrastOK(p.Contrast) || !finite3(at) {
		if err := p.Validate(); err != nil {
			return near, 0, err
		}
		return near, 0, tooFar(fn, at)
	}
	o := p.Vertices[0]
	var twice, px, pz float64 // the first and the last triangle are empty
	for _, v := range p.Vertices[1:] {
		x, z := v.X-o.X, v.Z-o.Z
		twice += px*z - x*pz
		px, pz = x, z
	}
	sign := math.Copysign(1, twice)
	// Within 48 times the distance of two vertices is near for certain. Most stations are,
	// and need no box around the section.
	m := p.Vertices[len(p.Vertices)/2]
	chord := (m.X-o.X)*(m.X-o.X) + (m.Z-o.Z)*(m.Z-o.Z)
	if q := (o.X-at.X)*(o.X-at.X) + (o.Z-at.Z)*(o.Z-at.Z); q < 48*48*chord && chord > 1e-180 && twice != 0 && math.Abs(twice) < 1e150 {
		return near, sign, nil
	}
	lx, hx, lz, hz := o.X, o.X, o.Z, o.Z
	for _, v := range p.Vertices {
		lx, hx = min(lx, v.X), max(hx, v.X)
		lz, hz = min(lz, v.Z), max(hz, v.Z)
	}
	dx, dz := (lx+hx)/2-at.X, (lz+hz)/2-at.Z
	size := (hx-lx)*(hx-lx) + (hz-lz)*(hz-lz)
	d2 := dx*dx + dz*dz
	if !(size > 1e-180 && size < 1e180 && d2 < 1e180) || twice == 0 {
		if err := p.Validate(); err != nil {
			return near, 0, err
		}
		return near, 0, tooFar(fn, at)
	}
	switch {
	case d2 > 1e10*size:
		return veryFar, sign, nil
	case d2 > 2500*size:
		return far, sign, nil
	}
	return near, sign, nil
}

// line is the section drawn together in its centroid.
func (p *Polygon) line() (x, z, lambda float64) {
	area, c := p.section()
	return c.X, c.Z, math.Abs(area) * p.Contrast
}

// GZ is the downward gravity, m/s².
func (p Polygon) GZ(at r3.Vec) (float64, error) {
	where, sign, err := p.look("buried.Polygon.GZ", at)
	if err != nil {
		return 0, err
	}
	if where != near {
		g, err := p.distant(where, sign, at)
		return g.Z, err
	}
	prev := p.Vertices[len(p.Vertices)-1]
	x1, z1 := prev.X-at.X, prev.Z-at.Z
	q1 := x1*x1 + z1*z1
	sum := 0.0
	for _, v := range p.Vertices {
		x2, z2 := v.X-at.X, v.Z-at.Z
		q2 := x2*x2 + z2*z2
		// The edge from its own ends, and c from it, keep their digits far away.
		dx, dz := v.X-prev.X, v.Z-prev.Z
		prev = v
		if c := x1*dz - z1*dx; c != 0 && q1 > 0 && q2 > 0 {
			sum += c / (dx*dx + dz*dz) * (dz*0.5*math.Log(q2/q1) - dx*math.Atan2(c, x1*x2+z1*z2))
		}
		x1, z1, q1 = x2, z2, q2
	}
	return finite("buried.Polygon.GZ", at, sign*2*gravlab.G*p.Contrast*sum)
}

// Gravity is the gravity vector, m/s²; its Y is zero.
func (p Polygon) Gravity(at r3.Vec) (r3.Vec, error) {
	where, sign, err := p.look("buried.Polygon.Gravity", at)
	if err != nil {
		return r3.Vec{}, err
	}
	if where != near {
		return p.distant(where, sign, at)
	}
	var sx, sz float64
	prev := p.Vertices[len(p.Vertices)-1]
	for _, v := range p.Vertices {
		e := edgeFrom(at, prev, v)
		prev = v
		if e.c == 0 {
			continue
		}
		l, theta := e.logAngle()
		sx += e.c / e.d2 * (e.dx*l + e.dz*theta)
		sz += e.c / e.d2 * (e.dz*l - e.dx*theta)
	}
	f := sign * 2 * gravlab.G * p.Contrast
	return finiteVec("buried.Polygon.Gravity", at, r3.Vec{X: f * sx, Z: f * sz})
}

// edge is one side of the section seen from a station.
type edge struct {
	x1, z1, x2, z2 float64
	dx, dz, d2     float64
	c              float64 // x1 z2 - x2 z1
}

func edgeFrom(at r3.Vec, a, b XZ) edge {
	// The edge from its own ends, and c from it, keep their digits far away.
	e := edge{x1: a.X - at.X, z1: a.Z - at.Z, x2: b.X - at.X, z2: b.Z - at.Z, dx: b.X - a.X, dz: b.Z - a.Z}
	e.d2 = e.dx*e.dx + e.dz*e.dz
	e.c = e.x1*e.dz - e.z1*e.dx
	if e.x1 == 0 && e.z1 == 0 || e.x2 == 0 && e.z2 == 0 {
		e.c = 0 // at a vertex
	}
	return e
}

// logAngle returns ln(r2/r1) and the signed angle from one end to the other.
func (e *edge) logAngle() (l, theta float64) {
	return 0.5 * math.Log((e.x2*e.x2+e.z2*e.z2)/(e.x1*e.x1+e.z1*e.z1)), math.Atan2(e.c, e.x1*e.x2+e.z1*e.z2)
}

// distant is Gravity past 50 section sizes.
func (p *Polygon) distant(where regime, sign float64, at r3.Vec) (r3.Vec, error) {
	if where == veryFar {
		x, z, lambda := p.line()
		dx, dz := x-at.X, z-at.Z
		f := 2 * gravlab.G * lambda / (dx*dx + dz*dz)
		return r3.Vec{X: f * dx, Z: f * dz}, nil
	}
	var sx, sz float64
	prev := p.Vertices[len(p.Vertices)-1]
	for _, v := range p.Vertices {
		e := edgeFrom(at, prev, v)
		prev = v
		for i, t := range gauss4.at {
			x, z := e.x1+t*e.dx, e.z1+t*e.dz
			w := e.c * gauss4.weight[i] / (x*x + z*z)
			sx += w * x
			sz += w * z
		}
	}
	f := sign * 2 * gravlab.G * p.Contrast
	return r3.Vec{X: f * sx, Z: f * sz}, nil
}

// Potential is the logarithmic potential, m²/s² (its zero: see Polygon).
func (p Polygon) Potential(at r3.Vec) (float64, error) {
	where, sign, err := p.look("buried.Polygon.Potential", at)
	if err != nil {
		return 0, err
	}
	if where == veryFar {
		x, z, lambda := p.line()
		return -2 * gravlab.G * lambda * math.Log(math.Hypot(x-at.X, z-at.Z)), nil
	}
	sum := 0.0
	prev := p.Vertices[len(p.Vertices)-1]
	for _, v := range p.Vertices {
		e := edgeFrom(at, prev, v)
		prev = v
		if e.c == 0 {
			continue
		}
		// The integral of ln r along the edge, less a half, over its length.
		mean := 0.0
		if where == far {
			for i, t := range gauss4.at {
				x, z := e.x1+t*e.dx, e.z1+t*e.dz
				mean += gauss4.weight[i] * (0.5*math.Log(x*x+z*z) - 0.5)
			}
		} else {
			_, theta := e.logAngle()
			s1, s2 := e.x1*e.dx+e.z1*e.dz, e.x2*e.dx+e.z2*e.dz
			mean = (s2*0.5*math.Log(e.x2*e.x2+e.z2*e.z2)-s1*0.5*math.Log(e.x1*e.x1+e.z1*e.z1)+e.c*theta)/e.d2 - 1.5
		}
		sum += e.c / 2 * mean
	}
	return finite("buried.Polygon.Potential", at, -sign*2*gravlab.G*p.Contrast*sum)
}

// Gradient is the tensor, 1/s². On an edge or a vertex: an error.
func (p Polygon) Gradient(at r3.Vec) (Tensor, error) {
	const fn = "buried.Polygon.Gradient"
	where, sign, err := p.look(fn, at)
	if err != nil {
		return Tensor{}, err
	}
	if where == veryFar {
		x, z, lambda := p.line()
		dx, dz := x-at.X, z-at.Z
		r2 := dx*dx + dz*dz
		f := 2 * gravlab.G * lambda / (r2 * r2)
		return Tensor{XX: f * (dx*dx - dz*dz), XZ: f * 2 * dx * dz, ZZ: f * (dz*dz - dx*dx)}, nil
	}
	var xx, xz, zz float64
	prev := p.Vertices[len(p.Vertices)-1]
	for _, v := range p.Vertices {
		e := edgeFrom(at, prev, v)
		prev = v
		var ix, iz float64 // integrals of x/r² and z/r² along the edge
		if where == far {
			for i, t := range gauss4.at {
				x, z := e.x1+t*e.dx, e.z1+t*e.dz
				w := gauss4.weight[i] / (x*x + z*z)
				ix += w * x
				iz += w * z
			}
		} else {
			if e.c == 0 && e.x1*e.x2+e.z1*e.z2 <= 0 {
				return Tensor{}, badStation(fn, at, "a station off the edges and vertices, where the tensor jumps or is infinite")
			}
			l, theta := e.logAngle()
			ix, iz = (e.dx*l+e.dz*theta)/e.d2, (e.dz*l-e.dx*theta)/e.d2
		}
		xx -= e.dz * ix
		xz -= e.dz * iz
		zz += e.dx * iz
	}
	f := sign * 2 * gravlab.G * p.Contrast
	return finiteTensor(fn, at, Tensor{XX: f * xx, XZ: f * xz, ZZ: f * zz})
}
