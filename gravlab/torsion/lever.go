package torsion

import (
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Lever is an optical lever: light falls on the mirror of the beam and from
// there on a flat scale. The mirror turns the light by twice the angle of the
// beam.
type Lever struct {
	Distance float64 // D: mirror to scale, m; the light falls square on mirror and scale at theta = 0
}

// Validate returns an error if the distance cannot be used.
func (l Lever) Validate() error {
	return arg.Positive("torsion.Lever", "Distance", l.Distance, "distance from mirror to scale in m")
}

// Spot returns how far the spot moves along the scale when the beam turns by
// theta (rad, below pi/4 either way), m: D tan(2 theta).
func (l Lever) Spot(theta float64) (float64, error) {
	if err := l.Validate(); err != nil {
		return 0, err
	}
	if !(math.Abs(theta) < math.Pi/4) {
		return 0, arg.Bad("torsion.Lever.Spot", "theta", theta, "an angle in rad between -pi/4 and pi/4: beyond, the light misses the scale")
	}
	return result("torsion.Lever.Spot", l.Distance*math.Tan(2*theta))
}

// Angle returns the turn of the beam, rad, for a spot that has moved by spot
// along the scale, m: atan(spot/D)/2.
func (l Lever) Angle(spot float64) (float64, error) {
	if err := l.Validate(); err != nil {
		return 0, err
	}
	if err := arg.Finite("torsion.Lever.Angle", "spot", spot, "place on the scale in m"); err != nil {
		return 0, err
	}
	return math.Atan2(spot, l.Distance) / 2, nil
}

// SmallAngle returns spot/(2 D), the form of Angle for small angles, rad. It is
// too large by (spot/D)²/3 of itself.
func (l Lever) SmallAngle(spot float64) (float64, error) {
	if err := l.Validate(); err != nil {
		return 0, err
	}
	if err := arg.Finite("torsion.Lever.SmallAngle", "spot", spot, "place on the scale in m"); err != nil {
		return 0, err
	}
	return result("torsion.Lever.SmallAngle", spot/(2*l.Distance))
}
