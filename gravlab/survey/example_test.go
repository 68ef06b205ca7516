package survey_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/survey"
)

const degree = math.Pi / 180

func ExampleAdjust() {
	plan := survey.AshgillFarm()
	day := gravlab.Must(plan.Simulate(rand.New(rand.NewPCG(7, 1))))
	reduced := gravlab.Must(plan.Job.Reduce(day.Readings))
	a := gravlab.Must(survey.Adjust(reduced, []survey.Tie{plan.Tie}, survey.Drift{Degree: 1}))
	fmt.Printf("drift %.1f(%.1f) µGal/h, chi² %.1f for %d\n", a.Rate*3600/gravlab.MicroGal, a.URate*3600/gravlab.MicroGal, a.Chi2, a.DoF)
	for _, name := range []string{"A1", "A3", "A6"} {
		difference, u, _ := a.Between("base", name)
		fmt.Printf("%s less base %.1f(%.1f) µGal, true %.1f\n", name, difference/gravlab.MicroGal, u/gravlab.MicroGal,
			(plan.Truth[name[1]-'0'].Value-plan.Truth[0].Value)/gravlab.MicroGal)
	}
	// Output:
	// drift 7.8(0.7) µGal/h, chi² 9.0 for 14
	// A1 less base -1599.5(2.5) µGal, true -1598.4
	// A3 less base -3901.1(2.1) µGal, true -3903.1
	// A6 less base -7460.5(2.8) µGal, true -7462.1
}

func ExampleFindTare() {
	plan := survey.AshgillFarm()
	plan.TareAfter = 12
	day := gravlab.Must(plan.Simulate(rand.New(rand.NewPCG(7, 2))))
	reduced := gravlab.Must(plan.Job.Reduce(day.Readings))
	tare := gravlab.Must(survey.FindTare(reduced, []survey.Tie{plan.Tie}, survey.Drift{Degree: 1}))
	fmt.Printf("a step of %.0f(%.0f) µGal after reading %d, about %s\n", tare.Size/gravlab.MicroGal, tare.U/gravlab.MicroGal, tare.After, tare.At.Format("15:04"))
	// Output:
	// a step of 21(4) µGal after reading 12, about 10:27
}

// A station that is read once, beside the step: nobody knows on which side.
func ExampleAdjustUnknownTare() {
	plan := survey.AshgillFarm()
	plan.Order = strings.Fields("base A1 base A1 A2 A1 A2 A4 A2 A1 base A1 base")
	plan.TareAfter, plan.TareSize = 7, 45*gravlab.MicroGal
	day := gravlab.Must(plan.Simulate(rand.New(rand.NewPCG(7, 3))))
	reduced := gravlab.Must(plan.Job.Reduce(day.Readings))
	ties, drift := []survey.Tie{{Station: "base", Value: plan.Tie.Value}}, survey.Drift{Degree: 1}

	tare := gravlab.Must(survey.FindTare(reduced, ties, drift))
	fmt.Printf("a step of %.0f µGal after one of the readings %v; in doubt: %v\n", tare.Size/gravlab.MicroGal, tare.Candidates, tare.Ambiguous)
	show := func(how string, a *survey.Adjustment) {
		s := gravlab.Must(a.Station("A4"))
		fmt.Printf("%s: A4 is off by %.0f µGal, u %.0f, doubt %.0f\n", how, (s.Value-plan.Truth[4].Value)/gravlab.MicroGal, s.U/gravlab.MicroGal, s.Ambiguity/gravlab.MicroGal)
	}
	guessed := drift
	guessed.Tares = []time.Time{tare.At}
	show("the first place", gravlab.Must(survey.Adjust(reduced, ties, guessed)))
	show("all places", gravlab.Must(survey.AdjustUnknownTare(reduced, ties, drift)))
	// Output:
	// a step of 50 µGal after one of the readings [6 7]; in doubt: [A4]
	// the first place: A4 is off by -42 µGal, u 4, doubt 50
	// all places: A4 is off by -17 µGal, u 26, doubt 0
}

func ExampleAdjustment_Worst() {
	d := []survey.Difference{
		{From: "A", To: "B", Value: 1203e-8, U: 10e-8}, {From: "B", To: "C", Value: -871e-8, U: 10e-8}, {From: "C", To: "A", Value: -345e-8, U: 10e-8},
		{From: "A", To: "D", Value: 2054e-8, U: 5e-8}, {From: "D", To: "C", Value: -1616e-8, U: 10e-8}, {From: "B", To: "D", Value: 838e-8, U: 5e-8},
		{From: "D", To: "A", Value: -2061e-8, U: 10e-8},
	}
	a := gravlab.Must(survey.AdjustNetwork(d, nil))
	worst, critical, _ := a.Worst(0.05)
	fmt.Printf("chi² %.0f for %d; worst is %s, w = %.1f, critical %.1f\n", a.Chi2, a.DoF, worst.Label, worst.W, critical)
	// Output:
	// chi² 57 for 4; worst is D to C, w = 7.4, critical 2.7
}

func ExampleReduction_At() {
	r := survey.Reduction{Ellipsoid: earth.GRS80, Plate: survey.RoundedPlate, Density: 2670, Atmosphere: true}
	_, err := r.At(9.8137, 54.625*degree, 310, 0)
	fmt.Println(err)
	r.Heights = survey.Orthometric
	a := gravlab.Must(r.At(9.8137, 54.625*degree, 310, 4e-7))
	fmt.Printf("%s %.2f mGal\n", a.Name, a.Value/gravlab.MilliGal)
	// Output:
	// survey.Reduction: Heights is not stated; allowed: Ellipsoidal or Orthometric: heights above what?
	// Bouguer anomaly -44.04 mGal
}

func ExamplePlanLoop() {
	order := survey.Step("base", "A1", "A2", "A3")
	plan := gravlab.Must(survey.PlanLoop(order, 10*time.Minute, 3e-8, 1))
	fmt.Printf("%s: %.0f %% repeats, far end u %.1f µGal\n", strings.Join(order, " "), 100*plan.RepeatShare, plan.Stations[3].U/gravlab.MicroGal)
	// Output:
	// base A1 base A1 A2 A1 A2 A3 A2 A3 base: 64 % repeats, far end u 3.1 µGal
}

func ExampleSlope() {
	// A station on a slope of 12 degrees: the first 30 m alone.
	fmt.Printf("%.0f µGal\n", gravlab.Must(survey.Slope(12*degree, 30, 2600))/gravlab.MicroGal)
	// Output:
	// 36 µGal
}

func ExampleDensityOfTopography() {
	heights := []float64{0, 12, 27, 41, 30, 9}
	freeAir := []float64{0, 120e-7, 245e-7, 395e-7, 270e-7, 95e-7}
	d := gravlab.Must(survey.DensityOfTopography(heights, freeAir))
	fmt.Printf("%.0f(%.0f) kg/m³\n", d.Density, d.U)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(d.DoF)}.Quantile(0.975)
	fmt.Printf("95 %%: %.0f ± %.0f kg/m³, with t = %.2f of %d degrees of freedom\n", d.Density, t*d.U, t, d.DoF)
	// Output:
	// 2211(74) kg/m³
	// 95 %: 2211 ± 204 kg/m³, with t = 2.78 of 4 degrees of freedom
}

func ExampleCalibrate() {
	known := []float64{9.81200, 9.81263, 9.81318, 9.81385}
	reading := []float64{0.0400000, 0.0406296, 0.0411796, 0.0418492}
	u := []float64{5e-8, 5e-8, 5e-8, 5e-8}
	c := gravlab.Must(survey.Calibrate(known, u, reading, u))
	fmt.Printf("scale %.6f(%.6f)\n", c.Scale, c.UScale)
	// Output:
	// scale 1.000397(0.000052)
}

func ExampleReport_Text() {
	r := survey.Reduction{Ellipsoid: earth.GRS80, Heights: survey.Ellipsoidal, Plate: survey.FlatPlate, Density: 2670}
	report := survey.Report{
		Title: "Ashgill Farm, profile A",
		Datum: survey.Datum{
			Ellipsoid: "GRS80", Heights: "ellipsoidal, satellite positions, u 0.05 m", GravityDatum: "base 981370.000(4) mGal at 2021.3",
			TideSystem: "zero-tide, factor 1.16", Pressure: "-3 nm/s² per hPa", Plate: r.Plate.String(), Density: r.Density,
			ScaleFactor: 1.000412, UScaleFactor: 0.00008, DriftModel: "linear", OutliersNoted: "none", UncertaintyFor: "readings, tie, scale",
		},
		Rows: []survey.Row{{Station: "A1", Lat: 54.6254 * degree, Lon: -2.3745 * degree, Height: 318.18, Gravity: 9.81368, UGravity: 5e-8,
			Anomaly: gravlab.Must(r.At(9.81368, 54.6254*degree, 318.18, 0)), UAnomaly: 11e-8}},
	}
	text := gravlab.Must(report.Text())
	fmt.Println(strings.Join(strings.SplitN(text, "\n", 7)[:6], "\n"))
	fmt.Println(survey.Cautions()[0])
	// Output:
	// Ashgill Farm, profile A
	//
	// Ellipsoid          GRS80
	// Heights            ellipsoidal, satellite positions, u 0.05 m
	// Gravity datum      base 981370.000(4) mGal at 2021.3
	// Tide               zero-tide, factor 1.16
	// Gravity does not clear ground for digging, driving or building. Nothing in this report is a permit.
}
