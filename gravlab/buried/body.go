package buried

import (
	"fmt"
	"math"
	"runtime"
	"strconv"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// A Body is anything under the ground that pulls. Stations are points
// {X: north, Y: east, Z: down} in m, inside or outside the body.
//
// Every method returns a finite number or an error that names the field or the
// station that cannot be used, its value and what is allowed. A body may be
// used by several goroutines at once as long as none of them changes it.
type Body interface {
	// Validate reports every field that cannot be used.
	Validate() error
	// GZ is the downward component of gravity at a station, m/s².
	GZ(at r3.Vec) (float64, error)
	// Gravity is the gravity vector at a station, m/s².
	Gravity(at r3.Vec) (r3.Vec, error)
	// Potential is U with g = +grad U, positive for a positive mass, m²/s².
	// Bodies without an end state where their potential is zero.
	Potential(at r3.Vec) (float64, error)
	// Gradient is the tensor d(g_i)/d(x_j) at a station, 1/s².
	Gradient(at r3.Vec) (Tensor, error)
}

// A Tensor is a symmetric gravity gradient tensor in 1/s² (1 E = 1e-9 1/s²):
// XZ is d(g_x)/dz = d(g_z)/dx at the station, and so on. Outside mass its
// trace is zero; inside a density rho it is -4 pi G rho.
type Tensor struct{ XX, XY, XZ, YY, YZ, ZZ float64 }

// Trace returns XX + YY + ZZ.
func (t Tensor) Trace() float64 { return t.XX + t.YY + t.ZZ }

// Apply returns the tensor times a vector: the change of gravity over a small
// step d (m).
func (t Tensor) Apply(d r3.Vec) r3.Vec {
	return r3.Vec{
		X: t.XX*d.X + t.XY*d.Y + t.XZ*d.Z,
		Y: t.XY*d.X + t.YY*d.Y + t.YZ*d.Z,
		Z: t.XZ*d.X + t.YZ*d.Y + t.ZZ*d.Z,
	}
}

func (t Tensor) add(u Tensor) Tensor {
	return Tensor{t.XX + u.XX, t.XY + u.XY, t.XZ + u.XZ, t.YY + u.YY, t.YZ + u.YZ, t.ZZ + u.ZZ}
}

func (t Tensor) scale(f float64) Tensor {
	return Tensor{f * t.XX, f * t.XY, f * t.XZ, f * t.YY, f * t.YZ, f * t.ZZ}
}

func (t Tensor) finite() bool {
	return t.XX-t.XX+t.XY-t.XY+t.XZ-t.XZ+t.YY-t.YY+t.YZ-t.YZ+t.ZZ-t.ZZ == 0
}

// A Sum is several bodies at once. Contrasts add: where two bodies overlap the
// density counts twice, so keep a rock out of the void that it cannot be in. A
// nil body among them is refused by Validate and panics elsewhere.
type Sum []Body

// Validate reports the first body that cannot be used.
func (s Sum) Validate() error {
	if err := arg.AtLeast("buried.Sum", "bodies", len(s), 1); err != nil {
		return err
	}
	for _, b := range s {
		if b == nil {
			return arg.Bad("buried.Sum", "body", nil, "a body, not nil")
		}
		if err := b.Validate(); err != nil {
			return err
		}
	}
	return nil
}

// GZ is the sum of the bodies' GZ, m/s².
func (s Sum) GZ(at r3.Vec) (float64, error) {
	return total(s, at, Body.GZ)
}

// Potential is the sum of the bodies' potentials, m²/s².
func (s Sum) Potential(at r3.Vec) (float64, error) {
	return total(s, at, Body.Potential)
}

// Gravity is the sum of the bodies' gravity vectors, m/s².
func (s Sum) Gravity(at r3.Vec) (r3.Vec, error) {
	var g r3.Vec
	if len(s) == 0 {
		return g, s.Validate()
	}
	for _, b := range s {
		v, err := b.Gravity(at)
		if err != nil {
			return r3.Vec{}, err
		}
		g = r3.Add(g, v)
	}
	return finiteVec("buried.Sum.Gravity", at, g)
}

// Gradient is the sum of the bodies' tensors, 1/s².
func (s Sum) Gradient(at r3.Vec) (Tensor, error) {
	var t Tensor
	if len(s) == 0 {
		return t, s.Validate()
	}
	for _, b := range s {
		u, err := b.Gradient(at)
		if err != nil {
			return Tensor{}, err
		}
		t = t.add(u)
	}
	return finiteTensor("buried.Sum.Gradient", at, t)
}

func total(s Sum, at r3.Vec, f func(Body, r3.Vec) (float64, error)) (float64, error) {
	if len(s) == 0 {
		return 0, s.Validate()
	}
	sum := 0.0
	for _, b := range s {
		v, err := f(b, at)
		if err != nil {
			return 0, err
		}
		sum += v
	}
	return finite("buried.Sum", at, sum)
}

// Rotated is a body turned about the vertical through the origin: what pointed
// north then points to Heading (radians, clockwise from north, seen from
// above). It gives prisms, tunnels, steps and polygons any strike: a tunnel,
// which runs east, runs at heading pi/2 + Heading when turned.
type Rotated struct {
	Body    Body
	Heading float64 // rad
}

// Validate reports what cannot be used.
func (t Rotated) Validate() error {
	if t.Body == nil {
		return arg.Bad("buried.Rotated", "Body", nil, "a body, not nil")
	}
	if err := arg.Finite("buried.Rotated", "Heading", t.Heading, "angle in rad"); err != nil {
		return err
	}
	return t.Body.Validate()
}

// local turns a vector of the world into the body's own axes (side = -1) or
// back (side = +1).
func (t Rotated) local(v r3.Vec, side float64) r3.Vec {
	s, c := math.Sincos(t.Heading)
	s *= side
	return r3.Vec{X: c*v.X - s*v.Y, Y: s*v.X + c*v.Y, Z: v.Z}
}

func (t Rotated) ready() error {
	if t.Body == nil || t.Heading-t.Heading != 0 {
		return t.Validate()
	}
	return nil
}

// GZ is the downward gravity, m/s².
func (t Rotated) GZ(at r3.Vec) (float64, error) {
	if err := t.ready(); err != nil {
		return 0, err
	}
	return t.Body.GZ(t.local(at, -1))
}

// Potential is the potential, m²/s².
func (t Rotated) Potential(at r3.Vec) (float64, error) {
	if err := t.ready(); err != nil {
		return 0, err
	}
	return t.Body.Potential(t.local(at, -1))
}

// Gravity is the gravity vector, m/s².
func (t Rotated) Gravity(at r3.Vec) (r3.Vec, error) {
	if err := t.ready(); err != nil {
		return r3.Vec{}, err
	}
	g, err := t.Body.Gravity(t.local(at, -1))
	if err != nil {
		return r3.Vec{}, err
	}
	return t.local(g, 1), nil
}

// Gradient is the gradient tensor, 1/s².
func (t Rotated) Gradient(at r3.Vec) (Tensor, error) {
	if err := t.ready(); err != nil {
		return Tensor{}, err
	}
	u, err := t.Body.Gradient(t.local(at, -1))
	if err != nil {
		return Tensor{}, err
	}
	// The columns of the turned tensor are the turned images of the axes.
	column := func(axis r3.Vec) r3.Vec { return t.local(u.Apply(t.local(axis, -1)), 1) }
	x, y, z := column(r3.Vec{X: 1}), column(r3.Vec{Y: 1}), column(r3.Vec{Z: 1})
	return Tensor{XX: x.X, XY: x.Y, XZ: x.Z, YY: y.Y, YZ: y.Z, ZZ: z.Z}, nil
}

// GZAt returns GZ at many stations, m/s², in their order. The stations are
// shared out among the processor's cores. The first station that fails, in
// that order, ends it with its error.
func GZAt(b Body, stations []r3.Vec) ([]float64, error) {
	return atMany(b, stations, Body.GZ)
}

// GradientAt returns the gradient tensor at many stations, 1/s²; like GZAt.
func GradientAt(b Body, stations []r3.Vec) ([]Tensor, error) {
	return atMany(b, stations, Body.Gradient)
}

func atMany[T any](b Body, stations []r3.Vec, f func(Body, r3.Vec) (T, error)) ([]T, error) {
	if b == nil {
		return nil, arg.Bad("buried.GZAt", "b", nil, "a body, not nil")
	}
	if err := b.Validate(); err != nil {
		return nil, err
	}
	if err := arg.AtLeast("buried.GZAt", "stations", len(stations), 1); err != nil {
		return nil, err
	}
	out := make([]T, len(stations))
	errs := make([]error, len(stations))
	// Workers take stations in small lots, so that a slow part of the profile
	// (a station inside a rock, a quadrature) does not hold one core up.
	const lot = 8
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), (len(stations)+lot-1)/lot) {
		wait.Go(func() {
			for {
				end := int(next.Add(lot))
				if end-lot >= len(stations) {
					return
				}
				for i := end - lot; i < min(end, len(stations)); i++ {
					out[i], errs[i] = f(b, stations[i])
				}
			}
		})
	}
	wait.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// isFinite reports whether v is neither NaN nor infinite.
func isFinite(v float64) bool { return v-v == 0 }

func finite3(v r3.Vec) bool { return v.X-v.X+(v.Y-v.Y)+(v.Z-v.Z) == 0 }

// badStation is the error of a station at which fn is not defined.
func badStation(fn string, at r3.Vec, allowed string) error {
	return arg.Bad(fn, "at", at, allowed)
}

// tooFar is the error of numbers that leave the range of float64.
func tooFar(fn string, at r3.Vec) error {
	if !finite3(at) {
		return badStation(fn, at, "three finite coordinates in m")
	}
	return badStation(fn, at, "a station and a body whose numbers stay within the range of float64")
}

func finite(fn string, at r3.Vec, v float64) (float64, error) {
	if !isFinite(v) {
		return 0, tooFar(fn, at)
	}
	return v, nil
}

func finiteVec(fn string, at, v r3.Vec) (r3.Vec, error) {
	if !finite3(v) {
		return r3.Vec{}, tooFar(fn, at)
	}
	return v, nil
}

func finiteTensor(fn string, at r3.Vec, t Tensor) (Tensor, error) {
	if !t.finite() {
		return Tensor{}, tooFar(fn, at)
	}
	return t, nil
}

// checkVec refuses a point that is not finite.
func checkVec(fn, name string, v r3.Vec) error {
	if !finite3(v) {
		return arg.Bad(fn, name, v, "three finite coordinates in m")
	}
	return nil
}

// smallestContrast in kg/m³: what is smaller is nearly always a rock in g/cm³,
// whose densities lie below 4; soil that takes up 0.4 % of water lies above it.
const smallestContrast = 4

// contrastOK accepts zero and sizes from smallestContrast to 1e5 kg/m³.
func contrastOK(c float64) bool {
	a := math.Abs(c)
	return a >= smallestContrast && a <= 1e5 || a == 0
}

func checkContrast(fn, name string, c float64) error {
	if contrastOK(c) {
		return nil
	}
	allowed := fmt.Sprintf("a signed contrast of %d to 100000 kg/m³ in size, or zero", smallestContrast)
	if a := math.Abs(c); a > 0 && a < smallestContrast {
		allowed += " (kg/m³; did you mean " + thousandfold(c) + "? If not, take a hundred times the contrast and divide the effect by 100)"
	}
	return arg.Bad(fn, name, c, allowed)
}

// checkDensity refuses densities of things that are negative or look like g/cm³.
func checkDensity(fn, name string, d float64) error {
	if d == 0 || d >= 0.1 && d <= 1e5 && !(d > 1.5 && d < 25) {
		// Up to 1.5 kg/m³ it is air; from 1.5 to 25 neither gas nor ground.
		return nil
	}
	allowed := "a density in kg/m³: 0 (vacuum), a gas up to 1.5, or 25 to 100000"
	if d > 0 && d < 25 {
		allowed += " (kg/m³; did you mean " + thousandfold(d) + "?)"
	}
	return arg.Bad(fn, name, d, allowed)
}

const (
	pi4G = 4 * math.Pi * gravlab.G
	pi2G = 2 * math.Pi * gravlab.G
)

// thousandfold is a number in g/cm³ as it reads in kg/m³.
func thousandfold(d float64) string { return strconv.FormatFloat(1000*d, 'g', 6, 64) }

// formatMetres is a length for a message.
func formatMetres(z float64) string { return strconv.FormatFloat(z, 'g', 6, 64) + " m" }
