package pendulum

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/internal/ode"
)

// A Spherical is a point bob on a string that is free to swing in any direction.
// It starts at the polar angle Theta (from straight down, in the plane of x)
// with a horizontal speed across that plane, so the start is a turning point of
// the polar angle. The speed that a careless release gives makes the swing an
// ellipse; abeam of a plane swing there is nothing at 1/T, abeam of an ellipse
// there is.
type Spherical struct {
	Length  float64 // m
	Gravity float64 // m/s²
	Theta   float64 // rad, 0 < Theta < π
	Speed   float64 // m/s across, along +y; positive
}

// Validate says what about s cannot be.
func (s Spherical) Validate() error {
	const fn = "pendulum.Spherical"
	if err := arg.Between(fn, "Length", s.Length, 1e-6, 1e6, "length in m"); err != nil {
		return err
	}
	if err := arg.Between(fn, "Gravity", s.Gravity, 1e-6, 1e6, "acceleration in m/s²"); err != nil {
		return err
	}
	if err := arg.Between(fn, "Theta", s.Theta, 1e-6, math.Pi-1e-6, "angle in rad"); err != nil {
		return err
	}
	return arg.Between(fn, "Speed", s.Speed, 1e-9, 1e6, "speed in m/s (a plane swing is a Pendulum)")
}

// Turn returns the polar angle (rad) at the other turning point, and the azimuth
// (rad) and time (s) from one turning point to the next, by quadrature of the
// first integrals (the error falls faster than any power of the points, which
// are doubled until the answer stands). For small swings the azimuth is a little
// more than π/2: the ellipse turns.
func (s Spherical) Turn() (theta, azimuth, duration float64, err error) {
	if err := s.Validate(); err != nil {
		return 0, 0, 0, err
	}
	// With u = cos θ: u'² = k (u-u0)(u1-u)(u-u2) between the roots, k = 2g/L, u0
	// the start, u1 the other turning point, u2 < -1. At u = 1 and at u = -1 the
	// right side is minus the square of sin²θ φ', which stays as it is. Distances
	// from 1 and -1 follow from that without subtraction.
	sin, cos := math.Sincos(s.Theta / 2)
	less0, more0 := 2*sin*sin, 2*cos*cos // 1 - u0 and 1 + u0
	k := 2 * s.Gravity / s.Length
	momentum := s.Speed * math.Sin(s.Theta) / s.Length
	a := s.Speed * s.Speed / (2 * s.Gravity * s.Length)
	root := math.Hypot(a-2*math.Cos(s.Theta), 2*math.Sin(s.Theta))
	less1 := a * more0 / (1 + (a+root)/2)
	more1 := 2 - less1
	beyond := a * less0 / more1 // -1 - u2
	if a > 2 {
		beyond = (a - 2 + root) / 2
		more1 = a * less0 / beyond
	}
	var lastA, lastT float64
	for points := 32; ; points *= 2 {
		azimuth, duration = 0, 0
		for i := range points {
			// 1+u as a mean of its values at the ends, weighted.
			half, whole := math.Sincos(math.Pi * (float64(i) + 0.5) / float64(points) / 2)
			more := more0*half*half + more1*whole*whole
			// The time is the sum of dt. Of the azimuth, the sum of momentum
			// dt/((1-u)(1+u)), the part with 1/(1-u) is large and narrow where a
			// narrow ellipse passes below the pivot, the part with 1/(1+u) where it
			// passes above. With the dt of u = 1 and of u = -1 each is exactly π/2,
			// and what is left of them is smooth.
			p, q, r := math.Sqrt(more+beyond), math.Sqrt(2+beyond), math.Sqrt(beyond)
			dt := 1 / (math.Sqrt(k) * p)
			azimuth += momentum / 2 * dt * (1/(q*(p+q)) - 1/(r*(p+r)))
			duration += dt
		}
		azimuth = math.Pi + azimuth*math.Pi/float64(points)
		duration *= math.Pi / float64(points)
		if math.Abs(azimuth-lastA) <= 1e-14*azimuth && math.Abs(duration-lastT) <= 1e-14*duration || points >= 1<<20 {
			return 2 * math.Atan2(math.Sqrt(less1), math.Sqrt(more1)), azimuth, duration, nil
		}
		lastA, lastT = azimuth, duration
	}
}

// Path returns the bob's place (m from the pivot; x, y, z down) at each time (s,
// zero or more, not falling), by integration with 1e-11 in each step.
func (s Spherical) Path(times []float64) ([]r3.Vec, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	if err := checkTimes("pendulum.Spherical.Path", times); err != nil {
		return nil, err
	}
	l, g := s.Length, s.Gravity
	f := func(_ float64, y, d []float64) {
		// The string's pull per mass and length holds the bob at its distance.
		v2 := y[3]*y[3] + y[4]*y[4] + y[5]*y[5]
		r2 := y[0]*y[0] + y[1]*y[1] + y[2]*y[2]
		k := (v2 + g*y[2]) / r2
		d[0], d[1], d[2] = y[3], y[4], y[5]
		d[3], d[4], d[5] = -k*y[0], -k*y[1], g-k*y[2]
	}
	start := []float64{l * math.Sin(s.Theta), 0, l * math.Cos(s.Theta), 0, s.Speed, 0}
	rows, err := ode.Solve(f, 0, start, times, ode.Tolerance{Rel: 1e-11, Abs: 1e-13 * l})
	if err != nil {
		return nil, err
	}
	path := make([]r3.Vec, len(rows))
	for i, r := range rows {
		path[i] = r3.Vec{X: r[0], Y: r[1], Z: r[2]}
	}
	return path, nil
}

// ConicalPeriod returns the time (s) of one round at a constant polar angle
// theta (rad, below π/2): 2π√(L cos θ/g).
func ConicalPeriod(length, gravity, theta float64) (float64, error) {
	const fn = "pendulum.ConicalPeriod"
	if err := arg.Positive(fn, "length", length, "length in m"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "gravity", gravity, "acceleration in m/s²"); err != nil {
		return 0, err
	}
	if !(theta >= 0 && theta < math.Pi/2) {
		return 0, arg.Bad(fn, "theta", theta, "an angle in rad from 0 to less than π/2")
	}
	return 2 * math.Pi * math.Sqrt(length*math.Cos(theta)/gravity), nil
}
