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

// A route computes the value of one kind of row of model_checks.csv.
type route struct {
	got func(testdata.ModelCheck) (float64, error)
	rel float64 // error of our method; zero for what rounding of float64 leaves
	why string
}

// rounding is the relative error that a few hundred float64 operations leave.
const rounding = 1e-12

var routes = map[string]route{
	"static": {got: func(m testdata.ModelCheck) (float64, error) { return balance(m).Deflection() }},
	"beam":   {got: func(m testdata.ModelCheck) (float64, error) { return balance(m).Deflection() }},
	"farsphere": {got: func(m testdata.ModelCheck) (float64, error) {
		b := balance(m)
		theta, err := b.Deflection()
		if err != nil {
			return 0, err
		}
		near, err := nearOnly(b, theta)
		return theta / near, err
	}, rel: 1e-9, why: "the deflection without the far spheres is found by bisection of TorqueOf and leaves 1e-12; margin for the difference of two pulls"},
	"stiffness": {got: func(m testdata.ModelCheck) (float64, error) { return balance(m).Period(torsion.Plus) }},
	"finiteamp": {got: func(m testdata.ModelCheck) (float64, error) {
		return balance(m).PeriodAt(m.Float("A"), torsion.Plus)
	}, rel: 1e-11, why: "quadrature with 64 points, doubled: 1e-13 seen; two digits of margin"},
	"snapin": {got: func(m testdata.ModelCheck) (float64, error) {
		limit, err := balance(m).SnapIn()
		return limit.FoldMass, err
	}},
	"inline": {got: func(m testdata.ModelCheck) (float64, error) { return balance(m).Period(torsion.InLine) }},
	"person": {got: func(m testdata.ModelCheck) (float64, error) {
		return balance(m).TorqueOf(m.Float("m_person"), m.Float("x"), m.Float("y"), 0)
	}},
	"kT": {got: func(m testdata.ModelCheck) (float64, error) {
		return torsion.ThermalAngle(m.Float("kappa"), m.Float("T"))
	}},
	"thermaltorque": {got: func(m testdata.ModelCheck) (float64, error) {
		if strings.Contains(m.Quantity, "structural") {
			return torsion.ThermalTorqueStructural(m.Float("kappa"), m.Float("Q"), m.Float("T"), m.Float("f"))
		}
		return torsion.ThermalTorque(m.Float("kappa"), m.Float("I"), m.Float("Q"), m.Float("T"))
	}},
	"fibre": {got: func(m testdata.ModelCheck) (float64, error) {
		return torsion.Fibre{Radius: m.Float("r"), Length: m.Float("l"), ShearModulus: m.Float("n")}.Kappa()
	}},
	"ribbon": {got: func(m testdata.ModelCheck) (float64, error) {
		return torsion.Ribbon{Width: m.Float("w"), Thickness: m.Float("t"), Length: m.Float("l"), ShearModulus: m.Float("n")}.Kappa()
	}},
	"ribbontension": {got: func(m testdata.ModelCheck) (float64, error) {
		r := torsion.Ribbon{Width: m.Float("w"), Thickness: m.Float("t"), Length: m.Float("l"), ShearModulus: 1e10}
		slack, err := r.Kappa()
		if err != nil {
			return 0, err
		}
		r.Load = m.Float("m_load") * m.Float("g")
		loaded, err := r.Kappa()
		return loaded - slack, err
	}, rel: 1e-12, why: "difference of two constants, the larger 16 times as large: 1e-14 of rounding"},
	"swing": {got: func(m testdata.ModelCheck) (float64, error) {
		return torsion.Swing{Inertia: m.Float("I"), Kappa: m.Float("kappa"), Damping: m.Float("c"),
			Start: m.Float("theta0"), Equilibrium: m.Float("theta_e")}.Angle(m.Float("t"))
	}},
	"swingexact": {got: func(m testdata.ModelCheck) (float64, error) {
		b := balance(m)
		b.Damping = m.Float("c")
		angles, err := b.Motion([]float64{m.Float("t")})
		if err != nil {
			return 0, err
		}
		return angles[0], nil
	}, rel: 1e-9, why: "errors of 1e-12 a step add up over some hundred steps; one digit of margin"},
	"initial": {got: func(m testdata.ModelCheck) (float64, error) {
		s := torsion.Swing{Inertia: m.Float("I"), Kappa: m.Float("kappa"), Start: -1, Equilibrium: 1}
		t := m.Float("t")
		angle, err := s.Angle(t)
		if err != nil {
			return 0, err
		}
		alpha, err := torsion.StartAcceleration(angle-s.Start, t, 0)
		return alpha / (2 * s.Kappa / s.Inertia), err
	}},
	"patch": {got: func(m testdata.ModelCheck) (float64, error) {
		k, err := torsion.PatchStiffness(m.Float("A"), m.Float("gap"), m.Float("b"), m.Float("V"))
		// The row's permittivity is that of CODATA 2022, ours that of 2018.
		return k * m.Float("eps0") / gravlab.VacuumPermittivity, err
	}},
	"lever": {got: func(m testdata.ModelCheck) (float64, error) {
		return torsion.Lever{Distance: m.Float("D")}.Spot(m.Float("theta"))
	}},
	"cavendish": {got: func(m testdata.ModelCheck) (float64, error) {
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
	}},
	"earthmass": {got: func(m testdata.ModelCheck) (float64, error) {
		if strings.Contains(m.Quantity, "density") {
			return torsion.EarthDensity(m.Float("G"), m.Float("g"), m.Float("R"))
		}
		return torsion.EarthMass(m.Float("G"), m.Float("g"), m.Float("R"))
	}},
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
		kind := strings.Split(m.ID, "-")[1]
		r, ok := routes[kind]
		got := func() (float64, error) { return r.got(m) }
		if !ok {
			got = func() (float64, error) { return 0, fmt.Errorf("no route for %q", kind) }
		}
		cases = append(cases, check.Case{
			ID: m.ID, Quantity: m.Quantity, Unit: m.Unit, Want: m.Value,
			Tol: tolerance(m, r), Source: m.Source + "; " + m.Route, Known: check.Computed, Got: got,
		})
	}
	return cases
}

// tolerance is the larger of the reference's own error and that of our method.
func tolerance(m testdata.ModelCheck, r route) check.Tolerance {
	t := check.Tolerance{Rel: rounding, Why: "rounding of float64"}
	if r.rel > 0 {
		t = check.Tolerance{Rel: r.rel, Why: r.why}
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
