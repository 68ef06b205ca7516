// Package torsioncases holds the known answers of the torsion balance: published
// values and values computed independently. Its test and gravlab verify read
// the same cases.
package torsioncases

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/check"
	"gravity.example/gravlab/internal/refcases/rows"
	"gravity.example/gravlab/torsion"
	"gravity.example/testdata"
)

// Cases returns all known answers of package torsion.
func Cases() []check.Case {
	cases := computed()
	cases = append(cases, published()...)
	cases = append(cases, ribbons()...)
	cases = append(cases, cavendish()...)
	return cases
}

// rounding is the relative error that a few hundred float64 operations leave.
const rounding = 1e-12

var calls = rows.Calls{
	"Balance.Deflection": func(m testdata.ModelCheck) (float64, error) { return balance(m).Deflection() },
	"Balance.Deflection over that without the far spheres": func(m testdata.ModelCheck) (float64, error) {
		b := balance(m)
		theta, err := b.Deflection()
		if err != nil {
			return 0, err
		}
		near, err := nearOnly(b, theta)
		return theta / near, err
	},
	"Balance.Period(Plus)": func(m testdata.ModelCheck) (float64, error) { return balance(m).Period(torsion.Plus) },
	"Balance.PeriodAt": func(m testdata.ModelCheck) (float64, error) {
		return balance(m).PeriodAt(m.Float("A"), torsion.Plus)
	},
	"Balance.SnapIn": func(m testdata.ModelCheck) (float64, error) {
		limit, err := balance(m).SnapIn()
		return limit.FoldMass, err
	},
	"Balance.Period(InLine)": func(m testdata.ModelCheck) (float64, error) { return balance(m).Period(torsion.InLine) },
	"Balance.TorqueOf": func(m testdata.ModelCheck) (float64, error) {
		return balance(m).TorqueOf(m.Float("m_person"), m.Float("x"), m.Float("y"), 0)
	},
	"ThermalAngle": func(m testdata.ModelCheck) (float64, error) {
		return torsion.ThermalAngle(m.Float("kappa"), m.Float("T"))
	},
	"ThermalTorque": func(m testdata.ModelCheck) (float64, error) {
		return torsion.ThermalTorque(m.Float("kappa"), m.Float("I"), m.Float("Q"), m.Float("T"))
	},
	"Fibre.Kappa": func(m testdata.ModelCheck) (float64, error) {
		return torsion.Fibre{Radius: m.Float("r"), Length: m.Float("l"), ShearModulus: m.Float("n")}.Kappa()
	},
	"Ribbon.Kappa": func(m testdata.ModelCheck) (float64, error) {
		return torsion.Ribbon{Width: m.Float("w"), Thickness: m.Float("t"), Length: m.Float("l"), ShearModulus: m.Float("n")}.Kappa()
	},
	"Ribbon.Kappa by its load": func(m testdata.ModelCheck) (float64, error) {
		r := torsion.Ribbon{Width: m.Float("w"), Thickness: m.Float("t"), Length: m.Float("l"), ShearModulus: 1e10}
		slack, err := r.Kappa()
		if err != nil {
			return 0, err
		}
		r.Load = m.Float("m_load") * m.Float("g")
		loaded, err := r.Kappa()
		return loaded - slack, err
	},
	"Swing.Angle": func(m testdata.ModelCheck) (float64, error) {
		return torsion.Swing{Inertia: m.Float("I"), Kappa: m.Float("kappa"), Damping: m.Float("c"),
			Start: m.Float("theta0"), Equilibrium: m.Float("theta_e")}.Angle(m.Float("t"))
	},
	"Balance.Motion": func(m testdata.ModelCheck) (float64, error) {
		b := balance(m)
		b.Damping = m.Float("c")
		angles, err := b.Motion([]float64{m.Float("t")})
		if err != nil {
			return 0, err
		}
		return angles[0], nil
	},
	"StartAcceleration": func(m testdata.ModelCheck) (float64, error) {
		s := torsion.Swing{Inertia: m.Float("I"), Kappa: m.Float("kappa"), Start: -1, Equilibrium: 1}
		t := m.Float("t")
		angle, err := s.Angle(t)
		if err != nil {
			return 0, err
		}
		alpha, err := torsion.StartAcceleration(angle-s.Start, t, 0)
		return alpha / (2 * s.Kappa / s.Inertia), err
	},
	"PatchStiffness": func(m testdata.ModelCheck) (float64, error) {
		k, err := torsion.PatchStiffness(m.Float("A"), m.Float("gap"), m.Float("b"), m.Float("V"))
		// The row's permittivity is that of CODATA 2022, ours that of 2018.
		return k * m.Float("eps0") / gravlab.VacuumPermittivity, err
	},
	"Lever.Spot": func(m testdata.ModelCheck) (float64, error) {
		return torsion.Lever{Distance: m.Float("D")}.Spot(m.Float("theta"))
	},
	"Balance.Period(Removed)": func(m testdata.ModelCheck) (float64, error) {
		// Dimensions and deflection give the stiffness, that and the points on
		// the arm the full period.
		const inch, grain = 0.0254, 64.79891e-6
		b := torsion.Balance{Arm: m.Float("b_in") * inch, Distance: m.Float("d_in") * inch,
			SmallMass: m.Float("m_grain") * grain, LargeMass: m.Float("M_grain") * grain}
		theta := m.Float("B") / 20 / 38.3
		torque, err := b.Torque(0, torsion.Plus)
		if err != nil {
			return 0, err
		}
		b.Kappa = torque / theta
		return b.Period(torsion.Removed)
	},
	"EarthDensity": func(m testdata.ModelCheck) (float64, error) {
		return torsion.EarthDensity(m.Float("G"), m.Float("g"), m.Float("R"))
	},
}

// methods are the errors of those that leave more than rounding.
var methods = map[string]check.Tolerance{
	"Balance.Deflection over that without the far spheres": {Rel: 1e-9, Why: "the deflection without the far spheres is found by bisection of TorqueOf and leaves 1e-12; margin for the difference of two pulls"},
	"Balance.PeriodAt":         {Rel: 1e-11, Why: "quadrature with 64 points, doubled: 1e-13 seen; two digits of margin"},
	"Ribbon.Kappa by its load": {Rel: 1e-12, Why: "difference of two constants, the larger 16 times as large: 1e-14 of rounding"},
	"Balance.Motion":           {Rel: 1e-9, Why: "errors of 1e-12 a step add up over some hundred steps; one digit of margin"},
}

// balance makes the balance of a row: points unless the row gives radii.
func balance(m testdata.ModelCheck) torsion.Balance {
	b := torsion.Balance{Distance: 1, LargeMass: 1}
	for name, field := range map[string]*float64{
		"b": &b.Arm, "d": &b.Distance, "m": &b.SmallMass, "M": &b.LargeMass,
		"m_beam": &b.BeamMass, "kappa": &b.Kappa, "s": &b.InLine,
	} {
		if _, ok := m.Inputs[name]; ok {
			*field = m.Float(name)
		}
	}
	return b
}

// nearOnly finds the deflection by the near spheres alone, near the angle
// given, by bisection: twice the pull of the near sphere on its own small one,
// which is what TorqueOf gives less the pull on the other.
func nearOnly(b torsion.Balance, near float64) (float64, error) {
	torque := func(theta float64) float64 {
		x, y := b.Arm*math.Cos(theta), b.Arm*math.Sin(theta)
		distance := math.Hypot(b.Arm-x, b.Distance-y)
		return 2 * gravlab.G * b.SmallMass * b.LargeMass * (x*b.Distance - y*b.Arm) / (distance * distance * distance)
	}
	lo, hi := near/2, 2*near
	for range 100 {
		mid := (lo + hi) / 2
		if b.Kappa*mid < torque(mid) {
			lo = mid
		} else {
			hi = mid
		}
	}
	if hi-lo > 1e-12*near {
		return 0, fmt.Errorf("no deflection by the near spheres found near %g rad", near)
	}
	return lo, nil
}

func computed() []check.Case {
	var cases []check.Case
	for _, m := range testdata.ModelChecks("torsion") {
		cases = append(cases, calls.Case(m, tolerance(m)))
	}
	return cases
}

// tolerance is the larger of the reference's own error and that of our method.
func tolerance(m testdata.ModelCheck) check.Tolerance {
	t, ok := methods[m.Call]
	if !ok {
		t = check.Tolerance{Rel: rounding, Why: "rounding of float64"}
	}
	text := strings.TrimSuffix(m.ErrorEstimate, " between routes")
	fields := strings.Fields(text)
	if len(fields) < 2 {
		return t
	}
	number := fields[1]
	if number == "below" && len(fields) > 2 {
		number = fields[2]
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return t
	}
	if fields[0] == "abs" && v > t.Rel*math.Abs(m.Value) {
		return check.Tolerance{Abs: v, Why: "error estimate of the reference"}
	}
	if fields[0] == "rel" && v > t.Rel {
		return check.Tolerance{Rel: v, Why: "error estimate of the reference: " + m.ErrorEstimate}
	}
	return t
}
