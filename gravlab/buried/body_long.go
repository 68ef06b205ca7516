package buried

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// An InfiniteCylinder is a horizontal cylinder without ends, along y (east; see Rotated
// for other headings). Outside it pulls as a line of 2 G lambda/r, inside g is
// 2 pi G rho times the distance from the axis, on the axis zero. On the wall g
// is continuous; the tensor jumps there and is an error. The potential is
// -2 G lambda ln(r / 1 m): zero 1 m from the axis as if the mass lay on it.
//
// Source: Gauss's law for a cylinder; W. M. Telford, L. P. Geldart, R. E.
// Sheriff, Applied Geophysics, 2nd ed. (1990), section 2.5 (section from
// memory).
type InfiniteCylinder struct {
	X        float64 // north coordinate of the axis, m
	Z        float64 // depth of the axis, m
	Radius   float64 // m
	Contrast float64 // density contrast, kg/m³, signed: a void is negative
}

// Validate reports every field that cannot be used.
func (t InfiniteCylinder) Validate() error {
	return errors.Join(
		arg.Finite("buried.InfiniteCylinder", "X", t.X, "length in m"),
		arg.Finite("buried.InfiniteCylinder", "Z", t.Z, "depth in m"),
		arg.Positive("buried.InfiniteCylinder", "Radius", t.Radius, "length in m"),
		checkContrast("buried.InfiniteCylinder", "Contrast", t.Contrast))
}

// MassPerLength is the excess mass per metre, pi R² times the contrast, kg/m.
func (t InfiniteCylinder) MassPerLength() float64 { return math.Pi * t.Radius * t.Radius * t.Contrast }

// from returns the distances north and down to the axis and their square sum.
func (t *InfiniteCylinder) from(at r3.Vec) (x, z, r2 float64, ok bool) {
	x, z = t.X-at.X, t.Z-at.Z
	r2 = x*x + z*z
	return x, z, r2, t.Radius > 1e-100 && t.Radius < 1e100 && r2 < 1e200 && isFinite(at.Y) && contrastOK(t.Contrast)
}

func (t InfiniteCylinder) refuse(fn string, at r3.Vec) error {
	if err := t.Validate(); err != nil {
		return err
	}
	return tooFar(fn, at)
}

// pull is g over distance.
func (t *InfiniteCylinder) pull(r2 float64) float64 {
	f := pi2G * t.Contrast
	if rr := t.Radius * t.Radius; r2 > rr {
		f *= rr / r2
	}
	return f
}

// GZ is the downward gravity, m/s².
func (t InfiniteCylinder) GZ(at r3.Vec) (float64, error) {
	_, z, r2, ok := t.from(at)
	if !ok {
		return 0, t.refuse("buried.InfiniteCylinder.GZ", at)
	}
	return t.pull(r2) * z, nil
}

// Gravity is the gravity vector, m/s²; its Y is zero.
func (t InfiniteCylinder) Gravity(at r3.Vec) (r3.Vec, error) {
	x, z, r2, ok := t.from(at)
	if !ok {
		return r3.Vec{}, t.refuse("buried.InfiniteCylinder.Gravity", at)
	}
	f := t.pull(r2)
	return r3.Vec{X: f * x, Z: f * z}, nil
}

// Potential is the logarithmic potential, m²/s² (its zero: see InfiniteCylinder).
func (t InfiniteCylinder) Potential(at r3.Vec) (float64, error) {
	_, _, r2, ok := t.from(at)
	if !ok {
		return 0, t.refuse("buried.InfiniteCylinder.Potential", at)
	}
	rr := t.Radius * t.Radius
	f := math.Pi * gravlab.G * t.Contrast
	if r2 < rr {
		return f * (rr - r2 - rr*math.Log(rr)), nil
	}
	return -f * rr * math.Log(r2), nil
}

// Gradient is the tensor, 1/s². On the wall it jumps: an error.
func (t InfiniteCylinder) Gradient(at r3.Vec) (Tensor, error) {
	x, z, r2, ok := t.from(at)
	rr := t.Radius * t.Radius
	switch {
	case !ok:
		return Tensor{}, t.refuse("buried.InfiniteCylinder.Gradient", at)
	case r2 == rr:
		return Tensor{}, badStation("buried.InfiniteCylinder.Gradient", at, "a station off the wall, where the tensor jumps")
	}
	f := t.pull(r2)
	if r2 < rr {
		return Tensor{XX: -f, ZZ: -f}, nil
	}
	c, s := (z*z-x*x)/r2, 2*x*z/r2
	return Tensor{XX: -f * c, XZ: f * s, ZZ: f * c}, nil
}

// A LinedTunnel is a tunnel along y, without ends, whose lining reaches from
// radius Inner to radius Outer. Densities are those of the materials, not
// contrasts: what is missing or added against the host is worked out here.
type LinedTunnel struct {
	X      float64 // north coordinate of the axis, m
	Z      float64 // depth of the axis, m
	Inner  float64 // inner radius of the lining, m
	Outer  float64 // outer radius of the lining, m
	Lining float64 // density of the lining, kg/m³
	Host   float64 // density of the ground, kg/m³
	Fill   float64 // density of what is inside, kg/m³: 0 empty, 1.2 air, 1000 water
}

// Validate reports every field that cannot be used.
func (l LinedTunnel) Validate() error {
	const fn = "buried.LinedTunnel"
	err := errors.Join(
		arg.Finite(fn, "X", l.X, "length in m"),
		arg.Finite(fn, "Z", l.Z, "depth in m"),
		arg.Positive(fn, "Inner", l.Inner, "length in m"),
		arg.Positive(fn, "Outer", l.Outer, "length in m"),
		checkDensity(fn, "Lining", l.Lining),
		checkDensity(fn, "Host", l.Host),
		checkDensity(fn, "Fill", l.Fill))
	if err == nil && l.Outer <= l.Inner {
		err = arg.Bad(fn, "Outer", l.Outer, "a radius above Inner")
	}
	return err
}

// MassPerLength is the excess mass per metre of fill and lining, kg/m.
func (l LinedTunnel) MassPerLength() float64 {
	return math.Pi * (l.Inner*l.Inner*(l.Fill-l.Lining) + l.Outer*l.Outer*(l.Lining-l.Host))
}

// parts are two whole cylinders that add up to the lined tunnel. Their
// contrasts may be small, so their methods' own check is passed over.
func (l *LinedTunnel) parts(fn string, at r3.Vec) (whole, core InfiniteCylinder, err error) {
	if err := l.Validate(); err != nil {
		return whole, core, err
	}
	if !finite3(at) || !(math.Abs(at.X)+math.Abs(at.Z)+math.Abs(l.X)+math.Abs(l.Z)+l.Outer < 1e99) {
		return whole, core, tooFar(fn, at)
	}
	whole = InfiniteCylinder{l.X, l.Z, l.Outer, l.Lining - l.Host}
	core = InfiniteCylinder{l.X, l.Z, l.Inner, l.Fill - l.Lining}
	return whole, core, nil
}

// GZ is the downward gravity, m/s².
func (l LinedTunnel) GZ(at r3.Vec) (float64, error) {
	g, err := l.Gravity(at)
	return g.Z, err
}

// Gravity is the gravity vector, m/s²; its Y is zero.
func (l LinedTunnel) Gravity(at r3.Vec) (r3.Vec, error) {
	whole, core, err := l.parts("buried.LinedTunnel.Gravity", at)
	if err != nil {
		return r3.Vec{}, err
	}
	x, z, r2, _ := whole.from(at)
	f := whole.pull(r2) + core.pull(r2)
	return r3.Vec{X: f * x, Z: f * z}, nil
}

// Potential is the logarithmic potential, m²/s² (its zero: see InfiniteCylinder).
func (l LinedTunnel) Potential(at r3.Vec) (float64, error) {
	whole, core, err := l.parts("buried.LinedTunnel.Potential", at)
	if err != nil {
		return 0, err
	}
	sum := 0.0
	for _, t := range [2]InfiniteCylinder{whole, core} {
		contrast := t.Contrast
		t.Contrast = 1000
		u, err := t.Potential(at)
		if err != nil {
			return 0, err
		}
		sum += u * contrast / 1000
	}
	return sum, nil
}

// Gradient is the tensor, 1/s². On the two walls it jumps: an error.
func (l LinedTunnel) Gradient(at r3.Vec) (Tensor, error) {
	whole, core, err := l.parts("buried.LinedTunnel.Gradient", at)
	if err != nil {
		return Tensor{}, err
	}
	var sum Tensor
	for _, t := range [2]InfiniteCylinder{whole, core} {
		contrast := t.Contrast
		t.Contrast = 1000
		u, err := t.Gradient(at)
		if err != nil {
			return Tensor{}, err
		}
		sum = sum.add(u.scale(contrast / 1000))
	}
	return sum, nil
}

// A Slab is a horizontal layer without ends. Above it gz is +2 pi G rho t,
// below -2 pi G rho t, inside it changes evenly. On its two faces the tensor
// jumps and is an error. The potential is -2 pi G times the integral of rho
// |z - z'| over the layer.
//
// Source: Telford, Geldart, Sheriff (1990), section 2.3; 0.0419 mGal/m for
// 1 g/cm³.
type Slab struct {
	Top       float64 // depth of the upper face, m
	Thickness float64 // m
	Contrast  float64 // density contrast, kg/m³, signed
}

// Validate reports every field that cannot be used.
func (s Slab) Validate() error {
	return errors.Join(
		arg.Finite("buried.Slab", "Top", s.Top, "depth in m"),
		arg.Positive("buried.Slab", "Thickness", s.Thickness, "length in m"),
		checkContrast("buried.Slab", "Contrast", s.Contrast))
}

func (s Slab) refuse(fn string, at r3.Vec) error {
	if err := s.Validate(); err != nil {
		return err
	}
	return tooFar(fn, at)
}

// faces returns the distances down to the upper and lower face.
func (s *Slab) faces(at r3.Vec) (a, b float64, ok bool) {
	a = s.Top - at.Z
	b = a + s.Thickness
	return a, b, s.Thickness > 0 && math.Abs(a) < 1e100 && math.Abs(b) < 1e100 && finite3(at) && contrastOK(s.Contrast)
}

// GZ is the downward gravity, m/s².
func (s Slab) GZ(at r3.Vec) (float64, error) {
	a, b, ok := s.faces(at)
	switch {
	case !ok:
		return 0, s.refuse("buried.Slab.GZ", at)
	case a >= 0:
		return pi2G * s.Contrast * s.Thickness, nil
	case b <= 0:
		return -pi2G * s.Contrast * s.Thickness, nil
	}
	return pi2G * s.Contrast * (b + a), nil
}

// Gravity is the gravity vector, m/s²; X and Y are zero by symmetry.
func (s Slab) Gravity(at r3.Vec) (r3.Vec, error) {
	g, err := s.GZ(at)
	return r3.Vec{Z: g}, err
}

// Potential is the potential, m²/s² (its zero: see Slab).
func (s Slab) Potential(at r3.Vec) (float64, error) {
	a, b, ok := s.faces(at)
	if !ok {
		return 0, s.refuse("buried.Slab.Potential", at)
	}
	return -math.Pi * gravlab.G * s.Contrast * (b*math.Abs(b) - a*math.Abs(a)), nil
}

// Gradient is the tensor, 1/s²: zero outside, ZZ = -4 pi G rho inside.
func (s Slab) Gradient(at r3.Vec) (Tensor, error) {
	a, b, ok := s.faces(at)
	switch {
	case !ok:
		return Tensor{}, s.refuse("buried.Slab.Gradient", at)
	case a == 0 || b == 0:
		return Tensor{}, badStation("buried.Slab.Gradient", at, "a station off the two faces, where the tensor jumps")
	case a < 0 && b > 0:
		return Tensor{ZZ: -pi4G * s.Contrast}, nil
	}
	return Tensor{}, nil
}

// A SemiInfiniteSlab is the half of a slab that lies north of a vertical edge: a fault
// seen as the missing or added half layer. (For the other side turn it by pi;
// two steps of opposite contrast make a fault with a throw.) gz and the tensor
// are finite; the horizontal pull and the potential of an endless layer are
// not, so Gravity and Potential are errors. The tensor jumps on the faces and
// is infinite on the edges: an error there.
//
// Source: the half-plane integral, Telford, Geldart, Sheriff (1990), section
// 2.5 (section from memory); gz = 2 G rho [F(z2) - F(z1)] with
// F(z) = z (pi/2 + arctan(u/z)) + u/2 ln(u² + z²), u = x - X.
type SemiInfiniteSlab struct {
	X         float64 // north coordinate of the edge, m
	Top       float64 // depth of the upper face, m
	Thickness float64 // m
	Contrast  float64 // density contrast, kg/m³, signed
}

// Validate reports every field that cannot be used.
func (s SemiInfiniteSlab) Validate() error {
	return errors.Join(
		arg.Finite("buried.SemiInfiniteSlab", "X", s.X, "length in m"),
		arg.Finite("buried.SemiInfiniteSlab", "Top", s.Top, "depth in m"),
		arg.Positive("buried.SemiInfiniteSlab", "Thickness", s.Thickness, "length in m"),
		checkContrast("buried.SemiInfiniteSlab", "Contrast", s.Contrast))
}

func (s *SemiInfiniteSlab) faces(fn string, at r3.Vec) (u, a, b float64, err error) {
	u, a = at.X-s.X, s.Top-at.Z
	b = a + s.Thickness
	if !(s.Thickness > 0) || !contrastOK(s.Contrast) || !finite3(at) || !(math.Abs(u)+math.Abs(a)+math.Abs(b) < 1e100) {
		if err = s.Validate(); err == nil {
			err = tooFar(fn, at)
		}
	}
	return u, a, b, err
}

// GZ is the downward gravity, m/s².
func (s SemiInfiniteSlab) GZ(at r3.Vec) (float64, error) {
	u, a, b, err := s.faces("buried.SemiInfiniteSlab.GZ", at)
	if err != nil {
		return 0, err
	}
	a, b = math.Abs(a), math.Abs(b)
	sum := b*math.Atan2(b, -u) - a*math.Atan2(a, -u)
	if u*u+a*a > 0 { // else u ln(...) has the limit zero
		sum += u / 2 * logRatio(u*u+b*b, u*u+a*a, (b-a)*(b+a))
	}
	return finite("buried.SemiInfiniteSlab.GZ", at, 2*gravlab.G*s.Contrast*sum)
}

// logRatio is ln(p/q) for p - q = diff > -q, exact when p and q are close.
func logRatio(p, q, diff float64) float64 {
	if math.Abs(diff) < 0.5*q {
		return math.Log1p(diff / q)
	}
	return math.Log(p / q)
}

// Gravity is an error: the horizontal pull of an endless half layer is infinite.
func (s SemiInfiniteSlab) Gravity(at r3.Vec) (r3.Vec, error) {
	if _, _, _, err := s.faces("buried.SemiInfiniteSlab.Gravity", at); err != nil {
		return r3.Vec{}, err
	}
	return r3.Vec{}, arg.Bad("buried.SemiInfiniteSlab.Gravity", "length of the layer", math.Inf(1), "a body with an end (use Prism or Polygon): the horizontal pull of an endless half layer is infinite; GZ and Gradient are finite")
}

// Potential is an error: the potential of an endless half layer is infinite.
func (s SemiInfiniteSlab) Potential(at r3.Vec) (float64, error) {
	if _, _, _, err := s.faces("buried.SemiInfiniteSlab.Potential", at); err != nil {
		return 0, err
	}
	return 0, arg.Bad("buried.SemiInfiniteSlab.Potential", "length of the layer", math.Inf(1), "a body with an end (use Prism or Polygon): the potential of an endless half layer is infinite; GZ and Gradient are finite")
}

// Gradient is the tensor, 1/s².
func (s SemiInfiniteSlab) Gradient(at r3.Vec) (Tensor, error) {
	u, a, b, err := s.faces("buried.SemiInfiniteSlab.Gradient", at)
	if err != nil {
		return Tensor{}, err
	}
	onFace := u >= 0 && (a == 0 || b == 0)
	if onFace || u == 0 && a <= 0 && b >= 0 {
		return Tensor{}, badStation("buried.SemiInfiniteSlab.Gradient", at, "a station off the faces and edges, where the tensor jumps or is infinite")
	}
	c := 2 * gravlab.G * s.Contrast
	zz := c * (angle(a, u) - angle(b, u))
	xx := -zz
	if u > 0 && a < 0 && b > 0 {
		xx -= pi4G * s.Contrast
	}
	return finiteTensor("buried.SemiInfiniteSlab.Gradient", at, Tensor{XX: xx, XZ: c / 2 * logRatio(u*u+b*b, u*u+a*a, (b-a)*(b+a)), ZZ: zz})
}

// angle is sgn(z) (pi/2 + arctan(u/|z|)): the angle under which a half-plane
// at depth z, reaching from -u to infinity, is seen.
func angle(z, u float64) float64 {
	switch {
	case z > 0:
		return math.Atan2(z, -u)
	case z < 0:
		return -math.Atan2(-z, -u)
	}
	return 0
}

// A SemiInfiniteSheet is a thin horizontal layer that reaches from an edge north to
// infinity: the usual picture of a fault of small throw. Like SemiInfiniteSlab it has a gz
// and a tensor but no finite horizontal pull or potential. On the sheet gz
// jumps and is an error.
//
// Source: the thin limit of SemiInfiniteSlab, gz = 2 G sigma (pi/2 + arctan(x/z)); with
// z the depth, a quarter and three quarters of the whole rise lie 2 z apart.
type SemiInfiniteSheet struct {
	X              float64 // north coordinate of the edge, m
	Z              float64 // depth, m
	SurfaceDensity float64 // contrast times thickness, kg/m², signed
}

// Validate reports every field that cannot be used.
func (h SemiInfiniteSheet) Validate() error {
	return errors.Join(
		arg.Finite("buried.SemiInfiniteSheet", "X", h.X, "length in m"),
		arg.Finite("buried.SemiInfiniteSheet", "Z", h.Z, "depth in m"),
		arg.Finite("buried.SemiInfiniteSheet", "SurfaceDensity", h.SurfaceDensity, "surface density in kg/m²"))
}

func (h *SemiInfiniteSheet) from(fn string, at r3.Vec) (u, z float64, err error) {
	u, z = at.X-h.X, h.Z-at.Z
	if err = h.Validate(); err == nil && (!finite3(at) || !(math.Abs(u)+math.Abs(z) < 1e100)) {
		err = tooFar(fn, at)
	}
	if err == nil && z == 0 && u >= 0 {
		err = badStation(fn, at, "a station off the sheet, where gz jumps")
	}
	return u, z, err
}

// GZ is the downward gravity, m/s².
func (h SemiInfiniteSheet) GZ(at r3.Vec) (float64, error) {
	u, z, err := h.from("buried.SemiInfiniteSheet.GZ", at)
	if err != nil {
		return 0, err
	}
	return finite("buried.SemiInfiniteSheet.GZ", at, 2*gravlab.G*h.SurfaceDensity*angle(z, u))
}

// Gravity is an error: see SemiInfiniteSlab.
func (h SemiInfiniteSheet) Gravity(at r3.Vec) (r3.Vec, error) {
	if _, _, err := h.from("buried.SemiInfiniteSheet.Gravity", at); err != nil {
		return r3.Vec{}, err
	}
	return r3.Vec{}, arg.Bad("buried.SemiInfiniteSheet.Gravity", "length of the sheet", math.Inf(1), "a body with an end: the horizontal pull of an endless half sheet is infinite; GZ and Gradient are finite")
}

// Potential is an error: see SemiInfiniteSlab.
func (h SemiInfiniteSheet) Potential(at r3.Vec) (float64, error) {
	if _, _, err := h.from("buried.SemiInfiniteSheet.Potential", at); err != nil {
		return 0, err
	}
	return 0, arg.Bad("buried.SemiInfiniteSheet.Potential", "length of the sheet", math.Inf(1), "a body with an end: the potential of an endless half sheet is infinite; GZ and Gradient are finite")
}

// Gradient is the tensor, 1/s².
func (h SemiInfiniteSheet) Gradient(at r3.Vec) (Tensor, error) {
	u, z, err := h.from("buried.SemiInfiniteSheet.Gradient", at)
	if err != nil {
		return Tensor{}, err
	}
	r2 := u*u + z*z
	c := 2 * gravlab.G * h.SurfaceDensity
	return finiteTensor("buried.SemiInfiniteSheet.Gradient", at, Tensor{XX: -c * u / r2, XZ: c * z / r2, ZZ: c * u / r2})
}
