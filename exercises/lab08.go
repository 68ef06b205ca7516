package exercises

import (
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/equivalence"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

var doAllThingsFall = Lab{
	ID: "08-do-all-things-fall", Title: "Do all things fall alike?", Minutes: 85,
	Tracks: []Track{LaboratoryClass, PlanetarySpace}, BuildsOn: []string{"01-weighing-the-earth", "07-in-the-lift"}, Graded: true,
	Build: buildDoAllThingsFall,
}

func buildDoAllThingsFall(d *Draw) Paper {
	// The balance of the sheet stands at one latitude, away from 45 degrees,
	// where sine and cosine cannot be told apart.
	latitude := d.Between("latitude", 50, 62, 1)
	table := drawTurntable(d, latitude)
	return Paper{
		Recordings: []Recording{table.recording()},
		Questions: []Question{
			fallPendulums(d), fallDrive(latitude), fallEquator(), fallSun(d), fallBend(d, latitude), fallMaterials(),
			fallInStep(d), table.turnQuestion(), table.leanQuestion(), table.etaQuestion(),
			fallLimit(d), fallGradient(d), fallCombine(d), fallPublished(),
		},
	}
}

func fallPendulums(d *Draw) Question {
	swings := d.Pick("swings", 500, 800, 1000)
	longer := d.Between("wood longer", 0.2, 0.9, 0.1) // s in all swings
	lead := math.Round(2.1*swings) + d.Between("lead time", -20, 20, 0.1)
	wood := lead + longer
	eta := gravlab.Must(equivalence.PendulumRatio(wood/swings, lead/swings))
	newton := testdata.Table("eta.csv")[0]
	return Question{
		ID: "pendulums", Kind: judge.Number, Marks: 2, Title: "Newton's pendulums",
		Prompt: fmt.Sprintf("Two pendulums of exactly the same length and shape swing side by side; one box holds wood, the other as much lead. For %g full swings the wood needs %.1f s and the lead %.1f s. What Eötvös ratio $\\eta = 2(a_1-a_2)/(a_1+a_2)$ follows, with wood as number 1?", swings, wood, lead),
		Unit:   "1", Tol: judge.Tolerance{Rel: 0.01, Why: "η ≈ −2ΔT/T to first order, and two digits carried"},
		Solve: valueOf(eta),
		Slips: []Slip{
			{Name: "a factor 2 too few", Value: valueOf(eta / 2), Fix: "The acceleration goes with the square of the time: a = 4π²L/T².\nOr was the difference divided by the sum, and not by the mean?"},
			{Name: "the root for the square", Value: valueOf(eta / 4), Fix: "T goes with the root of L/a, so a goes with 1/T²."},
			{Name: "the difference in seconds not divided by the time", Value: valueOf(-longer), Fix: "η is a ratio: a difference of accelerations over their mean."},
		},
		Range:     [2]float64{-1.9e-3, -1.5e-4},
		Hints:     [2]string{"How does the acceleration follow from the period? T = 2π √(L/a).", "a goes with 1/T². Which of the two then falls with the smaller acceleration?"},
		Worked:    fmt.Sprintf("%%%%\n// a = 4 pi² L/T²: the same length for both, so only the periods count, and the\n// number of swings cancels. The slower pendulum has the smaller acceleration.\na1, a2 := 1/math.Pow(%.1f, 2), 1/math.Pow(%.1f, 2)\nsheet.Number(\"pendulums\", 2*(a1-a2)/(a1+a2), \"1\")", wood, lead),
		Reasoning: "$a = 4\\pi^2L/T^2$, so a relative difference of the periods counts twice, with the sign turned round: $\\eta \\approx -2\\,\\Delta T/T$. (With a stopwatch that is good to half a second this is no difference at all, and lengths that differ by a millimetre or so would do as much: that is why pendulums stop near $10^{-5}$.)",
		Source:    Source{Text: newton["source"] + "; " + newton["how_known"] + ": pendulums with boxes of wood, lead and other substances, alike to a part in a thousand"},
	}
}

// acrossPlumb is omega² N cos phi sin phi on an ellipsoid, m/s².
func acrossPlumb(latitude float64) float64 {
	return gravlab.Must(equivalence.EarthDrive(earth.GRS80, latitude*math.Pi/180, 0))
}

func fallDrive(latitude float64) Question {
	phi := latitude * math.Pi / 180
	drive := acrossPlumb(latitude)
	exact := testdata.Find("model_checks.csv", "equivalence-driving-01") // 30 degrees
	return Question{
		ID: "drive", Kind: judge.Number, Marks: 2, Title: "What drives a balance at rest",
		Prompt: fmt.Sprintf("A torsion balance stands at the latitude %g°. What part of the Earth's attraction is perpendicular to the plumb line there? Take $\\omega = 7.292\\times 10^{-5}\\ \\mathrm{rad/s}$ and an Earth's radius of 6378 km.", latitude),
		Unit:   "mm/s²", Tol: judge.Tolerance{Rel: 0.006, Why: "a sphere is 0.3 % low or high; three digits carried"},
		Solve: valueOf(drive),
		Slips: []Slip{
			{Name: "sin 2φ without the half", Value: valueOf(2 * drive), Fix: "sin φ cos φ is half of sin 2φ."},
			{Name: "the part along the plumb line", Value: valueOf(drive / math.Tan(phi)), Fix: "The centrifugal acceleration ω²R cos φ points away from the axis. Which part of it lies across the plumb line?"},
			{Name: "the whole centrifugal acceleration", Value: valueOf(drive / math.Sin(phi)), Fix: "Only its part across the plumb line counts: one more factor."},
			{Name: "the attraction itself", Value: valueOf(earthGM / (6378e3 * 6378e3)), Fix: "Almost all of the attraction is along the plumb line, where the fibre holds against it."},
		},
		Range:     [2]float64{0.0135, 0.0172},
		Hints:     [2]string{"Attraction and centrifugal acceleration add up to the plumb line: across it they are equal and opposite.", "The centrifugal acceleration is ω² times the distance from the axis, R cos φ; its part across the plumb line has a factor sin φ."},
		Worked:    fmt.Sprintf("%%%%\n// Across the plumb line attraction and centrifugal acceleration cancel, so the\n// one is as large as the other: w² R cos(phi), times sin(phi) for its direction.\nphi, w, R := %s*math.Pi/180, 7.292e-5, 6.378e6 // rad, rad/s, m\nsheet.Number(\"drive\", 1000*w*w*R*math.Cos(phi)*math.Sin(phi), \"mm/s²\")", lit(latitude)),
		Reasoning: "On the turning Earth a plumb line shows the sum of the attraction and the centrifugal acceleration. Across it the two cancel, so the attraction has the part $\\omega^2 R\\cos\\varphi\\sin\\varphi$ there, some $16\\ \\mathrm{mm/s^2}$: six hundred times less than $g$. If one material fell faster than the other, this is the part that would turn the balance.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "equivalence-driving-01", Got: acrossPlumb(30), Want: exact.Float("value"), Within: 1e-9}},
	}
}

func fallEquator() Question {
	return Question{
		ID: "equator", Kind: judge.Choice, Marks: 1, Title: "Where not to put it",
		Prompt: "Somebody offers a quiet cellar at the equator, where the centrifugal acceleration is largest, for a torsion balance that stands still and compares two materials in the field of the *Earth*. Is it a good place?",
		Options: []judge.Option{
			{Letter: "a", Text: "yes: the effect is in proportion to the centrifugal acceleration", Idea: "It is in proportion to the part of it *across the plumb line*. Which way does it point at the equator?"},
			{Letter: "b", Text: "no: there the attraction lies along the plumb line, and nothing is left to turn the balance", Right: true},
			{Letter: "c", Text: "no: gravity is too weak at the equator", Idea: "It is weaker by half a per cent, which no balance would notice."},
			{Letter: "d", Text: "it does not matter: materials fall alike or do not, everywhere", Idea: "True for the materials. But a balance sees only a difference of the forces *across* its fibre, and that depends on the place."},
		},
		Worked:    "%%\nsheet.Choice(\"equator\", \"b\") // sin(phi) cos(phi) is 0 there: everything points along the fibre",
		Reasoning: "The drive is $\\omega^2R\\cos\\varphi\\sin\\varphi$, zero at the equator and at the poles and largest near 45°. With the Sun as the source the equator would do very well: see the next question.",
		Source:    Source{Text: "common practice, no source: the drive of a balance at rest on the turning Earth"},
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

func fallSun(d *Draw) Question {
	declination := d.Between("declination", 15, 23, 0.5)
	latitude := d.Between("sun latitude", 40, 58, 1)
	east, north := sunDrive(declination, latitude)
	exact := testdata.Find("model_checks.csv", "equivalence-sun-01") // -17 degrees, 1 au
	return Question{
		ID: "sun", Kind: judge.Number, Marks: 2, Title: "The Sun as the source",
		Prompt: fmt.Sprintf("The Sun pulls too, and the Earth turns the laboratory under it. On a day when the Sun stands %g° north of the equator (its declination), what is the amplitude of the *east* part of its pull, over the day, at the latitude %g°? The Sun is $1.496\\times 10^{11}\\ \\mathrm{m}$ away and has $GM = 1.327\\times 10^{20}\\ \\mathrm{m^3/s^2}$.", declination, latitude),
		Unit:   "mm/s²", Tol: judge.Tolerance{Rel: 0.006, Why: "G M and distance as books round them; three digits carried"},
		Solve: valueOf(east),
		Slips: []Slip{
			{Name: "the declination left out", Value: valueOf(sunAmplitude(0)), Fix: "The east part is that of the pull's component in the plane of the equator."},
			{Name: "the north part for the east part", Value: valueOf(north), Fix: "The latitude plays no role for the east part: east is the same direction for all places on a meridian."},
			{Name: "the sine of the declination", Value: valueOf(sunAmplitude(0) * math.Sin(declination*math.Pi/180)), Fix: "That part points along the Earth's axis, and does not change over the day."},
			{Name: "the tide of the Sun", Value: valueOf(2 * 1.327e20 * earthRadius / math.Pow(1.496e11, 3)), Fix: "A balance that compares materials is driven by the pull itself, GM/d², not by its difference over the Earth."},
		},
		Range:     [2]float64{5.4e-3, 5.8e-3},
		Hints:     [2]string{"The whole pull is GM/d². It has one part along the Earth's axis and one in the plane of the equator.", "Only the part in the plane of the equator swings from east to west over the day: GM/d² times the cosine of the declination."},
		Worked:    fmt.Sprintf("%%%%\n// The pull has a part along the Earth's axis, which stays, and a part in the plane\n// of the equator, which points east in the morning and west in the evening.\nGM, dist, decl := 1.327e20, 1.496e11, %s*math.Pi/180 // m³/s², m, rad\nsheet.Number(\"sun\", 1000*GM/(dist*dist)*math.Cos(decl), \"mm/s²\")", lit(declination)),
		Reasoning: "As the Earth turns, the part of the pull in the equator's plane, $(GM/d^2)\\cos\\delta$, points east at one time and west half a day later: its east part has just that amplitude, at every latitude. The north part has a further $\\sin\\varphi$. It is a third of the Earth's drive, but it comes and goes by itself once a day, and no table has to turn.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			// 1.496e11 m for the astronomical unit of the reference is 3e-5 relative.
			Table: "model_checks.csv", ID: "equivalence-sun-01", Got: sunAmplitude(-17), Want: exact.Float("value"), Within: 4e-7}},
	}
}

// etaOf is an Eötvös ratio from a difference of accelerations.
func etaOf(difference, drive float64) float64 { return difference / drive }

func fallBend(d *Draw, latitude float64) Question {
	mass := d.Between("bend mass", 20, 60, 1)   // g
	arm := d.Between("bend arm", 40, 90, 1)     // mm
	kappa := d.Between("bend kappa", 2, 9, 0.1) // nN m/rad
	theta := d.Between("bend angle", 10, 60, 1) // nrad
	b := equivalence.Balance{TestMass: mass / 1000, Arm: arm / 1000, Kappa: kappa * 1e-9}
	difference := gravlab.Must(b.Difference(b.Kappa * theta * 1e-9))
	eta := func(difference float64) func(Known) float64 {
		return func(k Known) float64 { return etaOf(difference, k["drive"]) }
	}
	var published testdata.Row
	for _, row := range testdata.Table("eta.csv") {
		if row["experiment"] == "Schlamminger et al." {
			published = row
		}
	}
	return Question{
		ID: "bend", Kind: judge.Number, Marks: 3, Title: "From an angle to η", Uses: []string{"drive"},
		Prompt: fmt.Sprintf("The balance at %g° carries two test masses of different matter, %g g each, with their centres %g mm from a fibre of $\\kappa = %.1f\\ \\mathrm{nN\\,m/rad}$. Turning the whole balance round shows that the fibre is twisted by %g nrad in step with the direction of north. What Eötvös ratio would explain that?", latitude, mass, arm, kappa, theta),
		Unit:   "1", Tol: judge.Tolerance{Rel: 0.012, Why: "the tolerance of the drive (0.6 %) and three digits carried"},
		Solve: eta(difference),
		Slips: []Slip{
			{Name: "divided by g", Value: valueOf(difference / 9.81), Fix: "Only the part of the attraction across the plumb line drives the balance: divide by that."},
			{Name: "one arm too few", Value: eta(difference * b.Arm), Fix: "A torque is a force times an arm: κθ = m b Δa."},
			{Name: "the full length for the arm", Value: eta(difference / 2), Fix: "b is from the fibre to the centre of one mass."},
		},
		Range:     [2]float64{1e-13, 6e-11},
		Hints:     [2]string{"Torque first: κ θ. What difference of accelerations, acting on masses at b and −b, makes it?", "Δa = κ θ/(m b); η = Δa over the part of the attraction that drives."},
		Worked:    fmt.Sprintf("%%%%\n// The torque of the fibre equals m b da; eta is da over what drives the balance.\nphi, w, R := %s*math.Pi/180, 7.292e-5, 6.378e6\ndrive := w * w * R * math.Cos(phi) * math.Sin(phi) // m/s²\nm, b, kappa, theta := %s, %s, %s*1e-9, %s*1e-9 // kg, m, N m/rad, rad\nsheet.Number(\"bend\", kappa*theta/(m*b)/drive, \"1\")", lit(latitude), lit(b.TestMass), lit(b.Arm), lit(kappa), lit(theta)),
		Reasoning: "Equal masses at $b$ and $-b$ that feel accelerations $a_1$ and $a_2$ across the beam give the torque $mb(a_1-a_2)$, which the fibre answers with $\\kappa\\theta$. So $\\Delta a = \\kappa\\theta/(mb)$, and $\\eta$ is that over the driving part of the attraction, not over $g$.",
		Source: Source{Text: published["source"] + ": 3.1e-15 m/s² at latitude 47.7°", Published: true, Check: &SourceCheck{
			Table: "eta.csv", ID: published["experiment"], Got: etaOf(3.1e-15, acrossPlumb(47.7)), Want: published.Float("uncertainty"), Within: 0.05e-13}},
	}
}

func fallMaterials() Question {
	return Question{
		ID: "materials", Kind: judge.Choice, Marks: 1, Title: "Which two materials?",
		Prompt: "For the same money you may buy one pair of test masses. Which pair can say most about whether different *kinds* of matter fall alike?",
		Options: []judge.Option{
			{Letter: "a", Text: "a large and a small mass of the same copper", Idea: "Both are the same mixture of protons, neutrons, electrons and binding energy: a difference between kinds of matter would not show."},
			{Letter: "b", Text: "brass and bronze, which can be machined alike", Idea: "Both are mostly copper, and zinc and tin stand near it: the nuclei hardly differ."},
			{Letter: "c", Text: "a cold and a warm mass of beryllium", Idea: "Heat has weight, but at room temperature only a part in 10¹¹ or so, and a temperature difference would disturb the balance far more."},
			{Letter: "d", Text: "beryllium and titanium, whose nuclei differ in their share of neutrons and in how tightly they are bound", Right: true},
		},
		Worked:    "%%\nsheet.Choice(\"materials\", \"d\") // unlike nuclei: neutrons for protons, and energy of binding for mass",
		Reasoning: "A test sees only the *difference* of the two materials. Whatever might couple to matter in another way than mass does (the number of neutrons, the energy of binding) must differ between them, or the test says nothing about it. One pair bounds one combination: that is why several pairs are measured.",
		Source:    Source{Text: "S. Schlamminger et al., Phys. Rev. Lett. 100, 041101 (2008): why beryllium and titanium"},
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

func fallInStep(d *Draw) Question {
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
			x = append(x, clean(math.Round((a*math.Sin(p)+b*math.Cos(p)+c*math.Sin(2*p)+offset+0.1*r.NormFloat64())*1000)/1000))
		}
		calls = append(calls, x)
	}
	calls = append(calls, calls[1])
	one := func(factor float64, wave func(float64) float64) func([]float64) []float64 {
		return func(x []float64) []float64 { return []float64{inStep(x, factor, wave)} }
	}
	return Question{
		ID: "in-step", Kind: judge.Function, Marks: 3, Title: "What comes in step",
		Prompt: fmt.Sprintf("A balance turns on its table and is read %d times a turn, the first time at the angle 0 and then every %d°. Write a function `inStep` that takes the readings of any number of *whole* turns (a slice `x`) and returns the amplitude $A$ of the part $A\\sin\\alpha$ that follows the angle $\\alpha$ of the table. The readings also hold a part in $\\cos\\alpha$, something that comes twice a turn, an offset, and noise.", perTurn, 360/perTurn),
		Tol:    judge.Tolerance{Rel: 0.002, Abs: 2e-3, Why: "over whole turns the sum is exact; a least-squares fit gives the same"},
		Function: &Function{
			Name: "inStep", Signature: judge.SliceToOne, Calls: calls, Right: one(2, math.Sin),
			Slips: []FunctionSlip{
				{Name: "half of the amplitude", F: one(1, math.Sin), Fix: "The mean of sin² is one half: the mean of reading times sine is half of the amplitude."},
				{Name: "the cosine for the sine", F: one(2, math.Cos), Fix: "At the angle 0 the wanted part is 0, not largest."},
				{Name: "the angle in degrees", F: func(x []float64) []float64 {
					return []float64{inStep(x, 2, func(p float64) float64 { return math.Sin(p * 180 / math.Pi) })}
				}, Fix: "math.Sin wants radians."},
				{Name: "sine and cosine together", F: func(x []float64) []float64 {
					return []float64{math.Hypot(inStep(x, 2, math.Sin), inStep(x, 2, math.Cos))}
				}, Fix: "Only the part in step with the sine of the angle is wanted, and it may be negative."},
			},
		},
		Hints:     [2]string{"Multiply every reading by the sine of its angle and take the mean. What does sin α · sin α average to over whole turns?", "A = 2/n times the sum of x[i] · sin(2πi/24): everything else averages to nothing over whole turns."},
		Worked:    fmt.Sprintf("// Reading times sine, averaged over whole turns: the offset, the cosine and what\n// comes twice a turn average to 0, and sin² averages to one half.\nfunc inStep(x []float64) float64 {\n\tsum := 0.0\n\tfor i, v := range x {\n\t\tsum += v * math.Sin(2*math.Pi*float64(i)/%d)\n\t}\n\treturn 2 * sum / float64(len(x))\n}\n\n%%%%\nsheet.Function(\"in-step\", inStep)", perTurn),
		Reasoning: "Over whole turns $\\sin\\alpha$ has no overlap with a constant, with $\\cos\\alpha$ or with $\\sin2\\alpha$, and the mean of $\\sin^2\\alpha$ is $\\frac12$: so $A = 2\\,\\overline{x\\sin\\alpha}$. That is why the table turns: it moves the signal to a place where drift and most disturbances are not.",
		Source:    Source{Text: "common practice, no source: orthogonality of sine and cosine over whole periods"},
	}
}

func fallLimit(d *Draw) Question {
	u := d.Between("limit u", 1.2, 3.6, 0.2)
	eta := clean(math.Round(d.Pick("limit sign", -1, 1)*u*d.Between("limit ratio", 0.7, 1.2, 0.05)*10) / 10)
	limit := gravlab.Must(equivalence.Limit(eta*1e-13, u*1e-13, 0.95))
	exact := testdata.Find("model_checks.csv", "equivalence-limit-01") // -1.5(1.2)e-13
	return Question{
		ID: "limit", Kind: judge.Number, Marks: 2, Title: "An upper limit",
		Prompt: fmt.Sprintf("Another laboratory reports $\\eta = %.1f(%.1f)\\times 10^{-13}$, with a standard uncertainty in the brackets. Which limit $L$ on $|\\eta|$ may it state with 95 %% confidence: the interval from $-L$ to $L$ that holds 95 %% of a normal distribution about the estimate? (Nothing was known about $\\eta$ before, not even the sign.) Try values of $L$ with `math.Erf`, or ask `equivalence.Limit`, which takes estimate, standard uncertainty and share.", eta, u),
		Unit:   "1", Tol: judge.Tolerance{Rel: 0.02, Why: "a limit is stated with two digits"},
		Solve: valueOf(limit),
		Slips: []Slip{
			{Name: "the estimate left out", Value: valueOf(1.96 * u * 1e-13), Fix: "The distribution stands about the estimate, not about 0: more of it lies outside on one side."},
			{Name: "the estimate and 1.96 u added", Value: valueOf((math.Abs(eta) + 1.96*u) * 1e-13), Fix: "That interval, seen from 0, leaves 2.5 % outside on one side and hardly anything on the other: it holds more than 95 %."},
			{Name: "one standard uncertainty for the limit", Value: valueOf(u * 1e-13), Fix: "From −u to u there are about two thirds of a distribution about 0, and less of this one."},
		},
		Range:     [2]float64{2.4e-13, 1e-12},
		Hints:     [2]string{"How much of the distribution lies between −L and L? Two values of the error function, for the distances from the estimate to L and to −L.", "equivalence.Limit does that; or try values of L until the share is 0.95."},
		Worked:    fmt.Sprintf("%%%%\n// The share of the normal distribution between -L and L; L such that it is 0.95.\nL := gravlab.Must(equivalence.Limit(%s*1e-13, %s*1e-13, 0.95))\nsheet.Number(\"limit\", L, \"1\")", lit(eta), lit(u)),
		Reasoning: "The share between $-L$ and $L$ is $\\frac12\\left[\\mathrm{erf}\\frac{L-\\eta}{\\sqrt2u}+\\mathrm{erf}\\frac{L+\\eta}{\\sqrt2u}\\right]$. For $\\eta = 0$ it is 0.95 at $L = 1.96\\,u$; for $|\\eta| \\gg u$ it tends to $|\\eta|+1.64\\,u$.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "equivalence-limit-01", Got: gravlab.Must(equivalence.Limit(-1.5e-13, 1.2e-13, 0.95)), Want: exact.Float("value"), Within: 1e-22}},
	}
}

// dumbbellTorque is 3 G M m b²/d³, N m.
func dumbbellTorque(mass, arm, source, distance float64) float64 {
	return 3 * gravlab.G * source * mass * arm * arm / math.Pow(distance, 3)
}

func fallGradient(d *Draw) Question {
	mass := d.Between("gradient mass", 20, 60, 1) // g
	arm := d.Between("gradient arm", 40, 70, 1)   // mm
	person := d.Between("person", 55, 95, 1)      // kg
	distance := d.Between("person distance", 1.3, 1.9, 0.05)
	torque := dumbbellTorque(mass/1000, arm/1000, person, distance)
	exact := testdata.Find("model_checks.csv", "equivalence-gradtorque-04")
	return Question{
		ID: "gradient", Kind: judge.Number, Marks: 2, Title: "Somebody stands beside it",
		Prompt: fmt.Sprintf("A person of %g kg stands %.2f m from a turning balance with two test masses of %g g, %g mm from the fibre on either side. They are *not* of different matter, and still a torque arises, because the nearer mass is pulled more. What is the amplitude of that torque (it comes twice a turn)? Take person and masses as points, and only the first term in $b/d$.", person, distance, mass, arm),
		Unit:   "pN m", Tol: judge.Tolerance{Rel: 0.015, Why: "the exact torque is within 1 % of the first term; three digits carried"},
		Solve: valueOf(torque),
		Slips: []Slip{
			{Name: "a factor 2 too few", Value: valueOf(torque / 2), Fix: "sin α cos α is half of sin 2α, but there are two masses, and both are pulled the same way round."},
			{Name: "a factor 3 too few", Value: valueOf(torque / 3), Fix: "The gradient along the line to the person is 2GM/d³ and across it −GM/d³: both turn the beam."},
			{Name: "the square of the distance", Value: valueOf(torque * distance), Fix: "A difference of pulls falls with the cube of the distance."},
			{Name: "the full length for the arm", Value: valueOf(4 * torque), Fix: "b is from the fibre to the centre of one mass."},
		},
		Range:     [2]float64{3e-14, 3e-12},
		Hints:     [2]string{"Expand the pull GM/r² about the fibre: a gradient of 2GM/d³ along the line to the person, −GM/d³ across it.", "Torque = 2 m b² · (3GM/d³) sin α cos α, with α the angle between beam and person."},
		Worked:    fmt.Sprintf("%%%%\n// The gradient is 2GM/d³ along the line to the person and -GM/d³ across it. A beam\n// at the angle a feels 2 m b² (3GM/d³) sin(a) cos(a) = (3GM m b²/d³) sin(2a).\nm, b, M, dist := %s, %s, %s, %s // kg, m, kg, m\nsheet.Number(\"gradient\", 1e12*3*gravlab.G*M*m*b*b/math.Pow(dist, 3), \"pN m\")", lit(mass/1000), lit(arm/1000), lit(person), lit(distance)),
		Reasoning: "At the beam's angle $\\alpha$ the two gradients give the torque $2mb^2\\,\\frac{3GM}{d^3}\\sin\\alpha\\cos\\alpha = \\frac{3GMmb^2}{d^3}\\sin2\\alpha$. It comes *twice* a turn, and a signal of the materials once: on a well-made balance they can be told apart. On a real one nothing is perfectly symmetric, so the gradients near a balance are compensated with masses of its own, and nobody goes in.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			// The reference holds all orders: the next one is 35/12 (b/d)², 0.4 % here.
			Table: "model_checks.csv", ID: "equivalence-gradtorque-04", Got: -dumbbellTorque(0.25, 0.11, 1200, 3.1), Want: exact.Float("value"), Within: 0.006 * 2.45e-11}},
	}
}

// inQuadrature adds standard uncertainties.
func inQuadrature(terms ...float64) float64 { return math.Sqrt(squares(terms)) }

func fallCombine(d *Draw) Question {
	stat := d.Between("stat", 2.2, 3.4, 0.1)
	syst := d.Between("syst", 1.3, 2.0, 0.1)
	final := testdata.Find("worked_examples.csv", "equiv-19") // 2.3 and 1.5
	return Question{
		ID: "combine", Kind: judge.Number, Marks: 1, Title: "Two kinds of uncertainty",
		Prompt: fmt.Sprintf("A satellite reports $\\eta$ with a statistical standard uncertainty of $%.1f\\times 10^{-15}$ and a systematic one of $%.1f\\times 10^{-15}$. They have nothing to do with each other. What is the standard uncertainty of the result?", stat, syst),
		Unit:   "1", Tol: judge.Tolerance{Rel: 0.015, Why: "two digits are stated"},
		Solve: valueOf(inQuadrature(stat, syst) * 1e-15),
		Slips: []Slip{
			{Name: "added straight, not in quadrature", Value: valueOf((stat + syst) * 1e-15), Fix: "Independent uncertainties add as squares; take the root of the sum."},
			{Name: "the larger one alone", Value: valueOf(stat * 1e-15), Fix: "The smaller one adds something too: as squares."},
			{Name: "subtracted in quadrature", Value: valueOf(math.Sqrt(stat*stat-syst*syst) * 1e-15), Fix: "Two uncertainties never make a smaller one."},
		},
		Range:     [2]float64{2.5e-15, 4e-15},
		Hints:     [2]string{"Squares add.", "The root of the sum of both squares."},
		Worked:    fmt.Sprintf("%%%%\n// Independent uncertainties add as squares.\nsheet.Number(\"combine\", math.Hypot(%.1f, %.1f)*1e-15, \"1\")", stat, syst),
		Reasoning: "Independent uncertainties add in quadrature. The systematic one does not become smaller with more orbits: once the two are equal, waiting longer is of little use.",
		Source: Source{Text: final["source"], Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "equiv-19", Got: inQuadrature(2.3e-15, 1.5e-15), Want: final.Float("published_answer"), Within: 0.05e-15}},
	}
}

func fallPublished() Question {
	return Question{
		ID: "published", Kind: judge.Choice, Marks: 1, Title: "Reading the published results",
		Prompt: "Look at the chart and the table of published tests. Which of these statements do they support?",
		Options: []judge.Option{
			{Letter: "a", Text: "the satellite found $\\eta = -1.5\\times 10^{-15}$, so titanium falls less than platinum", Idea: "The uncertainty is 2.7 × 10⁻¹⁵: an estimate of half a standard uncertainty is what chance gives when there is nothing."},
			{Letter: "b", Text: "since the balances reached $10^{-13}$ the Moon tells nothing new", Idea: "Earth and Moon also carry energy of their own gravity, which no laboratory mass has to a degree that counts: only they test how *that* falls."},
			{Letter: "c", Text: "from pendulums to the satellite the limit has fallen by about eleven powers of ten, and nothing has been found", Right: true},
			{Letter: "d", Text: "a satellite is better because gravity is stronger in orbit", Idea: "It is a fifth weaker at 700 km. But all of it drives the test, instead of the small part across a plumb line, and the test masses are free."},
		},
		Worked:    "%%\nsheet.Choice(\"published\", \"c\") // 1e-3 for Newton's pendulums, 6e-15 for the satellite of 2022",
		Reasoning: "From $10^{-3}$ (1686) to some $6\\times10^{-15}$ (95 %, 2022) are eleven powers of ten, and every estimate agrees with zero. Each step came from a better way to hold everything else still: differential balances, a signal at a known rate, a source that modulates itself, free test masses.",
		Source:    Source{Text: "the results of equivalence.Results, each with its source"},
	}
}
