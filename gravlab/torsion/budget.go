package torsion

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"gravity.example/gravlab/internal/arg"
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

// A Term is one line of a budget.
type Term struct {
	Name     string
	Unit     string
	Value    float64
	U        float64 // standard uncertainty of the quantity
	Exponent float64 // (x/G) dG/dx: how many per cent G changes with one per cent of the quantity
	UG       float64 // standard uncertainty of G from this quantity alone, m³ kg⁻¹ s⁻²
	Share    float64 // of the variance of G
}

// A Budget says what G is, how uncertain, and why.
type Budget struct {
	G, U  float64 // G and its standard uncertainty, m³ kg⁻¹ s⁻²
	Terms []Term
	// Correlated is the share of the variance that the correlation of
	// deflection and period adds; it may be negative. With those of the terms
	// the shares add up to one.
	Correlated float64
}

// Budget returns G by GFromSwing from the deflection (rad) and undamped period
// (s), with its uncertainty budget, by propagation to first order (JCGM
// 100:2008, 5.1 and 5.2). The derivatives are central differences of the exact
// formula, so that the budget counts far spheres, beam and gradient too.
func (b Balance) Budget(theta, period float64, u Uncertainties) (Budget, error) {
	if u.BeamLength > 0 {
		b.BeamLength = 2 * b.halfBeam() // else the length would follow the arm
	}
	g, err := b.GFromSwing(theta, period)
	if err != nil {
		return Budget{}, err
	}
	if g == 0 {
		return Budget{}, arg.Bad("torsion.Balance.Budget", "theta", theta, "a deflection other than zero")
	}
	if err := u.validate(); err != nil {
		return Budget{}, err
	}
	torque, err := b.Torque(theta, Plus)
	if err != nil {
		return Budget{}, err
	}
	v := b // the varied one
	budget := Budget{G: g}
	slope := map[string]float64{}
	for _, q := range []struct {
		name, unit string
		x          *float64
		u          float64
	}{
		{"arm", "m", &v.Arm, u.Arm},
		{"distance", "m", &v.Distance, u.Distance},
		{"small mass", "kg", &v.SmallMass, u.SmallMass},
		{"large mass", "kg", &v.LargeMass, u.LargeMass},
		{"small radius", "m", &v.SmallRadius, u.SmallRadius},
		{"beam mass", "kg", &v.BeamMass, u.BeamMass},
		{"beam length", "m", &v.BeamLength, u.BeamLength},
		{"extra inertia", "kg m²", &v.ExtraInertia, u.ExtraInertia},
		{"deflection", "rad", &theta, u.Deflection},
		{"period", "s", &period, u.Period},
	} {
		if q.u == 0 {
			continue
		}
		value := *q.x
		// Cube root of the rounding: the best step of a central difference.
		step := 6e-6 * math.Abs(value)
		low := value - step
		if value == 0 {
			step, low = 1e-3*q.u, 0
		}
		*q.x = value + step
		above, errAbove := v.GFromSwing(theta, period)
		*q.x = low
		below, errBelow := v.GFromSwing(theta, period)
		*q.x = value
		if err := errors.Join(errAbove, errBelow); err != nil {
			return Budget{}, err
		}
		d := (above - below) / (value + step - low)
		slope[q.name] = d
		budget.Terms = append(budget.Terms, Term{Name: q.name, Unit: q.unit, Value: value, U: q.u, Exponent: d * value / g, UG: math.Abs(d) * q.u})
	}
	if u.OtherTorque > 0 {
		budget.Terms = append(budget.Terms, Term{Name: "other torque", Unit: "N m", U: u.OtherTorque, UG: g / math.Abs(torque) * u.OtherTorque})
	}
	var variance float64
	for _, t := range budget.Terms {
		variance += t.UG * t.UG
	}
	cross := 2 * u.Correlation * slope["deflection"] * u.Deflection * slope["period"] * u.Period
	variance += cross
	budget.U = math.Sqrt(math.Max(variance, 0))
	if _, err := result("torsion.Balance.Budget", budget.U); err != nil {
		return Budget{}, err
	}
	if budget.U > 0 {
		for i := range budget.Terms {
			ratio := budget.Terms[i].UG / budget.U
			budget.Terms[i].Share = ratio * ratio
		}
		budget.Correlated = cross / budget.U / budget.U
	}
	return budget, nil
}

func (u Uncertainties) validate() error {
	const fn = "torsion.Uncertainties"
	return errors.Join(
		arg.NonNegative(fn, "Arm", u.Arm, "standard uncertainty in m"),
		arg.NonNegative(fn, "Distance", u.Distance, "standard uncertainty in m"),
		arg.NonNegative(fn, "SmallMass", u.SmallMass, "standard uncertainty in kg"),
		arg.NonNegative(fn, "LargeMass", u.LargeMass, "standard uncertainty in kg"),
		arg.NonNegative(fn, "SmallRadius", u.SmallRadius, "standard uncertainty in m"),
		arg.NonNegative(fn, "BeamLength", u.BeamLength, "standard uncertainty in m"),
		arg.NonNegative(fn, "BeamMass", u.BeamMass, "standard uncertainty in kg"),
		arg.NonNegative(fn, "ExtraInertia", u.ExtraInertia, "standard uncertainty in kg m²"),
		arg.NonNegative(fn, "Deflection", u.Deflection, "standard uncertainty in rad"),
		arg.NonNegative(fn, "Period", u.Period, "standard uncertainty in s"),
		arg.Between(fn, "Correlation", u.Correlation, -1, 1, "correlation"),
		arg.NonNegative(fn, "OtherTorque", u.OtherTorque, "standard uncertainty in N m"),
	)
}

// String returns the budget as a table with the largest share of each term in
// per cent, and G below it.
func (b Budget) String() string {
	var s strings.Builder
	fmt.Fprintf(&s, "%-14s %12s %10s %-6s %9s %9s %7s\n", "quantity", "value", "u", "unit", "exponent", "u(G)/G", "share")
	for _, t := range b.Terms {
		fmt.Fprintf(&s, "%-14s %12.6g %10.2g %-6s %9.3f %8.2g%% %6.1f%%\n",
			t.Name, t.Value, t.U, t.Unit, t.Exponent, 100*t.UG/b.G, 100*t.Share)
	}
	if b.Correlated != 0 {
		fmt.Fprintf(&s, "%-14s %12s %10s %-6s %9s %9s %6.1f%%\n", "correlation", "", "", "", "", "", 100*b.Correlated)
	}
	fmt.Fprintf(&s, "G = %.4e m³ kg⁻¹ s⁻², u = %.1e (%.2g%%)", b.G, b.U, 100*b.U/b.G)
	return s.String()
}
