package sensor

import (
	"math"

	"gravity.example/gravlab/internal/arg"
)

// A Feedback pushes the mass back to its place: force per mass
//
//	F/m = -(P x + D x' + I ∫x dt)
//
// from the displacement x of an ideal readout, without delay. The force that
// holds the mass is the reading: Reading gives (F/m)/a, the closed loop's
// transfer function
//
//	T(s) = C/(s² + sω0/Q + ω0² + C),   C(s) = P + sD + I/s
//
// with the sign of a: in a steady field it is +1 when I is not zero and
// P/(ω0²+P) when it is. Displacement gives x/a = -1/(s² + sω0/Q + ω0² + C).
// Feedback by a noiseless force changes neither thermal nor readout noise when
// both are stated as acceleration of the frame; it changes the range, the
// bandwidth and what a change of the spring does.
type Feedback struct {
	Suspension
	P float64 // 1/s², zero or more
	D float64 // 1/s, zero or more
	I float64 // 1/s³, zero or more
}

// Validate says what about fb cannot be. A loop that would run away (Routh:
// (ω0/Q + D)(ω0² + P) must exceed I) and structural damping are refused.
func (fb Feedback) Validate() error {
	const fn = "sensor.Feedback"
	if err := fb.viscous(fn); err != nil {
		return err
	}
	if err := arg.Between(fn, "P", fb.P, 0, 1e60, "gain in 1/s²"); err != nil {
		return err
	}
	if err := arg.Between(fn, "D", fb.D, 0, 1e60, "gain in 1/s"); err != nil {
		return err
	}
	w0 := fb.omega0()
	limit := (w0/fb.Q + fb.D) * (w0*w0 + fb.P)
	if !(fb.I >= 0 && fb.I < limit) {
		return arg.Bad(fn, "I", fb.I, "zero or more, and less than (ω0/Q + D)(ω0² + P) so that the loop is stable")
	}
	return nil
}

// closed returns the controller C and the whole impedance of the closed loop,
// both times s, so that f = 0 is allowed.
func (fb Feedback) closed(f float64) (control, whole complex128) {
	s := complex(0, 2*math.Pi*f)
	control = complex(fb.P, 0)*s + complex(fb.D, 0)*s*s + complex(fb.I, 0)
	return control, control + s*fb.impedance(f)
}

// Reading returns the transfer function from acceleration of the frame to the
// holding force per mass (1), at f (Hz, zero or more).
func (fb Feedback) Reading(f float64) (complex128, error) {
	if err := fb.check("sensor.Feedback.Reading", f); err != nil {
		return 0, err
	}
	if f == 0 && fb.I == 0 {
		w0 := fb.omega0()
		return complex(fb.P/(w0*w0+fb.P), 0), nil
	}
	c, w := fb.closed(f)
	return c / w, nil
}

// Displacement returns x/a of the closed loop (s²) at f (Hz, zero or more).
func (fb Feedback) Displacement(f float64) (complex128, error) {
	if err := fb.check("sensor.Feedback.Displacement", f); err != nil {
		return 0, err
	}
	if f == 0 && fb.I == 0 {
		w0 := fb.omega0()
		return complex(-1/(w0*w0+fb.P), 0), nil
	}
	_, w := fb.closed(f)
	return complex(0, -2*math.Pi*f) / w, nil
}

func (fb Feedback) check(fn string, f float64) error {
	if err := fb.Validate(); err != nil {
		return err
	}
	return arg.Between(fn, "f", f, 0, 1e30, "frequency in Hz")
}
