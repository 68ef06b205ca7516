package torsion

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"gravity.example/gravlab/internal/arg"
)

// anyNumber draws numbers of all sizes, the nasty ones and the plausible ones.
func anyNumber() *rapid.Generator[float64] {
	return rapid.OneOf(
		rapid.Float64(),
		rapid.Float64Range(0, 1),
		rapid.Float64Range(-1, 10),
		rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Inf(-1), 1e-308, 1e308, 1e-9, 1e9, math.Pi}),
	)
}

// plausible draws lengths and masses that a balance may have, so that the code
// behind the checks is reached too.
func plausible() *rapid.Generator[float64] {
	return rapid.OneOf(rapid.Float64Range(1e-3, 2), rapid.Float64Range(1e-6, 10), anyNumber())
}

func anyBalance(t *rapid.T) Balance {
	n := func(name string) float64 { return plausible().Draw(t, name) }
	b := Balance{
		Arm: n("Arm"), Distance: n("Distance"), SmallMass: n("SmallMass"), LargeMass: n("LargeMass"),
		Kappa: n("Kappa"), Damping: n("Damping"),
	}
	if rapid.Bool().Draw(t, "complete") {
		b.SmallRadius, b.LargeRadius = n("SmallRadius"), n("LargeRadius")
		b.BeamMass, b.BeamLength, b.ExtraInertia = n("BeamMass"), n("BeamLength"), n("ExtraInertia")
		b.InLine, b.Clearance = n("InLine"), n("Clearance")
	}
	return b
}

// TestNeverPanics: any number in any argument gives finite results or an error.
func TestNeverPanics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBalance(t)
		n := func(name string) float64 { return anyNumber().Draw(t, name) }
		fine := func(what string, err error, values ...float64) {
			for _, v := range values {
				if err == nil && !finite(v) {
					t.Fatalf("%s = %v without an error for %+v", what, v, b)
				}
			}
		}
		one := func(what string) func(float64, error) {
			return func(v float64, err error) { fine(what, err, v) }
		}
		at := Position(rapid.IntRange(-1, 5).Draw(t, "at"))
		theta, period, alpha := n("theta"), n("period"), n("alpha")

		one("Inertia")(b.Inertia())
		one("Torque")(b.Torque(theta, at))
		one("Stiffness")(b.Stiffness(theta, at))
		one("TorqueOf")(b.TorqueOf(n("mass"), n("x"), n("y"), theta))
		one("Deflection")(b.Deflection())
		one("Period")(b.Period(at))
		one("PeriodAt")(b.PeriodAt(alpha, at))
		one("GSimple")(b.GSimple(theta))
		one("GFromDeflection")(b.GFromDeflection(theta))
		one("GFromSwing")(b.GFromSwing(theta, period))
		one("GFromAcceleration")(b.GFromAcceleration(theta, alpha))
		one("GFromPeriods")(b.GFromPeriods(period, alpha))
		c, err := b.Corrections()
		fine("Corrections", err, c.Simple, c.Far, c.Beam, c.Angle, c.Exact)
		if s, err := b.SnapIn(); err == nil && (math.IsNaN(s.FoldMass+s.TouchMass) || math.IsNaN(s.FoldAngle+s.TouchAngle)) {
			t.Fatalf("SnapIn = %+v for %+v", s, b)
		}
		direct, pull, err := b.TiltEffect(Tilt{n("along"), n("across"), n("height"), n("feed")})
		fine("TiltEffect", err, direct, pull)
		best, err := b.BestArm(Held(rapid.IntRange(-1, 3).Draw(t, "held")))
		fine("BestArm", err, best.Arm, best.Kappa)

		swing := Swing{n("I"), n("k"), n("c"), n("start"), n("speed"), n("equilibrium")}
		one("Angle")(swing.Angle(n("t")))
		for _, f := range []func() (float64, error){swing.Period, swing.DecayTime, swing.Q} {
			if v, err := f(); err == nil && math.IsNaN(v) { // +Inf is an answer here
				t.Fatalf("%v without an error for %+v", v, swing)
			}
		}
		if s, err := b.Swing(); err == nil {
			one("Swing.Angle")(s.Angle(n("t")))
		}
		one("Fibre")(Fibre{n("r"), n("l"), n("n")}.Kappa())
		one("Ribbon")(Ribbon{n("w"), n("t"), n("l"), n("n"), n("F")}.Kappa())
		one("KappaFromPeriod")(KappaFromPeriod(n("I"), n("T"), n("tau")))
		one("UndampedPeriod")(UndampedPeriod(n("T"), n("tau")))
		one("StartAcceleration")(StartAcceleration(n("moved"), n("t"), n("T")))
		lever := Lever{n("D")}
		one("Spot")(lever.Spot(n("theta")))
		one("lever Angle")(lever.Angle(n("spot")))
		one("SmallAngle")(lever.SmallAngle(n("spot")))
		one("EarthMass")(EarthMass(n("G"), n("g"), n("R")))
		one("EarthDensity")(EarthDensity(n("G"), n("g"), n("R")))
		one("MassFromOrbit")(MassFromOrbit(n("G"), n("r"), n("T")))
		one("ThermalTorque")(ThermalTorque(n("k"), n("I"), n("Q"), n("T")))
		one("ThermalTorqueStructural")(ThermalTorqueStructural(n("k"), n("Q"), n("T"), n("f")))
		one("ThermalAngle")(ThermalAngle(n("k"), n("T")))
		one("AveragedThermalAngle")(AveragedThermalAngle(n("k"), n("I"), n("Q"), n("T"), n("t")))
		one("PatchStiffness")(PatchStiffness(n("A"), n("gap"), n("b"), n("V")))
		one("Density1798")(Density1798(n("N"), n("B")))
		s, err := Summarise(rapid.SliceOfN(anyNumber(), 0, 5).Draw(t, "results"))
		fine("Summarise", err, s.Mean, s.Spread, s.U)
	})
}

// TestMotionNeverPanics: the slower calls, with times and recorders of any
// kind.
func TestMotionNeverPanics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := Skelmire()
		b.Damping = rapid.OneOf(rapid.Float64Range(0, 1e-4), anyNumber()).Draw(t, "Damping")
		b.LargeMass = rapid.OneOf(rapid.Float64Range(0.1, 5), anyNumber()).Draw(t, "LargeMass")
		times := rapid.SliceOfN(rapid.OneOf(rapid.Float64Range(0, 1000), anyNumber()), 0, 5).Draw(t, "times")
		angles, err := b.Motion(times)
		if err == nil && arg.AllFinite("", "", angles, "") != nil {
			t.Fatalf("Motion(%v) = %v without an error", times, angles)
		}
		n := func(name string, hi float64) float64 {
			return rapid.OneOf(rapid.Float64Range(0, hi), anyNumber()).Draw(t, name)
		}
		r := Recorder{
			Interval: rapid.OneOf(rapid.Float64Range(5, 100), anyNumber()).Draw(t, "Interval"),
			Duration: n("Duration", 3000), Before: n("Before", 300), Lever: Lever{n("D", 5)},
			Zero: n("Zero", 0.01), Drift: n("Drift", 1e-6), Noise: n("Noise", 1e-3), Step: n("Step", 1e-3),
			Knock: Knock{n("Time", 3000), n("Speed", 1e-4)},
		}
		if r.Interval > 0 && (r.Duration+r.Before)/r.Interval > 2000 {
			t.Skip("recordings of more than 2,000 readings only take time here")
		}
		rec, err := b.Record(r, rand.New(rand.NewPCG(1, 1)))
		if err != nil {
			return
		}
		if arg.AllFinite("", "", rec.Readings, "") != nil {
			t.Fatalf("Record(%+v) holds what is no number, without an error", r)
		}
	})
}
