package buried

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
)

// Rocks are many small spheres. They are a Body; use GZAt and GradientAt for
// many stations. A station may lie inside a rock.
type Rocks []Sphere

// Validate reports the first rock that cannot be used.
func (r Rocks) Validate() error {
	if err := arg.AtLeast("buried.Rocks", "rocks", len(r), 1); err != nil {
		return err
	}
	for i := range r {
		if err := r[i].Validate(); err != nil {
			return fmt.Errorf("rock %d: %w", i, err)
		}
	}
	return nil
}

// Mass is the sum of the excess masses, kg.
func (r Rocks) Mass() float64 {
	sum := 0.0
	for i := range r {
		sum += r[i].Mass()
	}
	return sum
}

func (r Rocks) refuse(fn string, i int, at r3.Vec) error {
	return fmt.Errorf("rock %d: %w", i, r[i].refuse(fn, at))
}

// GZ is the downward gravity, m/s².
func (r Rocks) GZ(at r3.Vec) (float64, error) {
	if len(r) == 0 {
		return 0, r.Validate()
	}
	sum := 0.0
	for i := range r {
		s := &r[i]
		d, dist, ok := s.from(at)
		if !ok {
			return 0, r.refuse("buried.Rocks.GZ", i, at)
		}
		sum += s.pull(dist) * d.Z
	}
	return finite("buried.Rocks.GZ", at, sum)
}

// Gravity is the gravity vector, m/s².
func (r Rocks) Gravity(at r3.Vec) (r3.Vec, error) {
	var g r3.Vec
	if len(r) == 0 {
		return g, r.Validate()
	}
	for i := range r {
		v, err := r[i].Gravity(at)
		if err != nil {
			return r3.Vec{}, fmt.Errorf("rock %d: %w", i, err)
		}
		g = r3.Add(g, v)
	}
	return finiteVec("buried.Rocks.Gravity", at, g)
}

// Potential is the potential, m²/s².
func (r Rocks) Potential(at r3.Vec) (float64, error) {
	if len(r) == 0 {
		return 0, r.Validate()
	}
	sum := 0.0
	for i := range r {
		u, err := r[i].Potential(at)
		if err != nil {
			return 0, fmt.Errorf("rock %d: %w", i, err)
		}
		sum += u
	}
	return finite("buried.Rocks.Potential", at, sum)
}

// Gradient is the tensor, 1/s². On the surface of a rock: an error.
func (r Rocks) Gradient(at r3.Vec) (Tensor, error) {
	var t Tensor
	if len(r) == 0 {
		return t, r.Validate()
	}
	for i := range r {
		u, err := r[i].Gradient(at)
		if err != nil {
			return Tensor{}, fmt.Errorf("rock %d: %w", i, err)
		}
		t = t.add(u)
	}
	return finiteTensor("buried.Rocks.Gradient", at, t)
}

// An Obstacle is a body in which no rock can lie: a void and a rock exclude
// each other. A rock left inside a void would count its density twice.
type Obstacle interface {
	// Touches reports whether a ball reaches into the body.
	Touches(centre r3.Vec, radius float64) bool
}

// Touches reports whether a ball reaches into the sphere.
func (s Sphere) Touches(centre r3.Vec, radius float64) bool {
	return r3.Norm(r3.Sub(centre, s.Centre)) < s.Radius+radius
}

// Touches reports whether a ball reaches into the tunnel.
func (t InfiniteCylinder) Touches(centre r3.Vec, radius float64) bool {
	return math.Hypot(centre.X-t.X, centre.Z-t.Z) < t.Radius+radius
}

// Touches reports whether a ball reaches into the tunnel or its lining.
func (l LinedTunnel) Touches(centre r3.Vec, radius float64) bool {
	return math.Hypot(centre.X-l.X, centre.Z-l.Z) < l.Outer+radius
}

// Touches reports whether a ball reaches into the prism.
func (p Prism) Touches(centre r3.Vec, radius float64) bool {
	gap := func(v, lo, hi float64) float64 { return max(lo-v, 0, v-hi) }
	return r3.Norm(r3.Vec{
		X: gap(centre.X, p.Min.X, p.Max.X),
		Y: gap(centre.Y, p.Min.Y, p.Max.Y),
		Z: gap(centre.Z, p.Min.Z, p.Max.Z),
	}) < radius
}

// Touches reports whether a ball reaches into the cylinder.
func (c Cylinder) Touches(centre r3.Vec, radius float64) bool {
	if c.Validate() != nil {
		return false
	}
	f := frameOf(c.Centre, c.Axis, centre)
	return math.Hypot(max(0, f.s-c.Radius), max(0, math.Abs(f.z)-c.Length/2)) < radius
}

// Rubble is ground with stones in it: spheres whose centres are strewn evenly
// and independently through a box, their radii evenly between two sizes. (They
// may overlap each other, which for a few per cent of the volume changes the
// pull by as many per cent.)
type Rubble struct {
	Min, Max          r3.Vec  // corners of the box, m
	Number            float64 // rocks per m³
	Smallest, Largest float64 // radii, m
	Contrast          float64 // of each rock, kg/m³, signed
}

// Validate reports every field that cannot be used.
func (r Rubble) Validate() error {
	const fn = "buried.Rubble"
	err := errors.Join(
		checkVec(fn, "Min", r.Min),
		checkVec(fn, "Max", r.Max),
		arg.Positive(fn, "Number", r.Number, "number of rocks per m³"),
		arg.Positive(fn, "Smallest", r.Smallest, "radius in m"),
		arg.Positive(fn, "Largest", r.Largest, "radius in m"),
		checkContrast(fn, "Contrast", r.Contrast))
	switch {
	case err != nil:
		return err
	case !(r.Max.X > r.Min.X && r.Max.Y > r.Min.Y && r.Max.Z > r.Min.Z):
		return arg.Bad(fn, "Max", r.Max, "a corner north of, east of and below Min")
	case r.Largest < r.Smallest:
		return arg.Bad(fn, "Largest", r.Largest, "a radius not below Smallest")
	case r.expected() > 1e7:
		return arg.Bad(fn, "Number", r.Number, fmt.Sprintf("at most 1e7 rocks in the box; this is %.3g", r.expected()))
	}
	return nil
}

func (r Rubble) expected() float64 {
	return r.Number * (r.Max.X - r.Min.X) * (r.Max.Y - r.Min.Y) * (r.Max.Z - r.Min.Z)
}

// Scatter draws the rocks of one place; their number is a Poisson number. Rocks
// that touch an obstacle are left out. The same rng gives the same rocks. A nil
// rng or obstacle panics.
func (r Rubble) Scatter(rng *rand.Rand, keepOut ...Obstacle) (Rocks, error) {
	if err := r.Validate(); err != nil {
		return nil, err
	}
	between := func(lo, hi float64) float64 { return lo + float64(rng.Float64()*(hi-lo)) }
	var rocks Rocks
next:
	for count := rng.ExpFloat64(); count < r.expected(); count += rng.ExpFloat64() {
		centre := r3.Vec{X: between(r.Min.X, r.Max.X), Y: between(r.Min.Y, r.Max.Y), Z: between(r.Min.Z, r.Max.Z)}
		radius := between(r.Smallest, r.Largest)
		for _, o := range keepOut {
			if o.Touches(centre, radius) {
				continue next
			}
		}
		rocks = append(rocks, Sphere{Centre: centre, Radius: radius, Contrast: r.Contrast})
	}
	return rocks, nil
}
