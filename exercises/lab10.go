package exercises

import (
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

var buriedSphere = Lab{
	ID: "10-buried-sphere", Title: "The first anomaly", Minutes: 80,
	Tracks: []Track{SurveyHire}, BuildsOn: []string{"00-first-steps"}, Graded: true,
	Build: buildBuriedSphere,
}

func buildBuriedSphere(d *Draw) Paper {
	walk := drawWalk(d)
	return Paper{
		Recordings: []Recording{walk.recording()},
		Questions: []Question{
			spherePeak(d), sphereFunction(d),
			sphereHalfWidth(d), sphereMass(d), sphereOfWater(d),
			sphereSteepest(d), sphereDepthBound(d), sphereFromMap(d), sphereMimic(),
			walk.depth(), walk.mass(), walk.radius(),
			sphereTradeOff(d), sphereReport(),
		},
	}
}

// ballMass is the excess mass of a ball of radius r and contrast rho.
func ballMass(r, rho float64) float64 { return 4 * math.Pi / 3 * r * r * r * rho }

// pointPeak is gz straight above an excess mass at the depth z.
func pointPeak(mass, z float64) float64 { return gravlab.G * mass / (z * z) }

func spherePeak(d *Draw) Question {
	r, z := d.Between("radius", 1.8, 2.6, 0.1), d.Between("depth", 4.5, 7, 0.1)
	rho := d.Between("ground", 1800, 2100, 50)
	peak := pointPeak(ballMass(r, -rho), z)
	cavity := testdata.Find("worked_examples.csv", "cavity-02") // radius 20 m, rock 2400 kg/m³, depth 80 m
	return Question{
		ID: "peak", Kind: judge.Number, Marks: 2, Title: "Over the middle of a void",
		Prompt: fmt.Sprintf("An empty round chamber of radius $R = %.1f\\ \\mathrm{m}$ has its centre $z = %.1f\\ \\mathrm{m}$ below level ground of density $\\varrho = %g\\ \\mathrm{kg/m^3}$. What does it add to gravity straight above its centre? Mind the sign: gravity counts as positive downwards. The air inside may be left out.", r, z, rho),
		Unit:   "µGal", Tol: judge.Tolerance{Rel: 0.006, Why: "G of 6.67e-11 (0.06 % low), air of 1.2 kg/m³ and three digits carried"},
		Solve: valueOf(peak),
		Slips: []Slip{
			{Name: "the diameter taken for the radius", Value: valueOf(8 * peak), Fix: "The volume of a ball goes with the cube of its radius."},
			{Name: "the depth to the top taken for the depth to the centre", Value: valueOf(peak * z * z / ((z - r) * (z - r))), Fix: "A ball pulls as if its mass were in its centre: z counts to the centre."},
			{Name: "the factor 4/3 left out", Value: valueOf(0.75 * peak), Fix: "The volume of a ball is 4/3 π R³."},
			{Name: "the sign of a void lost", Value: valueOf(-peak), Fix: "Something is missing there. Does that add to the pull downwards, or take from it?"},
		},
		Range:     [2]float64{-60e-8, -4e-8},
		Hints:     [2]string{"First the excess mass: the volume times the contrast, the density inside less that outside.", "Then G M/z² straight above the centre. 1 µGal is 1e-8 m/s²."},
		Worked:    fmt.Sprintf("%%%%\n// What is missing pulls with a minus sign, as if it were all in the centre.\nR, z, rho := %s, %s, %s // m, m, kg/m³\nM := 4.0 / 3 * math.Pi * R * R * R * (0 - rho)\ng := gravlab.G * M / (z * z)\nsheet.Number(\"peak\", g/gravlab.MicroGal, \"µGal\")", lit(r), lit(z), lit(rho)),
		Reasoning: "The excess mass is $M = \\frac43\\pi R^3\\,\\Delta\\varrho$ with the contrast $\\Delta\\varrho = 0 - \\varrho$, and a ball pulls as if its mass were in its centre: $g_z = GM/z^2$.",
		Source: Source{Text: "independently computed: " + cavity["recomputed"] + " mGal for " + cavity["inputs"] + " (" + cavity["source"] + ", which prints no answer)", Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "cavity-02", Got: pointPeak(ballMass(20, -2400), 80) / gravlab.MilliGal, Want: cavity.Float("recomputed"), Within: 0.5e-7}},
	}
}

// pointGZ is gz of an excess mass at the depth z, at the horizontal distance x
// and the height h above the ground.
func pointGZ(mass, z, x, h float64) float64 {
	r := math.Hypot(x, z+h)
	return gravlab.G * mass * (z + h) / (r * r * r)
}

func sphereFunction(d *Draw) Question {
	r, z := d.Between("function radius", 1.8, 2.6, 0.1), d.Between("function depth", 4.5, 7, 0.1)
	rho := d.Between("function ground", 1800, 2100, 50)
	mass := ballMass(r, -rho)
	random := d.Rand("function calls")
	var calls [][]float64
	for range 8 {
		x := math.Round((random.Float64()*24-12)*10) / 10
		calls = append(calls, []float64{clean(x), clean(math.Round(random.Float64()*30) / 10)})
	}
	calls = append(calls, []float64{0, 0}, []float64{5, 2.5}, calls[3])
	one := func(f func(x, h float64) float64) func([]float64) []float64 {
		return func(a []float64) []float64 { return []float64{f(a[0], a[1])} }
	}
	exact := testdata.Find("model_checks.csv", "buried-sphere-gz-01") // R = 2.3, centre 6.1 m down, rho = -1850, station at (1.7, -0.9)
	return Question{
		ID: "gz", Kind: judge.Function, Marks: 3, Title: "Anywhere above the ground",
		Prompt: fmt.Sprintf("Write a function `gz` of two numbers: `x`, how far the station stands from the point above the centre (m, either sign), and `h`, how high its sensor is above the ground (m). It returns what an empty chamber of radius %.1f m, its centre %.1f m below the ground, in ground of %g kg/m³, adds to the *downward* gravity there, in m/s².", r, z, rho),
		Tol:    judge.Tolerance{Rel: 2e-3, Why: "G of 6.67e-11 is 0.06 % low, air of 1.2 kg/m³ is 0.07 %"},
		Stub:   "func gz(x, h float64) float64 {\n\treturn 0 // your formula\n}\n\n%%\nsheet.Function(\"gz\", gz)",
		Function: &Function{
			Name: "gz", Signature: judge.TwoToOne, Calls: calls,
			Right: one(func(x, h float64) float64 { return pointGZ(mass, z, x, h) }),
			Slips: []FunctionSlip{
				{Name: "the whole pull given for its downward part", F: one(func(x, h float64) float64 { return gravlab.G * mass / (x*x + (z+h)*(z+h)) }), Fix: "The meter reads the downward part only: one more factor, the cosine of the slant."},
				{Name: "the height of the sensor left out", F: one(func(x, h float64) float64 { return pointGZ(mass, z, x, 0) }), Fix: "A raised sensor is further from the centre: z + h."},
				{Name: "the sign of a void lost", F: one(func(x, h float64) float64 { return -pointGZ(mass, z, x, h) }), Fix: "Mass is missing: the excess mass is negative."},
				{Name: "the height taken off the depth", F: one(func(x, h float64) float64 { return pointGZ(mass, z, x, -h) }), Fix: "h is up and z is down: the sensor is z + h above the centre."},
			},
		},
		Hints:     [2]string{"Distance to the centre by Pythagoras, with x across and z + h down.", "G M/r² times the cosine of the slant, (z + h)/r."},
		Worked:    fmt.Sprintf("// The pull G M/r² points to the centre; its downward part is (z + h)/r of it.\nfunc gz(x, h float64) float64 {\n\tR, z, rho := %s, %s, %s // m, m, kg/m³\n\tM := 4.0 / 3 * math.Pi * R * R * R * (0 - rho)\n\tr := math.Hypot(x, z+h)\n\treturn gravlab.G * M * (z + h) / (r * r * r)\n}\n\n%%%%\nsheet.Function(\"gz\", gz)", lit(r), lit(z), lit(rho)),
		Reasoning: "Pull $GM/r^2$ towards the centre, times the cosine $(z+h)/r$ of its slant: $g_z = GM(z+h)/r^3$ with $r^2 = x^2 + (z+h)^2$.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "buried-sphere-gz-01", Got: pointGZ(ballMass(2.3, -1850), 6.1, math.Hypot(1.7, 0.9), 0), Want: exact.Float("value"), Within: 1e-12 * 1.5e-7}},
	}
}

// pointHalfWidth is the depth of a compact body over the half-width of its
// anomaly.
var pointHalfWidth = gravlab.Must(buried.DepthFromHalfWidth(buried.PointShape, 1))

func sphereHalfWidth(d *Draw) Question {
	left, half := d.Between("left half", 8, 14, 0.1), d.Between("half-width", 3.4, 5.4, 0.1)
	z := pointHalfWidth * half
	rule := testdata.Find("worked_examples.csv", "sphere-04")
	return Question{
		ID: "half-width", Kind: judge.Number, Marks: 2, Title: "Depth from the width",
		Prompt: fmt.Sprintf("Along the tape of another profile the anomaly of a compact body, its background taken off, is half of its peak at %.1f m and again at %.1f m. How deep is the centre of the body?", left, left+2*half),
		Unit:   "m", Tol: judge.Tolerance{Rel: 0.006, Why: "a factor of 1.3 to 1.305, three digits carried"},
		Solve: valueOf(z),
		Slips: []Slip{
			{Name: "the full width taken for the half-width", Value: valueOf(2 * z), Fix: "The half-width counts from the peak to one side."},
			{Name: "the rule for a long body", Value: valueOf(half), Fix: "That rule is for a tunnel across the profile. A compact body's anomaly is narrower for its depth."},
			{Name: "the factor for the full width used on half of it", Value: valueOf(z / 2), Fix: "A factor of 0.65 goes with the full width."},
		},
		Range:     [2]float64{4, 7.5},
		Hints:     [2]string{"Where is the peak, and how far is it from there to the half?", "Solve z³/(z² + x²)^1.5 = 1/2, or ask buried.DepthFromHalfWidth."},
		Worked:    fmt.Sprintf("%%%%\n// From the peak, in the middle, to one side; a compact body is 1.305 times as deep.\nhalf := (%s - %s) / 2 // m\nz := gravlab.Must(buried.DepthFromHalfWidth(buried.PointShape, half))\nsheet.Number(\"half-width\", z, \"m\")", lit(clean(left+2*half)), lit(left)),
		Reasoning: "Along the profile $g_z/g_0 = (1 + x^2/z^2)^{-3/2}$. That is one half at $x_{1/2} = z\\sqrt{4^{1/3} - 1} = 0.766\\,z$, so $z = 1.305\\,x_{1/2}$.",
		Source: Source{Text: rule["source"], Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "sphere-04", Got: pointHalfWidth, Want: rule.Float("published_answer"), Within: 0.0005}},
	}
}

// massOfPeak is the excess mass at the depth z whose peak is g.
func massOfPeak(g, z float64) float64 { return g * z * z / gravlab.G }

func sphereMass(d *Draw) Question {
	peak := d.Between("peak", 14, 30, 0.5)
	mass := func(change func(z float64) float64) func(Known) float64 {
		return func(k Known) float64 { return change(k["half-width"]) }
	}
	g := -peak * gravlab.MicroGal
	printed := testdata.Find("worked_examples.csv", "sphere-03") // 5 mGal, 1560 m, G = 6.67e-11
	return Question{
		ID: "missing-mass", Kind: judge.Number, Marks: 2, Title: "What is missing", Uses: []string{"half-width"},
		Prompt: fmt.Sprintf("The peak of that anomaly is −%.1f µGal. With your depth, what is the excess mass of the body? It has a sign.", peak),
		Unit:   "t", Tol: judge.Tolerance{Rel: 0.015, Why: "twice the tolerance of the depth, three digits carried"},
		Solve: mass(func(z float64) float64 { return massOfPeak(g, z) }),
		Slips: []Slip{
			{Name: "the depth not squared", Value: mass(func(z float64) float64 { return massOfPeak(g, z) / z }), Fix: "The peak falls with the square of the depth: M = g z²/G."},
			{Name: "the half-width taken for the depth", Value: mass(func(z float64) float64 { return massOfPeak(g, z/pointHalfWidth) }), Fix: "The half-width is a place on the ground. First turn it into a depth."},
			{Name: "the formula of a long body", Value: mass(func(z float64) float64 { return g * z / (2 * gravlab.G) }), Fix: "2 G λ/z belongs to a tunnel, and λ is a mass per length."},
			{Name: "the sign of a void lost", Value: mass(func(z float64) float64 { return -massOfPeak(g, z) }), Fix: "A low over the body: is there more mass than around it, or less?"},
		},
		Range:     [2]float64{-3e5, -3e4},
		Hints:     [2]string{"Straight above, g = G M/z². Solve it for M.", "−1 µGal is −1e-8 m/s²; 1 t is 1000 kg."},
		Worked:    fmt.Sprintf("%%%%\n// The depth by the rule of the last question; then g = G M/z², solved for M.\nz := gravlab.Must(buried.DepthFromHalfWidth(buried.PointShape, %s))\ng := -%s * gravlab.MicroGal\nsheet.Number(\"missing-mass\", g*z*z/gravlab.G/1000, \"t\")", lit(d.Between("half-width", 3.4, 5.4, 0.1)), lit(peak)),
		Reasoning: "From $g_0 = GM/z^2$ follows $M = g_0 z^2/G$. No density was needed: mass comes first, what it is made of later.",
		Source: Source{Text: "GATE 2011 (national entrance examination, geophysics), question 53, with a solution on the page that testdata/worked_examples.csv names at sphere-02", Published: true, Check: &SourceCheck{
			// The source cuts its seventh digit off.
			Table: "worked_examples.csv", ID: "sphere-03", Got: massOfPeak(5*gravlab.MilliGal, 1560) * gravlab.G / 6.67e-11, Want: printed.Float("published_answer"), Within: 1e6}},
	}
}

// ballRadius is the radius of a ball with an excess mass and a contrast.
func ballRadius(mass, contrast float64) float64 {
	return math.Cbrt(3 * mass / (4 * math.Pi * contrast))
}

func sphereOfWater(d *Draw) Question {
	rho := d.Between("wet ground", 1800, 2100, 50)
	radius := func(contrast, factor float64) func(Known) float64 {
		return func(k Known) float64 { return factor * ballRadius(k["missing-mass"], contrast) }
	}
	peak, half := d.Between("peak", 14, 30, 0.5), d.Between("half-width", 3.4, 5.4, 0.1)
	return Question{
		ID: "water", Kind: judge.Number, Marks: 2, Title: "If it is full of water", Uses: []string{"missing-mass"},
		Prompt: fmt.Sprintf("The ground there has %g kg/m³. If the body is a round chamber full of water ($1000\\ \\mathrm{kg/m^3}$), what is its radius?", rho),
		Unit:   "m", Tol: judge.Tolerance{Rel: 0.008, Why: "a third of the tolerance of the mass, three digits carried"},
		Solve: radius(1000-rho, 1),
		Slips: []Slip{
			{Name: "empty instead of full of water", Value: radius(-rho, 1), Fix: "The contrast is the density inside less that outside, and inside is water."},
			{Name: "the diameter for the radius", Value: radius(1000-rho, 2), Fix: "The question asks for the radius."},
			{Name: "the factor 4/3 left out", Value: radius(1000-rho, math.Cbrt(4.0/3)), Fix: "The volume of a ball is 4/3 π R³."},
		},
		Range:     [2]float64{1.8, 4.6},
		Hints:     [2]string{"Excess mass = volume times contrast; both are negative here.", "Volume first, then R = (3 V/(4π))^(1/3): math.Cbrt."},
		Worked:    fmt.Sprintf("%%%%\n// Volume = excess mass over contrast, and a ball of that volume.\nz := gravlab.Must(buried.DepthFromHalfWidth(buried.PointShape, %s))\nM := -%s * gravlab.MicroGal * z * z / gravlab.G\nV := M / (1000 - %s)\nsheet.Number(\"water\", math.Cbrt(3*V/(4*math.Pi)), \"m\")", lit(half), lit(peak), lit(rho)),
		Reasoning: "$V = M/(\\varrho_\\text{inside} - \\varrho)$ and $R = (3V/4\\pi)^{1/3}$. An empty chamber with the same anomaly is smaller: gravity gives the mass, and what fills the void is a guess until somebody looks.",
		Source:    Source{Text: "common practice, no source: the volume of a ball"},
	}
}

func sphereSteepest(d *Draw) Question {
	z := d.Between("steep depth", 4, 9, 0.2)
	notes := testdata.Find("worked_examples.csv", "sphere-06")
	// The steepest place of the formula itself, by bisection of its second
	// derivative, which has the sign of 4x² - z² for a point: the check does not
	// start from the rule.
	steepest := func(z float64) float64 {
		second := func(x float64) float64 {
			const e = 1e-3
			return pointGZ(1, z, x+e*z, 0) - 2*pointGZ(1, z, x, 0) + pointGZ(1, z, x-e*z, 0)
		}
		lo, hi := 0.0, z
		for range 60 {
			if middle := (lo + hi) / 2; second(middle) < 0 {
				lo = middle
			} else {
				hi = middle
			}
		}
		return lo
	}
	return Question{
		ID: "steepest", Kind: judge.Number, Marks: 1, Title: "Where the curve is steepest",
		Prompt: fmt.Sprintf("A compact body is expected with its centre %.1f m down. Where the anomaly is steepest, a station that stands in the wrong place does most harm. How far from the point above the centre is that?", z),
		Unit:   "m", Tol: judge.Tolerance{Rel: 0.02, Why: "read from a curve, two digits"},
		Solve: valueOf(z / 2),
		Slips: []Slip{
			{Name: "the place of half the peak", Value: valueOf(z / pointHalfWidth), Fix: "Half of the peak and the steepest slope are two places. Differentiate once more."},
			{Name: "the place for a long body", Value: valueOf(z / math.Sqrt(3)), Fix: "That is where a tunnel's anomaly is steepest."},
			{Name: "a distance of one depth", Value: valueOf(z), Fix: "The slope is largest where the second derivative of the curve vanishes."},
		},
		Range:     [2]float64{1.9, 4.6},
		Hints:     [2]string{"The slope is largest where the curve bends neither way.", "Set the second derivative of (x² + z²)^(−3/2) to zero, or let a loop look for the largest slope."},
		Worked:    fmt.Sprintf("%%%%\n// Walk along the profile and keep the place of the largest slope.\nz, best, most := %s, 0.0, 0.0 // m\nshape := func(x float64) float64 { return math.Pow(x*x+z*z, -1.5) }\nfor x := 0.0; x < 2*z; x += 0.001 {\n\tif slope := shape(x) - shape(x+0.001); slope > most {\n\t\tbest, most = x+0.0005, slope\n\t}\n}\nsheet.Number(\"steepest\", best, \"m\")", lit(z)),
		Reasoning: "The second derivative of $(x^2+z^2)^{-3/2}$ is proportional to $4x^2 - z^2$: it vanishes at $x = z/2$.",
		Source: Source{Text: notes["source"], Published: true, Check: &SourceCheck{
			// Differences over a thousandth of the depth place it to a part in a million.
			Table: "worked_examples.csv", ID: "sphere-06", Got: steepest(1), Want: notes.Float("published_answer"), Within: 1e-5}},
	}
}

func sphereDepthBound(d *Draw) Question {
	peak, slope := d.Between("bound peak", 18, 40, 1), d.Between("bound slope", 5, 9, 0.2)
	bound := func(s buried.Shape) float64 { return gravlab.Must(buried.DepthBound(s, peak, slope)) }
	exact := testdata.Find("model_checks.csv", "buried-depthbound-01")
	return Question{
		ID: "depth-bound", Kind: judge.Number, Marks: 2, Title: "No deeper than that",
		Prompt: fmt.Sprintf("A low over an unknown body is %g µGal deep, and its flank is nowhere steeper than %.1f µGal/m along the profile. The body's shape is not known, only that all of it is lighter than the ground. How deep can its *top* be at most?", peak, slope),
		Unit:   "m", Tol: judge.Tolerance{Rel: 0.006, Why: "a factor of 0.86 or 0.8587, three digits carried"},
		Solve: valueOf(bound(buried.PointShape)),
		Slips: []Slip{
			{Name: "the rule for long bodies", Value: valueOf(bound(buried.LineShape)), Fix: "That factor may be used only if the body is known to be long across the profile."},
			{Name: "no factor at all", Value: valueOf(peak / slope), Fix: "Peak over slope is a length; a factor below 1 makes it a bound."},
			{Name: "slope over peak", Value: valueOf(1 / bound(buried.PointShape)), Fix: "A flat flank means a deep body: the slope stands below the line."},
		},
		Range:     [2]float64{1.5, 8},
		Hints:     [2]string{"Which body of all gives the steepest flank for its depth and peak?", "0.86 times the peak over the steepest slope, for a body of any shape: buried.DepthBound."},
		Worked:    fmt.Sprintf("%%%%\n// For any shape of one sign: no deeper than 0.8587 peak/slope.\nz := gravlab.Must(buried.DepthBound(buried.PointShape, %s, %s)) // µGal, µGal/m: the ratio is in m\nsheet.Number(\"depth-bound\", z, \"m\")", lit(peak), lit(slope)),
		Reasoning: "Of all bodies of one sign a point has the steepest flank for its peak and depth, $0.8587\\,g_0/z$. So a flank of slope $s$ allows no top below $0.8587\\,g_0/s$. There is no such bound from below: a wide flat body near the surface can look like a deep one.",
		Source: Source{Text: "R. A. Smith, Geophysical Prospecting 7 (1959) 55 (from memory); independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "buried-depthbound-01", Got: gravlab.Must(buried.DepthBound(buried.PointShape, 1, 1)), Want: exact.Float("value"), Within: 1e-12}},
	}
}

// squareShare is the share of 2 pi G M that a square map from -x to x both ways
// catches over a mass at the depth z: its solid angle over 2 pi.
func squareShare(x, z float64) float64 {
	return 2 / math.Pi * math.Atan(x*x/(z*math.Sqrt(z*z+2*x*x)))
}

func sphereFromMap(d *Draw) Question {
	z, x := d.Between("map depth", 5, 8, 0.5), d.Pick("map half side", 15, 20, 25, 30)
	share := squareShare(x, z)
	integral := roundTo(2*math.Pi*gravlab.G*d.Between("map mass", 60, 140, 2)*1000*share/gravlab.MicroGal, 3)
	mass := -integral * gravlab.MicroGal / (2 * math.Pi * gravlab.G) / share
	exact := testdata.Find("model_checks.csv", "buried-flux-01") // depth 7 m, half side 21 m
	return Question{
		ID: "gauss", Kind: judge.Number, Marks: 3, Title: "The mass from a map",
		Prompt: fmt.Sprintf("Over another void the students made a *map*: a square of %g m by %g m with the void, about %.1f m down, under its middle. Summed over the square, anomaly times area is $-%g\\ \\mathrm{µGal\\,m^2}$; the background has been taken off. What is the excess mass, with what the map misses allowed for?", 2*x, 2*x, z, integral),
		Unit:   "t", Tol: judge.Tolerance{Rel: 0.01, Why: "three digits carried, the share to two"},
		Solve: valueOf(mass),
		Slips: []Slip{
			{Name: "all of the field taken to be caught", Value: valueOf(mass * share), Fix: "Part of the field comes up outside of the map: divide by the share that it catches."},
			{Name: "4π for 2π", Value: valueOf(mass / 2), Fix: "Half of the field lines end on the mass from below, where no map is: 2π G M."},
			{Name: "the sign of a void lost", Value: valueOf(-mass), Fix: "The sum is negative, and so is the excess mass."},
		},
		Range:     [2]float64{-1.5e5, -5.5e4},
		Hints:     [2]string{"An endless map would give 2π G M. What share of it does this one give?", "The share is the solid angle of the map, seen from the mass, over 2π: buried.MapShare."},
		Worked:    fmt.Sprintf("%%%%\n// Gauss: an endless map gives 2 pi G M; this one only its share.\nX, z := %s, %s // m\nshare := gravlab.Must(buried.MapShare(-X, X, -X, X, r3.Vec{Z: z}))\nM := -%s * gravlab.MicroGal / (2 * math.Pi * gravlab.G) / share // kg\nsheet.Number(\"gauss\", M/1000, \"t\")", lit(x), lit(z), lit(integral)),
		Reasoning: fmt.Sprintf("By Gauss's theorem the flux through a plane above the mass is $2\\pi G M$. This map catches the share %.2f of it. The shape of the void does not enter, only roughly its depth, for the share.", share),
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "buried-flux-01", Got: squareShare(21, 7), Want: exact.Float("value"), Within: 1e-12}},
	}
}

func sphereMimic() Question {
	return Question{
		ID: "mimic", Kind: judge.Choice, Marks: 1, Title: "A second body with the same curve",
		Prompt: "A ball at 3 m fits a map as well as the readings allow. Somebody says that a thin layer of light soil right at the surface, thickest in the middle, would fit it too. What is true?",
		Options: []judge.Option{
			{Letter: "a", Text: "It cannot: a layer at the surface makes a narrower anomaly than a ball at 3 m.", Idea: "A layer of one thickness with a sharp rim would. One that thins out in the right way makes exactly the same curve, as the figure above shows."},
			{Letter: "b", Text: "It could on one profile, but a map tells them apart.", Idea: "The two agree at every point above the ground, so no map, however fine, tells them apart."},
			{Letter: "c", Text: "It could, at every station above the ground; only something other than gravity can decide.", Right: true},
			{Letter: "d", Text: "It could today, but a meter with less noise would show the difference.", Idea: "There is no difference to show: with no noise at all the two are equal."},
		},
		Worked:    "%%\nsheet.Choice(\"mimic\", \"c\") // above the ground the two fields are equal, everywhere",
		Reasoning: "A layer of surface density $M z/(2\\pi(s^2+z^2)^{3/2})$ pulls above the ground exactly as a point mass $M$ at the depth $z$. Depth is known only as far as the shape is known from elsewhere: an old map, a borehole, the ground itself.",
		Source:    Source{Text: "Green's equivalent layer, O. D. Kellogg, Foundations of Potential Theory (1929), chapter VIII (from memory); the model is checked by another route in package buried"},
	}
}

// peakShareU is the relative uncertainty of a peak G M/z² of which mass and
// depth have relative uncertainties and the correlation r.
func peakShareU(uM, uz, r float64) float64 {
	return math.Sqrt(uM*uM + 4*uz*uz - 4*r*uM*uz)
}

func sphereTradeOff(d *Draw) Question {
	uz, uM := d.Between("u depth", 3, 4, 0.2), d.Between("u mass", 7.5, 9, 0.5)
	r := d.Between("trade-off", 0.92, 0.96, 0.01)
	u := func(uM, uz, r float64) func(Known) float64 { return valueOf(peakShareU(uM, uz, r) / 100) }
	return Question{
		ID: "trade-off", Kind: judge.Number, Marks: 2, Title: "Badly known apart, well known together",
		Prompt: fmt.Sprintf("A fit to a short, noisy profile gives the depth $z$ to %.1f %% and the size of the excess mass $M$ to %.1f %%, with the correlation coefficient $r = %.2f$ between them. What is the relative standard uncertainty of the peak $g_0 = GM/z^2$ that the fit implies, in per cent?", uz, uM, r),
		Unit:   "%", Tol: judge.Tolerance{Rel: 0.02, Why: "an uncertainty is stated with two digits"},
		Solve: u(uM, uz, r),
		Slips: []Slip{
			{Name: "the correlation left out", Value: u(uM, uz, 0), Fix: "Depth and mass come from one fit: the cross term 2 c₁c₂ u₁u₂ r."},
			{Name: "the cross term with the wrong sign", Value: u(uM, uz, -r), Fix: "The peak falls when the depth grows: one of the two exponents is negative."},
			{Name: "the exponent of the depth left out", Value: valueOf(math.Sqrt(uM*uM+uz*uz-2*r*uM*uz) / 100), Fix: "A relative change of the depth counts twice in the peak, in the cross term too."},
		},
		Range:     [2]float64{0.015, 0.06},
		Hints:     [2]string{"Relative sensitivities are the exponents: 1 for M, −2 for z.", "u² = u_M² + 4u_z² + 2·1·(−2)·r·u_M·u_z."},
		Worked:    fmt.Sprintf("%%%%\n// The exponents are the sensitivities, 1 and -2; the cross term has their product.\nuM, uz, r := %s, %s, %s // %%, %%, 1\nu2 := uM*uM + 4*uz*uz + 2*1*(-2)*r*uM*uz\nsheet.Number(\"trade-off\", math.Sqrt(u2), \"%%\")", lit(uM), lit(uz), lit(r)),
		Reasoning: "A deeper and heavier body makes nearly the same curve, so the errors of $z$ and $M$ go together, and in $M/z^2$ most of them cancels. A fit knows what it saw, the peak, better than what it inferred. Quote the correlation, or the band in which the two lie.",
		Source:    Source{Text: "JCGM 100:2008, 5.2.2 (from memory)"},
	}
}

func sphereReport() Question {
	return Question{
		ID: "report", Kind: judge.Choice, Marks: 1, Title: "The farmer asks",
		Prompt: "Your profile shows one clear low. Twenty metres further on it shows nothing. The farmer wants to put a heavy silo there, and asks whether the ground is sound. What may you say?",
		Options: []judge.Option{
			{Letter: "a", Text: "That the ground is sound there, since a void of that size would have shown.", Idea: "A smaller void, a deeper one or one full of water need not show, and a smaller one can swallow a wheel. Gravity does not clear ground."},
			{Letter: "b", Text: "That the survey shows nothing there at its noise, that a void may still be there, and that somebody licensed to judge the ground has to look.", Right: true},
			{Letter: "c", Text: "That the ground is sound to the depth that the half-width rule gives.", Idea: "The rule turns the width of an anomaly into a depth. Where there is no anomaly it says nothing."},
			{Letter: "d", Text: "That it takes a meter with half the noise, and then you can clear the ground.", Idea: "Less noise finds smaller voids. None is so small that it cannot be there, and the permit is not the meter's to give."},
		},
		Worked:    "%%\nsheet.Choice(\"report\", \"b\") // what was not seen may still be there",
		Reasoning: "Gravity does not clear ground for digging, driving or building. A survey can say what it would have seen, and with what chance; buried services are located and voids judged by those licensed to do it under the local code.",
		Source:    Source{Text: "common practice, no source"},
	}
}
