package exercises

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

var twoTunnels = Lab{
	ID: "11-two-tunnels", Title: "Two old drains", Minutes: 90,
	Tracks: []Track{SurveyHire}, BuildsOn: []string{"10-buried-sphere"}, Graded: true,
	Build: buildTwoTunnels,
}

func buildTwoTunnels(d *Draw) Paper {
	yard := drawYard(d)
	return Paper{
		Recordings: []Recording{yard.recording(), textbookProfile()},
		Questions: []Question{
			drainPeak(d), drainAxis(d), drainLined(d), drainFilling(), drainEnds(d),
			textbookFill(),
			drainPair(d), drainEvenDepth(d),
			yard.place(), yard.depth(), yard.radius(),
			drainScore(d), rocksCorrelation(d), drainDetection(d), drainTrials(d), drainNotSeen(),
		},
	}
}

// lineGZ is gz of a long body of excess mass per length lambda at the depth z,
// at the distance x across it.
func lineGZ(lambda, x, z float64) float64 { return 2 * gravlab.G * lambda * z / (x*x + z*z) }

func drainPeak(d *Draw) Question {
	r, z := d.Between("drain radius", 0.6, 0.9, 0.05), d.Between("drain depth", 2.5, 4.5, 0.1)
	rho := d.Between("drain ground", 1800, 2100, 50)
	peak := lineGZ(math.Pi*r*r*-rho, 0, z)
	tunnel := testdata.Find("worked_examples.csv", "cylinder-02") // R = 10 m, 2800 kg/m³, axis at 50 m, G = 6.67e-11
	return Question{
		ID: "line", Kind: judge.Number, Marks: 2, Title: "Over an empty drain",
		Prompt: fmt.Sprintf("A long empty drain of radius %.2f m, cut through ground of %g kg/m³ without a lining, has its axis %.1f m down. What does it add to gravity straight above the axis? Mind the sign.", r, rho, z),
		Unit:   "µGal", Tol: judge.Tolerance{Rel: 0.006, Why: "G of 6.67e-11 (0.06 % low) and three digits carried"},
		Solve: valueOf(peak),
		Slips: []Slip{
			{Name: "the depth to the roof taken for the depth to the axis", Value: valueOf(peak * z / (z - r)), Fix: "A round tunnel pulls as if its mass lay on its axis."},
			{Name: "a factor 2 too few", Value: valueOf(peak / 2), Fix: "A long line pulls with 2 G λ/z."},
			{Name: "the formula of a ball", Value: valueOf(pointPeak(ballMass(r, -rho), z)), Fix: "A ball's formula is for compact bodies. Here every metre of drain helps."},
			{Name: "the diameter taken for the radius", Value: valueOf(4 * peak), Fix: "The area of the section is π R²."},
			{Name: "the sign of a void lost", Value: valueOf(-peak), Fix: "Something is missing there: the excess mass per metre is negative."},
		},
		Range:     [2]float64{-30e-8, -5e-8},
		Hints:     [2]string{"Excess mass per metre first: the area of the section times the contrast.", "Then 2 G λ/z above a long line of mass."},
		Worked:    fmt.Sprintf("%%%%\n// Excess mass per metre, on the axis; a long line pulls with 2 G lambda/z.\nR, z, rho := %s, %s, %s // m, m, kg/m³\nlambda := math.Pi * R * R * (0 - rho)\ng := 2 * gravlab.G * lambda / z\nsheet.Number(\"line\", g/gravlab.MicroGal, \"µGal\")", lit(r), lit(z), lit(rho)),
		Reasoning: "The excess mass per length is $\\lambda = \\pi R^2\\Delta\\varrho$, and by Gauss's law a long line pulls with $2G\\lambda/r$. Straight above, all of it is downwards: $g_z = 2G\\lambda/z$.",
		Source: Source{Text: tunnel["source"], Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "cylinder-02",
			Got: lineGZ(math.Pi*10*10*2800, 0, 50) / gravlab.MilliGal * 6.67e-11 / gravlab.G, Want: tunnel.Float("published_answer"), Within: 0.0005}},
	}
}

func drainAxis(d *Draw) Question {
	left, half := d.Between("axis left", 6, 12, 0.1), d.Between("axis half", 2.2, 4.8, 0.1)
	rule := testdata.Find("worked_examples.csv", "sphere-05")
	return Question{
		ID: "axis", Kind: judge.Number, Marks: 1, Title: "Depth of a drain from the width",
		Prompt: fmt.Sprintf("A profile straight across a known drain, its background taken off, is half of its peak at %.1f m and again at %.1f m. How deep is the axis?", left, clean(left+2*half)),
		Unit:   "m", Tol: judge.Tolerance{Rel: 0.01, Why: "two to three digits carried"},
		Solve: valueOf(half),
		Slips: []Slip{
			{Name: "the full width taken for the half-width", Value: valueOf(2 * half), Fix: "The half-width counts from the peak to one side."},
			{Name: "the rule for a compact body", Value: valueOf(pointHalfWidth * half), Fix: "That factor is for a ball. A long body's anomaly is wider for its depth."},
		},
		Range:     [2]float64{2, 5},
		Hints:     [2]string{"Where is the peak, and how far is it from there to the half?", "Solve z²/(x² + z²) = 1/2 for z."},
		Worked:    fmt.Sprintf("%%%%\n// z²/(x²+z²) is a half where x = z: the half-width is the depth.\nsheet.Number(\"axis\", (%s-%s)/2, \"m\")", lit(clean(left+2*half)), lit(left)),
		Reasoning: "Across the drain $g_z/g_0 = z^2/(x^2+z^2)$, which is one half at $x = z$.",
		Source: Source{Text: "SEG Wiki, Dictionary, Fig. H-1 Half-width", Published: true, Check: &SourceCheck{
			// The half-width is found by bisection of the model's curve, not by the rule.
			Table: "worked_examples.csv", ID: "sphere-05",
			Got:  2.5 / gravlab.Must(buried.HalfWidth(buried.Tunnel{Z: 2.5, Radius: 0.5, Contrast: -1900}, r3.Vec{}, r3.Vec{X: 1})),
			Want: rule.Float("published_answer"), Within: 1e-9}},
	}
}

// linedMass is the excess mass per length of an empty tunnel from 0 to a within a
// lining from a to b.
func linedMass(a, b, lining, host float64) float64 {
	return math.Pi * (a*a*-host + (b*b-a*a)*(lining-host))
}

func drainLined(d *Draw) Question {
	a, thick := d.Between("inner", 0.6, 0.85, 0.05), d.Between("lining", 0.2, 0.3, 0.05)
	z, host := d.Between("lined depth", 3, 4.5, 0.1), d.Between("lined ground", 1800, 2000, 50)
	b := clean(a + thick)
	const stone = 2400
	g := func(lambda float64) func(Known) float64 { return valueOf(lineGZ(lambda, 0, z)) }
	exact := testdata.Find("model_checks.csv", "buried-lined-01") // 1.0, 1.25 m, axis at 8 m, 2400, 1950 kg/m³
	return Question{
		ID: "lined", Kind: judge.Number, Marks: 2, Title: "A drain with a lining",
		Prompt: fmt.Sprintf("The drain by the byre is empty and lined with stone: the lining reaches from %.2f m to %.2f m from the axis and has 2400 kg/m³, the ground has %g kg/m³, the axis is %.1f m down. What does all of it add to gravity straight above?", a, b, host, z),
		Unit:   "µGal", Tol: judge.Tolerance{Rel: 0.008, Why: "a difference of two terms, three digits carried in each"},
		Solve: g(linedMass(a, b, stone, host)),
		Slips: []Slip{
			{Name: "the lining left out", Value: g(math.Pi * a * a * -host), Fix: "The lining replaces ground too, and it is denser than the ground: it takes some of the low away."},
			{Name: "the lining counted with its whole density", Value: g(math.Pi * (a*a*-host + (b*b-a*a)*stone)), Fix: "The lining stands where ground would be: its contrast is 2400 less the density of the ground."},
			{Name: "everything inside the lining's outside taken for empty", Value: g(math.Pi * b * b * -host), Fix: "Only the inside is empty; the ring is stone."},
		},
		Range:     [2]float64{-25e-8, -2e-8},
		Hints:     [2]string{"Two excess masses per metre: that of the inside and that of the ring, each against the ground.", "λ = π a² (0 − ρ) + π (b² − a²)(2400 − ρ), then 2 G λ/z. Or ask buried.LinedTunnel."},
		Worked:    fmt.Sprintf("%%%%\n// The model takes densities, and works out the contrasts against the ground.\ndrain := buried.LinedTunnel{\n\tZ: %s, Inner: %s, Outer: %s, // m\n\tLining: 2400, Host: %s, Fill: 0, // kg/m³\n}\ng := gravlab.Must(drain.GZ(r3.Vec{}))\nsheet.Number(\"lined\", g/gravlab.MicroGal, \"µGal\")", lit(z), lit(a), lit(b), lit(host)),
		Reasoning: "Inside, ground of density $\\varrho$ is missing; in the ring stone has taken its place: $\\lambda = -\\pi a^2\\varrho + \\pi(b^2-a^2)(2400-\\varrho)$. A good lining hides a good part of a drain.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "buried-lined-01", Got: lineGZ(linedMass(1, 1.25, 2400, 1950), 0, 8), Want: exact.Float("value"), Within: 1e-12 * 9e-8}},
	}
}

func drainFilling() Question {
	return Question{
		ID: "filling", Kind: judge.Choice, Marks: 1, Title: "Empty, wet or silted up",
		Prompt: "The fit of a drain gives an excess mass of −3000 kg for each metre, and its depth. Old drains run empty, stand full of water, or are choked with silt. What does the fit say about the section of the drain?",
		Options: []judge.Option{
			{Letter: "a", Text: "Its radius, since the depth is known from the same fit.", Idea: "Depth and mass per metre give no size: a round drain pulls as if its mass lay on its axis, whatever its radius."},
			{Letter: "b", Text: "The area times the contrast, and no more: a narrow empty drain, a wider one full of water and a wider one yet full of silt fit alike.", Right: true},
			{Letter: "c", Text: "That it is empty, since only air is light enough.", Idea: "Water and wet silt are lighter than the ground too. They only need a larger section."},
			{Letter: "d", Text: "The area, if the noise is low enough.", Idea: "No noise at all would still leave the product of area and contrast."},
		},
		Worked:    "%%\nsheet.Choice(\"filling\", \"b\") // gravity gives the product of area and contrast",
		Reasoning: "All that a long round body does to gravity it does through $\\lambda = \\pi R^2 \\Delta\\varrho$. What flows in it changes with the weather; a second survey after rain may show that, and so may a look at where it comes out.",
		Source:    Source{Text: "common practice, no source: Gauss's law for a cylinder"},
	}
}

func drainEnds(d *Draw) Question {
	length, z := d.Between("length", 6, 14, 1), d.Between("ends depth", 3, 5, 0.2)
	share := func(half float64) float64 { return half / math.Hypot(half, z) }
	return Question{
		ID: "ends", Kind: judge.Number, Marks: 2, Title: "A drain with ends",
		Prompt: fmt.Sprintf("Only %g m of a drain were ever dug, its axis %.1f m down. The profile crosses it at right angles over its middle. Which share of the anomaly of an endless drain is seen straight above, in per cent? Treat the drain as a thin line.", length, z),
		Unit:   "%", Tol: judge.Tolerance{Rel: 0.01, Why: "two to three digits carried"},
		Solve: valueOf(share(length / 2)),
		Slips: []Slip{
			{Name: "the whole length taken for the half on either side", Value: valueOf(share(length)), Fix: "From above the middle the drain reaches half of its length to either side."},
			{Name: "the share that a profile catches", Value: valueOf(2 / math.Pi * math.Atan(length/2/z)), Fix: "That is the area under a profile across a long body. Here the body ends, not the profile."},
		},
		Range:     [2]float64{0.45, 0.95},
		Hints:     [2]string{"Add up the downward pull of all pieces of the line, from one end to the other.", "The sum is 2 G λ/z times (L/2)/√((L/2)² + z²): the sine of the angle under which a half is seen."},
		Worked:    fmt.Sprintf("%%%%\n// The model of a thin rod against that of an endless line.\nL, z := %s, %s // m\nrod := buried.Rod{From: r3.Vec{Y: -L / 2, Z: z}, To: r3.Vec{Y: L / 2, Z: z}, LineDensity: 1000}\nshare := gravlab.Must(rod.GZ(r3.Vec{})) / (2 * gravlab.G * 1000 / z)\nsheet.Number(\"ends\", 100*share, \"%%\")", lit(length), lit(z)),
		Reasoning: "A piece $\\mathrm{d}y$ of the line pulls down with $G\\lambda z\\,\\mathrm{d}y/(y^2+z^2)^{3/2}$. From $-L/2$ to $L/2$ that adds up to $\\frac{2G\\lambda}{z}\\,\\frac{L/2}{\\sqrt{(L/2)^2+z^2}}$. With three depths to either side 95 % are there.",
		Source:    Source{Text: "common practice, no source: integral along a line; the rod of the worked answer is compared with quadrature in package buried"},
	}
}

// verticalPair is what a pair of sensors at the heights low and high above the
// ground reads over a long body, x across it: lower less upper over the distance.
func verticalPair(lambda, x, z, low, high float64) float64 {
	return (lineGZ(lambda, x, z+low) - lineGZ(lambda, x, z+high)) / (high - low)
}

func drainPair(d *Draw) Question {
	r, z := d.Between("pair radius", 0.6, 0.9, 0.05), d.Between("pair depth", 2.2, 3, 0.1)
	rho, base := d.Between("pair ground", 1800, 2100, 50), d.Pick("baseline", 1.2, 1.3, 1.4, 1.5, 1.6)
	const low = 0.2
	high := clean(low + base)
	lambda := math.Pi * r * r * -rho
	reading := verticalPair(lambda, 0, z, low, high)
	exact := testdata.Find("model_checks.csv", "buried-gradiometer-05") // R = 1, axis at 9 m, -2000 kg/m³, x = 4, baseline 1.5: pair over true gradient
	tunnel := buried.Tunnel{Z: 9, Radius: 1, Contrast: -2000}
	truth := gravlab.Must(buried.Pair{Separation: r3.Vec{Z: 1.5}}.True(tunnel, r3.Vec{X: 4}))
	return Question{
		ID: "pair", Kind: judge.Number, Marks: 3, Title: "Two sensors, one above the other",
		Prompt: fmt.Sprintf("A pair of sensors stands over an empty drain of radius %.2f m in ground of %g kg/m³, its axis %.1f m below the ground: the lower sensor 0.2 m above the ground, the upper one %.1f m. The pair reads gravity at the lower sensor less that at the upper one, over their distance. What does the drain add to the reading straight above the axis?", r, rho, z, high),
		Unit:   "E", Tol: judge.Tolerance{Rel: 0.006, Why: "three digits carried in both readings"},
		Solve: valueOf(reading),
		Slips: []Slip{
			{Name: "not divided by the distance of the sensors", Value: valueOf(reading * base), Fix: "A gradient is a difference over a distance."},
			{Name: "the gradient half-way between the sensors", Value: valueOf(2 * gravlab.G * lambda / math.Pow(z+(low+high)/2, 2)), Fix: "The drain is near: over this distance the gradient itself changes. Take both readings."},
			{Name: "the gradient at the ground", Value: valueOf(2 * gravlab.G * lambda / (z * z)), Fix: "The sensors stand above the ground, further from the drain."},
			{Name: "the sign lost", Value: valueOf(-reading), Fix: "Over a void gravity grows upwards, away from it. Lower less upper is then of which sign?"},
		},
		Range:     [2]float64{-90e-9, -9e-9},
		Hints:     [2]string{"Gravity at each sensor first: how far is it from the axis?", "Difference of the two over their distance; 1 E is 1e-9 per second squared."},
		Worked:    fmt.Sprintf("%%%%\n// Gravity of the drain at both sensors; the difference over their distance.\nlambda := math.Pi * %s * %s * -%s // kg/m\nz, low, high := %s, 0.2, %s // m\ng := func(h float64) float64 { return 2 * gravlab.G * lambda / (z + h) }\nsheet.Number(\"pair\", (g(low)-g(high))/(high-low)/gravlab.Eotvos, \"E\")", lit(r), lit(r), lit(rho), lit(z), lit(high)),
		Reasoning: "$g_z = 2G\\lambda/(z+h)$ at the height $h$, so the pair reads $2G\\lambda/((z+h_1)(z+h_2))$. The gradient at the middle of the pair is a few per cent smaller in size: near the body the finite distance counts.",
		Source: Source{Text: "independently computed: the pair's reading over the true gradient, " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "buried-gradiometer-05", Got: verticalPair(tunnel.MassPerLength(), 4, 9, -0.75, 0.75) / truth, Want: exact.Float("value"), Within: 1e-9}},
	}
}

func drainEvenDepth(d *Draw) Question {
	ug, ut := d.Between("meter noise", 2, 5, 0.5), d.Between("pair noise", 5, 12, 1)
	z := ug * gravlab.MicroGal / (ut * gravlab.Eotvos)
	return Question{
		ID: "even-depth", Kind: judge.Number, Marks: 2, Title: "Meter or pair?",
		Prompt: fmt.Sprintf("At one station a gravity meter has a noise of %.1f µGal and a gradiometer one of %g E (standard uncertainties). Straight above a long drain, at which distance of the axis below the sensors do the two see it equally well, each in units of its own noise? Take the true gradient for the gradiometer.", ug, ut),
		Unit:   "m", Tol: judge.Tolerance{Rel: 0.01, Why: "two to three digits carried"},
		Solve: valueOf(z),
		Slips: []Slip{
			{Name: "the gradient of a ball", Value: valueOf(2 * z), Fix: "For a ball the gradient is 2 g/z. A line's field falls as 1/z, not as 1/z²."},
			{Name: "the ratio the wrong way up", Value: valueOf(1 / z), Fix: "Gravity is λ-times 2G/z, the gradient 2G/z²: their ratio is the distance."},
			{Name: "gravity falling with the square of the distance", Value: valueOf(math.Sqrt(z)), Fix: "Over a long line gravity falls as 1/z and the gradient as 1/z²."},
		},
		Range:     [2]float64{1.5, 11},
		Hints:     [2]string{"Write both signals over a long line, each over its noise, and set them equal.", "2Gλ/z over u_g equals 2Gλ/z² over u_T."},
		Worked:    fmt.Sprintf("%%%%\n// (2 G lambda/z)/ug = (2 G lambda/z²)/uT, so z = ug/uT.\nug, uT := %s*gravlab.MicroGal, %s*gravlab.Eotvos\nsheet.Number(\"even-depth\", ug/uT, \"m\")", lit(ug), lit(ut)),
		Reasoning: "Above a line $g_z = 2G\\lambda/z$ and $g_{zz} = 2G\\lambda/z^2$. Equal ratios to the noise give $z = u_g/u_T$: nearer, the gradiometer sees more, deeper, the meter. Gradiometers also shrug off what shakes both sensors alike, and need no tie to a base.",
		Source:    Source{Text: "common practice, no source: about 10 nano-g for a good meter and 10 E for a field gradiometer, even at 10 m over a line"},
	}
}

// planScore is the signal-to-noise ratio of a long drain seen from places x with
// equal noise, after a level and, if wanted, a slope were fitted. It is the
// length of the signal's part across level and slope, over the noise.
func planScore(x []float64, lambda, z, sigma float64, level, slope bool) float64 {
	n := float64(len(x))
	s := make([]float64, len(x))
	mean, mx := 0.0, 0.0
	for i := range x {
		s[i] = lineGZ(lambda, x[i], z)
		mean += s[i] / n
		mx += x[i] / n
	}
	sx, xx := 0.0, 0.0
	for i := range x {
		sx += s[i] * (x[i] - mx)
		xx += (x[i] - mx) * (x[i] - mx)
	}
	total := 0.0
	for i := range x {
		v := s[i]
		if level {
			v -= mean
		}
		if slope {
			v -= sx / xx * (x[i] - mx)
		}
		total += v * v
	}
	return math.Sqrt(total) / sigma
}

func drainScore(d *Draw) Question {
	r, z := d.Between("score radius", 0.6, 0.9, 0.05), d.Between("score depth", 2.5, 4, 0.1)
	rho, sigma := d.Between("score ground", 1800, 2100, 50), d.Between("score noise", 2, 4, 0.5)
	lambda, u := math.Pi*r*r*-rho, sigma*gravlab.MicroGal
	random := d.Rand("score calls")
	var calls [][]float64
	for n := range 6 {
		// Unlike plans: lopsided, narrow, wide; with a slope that is worth fitting.
		x, at := make([]float64, 6+n), -5-3*random.Float64()
		for i := range x {
			at += 0.6 + 2.4*random.Float64()
			x[i] = clean(math.Round(at*10) / 10)
		}
		calls = append(calls, x)
	}
	calls = append(calls, []float64{-4, -2, 0, 2, 4, 6, 8, 10}, append([]float64(nil), calls[1]...))
	one := func(f func(x []float64) float64) func([]float64) []float64 {
		return func(x []float64) []float64 { return []float64{f(x)} }
	}
	exact := testdata.Find("model_checks.csv", "buried-detect-01") // R = 1.0, axis at 6 m, -1900, 13 stations, 2 m, 5 µGal
	var grid []float64
	for i := range 13 {
		grid = append(grid, float64(2*i-12))
	}
	return Question{
		ID: "score", Kind: judge.Function, Marks: 4, Title: "What is a plan worth?",
		Prompt: fmt.Sprintf("Write a function `score` that takes the places `x` of the stations of a profile (m) and returns the signal-to-noise ratio with which they see a long empty drain: radius %.2f m, ground %g kg/m³, axis %.1f m below x = 0, noise %.1f µGal at each station, independent. A level and a slope are always fitted beside the drain: what of the signal looks like them is lost.", r, rho, z, sigma),
		Tol:    judge.Tolerance{Rel: 3e-3, Why: "G of 6.67e-11 is 0.06 % low; rounding is far below"},
		Stub:   "func score(x []float64) float64 {\n\treturn 0 // your formula\n}\n\n%%\nsheet.Function(\"score\", score)",
		Function: &Function{
			Name: "score", Signature: judge.SliceToOne, Calls: calls,
			Right: one(func(x []float64) float64 { return planScore(x, lambda, z, u, true, true) }),
			Slips: []FunctionSlip{
				{Name: "level and slope not fitted", F: one(func(x []float64) float64 { return planScore(x, lambda, z, u, false, false) }), Fix: "Nobody knows the level and the slope of the background. Take the part of the signal that looks like them away first."},
				{Name: "the level fitted, but no slope", F: one(func(x []float64) float64 { return planScore(x, lambda, z, u, true, false) }), Fix: "The slope is unknown too."},
				{Name: "the root not taken", F: one(func(x []float64) float64 { return math.Pow(planScore(x, lambda, z, u, true, true), 2) }), Fix: "Squares of signal over noise add up; the ratio is the root of their sum."},
				{Name: "signals added without squaring", F: one(func(x []float64) float64 {
					total := 0.0
					for i := range x {
						total += math.Abs(lineGZ(lambda, x[i], z)) / u
					}
					return total
				}), Fix: "Independent stations add in squares."},
			},
		},
		Hints: [2]string{"Signal at each place, less the straight line that fits it best (ordinary least squares). Then the root of the sum of squares, over the noise.", "Or let the model do it: buried.Plan with Stations and Noise has a method SNR."},
		Worked: fmt.Sprintf("// The model takes level and slope out of the signal and adds the rest in squares.\nfunc score(x []float64) float64 {\n\tplan := buried.Plan{Noise: %s * gravlab.MicroGal}\n\tfor _, v := range x {\n\t\tplan.Stations = append(plan.Stations, r3.Vec{X: v})\n\t}\n\tdrain := buried.Tunnel{Z: %s, Radius: %s, Contrast: -%s}\n\treturn gravlab.Must(plan.SNR(drain))\n}\n\n%%%%\nsheet.Function(\"score\", score)",
			lit(sigma), lit(z), lit(r), lit(rho)),
		Reasoning: "The best filter for a known shape in white noise has the ratio $\\sqrt{\\sum s_i^2}/\\sigma$. With level and slope unknown only the part of $s$ across them counts: subtract from $s$ its own best straight line. A narrow profile loses most of its signal that way; stations far out, where there is no signal, are what tells the background.",
		Source: Source{Text: "S. M. Kay, Fundamentals of Statistical Signal Processing II (1998), chapter 4 (from memory); independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "buried-detect-01", Got: planScore(grid, math.Pi*-1900, 6, 5e-8, true, true), Want: exact.Float("value"), Within: 1e-9}},
	}
}

// rubbleCorrelation is that of the pull of stones strewn from top to bottom at two
// stations a distance apart. factor is 2; a slip makes it 1.
func rubbleCorrelation(top, bottom, apart, factor float64) float64 {
	f := func(z float64) float64 { return 1 / math.Hypot(factor*z, apart) }
	return (f(top) - f(bottom)) / (1/(factor*top) - 1/(factor*bottom))
}

func rocksCorrelation(d *Draw) Question {
	top, bottom := d.Between("stones top", 0.8, 1.5, 0.1), d.Between("stones bottom", 5, 9, 0.5)
	apart := d.Between("stones apart", 1.5, 4, 0.5)
	right := rubbleCorrelation(top, bottom, apart, 2)
	exact := testdata.Find("model_checks.csv", "buried-clutter-02") // from 1 to 8 m, 2 m apart
	return Question{
		ID: "correlated", Kind: judge.Number, Marks: 2, Title: "Two stations, the same stones",
		Prompt: fmt.Sprintf("Stones lie strewn through the made ground from %.1f m to %.1f m down. What is the correlation of the pull of the stones at two stations %.1f m apart?", top, bottom, apart),
		Unit:   "1", Tol: judge.Tolerance{Rel: 0.005, Why: "three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "z for 2z under the root", Value: valueOf(rubbleCorrelation(top, bottom, apart, 1)), Fix: "The formula has 4 z² under the root, (2z)²."},
			{Name: "the lower end of the stones left out", Value: valueOf(2 * top / math.Hypot(2*top, apart)), Fix: "Two terms: that of the top less that of the bottom, above and below the line."},
		},
		Range:     [2]float64{0.2, 0.95},
		Hints:     [2]string{"The correlation is the covariance at this distance over that at no distance.", "[1/√(4z₁²+L²) − 1/√(4z₂²+L²)] over [1/(2z₁) − 1/(2z₂)]."},
		Worked:    fmt.Sprintf("%%%%\n// Number and mass of the stones drop out of the ratio: any will do.\nstones := buried.Clutter{Number: 0.1, Mass: 400, Top: %s, Bottom: %s}\nsheet.Number(\"correlated\", gravlab.Must(stones.Correlation(%s)), \"1\")", lit(top), lit(bottom), lit(apart)),
		Reasoning: "Number and mass drop out of the ratio. Stones at the depth $z$ are seen alike from stations within about $2z$: more stations between do not average them away, as they would average the noise of readings.",
		Source: Source{Text: "Campbell's theorem for a Poisson process; independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "buried-clutter-02", Got: rubbleCorrelation(1, 8, 2, 2), Want: exact.Float("value"), Within: 1e-12}},
	}
}

func drainDetection(d *Draw) Question {
	stones := buried.Clutter{Number: d.Between("stones", 0.08, 0.14, 0.02), Mass: d.Between("stone mass", 400, 600, 50), Top: 1, Bottom: 5}
	noise, z := d.Between("plan noise", 1.5, 2.5, 0.5), d.Between("plan depth", 3, 4, 0.2)
	trials, n := int(d.Between("plan places", 6, 12, 1)), int(d.Pick("plan stations", 21, 25, 31))
	const falseAlarm, ground, spacing = 0.05, 1900.0, 1.0
	white := noise * gravlab.MicroGal
	plan := buried.Plan{Stations: gravlab.Must(buried.Line(n, spacing)), Noise: white, Clutter: &stones}
	chance := func(p buried.Plan, r float64, trials int) float64 {
		return gravlab.Must(p.Detect(buried.Tunnel{Z: z, Radius: r, Contrast: -ground}, falseAlarm, trials)).Probability
	}
	r := 0.3
	for chance(plan, r, trials) < 0.5 { // a drain that is neither lost nor plain to see
		r = clean(r + 0.02)
	}
	right := chance(plan, r, trials)
	clear, mixed := plan, plan
	clear.Clutter = nil
	mixed.Clutter, mixed.Noise = nil, math.Hypot(white, gravlab.Must(stones.RMS()))
	wrong := apartFrom(right, 0.026, chance(clear, r, trials), chance(plan, r, 1), chance(mixed, r, trials))
	return Question{
		ID: "detection", Kind: judge.Number, Marks: 3, Title: "Would you have seen it?",
		Prompt: fmt.Sprintf("Plan a profile of %d stations, 1 m apart, centred, with %.1f µGal of noise at each, over made ground with %.2f stones per cubic metre of %g kg excess mass each, from 1 m to 5 m down. The search looks at %d independent places and may raise a false alarm with 5 %% *in all*. With what probability does it detect a long empty drain of radius %.2f m, axis %.1f m down, ground 1900 kg/m³, in per cent?", n, noise, stones.Number, stones.Mass, trials, r, z),
		Unit:   "%", Tol: judge.Tolerance{Abs: 0.01, Why: "one per cent: three digits of the ratio carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the stones left out", Value: valueOf(wrong[0]), Fix: "The stones disturb the readings as the noise does, and more stations do not average them away: Plan.Clutter."},
			{Name: "all of the false alarms allowed at every place", Value: valueOf(wrong[1]), Fix: "5 % in all, over every place that is searched: each has to be stricter."},
			{Name: "the stones taken for noise that averages", Value: valueOf(wrong[2]), Fix: "Neighbouring stations see the same stones: they are correlated. Give them to the plan as Clutter."},
		},
		Range: [2]float64{0.49, 0.75},
		Hints: [2]string{"buried.Plan takes the stations, the noise and the stones (Clutter); Detect wants the drain, the total false alarm and the number of places.", "buried.Line makes the stations; Detect gives the Probability."},
		Worked: fmt.Sprintf("%%%%\n// The plan holds noise and stones against the signal, level and slope fitted.\nstones := buried.Clutter{Number: %s, Mass: %s, Top: 1, Bottom: 5}\nplan := buried.Plan{\n\tStations: gravlab.Must(buried.Line(%d, 1)),\n\tNoise:    %s * gravlab.MicroGal, Clutter: &stones,\n}\ndrain := buried.Tunnel{Z: %s, Radius: %s, Contrast: -1900}\nfound := gravlab.Must(plan.Detect(drain, 0.05, %d))\nsheet.Number(\"detection\", 100*found.Probability, \"%%\")",
			lit(stones.Number), lit(stones.Mass), n, lit(noise), lit(z), lit(r), trials),
		Reasoning: "The ratio $S$ follows from signal and full covariance. Each of the places may alarm with about 5 %/n, which sets the threshold $t$; the drain passes it with the probability $Q(t - S)$. A promise that leaves out the stones or the number of places is too good.",
		Source:    Source{Text: "S. M. Kay, Fundamentals of Statistical Signal Processing II (1998), chapter 4 (from memory): Pd = Q(Q⁻¹(Pf) − S); the ratio and the clutter are independently computed in model_checks.csv (buried-detect-01, buried-clutter-02)"},
	}
}

func drainTrials(d *Draw) Question {
	dip, n := d.Between("dip", 2.4, 2.7, 0.1), d.Between("places searched", 40, 80, 10)
	p := distuv.UnitNormal.Survival(dip)
	chance := func(p float64) float64 { return 1 - math.Pow(1-p, n) }
	return Question{
		ID: "trials", Kind: judge.Number, Marks: 2, Title: "The deepest dip",
		Prompt: fmt.Sprintf("Somebody picks the deepest dip of a long profile: it is %.1f standard deviations deep. The profile has %g places that are independent of each other. In empty ground, with noise alone, what is the probability that the deepest dip is at least so deep, in per cent?", dip, n),
		Unit:   "%", Tol: judge.Tolerance{Rel: 0.02, Why: "a table of the normal distribution with two to three digits"},
		Solve: valueOf(chance(p)),
		Slips: []Slip{
			{Name: "the probability for one place", Value: valueOf(p), Fix: "That is for a place that was named beforehand. Here the deepest of many was picked afterwards."},
			{Name: "the probabilities of all places added", Value: valueOf(n * p), Fix: "Adding counts twice what dips in two places; it even passes 100 %. No dip anywhere has the probability (1 − p)ⁿ."},
			{Name: "peaks counted as well as dips", Value: valueOf(chance(2 * p)), Fix: "Only dips look like a void: the one-sided probability."},
		},
		Range:     [2]float64{0.1, 0.55},
		Hints:     [2]string{"First the probability p that one place dips so deep: one side of the normal distribution.", "The probability that none of n does is (1 − p)ⁿ: buried.FalseAlarmOfTrials."},
		Worked:    fmt.Sprintf("%%%%\n// One place; then at least one of n: 1 - (1-p)^n.\np := distuv.UnitNormal.Survival(%s)\nn := %s\nsheet.Number(\"trials\", 100*(1-math.Pow(1-p, n)), \"%%\")", lit(dip), lit(n)),
		Reasoning: "One named place dips below $-t$ with the probability $p = Q(t)$; that none of $n$ does has $(1-p)^n$. A dip that is rare at one place is common at the deepest of many. Say how many places were looked at, and look at the largest *peak* too: if it is as large, the dip is nothing.",
		Source:    Source{Text: "common practice, no source: independent trials; the normal distribution by gonum"},
	}
}

func drainNotSeen() Question {
	return Question{
		ID: "not-seen", Kind: judge.Choice, Marks: 1, Title: "Nothing was seen",
		Prompt: "The plan promised to detect a drain of 0.7 m radius with 90 %. The profile was walked, and no place passed the threshold. May the trench be dug?",
		Options: []judge.Option{
			{Letter: "a", Text: "Yes: with 90 % there is no drain.", Idea: "90 % is the chance of seeing such a drain if it is there. It is not the chance that none is there; and smaller or deeper drains were not promised at all."},
			{Letter: "b", Text: "Yes, down to the depth for which the plan was made.", Idea: "A plan says what would probably have been seen. A void that was not seen may still be there, at any depth."},
			{Letter: "c", Text: "Not on this: the survey permits nothing. It reports what it would have seen and with what chance; those licensed under the local code decide.", Right: true},
			{Letter: "d", Text: "Yes, once a second profile beside it shows nothing either.", Idea: "Two silent profiles leave less room, and still room enough for a drain. No number of them is a permit."},
		},
		Worked:    "%%\nsheet.Choice(\"not-seen\", \"c\") // a clean result is never a permit",
		Reasoning: "Gravity does not clear ground for digging, driving or building. Buried services are located, and voids judged, by those licensed to do it under the local code.",
		Source:    Source{Text: "common practice, no source"},
	}
}
