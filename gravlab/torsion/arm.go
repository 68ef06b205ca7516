package torsion

import (
	"fmt"
	"math"

	"gravity.example/gravlab/internal/arg"
)

// Held says what stays as it is while BestArm varies the arm. There is no best
// arm without it.
type Held int

const (
	// HeldStress: the fibre carries its load at the same stress. The beam has
	// the same mass per length, so that a longer one is heavier and needs a
	// thicker fibre, whose torsion constant grows as the square of the load.
	HeldStress Held = iota
	// HeldPeriod: the fibre is chosen for the same period. The moment of
	// inertia grows as the square of the arm, so the fibre must be stiffer.
	HeldPeriod
	// HeldGap: the same fibre and the same gap, Clearance, between the small
	// spheres and the case. The deflection grows with the arm until the small
	// spheres touch the case.
	HeldGap
)

func (h Held) String() string {
	switch h {
	case HeldStress:
		return "same stress"
	case HeldPeriod:
		return "same period"
	case HeldGap:
		return "same gap"
	}
	return "nothing known"
}

// BestArm returns a copy of the balance with the arm that gives the largest
// deflection: the same masses, the same distance d, the same length of fibre,
// and what is held as it is. The beam keeps its mass per length and its
// overhang beyond the small spheres; Kappa of the copy is what the condition
// asks for. InLine and Clearance belong to the old arm and are zero in the
// copy, but for the gap that is held.
//
// At held stress and period the deflection is that of a weak pull, the torque
// at theta = 0 over kappa. Ask Deflection and SnapIn of the copy whether the
// pull is weak there: a long arm may bring the small spheres to the large ones.
// At held gap it is the exact deflection.
//
// It is an error if there is no best arm, as with a beam without mass at held
// stress. Arms are tried from the radius of the small spheres, or 0.01 d if
// that is larger, to 100 d.
func (b Balance) BestArm(held Held) (Balance, error) {
	if err := b.validateSwing(); err != nil {
		return Balance{}, err
	}
	lo, hi := math.Max(1.001*b.SmallRadius, 0.01*b.Distance), 100*b.Distance
	switch held {
	case HeldStress, HeldPeriod:
		return b.mostSensitive(held, lo, hi)
	case HeldGap:
		if b.Clearance == 0 {
			return Balance{}, arg.Bad("torsion.Balance", "Clearance", b.Clearance, "a positive gap in m when it is what stays as it is")
		}
		return b.longest(lo, hi)
	}
	return Balance{}, arg.Bad("torsion.Balance.BestArm", "held", int(held), "HeldStress, HeldPeriod or HeldGap")
}

// mostSensitive walks a grid in the logarithm of the arm and narrows down by
// golden section.
func (b Balance) mostSensitive(held Held, lo, hi float64) (Balance, error) {
	sensitivity := func(arm float64) float64 {
		v := b.withArm(arm, held)
		torque, _ := v.pendant().torque(v.Arm, v.Distance, 0)
		return torque / v.Kappa
	}
	const steps = 200
	ratio := math.Pow(hi/lo, 1.0/steps)
	top, place := math.Inf(-1), -1
	for i := range steps + 1 {
		if s := sensitivity(lo * math.Pow(ratio, float64(i))); s > top {
			top, place = s, i
		}
	}
	if place <= 0 || place >= steps {
		return Balance{}, fmt.Errorf("torsion.Balance.BestArm: the deflection has no maximum for arms from %.3g to %.3g m", lo, hi)
	}
	arm := golden(sensitivity, lo*math.Pow(ratio, float64(place-1)), lo*math.Pow(ratio, float64(place+1)))
	return b.withArm(arm, held), nil
}

// longest finds the arm at which the small spheres, at rest in position Plus,
// just reach the case.
func (b Balance) longest(lo, hi float64) (Balance, error) {
	room := func(arm float64) float64 {
		theta, err := b.withArm(arm, HeldGap).Deflection()
		if err != nil {
			return -1
		}
		return b.Clearance - arm*math.Sin(theta)
	}
	if room(lo) <= 0 || room(hi) >= 0 {
		return Balance{}, fmt.Errorf("torsion.Balance.BestArm: no arm from %.3g to %.3g m just touches the case", lo, hi)
	}
	arm := bisect(room, lo, hi)
	if math.Abs(room(arm)) > 1e-6*b.Clearance {
		return Balance{}, fmt.Errorf("torsion.Balance.BestArm: at an arm of %.4g m the beam snaps in or the spheres touch before it reaches the case", arm)
	}
	v := b.withArm(arm*(1-1e-9), HeldGap)
	v.Clearance = b.Clearance
	return v, nil
}

// withArm returns the balance with another arm and the torsion constant that
// goes with it.
func (b Balance) withArm(arm float64, held Held) Balance {
	v := b
	v.Arm = arm
	v.InLine, v.Clearance = 0, 0 // they belong to the old arm
	length := 2 * b.halfBeam()
	v.BeamLength = math.Max(length+2*(arm-b.Arm), 0.1*arm)
	v.BeamMass = b.BeamMass * v.BeamLength / length
	switch held {
	case HeldStress:
		load := (2*b.SmallMass + v.BeamMass) / (2*b.SmallMass + b.BeamMass)
		v.Kappa = b.Kappa * load * load
	case HeldPeriod:
		v.Kappa = b.Kappa * v.inertia() / b.inertia()
	}
	return v
}

// golden finds the maximum of f between lo and hi by golden section, to about
// the square root of the rounding.
func golden(f func(float64) float64, lo, hi float64) float64 {
	const ratio = 0.6180339887498949
	a, c := hi-ratio*(hi-lo), lo+ratio*(hi-lo)
	fa, fc := f(a), f(c)
	for range 60 {
		if fa > fc {
			hi, c, fc = c, a, fa
			a = hi - ratio*(hi-lo)
			fa = f(a)
		} else {
			lo, a, fa = a, c, fc
			c = lo + ratio*(hi-lo)
			fc = f(c)
		}
	}
	return lo + (hi-lo)/2
}
