package torsion_test

import (
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/torsion"
)

// How far does the beam turn, and how slowly does it swing?
func Example() {
	balance := torsion.Skelmire()
	theta := gravlab.Must(balance.Deflection())
	period := gravlab.Must(balance.Period(torsion.Plus))
	fmt.Printf("rests %.3f mrad from the middle, swings with a period of %.1f s\n", 1e3*theta, period)
	// Output: rests 3.535 mrad from the middle, swings with a period of 603.8 s
}

// What the textbook formula leaves out.
func ExampleBalance_Corrections() {
	c := gravlab.Must(torsion.Skelmire().Corrections())
	fmt.Printf("simple  %7.4f mrad\n", 1e3*c.Simple)
	fmt.Printf("far     %+7.4f\n", 1e3*c.Far)
	fmt.Printf("beam    %+7.4f\n", 1e3*c.Beam)
	fmt.Printf("angle   %+7.4f\n", 1e3*c.Angle)
	fmt.Printf("exact   %7.4f\n", 1e3*c.Exact)
	// Output:
	// simple   3.4518 mrad
	// far     -0.0916
	// beam    +0.1336
	// angle   +0.0409
	// exact    3.5346
}

// The limits of stability: what touches first, and where nothing would hold.
func ExampleBalance_SnapIn() {
	limit := gravlab.Must(torsion.Skelmire().SnapIn())
	fmt.Printf("%s with %.1f kg, snap-in with %.1f kg\n", limit.Touches, limit.TouchMass, limit.FoldMass)
	// Output:
	// a small sphere touches the case with 66.5 kg, snap-in with 110.9 kg
}

// The swing after the large spheres are switched, exact and in closed form.
func ExampleBalance_Motion() {
	balance := torsion.Skelmire()
	times := []float64{0, 150, 300, 600, 6000}
	exact := gravlab.Must(balance.Motion(times))
	swing := gravlab.Must(balance.Swing())
	for i, t := range times {
		fmt.Printf("%-4g s  %7.4f mrad  (linear %7.4f)\n", t, 1e3*exact[i], 1e3*gravlab.Must(swing.Angle(t)))
	}
	// Output:
	// 0    s  -3.5346 mrad  (linear -3.5346)
	// 150  s   3.1453 mrad  (linear  3.1445)
	// 300  s   9.6150 mrad  (linear  9.6143)
	// 600  s  -1.6913 mrad  (linear -1.6912)
	// 6000 s   3.2235 mrad  (linear  3.2235)
}

// The torsion constant from the period of a swing, without the large spheres.
func ExampleKappaFromPeriod() {
	balance := torsion.Skelmire()
	inertia := gravlab.Must(balance.Inertia())
	kappa := gravlab.Must(torsion.KappaFromPeriod(inertia, 598.6, math.Inf(1)))
	fmt.Printf("I = %.4e kg m², kappa = %.3e N m/rad\n", inertia, kappa)
	// Output:
	// I = 1.5057e-03 kg m², kappa = 1.659e-07 N m/rad
}

func ExampleFibre_Kappa() {
	fibre := torsion.Fibre{Radius: 25e-6, Length: 0.6, ShearModulus: 1.6e11} // tungsten
	fmt.Printf("%.3e N m/rad\n", gravlab.Must(fibre.Kappa()))
	// Output:
	// 1.636e-07 N m/rad
}

func ExampleRibbon_Kappa() {
	ribbon := torsion.Ribbon{Width: 200e-6, Thickness: 20e-6, Length: 0.4, ShearModulus: 4.5e10, Load: 1.1}
	fmt.Printf("%.3e N m/rad\n", gravlab.Must(ribbon.Kappa()))
	// Output:
	// 6.548e-08 N m/rad
}

// The spot on the scale moves by twice the angle.
func ExampleLever() {
	lever := torsion.Lever{Distance: 3}
	spot := gravlab.Must(lever.Spot(0.0035))
	fmt.Printf("spot %.2f mm, back to %.3f mrad\n", 1e3*spot, 1e3*gravlab.Must(lever.Angle(spot)))
	// Output:
	// spot 21.00 mm, back to 3.500 mrad
}

// G by the four methods, from values that this balance gives without noise.
func ExampleBalance_GFromSwing() {
	balance := torsion.Skelmire()
	theta := gravlab.Must(balance.Deflection())
	plus, inLine, away := gravlab.Must(balance.Period(torsion.Plus)), gravlab.Must(balance.Period(torsion.InLine)), gravlab.Must(balance.Period(torsion.Removed))
	moved := gravlab.Must(balance.Motion([]float64{60}))[0] + theta // in the first minute
	alpha := gravlab.Must(torsion.StartAcceleration(moved, 60, plus))
	fmt.Printf("final deflection  %.3e\n", gravlab.Must(balance.GFromDeflection(theta)))
	fmt.Printf("swing             %.3e\n", gravlab.Must(balance.GFromSwing(theta, plus)))
	fmt.Printf("start             %.3e\n", gravlab.Must(balance.GFromAcceleration(theta, alpha)))
	fmt.Printf("change of period  %.3e\n", gravlab.Must(balance.GFromPeriods(inLine, away)))
	fmt.Printf("textbook formula  %.3e\n", gravlab.Must(balance.GSimple(theta)))
	// Output:
	// final deflection  6.674e-11
	// swing             6.674e-11
	// start             6.544e-11
	// change of period  6.674e-11
	// textbook formula  6.834e-11
}

// The mass of the Earth needs g and the radius from elsewhere.
func ExampleEarthMass() {
	const bigG, g, radius = 6.7e-11, 9.81, 6.371e6
	fmt.Printf("%.2e kg, %.0f kg/m³\n", gravlab.Must(torsion.EarthMass(bigG, g, radius)), gravlab.Must(torsion.EarthDensity(bigG, g, radius)))
	// Output:
	// 5.94e+24 kg, 5487 kg/m³
}

// The 29 results of 1798, with the mean that was printed and the one that they
// have.
func ExampleSummarise() {
	for _, reading := range []torsion.Reading1798{{}, {ThirdAs588: true}, {StifferWire: true}} {
		s := gravlab.Must(torsion.Summarise(reading.Densities()))
		fmt.Printf("%d results: mean %.3f, s %.3f, u of the mean %.3f\n", s.N, s.Mean, s.Spread, s.U)
	}
	// Output:
	// 29 results: mean 5.448, s 0.221, u of the mean 0.041
	// 29 results: mean 5.482, s 0.207, u of the mean 0.038
	// 23 results: mean 5.483, s 0.190, u of the mean 0.040
}

// How much of the scatter is heat?
func ExampleThermalAngle() {
	balance := torsion.Skelmire()
	inertia := gravlab.Must(balance.Inertia())
	q := gravlab.Must(gravlab.Must(balance.Swing()).Q())
	fmt.Printf("single readings %.2g rad\n", gravlab.Must(torsion.ThermalAngle(balance.Kappa, 293)))
	fmt.Printf("mean of a day   %.2g rad\n", gravlab.Must(torsion.AveragedThermalAngle(balance.Kappa, inertia, q, 293, 86400)))
	// Output:
	// single readings 1.6e-07 rad
	// mean of a day   2.3e-09 rad
}

// A person of 80 kg stands 2 m away, off the axes of the balance.
func ExampleBalance_TorqueOf() {
	balance := torsion.Skelmire()
	person := gravlab.Must(balance.TorqueOf(80, 1.4, 1.4, 0))
	spheres := gravlab.Must(balance.Torque(0, torsion.Plus))
	fmt.Printf("%.1e of the torque of the large spheres\n", person/spheres)
	// Output:
	// 2.7e-03 of the torque of the large spheres
}

// The best arm depends on what is held fixed.
func ExampleBalance_BestArm() {
	balance := torsion.Skelmire()
	for _, held := range []torsion.Held{torsion.HeldStress, torsion.HeldPeriod, torsion.HeldGap} {
		best := gravlab.Must(balance.BestArm(held))
		fmt.Printf("%s: %.3f m\n", held, best.Arm)
	}
	// Output:
	// same stress: 1.010 m
	// same period: 0.036 m
	// same gap: 0.479 m
}
