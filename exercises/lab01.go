package exercises

import (
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/torsion"
	"gravity.example/testdata"
)

var weighingTheEarth = Lab{
	ID: "01-weighing-the-earth", Title: "Weighing the Earth", Minutes: 80,
	Tracks: []Track{LaboratoryClass}, BuildsOn: []string{"00-first-steps"}, Graded: true,
	Build: buildWeighingTheEarth,
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
func drawWeighing(d *Draw) weighing {
	w := weighing{
		mSmall: d.Between("small mass", 40, 60, 1), mLarge: d.Between("large mass", 3.0, 4.4, 0.1),
		b: d.Between("arm", 100, 130, 1), d: d.Between("distance", 72, 82, 0.5),
		halfPeriod: d.Between("half-period", 255, 315, 0.5),
	}
	w.Balance = torsion.Balance{
		Arm: w.b / 1000, Distance: w.d / 1000, SmallMass: w.mSmall / 1000, LargeMass: w.mLarge,
		BeamMass: 0.012, ExtraInertia: 4e-6,
	}
	w.SmallRadius, w.LargeRadius = leadRadius(w.SmallMass), leadRadius(w.LargeMass)
	w.beamInertia = w.BeamMass*math.Pow(2*w.Arm, 2)/12 + w.ExtraInertia
	w.Kappa = torsionConstant(w.inertia(), 2*w.halfPeriod)
	return w
}

// inertia is the moment of inertia as the first question has it: the balls as
// points, the beam's share as printed.
func (w weighing) inertia() float64 {
	return 2*w.SmallMass*w.Arm*w.Arm + roundTo(w.beamInertia, 3)
}

// leadRadius is the radius of a lead sphere. Density 11350 kg/m³: D. R. Lide
// (ed.), CRC Handbook of Chemistry and Physics, 80th ed. (1999).
func leadRadius(mass float64) float64 { return math.Cbrt(3 * mass / (4 * math.Pi * 11350)) }

// torsionConstant is kappa = I (2 pi/T)².
func torsionConstant(inertia, period float64) float64 {
	return inertia * math.Pow(2*math.Pi/period, 2)
}

// staticG is G = kappa theta d²/(2 m M b): two pairs, near spheres only.
func staticG(kappa, theta, d, m, mLarge, b float64) float64 {
	return kappa * theta * d * d / (2 * m * mLarge * b)
}

// farShare is the share of the near torque that the far spheres take back.
func farShare(b, d float64) float64 { return math.Pow(d/math.Sqrt(d*d+4*b*b), 3) }

func buildWeighingTheEarth(d *Draw) Paper {
	w := drawWeighing(d)
	swing := w.record(d)
	return Paper{
		Recordings: []Recording{swing.recording(), densities1798()},
		Questions: []Question{
			w.fibreConstant(), w.lightSpot(), w.bigG(), w.farSpheres(), w.torque(d), whyLead(), heavierSmallBall(),
			swing.period(), swing.deflection(), w.budget(d), swing.bigG(), swing.earthMass(),
			meanOf1798(), experimentOf1798(d),
		},
	}
}

// apparatus is the balance in words, for every prompt that needs it.
func (w weighing) apparatus() string {
	return fmt.Sprintf("$m = %g\\ \\mathrm{g}$, $M = %g\\ \\mathrm{kg}$, $b = %g\\ \\mathrm{mm}$, $d = %g\\ \\mathrm{mm}$", w.mSmall, w.mLarge, w.b, w.d)
}

func (w weighing) fibreConstant() Question {
	inertia := w.inertia()
	const unit = "N m/rad"
	kappa := func(inertia, period float64) func(Known) float64 {
		return func(Known) float64 { return torsionConstant(inertia, period) }
	}
	disc := testdata.Find("worked_examples.csv", "torsion-04") // a disc of 4.84e-7 kg m² swings in 1.00 s
	return Question{
		ID: "kappa", Kind: judge.Number, Marks: 2, Title: "The torsion constant of the fibre",
		Prompt: fmt.Sprintf("With the large spheres wheeled away the beam swings freely. It takes %g s from one turning point to the next, on the other side. "+
			"Each small sphere has a mass of $m = %g\\ \\mathrm{g}$ and sits with its centre $b = %g\\ \\mathrm{mm}$ from the fibre; beam, mirror and clamp add $I_0 = %s\\ \\mathrm{kg\\,m^2}$ to the moment of inertia. "+
			"What is the torsion constant $\\kappa$ of the fibre? Take the spheres as points.", w.halfPeriod, w.mSmall, w.b, tex(w.beamInertia, 3)),
		Unit: unit, Tol: judge.Tolerance{Rel: 0.01, Why: "the balls as points (0.4 % low at most) and three digits carried"},
		Solve: kappa(inertia, 2*w.halfPeriod),
		Slips: []Slip{
			{Name: "the time from turning point to turning point taken for the period", Value: kappa(inertia, w.halfPeriod), Fix: "A period is there and back: twice the time between turning points."},
			{Name: "one factor of 2π left out", Value: func(Known) float64 { return torsionConstant(inertia, 2*w.halfPeriod) / (2 * math.Pi) }, Fix: "κ = I ω², and ω = 2π/T is squared as a whole."},
			{Name: "the frequency taken for the angular frequency", Value: func(Known) float64 { return torsionConstant(inertia, 2*w.halfPeriod) / (4 * math.Pi * math.Pi) }, Fix: "κ = I ω² with ω = 2π/T, not 1/T."},
			{Name: "the beam's own moment of inertia left out", Value: kappa(2*w.SmallMass*w.Arm*w.Arm, 2*w.halfPeriod), Fix: "Beam, mirror and clamp turn as well: add I₀."},
			{Name: "one sphere only in the moment of inertia", Value: kappa(w.SmallMass*w.Arm*w.Arm+roundTo(w.beamInertia, 3), 2*w.halfPeriod), Fix: "There is a small sphere at both ends of the beam."},
		},
		Range:     [2]float64{3e-8, 6e-7},
		Hints:     [2]string{"Moment of inertia first: I = 2 m b² + I₀. Then κ = I (2π/T)².", "How long is a full period, there and back?"},
		Worked:    fmt.Sprintf("%%%%\n// There and back is a full period. The moment of inertia is that of both\n// spheres and of the beam, and kappa = I (2 pi/T)².\nT := 2 * %s // s\nI := 2*%s*%s*%s + %s // kg m²\nkappa := I * math.Pow(2*math.Pi/T, 2)\nsheet.Number(\"kappa\", kappa, \"N m/rad\")", lit(w.halfPeriod), lit(w.SmallMass), lit(w.Arm), lit(w.Arm), goFloat(w.beamInertia, 3)),
		Reasoning: "The free swing obeys $I\\ddot\\theta = -\\kappa\\theta$, so $\\omega^2 = \\kappa/I$ and $\\kappa = I(2\\pi/T)^2$. The time from turning point to turning point is half a period.",
		Source: Source{Text: disc["source"] + " (its answer from memory)", Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "torsion-04", Got: torsionConstant(4.84e-7, 1.00), Want: disc.Float("published_answer"), Within: 0.005e-5}},
	}
}

// lightSpot: the whole movement of the spot is printed, as a student reads it
// off the scale.
func (w weighing) lightSpot() Question {
	rest := gravlab.Must(w.Deflection())
	movement := math.Round(2*2*scaleDistance*rest*1000*2) / 2 // mm, to half a millimetre
	theta := math.Atan(movement/1000/2/scaleDistance) / 2
	return Question{
		ID: "theta", Kind: judge.Number, Marks: 2, Title: "The turn of the beam, read off the wall",
		Prompt: fmt.Sprintf("A mirror on the beam throws a spot of light on a scale %.1f m away. When the large spheres go from one side to the other the spot comes to rest %g mm from where it was. "+
			"By what angle $\\theta_e$ does the beam stand away from its *middle* position, with the large spheres on either side?", scaleDistance, movement),
		Unit: "rad", Tol: judge.Tolerance{Rel: 0.004, Why: "small-angle form against atan: below 0.1 %; three digits carried"},
		Solve: func(Known) float64 { return theta },
		Slips: []Slip{
			{Name: "a factor 2 lost", Value: func(Known) float64 { return 2 * theta }, Fix: "Two halvings are needed: the mirror turns the light by twice the angle,\nand the movement from side to side is twice the deflection from the middle."},
			{Name: "two factors of 2 lost", Value: func(Known) float64 { return 4 * theta }, Fix: "The mirror turns the light by twice the angle of the beam,\nand the movement from side to side is twice the deflection from the middle."},
			{Name: "halved once too often", Value: func(Known) float64 { return theta / 2 }, Fix: "Two halvings, not three: one for the mirror, one for the two sides."},
			{Name: "degrees for radians", Value: func(Known) float64 { return theta * 180 / math.Pi }, Fix: "math.Atan gives radians. Leave it in radians, or give in the number in deg."},
		},
		Range:     [2]float64{1e-3, 1.2e-2},
		Hints:     [2]string{"How far does the spot move from the middle to one side?", "The light turns by twice the angle of the beam: θ = s/(2D), with s from the middle."},
		Worked:    fmt.Sprintf("%%%%\n// From the middle to one side the spot moves half of the whole way, and the\n// light turns by twice the angle of the beam.\ns, D := %s/2, %.1f // m\ntheta := math.Atan(s/D) / 2\nsheet.Number(\"theta\", theta, \"rad\")", lit(movement/1000), scaleDistance),
		Reasoning: "Switching sides moves the equilibrium by $2\\theta_e$, and the mirror doubles the angle, so the spot moves by $D\\tan 2\\theta_e$ either way from the middle.",
		Source:    Source{Text: "common practice, no source: law of reflection. Cavendish's own scale was read directly; the factor of the mirror is checked against ray geometry in package torsion"},
	}
}

func (w weighing) bigG() Question {
	gap := w.Distance - w.SmallRadius - w.LargeRadius
	g := func(d, factor float64) func(Known) float64 {
		return func(k Known) float64 {
			return factor * staticG(k["kappa"], k["theta"], d, w.SmallMass, w.LargeMass, w.Arm)
		}
	}
	example := testdata.Find("worked_examples.csv", "cavendish-09") // one pair only: 7.5e-3 kg, 1.3 kg, 0.060 m, arm 0.080 m, 9.3e-10 N m/rad, 1.5e-2 rad
	return Question{
		ID: "big-g", Kind: judge.Number, Marks: 3, Title: "The constant of gravitation", Uses: []string{"kappa", "theta"},
		Prompt: fmt.Sprintf("Put the last two answers together. The balance has %s, $d$ from centre to centre of a near pair. What is $G$? Count the two near pairs only; the rest comes later.", w.apparatus()),
		Unit:   "m³/(kg s²)", Tol: judge.Tolerance{Rel: 0.015, Why: "the tolerances of kappa (1 %) and theta (0.4 %) and three digits carried"},
		Solve: g(w.Distance, 1),
		Slips: []Slip{
			{Name: "a factor 2 too many", Value: g(w.Distance, 2), Fix: "Both pairs turn the beam: the torque is 2 F b.\nOr is θ the whole way from side to side?"},
			{Name: "a factor 2 too few", Value: g(w.Distance, 0.5), Fix: "Was an angle halved twice, or the full beam taken for the arm b?"},
			{Name: "the gap between the surfaces for the distance of the centres", Value: g(gap, 1), Fix: "A sphere pulls as if its mass were in its centre: d is from centre to centre."},
			{Name: "distance not squared", Value: func(k Known) float64 { return g(w.Distance, 1)(k) / w.Distance }, Fix: "The force falls with the square of the distance."},
		},
		Range:     [2]float64{6e-11, 7.4e-11},
		Hints:     [2]string{"At rest the torque of the fibre, κ θ, balances the torque of both pairs, 2 F b.", "F = G m M/d². Solve 2 G m M b/d² = κ θ for G."},
		Worked:    fmt.Sprintf("%%%%\n// At rest kappa theta = 2 F b with F = G m M/d².\nT, I := 2*%s, 2*%s*%s*%s+%s // s, kg m²\nkappa := I * math.Pow(2*math.Pi/T, 2)\ntheta := %.8g // rad, from the light spot\nm, M, b, d := %s, %s, %s, %s // kg, kg, m, m\nG := kappa * theta * d * d / (2 * m * M * b)\nsheet.Number(\"big-g\", G, \"m³/(kg s²)\")", lit(w.halfPeriod), lit(w.SmallMass), lit(w.Arm), lit(w.Arm), goFloat(w.beamInertia, 3), w.theta(), lit(w.SmallMass), lit(w.LargeMass), lit(w.Arm), lit(w.Distance)),
		Reasoning: "At rest the fibre's torque $\\kappa\\theta_e$ equals that of both near pairs, $2 G m M b/d^2$, so $G = \\kappa\\theta_e d^2/(2 m M b)$.",
		Source: Source{Text: "Cambridge International AS & A Level Physics 9702/42, May/June 2019, question 1(b)(iii) (its answer from memory): one pair only, so twice the G of two pairs", Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "cavendish-09", Got: 2 * staticG(9.3e-10, 1.5e-2, 0.060, 7.5e-3, 1.3, 0.080), Want: example.Float("published_answer"), Within: 0.05e-11}},
	}
}

// theta is the right answer to the question of the light spot.
func (w weighing) theta() float64 { return w.lightSpot().Solve(nil) }

func (w weighing) farSpheres() Question {
	share := farShare(w.Arm, w.Distance)
	exact := testdata.Find("model_checks.csv", "torsion-farsphere-01") // b = 83 mm, d = 61 mm, exact geometry
	return Question{
		ID: "far-spheres", Kind: judge.Number, Marks: 2, Title: "What the far spheres take back",
		Prompt: fmt.Sprintf("Each large sphere pulls the *other* small sphere too, the wrong way round. At $\\theta = 0$, what part of the near pairs' torque do the two far pairs take back? "+
			"Here $b = %g\\ \\mathrm{mm}$ and $d = %g\\ \\mathrm{mm}$. Give it in per cent.", w.b, w.d),
		Unit: "%", Tol: judge.Tolerance{Rel: 0.02, Why: "two digits carried"},
		Solve: func(Known) float64 { return share },
		Slips: []Slip{
			{Name: "the direction of the far pull left out", Value: func(Known) float64 { return math.Pow(share, 2.0/3) }, Fix: "Only the part of the far pull across the beam turns it:\na third factor of d over the far distance."},
			{Name: "the arm taken for the full beam", Value: func(Known) float64 { return math.Pow(w.Distance/math.Hypot(w.Distance, w.Arm), 3) }, Fix: "The far sphere is 2b along the beam away, not b."},
			{Name: "what is left given for what is lost", Value: func(Known) float64 { return 1 - share }, Fix: "The question asks for the part that is taken back."},
		},
		Range:     [2]float64{0.01, 0.06},
		Hints:     [2]string{"How far is it from a large sphere to the far small one? Pythagoras with d and 2b.", "The pull falls with the square of that distance, and only its part across the beam turns it."},
		Worked:    fmt.Sprintf("%%%%\n// The far distance is sqrt(d² + 4b²). The pull is weaker by the square of\n// the ratio, and one more factor is the cosine of its direction.\nb, d := %s, %s // m\nfar := math.Hypot(d, 2*b)\nshare := math.Pow(d/far, 3)\nsheet.Number(\"far-spheres\", 100*share, \"%%\")", lit(w.Arm), lit(w.Distance)),
		Reasoning: "Near: $GmM/d^2$ at the arm $b$. Far: $GmM/(d^2+4b^2)$, of which only the part $d/\\sqrt{d^2+4b^2}$ lies across the beam. The ratio is $(d/\\sqrt{d^2+4b^2})^3$.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			// The exact geometry turns with the beam by 2.6 mrad, which moves the ratio by some of its third digit.
			Table: "model_checks.csv", ID: "torsion-farsphere-01", Got: 1 - farShare(0.083, 0.061), Want: exact.Float("value"), Within: 5e-4}},
	}
}

func (w weighing) torque(d *Draw) Question {
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
		calls = append(calls, []float64{clean(math.Round((r.Float64()*0.12-0.06)*1e4) / 1e4)})
	}
	calls = append(calls, []float64{0}, calls[4])
	one := func(f func(theta float64) float64) func([]float64) []float64 {
		return func(a []float64) []float64 { return []float64{f(a[0])} }
	}
	right := func(theta float64) float64 { return gravlab.Must(model.Torque(theta, torsion.Plus)) }
	exact := testdata.Find("model_checks.csv", "torsion-static-01")
	return Question{
		ID: "torque", Kind: judge.Function, Marks: 3, Title: "The torque at any angle",
		Prompt: fmt.Sprintf("Write a function `torque` that returns the torque of gravity about the fibre, in N m, when the beam stands at the angle $\\theta$ (rad): all four pairs, any angle. "+
			"The small spheres stand at $(b\\cos\\theta, b\\sin\\theta)$ and opposite, the large ones at $(b, d)$ and $(-b, -d)$; %s. Take all spheres as points and leave the beam out. Positive is towards the near spheres.", w.apparatus()),
		Tol: judge.Tolerance{Rel: 2e-3, Why: "G of 6.67e-11 is 0.06 % low; rounding is far below"},
		Function: &Function{
			Name: "torque", Signature: judge.OneToOne, Calls: calls, Right: one(right),
			Slips: []FunctionSlip{
				{Name: "the far spheres left out", F: one(near), Fix: "Each small sphere feels both large ones: four pulls in all."},
				{Name: "the torque at θ = 0 for every angle", F: one(func(float64) float64 { return right(0) }), Fix: "The distances change as the beam turns: work them out from θ."},
				{Name: "one small sphere only", F: one(func(theta float64) float64 { return right(theta) / 2 }), Fix: "The sphere at the other end is turned the same way: twice the torque."},
				{Name: "sign reversed", F: one(func(theta float64) float64 { return -right(theta) }), Fix: "Positive turns towards the large sphere at (b, d): at θ = 0 the torque is positive."},
			},
		},
		Hints:     [2]string{"For one small sphere at (x, y): force components of both large spheres, then torque = x F_y − y F_x.", "By symmetry the other small sphere gives the same torque again."},
		Worked:    fmt.Sprintf("// One small sphere feels both large ones; the torque of a force about the\n// origin is x Fy - y Fx; the other end of the beam gives the same again.\nfunc torque(theta float64) float64 {\n\tm, M, b, d := %s, %s, %s, %s // kg, kg, m, m\n\tx, y := b*math.Cos(theta), b*math.Sin(theta)\n\tpull := func(X, Y float64) float64 {\n\t\tdx, dy := X-x, Y-y\n\t\tr := math.Hypot(dx, dy)\n\t\treturn gravlab.G * m * M * (x*dy - y*dx) / (r * r * r)\n\t}\n\treturn 2 * (pull(b, d) + pull(-b, -d))\n}\n\n%%%%\nsheet.Function(\"torque\", torque)", lit(w.SmallMass), lit(w.LargeMass), lit(w.Arm), lit(w.Distance)),
		Reasoning: "The torque of a force $\\vec F$ at $(x, y)$ is $x F_y - y F_x$. For one small sphere add the pulls of both large ones; the other end gives the same by symmetry.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			// At the equilibrium of the reference the torque equals kappa theta = 6.4e-8 × 2.6096842e-3.
			Table: "model_checks.csv", ID: "torsion-static-01",
			Got:    gravlab.Must(torsion.Balance{Arm: 0.083, Distance: 0.061, SmallMass: 0.0215, LargeMass: 2.7}.Torque(exact.Float("value"), torsion.Plus)),
			Want:   6.4e-8 * exact.Float("value"),
			Within: 1e-8 * 6.4e-8 * exact.Float("value")}},
	}
}

func whyLead() Question {
	return Question{
		ID: "why-lead", Kind: judge.Choice, Marks: 1, Title: "Why lead?",
		Prompt: "The large spheres are made of lead (or tungsten, where there is money), not of iron or glass. What does the dense material buy?",
		Options: []judge.Option{
			{Letter: "a", Text: "dense matter attracts more strongly, kilogram by kilogram", Idea: "A kilogram of anything attracts like a kilogram of anything else: that is what lab 08 tests."},
			{Letter: "b", Text: "more mass with its centre at the same small distance, so a larger deflection", Right: true},
			{Letter: "c", Text: "a heavy sphere swings less when it is moved", Idea: "The large spheres do not hang on the fibre; how they ride matters for knocks, not for the pull."},
			{Letter: "d", Text: "lead is not magnetic, and nothing else matters", Idea: "Being non-magnetic is needed too, but glass and brass have that as well. What else does lead have?"},
		},
		Worked:    "%%\nsheet.Choice(\"why-lead\", \"b\") // the pull goes with M/d²: much mass close by needs dense matter",
		Reasoning: "The pull of a sphere that nearly touches goes as $M/d^2 \\propto \\rho r$ with its radius $r$: at a given size it is the density that counts.",
		Source:    Source{Text: "common practice, no source"},
	}
}

func heavierSmallBall() Question {
	return Question{
		ID: "heavier", Kind: judge.Choice, Marks: 1, Title: "Would heavier small spheres help?",
		Prompt: "Somebody wants to double the mass $m$ of the small spheres and to keep the arm and the period by a stiffer fibre (leave beam and mirror out of it). What happens to the deflection $\\theta_e$?",
		Options: []judge.Option{
			{Letter: "a", Text: "it doubles, since the pull doubles", Idea: "The pull doubles, but to keep the period the fibre must be twice as stiff."},
			{Letter: "b", Text: "it halves, since the fibre is stiffer", Idea: "The fibre is stiffer, but the pull is larger by the same factor."},
			{Letter: "c", Text: "it stays the same", Right: true},
			{Letter: "d", Text: "it goes up by the root of 2", Idea: "A root enters the period at a fixed fibre, not the deflection at a fixed period."},
		},
		Worked:    "%%\nsheet.Choice(\"heavier\", \"c\") // kappa = I (2 pi/T)² goes with m, the torque goes with m: m cancels",
		Reasoning: "$\\theta_e = 2GmMb/(\\kappa d^2)$ and $\\kappa = 2mb^2(2\\pi/T)^2$, so $\\theta_e = GMT^2/(4\\pi^2 b d^2)$: the small mass cancels. (A larger $m$ still helps against knocks, and against the thermal noise of the angle, which falls with $\\sqrt\\kappa$.)",
		Source:    Source{Text: "common practice, no source: the equation of the balance"},
	}
}

// budget asks for the relative standard uncertainty of G from those of what was
// measured.
func (w weighing) budget(d *Draw) Question {
	uT := d.Between("u period", 0.2, 0.6, 0.1)    // %
	uTheta := d.Between("u theta", 0.8, 1.6, 0.1) // %
	uD := d.Between("u distance", 0.6, 1.2, 0.1)  // %
	uM := d.Between("u mass", 0.05, 0.15, 0.05)   // %
	root := func(terms ...float64) float64 { return math.Sqrt(squares(terms)) / 100 }
	right := root(2*uT, uTheta, 2*uD, uM)
	return Question{
		ID: "budget", Kind: judge.Number, Marks: 2, Title: "How well is G known?",
		Prompt: fmt.Sprintf("Written out, $G = \\frac{I}{2 m b}\\left(\\frac{2\\pi}{T}\\right)^2\\frac{\\theta_e\\, d^2}{M}$, and $I/(2mb)$ is known far better than the rest. The relative standard uncertainties are %.1f %% of $T$, %.1f %% of $\\theta_e$, %.1f %% of $d$ and %.2f %% of $M$, with no correlation. "+
			"What is the relative standard uncertainty of $G$, in per cent?", uT, uTheta, uD, uM),
		Unit: "%", Tol: judge.Tolerance{Rel: 0.02, Why: "an uncertainty is stated with two digits"},
		Solve: func(Known) float64 { return right },
		Slips: []Slip{
			{Name: "the exponents of T and d left out", Value: func(Known) float64 { return root(uT, uTheta, uD, uM) }, Fix: "G goes with T⁻² and d²: a relative change counts twice there."},
			{Name: "added straight, not in quadrature", Value: func(Known) float64 { return (2*uT + uTheta + 2*uD + uM) / 100 }, Fix: "Independent uncertainties add as squares; take the root of the sum."},
			{Name: "twice the standard uncertainty", Value: func(Known) float64 { return 2 * right }, Fix: "A standard uncertainty has k = 1; twice that is the expanded one."},
		},
		Range:     [2]float64{0.012, 0.035},
		Hints:     [2]string{"Relative uncertainties, each times its exponent in the formula.", "Square them, add, take the root."},
		Worked:    fmt.Sprintf("%%%%\n// Relative uncertainties times their exponents, added in quadrature.\nterms := []float64{2 * %.1f, %.1f, 2 * %.1f, %.2f} // %%: T, theta, d, M\nsum := 0.0\nfor _, t := range terms {\n\tsum += t * t\n}\nsheet.Number(\"budget\", math.Sqrt(sum), \"%%\")", uT, uTheta, uD, uM),
		Reasoning: "For a product of powers $u^2(G)/G^2 = \\sum (p_i\\, u_i/x_i)^2$, with the exponents $p_i$: $-2$ for $T$ and $2$ for $d$. The largest term decides where work pays.",
		Source:    Source{Text: "JCGM 100:2008, 5.1.6 (from memory): products of powers"},
	}
}

func squares(terms []float64) float64 {
	s := 0.0
	for _, t := range terms {
		s += t * t
	}
	return s
}

// densities1798 hands the published table to the student's program.
func densities1798() Recording {
	return Recording{
		ID: "densities-1798", Title: "The 29 densities of the Earth of 1798, as printed",
		Columns: []Column{{Name: "density", Unit: "kg/m³"}},
		Make: func() ([][]float64, error) {
			printed, _ := densities()
			for i := range printed {
				printed[i] = clean(printed[i] * 1000)
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

func meanOf1798() Question {
	printed, alternative := densities()
	n := float64(len(printed))
	spread := func(x []float64) float64 {
		m, s := sum(x)/n, 0.0
		for _, v := range x {
			s += (v - m) * (v - m)
		}
		return math.Sqrt(s / (n - 1))
	}
	mean, u := sum(printed)/n, spread(printed)/math.Sqrt(n)
	published := testdata.Find("worked_examples.csv", "cavendish-01")
	const gcm3 = 1000
	return Question{
		ID: "mean-1798", Kind: judge.Measured, Marks: 3, Title: "The density of the Earth, 1798",
		Prompt: "`sheet.Recording(\"densities-1798\")` holds the 29 results of 1798, in the column `density` in kg/m³, the third as it was printed. Taking them as equally good and independent, what is their mean, and what is the standard uncertainty of that mean?",
		Unit:   "g/cm³",
		// The mean is known to every digit: the tolerance is that of a value typed
		// with two decimals.
		Tol:   judge.Tolerance{Abs: 0.006 * gcm3, Why: "half a unit of the second decimal"},
		Solve: func(Known) float64 { return mean * gcm3 },
		U:     func() float64 { return u * gcm3 },
		Slips: []Slip{
			{Name: "the printed mean, which has a slip of its own", Value: func(Known) float64 { return sum(alternative) / n * gcm3 }, Fix: "Work the mean out from the 29 numbers as they are printed."},
			{Name: "divided by n − 1", Value: func(Known) float64 { return mean * gcm3 * n / (n - 1) }, Fix: "A mean divides by n; the n − 1 belongs to the scatter."},
		},
		USlips: []Slip{
			{Name: "the scatter of one result given for the uncertainty of the mean", Value: func(Known) float64 { return spread(printed) * gcm3 }, Fix: "The mean of n results is known better than each: divide by √n."},
		},
		Range:     [2]float64{5440, 5455},
		Hints:     [2]string{"Mean: the sum over n. Scatter: the root of the sum of squared deviations over n − 1.", "The mean of n independent results is known √n times better than one of them."},
		Worked:    "%%\n// Mean, scatter of one result, and from it the uncertainty of the mean.\nx := sheet.Recording(\"densities-1798\").Column(\"density\")\nn := float64(len(x))\nmean, s := 0.0, 0.0\nfor _, v := range x {\n\tmean += v / n\n}\nfor _, v := range x {\n\ts += (v - mean) * (v - mean) / (n - 1)\n}\nsheet.Measured(\"mean-1798\", mean, math.Sqrt(s/n), \"kg/m³\")",
		Reasoning: fmt.Sprintf("The mean is 5.448 g/cm³, one result scatters by 0.22 g/cm³, and the mean is known $\\sqrt{29}$ times better, 0.041 g/cm³. The mean printed in 1798 is 5.48: it needs %.2f where %.2f is printed in the third place. His own time of vibration and movement for that experiment give 4.88, so the slip was in the addition.", alternative[2], printed[2]),
		Source: Source{Text: published["source"], Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "cavendish-01", Got: mean, Want: published.Float("published_answer"), Within: 0.0005}},
	}
}

func experimentOf1798(d *Draw) Question {
	// Times of vibration and movements near those of the sixth and eighth
	// experiments; the check below is the published fourth one.
	minutes, seconds := 7.0, d.Between("seconds", 1, 8, 1)
	movement := d.Between("movement", 5.9, 6.4, 0.02)
	n := 60*minutes + seconds
	density := func(n, b float64) float64 { return 1000 * gravlab.Must(torsion.Density1798(n, b)) }
	published := testdata.Find("worked_examples.csv", "cavendish-04")
	return Question{
		ID: "experiment-1798", Kind: judge.Number, Marks: 2, Title: "One of his experiments",
		Prompt: fmt.Sprintf("In 1798 the density of the Earth came from $N^2/(10844\\,B)$ (as a multiple of that of water): $N$ is the time of *one vibration* in seconds, in his sense from one turning point to the next, and $B$ the motion of the arm from its *middle* position in divisions. "+
			"In an experiment like his the vibration takes %g min %g s, and the arm moves %.2f divisions when the weights go from one side to the other. What density follows?", minutes, seconds, movement),
		Unit: "g/cm³", Tol: judge.Tolerance{Rel: 0.004, Why: "three digits carried"},
		Solve: func(Known) float64 { return density(n, movement/2) },
		Slips: []Slip{
			{Name: "the movement from side to side taken for the motion from the middle", Value: func(Known) float64 { return density(n, movement) }, Fix: "B counts from the middle: half of the way from side to side."},
			{Name: "the vibration doubled to a full period", Value: func(Known) float64 { return density(2*n, movement/2) }, Fix: "His formula wants his vibration: from one turning point to the next."},
			{Name: "minutes and seconds read as a decimal number of minutes", Value: func(Known) float64 { return density(60*(minutes+seconds/10), movement/2) }, Fix: "7 min 1 s is 421 s, not 7.1 min."},
		},
		Range:     [2]float64{4800, 6100},
		Hints:     [2]string{"N in seconds first, then half of the movement for B.", "Density = N²/(10844 B) in units of the density of water, 1 g/cm³."},
		Worked:    fmt.Sprintf("%%%%\n// N is the vibration in seconds, B half of the movement from side to side.\nN, B := 60*%s+%s, %.2f/2\nsheet.Number(\"experiment-1798\", N*N/(10844*B), \"g/cm³\")", lit(minutes), lit(seconds), movement),
		Reasoning: "Half of the movement from side to side is the deflection from the middle; $N$ is a half-period, which his constant 10844 allows for.",
		Source: Source{Text: "H. Cavendish, Experiments to determine the Density of the Earth, Phil. Trans. R. Soc. 88 (1798) 469–526, table of results, experiment IV (as quoted by the page that testdata/worked_examples.csv names)", Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "cavendish-04", Got: density(421, 6.18/2) / 1000, Want: published.Float("published_answer"), Within: 0.005}},
	}
}
