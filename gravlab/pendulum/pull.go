package pendulum

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// A Station is a sensor: where it stands and along which axis it feels. The
// length of Axis does not matter. A pull is positive along Axis; for a vertical
// sensor Axis is (0, 0, 1), down.
type Station struct {
	At   r3.Vec // m from the pivot; x along the swing, y across, z down
	Axis r3.Vec
}

// Validate says what about s cannot be.
func (s Station) Validate() error {
	const fn = "pendulum.Station"
	if !(r3.Norm(s.At) <= 1e6) {
		return arg.Bad(fn, "At", s.At, "a finite place in m")
	}
	if n := r3.Norm(s.Axis); !(n > 1e-100 && n < 1e100) {
		return arg.Bad(fn, "Axis", s.Axis, "a direction that is not zero")
	}
	return nil
}

func (s Station) axis() r3.Vec { return r3.Scale(1/r3.Norm(s.Axis), s.Axis) }

// Attraction returns the pull of bob and rod (m/s², a vector) at a place (m from
// the pivot) when the pendulum stands at the angle theta (rad), and an estimate
// of its error (m/s², see Bob.Attraction). Places inside the bob or on the rod
// are refused.
func (p Pendulum) Attraction(theta float64, at r3.Vec) (pull r3.Vec, uncertain float64, err error) {
	if err := p.Validate(); err != nil {
		return r3.Vec{}, 0, err
	}
	if err := arg.Between("pendulum.Pendulum.Attraction", "theta", theta, -4*math.Pi, 4*math.Pi, "angle in rad"); err != nil {
		return r3.Vec{}, 0, err
	}
	return p.attraction(theta, at)
}

func (p Pendulum) attraction(theta float64, at r3.Vec) (r3.Vec, float64, error) {
	if !(r3.Norm(at) <= 1e9) {
		return r3.Vec{}, 0, arg.Bad("pendulum.Pendulum.Attraction", "at", at, "a finite place in m")
	}
	// In the bob's axes: X across the rod in the plane of the swing, Z along it.
	sin, cos := math.Sincos(theta)
	own := r3.Vec{X: at.X*cos - at.Z*sin, Y: at.Y, Z: at.X*sin + at.Z*cos}
	pull, e := r3.Vec{}, 0.0
	var err error
	if p.Bob.Mass > 0 {
		if pull, e, err = p.Bob.attraction(r3.Sub(own, r3.Vec{Z: p.Length})); err != nil {
			return r3.Vec{}, 0, err
		}
	}
	if p.RodMass > 0 {
		s2 := own.X*own.X + own.Y*own.Y
		z1, z2 := -own.Z, p.RodLength-own.Z
		off2 := s2 // square of the distance from the rod, m²
		if z1*z2 > 0 {
			off2 += math.Min(z1*z1, z2*z2)
		}
		if off2 < 1e-18 {
			return r3.Vec{}, 0, arg.Bad("pendulum.Pendulum.Attraction", "at", at, "a place off the rod")
		}
		side, axial := column(s2, z1, z2, p.RodLength)
		gm := gravlab.G * p.RodMass / p.RodLength
		pull = r3.Add(pull, r3.Vec{X: -gm * side * own.X, Y: -gm * side * own.Y, Z: gm * axial})
	}
	return r3.Vec{X: pull.X*cos + pull.Z*sin, Y: pull.Y, Z: -pull.X*sin + pull.Z*cos}, e, nil
}

// Pull returns the pull along the station's axis (m/s²) at the angle theta.
func (p Pendulum) Pull(theta float64, s Station) (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	v, _, err := p.Attraction(theta, s.At)
	return r3.Dot(v, s.axis()), err
}

// Series returns the pull along the station's axis (m/s²) at each time (s after
// release; before it the bob is held at Amplitude), damping included.
func (p Pendulum) Series(times []float64, s Station) ([]float64, error) {
	return series(pulls{Pendulum: p, Times: times, Station: s})
}

// pulls are the arguments of what the pull at a station is asked for.
type pulls struct {
	Pendulum Pendulum
	Station  Station
	Times    []float64
	N        int
}

func (in pulls) series() ([]float64, error) {
	p, times, s := in.Pendulum, in.Times, in.Station
	if err := p.Validate(); err != nil {
		return nil, err
	}
	if err := s.Validate(); err != nil {
		return nil, err
	}
	states, err := p.states("pendulum.Pendulum.Series", times)
	if err != nil {
		return nil, err
	}
	axis := s.axis()
	out := make([]float64, len(times))
	for i, v := range states {
		pull, _, err := p.attraction(v.theta, s.At)
		if err != nil {
			return nil, err
		}
		out[i] = r3.Dot(pull, axis)
	}
	return out, nil
}

// Harmonics returns the lines of the undamped swing at the station: element 0 is
// the mean (m/s²) and element n the coefficient (m/s²) of cos(2πnt/T), T being
// the exact period. There are no sines: the swing looks the same backwards from
// its release. A negative coefficient is a line of opposite phase. n is the
// highest line, 0 to 100.
func (p Pendulum) Harmonics(s Station, n int) ([]float64, error) {
	return harmonics(pulls{Pendulum: p, Station: s, N: n})
}

func (in pulls) harmonics() ([]float64, error) {
	p, s, n := in.Pendulum, in.Station, in.N
	if err := p.Validate(); err != nil {
		return nil, err
	}
	if err := s.Validate(); err != nil {
		return nil, err
	}
	axis := s.axis()
	return p.lines("pendulum.Pendulum.Harmonics", n, func(theta, _ float64) (float64, error) {
		pull, _, err := p.attraction(theta, s.At)
		return r3.Dot(pull, axis), err
	})
}

// lines returns the cosine coefficients of a function of the state that is even
// in time, by the trapezoidal rule over a period: for a smooth function its error
// falls faster than any power of the number of points, which is doubled until
// the coefficients stand.
func (p Pendulum) lines(fn string, n int, f func(theta, rate float64) (float64, error)) ([]float64, error) {
	if n < 0 || n > 100 {
		return nil, arg.Bad(fn, "n", n, "0 to 100 lines")
	}
	m, err := p.Motion()
	if err != nil {
		return nil, err
	}
	var last []float64
	for points := max(32, 4*n); ; points *= 2 {
		c := make([]float64, n+1)
		var size float64
		for i := 0; i <= points/2; i++ { // the other half is the mirror image
			v, err := f(m.At(m.Period * float64(i) / float64(points)))
			if err != nil {
				return nil, err
			}
			size = math.Max(size, math.Abs(v))
			w := 2.0
			if i == 0 || i == points/2 {
				w = 1
			}
			for k := range c {
				c[k] += w * v * math.Cos(2*math.Pi*float64(k*i%points)/float64(points))
			}
		}
		c[0] /= float64(points)
		for k := 1; k <= n; k++ {
			c[k] *= 2 / float64(points)
		}
		if last != nil {
			var d float64
			for k := range c {
				d = math.Max(d, math.Abs(c[k]-last[k]))
			}
			if d <= 1e-15*size || points >= 1<<15 {
				return c, nil
			}
		}
		last = c
	}
}
