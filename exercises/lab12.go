package exercises

import (
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/survey"
	"gravity.example/testdata"
)

var aDayInTheField = Lab{
	ID: "12-a-day-in-the-field", Title: "A day in the field", Minutes: 90,
	Tracks: []Track{SurveyHire}, BuildsOn: []string{"09-the-earth-breathes", "10-buried-sphere"}, Graded: true,
	Build: buildADayInTheField,
}

func buildADayInTheField(d *Draw) Paper {
	day := newFieldworkDay(d)
	return Paper{
		Recordings: []Recording{fieldworkLineRecording(d), day.recording()},
		Questions: []Question{
			fieldworkScale(d), fieldworkLevel(d), fieldworkAirAndWater(d),
			day.rate(), day.tare(), day.station(), fieldworkStep(), fieldworkTriangle(d),
			fieldworkNormal(d), fieldworkPosition(d), fieldworkHeights(), fieldworkSector(d), fieldworkSlope(d),
			day.rock(), fieldworkBudget(d), fieldworkClaims(),
		},
	}
}

const fieldworkDegree = math.Pi / 180

// fieldworkLevel: both bubbles off.
func fieldworkLevel(d *Draw) Question {
	level, cross := d.Between("level", 320, 440, 10), d.Between("cross-level", 120, 160, 10) // µrad
	const g = 9.81
	lost := func(level, cross float64) float64 {
		return gravlab.Must(survey.TiltCorrection(g, level*1e-6, cross*1e-6))
	}
	right := lost(level, cross)
	table := testdata.Find("model_checks.csv", "survey-level-02")
	tol := judge.Tolerance{Rel: 0.02, Why: "g of 9.80 to 9.82 m/s² and two or three digits carried"}
	wrong := tellApart(tol, right, lost(level, 0), lost(level+cross, 0), 2*right, g*math.Hypot(level, cross)*1e-6)
	return Question{
		ID: "level", Kind: judge.Number, Marks: 2, Title: "Off level",
		Prompt: fmt.Sprintf("Wind shook the plate. When the reading was taken the meter stood $%g\\ \\mathrm{µrad}$ off level along the beam and $%g\\ \\mathrm{µrad}$ across it. What has to be added to the reading, in µGal? Take $g = 9.81\\ \\mathrm{m/s^2}$.", level, cross),
		Unit:   "µGal", Tol: tol,
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "one bubble only", Value: valueOf(wrong[0]), Fix: "Both angles take something away."},
			{Name: "the angles added before they were squared", Value: valueOf(wrong[1]), Fix: "The two axes are at right angles: each has its own cosine."},
			{Name: "the factor 1/2 of the cosine left out", Value: valueOf(wrong[2]), Fix: "For a small angle the cosine falls short of 1 by half its square."},
			{Name: "the sine of the tilt taken for the loss", Value: valueOf(wrong[3]), Fix: "That is gravity along the plate. How much is missing along the meter's own axis?"},
		},
		Range:     [2]float64{5e-7, 1.2e-6},
		Hints:     [2]string{"The meter feels the part of g along its own axis.", "What is lost is g (1 − cos ε cos χ); for small angles a sum of two squares."},
		Worked:    fmt.Sprintf("%%%%\n// The meter feels g cos(level) cos(cross-level); the rest is lost.\nlevel, cross := %s, %s // rad\nlost := 9.81 * (1 - math.Cos(level)*math.Cos(cross)) // m/s²\nsheet.Number(\"level\", lost/gravlab.MicroGal, \"µGal\")", goFloat(level*1e-6, 3), goFloat(cross*1e-6, 3)),
		Reasoning: "A tilted meter feels only $g\\cos\\varepsilon\\cos\\chi$, always less than $g$, so the correction is positive whichever way the bubble is: $g(\\varepsilon^2+\\chi^2)/2$ for small angles.",
		Source: Source{Text: "independently computed: " + table["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "survey-level-02", Got: gravlab.Must(survey.TiltCorrection(9.80665, 0.0005, 0)), Want: table.Float("value"), Within: 1e-12}},
	}
}

// fieldworkAirAndWater: two corrections with signs of their own.
func fieldworkAirAndWater(d *Draw) Question {
	fall, rise := d.Between("pressure fall", 8, 25, 1), d.Between("water rise", 15, 50, 5) // hPa, cm
	porosity := d.Between("porosity", 0.15, 0.30, 0.05)
	air := gravlab.Must(earth.PressureCorrection(1e5-100*fall, 1e5, earth.PressureAdmittance))
	water := gravlab.Must(survey.WaterCorrection(rise/100, porosity))
	right := air + water
	tol := judge.Tolerance{Rel: 0.02, Why: "−4.19 or −4.2 nm/s² a centimetre of water, and two digits carried"}
	wrong := tellApart(tol, right, -air+water, air+water/porosity, water, air)
	layer := testdata.Find("worked_examples.csv", "slab-05") // a metre of water
	return Question{
		ID: "air-and-water", Kind: judge.Number, Marks: 3, Title: "The same mark after a night of rain",
		Prompt: fmt.Sprintf("You read a mark again the next morning. Overnight the air pressure fell by %g hPa, and the water table under the field rose by %g cm in ground with a porosity of %.2f. What has to be added to the second reading, in nm/s², so that it can be compared with the first? Gravity answers to pressure with $-3\\ \\mathrm{nm/s^2}$ per hPa; the water table is wide and below the meter.", fall, rise, porosity),
		Unit:   "nm/s²", Tol: tol,
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the sign of the air exchanged", Value: valueOf(wrong[0]), Fix: "Less air above pulls up less. Does the second reading come out larger or smaller for it?"},
			{Name: "the porosity left out", Value: valueOf(wrong[1]), Fix: "Water fills only the pores of the ground."},
			{Name: "the air left out", Value: valueOf(wrong[2]), Fix: "The barometer moved too."},
			{Name: "the water left out", Value: valueOf(wrong[3]), Fix: "The well moved too."},
		},
		Range:     [2]float64{-1.5e-7, -3e-8},
		Hints:     [2]string{"First the effects: what does each do to the reading? A correction is minus the effect.", "Water below: +2πGρ times the water's thickness. Air above: −3 nm/s² for each hPa more."},
		Worked:    fmt.Sprintf("%%%%\n// Effects first. Less air overhead: the reading grows. More water below: it grows as well.\nair := -3.0 * -%s // nm/s²\nwater := 2 * math.Pi * gravlab.G * 1000 * %s * %s * 1e9 // nm/s²\n// A correction is minus the effect.\nsheet.Number(\"air-and-water\", -(air + water), \"nm/s²\")", lit(fall), lit(porosity), lit(rise/100)),
		Reasoning: "The air is above the meter and pulls up, so less of it lets gravity grow; the water is below and pulls down. Both effects are positive here, and both corrections negative.",
		Source: Source{Text: layer["source"] + "; the pressure admittance is common practice, from memory", Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "slab-05", Got: -gravlab.Must(survey.WaterCorrection(5, 0.2)), Want: layer.Float("published_answer"), Within: 0.5e-8}},
	}
}

func fieldworkStep() Question {
	return Question{
		ID: "step-or-slope", Kind: judge.Choice, Marks: 1, Title: "A step in the middle of the day",
		Prompt: "A colleague finds the step too, but wants to keep the model simple: \"The base readings of morning and noon tell us how much the zero moved. Spread it evenly over the time between them, as we always do with drift.\" What does that do to the stations?",
		Options: []judge.Option{
			{Letter: "a", Text: "nothing: the total movement of the zero is the same", Idea: "The total is, but each station was read at its own moment: the zero of that moment counts."},
			{Letter: "b", Text: "it adds the same error to all of them, which a tie to the base takes away", Idea: "The error depends on when a station was read, so no single shift removes it."},
			{Letter: "c", Text: "those read before the step come out wrong one way, those after it the other way, most of all next to the step", Right: true},
			{Letter: "d", Text: "it makes the uncertainties larger, but leaves the values alone", Idea: "A wrong model shifts the values; the stated uncertainties do not even notice unless one looks at χ²."},
		},
		Worked:    "%%\nsheet.Choice(\"step-or-slope\", \"c\") // the straight line is too high before the step and too low after it, or the reverse",
		Reasoning: "The zero was constant, jumped, and was constant again; a line through both ends is wrong by up to half the step on either side of the jump. A tare is not drift, and needs a moment and a cause.",
		Source:    Source{Text: "common practice, no source"},
	}
}

// fieldworkTriangle is the smallest network: three legs that do not close.
func fieldworkTriangle(d *Draw) Question {
	u1, u2, u3 := d.Between("u of leg 1", 9, 12, 1), d.Between("u of leg 2", 4, 5, 1), d.Between("u of leg 3", 5, 6, 1)
	l1, l2 := d.Between("leg 1", 900, 1900, 1), -d.Between("leg 2", 300, 800, 1)
	misclosure := d.Pick("sign", -1, 1) * d.Between("misclosure", 15, 24, 1)
	l3 := misclosure - l1 - l2
	weight := u1 * u1 / (u1*u1 + u2*u2 + u3*u3)
	legs := []survey.Difference{{From: "A", To: "B", Value: l1, U: u1}, {From: "B", To: "C", Value: l2, U: u2}, {From: "C", To: "A", Value: l3, U: u3}}
	right := gravlab.Must(gravlab.Must(survey.AdjustNetwork(legs, nil)).Station("B")).Value * gravlab.MicroGal
	micro := func(v float64) func(Known) float64 { return valueOf(v * gravlab.MicroGal) }
	network := testdata.Find("model_checks.csv", "survey-network-01")
	return Question{
		ID: "triangle", Kind: judge.Number, Marks: 3, Title: "A triangle that does not close",
		Prompt: fmt.Sprintf("Three marks are joined by differences, each with its standard uncertainty: A to B %+.0f µGal (%g µGal), B to C %s µGal (%g µGal), C to A %s µGal (%g µGal). Round the triangle they should add up to nothing, and do not. What is the adjusted difference from A to B by least squares?", l1, u1, fieldworkSigned(l2), u2, fieldworkSigned(l3), u3),
		Unit:   "µGal", Tol: judge.Tolerance{Abs: 0.5e-8, Why: "rounded to a whole µGal"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the misclosure shared out equally", Value: micro(l1 - misclosure/3), Fix: "A leg that is known badly should give way more."},
			{Name: "shared out by u instead of u²", Value: micro(l1 - misclosure*u1/(u1+u2+u3)), Fix: "Least squares weighs with 1/u²; each leg's share goes with u²."},
			{Name: "the share added instead of taken off", Value: micro(l1 + misclosure*weight), Fix: "After the adjustment the three have to add up to nothing. Do yours?"},
			{Name: "left as observed", Value: micro(l1), Fix: "The triangle does not close: something has to give."},
		},
		Range:     [2]float64{8e-6, 2e-5},
		Hints:     [2]string{"Add the three: that is the misclosure. Take a share of it off each leg.", "The share of a leg is its u² over the sum of all three u²."},
		Worked:    fmt.Sprintf("%%%%\n// The misclosure is shared out as the squares of the uncertainties.\nlegs := []float64{%s, %s, %s} // µGal: A to B, B to C, C to A\nu := []float64{%s, %s, %s}\nmisclosure := legs[0] + legs[1] + legs[2]\nshare := u[0] * u[0] / (u[0]*u[0] + u[1]*u[1] + u[2]*u[2])\nsheet.Number(\"triangle\", legs[0]-share*misclosure, \"µGal\")", lit(l1), lit(l2), lit(l3), lit(u1), lit(u2), lit(u3)),
		Reasoning: "Least squares makes $\\sum (v_i/u_i)^2$ smallest under the condition that the corrected legs close; the solution is $v_i = -w\\,u_i^2/\\sum u^2$ with the misclosure $w$.",
		Source: Source{Text: "independently computed: " + network["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "survey-network-01", Got: fieldworkNetwork(), Want: network.Float("value"), Within: 1e-9}},
	}
}

// fieldworkNetwork is B of the reference network, µGal, by the question's own
// adjustment.
func fieldworkNetwork() float64 {
	legs := []survey.Difference{
		{From: "A", To: "B", Value: 1203, U: 10}, {From: "B", To: "C", Value: -871, U: 10}, {From: "C", To: "A", Value: -345, U: 10}, {From: "A", To: "D", Value: 2054, U: 5},
		{From: "D", To: "C", Value: -1706, U: 10}, {From: "B", To: "D", Value: 838, U: 5}, {From: "D", To: "A", Value: -2061, U: 10},
	}
	return gravlab.Must(gravlab.Must(survey.AdjustNetwork(legs, nil)).Station("B")).Value
}

// fieldworkSigned writes a whole number with its sign as print does.
func fieldworkSigned(v float64) string {
	if v < 0 {
		return fmt.Sprintf("−%.0f", -v)
	}
	return fmt.Sprintf("+%.0f", v)
}

func fieldworkNormal(d *Draw) Question {
	lat := d.Between("latitude", 50, 59, 0.05)
	gamma := func(lat float64) float64 { return gravlab.Must(earth.GRS80.NormalGravity(lat, 0)) }
	square := func(x float64) float64 { s := math.Sin(x); return s * s }
	phi := lat * fieldworkDegree
	tol := judge.Tolerance{Abs: 2e-6, Why: "0.2 mGal: the series in sin² is good to 0.1 mGal"}
	wrong := tellApart(tol, gamma(phi),
		gamma(gravlab.Must(earth.GRS80.Geocentric(phi, 0))),
		9.780490*(1+0.0052884*square(phi)-0.0000059*square(2*phi)),
		9.780327*(1+0.0053024*square(2*phi)-0.0000058*square(phi)),
		9.780327*(1+0.0053024*square(lat)-0.0000058*square(2*lat)))
	printed := testdata.Find("values.csv", "grs80_gamma45")
	return Question{
		ID: "normal", Kind: judge.Number, Marks: 2, Title: "What the whole Earth makes of it",
		Prompt: fmt.Sprintf("What is normal gravity of GRS80 on the ellipsoid at the geodetic latitude %.2f°? Give it to 0.1 mGal or better.", lat),
		Unit:   "mGal", Tol: tol,
		Solve: valueOf(gamma(phi)),
		Slips: []Slip{
			{Name: "geocentric latitude put in", Value: valueOf(wrong[0]), Fix: "The formula wants the geodetic latitude, which maps and receivers give."},
			{Name: "the formula of 1930", Value: valueOf(wrong[1]), Fix: "Which ellipsoid do your constants belong to?"},
			{Name: "sin²φ and sin²2φ exchanged", Value: valueOf(wrong[2]), Fix: "The large term goes with sin²φ: it has to grow all the way to the pole."},
			{Name: "degrees in the sine", Value: valueOf(wrong[3]), Fix: "math.Sin wants radians."},
		},
		Range:     [2]float64{9.8090, 9.8200},
		Hints:     [2]string{"earth.GRS80 has a method for it; it wants radians and a height.", "Or γ = 9.780327 (1 + 0.0053024 sin²φ − 0.0000058 sin²2φ) m/s²."},
		Worked:    fmt.Sprintf("%%%%\n// The model wants radians; at height 0 it is Somigliana's closed formula.\nlat := %s * math.Pi / 180\ngamma := gravlab.Must(earth.GRS80.NormalGravity(lat, 0))\nsheet.Number(\"normal\", gamma/gravlab.MilliGal, \"mGal\")", lit(lat)),
		Reasoning: "Normal gravity is that of a level ellipsoid with the mass and the turn of the Earth; it grows by 5.2 Gal from the equator to the poles, 0.77 mGal in each kilometre here.",
		Source: Source{Text: printed["source"] + ": 9.806 199 203 m/s² at 45°", Published: true, Check: &SourceCheck{
			Table: "values.csv", ID: "grs80_gamma45", Got: gamma(45 * fieldworkDegree), Want: printed.Float("value"), Within: 0.5e-9}},
	}
}

func fieldworkPosition(d *Draw) Question {
	lat, wanted := d.Between("latitude of the site", 50, 57, 0.1), d.Between("wanted", 4, 20, 1) // deg, µGal
	metres := func(lat, wanted float64) float64 {
		return wanted * gravlab.MicroGal / gravlab.Must(earth.GRS80.NorthwardGradient(lat*fieldworkDegree))
	}
	right := metres(lat, wanted)
	phi := lat * fieldworkDegree
	tol := judge.Tolerance{Rel: 0.02, Why: "0.81 or 0.812 sin 2φ mGal/km"}
	wrong := tellApart(tol, right, right*math.Sin(2*phi)/math.Pow(math.Sin(phi), 2), right/2, right*math.Sin(2*phi), right*math.Sin(2*phi)/math.Abs(math.Sin(2*lat)))
	printed := testdata.Find("worked_examples.csv", "reduct-03")
	return Question{
		ID: "position", Kind: judge.Number, Marks: 2, Title: "How far north?",
		Prompt: fmt.Sprintf("At latitude %.1f° a survey may lose %g µGal to a wrong position on the map. By how many metres north or south may a station be misplaced?", lat, wanted),
		Unit:   "m", Tol: tol,
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "sin²φ for sin 2φ", Value: valueOf(wrong[0]), Fix: "The derivative of sin²φ is sin 2φ."},
			{Name: "a factor 2 lost", Value: valueOf(wrong[1]), Fix: "0.81 mGal/km is already the whole change at 45°, where sin 2φ is 1."},
			{Name: "the sin 2φ left out", Value: valueOf(wrong[2]), Fix: "0.81 mGal/km holds at 45° only."},
			{Name: "degrees in the sine", Value: valueOf(wrong[3]), Fix: "math.Sin wants radians."},
		},
		Range:     [2]float64{2, 40},
		Hints:     [2]string{"How much does normal gravity grow in a metre towards the pole? Then divide.", "The growth is 0.81 sin 2φ mGal/km."},
		Worked:    fmt.Sprintf("%%%%\n// Divide by the growth of normal gravity a metre north.\ngradient := gravlab.Must(earth.GRS80.NorthwardGradient(%s * math.Pi / 180)) // 1/s²\nsheet.Number(\"position\", %s*gravlab.MicroGal/gradient, \"m\")", lit(lat), lit(wanted)),
		Reasoning: "Normal gravity goes with $\\sin^2\\varphi$, so its slope along the meridian goes with $\\sin 2\\varphi$: 0.81 mGal/km at 45°, less on both sides.",
		Source: Source{Text: printed["source"], Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "reduct-03", Got: metres(45, 10), Want: printed.Float("published_answer"), Within: 0.5}},
	}
}

func fieldworkHeights() Question {
	return Question{
		ID: "heights", Kind: judge.Choice, Marks: 1, Title: "Heights above what?",
		Prompt: "The heights of your marks come from satellite positions and count from the ellipsoid. You put them into the free-air and slab terms as they are. The neighbouring survey used levelled heights above the sea; the geoid lies about 50 m above the ellipsoid there. May the two maps be joined?",
		Options: []judge.Option{
			{Letter: "a", Text: "yes: gravity does not care where heights are counted from", Idea: "Gravity does not, but its reduction does: free air less slab makes 0.197 mGal of every metre."},
			{Letter: "b", Text: "no: yours is a disturbance and theirs an anomaly, about 10 mGal apart; one of them has to be reduced again", Right: true},
			{Letter: "c", Text: "yes, after shifting one map by the difference at one common station and saying nothing", Idea: "The geoid is not level, so the difference changes over the map; and what is shifted silently cannot be undone by the next reader."},
			{Letter: "d", Text: "no: satellite heights are too poor for gravity work", Idea: "A few centimetres are quite good enough (1 cm is 2 µGal). The zero of the heights is the matter."},
		},
		Worked:    "%%\nsheet.Choice(\"heights\", \"b\") // 50 m of geoid times 0.197 mGal/m: two different quantities",
		Reasoning: "Ellipsoidal heights give a gravity *disturbance*, orthometric ones an *anomaly*. 50 m of geoid are $50 \\times 0.197 \\approx 9.8$ mGal with a slab of 2670 kg/m³. State the kind of height in the table's head, and reduce one survey again.",
		Source:    Source{Text: "W. J. Hinze et al., Geophysics 70, J25–J32 (2005), from memory: ellipsoidal heights and the disturbance"},
	}
}

// fieldworkSector asks for a function of ground height and outer radius.
func fieldworkSector(d *Draw) Question {
	inner, parts := d.Pick("inner radius", 2, 4, 6), int(d.Pick("parts", 4, 6, 8))
	density := d.Between("density of the terrain", 2200, 2700, 50)
	value := func(inner float64, parts int) func([]float64) []float64 {
		return func(a []float64) []float64 {
			return []float64{gravlab.Must(survey.Sector{Inner: inner, Outer: a[1], Parts: parts, Height: a[0], Density: density}.Correction())}
		}
	}
	right := value(inner, parts)
	r := d.Rand("sector calls")
	var calls [][]float64
	for i := range 10 {
		h := clean(math.Round((1+r.Float64()*15)*10) / 10)
		if i%2 == 1 {
			h = -h
		}
		calls = append(calls, []float64{h, clean(math.Round(inner + 6 + r.Float64()*50))})
	}
	calls = append(calls, calls[3])
	table := testdata.Find("model_checks.csv", "survey-terrain-02")
	return Question{
		ID: "sector", Kind: judge.Function, Marks: 3, Title: "The ground around the meter",
		Prompt: fmt.Sprintf("The ground within some tens of metres is sketched on the spot, ring by ring. Write a function `sector` that takes the height $h$ of the ground over the station (m, negative where it is lower) and the outer radius $r_2$ (m) of a ring, and returns the terrain correction of *one* of its %d equal sectors in m/s². The inner radius is $r_1 = %g\\ \\mathrm{m}$, the density %g kg/m³.", parts, inner, density),
		Tol:    judge.Tolerance{Rel: 2e-3, Why: "G of 6.67e-11 is 0.06 % low; rounding is far below"},
		Function: &Function{
			Name: "sector", Signature: judge.TwoToOne, Calls: calls, Right: right,
			Slips: []FunctionSlip{
				{Name: "a valley counted as negative", F: func(a []float64) []float64 { return []float64{math.Copysign(right(a)[0], a[0])} }, Fix: "A valley is rock that fails to pull down: what does that do to gravity, and what makes up for it?"},
				{Name: "the whole ring for one sector", F: value(inner, 1), Fix: "The ring is cut into equal sectors: one of them has its share."},
				{Name: "the inner radius left out", F: value(0, parts), Fix: "The ring begins at r₁; what lies inside is another ring's business."},
				{Name: "sign reversed", F: func(a []float64) []float64 { return []float64{-right(a)[0]} }, Fix: "The correction is added to gravity: is it positive or negative?"},
			},
		},
		Hints:     [2]string{"(2πGρ/n) times a bracket with four terms: two radii and two slant distances.", "The bracket is r₂ − r₁ + √(r₁² + h²) − √(r₂² + h²)."},
		Worked:    fmt.Sprintf("// A ring is the difference of two upright cylinders; h enters squared, so hills\n// and valleys both come out positive.\nfunc sector(h, r2 float64) float64 {\n\tr1, n, rho := %s, %s, %s // m, 1, kg/m³\n\tbracket := r2 - r1 + math.Hypot(r1, h) - math.Hypot(r2, h)\n\treturn 2 * math.Pi * gravlab.G * rho / n * bracket\n}\n\n%%%%\nsheet.Function(\"sector\", sector)", lit(inner), lit(float64(parts)), lit(density)),
		Reasoning: "A hill beside the station pulls up; the slab has put rock into a valley that is not there. Both make the slab-corrected value too small, so the terrain correction is positive uphill *and* downhill: $\\frac{2\\pi G\\rho}{n}\\left(r_2 - r_1 + \\sqrt{r_1^2+h^2} - \\sqrt{r_2^2+h^2}\\right)$.",
		Source: Source{Text: "independently computed: " + table["route"] + "; formula: S. Hammer, Geophysics 4, 184–194 (1939), from memory", Check: &SourceCheck{
			Table: "model_checks.csv", ID: "survey-terrain-02",
			Got:  gravlab.Must(survey.Sector{Inner: 2, Outer: 16.6, Parts: 4, Height: 1.1, Density: 2200}.Correction()),
			Want: table.Float("value"), Within: 1e-15}},
	}
}

func fieldworkSlope(d *Draw) Question {
	angle, radius, density := d.Between("slope", 8, 20, 1), d.Between("slope radius", 20, 50, 5), d.Between("slope density", 2200, 2700, 50)
	right := gravlab.Must(survey.Slope(angle*fieldworkDegree, radius, density))
	tol := judge.Tolerance{Rel: 0.04, Why: "the small-angle form πGρR tan²α/2 is up to 7 % high at 20°, 2 % at 12°; a sum over a dozen azimuths is within 1 %"}
	wrong := tellApart(tol, right, gravlab.Must(survey.Cone(angle*fieldworkDegree, radius, density)), right/2)
	table := testdata.Find("model_checks.csv", "survey-terrain-06")
	return Question{
		ID: "slope", Kind: judge.Number, Marks: 2, Title: "A station on the fellside",
		Prompt: fmt.Sprintf("A station stands on an even slope of %g°. What is the terrain correction of the ground out to a horizontal distance of %g m, for a density of %g kg/m³?", angle, radius, density),
		Unit:   "µGal", Tol: tol,
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the full slope in every direction", Value: valueOf(wrong[0]), Fix: "On a plane the ground is level across the slope: the height goes with the cosine of the azimuth."},
			{Name: "one side of the slope left out", Value: valueOf(wrong[1]), Fix: "The downhill side counts as well, with the same sign."},
		},
		Range:     [2]float64{1e-7, 1.7e-6},
		Hints:     [2]string{"In the direction θ from straight uphill the ground rises with the slope tan α cos θ.", "survey.Slope does the sum over all directions; it wants radians."},
		Worked:    fmt.Sprintf("%%%%\n// survey.Slope sums over the azimuth: uphill and downhill both count.\nc := gravlab.Must(survey.Slope(%s*math.Pi/180, %s, %s))\nsheet.Number(\"slope\", c/gravlab.MicroGal, \"µGal\")", lit(angle), lit(radius), lit(density)),
		Reasoning: "Rising ground on one side and falling ground on the other do not cancel: both are added. The first tens of metres of an ordinary hillside make tens of microgals, which no map of 25 m cells knows.",
		Source: Source{Text: "independently computed: " + table["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "survey-terrain-06", Got: gravlab.Must(survey.Slope(30*fieldworkDegree, 2, 2000)), Want: table.Float("value"), Within: 1e-15}},
	}
}

// fieldworkBudget is the uncertainty of a Bouguer value as it goes into the
// report.
func fieldworkBudget(d *Draw) Question {
	height := d.Between("u of heights", 3, 8, 0.5)                                          // cm
	reading, tie := d.Between("u of readings", 2, 4, 0.5), d.Between("u of tie", 4, 7, 0.5) // µGal
	terrain, difference := d.Between("u of terrain", 4, 9, 1), d.Between("difference", 20, 60, 5)
	scale := 8e-5 * difference * 1000 // µGal of a difference in mGal
	perCm := gravlab.Must(survey.Reduction{Ellipsoid: earth.GRS80, Heights: survey.Ellipsoidal, Plate: survey.FlatPlate, Density: 2670}.PerMetre(45*fieldworkDegree)) / gravlab.MicroGal / 100
	root := func(terms ...float64) float64 { return math.Sqrt(squares(terms)) * gravlab.MicroGal }
	right := root(perCm*height, reading, tie, terrain, scale)
	tol := judge.Tolerance{Rel: 0.035, Why: "an uncertainty is stated with two digits"}
	wrong := tellApart(tol, right, root(3.086*height, reading, tie, terrain, scale), (perCm*height+reading+tie+terrain+scale)*gravlab.MicroGal, root(reading, tie, terrain, scale))
	table := testdata.Find("model_checks.csv", "survey-height-02") // 0.30 m of height
	return Question{
		ID: "budget", Kind: judge.Number, Marks: 3, Title: "The u in the report",
		Prompt: fmt.Sprintf("A station stands %g mGal from the base. The standard uncertainties are %g cm of its height, %g µGal of the adjusted difference, %g µGal of the base's own value, %g µGal of the terrain correction, and 0.008 %% of the scale factor. With a slab of 2670 kg/m³ and no correlation, what is the standard uncertainty of its Bouguer value?", difference, height, reading, tie, terrain),
		Unit:   "µGal", Tol: tol,
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "free air without the slab for the height", Value: valueOf(wrong[0]), Fix: "A metre of height takes away gravity, and the slab gives a part of it back."},
			{Name: "added straight, not in quadrature", Value: valueOf(wrong[1]), Fix: "Independent uncertainties add as squares."},
			{Name: "the height left out", Value: valueOf(wrong[2]), Fix: "A centimetre is worth about two microgals."},
		},
		Range:     [2]float64{6e-8, 3e-7},
		Hints:     [2]string{"Turn each into µGal first: what does a centimetre of height do to a Bouguer value?", "Free air less slab, 0.3086 − 0.1120 mGal/m; the scale's part is 0.008 % of the difference. Then squares."},
		Worked:    fmt.Sprintf("%%%%\n// Each in µGal: the height with free air less slab, the scale with the difference.\nterms := []float64{%s * 1.966, %s, %s, %s, 8e-5 * %s * 1000}\nsum := 0.0\nfor _, t := range terms {\n\tsum += t * t\n}\nsheet.Number(\"budget\", math.Sqrt(sum), \"µGal\")", lit(height), lit(reading), lit(tie), lit(terrain), lit(difference)),
		Reasoning: "$u^2 = (0.197\\ \\mathrm{mGal/m}\\cdot u_h)^2 + u_\\mathrm{reading}^2 + u_\\mathrm{tie}^2 + u_\\mathrm{terrain}^2 + (k\\text{'s share})^2$. A good meter is rarely the largest term: heights and terrain are.",
		Source: Source{Text: "independently computed: " + table["route"] + "; JCGM 100:2008, 5.1.2 (from memory)", Check: &SourceCheck{
			Table: "model_checks.csv", ID: "survey-height-02", Got: perCm * 100 * gravlab.MicroGal * 0.30, Want: table.Float("value"), Within: 1e-14}},
	}
}

func fieldworkClaims() Question {
	return Question{
		ID: "claims", Kind: judge.Choice, Marks: 1, Title: "The last sentence of the report",
		Prompt: "The client wants to dig a trench across the field next week. Your map shows no anomaly larger than 15 µGal along it. Which sentence may stand in the report?",
		Options: []judge.Option{
			{Letter: "a", Text: "\"The ground along the trench is free of cavities.\"", Idea: "A void that is small, deep or full of water shows less than 15 µGal: not seen is not absent."},
			{Letter: "b", Text: "\"The survey clears the trench for digging to a depth of 2 m.\"", Idea: "Gravity sees neither pipes nor cables, and clears no ground: services are located by those licensed to do it."},
			{Letter: "c", Text: "\"No anomaly above 15 µGal was seen along the line. This says nothing about services or smaller voids, and is no permit to dig.\"", Right: true},
			{Letter: "d", Text: "\"With 95 % probability there is no void below the trench.\"", Idea: "The 95 % of a confidence interval belong to the gravity value; how many voids there are in such fields is not in the data."},
		},
		Worked:    "%%\nsheet.Choice(\"claims\", \"c\") // what was seen, at what threshold, and what it does not say",
		Reasoning: "A gravity survey reports what it saw, down to which size. It does not clear ground for digging, driving or building, and every report says so.",
		Source:    Source{Text: "common practice, no source: package survey, Cautions"},
	}
}
