// Package sensor models the simplest instrument that weighs: a mass on a
// spring, the capacitor that watches it, and its noise sources.
//
// Start with a Suspension (mass, natural frequency, quality) and ask for its
// Sag, its Response and its ThermalNoise; add what else disturbs it in a Budget
// and ask for the noise at a frequency, in a band, or after averaging.
//
// # The model
//
// A mass m hangs on a spring k in a frame. x is its place relative to the frame,
// from rest; a is the acceleration of the frame along the same axis. With
// viscous damping
//
//	x'' + (ω0/Q) x' + ω0² x = -a          ω0 = √(k/m) = 2πf0
//
// so that far below resonance x = -a/ω0²: the mass lags behind the frame, and
// the minus sign is part of the answer. A change of gravity along the axis has
// the opposite sign: g more by dg acts as a = -dg, x = +dg/ω0². Structural
// damping replaces k by k(1 + i/Q), a loss angle that does not depend on
// frequency; it has no simple equation in time and is used for spectra only.
// Motion is along one axis, springs are linear, the frame is rigid.
//
// Responses are for exp(+iωt). Densities are one-sided amplitude densities:
// acceleration in m/s²/√Hz, displacement in m/√Hz. A noise source is stated as
// the acceleration of the frame that would show the same reading; as a
// displacement it is that times |x/a|. Independent sources add in quadrature.
//
// # Sources
//
// H. B. Callen and T. A. Welton, Phys. Rev. 83, 34 (1951), for thermal noise
// from dissipation; P. R. Saulson, Phys. Rev. D 42, 2437 (1990), for structural
// damping; T. B. Gabrielson, IEEE Trans. Electron Devices 40, 903 (1993), for
// the acceleration noise of a suspended mass; S. Machlup, J. Appl. Phys. 25, 341
// (1954), for generation and recombination; A. E. H. Love, Q. J. Mech. Appl.
// Math. 2, 428 (1949), for two discs. All cited from memory.
package sensor

import (
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// Damping names where a suspension loses energy.
type Damping int

const (
	Viscous    Damping = iota // a force proportional to speed: gas, eddy currents
	Structural                // a loss angle 1/Q inside the spring, at all frequencies
)

// A Suspension is a mass on a spring. A method whose answer does not depend on a
// field says so, and takes 0 there.
type Suspension struct {
	Mass        float64 // kg; forces and thermal noise need it, the motion does not
	Frequency   float64 // natural frequency f0, Hz, without damping
	Q           float64 // quality factor at resonance; the loss angle is 1/Q
	Damping     Damping // Viscous unless said otherwise
	Temperature float64 // K; needed for thermal noise only
}

// Validate says what about s cannot be.
func (s Suspension) Validate() error {
	const fn = "sensor.Suspension"
	if err := arg.Between(fn, "Mass", s.Mass, 1e-30, 1e30, "mass in kg"); err != nil {
		return err
	}
	if err := arg.Between(fn, "Frequency", s.Frequency, 1e-30, 1e30, "natural frequency in Hz"); err != nil {
		return err
	}
	if err := arg.Between(fn, "Q", s.Q, 1e-6, 1e15, "quality factor"); err != nil {
		return err
	}
	if s.Damping != Viscous && s.Damping != Structural {
		return arg.Bad(fn, "Damping", int(s.Damping), "Viscous or Structural")
	}
	return arg.Between(fn, "Temperature", s.Temperature, 0, 1e12, "temperature in K")
}

// validateMotion does without the mass, on which the motion does not depend.
func (s Suspension) validateMotion() error {
	if s.Mass == 0 {
		s.Mass = 1
	}
	return s.Validate()
}

func (s Suspension) omega0() float64 { return 2 * math.Pi * s.Frequency }

// Stiffness returns the spring constant m ω0², N/m.
func (s Suspension) Stiffness() (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	return s.Mass * s.omega0() * s.omega0(), nil
}

// Sag returns how far the mass sinks under its weight, g/ω0² (m), for a linear
// spring. It depends on neither Mass nor Q. g is in m/s².
func (s Suspension) Sag(g float64) (float64, error) {
	if s.Q == 0 {
		s.Q = 1
	}
	if err := s.validateMotion(); err != nil {
		return 0, err
	}
	if err := arg.Finite("sensor.Suspension.Sag", "g", g, "acceleration in m/s²"); err != nil {
		return 0, err
	}
	return g / s.omega0() / s.omega0(), nil
}

// FrequencyFromSag returns the natural frequency (Hz) of a linear spring that a
// weight stretches by sag (m) under g (m/s²): √(g/sag)/2π. Nothing else about
// the spring or the mass is needed. With any acceleration for g and the
// displacement that it causes for sag it is the resonance which that pair of
// numbers implies.
func FrequencyFromSag(sag, g float64) (float64, error) {
	const fn = "sensor.FrequencyFromSag"
	if err := arg.Positive(fn, "sag", sag, "displacement in m"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "g", g, "acceleration in m/s²"); err != nil {
		return 0, err
	}
	return math.Sqrt(g/sag) / (2 * math.Pi), nil
}

// SpringConstant returns the constant (N/m) of a spring that a mass (kg)
// stretches by stretch (m) under g (m/s²): m g/x.
func SpringConstant(mass, stretch, g float64) (float64, error) {
	const fn = "sensor.SpringConstant"
	if err := arg.Positive(fn, "mass", mass, "mass in kg"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "stretch", stretch, "length in m"); err != nil {
		return 0, err
	}
	if err := arg.Positive(fn, "g", g, "acceleration in m/s²"); err != nil {
		return 0, err
	}
	return mass * g / stretch, nil
}

// Response returns x/a, the displacement of the mass relative to the frame for
// an acceleration of the frame (s², minus sign included), at f (Hz, zero or
// more): -1/(ω0² - ω² + iωω0/Q), or with structural damping
// -1/(ω0²(1 + i/Q) - ω²). It does not depend on Mass.
func (s Suspension) Response(f float64) (complex128, error) {
	if err := s.validateMotion(); err != nil {
		return 0, err
	}
	if err := arg.Between("sensor.Suspension.Response", "f", f, 0, 1e30, "frequency in Hz"); err != nil {
		return 0, err
	}
	return -1 / s.impedance(f), nil
}

// impedance is the factor on x in the equation of motion, 1/s².
func (s Suspension) impedance(f float64) complex128 {
	w0, w := s.omega0(), 2*math.Pi*f
	// (ω0-ω)(ω0+ω) keeps its digits at resonance.
	if s.Damping == Structural {
		return complex((w0-w)*(w0+w), w0*w0/s.Q)
	}
	return complex((w0-w)*(w0+w), w*w0/s.Q)
}

// gain is |a/x| at f, 1/s².
func (s Suspension) gain(f float64) float64 {
	z := s.impedance(f)
	return math.Hypot(real(z), imag(z))
}

// StepResponse returns x(t) (m) after the frame, with the mass at rest, begins
// to accelerate by a (m/s²) at t = 0 (s); zero before. It settles at -a/ω0².
// Under-, over- and critically damped suspensions are all served; structural
// damping is refused, since a constant loss angle has no step response that
// begins at the step. It does not depend on Mass.
func (s Suspension) StepResponse(a, t float64) (float64, error) {
	const fn = "sensor.Suspension.StepResponse"
	if err := s.viscous(fn); err != nil {
		return 0, err
	}
	if err := arg.Finite(fn, "a", a, "acceleration in m/s²"); err != nil {
		return 0, err
	}
	if err := arg.Finite(fn, "t", t, "time in s"); err != nil {
		return 0, err
	}
	if t <= 0 {
		return 0, nil
	}
	c, d := s.decay(t)
	beta := s.omega0() / (2 * s.Q)
	return -a / s.omega0() / s.omega0() * (1 - (c + beta*d)), nil
}

func (s Suspension) viscous(fn string) error {
	if err := s.validateMotion(); err != nil {
		return err
	}
	if s.Damping != Viscous {
		return arg.Bad(fn, "Damping", "structural", "Viscous")
	}
	return nil
}

// decay returns exp(-βt)cos(ωd t) and exp(-βt)sin(ωd t)/ωd, with cosh and sinh
// when the suspension is overdamped.
func (s Suspension) decay(t float64) (c, d float64) {
	w0 := s.omega0()
	beta := w0 / (2 * s.Q)
	sq := w0 * w0 * (1 - 1/(4*s.Q*s.Q)) // ωd²
	if math.Abs(sq)*t*t < 1e-8 {        // critical, or a short time
		e := math.Exp(-beta * t)
		return e * (1 - sq*t*t/2), e * t * (1 - sq*t*t/6)
	}
	if sq > 0 {
		e := math.Exp(-beta * t)
		if e == 0 { // long over, and too late for a phase
			return 0, 0
		}
		sin, cos := math.Sincos(math.Sqrt(sq) * t)
		return e * cos, e * sin / math.Sqrt(sq)
	}
	gamma := math.Sqrt(-sq)
	slow := math.Exp(-w0 * w0 / (beta + gamma) * t) // β-γ without cancellation
	fast := math.Exp(-(beta + gamma) * t)
	return (slow + fast) / 2, (slow - fast) / (2 * gamma)
}

// FirstPeak returns when the step response first turns round, π/ωd (s). An
// overdamped or critically damped suspension (Q of 1/2 or less) never does and
// is refused. It does not depend on Mass.
func (s Suspension) FirstPeak() (float64, error) {
	const fn = "sensor.Suspension.FirstPeak"
	if err := s.viscous(fn); err != nil {
		return 0, err
	}
	if s.Q <= 0.5 {
		return 0, arg.Bad(fn, "Q", s.Q, "a quality factor above 1/2: less never overshoots")
	}
	return math.Pi / (s.omega0() * math.Sqrt(1-1/(4*s.Q*s.Q))), nil
}

// ThermalRMS returns the rms displacement by thermal motion at all frequencies
// together, √(kB T/k) (m), whatever the damping: equipartition. It is over all
// time, not the scatter of readings that are close together.
func (s Suspension) ThermalRMS() (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	return math.Sqrt(gravlab.BoltzmannK*s.Temperature/s.Mass) / s.omega0(), nil
}
