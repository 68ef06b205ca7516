package reduction

import (
	"errors"
	"math"

	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/quantity"
	"gravity.example/gravlab/torsion"
)

// Uncertainties are the standard uncertainties of what goes into G by
// torsion.Balance.GFromSwing, each in the unit of its quantity. Zero means
// known without error.
type Uncertainties struct {
	Arm, Distance           float64 // m
	SmallMass, LargeMass    float64 // kg
	SmallRadius, BeamLength float64 // m
	BeamMass                float64 // kg
	ExtraInertia            float64 // kg m²
	Deflection              float64 // rad
	Period                  float64 // s
	Correlation             float64 // of Deflection and Period, -1 to 1, as Fit gives it
	OtherTorque             float64 // of any torque that is not in the model and follows the large spheres (a person who always stands on their side, say), N m
}

// Budget returns G by GFromSwing from the deflection (rad) and the undamped
// period (s) of the balance, with its uncertainty and the fraction of each
// quantity in it: the law of propagation of quantity.Propagate on the exact
// formula, so that far spheres, beam and gradient are counted. Printed, it is a
// table.
//
// Its lines are the quantities with an uncertainty, and always deflection and
// period. The masses are taken as independent of each other. (Scales that are
// wrong by a factor change the large spheres' mass; the small ones' cancels.)
func Budget(b torsion.Balance, theta, period float64, u Uncertainties) (*quantity.Budget, error) {
	if _, err := b.GFromSwing(theta, period); err != nil {
		return nil, err
	}
	if u.BeamLength > 0 && b.BeamLength == 0 {
		b.BeamLength = 2 * b.Arm // else the length would follow the arm
	}
	const fn = "reduction.Uncertainties"
	if err := arg.Between(fn, "Correlation", u.Correlation, -1, 1, "correlation"); err != nil {
		return nil, err
	}
	inertia, err := b.Inertia()
	if err != nil {
		return nil, err
	}
	omega := 2 * math.Pi / period
	torque := inertia * omega * omega * theta // what another torque compares with

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
	bigG := func() float64 {
		g, err := v.GFromSwing(theta, period)
		if err != nil {
			return math.NaN()
		}
		return g * (1 - other/torque)
	}
	return quantity.Propagate(func(x []float64) float64 {
		for i, p := range varied {
			*p = x[i]
		}
		// A mass, radius or inertia of zero can only be varied upwards; the
		// other side is continued in a straight line.
		for _, p := range []*float64{&v.BeamMass, &v.SmallRadius, &v.ExtraInertia} {
			if below := *p; below < 0 {
				*p = -below
				above := bigG()
				*p = 0
				return 2*bigG() - above
			}
		}
		return bigG()
	}, inputs, correlation)
}
