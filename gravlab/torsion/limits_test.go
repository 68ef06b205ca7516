package torsion

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"

	"gravity.example/gravlab"
	"gravity.example/testdata"
)

func TestFibre(t *testing.T) {
	f := Fibre{Radius: 25e-6, Length: 0.6, ShearModulus: 1.6e11}
	k := gravlab.Must(f.Kappa())
	// The torque is the shear stress n theta rho/l times its lever arm over the
	// section.
	area := func(rho float64) float64 { return f.ShearModulus / f.Length * rho * rho * 2 * math.Pi * rho }
	near(t, "kappa", k, quad.Fixed(area, 0, f.Radius, 8, quad.Legendre{}, 0), 1e-12)
}

func TestRibbonLimits(t *testing.T) {
	// A very wide ribbon tends to n w t³/(3 l) (1 - 0.630 t/w).
	r := Ribbon{Width: 1e-2, Thickness: 1e-6, Length: 0.3, ShearModulus: 5e10}
	simple := r.ShearModulus * r.Width * math.Pow(r.Thickness, 3) / (3 * r.Length)
	near(t, "wide ribbon", gravlab.Must(r.Kappa()), simple*(1-0.6302e-4), 1e-7)
	turned := r
	turned.Width, turned.Thickness = r.Thickness, r.Width
	near(t, "exchanged", gravlab.Must(turned.Kappa()), gravlab.Must(r.Kappa()), 1e-15)
	r.Load = 0.5
	near(t, "load", gravlab.Must(r.Kappa())-gravlab.Must(turned.Kappa()), 0.5*(1e-4+1e-12)/(12*0.3), 1e-9)
}

func TestLever(t *testing.T) {
	l := Lever{Distance: 3}
	for _, theta := range []float64{-0.7, -0.01, 0, 1e-9, 0.3} {
		spot := gravlab.Must(l.Spot(theta))
		if back := gravlab.Must(l.Angle(spot)); math.Abs(back-theta) > 1e-15 {
			t.Errorf("angle of the spot of %g rad = %g", theta, back)
		}
	}
	spot := gravlab.Must(l.Spot(0.01))
	x := spot / l.Distance
	near(t, "error of the small angle", gravlab.Must(l.SmallAngle(spot))/0.01-1, x*x/3, 1e-3)
	if _, err := l.Spot(math.Pi / 4); err == nil {
		t.Error("light along the scale: no error")
	}
}

func TestThermal(t *testing.T) {
	const kappa, inertia, q, temperature = 1.6e-7, 1.5e-3, 40, 295
	omega0 := math.Sqrt(kappa / inertia)
	viscous := gravlab.Must(ThermalTorque(kappa, inertia, q, temperature))
	structural := gravlab.Must(ThermalTorqueStructural(kappa, q, temperature, omega0/(2*math.Pi)))
	near(t, "at resonance both dampings", structural, viscous, 1e-14)
	low := gravlab.Must(ThermalTorqueStructural(kappa, q, temperature, omega0/(2*math.Pi)/9))
	near(t, "structural at a ninth of the resonance", low, 3*viscous, 1e-14)

	// Equipartition: the noise through the response, over all frequencies, is
	// k_B T/kappa.
	response := func(x float64) float64 { // x = omega/omega0
		return 1 / ((1-x*x)*(1-x*x) + x*x/(q*q))
	}
	var sum float64
	for lo, width := 0.0, 0.005; lo < 200; lo += width {
		if lo > 2 {
			width = 0.5
		}
		sum += quad.Fixed(response, lo, lo+width, 12, quad.Legendre{}, 0)
	}
	variance := viscous * viscous / (kappa * kappa) * sum * omega0 / (2 * math.Pi)
	angle := gravlab.Must(ThermalAngle(kappa, temperature))
	near(t, "mean square angle", variance, angle*angle, 1e-6) // the rest beyond 200 omega0 is 1/(3·200³)·2/(pi q)

	// Long averages fall as 1/√t, short ones are limited by kT.
	long := gravlab.Must(AveragedThermalAngle(kappa, inertia, q, temperature, 1e6))
	near(t, "four times as long", gravlab.Must(AveragedThermalAngle(kappa, inertia, q, temperature, 4e6)), long/2, 1e-14)
	near(t, "in a moment", gravlab.Must(AveragedThermalAngle(kappa, inertia, q, temperature, 1e-3)), angle, 1e-15)
}

// TestPatchStiffness: second difference of the energy of the two condensers.
func TestPatchStiffness(t *testing.T) {
	const area, gap, arm, volts = 3e-4, 2e-3, 0.1, 0.05
	energy := func(theta float64) float64 {
		x := arm * theta
		return -gravlab.VacuumPermittivity * area * volts * volts / 2 * (1/(gap-x) + 1/(gap+x))
	}
	const h = 2e-5
	want := (energy(h) - 2*energy(0) + energy(-h)) / (h * h)
	near(t, "stiffness", gravlab.Must(PatchStiffness(area, gap, arm, volts)), want, 1e-5) // (b h/gap)² and rounding
}

func TestTilt(t *testing.T) {
	b := Skelmire()
	direct, pull, err := b.TiltEffect(Tilt{Height: 0.6, FeedThrough: 0.03})
	if direct != 0 || math.Abs(pull) > 1e-15 || err != nil {
		t.Errorf("no tilt: %g, %g, %v", direct, pull, err)
	}
	direct, across, err := b.TiltEffect(Tilt{Across: 1e-3, Height: 0.6, FeedThrough: 0.03})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "feed-through", direct, 3e-5, 1e-14)
	_, twice, _ := b.TiltEffect(Tilt{Across: 2e-3, Height: 0.6})
	near(t, "twice the tilt", twice, 4*across, 1e-2)
	_, other, _ := b.TiltEffect(Tilt{Across: -1e-3, Height: 0.6})
	near(t, "the other way", other, across, 1e-6)
	// One pair nearer by x, the other farther: 1/d² becomes 1/d² (1 + 3 x²/d²),
	// seen here to the accuracy of leaving out all other geometry.
	x := 0.6e-3
	theta := gravlab.Must(b.Deflection())
	if ratio := across / theta / (3 * x * x / (b.Distance * b.Distance)); ratio < 0.5 || ratio > 2 {
		t.Errorf("pull by a tilt across is %g times the estimate for plain pairs", ratio)
	}
}

func TestBestArm(t *testing.T) {
	b := Skelmire()
	b.LargeMass /= 1000 // a weak pull
	b.Clearance = 9e-6
	for _, held := range []Held{HeldStress, HeldPeriod} {
		best := gravlab.Must(b.BestArm(held))
		deflection := gravlab.Must(best.Deflection())
		for _, factor := range []float64{0.97, 1.03} {
			if theta := gravlab.Must(b.withArm(best.Arm*factor, held).Deflection()); theta >= deflection {
				t.Errorf("held %d: arm %g m gives %g rad, %g times that gives %g", held, best.Arm, deflection, factor, theta)
			}
		}
		if held == HeldPeriod {
			near(t, "period", gravlab.Must(best.Period(Removed)), gravlab.Must(b.Period(Removed)), 1e-14)
		}
	}
	best := gravlab.Must(b.BestArm(HeldGap))
	near(t, "travel", best.Arm*math.Sin(gravlab.Must(best.Deflection())), b.Clearance, 1e-6)
	near(t, "fibre", best.Kappa, b.Kappa, 1e-15)
}

// TestBestArmOfPoints: points on a beam without mass at a held period deflect
// by (1 - (1 + 4 x²)^(-3/2))/x, x = b/d, whose maximum is a pure number.
func TestBestArmOfPoints(t *testing.T) {
	b := Balance{Arm: 0.1, Distance: 0.1, SmallMass: 0.02, LargeMass: 1, Kappa: 1e-6}
	best := gravlab.Must(b.BestArm(HeldPeriod))
	f := func(x float64) float64 { return (1 - math.Pow(1+4*x*x, -1.5)) / x }
	x := 1e-3
	for c := x; c < 2; c += 2e-5 {
		if f(c) > f(x) {
			x = c
		}
	}
	near(t, "best b/d", best.Arm/b.Distance, x, 1e-4) // the step of the scan
	if _, err := b.BestArm(HeldStress); err == nil || !strings.Contains(err.Error(), "no maximum") {
		t.Errorf("held stress without a beam: error %v, want one that says that there is no best arm", err)
	}
	if _, err := b.BestArm(HeldGap); err == nil {
		t.Error("held gap without a gap: no error")
	}
	if _, err := b.BestArm(Held(7)); err == nil {
		t.Error("something else held: no error")
	}
}

// TestDensities1798: typed here and in testdata, and the same.
func TestDensities1798(t *testing.T) {
	rows := testdata.Table("cavendish1798.csv")
	printed, as588 := Reading1798{}.Densities(), Reading1798{ThirdAs588: true}.Densities()
	if len(rows) != 29 || len(printed) != 29 {
		t.Fatalf("%d rows and %d densities, want 29", len(rows), len(printed))
	}
	var stiffer []float64
	for i, row := range rows {
		if printed[i] != row.Float("density_printed") || as588[i] != row.Float("density_alternative") {
			t.Errorf("result %d = %v or %v, the table has %v", i+1, printed[i], as588[i], row)
		}
		if row["stiffer_wire"] == "yes" {
			stiffer = append(stiffer, printed[i])
		}
	}
	got := Reading1798{StifferWire: true}.Densities()
	if len(got) != len(stiffer) || got[0] != stiffer[0] || got[22] != stiffer[22] {
		t.Errorf("stiffer wire: %v, want %v", got, stiffer)
	}
}

func TestSummarise(t *testing.T) {
	s := gravlab.Must(Summarise([]float64{1, 2, 3, 4, 10}))
	if s.N != 5 || s.Mean != 4 || s.Median != 3 || s.Smallest != 1 || s.Largest != 10 {
		t.Errorf("summary %+v", s)
	}
	near(t, "spread", s.Spread, math.Sqrt(50./4), 1e-14)
	near(t, "u", s.U, math.Sqrt(50./20), 1e-14)
	if s := gravlab.Must(Summarise([]float64{4, 1})); s.Median != 2.5 {
		t.Errorf("median of two = %g, want 2.5", s.Median)
	}
	if _, err := Summarise([]float64{1}); err == nil {
		t.Error("one result: no error")
	}
}

// What does not depend on the large spheres does without them.
func TestWithoutLargeSpheres(t *testing.T) {
	with := Skelmire()
	without := with
	without.LargeMass = 0
	if got, want := gravlab.Must(without.SnapIn()), gravlab.Must(with.SnapIn()); got != want {
		t.Errorf("snap-in %+v, want %+v", got, want)
	}
	without.Distance = 0
	if got, want := gravlab.Must(without.TorqueOf(75, 1, 2, 0.01)), gravlab.Must(with.TorqueOf(75, 1, 2, 0.01)); got != want {
		t.Errorf("torque of a person %g, want %g", got, want)
	}
	if got, want := gravlab.Must(without.Inertia()), gravlab.Must(with.Inertia()); got != want {
		t.Errorf("inertia %g, want %g", got, want)
	}
	if _, err := without.SnapIn(); err == nil {
		t.Error("snap-in without a distance")
	}
	if _, err := without.Deflection(); err == nil {
		t.Error("deflection without large spheres")
	}
	without.Distance = -1
	if _, err := without.TorqueOf(75, 1, 2, 0.01); err == nil {
		t.Error("a negative distance went through")
	}
}
