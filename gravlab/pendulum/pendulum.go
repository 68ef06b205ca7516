// Package pendulum models a mass that swings past a gravity sensor: its motion,
// its pull, what hides the pull, and how it is found.
//
// Start with a Pendulum and a Station (where the sensor stands and which way its
// axis points). Harmonics gives the lines that the swing draws in the sensor's
// spectrum; Compare sets them against the tilt of the floor; Experiment makes a
// recording and Analysis finds the bob in one.
//
// # Axes and motion
//
// The origin is the pivot, x points along the swing, y across, z down. At the
// angle θ the bob's centre is at L(sin θ, 0, cos θ); the pendulum is let go from
// rest at θ = +Amplitude at t = 0. (For a swing along the meridian x is north
// and y east, as in the rest of the module.) The motion is
//
//	θ'' + c θ' + ω0² sin θ = 0        ω0² = g S/I
//
// with S = mL + m_rod l/2, the mass moment, and I, the moment of inertia about
// the pivot, of an extended bob and a thin uniform rod. Without damping it is
// solved by Jacobi's elliptic functions,
// sin(θ/2) = k cd(ω0 t, k), k = sin(Amplitude/2), and the period is exact:
//
//	T = 2π/(ω0 AGM(1, cos(Amplitude/2)))
//
// With damping it is integrated with control of the error. The pivot is taken as
// fixed: the floor's motion is worked out from the force, not fed back.
//
// # Which lines
//
// The pull on a sensor has lines at n/T. At a place symmetric to the swing (below
// the rest position, or abeam of it) an axis perpendicular to the swing responds
// at even n only (2/T and on) and an axis along the swing at odd n only. T is
// the exact period. Elsewhere all n appear.
//
// # The trap
//
// The reaction at the pivot shakes the floor: horizontally at 1/T, vertically at
// 2/T. For an axis along the swing below the pivot, g times the tilt has the same
// frequency, phase and sign as the pull and can be 10⁴ times larger, so that no
// lock-in separates them. A pivot on a foundation of its own, the distance law,
// a shaker with the same force and no moving mass, or two bobs in antiphase do.
//
// # Cautions
//
// The string's tension reaches m g(3 - 2 cos θ0), twice the weight at 60°: rate
// the fixing for five times that. No face in the plane of the swing; let go,
// never push; no one inside the arc plus a person's reach.
//
// # Sources
//
// L. D. Landau and E. M. Lifshitz, Mechanics, for the period and the spherical
// pendulum; M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions,
// 16.4 and 17.6, for elliptic functions by the arithmetic-geometric mean (both
// from memory); J. Peterson, U.S. Geological Survey Open-File Report 93-322
// (1993), for the noise of the ground.
package pendulum

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
)

// A Pendulum swings about a fixed pivot in one plane. Without a rod the motion
// does not depend on the mass of the bob: Period, Motion, Angle, Integrate and
// Quality take 0 there.
type Pendulum struct {
	Bob       Bob
	Length    float64 // L, m, from the pivot to the bob's centre
	RodMass   float64 // kg, of a thin uniform rod; 0 is a string without mass
	RodLength float64 // m, of the rod, from the pivot
	Gravity   float64 // g at the place, m/s²
	Amplitude float64 // θ0, rad, from 0 to less than π; a half swing, zero to peak
	Damping   float64 // c, 1/s; the amplitude falls as exp(-ct/2); 0 is none
}

// Validate says what about p cannot be.
func (p Pendulum) Validate() error {
	const fn = "pendulum.Pendulum"
	if err := p.Bob.Validate(); err != nil {
		return err
	}
	if err := arg.Between(fn, "Length", p.Length, 1e-6, 1e6, "length in m"); err != nil {
		return err
	}
	if err := checkMass(fn, "RodMass", p.RodMass); err != nil {
		return err
	}
	if err := arg.Between(fn, "RodLength", p.RodLength, 0, 1e6, "length in m"); err != nil {
		return err
	}
	if p.RodMass > 0 && p.RodLength < 1e-6 {
		return arg.Bad(fn, "RodLength", p.RodLength, "a length in m of at least 1e-6, since the rod has a mass")
	}
	if p.Bob.Mass+p.RodMass == 0 {
		return arg.Bad(fn, "Bob.Mass", p.Bob.Mass, "a positive mass in kg, or a rod that has one")
	}
	if err := arg.Between(fn, "Gravity", p.Gravity, 1e-6, 1e6, "acceleration in m/s²"); err != nil {
		return err
	}
	if !(p.Amplitude >= 0 && p.Amplitude < math.Pi) {
		return arg.Bad(fn, "Amplitude", p.Amplitude, "an angle in rad from 0 to less than π (did you give degrees?)")
	}
	return arg.Between(fn, "Damping", p.Damping, 0, 1e6, "damping in 1/s")
}

// weighed gives a bob on a string a mass where it has none: for what does not
// depend on it.
func (p Pendulum) weighed() Pendulum {
	if p.Bob.Mass == 0 && p.RodMass == 0 {
		p.Bob.Mass = 1
	}
	return p
}

// checkMass allows no mass at all, and any that float64 can square.
func checkMass(fn, name string, m float64) error {
	if m == 0 {
		return nil
	}
	return arg.Between(fn, name, m, 1e-15, 1e12, "mass in kg (or 0 for none)")
}

// moment is S, the mass moment about the pivot, kg m.
func (p Pendulum) moment() float64 { return p.Bob.Mass*p.Length + p.RodMass*p.RodLength/2 }

// omega0 is the angular frequency of small swings, rad/s.
func (p Pendulum) omega0() float64 { return math.Sqrt(p.Gravity * p.moment() / p.inertia()) }

func (p Pendulum) inertia() float64 {
	return p.Bob.Mass*p.Length*p.Length + p.Bob.inertia() + p.RodMass*p.RodLength*p.RodLength/3
}

// Inertia returns the moment of inertia about the pivot, kg m²: bob at its
// distance, bob about its own centre, and the rod's m l²/3.
func (p Pendulum) Inertia() (float64, error) {
	if err := p.Validate(); err != nil {
		return 0, err
	}
	return p.inertia(), nil
}

// Period returns the exact period (s) at the given amplitude, without damping.
func (p Pendulum) Period() (float64, error) {
	p = p.weighed()
	if err := p.Validate(); err != nil {
		return 0, err
	}
	return p.period(), nil
}

func (p Pendulum) period() float64 {
	return 2 * math.Pi / p.omega0() / agm(1, math.Cos(p.Amplitude/2))
}

// PeriodRatio returns the period at an amplitude (rad, from 0 to less than π)
// over that of a vanishing swing, 2K(m)/π with m = sin²(amplitude/2).
func PeriodRatio(amplitude float64) (float64, error) {
	if !(amplitude >= 0 && amplitude < math.Pi) {
		return 0, arg.Bad("pendulum.PeriodRatio", "amplitude", amplitude, "an angle in rad from 0 to less than π (did you give degrees?)")
	}
	return 1 / agm(1, math.Cos(amplitude/2)), nil
}

// agm returns the arithmetic-geometric mean of a > 0 and b > 0.
func agm(a, b float64) float64 {
	for range 40 {
		if math.Abs(a-b) <= 1e-15*a {
			break
		}
		a, b = (a+b)/2, math.Sqrt(a*b)
	}
	return (a + b) / 2
}

// LogDecrement returns the logarithmic decrement per full period of a swing whose
// amplitude falls from first to last in the given number of full cycles:
// ln(first/last)/cycles.
func LogDecrement(first, last, cycles float64) (float64, error) {
	const fn = "pendulum.LogDecrement"
	if err := arg.Positive(fn, "first", first, "amplitude"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "last", last, "amplitude"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "cycles", cycles, "number of full cycles"); err != nil {
		return 0, err
	}
	return math.Log(first/last) / cycles, nil
}

// QualityFromDecrement returns Q = π/δ for a logarithmic decrement δ per full
// period, right for small damping (low by a part δ²/(8π²)).
func QualityFromDecrement(decrement float64) (float64, error) {
	if err := arg.Positive("pendulum.QualityFromDecrement", "decrement", decrement, "decrement per full period"); err != nil {
		return 0, err
	}
	return math.Pi / decrement, nil
}

// Quality returns Q = ω0/c of small swings; without damping that is an error.
// The decay time of the amplitude is 2/c.
func (p Pendulum) Quality() (float64, error) {
	p = p.weighed()
	if err := p.Validate(); err != nil {
		return 0, err
	}
	if p.Damping == 0 {
		return 0, arg.Bad("pendulum.Pendulum.Quality", "Damping", 0.0, "a positive damping in 1/s")
	}
	return p.omega0() / p.Damping, nil
}

// Place returns the centre of the bob (m) at the angle theta (rad).
func (p Pendulum) Place(theta float64) r3.Vec {
	sin, cos := math.Sincos(theta)
	return r3.Vec{X: p.Length * sin, Z: p.Length * cos}
}

func checkTimes(fn string, times []float64) error {
	for i, t := range times {
		if !(math.Abs(t) <= 1e12) {
			return arg.Bad(fn, fmt.Sprintf("times[%d]", i), t, "a finite time in s")
		}
	}
	return nil
}
