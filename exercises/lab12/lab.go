package lab12

import (
	"embed"
	"math"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/survey"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 12.
var Lab = bank.Lab{
	ID: "12-a-day-in-the-field", Title: "A day in the field", Minutes: 90,
	Asks:   "A day of readings, a meter that drifts and one bump on the road. What was the ground, and what was the day?",
	Tracks: []bank.Track{bank.SurveyHire}, BuildsOn: []string{"09-the-earth-breathes", "10-buried-sphere"}, Graded: true,
	Sealed: bank.Weights{Times: 2, Constants: []string{"scale", "rate", "tare", "density"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

func build(d *bank.Draw) bank.Sheet {
	day := newFieldworkDay(d)
	return bank.Sheet{
		Fields: bank.Fields{
			"hourFrom": day.plan().HourFrom, "blunderAt": day.plan().BlunderAt, "tarePlace": fieldworkTarePlace(day.plan()),
		},
		Recordings: []bank.Recording{fieldworkLineRecording(d), day.recording()},
		Questions: []bank.Question{
			fieldworkScale(d), fieldworkLevel(d), fieldworkAirAndWater(d),
			day.rate(), day.tare(), day.station(), fieldworkStep(), fieldworkTriangle(d),
			fieldworkNormal(d), fieldworkPosition(d), fieldworkHeights(), fieldworkSector(d), fieldworkSlope(d),
			day.rock(), fieldworkBudget(d), fieldworkClaims(),
		},
	}
}

const fieldworkDegree = math.Pi / 180

// fieldworkLevel: both bubbles off.
func fieldworkLevel(d *bank.Draw) bank.Question {
	level, cross := d.Between("level", 320, 440, 10), d.Between("cross-level", 120, 160, 10) // µrad
	const g = 9.81
	lost := func(level, cross float64) float64 {
		return gravlab.Must(survey.TiltCorrection(g, level*1e-6, cross*1e-6))
	}
	right := lost(level, cross)

	tol := judge.Tolerance{Rel: 0.02}
	return bank.Question{
		ID: "level", Kind: judge.KindNumber, Marks: 2, Unit: "µGal", Tol: tol,
		Fields: bank.Fields{"level": level, "cross": cross, "levelSI": level * 1e-6, "crossSI": cross * 1e-6},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "one-bubble-only", Value: bank.Always(lost(level, 0))},
			{ID: "square-of-sum", Value: bank.Always(lost(level+cross, 0))},
			{ID: "half-ignored", Value: bank.Always(2 * right)},
			{ID: "sine-for-loss", Value: bank.Always(g * math.Hypot(level, cross) * 1e-6)},
			{ID: "other-bubble", Value: bank.Always(lost(0, cross))},
			{ID: "added", Value: bank.Always(lost(level, 0) - lost(0, cross))},
		},
		Range:  [2]float64{5e-7, 1.2e-6},
		Source: bank.Computed(testdata.Checks, "survey-level-02", gravlab.Must(survey.TiltCorrection(9.80665, 0.0005, 0)), 1e-12),
	}
}

// fieldworkAirAndWater: two corrections with signs of their own.
func fieldworkAirAndWater(d *bank.Draw) bank.Question {
	fall, rise := d.Between("pressure fall", 8, 25, 1), d.Between("water rise", 15, 50, 5) // hPa, cm
	porosity := d.Between("porosity", 0.15, 0.30, 0.05)
	air := gravlab.Must(earth.PressureCorrection(1e5-100*fall, 1e5, earth.PressureAdmittance))
	water := gravlab.Must(survey.WaterCorrection(rise/100, porosity))
	right := air + water
	tol := judge.Tolerance{Rel: 0.02}
	return bank.Question{
		ID: "air-and-water", Kind: judge.KindNumber, Marks: 3, Unit: "nm/s²", Tol: tol,
		Fields: bank.Fields{"fall": fall, "rise": rise, "porosity": porosity, "riseSI": rise / 100},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "air-sign", Value: bank.Always(-air + water)},
			{ID: "no-porosity", Value: bank.Always(air + water/porosity)},
			{ID: "air-left-out", Value: bank.Always(water)},
			{ID: "water-left-out", Value: bank.Always(air)},
			{ID: "water-sign", Value: bank.Always(air - water)},
			{ID: "4-pi", Value: bank.Always(air + 2*water)},
			{ID: "centimetres", Value: bank.Always(air + 100*water)},
		},
		Range: [2]float64{-1.5e-7, -3e-8},
		// a metre of water
		Source: bank.Published(testdata.Examples, "slab-05", -gravlab.Must(survey.WaterCorrection(5, 0.2)), 0.5e-8),
	}
}

func fieldworkStep() bank.Question {
	return bank.Question{
		ID: "step-or-slope", Kind: judge.KindChoice, Marks: 1,
	}
}

// fieldworkTriangle is the smallest network: three legs that do not close.
func fieldworkTriangle(d *bank.Draw) bank.Question {
	u1, u2, u3 := d.Between("u of leg 1", 9, 12, 1), d.Between("u of leg 2", 4, 5, 1), d.Between("u of leg 3", 5, 6, 1)
	l1, l2 := d.Between("leg 1", 900, 1900, 1), -d.Between("leg 2", 300, 800, 1)
	misclosure := d.Pick("sign", -1, 1) * d.Between("misclosure", 15, 24, 1)
	l3 := misclosure - l1 - l2
	weight := u1 * u1 / (u1*u1 + u2*u2 + u3*u3)
	legs := []survey.Difference{{From: "A", To: "B", Value: l1, U: u1}, {From: "B", To: "C", Value: l2, U: u2}, {From: "C", To: "A", Value: l3, U: u3}}
	right := gravlab.Must(gravlab.Must(survey.AdjustNetwork(legs, nil)).Station("B")).Value * gravlab.MicroGal
	micro := func(v float64) func(bank.Answers) float64 { return bank.Always(v * gravlab.MicroGal) }
	return bank.Question{
		ID: "triangle", Kind: judge.KindNumber, Marks: 3, Unit: "µGal", Tol: judge.Tolerance{Abs: 0.5e-8},
		Fields: bank.Fields{"l1": l1, "u1": u1, "u2": u2, "u3": u3, "l2": l2, "l3": l3},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "equal-fractions", Value: micro(l1 - misclosure/3)},
			{ID: "u-instead-of-u2", Value: micro(l1 - misclosure*u1/(u1+u2+u3))},
			{ID: "added", Value: micro(l1 + misclosure*weight)},
			{ID: "no-misclosure", Value: micro(l1)},
			{ID: "upside-down", Value: micro(l1 - misclosure/(u1*u1)/(1/(u1*u1)+1/(u2*u2)+1/(u3*u3)))},
			{ID: "all", Value: micro(l1 - misclosure)},
			{ID: "other-way", Value: micro(-l2 - l3)},
		},
		Range:  [2]float64{8e-6, 2e-5},
		Source: bank.Computed(testdata.Checks, "survey-network-01", fieldworkNetwork(), 1e-9),
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

func fieldworkNormal(d *bank.Draw) bank.Question {
	lat := d.Between("latitude", 50, 59, 0.05)
	gamma := func(lat float64) float64 { return gravlab.Must(earth.GRS80.NormalGravity(lat, 0)) }
	square := func(x float64) float64 { s := math.Sin(x); return s * s }
	phi := lat * fieldworkDegree
	tol := judge.Tolerance{Abs: 2e-6}
	return bank.Question{
		ID: "normal", Kind: judge.KindNumber, Marks: 2, Unit: "mGal", Tol: tol,
		Fields: bank.Fields{"lat": lat},
		Solve:  bank.Always(gamma(phi)),
		Slips: []bank.Slip{
			{ID: "geocentric", Value: bank.Always(gamma(gravlab.Must(earth.GRS80.Geocentric(phi, 0))))},
			{ID: "formula-1930", Value: bank.Always(9.780490 * (1 + 0.0052884*square(phi) - 0.0000059*square(2*phi)))},
			{ID: "terms-swapped", Value: bank.Always(9.780327 * (1 + 0.0053024*square(2*phi) - 0.0000058*square(phi)))},
			{ID: "degrees-in-sine", Value: bank.Always(9.780327 * (1 + 0.0053024*square(lat) - 0.0000058*square(2*lat)))},
			{ID: "cosine", Value: bank.Always(9.780327 * (1 + 0.0053024*(1-square(phi)) - 0.0000058*square(2*phi)))},
			{ID: "one-term", Value: bank.Always(9.780327 * (1 + 0.0053024*square(phi)))},
			{ID: "not-squared", Value: bank.Always(9.780327 * (1 + 0.0053024*math.Sin(phi) - 0.0000058*math.Sin(2*phi)))},
			{ID: "equator", Value: bank.Always(9.780327)},
		},
		Range:  [2]float64{9.8090, 9.8200},
		Source: bank.Published(testdata.Values, "grs80_gamma45", gamma(45*fieldworkDegree), 0.5e-9),
	}
}

func fieldworkPosition(d *bank.Draw) bank.Question {
	lat, wanted := d.Between("latitude of the site", 54.5, 58, 0.1), d.Between("wanted", 4, 20, 1) // deg, µGal
	metres := func(lat, wanted float64) float64 {
		return wanted * gravlab.MicroGal / gravlab.Must(earth.GRS80.NorthwardGradient(lat*fieldworkDegree))
	}
	right := metres(lat, wanted)
	phi := lat * fieldworkDegree
	tol := judge.Tolerance{Rel: 0.02}
	return bank.Question{
		ID: "position", Kind: judge.KindNumber, Marks: 2, Unit: "m", Tol: tol,
		Fields: bank.Fields{"lat": lat, "wanted": wanted},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "sin2phi", Value: bank.Always(right * math.Sin(2*phi) / math.Pow(math.Sin(phi), 2))},
			{ID: "extra-factor-2", Value: bank.Always(right / 2)},
			{ID: "no-sin-2phi", Value: bank.Always(right * math.Sin(2*phi))},
			{ID: "degrees-in-sine", Value: bank.Always(right * math.Sin(2*phi) / math.Abs(math.Sin(2*lat)))},
			{ID: "sine", Value: bank.Always(right * math.Sin(2*phi) / math.Sin(phi))},
			{ID: "half", Value: bank.Always(2 * right)},
			{ID: "kilometres", Value: bank.Always(right / 1000)},
		},
		Range: [2]float64{2, 40},
		// The formula of 1967, whose source leaves a term out: two digits compare.
		Source: bank.Published(testdata.Examples, "reduct-07", 1/metres(45, 1), 0.005),
	}
}

func fieldworkHeights() bank.Question {
	return bank.Question{
		ID: "heights", Kind: judge.KindChoice, Marks: 1,
	}
}

// fieldworkSector asks for a function of ground height and outer radius.
func fieldworkSector(d *bank.Draw) bank.Question {
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
		h := bank.Clean(math.Round((1+r.Float64()*15)*10) / 10)
		if i%2 == 1 {
			h = -h
		}
		calls = append(calls, []float64{h, bank.Clean(math.Round(inner + 6 + r.Float64()*50))})
	}
	calls = append(calls, calls[3])
	return bank.Question{
		ID: "sector", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 2e-3},
		Fields: bank.Fields{"parts": parts, "inner": inner, "density": density, "parts2": float64(parts)},
		Function: &bank.Function{
			Name: "sector", Signature: judge.TwoToOne, Calls: calls,
			Right: right,
			Slips: []bank.FunctionSlip{
				{ID: "valley-negative", F: func(a []float64) []float64 { return []float64{math.Copysign(right(a)[0], a[0])} }},
				{ID: "whole-ring", F: value(inner, 1)},
				{ID: "no-inner-radius", F: value(0, parts)},
				{ID: "sign-reversed", F: func(a []float64) []float64 { return []float64{-right(a)[0]} }},
				{ID: "doubled", F: func(a []float64) []float64 { return []float64{2 * right(a)[0]} }},
				{ID: "slab", F: func(a []float64) []float64 {
					return []float64{2 * math.Pi * gravlab.G * density * math.Abs(a[0]) / float64(parts)}
				}},
			},
		},
		Source: bank.Computed(testdata.Checks, "survey-terrain-02", gravlab.Must(survey.Sector{Inner: 2, Outer: 16.6, Parts: 4, Height: 1.1, Density: 2200}.Correction()), 1e-15),
	}
}

func fieldworkSlope(d *bank.Draw) bank.Question {
	radius, density := d.Between("slope radius", 20, 50, 5), d.Between("slope density", 2200, 2700, 50)
	near := d.Between("slope", 15, 22, 1) // degrees: about there
	most := math.Round(gravlab.Must(survey.Slope(near*fieldworkDegree, radius, density)) / gravlab.MicroGal)
	// angle is the slope, rad, at which a correction that grows with it reaches a value, µGal.
	angle := func(value float64, correction func(slope, radius, density float64) (float64, error)) float64 {
		lo, hi := 0.0, 60*fieldworkDegree
		for range 50 {
			if middle := (lo + hi) / 2; gravlab.Must(correction(middle, radius, density)) < value*gravlab.MicroGal {
				lo = middle
			} else {
				hi = middle
			}
		}
		return lo
	}
	small := math.Pi * gravlab.G * density * radius / 2 // times the square of the slope, for small ones
	return bank.Question{
		ID: "slope", Kind: judge.KindNumber, Marks: 2, Unit: "°", Tol: judge.Tolerance{Rel: 0.009},
		Fields: bank.Fields{"most": most, "radius": radius, "density": density},
		Solve:  bank.Always(angle(most, survey.Slope)),
		Slips: []bank.Slip{
			{ID: "every-direction", Value: bank.Always(angle(most, survey.Cone))},
			{ID: "one-side-ignored", Value: bank.Always(angle(2*most, survey.Slope))},
			{ID: "small-slope", Value: bank.Always(math.Atan(math.Sqrt(most * gravlab.MicroGal / small)))},
			{ID: "tangent", Value: bank.Always(math.Tan(angle(most, survey.Slope)))},
			{ID: "doubled", Value: bank.Always(angle(most/2, survey.Slope))},
		},
		Range:  [2]float64{14 * fieldworkDegree, 23 * fieldworkDegree},
		Source: bank.Computed(testdata.Checks, "survey-terrain-06", gravlab.Must(survey.Slope(30*fieldworkDegree, 2, 2000)), 1e-15),
	}
}

// fieldworkBudget is the uncertainty of a Bouguer value as it goes into the
// report.
func fieldworkBudget(d *bank.Draw) bank.Question {
	wanted := d.Between("wanted u", 13, 16, 0.5)                                                  // µGal
	reading, tie := d.Between("u of readings", 4, 5.5, 0.5), d.Between("u of tie", 4.5, 6.5, 0.5) // µGal
	terrain, difference := d.Between("u of terrain", 4, 6, 0.5), d.Between("difference", 50, 70, 5)
	scale := 8e-5 * difference * 1000 // µGal of a difference in mGal
	perCm := gravlab.Must(survey.Reduction{Ellipsoid: earth.GRS80, Heights: survey.Ellipsoidal, Plate: survey.FlatPlate, Density: 2670}.PerMetre(45*fieldworkDegree)) / gravlab.MicroGal / 100
	left := func(terms ...float64) float64 { return wanted*wanted - floats.Dot(terms, terms) }
	height := func(left, perCm float64) func(bank.Answers) float64 { // m; NaN where nothing is left
		return bank.Always(math.Sqrt(left) / perCm / 100)
	}
	rest, linear := left(reading, tie, terrain, scale), wanted-reading-tie-terrain-scale
	return bank.Question{
		ID: "budget", Kind: judge.KindNumber, Marks: 3, Unit: "cm", Tol: judge.Tolerance{Rel: 0.012},
		Fields: bank.Fields{"difference": difference, "wanted": wanted, "reading": reading, "tie": tie, "terrain": terrain},
		Solve:  height(rest, perCm),
		Slips: []bank.Slip{
			{ID: "slab-ignored", Value: height(rest, 3.086)},
			{ID: "plain-difference", Value: height(linear*math.Abs(linear), perCm)},
			{ID: "others-ignored", Value: height(wanted*wanted, perCm)},
			{ID: "no-scale", Value: height(left(reading, tie, terrain), perCm)},
			{ID: "no-base", Value: height(left(reading, terrain, scale), perCm)},
			{ID: "no-terrain", Value: height(left(reading, tie, scale), perCm)},
			{ID: "slab-added", Value: height(rest, 4.205)},
			{ID: "not-squared", Value: height(rest*rest, perCm)},
		},
		Range: [2]float64{0.02, 0.075},
		// 0.30 m of height
		Source: bank.Computed(testdata.Checks, "survey-height-02", perCm*100*gravlab.MicroGal*0.30, 1e-14),
	}
}

func fieldworkClaims() bank.Question {
	return bank.Question{
		ID: "claims", Kind: judge.KindChoice, Marks: 1,
	}
}
