package lab01

import (
	"embed"
	"math"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/torsion"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 01.
var Lab = bank.Lab{
	ID: "01-weighing-the-earth", Title: "Weighing the Earth", Minutes: 75,
	Asks:   "Four balls, a thin fibre and a spot of light on a wall. How do they weigh the Earth?",
	Tracks: []bank.Track{bank.LaboratoryClass, bank.PlanetarySpace}, BuildsOn: []string{"00-first-steps"}, Graded: true,
	Sealed: bank.Weights{Times: 3, Constants: []string{"big-g", "g-swing", "earth-mass", "mean-1798"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

// scaleDistance is from the mirror to the scale on the wall of the basement
// laboratory, m.
const scaleDistance = 4.2

// weighing is the balance of one sheet.
type weighing struct {
	torsion.Balance
	mSmall, mLarge float64 // g, kg: as the prompts print them
	b, d           float64 // mm
	beamInertia    float64 // kg m²
	halfPeriod     float64 // s, with the large spheres removed, as the prompts print it
}

// drawWeighing draws a balance that swings freely: the large spheres are far
// below the mass at which the beam would be caught.
func drawWeighing(d *bank.Draw) weighing {
	w := weighing{
		mSmall: d.Between("small mass", 40, 60, 1), mLarge: d.Between("large mass", 3.0, 4.4, 0.1),
		b: d.Between("arm", 100, 130, 1), d: d.Between("distance", 72, 82, 0.5),
		halfPeriod: d.Between("half-period", 255, 315, 0.5),
	}
	w.Balance = torsion.Balance{
		Arm: w.b / 1000, Distance: w.d / 1000, SmallMass: w.mSmall / 1000, LargeMass: w.mLarge,
		BeamMass: 0.012, ExtraInertia: 4e-6,
	}
	w.SmallRadius, w.LargeRadius = bank.LeadRadius(w.SmallMass), bank.LeadRadius(w.LargeMass)
	w.beamInertia = w.BeamMass*math.Pow(2*w.Arm, 2)/12 + w.ExtraInertia
	w.Kappa = torsionConstant(w.inertia(), 2*w.halfPeriod)
	return w
}

// inertia is the moment of inertia as the first question has it: the balls as
// points, the beam's share as printed.
func (w weighing) inertia() float64 {
	return 2*w.SmallMass*w.Arm*w.Arm + bank.RoundTo(w.beamInertia, 3)
}

// torsionConstant is kappa = I (2 pi/T)².
func torsionConstant(inertia, period float64) float64 {
	return inertia * math.Pow(2*math.Pi/period, 2)
}

// staticG is G = kappa theta d²/(2 m M b): two pairs, near spheres only.
func staticG(kappa, theta, d, m, mLarge, b float64) float64 {
	return kappa * theta * d * d / (2 * m * mLarge * b)
}

// farRatio is the share of the near torque that the far spheres take back.
func farRatio(b, d float64) float64 { return math.Pow(d/math.Sqrt(d*d+4*b*b), 3) }

func build(d *bank.Draw) bank.Sheet {
	w := drawWeighing(d)
	swing := w.record(d)
	return bank.Sheet{
		Fields: bank.Fields{
			"mSmall": w.mSmall, "mLarge": w.mLarge, "b": w.b, "d": w.d, // g, kg, mm, mm
			"smallMass": w.SmallMass, "largeMass": w.LargeMass, "arm": w.Arm, "distance": w.Distance, // SI
			"halfPeriod": w.halfPeriod, "beamInertia": w.beamInertia, "scaleDistance": scaleDistance,
			"knock": swing.knock, "beforeKnock": swing.knock - 10,
		},
		Recordings: []bank.Recording{swing.recording(), densities1798()},
		Questions: []bank.Question{
			w.fibreConstant(), w.lightSpot(), w.bigG(), w.farSpheres(), w.torque(d), whyLead(), heavierSmallBall(),
			swing.period(), swing.deflection(), w.budget(d), swing.bigG(), swing.earthMass(),
			meanOf1798(), experimentOf1798(d),
		},
	}
}

func (w weighing) fibreConstant() bank.Question {
	inertia := w.inertia()
	const unit = "N m/rad"
	kappa := func(inertia, period float64) func(bank.Answers) float64 {
		return bank.Always(torsionConstant(inertia, period))
	}
	return bank.Question{
		ID: "kappa", Kind: judge.KindNumber, Marks: 2, Unit: unit, Tol: judge.Tolerance{Rel: 0.01},
		Solve: kappa(inertia, 2*w.halfPeriod),
		Slips: []bank.Slip{
			{ID: "half-period", Value: kappa(inertia, w.halfPeriod)},
			{ID: "one-2pi", Value: bank.Always(torsionConstant(inertia, 2*w.halfPeriod) / (2 * math.Pi))},
			{ID: "f-for-omega", Value: bank.Always(torsionConstant(inertia, 2*w.halfPeriod) / (4 * math.Pi * math.Pi))},
			{ID: "no-beam", Value: kappa(2*w.SmallMass*w.Arm*w.Arm, 2*w.halfPeriod)},
			{ID: "one-sphere", Value: kappa(w.SmallMass*w.Arm*w.Arm+bank.RoundTo(w.beamInertia, 3), 2*w.halfPeriod)},
			{ID: "full-beam", Value: kappa(8*w.SmallMass*w.Arm*w.Arm+bank.RoundTo(w.beamInertia, 3), 2*w.halfPeriod)},
			{ID: "not-squared", Value: bank.Always(inertia * math.Pi / w.halfPeriod)},
			{ID: "no-spheres", Value: kappa(bank.RoundTo(w.beamInertia, 3), 2*w.halfPeriod)},
		},
		Range: [2]float64{3e-8, 6e-7},
		// a disc of 4.84e-7 kg m² swings in 1.00 s
		Source: bank.Published(testdata.Examples, "torsion-04", torsionConstant(4.84e-7, 1.00), 0.005e-5),
	}
}

// lightSpot: the whole movement of the spot is printed, as a student reads it
// off the scale.
func (w weighing) lightSpot() bank.Question {
	rest := gravlab.Must(w.Deflection())
	movement := math.Round(2*2*scaleDistance*rest*1000*2) / 2 // mm, to half a millimetre
	theta := math.Atan(movement/1000/2/scaleDistance) / 2
	return bank.Question{
		ID: "theta", Kind: judge.KindNumber, Marks: 2, Unit: "rad", Tol: judge.Tolerance{Rel: 0.004},
		Fields: bank.Fields{"movement": movement, "movementSI": movement / 1000},
		Solve:  bank.Always(theta),
		Slips: []bank.Slip{
			{ID: "one-halving", Value: bank.Always(2 * theta)},
			{ID: "no-halving", Value: bank.Always(4 * theta)},
			{ID: "three-halvings", Value: bank.Always(theta / 2)},
			{ID: "degrees", Value: bank.Always(theta * 180 / math.Pi)},
			{ID: "length", Value: bank.Always(movement / 1000)},
		},
		Range: [2]float64{1e-3, 1.2e-2},
	}
}

func (w weighing) bigG() bank.Question {
	gap := w.Distance - w.SmallRadius - w.LargeRadius
	g := func(d, factor float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 {
			return factor * staticG(k["kappa"], k["theta"], d, w.SmallMass, w.LargeMass, w.Arm)
		}
	}
	return bank.Question{
		ID: "big-g", Kind: judge.KindNumber, Marks: 3, Unit: "m³/(kg s²)", Tol: judge.Tolerance{Rel: 0.015}, Uses: []string{"kappa", "theta"},
		Fields: bank.Fields{"theta": w.theta()},
		Solve:  g(w.Distance, 1),
		Slips: []bank.Slip{
			{ID: "twice", Value: g(w.Distance, 2)},
			{ID: "half", Value: g(w.Distance, 0.5)},
			{ID: "gap", Value: g(gap, 1)},
			{ID: "not-squared", Value: func(k bank.Answers) float64 { return g(w.Distance, 1)(k) / w.Distance }},
			{ID: "no-small-mass", Value: func(k bank.Answers) float64 { return g(w.Distance, 1)(k) * w.SmallMass }},
			{ID: "no-arm", Value: func(k bank.Answers) float64 { return g(w.Distance, 1)(k) * w.Arm }},
			{ID: "half-distance", Value: g(w.Distance/2, 1)},
		},
		Range: [2]float64{6e-11, 7.4e-11},
		// one pair only: 7.5e-3 kg, 1.3 kg, 0.060 m, arm 0.080 m, 9.3e-10 N m/rad, 1.5e-2 rad
		Source: bank.Published(testdata.Examples, "cavendish-09", 2*staticG(9.3e-10, 1.5e-2, 0.060, 7.5e-3, 1.3, 0.080), 0.05e-11),
	}
}

// theta is the right answer to the question of the light spot.
func (w weighing) theta() float64 { return w.lightSpot().Solve(nil) }

func (w weighing) farSpheres() bank.Question {
	ratio := farRatio(w.Arm, w.Distance)
	return bank.Question{
		ID: "far-spheres", Kind: judge.KindNumber, Marks: 2, Unit: "%", Tol: judge.Tolerance{Rel: 0.02},
		Solve: bank.Always(ratio),
		Slips: []bank.Slip{
			{ID: "no-direction", Value: bank.Always(math.Pow(ratio, 2.0/3))},
			{ID: "arm-for-beam", Value: bank.Always(math.Pow(w.Distance/math.Hypot(w.Distance, w.Arm), 3))},
			{ID: "rest", Value: bank.Always(1 - ratio)},
			{ID: "one-power", Value: bank.Always(math.Cbrt(ratio))},
			{ID: "added", Value: bank.Always(math.Pow(w.Distance/(w.Distance+2*w.Arm), 2))},
		},
		Range: [2]float64{0.01, 0.06},
		// b = 83 mm, d = 61 mm, exact geometry
		Source: bank.Computed(testdata.Checks, "torsion-farsphere-01",
			// The exact geometry turns with the beam by 2.6 mrad, which moves the ratio by
			// some of its third digit.
			1-farRatio(0.083, 0.061), 5e-4),
	}
}

func (w weighing) torque(d *bank.Draw) bank.Question {
	model := w.Balance
	model.BeamMass, model.ExtraInertia, model.SmallRadius, model.LargeRadius = 0, 0, 0, 0
	near := func(theta float64) float64 {
		// The near pairs alone, by their distance from centre to centre.
		dx, dy := w.Arm*(1-math.Cos(theta)), w.Distance-w.Arm*math.Sin(theta)
		r := math.Hypot(dx, dy)
		return 2 * gravlab.G * w.SmallMass * w.LargeMass * w.Arm * (dy*math.Cos(theta) - dx*math.Sin(theta)) / (r * r * r)
	}
	r := d.Rand("torque calls")
	var calls [][]float64
	for range 9 {
		calls = append(calls, []float64{bank.Clean(math.Round((r.Float64()*0.12-0.06)*1e4) / 1e4)})
	}
	calls = append(calls, []float64{0}, calls[4])
	one := func(f func(theta float64) float64) func([]float64) []float64 {
		return func(a []float64) []float64 { return []float64{f(a[0])} }
	}
	right := func(theta float64) float64 { return gravlab.Must(model.Torque(theta, torsion.Plus)) }
	anywhere := func(theta float64) float64 { // right, at angles too that the balance cannot reach
		x, y, sum := w.Arm*math.Cos(theta), w.Arm*math.Sin(theta), 0.0
		for _, side := range []float64{1, -1} {
			dx, dy := side*w.Arm-x, side*w.Distance-y
			sum += (x*dy - y*dx) / math.Pow(math.Hypot(dx, dy), 3)
		}
		return 2 * gravlab.G * w.SmallMass * w.LargeMass * sum
	}
	exact := testdata.Find(testdata.Checks, "torsion-static-01")
	return bank.Question{
		ID: "torque", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 2e-3},
		Function: &bank.Function{
			Name: "torque", Signature: judge.OneToOne, Calls: calls,
			Right:   one(right),
			Degrees: one(func(theta float64) float64 { return anywhere(theta / gravlab.Degree) }),
			Slips: []bank.FunctionSlip{
				{ID: "near-only", F: one(near)},
				{ID: "at-zero", F: one(func(float64) float64 { return right(0) })},
				{ID: "one-sphere", F: one(func(theta float64) float64 { return right(theta) / 2 })},
				{ID: "sign", F: one(func(theta float64) float64 { return -right(theta) })},
				{ID: "force", F: one(func(theta float64) float64 { return right(theta) / w.Arm })},
				{ID: "not-cubed", F: one(func(theta float64) float64 { return right(theta) * w.Distance })},
			},
		},
		Source: bank.Source{Check: &bank.SourceCheck{
			// At the equilibrium of the reference the torque equals kappa theta = 6.4e-8 ×
			// 2.6096842e-3.
			Table: testdata.Checks, ID: "torsion-static-01",
			Got:    gravlab.Must(torsion.Balance{Arm: 0.083, Distance: 0.061, SmallMass: 0.0215, LargeMass: 2.7}.Torque(exact.Float("value"), torsion.Plus)),
			Want:   6.4e-8 * exact.Float("value"),
			Within: 1e-8 * 6.4e-8 * exact.Float("value")}},
	}
}

func whyLead() bank.Question {
	return bank.Question{
		ID: "why-lead", Kind: judge.KindChoice, Marks: 1,
	}
}

func heavierSmallBall() bank.Question {
	return bank.Question{
		ID: "heavier", Kind: judge.KindChoice, Marks: 1,
	}
}

// budget asks for the relative standard uncertainty of G from those of what was
// measured.
func (w weighing) budget(d *bank.Draw) bank.Question {
	uT := d.Between("u period", 0.5, 0.7, 0.1)   // %
	uD := d.Between("u distance", 0.5, 0.7, 0.1) // %
	uM := d.Between("u mass", 0.05, 0.15, 0.05)  // %
	wanted := d.Between("wanted u", 2.5, 3, 0.1) // %
	left := func(terms ...float64) float64 {
		return math.Sqrt(wanted*wanted-floats.Dot(terms, terms)) / 100
	}
	return bank.Question{
		ID: "budget", Kind: judge.KindNumber, Marks: 2, Unit: "%", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"uT": uT, "uD": uD, "uM": uM, "wanted": wanted},
		Solve:  bank.Always(left(2*uT, 2*uD, uM)),
		Slips: []bank.Slip{
			{ID: "no-exponents", Value: bank.Always(left(uT, uD, uM))},
			{ID: "straight-difference", Value: bank.Always(positive(wanted-2*uT-2*uD-uM) / 100)},
			{ID: "added", Value: bank.Always(math.Sqrt(wanted*wanted+4*uT*uT+4*uD*uD+uM*uM) / 100)},
			{ID: "period-exponent", Value: bank.Always(left(uT, 2*uD, uM))},
			{ID: "distance-exponent", Value: bank.Always(left(2*uT, uD, uM))},
			{ID: "others-ignored", Value: bank.Always(wanted / 100)},
			{ID: "inside-out", Value: bank.Always(left(math.Sqrt2*uT, math.Sqrt2*uD, uM))},
		},
		Range: [2]float64{0.014, 0.028},
	}
}

// positive is v, or NaN where a mistake leads to nothing that anybody would state.
func positive(v float64) float64 {
	if v <= 0 {
		return math.NaN()
	}
	return v
}

// densities1798 hands the published table to the student's program.
func densities1798() bank.Recording {
	return bank.Recording{
		ID: "densities-1798", Shared: true,
		Columns: []bank.Column{{Name: "density", Unit: "kg/m³"}},
		Make: func() ([][]float64, error) {
			printed, _ := densities()
			for i := range printed {
				printed[i] = bank.Clean(printed[i] * 1000)
			}
			return [][]float64{printed}, nil
		},
	}
}

// densities returns the 29 results in g/cm³: as printed, and with the third as
// the printed mean needs it.
func densities() (printed, alternative []float64) {
	for _, row := range testdata.Table("cavendish1798.csv") {
		printed = append(printed, row.Float("density_printed"))
		alternative = append(alternative, row.Float("density_alternative"))
	}
	return printed, alternative
}

func meanOf1798() bank.Question {
	printed, alternative := densities()
	n := float64(len(printed))
	spread := func(x []float64) float64 {
		m, s := floats.Sum(x)/n, 0.0
		for _, v := range x {
			s += (v - m) * (v - m)
		}
		return math.Sqrt(s / (n - 1))
	}
	mean, u := floats.Sum(printed)/n, spread(printed)/math.Sqrt(n)

	const gcm3 = 1000
	return bank.Question{
		// The mean is known to every digit: the tolerance is that of a value typed
		// with two decimals.
		ID: "mean-1798", Kind: judge.KindMeasured, Marks: 3, Unit: "g/cm³", Tol: judge.Tolerance{Abs: 0.006 * gcm3},
		// Today: 5.9722e24 kg (see earth-mass) in a sphere of 6371 km.
		Compare: "Printed in 1798: 5.48 g/cm³. Today: 5.513 g/cm³.",
		Fields:  bank.Fields{"alternative2": alternative[2], "printed2": printed[2]},
		Solve:   bank.Always(mean * gcm3),
		U:       func() float64 { return u * gcm3 },
		Slips: []bank.Slip{
			{ID: "printed-mean", Value: bank.Always(floats.Sum(alternative) / n * gcm3)},
			{ID: "n-minus-1", Value: bank.Always(mean * gcm3 * n / (n - 1))},
		},
		USlips: []bank.Slip{
			{ID: "scatter", Value: bank.Always(spread(printed) * gcm3)},
		},
		Range:  [2]float64{5440, 5455},
		Source: bank.Published(testdata.Examples, "cavendish-01", mean, 0.0005),
	}
}

func experimentOf1798(d *bank.Draw) bank.Question {
	// Times of vibration and movements near those of the sixth and eighth
	// experiments; the check below is the published fourth one.
	minutes, seconds := 7.0, d.Between("seconds", 1, 8, 1)
	movement := d.Between("movement", 5.9, 6.4, 0.02)
	n := 60*minutes + seconds
	density := func(n, b float64) float64 { return 1000 * gravlab.Must(torsion.Density1798(n, b)) }
	return bank.Question{
		ID: "experiment-1798", Kind: judge.KindNumber, Marks: 2, Unit: "g/cm³", Tol: judge.Tolerance{Rel: 0.004},
		Fields: bank.Fields{"minutes": minutes, "seconds": seconds, "movement": movement},
		Solve:  bank.Always(density(n, movement/2)),
		Slips: []bank.Slip{
			{ID: "whole-movement", Value: bank.Always(density(n, movement))},
			{ID: "full-period", Value: bank.Always(density(2*n, movement/2))},
			{ID: "decimal-minutes", Value: bank.Always(density(60*(minutes+seconds/10), movement/2))},
			{ID: "not-squared", Value: bank.Always(density(n, movement/2) / n)},
			{ID: "quarter", Value: bank.Always(density(n/2, movement/2))},
		},
		Range:  [2]float64{4800, 6100},
		Source: bank.Published(testdata.Examples, "cavendish-04", density(421, 6.18/2)/1000, 0.005),
	}
}
