package pendulum

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// A Walker is a person as a uniform vertical line of mass, as far as pull goes:
// good from about a metre away.
type Walker struct {
	Mass   float64 // kg
	Height float64 // m
}

// Attraction returns the pull (m/s², a vector) at a sensor of a person whose feet
// stand at foot (m from the sensor, z down: feet below the sensor have a
// positive z). A sensor inside the line is refused. That the person's weight
// tilts the floor is another matter, and often the larger one.
func (w Walker) Attraction(foot r3.Vec) (r3.Vec, error) {
	const fn = "pendulum.Walker"
	if err := arg.Between(fn, "Mass", w.Mass, 1e-9, 1e9, "mass in kg"); err != nil {
		return r3.Vec{}, err
	}
	if err := arg.Between(fn, "Height", w.Height, 1e-6, 1e6, "height in m"); err != nil {
		return r3.Vec{}, err
	}
	if !(r3.Norm(foot) <= 1e9) {
		return r3.Vec{}, arg.Bad(fn, "foot", foot, "a finite place in m")
	}
	s2 := foot.X*foot.X + foot.Y*foot.Y
	z1, z2 := foot.Z-w.Height, foot.Z
	if !(s2 > 1e-12) && z1*z2 <= 0 || s2+math.Min(z1*z1, z2*z2) < 1e-12 {
		return r3.Vec{}, arg.Bad(fn, "foot", foot, "a place beside the sensor, not around it")
	}
	side, axial := column(s2, z1, z2, w.Height)
	gm := gravlab.G * w.Mass / w.Height
	return r3.Vec{X: gm * side * foot.X, Y: gm * side * foot.Y, Z: gm * axial}, nil
}

// Passing returns the vertical pull (m/s², down positive) at a sensor while a
// person walks past at speed (m/s), closest at distance abeam (m) at t = 0, feet
// at footDepth (m, positive below the sensor).
func (w Walker) Passing(times []float64, speed, abeam, footDepth float64) ([]float64, error) {
	const fn = "pendulum.Walker.Passing"
	if err := checkTimes(fn, times); err != nil {
		return nil, err
	}
	if err := arg.Between(fn, "speed", speed, -1e3, 1e3, "speed in m/s"); err != nil {
		return nil, err
	}
	out := make([]float64, len(times))
	for i, t := range times {
		v, err := w.Attraction(r3.Vec{X: math.Max(-1e8, math.Min(1e8, speed*t)), Y: abeam, Z: footDepth})
		if err != nil {
			return nil, err
		}
		out[i] = v.Z
	}
	return out, nil
}
