package pendulum

import (
	"math"

	"gravity.example/gravlab/internal/arg"
)

// Reaction returns the force of the pendulum on its support (N) when it stands at
// theta (rad) and turns at rate (rad/s): horizontal along +x and vertical down,
// from the motion of the centre of mass,
//
//	F = M g - M a_cm
//
// The vertical part includes the weight. The horizontal part points to +x when
// the bob is at +x. (Of an extended pendulum the pivot must also hold no torque.)
func (p Pendulum) Reaction(theta, rate float64) (horizontal, vertical float64, err error) {
	const fn = "pendulum.Pendulum.Reaction"
	if err := p.Validate(); err != nil {
		return 0, 0, err
	}
	if err := arg.Between(fn, "theta", theta, -4*math.Pi, 4*math.Pi, "angle in rad"); err != nil {
		return 0, 0, err
	}
	if err := arg.Between(fn, "rate", rate, -1e9, 1e9, "angular rate in rad/s"); err != nil {
		return 0, 0, err
	}
	h, v := p.reaction(theta, rate)
	return h, v + (p.Bob.Mass+p.RodMass)*p.Gravity, nil
}

// reaction is the force on the support less the weight at rest.
func (p Pendulum) reaction(theta, rate float64) (horizontal, vertical float64) {
	s := p.moment()
	sin, cos := math.Sincos(theta)
	w0 := p.omega0()
	turn := -w0*w0*sin - p.Damping*rate // θ''
	return -s * (turn*cos - rate*rate*sin), s * (turn*sin + rate*rate*cos)
}

// Tension returns the pull along the string or rod at the pivot (N):
// M g cos θ + S θ'². A string must not be asked below zero: beyond 90° it can go
// slack.
func (p Pendulum) Tension(theta, rate float64) (float64, error) {
	h, v, err := p.Reaction(theta, rate)
	if err != nil {
		return 0, err
	}
	sin, cos := math.Sincos(theta)
	return h*sin + v*cos, nil
}

// LargestTension returns the largest tension of the swing (N), at the bottom:
// for a bob on a string m g(3 - 2 cos θ0). Rate the fixing for five times that.
func (p Pendulum) LargestTension() (float64, error) {
	if err := p.Validate(); err != nil {
		return 0, err
	}
	s := math.Sin(p.Amplitude / 2)
	return p.Tension(0, 2*p.omega0()*s)
}

// ReactionHarmonics returns the cosine coefficients (N) of the force on the
// support at 0, 1/T, ..., n/T, without damping: horizontal along +x (odd lines),
// vertical down without the weight (even lines). The means are zero: what the
// support bears on average is the weight.
func (p Pendulum) ReactionHarmonics(n int) (horizontal, vertical []float64, err error) {
	both, err := reactionHarmonics(pulls{Pendulum: p, N: n})
	return both[0], both[1], err
}

func (in pulls) reactionHarmonics() (both [2][]float64, err error) {
	both[0], both[1], err = in.Pendulum.reactionLines(in.N)
	return both, err
}

func (p Pendulum) reactionLines(n int) (horizontal, vertical []float64, err error) {
	const fn = "pendulum.Pendulum.ReactionHarmonics"
	if err := p.Validate(); err != nil {
		return nil, nil, err
	}
	p.Damping = 0
	horizontal, err = p.lines(fn, n, func(theta, rate float64) (float64, error) {
		h, _ := p.reaction(theta, rate)
		return h, nil
	})
	if err != nil {
		return nil, nil, err
	}
	vertical, err = p.lines(fn, n, func(theta, rate float64) (float64, error) {
		_, v := p.reaction(theta, rate)
		return v, nil
	})
	return horizontal, vertical, err
}

// A Floor is a slab that carries both the pendulum and the sensor. It follows
// slowly, without resonance of its own: right while the lines lie well below its
// lowest mode. It rocks about a horizontal axis across the swing under the
// horizontal force times the pivot's height, and sinks under the vertical force.
type Floor struct {
	RockingStiffness  float64 // N m/rad; 0 means that it does not rock
	PivotHeight       float64 // m, of the pivot above the slab
	VerticalStiffness float64 // N/m; 0 means that it does not sink
	// Share is the part of the motion that reaches the sensor: 1 on the same
	// slab, 0 when the pivot stands on a foundation of its own.
	Share float64
}

// Validate says what about f cannot be.
func (f Floor) Validate() error {
	const fn = "pendulum.Floor"
	if err := arg.NonNegative(fn, "RockingStiffness", f.RockingStiffness, "stiffness in N m/rad (0: none)"); err != nil {
		return err
	}
	if err := arg.Between(fn, "PivotHeight", f.PivotHeight, 0, 1e4, "height in m"); err != nil {
		return err
	}
	if err := arg.NonNegative(fn, "VerticalStiffness", f.VerticalStiffness, "stiffness in N/m (0: none)"); err != nil {
		return err
	}
	if f.RockingStiffness > 0 && f.RockingStiffness < 1e-3 || f.VerticalStiffness > 0 && f.VerticalStiffness < 1e-3 {
		return arg.Bad(fn, "stiffness", math.Min(f.RockingStiffness, f.VerticalStiffness), "0 for none, or at least 1e-3")
	}
	return arg.Between(fn, "Share", f.Share, 0, 1, "share")
}

// along returns what the floor does to a sensor along its axis, per newton at the
// angular frequency w: g times the tilt for the horizontal force (the +x side
// sinks when the pivot is pushed to +x, so a sensor seems drawn to +x), and the
// vertical acceleration for the vertical force, w²/k: while the slab is down it
// is being accelerated up, which a sensor reads as more gravity.
func (f Floor) along(axisX, axisZ, g, w float64) (perHorizontal, perVertical float64) {
	if f.RockingStiffness > 0 {
		perHorizontal = axisX * f.Share * g * f.PivotHeight / f.RockingStiffness
	}
	if f.VerticalStiffness > 0 {
		perVertical = axisZ * f.Share * w * w / f.VerticalStiffness
	}
	return perHorizontal, perVertical
}

// LoadTilt returns the apparent horizontal acceleration along +x (m/s²) of a
// sensor on the slab when a steady load (N, down), such as a person who starts
// the swing, stands offset (m) from the slab's middle towards +x: that side
// sinks by load·offset/RockingStiffness, times gravity (m/s²). A slab that does
// not rock gives 0.
func (f Floor) LoadTilt(load, offset, gravity float64) (float64, error) {
	const fn = "pendulum.Floor.LoadTilt"
	if err := f.Validate(); err != nil {
		return 0, err
	}
	if err := arg.Between(fn, "load", load, 0, 1e9, "load in N"); err != nil {
		return 0, err
	}
	if err := arg.Between(fn, "offset", offset, -1e4, 1e4, "distance in m"); err != nil {
		return 0, err
	}
	if err := arg.Between(fn, "gravity", gravity, 1e-6, 1e6, "acceleration in m/s²"); err != nil {
		return 0, err
	}
	if f.RockingStiffness == 0 {
		return 0, nil
	}
	return gravity * f.Share * load * offset / f.RockingStiffness, nil
}

// An Effect compares, at one line, the pull with what the floor does.
type Effect struct {
	Line  int     // n
	Freq  float64 // n/T, Hz
	Pull  float64 // cosine coefficient of the pull along the axis, m/s²
	Floor float64 // cosine coefficient of the floor's effect on the same axis, m/s²
	// Ratio is Floor/Pull: its size says how many times the floor is the larger,
	// its sign whether the two have the same phase (+) or opposite phase (-).
	// Infinite or NaN where there is no pull.
	Ratio float64
}

// Compare sets the pull at the station against the motion of the floor, line by
// line, 1 to n. Both are cosines from the moment of release, so the same sign
// means the same phase: then no lock-in can tell them apart.
func (p Pendulum) Compare(s Station, f Floor, n int) ([]Effect, error) {
	if err := f.Validate(); err != nil {
		return nil, err
	}
	if n < 1 {
		return nil, arg.Bad("pendulum.Pendulum.Compare", "n", n, "1 to 100 lines")
	}
	pull, err := p.Harmonics(s, n)
	if err != nil {
		return nil, err
	}
	horizontal, vertical, err := p.ReactionHarmonics(n)
	if err != nil {
		return nil, err
	}
	axis := s.axis()
	period := p.period()
	effects := make([]Effect, n)
	for k := range effects {
		line := k + 1
		freq := float64(line) / period
		perH, perV := f.along(axis.X, axis.Z, p.Gravity, 2*math.Pi*freq)
		e := Effect{Line: line, Freq: freq, Pull: pull[line], Floor: perH*horizontal[line] + perV*vertical[line]}
		e.Ratio = e.Floor / e.Pull
		effects[k] = e
	}
	return effects, nil
}
