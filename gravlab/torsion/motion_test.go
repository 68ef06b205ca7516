package torsion

import (
	"math"
	"strings"
	"testing"

	"gravity.example/gravlab"
)

func TestEquilibrium(t *testing.T) {
	for _, b := range someBalances(40) {
		theta, err := b.Deflection()
		if err != nil {
			t.Errorf("%+v: %v", b, err)
			continue
		}
		near(t, "fibre's torque", b.Kappa*theta, gravlab.Must(b.Torque(theta, Plus)), 1e-12)

		c := gravlab.Must(b.Corrections())
		near(t, "sum of the terms", c.Simple+c.Far+c.Beam+c.Angle, theta, 1e-14)
		// Against the exact torque on balls alone.
		bare := b
		bare.BeamMass = 0
		near(t, "spheres", c.Simple+c.Far, gravlab.Must(bare.Torque(0, Plus))/b.Kappa, 1e-13)
	}
}

// TestCorrectionsOfALightPull: with a weak pull the deflection is in proportion
// to it and the correction for the angle vanishes.
func TestCorrectionsOfALightPull(t *testing.T) {
	b := Skelmire()
	b.LargeMass *= 1e-6
	c := gravlab.Must(b.Corrections())
	if math.Abs(c.Angle) > 1e-6*c.Exact {
		t.Errorf("correction for the angle = %g of the deflection, want less than 1e-6", c.Angle/c.Exact)
	}
}

func TestSnapIn(t *testing.T) {
	b := Skelmire()
	b.SmallRadius, b.LargeRadius, b.Clearance = 0, 0, 0
	limit := gravlab.Must(b.SnapIn())
	if !math.IsInf(limit.TouchMass, 1) || limit.Touches != "" {
		t.Errorf("points without a case touch: %+v", limit)
	}
	b.LargeMass = limit.FoldMass * (1 - 1e-8)
	theta, err := b.Deflection()
	if err != nil {
		t.Fatal(err)
	}
	// Near a fold the angle goes as the square root: 1e-4 of its own size, here
	// with a factor of order one.
	near(t, "angle just below the fold", theta, limit.FoldAngle, 1e-3)
	if k := gravlab.Must(b.Stiffness(theta, Plus)); k < 0 || k > 1e-3*b.Kappa {
		t.Errorf("stiffness just below the fold = %g kappa, want nearly none", k/b.Kappa)
	}
	b.LargeMass = limit.FoldMass * (1 + 1e-8)
	if _, err := b.Deflection(); err == nil || !strings.Contains(err.Error(), "snaps in") {
		t.Errorf("above the fold: error %v, want one that says so", err)
	}
}

// TestSnapInOfPlates: for d much less than b the small spheres move straight at
// the large ones, and the fold is where they have gone a third of the way (the
// maximum of x (d-x)²).
func TestSnapInOfPlates(t *testing.T) {
	b := Balance{Arm: 1, Distance: 1e-3, SmallMass: 0.01, LargeMass: 1, Kappa: 1e-3}
	limit := gravlab.Must(b.SnapIn())
	near(t, "travel at the fold", b.Arm*limit.FoldAngle, b.Distance/3, 1e-3)
	near(t, "mass at the fold", limit.FoldMass, b.Kappa*4./27*math.Pow(b.Distance, 3)/(2*gravlab.G*b.SmallMass*b.Arm*b.Arm), 1e-3)
}

func TestTouchingComesFirst(t *testing.T) {
	b := Skelmire()
	limit := gravlab.Must(b.SnapIn())
	if !(limit.TouchMass < limit.FoldMass) || !strings.Contains(limit.Touches, "case") {
		t.Errorf("limits %+v, want the case first", limit)
	}
	near(t, "angle", limit.TouchAngle, math.Asin(b.Clearance/b.Arm), 1e-15)
	b.LargeMass = limit.TouchMass * (1 + 1e-9)
	if _, err := b.Deflection(); err == nil || !strings.Contains(err.Error(), "touches the case") {
		t.Errorf("error %v, want one that says what touches", err)
	}
	b.LargeMass = limit.TouchMass * (1 - 1e-9)
	near(t, "deflection just before", gravlab.Must(b.Deflection()), limit.TouchAngle, 1e-6)

	b.Clearance = 0
	limit = gravlab.Must(b.SnapIn())
	if !strings.Contains(limit.Touches, "large one") {
		t.Errorf("without a case %+v, want the spheres to touch", limit)
	}
	sin, cos := math.Sincos(limit.TouchAngle)
	gap := math.Hypot(b.Arm-b.Arm*cos, b.Distance-b.Arm*sin)
	near(t, "distance of the centres", gap, b.SmallRadius+b.LargeRadius, 1e-12)
}

// A beam that reaches beyond small balls is what meets the large spheres: with
// its end, or where it lies along them. Torque is there up to that and not beyond.
func TestBeamTouches(t *testing.T) {
	for _, c := range []struct {
		length float64 // of the beam
		what   string
	}{{0.24, "a small sphere"}, {0.27, "the beam"}, {0.4, "the beam"}} {
		b := Skelmire()
		b.Clearance, b.InLine, b.SmallRadius, b.BeamLength = 0, 0, 1e-3, c.length
		limit := gravlab.Must(b.SnapIn())
		if !strings.HasPrefix(limit.Touches, c.what) {
			t.Errorf("a beam of %g m: %+v, want that %s touches", c.length, limit, c.what)
		}
		// From the sphere to the nearest place of the beam, found by looking.
		sin, cos := math.Sincos(limit.TouchAngle)
		nearest := math.Inf(1)
		for i := range 1_000_001 {
			at := c.length / 2 * float64(i) / 1e6
			nearest = math.Min(nearest, math.Hypot(b.Arm-at*cos, b.Distance-at*sin))
		}
		if c.what == "the beam" {
			near(t, "distance of the beam", nearest, b.LargeRadius, 1e-10)
		} else if nearest < b.LargeRadius {
			t.Errorf("the beam is %g m from the centre of the sphere", nearest)
		}
		if _, err := b.Torque(limit.TouchAngle*(1-1e-9), Plus); err != nil {
			t.Errorf("a beam of %g m, before it touches: %v", c.length, err)
		}
		if _, err := b.Torque(limit.TouchAngle*(1+1e-9), Plus); err == nil {
			t.Errorf("a beam of %g m, behind that: no error", c.length)
		}
	}
}

func TestNoFoldFarOff(t *testing.T) {
	b := Balance{Arm: 0.05, Distance: 1, SmallMass: 0.1, LargeMass: 1, Kappa: 1e-12}
	limit := gravlab.Must(b.SnapIn())
	if !math.IsInf(limit.FoldMass, 1) {
		t.Fatalf("limits %+v, want no fold for spheres far off the arc", limit)
	}
	b.LargeMass = 1e6
	theta := gravlab.Must(b.Deflection())
	if pointing := math.Atan2(b.Distance, b.Arm); theta > pointing || theta < 0.9*pointing {
		t.Errorf("a very heavy sphere turns the beam to %g rad, want nearly %g", theta, pointing)
	}
}

func TestPeriods(t *testing.T) {
	b := Skelmire()
	away := gravlab.Must(b.Period(Removed))
	near(t, "period without spheres", away, 2*math.Pi*math.Sqrt(gravlab.Must(b.Inertia())/b.Kappa), 1e-15)
	if plus, inLine := gravlab.Must(b.Period(Plus)), gravlab.Must(b.Period(InLine)); !(inLine < away && away < plus) {
		t.Errorf("periods in line %g, away %g, plus %g: want them to rise", inLine, away, plus)
	}
	near(t, "Minus", gravlab.Must(b.Period(Minus)), gravlab.Must(b.Period(Plus)), 1e-14)
	for _, at := range []Position{Plus, Minus, InLine, Removed} {
		near(t, "small amplitude "+at.String(), gravlab.Must(b.PeriodAt(1e-5, at)), gravlab.Must(b.Period(at)), 1e-8)
	}
}

// TestPeriodAtAgainstMotion: two routes. After the period of the energy
// integral the integrated motion is back at its start.
func TestPeriodAtAgainstMotion(t *testing.T) {
	b := Skelmire()
	b.Damping, b.Clearance = 0, 0
	rest := gravlab.Must(b.Deflection())
	for _, amplitude := range []float64{0.001, 0.01, 0.05, 0.08} {
		period := gravlab.Must(b.PeriodAt(amplitude, Plus))
		rows, err := b.move(Plus, [2]float64{rest + amplitude, 0}, 0, []float64{period / 2, period})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "angle after a period", rows[1][0], rest+amplitude, 1e-9)
		omega := 2 * math.Pi / period
		if speed := math.Abs(rows[1][1]); speed > 1e-8*amplitude*omega {
			t.Errorf("amplitude %g: speed after a period is %g of the greatest", amplitude, speed/(amplitude*omega))
		}
		// Upper and lower turning point lie on the same height of energy: no
		// work between them.
		if speed := math.Abs(rows[0][1]); amplitude < 0.002 && speed > 1e-3*amplitude*omega {
			t.Errorf("amplitude %g: not at rest after half a period", amplitude)
		}
	}
	if _, err := b.PeriodAt(1, Plus); err == nil {
		t.Error("an amplitude of 1 rad: no error, though the large spheres catch the beam")
	}
	b = Skelmire()
	if _, err := b.PeriodAt(0.2, Plus); err == nil {
		t.Error("an amplitude beyond the case: no error")
	}
}

func TestSwingFulfilsItsEquation(t *testing.T) {
	critical := 2 * math.Sqrt(2e-4*5e-8)
	for _, c := range []float64{0, 1e-7, 0.999999 * critical, critical, 1.000001 * critical, 3 * critical, 1e4 * critical} {
		s := Swing{Inertia: 2e-4, Kappa: 5e-8, Damping: c, Start: -0.004, Speed: 1e-5, Equilibrium: 0.003}
		angle := func(x float64) float64 { return gravlab.Must(s.Angle(x)) }
		near(t, "start", angle(0), s.Start, 1e-15)
		for _, x := range []float64{50, 200, 900} {
			h := 0.5
			speed := (angle(x+h) - angle(x-h)) / (2 * h)
			acceleration := (angle(x+h) - 2*angle(x) + angle(x-h)) / (h * h)
			// Differences leave (omega h)²/12 = 5e-6 of each term, and
			// overdamped motion has faster parts that have died by then.
			sum := s.Inertia*acceleration + s.Damping*speed + s.Kappa*(angle(x)-s.Equilibrium)
			size := s.Inertia*math.Abs(acceleration) + s.Damping*math.Abs(speed) + s.Kappa*math.Abs(angle(x)-s.Equilibrium)
			if math.Abs(sum) > 1e-4*size {
				t.Errorf("damping %g critical, t = %g: torques add up to %g of their size", c/critical, x, sum/size)
			}
		}
	}
}

// TestSwingIsContinuousAtCritical crosses the critical damping in small steps.
func TestSwingIsContinuousAtCritical(t *testing.T) {
	s := Swing{Inertia: 2e-4, Kappa: 5e-8, Start: -0.004, Equilibrium: 0.003}
	critical := 2 * math.Sqrt(s.Inertia*s.Kappa)
	s.Damping = critical
	want := gravlab.Must(s.Angle(300))
	// Closed form at the critical point itself.
	gamma := s.Damping / s.Inertia / 2
	near(t, "critical", want, s.Equilibrium+(s.Start-s.Equilibrium)*(1+gamma*300)*math.Exp(-gamma*300), 1e-12)
	for _, step := range []float64{1e-12, 1e-9, 1e-6} {
		for _, sign := range []float64{-1, 1} {
			s.Damping = critical * (1 + sign*step)
			near(t, "near critical", gravlab.Must(s.Angle(300)), want, 10*step)
		}
	}
}

func TestSwingNumbers(t *testing.T) {
	s := gravlab.Must(Skelmire().Swing())
	period, tau, q := gravlab.Must(s.Period()), gravlab.Must(s.DecayTime()), gravlab.Must(s.Q())
	undamped := gravlab.Must(UndampedPeriod(period, tau))
	near(t, "undamped", undamped, 2*math.Pi*math.Sqrt(s.Inertia/s.Kappa), 1e-14)
	near(t, "Q", q, math.Pi*tau/undamped, 1e-14)
	near(t, "kappa", gravlab.Must(KappaFromPeriod(s.Inertia, period, tau)), s.Kappa, 1e-14)
	// One period later the distance from rest is exp(-T/tau) of what it was.
	early, late := gravlab.Must(s.Angle(77)), gravlab.Must(s.Angle(77+period))
	near(t, "decrement", (late-s.Equilibrium)/(early-s.Equilibrium), math.Exp(-period/tau), 1e-11)
	s.Damping = 4 * math.Sqrt(s.Inertia*s.Kappa)
	if p := gravlab.Must(s.Period()); !math.IsInf(p, 1) {
		t.Errorf("period of a creeping beam = %g, want +Inf", p)
	}
}

// TestMotionAgainstSwing: the exact motion tends to the closed form as the
// swing becomes small.
func TestMotionAgainstSwing(t *testing.T) {
	b := Skelmire()
	times := []float64{0, 100, 777, 3000}
	differ := func(b Balance) float64 {
		swing := gravlab.Must(gravlab.Must(b.Swing()).Angles(times))
		exact := gravlab.Must(b.Motion(times))
		theta := gravlab.Must(b.Deflection())
		var worst float64
		for i := range times {
			worst = math.Max(worst, math.Abs(exact[i]-swing[i])/theta)
		}
		return worst
	}
	full := differ(b)
	b.LargeMass /= 10
	small := differ(b)
	// The first term left out is the curvature of the torque: it goes as the
	// pull squared over kappa.
	if full > 0.05 || full < 1e-6 || small > full/50 {
		t.Errorf("exact and linear differ by %g of theta_e, with a tenth of the pull by %g; want about a hundredth", full, small)
	}
}

func TestMotionTouches(t *testing.T) {
	b := Skelmire()
	b.Clearance = b.Arm * 2 * gravlab.Must(b.Deflection()) // the overshoot needs nearly three
	if _, err := b.Motion([]float64{300}); err == nil || !strings.Contains(err.Error(), "case") {
		t.Errorf("error %v, want one that says that the beam touches the case", err)
	}
}

func BenchmarkMotionHour(b *testing.B) {
	balance := Skelmire()
	times := make([]float64, 361)
	for i := range times {
		times[i] = 10 * float64(i)
	}
	for b.Loop() {
		if _, err := balance.Motion(times); err != nil {
			b.Fatal(err)
		}
	}
}

// TestIntegral: 8 points integrate a polynomial of degree 15 without error, so
// that a wrong digit in a node or weight shows.
func TestIntegral(t *testing.T) {
	for power := 0; power <= 15; power++ {
		f := func(x float64) float64 { return math.Pow(x, float64(power)) }
		near(t, "integral of a power", integral(f, 0, 2), math.Pow(2, float64(power+1))/float64(power+1), 1e-14)
	}
	near(t, "integral of a sine", integral(math.Sin, 0, 3), 1-math.Cos(3), 1e-14)
}
