package lab08

import (
	"embed"
	"math"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/equivalence"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 08.
var Lab = bank.Lab{
	ID: "08-do-all-things-fall", Title: "Do all things fall alike?", Minutes: 75,
	Asks:   "Drop two metals and watch for a difference in the fourteenth decimal place. What would you see first?",
	Tracks: []bank.Track{bank.LaboratoryClass, bank.PlanetarySpace}, BuildsOn: []string{"01-weighing-the-earth", "07-in-the-lift"}, Graded: true,
	Sealed: bank.Weights{Times: 2, Constants: []string{"sun", "turn", "eta"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

// earthRadius is the Earth's mean radius as the prompts print it, m.
const earthRadius = 6.371e6

func build(d *bank.Draw) bank.Sheet {
	// The balance of the sheet stands at one latitude, away from 45 degrees,
	// where sine and cosine cannot be told apart.
	latitude := d.Between("latitude", 50, 62, 1)
	table := drawTurntable(d, latitude)
	return bank.Sheet{
		Recordings: []bank.Recording{table.recording()},
		Questions: []bank.Question{
			fallPendulums(d), fallDrive(latitude), fallEquator(), fallSun(d), fallBend(d, latitude), fallMaterials(),
			fallInStep(d), table.turnQuestion(), table.leanQuestion(), table.etaQuestion(),
			fallLimit(d), fallGradient(d), fallCombine(d), fallPublished(),
		},
	}
}

func fallPendulums(d *bank.Draw) bank.Question {
	swings := d.Pick("swings", 500, 800, 1000)
	longer := d.Between("wood longer", 0.2, 0.9, 0.1) // s in all swings
	lead := math.Round(2.1*swings) + d.Between("lead time", -20, 20, 0.1)
	wood := lead + longer
	uTime := d.Pick("u time", 0.2, 0.25, 0.3, 0.35) // s
	eta := gravlab.Must(equivalence.PendulumRatio(wood/swings, lead/swings))
	newton := testdata.Table("eta.csv")[0]
	u := func(of float64) func(bank.Answers) float64 { return bank.Always(of * uTime / lead) }
	return bank.Question{
		ID: "pendulums", Kind: judge.KindMeasured, Marks: 2, Unit: "1", Tol: judge.Tolerance{Abs: 6e-6, Rel: 0.01},
		Fields: bank.Fields{
			"swings": swings, "wood": wood, "lead": lead, "uTime": uTime, "newtonSource": newton["source"],
			"howKnown": newton["how_known"],
		},
		Solve: bank.Always(eta),
		U:     func() float64 { return 2 * math.Sqrt2 * uTime / lead },
		Slips: []bank.Slip{
			{ID: "factor-2-too-few", Value: bank.Always(eta / 2)},
			{ID: "root-for-square", Value: bank.Always(eta / 4)},
			{ID: "seconds", Value: bank.Always(-longer)},
			{ID: "doubled", Value: bank.Always(2 * eta)},
			{ID: "per-swing", Value: bank.Always(-longer / swings)},
		},
		USlips: []bank.Slip{
			{ID: "one-time", Value: u(2)},
			{ID: "no-square", Value: u(math.Sqrt2)},
			{ID: "one-time-no-square", Value: u(1)},
			{ID: "straight-sum", Value: u(4)},
		},
		Range: [2]float64{-1.9e-3, -1.5e-4},
	}
}

// acrossPlumb is omega² N cos phi sin phi on an ellipsoid, m/s².
func acrossPlumb(latitude float64) float64 {
	return gravlab.Must(equivalence.EarthDrive(earth.GRS80, latitude*math.Pi/180, 0))
}

func fallDrive(latitude float64) bank.Question {
	phi := latitude * math.Pi / 180
	turning := 7.292e-5 * 7.292e-5 * 6.378e6 // of the numbers in the prompt, m/s²
	onSphere := func(phi float64) float64 { return turning * math.Cos(phi) * math.Sin(phi) }
	drive := onSphere(phi)
	exact := testdata.Find(testdata.Checks, "equivalence-driving-01")
	return bank.Question{
		ID: "drive", Kind: judge.KindNumber, Marks: 2, Unit: "mm/s²", Tol: judge.Tolerance{Rel: 0.006},
		Fields: bank.Fields{"latitude": latitude},
		Solve:  bank.Always(drive),
		Slips: []bank.Slip{
			{ID: "half-ignored", Value: bank.Always(2 * drive)},
			{ID: "along-plumb-line", Value: bank.Always(drive / math.Tan(phi))},
			{ID: "centrifugal", Value: bank.Always(drive / math.Sin(phi))},
			{ID: "attraction", Value: bank.Always(earth.WGS84.GM / (6378e3 * 6378e3))},
			{ID: "sine-alone", Value: bank.Always(turning * math.Sin(phi))},
			{ID: "equator", Value: bank.Always(turning)},
			{ID: "degrees", Value: bank.Always(turning * math.Cos(latitude) * math.Sin(latitude))},
			{ID: "not-squared", Value: bank.Always(drive / 7.292e-5)},
		},
		Range: [2]float64{0.0135, 0.0172},
		// 30 degrees; the sphere is 0.3 % off there
		Source: bank.Computed(testdata.Checks, "equivalence-driving-01", onSphere(math.Pi/6), 0.004*exact.Float("value")),
	}
}

func fallEquator() bank.Question {
	return bank.Question{
		ID: "equator", Kind: judge.KindChoice, Marks: 1,
	}
}

// sunAmplitude is GM/d² cos(declination), m/s².
func sunAmplitude(declination float64) float64 {
	east, _ := sunDrive(declination, 0)
	return east
}

// sunDrive are the east and north amplitudes of the Sun's pull, m/s², from degrees.
func sunDrive(declination, latitude float64) (east, north float64) {
	east, north, err := equivalence.SunDrive(1.496e11, declination*math.Pi/180, latitude*math.Pi/180)
	if err != nil {
		panic(err) // arguments from this file
	}
	return east, north
}

func fallSun(d *bank.Draw) bank.Question {
	declination := d.Between("declination", 15, 23, 0.5)
	latitude := d.Between("sun latitude", 40, 58, 1)
	east, north := sunDrive(declination, latitude)
	return bank.Question{
		ID: "sun", Kind: judge.KindNumber, Marks: 2, Unit: "mm/s²", Tol: judge.Tolerance{Rel: 0.006},
		Fields: bank.Fields{"declination": declination, "latitude": latitude},
		Solve:  bank.Always(east),
		Slips: []bank.Slip{
			{ID: "no-declination", Value: bank.Always(sunAmplitude(0))},
			{ID: "north-for-east", Value: bank.Always(north)},
			{ID: "sine", Value: bank.Always(sunAmplitude(0) * math.Sin(declination*math.Pi/180))},
			{ID: "tide-of-the-sun", Value: bank.Always(2 * 1.327e20 * earthRadius / math.Pow(1.496e11, 3))},
			{ID: "latitude-too", Value: bank.Always(east * math.Cos(latitude*math.Pi/180))},
			{ID: "latitude", Value: bank.Always(sunAmplitude(latitude))},
			{ID: "degrees", Value: bank.Always(math.Abs(sunAmplitude(0) * math.Cos(declination)))},
		},
		Range: [2]float64{5.4e-3, 5.8e-3},
		// -17 degrees, 1 au
		Source: bank.Computed(testdata.Checks, "equivalence-sun-01",
			// 1.496e11 m for the astronomical unit of the reference is 3e-5 relative.
			sunAmplitude(-17), 4e-7),
	}
}

// etaOf is an Eötvös ratio from a difference of accelerations.
func etaOf(difference, drive float64) float64 { return difference / drive }

func fallBend(d *bank.Draw, latitude float64) bank.Question {
	mass := d.Between("bend mass", 20, 60, 1)   // g
	arm := d.Between("bend arm", 40, 90, 1)     // mm
	kappa := d.Between("bend kappa", 2, 9, 0.1) // nN m/rad
	theta := d.Between("bend angle", 10, 60, 1) // nrad
	b := equivalence.Balance{TestMass: mass / 1000, Arm: arm / 1000, Kappa: kappa * 1e-9}
	difference := gravlab.Must(b.Difference(b.Kappa * theta * 1e-9))
	eta := func(difference float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 { return etaOf(difference, k["drive"]) }
	}
	var published testdata.Row
	for _, row := range testdata.Table("eta.csv") {
		if row["experiment"] == "Schlamminger et al." {
			published = row
		}
	}
	return bank.Question{
		ID: "bend", Kind: judge.KindNumber, Marks: 3, Unit: "1", Tol: judge.Tolerance{Rel: 0.012}, Uses: []string{"drive"},
		Fields: bank.Fields{
			"latitude": latitude, "mass": mass, "arm": arm, "kappa": kappa, "theta": theta, "testMass": b.TestMass,
			"arm2": b.Arm, "publishedSource": published["source"],
		},
		Solve: eta(difference),
		Slips: []bank.Slip{
			{ID: "g-for-drive", Value: bank.Always(difference / 9.81)},
			{ID: "one-arm-too-few", Value: eta(difference * b.Arm)},
			{ID: "full-length", Value: eta(difference / 2)},
			{ID: "doubled", Value: eta(2 * difference)},
			{ID: "per-angle", Value: eta(difference / b.Kappa)},
		},
		Range: [2]float64{1e-13, 6e-11},
		Source: bank.Source{Published: true, Check: &bank.SourceCheck{
			Table: "eta.csv", ID: published["experiment"], Got: etaOf(3.1e-15, acrossPlumb(47.7)), Want: published.Float("uncertainty"), Within: 0.05e-13}},
	}
}

func fallMaterials() bank.Question {
	return bank.Question{
		ID: "materials", Kind: judge.KindChoice, Marks: 1,
	}
}

// perTurn is how many readings a turn has in the function question.
const perTurn = 24

// inStep is the amplitude in step with the turning: the sine part.
func inStep(x []float64, factor float64, wave func(float64) float64) float64 {
	s := 0.0
	for i, v := range x {
		s += v * wave(2*math.Pi*float64(i)/perTurn)
	}
	return factor * s / float64(len(x))
}

func fallInStep(d *bank.Draw) bank.Question {
	r := d.Rand("in step")
	var calls [][]float64
	for i := range 6 {
		// Whole turns: sine, cosine, twice a turn, an offset, and some scatter.
		turns := 1 + i%3
		a, b, c, offset := 4*r.Float64()-2, 1+r.Float64(), 6*r.Float64()-3, 20*r.Float64()-10
		if math.Abs(a) < 0.5 {
			a = math.Copysign(0.5+math.Abs(a), a)
		}
		var x []float64
		for k := range turns * perTurn {
			p := 2 * math.Pi * float64(k) / perTurn
			x = append(x, bank.Clean(math.Round((a*math.Sin(p)+b*math.Cos(p)+c*math.Sin(2*p)+offset+0.1*r.NormFloat64())*1000)/1000))
		}
		calls = append(calls, x)
	}
	calls = append(calls, calls[1])
	one := func(factor float64, wave func(float64) float64) func([]float64) []float64 {
		return func(x []float64) []float64 { return []float64{inStep(x, factor, wave)} }
	}
	return bank.Question{
		ID: "in-step", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 0.002, Abs: 2e-3},
		Fields: bank.Fields{"perTurn": perTurn, "step": 360 / perTurn},
		Function: &bank.Function{
			Name: "inStep", Signature: judge.SliceToOne, Calls: calls,
			Right: one(2, math.Sin),
			Slips: []bank.FunctionSlip{
				{ID: "half-amplitude", F: one(1, math.Sin)},
				{ID: "cosine-for-sine", F: one(2, math.Cos)},
				{ID: "angle-in-degrees", F: func(x []float64) []float64 {
					return []float64{inStep(x, 2, func(p float64) float64 { return math.Sin(p * 180 / math.Pi) })}
				}},
				{ID: "both-phases", F: func(x []float64) []float64 {
					return []float64{math.Hypot(inStep(x, 2, math.Sin), inStep(x, 2, math.Cos))}
				}},
				{ID: "not-divided", F: func(x []float64) []float64 { return []float64{inStep(x, 2, math.Sin) * float64(len(x))} }},
				{ID: "off-by-one", F: one(2, func(p float64) float64 { return math.Sin(p + 2*math.Pi/perTurn) })},
				{ID: "once", F: func(x []float64) []float64 {
					return []float64{inStep(x, 2, func(p float64) float64 { return math.Sin(p * perTurn / float64(len(x))) })}
				}},
			},
		},
	}
}

func fallLimit(d *bank.Draw) bank.Question {
	u := d.Between("limit u", 1.2, 3.6, 0.2)
	eta := bank.Clean(math.Round(d.Pick("limit sign", -1, 1)*u*d.Between("limit ratio", 0.7, 1.2, 0.05)*10) / 10)
	limit := gravlab.Must(equivalence.Limit(eta*1e-13, u*1e-13, 0.95))
	return bank.Question{
		ID: "limit", Kind: judge.KindNumber, Marks: 2, Unit: "1", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"eta": eta, "u": u},
		Solve:  bank.Always(limit),
		Slips: []bank.Slip{
			{ID: "no-estimate", Value: bank.Always(1.98 * u * 1e-13)}, // whether 1.96 or 2
			{ID: "two-sided-1-96-u", Value: bank.Always((math.Abs(eta) + 1.96*u) * 1e-13)},
			{ID: "one-sigma", Value: bank.Always(u * 1e-13)},
			{ID: "plus-u", Value: bank.Always((math.Abs(eta) + u) * 1e-13)},
			{ID: "plus-2u", Value: bank.Always((math.Abs(eta) + 3*u) * 1e-13)},
		},
		Range: [2]float64{2.4e-13, 1.05e-12},
		// -1.5(1.2)e-13
		Source: bank.Computed(testdata.Checks, "equivalence-limit-01", gravlab.Must(equivalence.Limit(-1.5e-13, 1.2e-13, 0.95)), 1e-22),
	}
}

// dumbbellTorque is 3 G M m b²/d³, N m.
func dumbbellTorque(mass, arm, source, distance float64) float64 {
	return 3 * gravlab.G * source * mass * arm * arm / math.Pow(distance, 3)
}

func fallGradient(d *bank.Draw) bank.Question {
	mass := d.Between("gradient mass", 20, 60, 1) // g
	arm := d.Between("gradient arm", 40, 70, 1)   // mm
	person := d.Between("person", 55, 95, 1)      // kg
	distance := d.Between("person distance", 1.3, 1.9, 0.05)
	torque := dumbbellTorque(mass/1000, arm/1000, person, distance)
	return bank.Question{
		ID: "gradient", Kind: judge.KindNumber, Marks: 2, Unit: "pN m", Tol: judge.Tolerance{Rel: 0.015},
		Fields: bank.Fields{"person": person, "distance": distance, "mass": mass, "arm": arm, "massSI": mass / 1000, "armSI": arm / 1000},
		Solve:  bank.Always(torque),
		Slips: []bank.Slip{
			{ID: "factor-2-too-few", Value: bank.Always(torque / 2)},
			{ID: "factor-3-too-few", Value: bank.Always(torque / 3)},
			{ID: "square-for-cube", Value: bank.Always(torque * distance)},
			{ID: "full-length", Value: bank.Always(4 * torque)},
			{ID: "doubled", Value: bank.Always(2 * torque)},
			{ID: "two-for-three", Value: bank.Always(torque * 2 / 3)},
			{ID: "line-alone", Value: bank.Always(torque * 4 / 3)},
			{ID: "arm-once", Value: bank.Always(torque / (arm / 1000))},
			{ID: "pull", Value: bank.Always(gravlab.G * person * mass / 1000 * arm / 1000 / (distance * distance))},
		},
		Range: [2]float64{3e-14, 3e-12},
		Source: bank.Computed(testdata.Checks, "equivalence-gradtorque-04",
			// The reference holds all orders: the next one is 35/12 (b/d)², 0.4 % here.
			-dumbbellTorque(0.25, 0.11, 1200, 3.1), 0.006*2.45e-11),
	}
}

// inQuadrature adds standard uncertainties.
func inQuadrature(terms ...float64) float64 { return math.Sqrt(floats.Dot(terms, terms)) }

func fallCombine(d *bank.Draw) bank.Question {
	stat := d.Between("stat", 2.2, 3.4, 0.1)
	syst := d.Between("syst", 1.3, 2.0, 0.1)
	return bank.Question{
		ID: "combine", Kind: judge.KindNumber, Marks: 1, Unit: "1", Tol: judge.Tolerance{Rel: 0.015},
		Fields: bank.Fields{"stat": stat, "syst": syst},
		Solve:  bank.Always(inQuadrature(stat, syst) * 1e-15),
		Slips: []bank.Slip{
			{ID: "plain-sum", Value: bank.Always((stat + syst) * 1e-15)},
			{ID: "larger-one-alone", Value: bank.Always(stat * 1e-15)},
			{ID: "subtracted", Value: bank.Always(math.Sqrt(stat*stat-syst*syst) * 1e-15)},
			{ID: "mean", Value: bank.Always((stat + syst) / 2 * 1e-15)},
			{ID: "rms", Value: bank.Always(inQuadrature(stat, syst) / math.Sqrt2 * 1e-15)},
			{ID: "sum-of-squares", Value: bank.Always((stat*stat + syst*syst) * 1e-15)},
		},
		Range: [2]float64{2.5e-15, 4e-15},
		// 2.3 and 1.5
		Source: bank.Published(testdata.Examples, "equiv-19", inQuadrature(2.3e-15, 1.5e-15), 0.05e-15),
	}
}

func fallPublished() bank.Question {
	return bank.Question{
		ID: "published", Kind: judge.KindChoice, Marks: 1,
	}
}
