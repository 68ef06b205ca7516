package torsion

import (
	"errors"
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/internal/ode"
)

// A Swing is a damped swing with a torque in proportion to the angle:
//
//	I theta'' + c theta' + kappa (theta - theta_e) = 0
//
// released at theta(0) = Start with the angular speed Speed.
type Swing struct {
	Inertia     float64 // I, kg m²
	Kappa       float64 // stiffness, N m/rad
	Damping     float64 // c, N m s/rad; zero for none
	Start       float64 // angle at t = 0, rad
	Speed       float64 // angular speed at t = 0, rad/s
	Equilibrium float64 // theta_e, rad
}

// Swing returns the linear form of what the beam does after the large spheres
// are switched from Minus to Plus at t = 0: it starts from rest at -theta_e and
// ends at +theta_e, with the stiffness at the new equilibrium. Motion is the
// exact form.
func (b Balance) Swing() (Swing, error) {
	k, theta, err := b.stiffnessAtRest(Plus)
	if err != nil {
		return Swing{}, err
	}
	return Swing{Inertia: b.inertia(), Kappa: k, Damping: b.Damping, Start: -theta, Equilibrium: theta}, nil
}

// Validate returns an error that names every field that cannot be used.
func (s Swing) Validate() error {
	const fn = "torsion.Swing"
	return errors.Join(
		within(fn, "Inertia", s.Inertia, 1e-30, 1e30, "moment of inertia in kg m²"),
		within(fn, "Kappa", s.Kappa, 1e-30, 1e30, "stiffness in N m/rad"),
		optional(fn, "Damping", s.Damping, 1e30, "damping in N m s/rad"),
		arg.Finite(fn, "Start", s.Start, "angle in rad"),
		arg.Finite(fn, "Speed", s.Speed, "angular speed in rad/s"),
		arg.Finite(fn, "Equilibrium", s.Equilibrium, "angle in rad"),
	)
}

// rates returns the undamped angular frequency, the rate of decay c/(2I), and
// their difference of squares, positive for an oscillation.
func (s Swing) rates() (omega0, gamma, excess float64) {
	omega0 = math.Sqrt(s.Kappa / s.Inertia)
	gamma = s.Damping / s.Inertia / 2
	return omega0, gamma, (omega0 - gamma) * (omega0 + gamma)
}

// Angle returns the angle at time t >= 0 in s, rad, in closed form: oscillating
// (c² < 4 I kappa), critical or creeping. It loses no digits near the critical
// case.
func (s Swing) Angle(t float64) (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	if err := arg.NonNegative("torsion.Swing.Angle", "t", t, "time in s"); err != nil {
		return 0, err
	}
	omega0, gamma, excess := s.rates()
	x := s.Start - s.Equilibrium
	var even, odd float64 // exp(-gamma t) times cos(omega t) and sin(omega t)/omega
	if excess >= 0 {
		omega, decay := math.Sqrt(excess), math.Exp(-gamma*t)
		even, odd = decay*math.Cos(omega*t), decay*t
		if omega*t > 0 {
			odd = decay * math.Sin(omega*t) / omega
		}
	} else {
		beta := math.Sqrt(-excess)
		slow := math.Exp(-omega0 * omega0 / (gamma + beta) * t) // gamma - beta without cancellation
		fast := math.Exp(-2 * beta * t)
		even = slow * (1 + fast) / 2
		odd = slow * -math.Expm1(-2*beta*t) / (2 * beta)
	}
	angle := s.Equilibrium + x*even + (s.Speed+gamma*x)*odd
	if !finite(angle) {
		return 0, fmt.Errorf("torsion.Swing: the angle at %g s is beyond what float64 can hold", t)
	}
	return angle, nil
}

// Angles returns the angle at each time; see Angle.
func (s Swing) Angles(times []float64) ([]float64, error) {
	angles := make([]float64, len(times))
	for i, t := range times {
		var err error
		if angles[i], err = s.Angle(t); err != nil {
			return nil, err
		}
	}
	return angles, nil
}

// Period returns the full period of the damped swing, s: 2 pi / sqrt(omega0² -
// 1/tau²), longer than the undamped one. It is +Inf when the swing is critical
// or creeps.
func (s Swing) Period() (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	_, _, excess := s.rates()
	if excess <= 0 {
		return math.Inf(1), nil
	}
	return 2 * math.Pi / math.Sqrt(excess), nil
}

// DecayTime returns tau = 2 I/c, the time in which the amplitude falls to 1/e,
// s; +Inf without damping. A creeping beam approaches its rest more slowly than
// that.
func (s Swing) DecayTime() (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	return 2 * s.Inertia / s.Damping, nil
}

// Q returns the quality factor omega0 I/c, +Inf without damping, 1/2 at the
// critical damping 2 sqrt(I kappa).
func (s Swing) Q() (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	return math.Sqrt(s.Kappa*s.Inertia) / s.Damping, nil
}

// Motion returns the angle of the beam, rad, at each time (s, not falling, from
// 0 on) after the large spheres are switched from Minus to Plus at t = 0, the
// beam at rest at the old equilibrium, with the exact torque. The error is
// about 1e-11 of the swing.
//
// It is an error if the beam touches the case or a large sphere at one of the
// times: what happens then depends on how it bounces.
func (b Balance) Motion(times []float64) ([]float64, error) {
	theta, err := b.Deflection()
	if err != nil {
		return nil, err
	}
	rows, err := b.move(Plus, [2]float64{-theta, 0}, 0, times)
	if err != nil {
		return nil, err
	}
	angles := make([]float64, len(rows))
	for i, row := range rows {
		angles[i] = row[0]
	}
	return angles, nil
}

// move integrates the exact motion from the state (angle, speed) at t0 and
// returns the state at each time.
func (b Balance) move(at Position, start [2]float64, t0 float64, times []float64) ([][]float64, error) {
	var x, y, scale float64
	if at != Removed {
		var err error
		if x, y, err = b.sphere(at); err != nil {
			return nil, err
		}
		scale = 2 * gravlab.G * b.LargeMass
	}
	p, inertia := b.pendant(), b.inertia()
	f := func(_ float64, state, rate []float64) {
		var torque float64
		if scale > 0 {
			torque, _ = p.torque(x, y, state[0])
		}
		rate[0] = state[1]
		rate[1] = (scale*torque - b.Kappa*state[0] - b.Damping*state[1]) / inertia
	}
	rows, err := ode.Solve(f, t0, start[:], times, ode.Tolerance{Rel: 1e-12})
	if err != nil {
		return nil, fmt.Errorf("torsion.Balance: the motion cannot be followed: %w", err)
	}
	limit, what := b.touchAngle()
	for i, row := range rows {
		if theta := row[0]; at == Plus && theta > limit || math.Abs(theta) > b.caseAngle() {
			if at != Plus || theta < 0 {
				what = touchesCase
			}
			return nil, fmt.Errorf("torsion.Balance: %s: the free swing reaches %.3g rad at %g s", what, theta, times[i])
		}
	}
	return rows, nil
}
