package torsion

import (
	"errors"
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/arg"
)

// GSimple returns the textbook estimate of G from the deflection theta_e (rad,
// from the middle), m³ kg⁻¹ s⁻²:
//
//	G = kappa theta_e d² / (2 m M b)
//
// It counts the two near pairs only, as points. It leaves out the far spheres,
// the pull on the beam and the turn of the beam; Corrections gives their sizes
// and GFromDeflection counts them.
func (b Balance) GSimple(theta float64) (float64, error) {
	if err := b.validateMeasured("torsion.Balance.GSimple", theta); err != nil {
		return 0, err
	}
	return result("torsion.Balance.GSimple", b.Kappa*theta*b.Distance*b.Distance/(2*b.SmallMass*b.LargeMass*b.Arm))
}

// GFromDeflection returns G, m³ kg⁻¹ s⁻², from the deflection theta_e (rad,
// from the middle, position Plus) and the torsion constant of the fibre:
//
//	G = kappa theta_e / (torque(theta_e)/G)
//
// with the exact torque. Kappa must be the fibre's own, without the gradient of
// the large spheres: see KappaFromPeriod.
func (b Balance) GFromDeflection(theta float64) (float64, error) {
	if err := b.validateMeasured("torsion.Balance.GFromDeflection", theta); err != nil {
		return 0, err
	}
	torque, _, err := b.torqueAndSlope(theta, Plus)
	if err != nil {
		return 0, err
	}
	return positiveG(b.Kappa * theta / torque * gravlab.G)
}

// GFromSwing returns G, m³ kg⁻¹ s⁻², from the deflection theta_e (rad, from the
// middle, position Plus) and the period of small swings about it, T in s,
// corrected for damping (UndampedPeriod). It needs no torsion constant and is
// what most class experiments use. From kappa theta = torque and (2 pi/T)² I =
// kappa - slope of the torque,
//
//	G = I (2 pi/T)² theta_e / ((torque - theta_e slope)/G)
//
// so the gradient of the large spheres' pull, which changes the period, is
// counted. Kappa is not used.
func (b Balance) GFromSwing(theta, period float64) (float64, error) {
	const fn = "torsion.Balance.GFromSwing"
	if err := errors.Join(
		arg.Finite(fn, "theta", theta, "angle in rad"),
		arg.Positive(fn, "period", period, "full period in s"),
	); err != nil {
		return 0, err
	}
	torque, slope, err := b.torqueAndSlope(theta, Plus)
	if err != nil {
		return 0, err
	}
	omega := 2 * math.Pi / period
	return positiveG(b.inertia() * omega * omega * theta / (torque - theta*slope) * gravlab.G)
}

// GFromAcceleration returns G, m³ kg⁻¹ s⁻², from the angular acceleration
// (rad/s²) with which the beam leaves its rest at theta_e on one side, when the
// large spheres are switched to the other: from Minus to Plus with the beam at
// -theta_e. The fibre's torque then still balances the old pull, so
//
//	G = I alpha / ((torque Plus at -theta_e - torque Minus at -theta_e)/G)
//
// theta is theta_e, from the middle (rad). The torsion constant is not used.
// StartAcceleration gives alpha.
func (b Balance) GFromAcceleration(theta, alpha float64) (float64, error) {
	const fn = "torsion.Balance.GFromAcceleration"
	if err := errors.Join(
		arg.Finite(fn, "theta", theta, "angle in rad"),
		arg.Positive(fn, "alpha", alpha, "angular acceleration in rad/s²"),
	); err != nil {
		return 0, err
	}
	plus, _, err := b.torqueAndSlope(-theta, Plus)
	if err != nil {
		return 0, err
	}
	minus, _, err := b.torqueAndSlope(-theta, Minus)
	if err != nil {
		return 0, err
	}
	return positiveG(b.inertia() * alpha / (plus - minus) * gravlab.G)
}

// StartAcceleration returns the angular acceleration at the start, rad/s², of a
// beam that has moved by moved (rad) from rest in the first t seconds. With
// period zero it is 2 moved/t², which is too small by about (omega t)²/12 of
// itself because the fibre slackens as the beam moves: 6 % after a seventh of a
// period. With the undamped period in s that is counted:
//
//	alpha = moved omega² / (1 - cos(omega t))
//
// Damping is left out: it costs about c t/(3 I) of the value.
func StartAcceleration(moved, t, period float64) (float64, error) {
	const fn = "torsion.StartAcceleration"
	if err := errors.Join(
		arg.Finite(fn, "moved", moved, "angle in rad"),
		arg.Positive(fn, "t", t, "time in s"),
		arg.NonNegative(fn, "period", period, "period in s, or zero for the simple formula"),
	); err != nil {
		return 0, err
	}
	alpha := 2 * moved / (t * t)
	if period > 0 {
		if t >= period/2 {
			return 0, arg.Bad(fn, "t", t, fmt.Sprintf("less than half the period of %g s: it is the start that counts", period))
		}
		half := math.Pi * t / period
		alpha *= (half / math.Sin(half)) * (half / math.Sin(half))
	}
	if !finite(alpha) {
		return 0, arg.Bad(fn, "t", t, "a time that is not vanishingly short")
	}
	return alpha, nil
}

// GFromPeriods returns G, m³ kg⁻¹ s⁻², from the change of the period that the
// large spheres cause in line with the beam:
//
//	G = I ((2 pi/T_in)² - (2 pi/T_away)²) / (-slope/G in line)
//
// Both periods in s, full, of small swings, corrected for damping
// (UndampedPeriod). No angle needs to be measured.
func (b Balance) GFromPeriods(inLine, away float64) (float64, error) {
	const fn = "torsion.Balance.GFromPeriods"
	if err := errors.Join(
		arg.Positive(fn, "inLine", inLine, "period in s"),
		arg.Positive(fn, "away", away, "period in s"),
	); err != nil {
		return 0, err
	}
	_, slope, err := b.torqueAndSlope(0, InLine)
	if err != nil {
		return 0, err
	}
	if inLine >= away {
		return 0, arg.Bad(fn, "inLine", inLine, fmt.Sprintf("less than the period of %g s with the large spheres away: in line they stiffen the balance", away))
	}
	// The difference of the squares, without cancellation.
	fast, slow := 2*math.Pi/inLine, 2*math.Pi/away
	return positiveG(b.inertia() * (fast - slow) * (fast + slow) / -slope * gravlab.G)
}

// UndampedPeriod returns the period, s, that a damped swing of full period T
// and decay time tau would have without its damping: 2 pi / sqrt((2 pi/T)² +
// 1/tau²). tau may be +Inf.
func UndampedPeriod(period, tau float64) (float64, error) {
	k, err := KappaFromPeriod(1, period, tau)
	if err != nil {
		return 0, err
	}
	return result("torsion.UndampedPeriod", 2*math.Pi/math.Sqrt(k))
}

func (b Balance) validateMeasured(fn string, theta float64) error {
	if err := b.validateSwing(); err != nil {
		return err
	}
	return arg.Finite(fn, "theta", theta, "angle in rad")
}

func positiveG(g float64) (float64, error) {
	if !finite(g) || g < 0 {
		return 0, fmt.Errorf("torsion: the measured values give G = %g: look at the sign of the angle and at the dimensions", g)
	}
	return g, nil
}
