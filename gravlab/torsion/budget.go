package torsion

import (
	"errors"

	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/quantity"
)

// Uncertainties are the standard uncertainties of what goes into G by
// Balance.GFromSwing, each in the unit of its quantity. Zero means known
// without error.
type Uncertainties struct {
	Arm, Distance           float64 // m
	SmallMass, LargeMass    float64 // kg
	SmallRadius, BeamLength float64 // m
	BeamMass                float64 // kg
	ExtraInertia            float64 // kg m²
	Deflection              float64 // rad
	Period                  float64 // s
	Correlation             float64 // of Deflection and Period, -1 to 1, as FitRecording gives it
	OtherTorque             float64 // of any torque that is not in the model and follows the large spheres (a person who always stands on their side, say), N m
}

// Budget returns G by GFromSwing from the deflection (rad) and the undamped
// period (s), with its uncertainty and the share of each quantity in it: the
// law of propagation of quantity.Propagate on the exact formula, so that far
// spheres, beam and gradient are counted. Printed, it is a table.
//
// Its lines are the quantities with an uncertainty, and always deflection and
// period. The masses are taken as independent of each other; a balance of
// weights that is wrong by a factor cancels for the small spheres but not for
// the large ones.
func (b Balance) Budget(theta, period float64, u Uncertainties) (*quantity.Budget, error) {
	if u.BeamLength > 0 {
		b.BeamLength = 2 * b.halfBeam() // else the length would follow the arm
	}
	if _, err := b.GFromSwing(theta, period); err != nil {
		return nil, err
	}
	const fn = "torsion.Uncertainties"
	if err := arg.Between(fn, "Correlation", u.Correlation, -1, 1, "correlation"); err != nil {
		return nil, err
	}
	v, other := b, 0.0 // varied below
	variables := []struct {
		name string
		x    *float64
		u    float64
	}{
		{"deflection", &theta, u.Deflection},
		{"period", &period, u.Period},
		{"arm", &v.Arm, u.Arm},
		{"distance", &v.Distance, u.Distance},
		{"small mass", &v.SmallMass, u.SmallMass},
		{"large mass", &v.LargeMass, u.LargeMass},
		{"small radius", &v.SmallRadius, u.SmallRadius},
		{"beam mass", &v.BeamMass, u.BeamMass},
		{"beam length", &v.BeamLength, u.BeamLength},
		{"extra inertia", &v.ExtraInertia, u.ExtraInertia},
		{"other torque", &other, u.OtherTorque},
	}
	var inputs []quantity.Input
	var varied []*float64
	var errs []error
	for i, q := range variables {
		errs = append(errs, arg.NonNegative(fn, q.name, q.u, "standard uncertainty"))
		if i < 2 || q.u > 0 {
			inputs = append(inputs, quantity.Input{Name: q.name, Value: *q.x, U: q.u})
			varied = append(varied, q.x)
		}
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	correlation, err := quantity.Correlations(len(inputs), [3]float64{0, 1, u.Correlation})
	if err != nil {
		return nil, err
	}
	return quantity.Propagate(func(x []float64) float64 {
		for i, p := range varied {
			*p = x[i]
		}
		return v.swingG(theta, period, other)
	}, inputs, correlation)
}

// swingG is GFromSwing without its checks, so that quantities near zero can be
// varied to either side, and with another torque beside the model's.
func (b Balance) swingG(theta, period, other float64) float64 {
	torque, slope := b.pendant().torque(b.Arm, b.Distance, theta)
	square := b.inertia() * omegaSquared(period)
	return (square*theta - other) / (2 * b.LargeMass * (torque - theta*slope))
}
