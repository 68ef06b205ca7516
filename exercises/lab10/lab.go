package lab10

import (
	"embed"
	"fmt"
	"math"
	"strings"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 10.
var Lab = bank.Lab{
	ID: "10-buried-sphere", Title: "The first anomaly", Minutes: 75,
	Asks:   "There is a hole under the field. How deep is it, how large, and what can gravity never tell you?",
	Tracks: []bank.Track{bank.LaboratoryClass, bank.SurveyHire, bank.PlanetarySpace}, BuildsOn: []string{"00-first-steps"}, Graded: true,
	Sealed: bank.Weights{Times: 2, Constants: []string{"water", "depth", "mass", "radius"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

func build(d *bank.Draw) bank.Sheet {
	walk := drawWalk(d)
	return bank.Sheet{
		Recordings: []bank.Recording{walk.recording()},
		Questions: []bank.Question{
			sphereSmallest(d), sphereFunction(d),
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

func sphereSmallest(d *bank.Draw) bank.Question {
	z, rho := d.Between("depth", 4.5, 7, 0.1), d.Between("ground", 1800, 2100, 50)
	low := d.Between("least low", 3, 6, 0.1) // µGal
	mass := -low * gravlab.MicroGal * z * z / gravlab.G
	radius := ballRadius(mass, -rho)
	return bank.Question{
		ID: "smallest", Kind: judge.KindNumber, Marks: 2, Unit: "m", Tol: judge.Tolerance{Rel: 0.006},
		Fields: bank.Fields{"z": z, "rho": rho, "low": low},
		Solve:  bank.Always(radius),
		Slips: []bank.Slip{
			{ID: "diameter", Value: bank.Always(2 * radius)},
			{ID: "no-4-3", Value: bank.Always(radius * math.Cbrt(4.0/3))},
			{ID: "not-squared", Value: bank.Always(radius / math.Cbrt(z))},
			{ID: "square-root", Value: bank.Always(math.Pow(radius, 1.5))},
			{ID: "no-4-3-pi", Value: bank.Always(radius * math.Cbrt(4*math.Pi/3))},
			{ID: "long-body", Value: bank.Always(math.Sqrt(low * gravlab.MicroGal * z / (2 * math.Pi * gravlab.G * rho)))},
		},
		Range: [2]float64{0.9, 2.1},
		// radius 2 m, centre 5.5 m down, contrast -1900
		Source: bank.Computed(testdata.Checks, "buried-sphere-gz-05", pointPeak(ballMass(2, -1900), 5.5), 1e-12*1.4e-7),
	}
}

// pointGZ is gz of an excess mass at the depth z, at the horizontal distance x
// and the height h above the ground.
func pointGZ(mass, z, x, h float64) float64 {
	r := math.Hypot(x, z+h)
	return gravlab.G * mass * (z + h) / (r * r * r)
}

func sphereFunction(d *bank.Draw) bank.Question {
	r, z := d.Between("function radius", 1.8, 2.6, 0.1), d.Between("function depth", 4.5, 7, 0.1)
	rho := d.Between("function ground", 1800, 2100, 50)
	mass := ballMass(r, -rho)
	random := d.Rand("function calls")
	var calls [][]float64
	for range 8 {
		x := math.Round((random.Float64()*24-12)*10) / 10
		calls = append(calls, []float64{bank.Clean(x), bank.Clean(math.Round(random.Float64()*30) / 10)})
	}
	calls = append(calls, []float64{0, 0}, []float64{5, 2.5}, calls[3])
	one := func(f func(x, h float64) float64) func([]float64) []float64 {
		return func(a []float64) []float64 { return []float64{f(a[0], a[1])} }
	}
	return bank.Question{
		ID: "gz", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 2e-3},
		Fields: bank.Fields{"r": r, "z": z, "rho": rho},
		Function: &bank.Function{
			Name: "gz", Signature: judge.TwoToOne, Calls: calls,
			Right: one(func(x, h float64) float64 { return pointGZ(mass, z, x, h) }),
			Slips: []bank.FunctionSlip{
				{ID: "whole-pull", F: one(func(x, h float64) float64 { return gravlab.G * mass / (x*x + (z+h)*(z+h)) })},
				{ID: "height-ignored", F: one(func(x, h float64) float64 { return pointGZ(mass, z, x, 0) })},
				{ID: "sign-ignored", F: one(func(x, h float64) float64 { return -pointGZ(mass, z, x, h) })},
				{ID: "subtracted", F: one(func(x, h float64) float64 { return pointGZ(mass, z, x, -h) })},
				{ID: "not-cubed", F: one(func(x, h float64) float64 { return gravlab.G * mass * (z + h) / (x*x + (z+h)*(z+h)) })},
				{ID: "no-4-3", F: one(func(x, h float64) float64 { return 0.75 * pointGZ(mass, z, x, h) })},
				{ID: "straight-above", F: one(func(_, h float64) float64 { return pointGZ(mass, z, 0, h) })},
			},
		},
		// R = 2.3, centre 6.1 m down, rho = -1850, station at (1.7, -0.9)
		Source: bank.Computed(testdata.Checks, "buried-sphere-gz-01", pointGZ(ballMass(2.3, -1850), 6.1, math.Hypot(1.7, 0.9), 0), 1e-12*1.5e-7),
	}
}

// pointHalfWidth is the depth of a compact body over the half-width of its
// anomaly.
var pointHalfWidth = gravlab.Must(buried.DepthFromHalfWidth(buried.PointShape, 1))

func sphereHalfWidth(d *bank.Draw) bank.Question {
	left, half := d.Between("left half", 8, 14, 0.1), d.Between("half-width", 3.4, 5.4, 0.1)
	z := pointHalfWidth * half
	return bank.Question{
		ID: "half-width", Kind: judge.KindNumber, Marks: 2, Unit: "m", Tol: judge.Tolerance{Rel: 0.006},
		Fields: bank.Fields{"left": left, "right": bank.Clean(left + 2*half)},
		Solve:  bank.Always(z),
		Slips: []bank.Slip{
			{ID: "full-width", Value: bank.Always(2 * z)},
			{ID: "long-body", Value: bank.Always(half)},
			{ID: "width-factor", Value: bank.Always(z / 2)},
			{ID: "divided", Value: bank.Always(half / pointHalfWidth)},
			{ID: "width-of-tunnel", Value: bank.Always(2 * half)},
		},
		Range:  [2]float64{4, 7.5},
		Source: bank.Published(testdata.Examples, "sphere-04", pointHalfWidth, 0.0005),
	}
}

// massOfPeak is the excess mass at the depth z whose peak is g.
func massOfPeak(g, z float64) float64 { return g * z * z / gravlab.G }

func sphereMass(d *bank.Draw) bank.Question {
	peak := d.Between("peak", 14, 30, 0.5)
	mass := func(change func(z float64) float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 { return change(k["half-width"]) }
	}
	g := -peak * gravlab.MicroGal
	return bank.Question{
		ID: "missing-mass", Kind: judge.KindNumber, Marks: 2, Unit: "t", Tol: judge.Tolerance{Rel: 0.015}, Uses: []string{"half-width"},
		Fields: bank.Fields{"peak": peak, "half": d.Between("half-width", 3.4, 5.4, 0.1)},
		Solve:  mass(func(z float64) float64 { return massOfPeak(g, z) }),
		Slips: []bank.Slip{
			{ID: "not-squared", Value: mass(func(z float64) float64 { return massOfPeak(g, z) / z })},
			{ID: "half-width", Value: mass(func(z float64) float64 { return massOfPeak(g, z/pointHalfWidth) })},
			{ID: "long-body", Value: mass(func(z float64) float64 { return g * z / (2 * gravlab.G) })},
			{ID: "sign-ignored", Value: mass(func(z float64) float64 { return -massOfPeak(g, z) })},
			{ID: "double-depth", Value: mass(func(z float64) float64 { return 4 * massOfPeak(g, z) })},
			{ID: "2-pi", Value: mass(func(z float64) float64 { return massOfPeak(g, z) / (2 * math.Pi) })},
			{ID: "milligals", Value: mass(func(z float64) float64 { return 1000 * massOfPeak(g, z) })},
		},
		Range: [2]float64{-3e5, -3e4},
		// 5 mGal, 1560 m, G = 6.67e-11
		Source: bank.Published(testdata.Examples, "sphere-03",
			// The source cuts its seventh digit off.
			massOfPeak(5*gravlab.MilliGal, 1560)*gravlab.G/6.67e-11, 1e6),
	}
}

// ballRadius is the radius of a ball with an excess mass and a contrast.
func ballRadius(mass, contrast float64) float64 {
	return math.Cbrt(3 * mass / (4 * math.Pi * contrast))
}

func sphereOfWater(d *bank.Draw) bank.Question {
	// Not 2000: the contrast to water would be the density of water.
	rho := d.Pick("wet ground", 1750, 1800, 1850, 1900, 2100, 2150)
	radius := func(contrast, factor float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 { return factor * ballRadius(k["missing-mass"], contrast) }
	}
	peak, half := d.Between("peak", 14, 30, 0.5), d.Between("half-width", 3.4, 5.4, 0.1)
	return bank.Question{
		ID: "water", Kind: judge.KindNumber, Marks: 2, Unit: "m", Tol: judge.Tolerance{Rel: 0.008}, Uses: []string{"missing-mass"},
		Fields: bank.Fields{"rho": rho, "half": half, "peak": peak},
		Solve:  radius(1000-rho, 1),
		Slips: []bank.Slip{
			{ID: "empty-for-water", Value: radius(-rho, 1)},
			{ID: "diameter", Value: radius(1000-rho, 2)},
			{ID: "no-4-3", Value: radius(1000-rho, math.Cbrt(4.0/3))},
			{ID: "water-itself", Value: radius(-1000, 1)},
			{ID: "added", Value: radius(-1000-rho, 1)},
			{ID: "no-4-3-pi", Value: radius(1000-rho, math.Cbrt(4*math.Pi/3))},
			{ID: "square-root", Value: func(k bank.Answers) float64 { return math.Pow(ballRadius(k["missing-mass"], 1000-rho), 1.5) }},
		},
		Range: [2]float64{1.8, 4.6},
	}
}

func sphereSteepest(d *bank.Draw) bank.Question {
	z := d.Between("steep depth", 4, 9, 0.2)

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
	return bank.Question{
		ID: "steepest", Kind: judge.KindNumber, Marks: 2, Unit: "m", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"z": z},
		Solve:  bank.Always(z / 2),
		Slips: []bank.Slip{
			{ID: "half-peak", Value: bank.Always(z / pointHalfWidth)},
			{ID: "long-body", Value: bank.Always(z / math.Sqrt(3))},
			{ID: "one-depth", Value: bank.Always(z)},
			{ID: "root-2", Value: bank.Always(z / math.Sqrt2)},
			{ID: "at-the-centre", Value: bank.Always(2 * z)},
		},
		Range: [2]float64{1.9, 4.6},
		Source: bank.Published(testdata.Examples, "sphere-06",
			// Differences over a thousandth of the depth place it to a part in a million.
			steepest(1), 1e-5),
	}
}

func sphereDepthBound(d *bank.Draw) bank.Question {
	low, z := d.Between("bound peak", 18, 40, 1), d.Between("bound depth", 3.6, 6.4, 0.02)
	var readings []float64 // µGal, every metre from the middle outwards
	var printed []string
	steepest, last := 0.0, 0.0
	for x := 0.0; x <= 8; x++ {
		r := math.Round(10*low/math.Pow(1+x*x/(z*z), 1.5)) / 10
		if x > 0 {
			steepest = math.Max(steepest, last-r)
		}
		last = r
		readings, printed = append(readings, r), append(printed, fmt.Sprintf("−%.1f", r))
	}
	bound := func(s buried.Shape) float64 { return gravlab.Must(buried.DepthBound(s, readings[0], steepest)) }
	mean := (readings[0] - last) / 8
	return bank.Question{
		ID: "depth-bound", Kind: judge.KindNumber, Marks: 2, Unit: "m", Tol: judge.Tolerance{Rel: 0.012},
		Fields: bank.Fields{"readings": strings.Join(printed, ", "), "code": strings.ReplaceAll(strings.Join(printed, ", "), "−", "-")},
		Solve:  bank.Always(bound(buried.PointShape)),
		Slips: []bank.Slip{
			{ID: "long-body", Value: bank.Always(bound(buried.LineShape))},
			{ID: "no-factor-at-all", Value: bank.Always(readings[0] / steepest)},
			{ID: "slope-over-peak", Value: bank.Always(1 / bound(buried.PointShape))},
			{ID: "divided", Value: bank.Always(readings[0] / steepest / gravlab.Must(buried.DepthBound(buried.PointShape, 1, 1)))},
			{ID: "mean-slope", Value: bank.Always(gravlab.Must(buried.DepthBound(buried.PointShape, readings[0], mean)))},
			{ID: "first-metre", Value: bank.Always(gravlab.Must(buried.DepthBound(buried.PointShape, readings[0], readings[0]-readings[1])))},
		},
		Range:  [2]float64{3.3, 7.2},
		Source: bank.Computed(testdata.Checks, "buried-depthbound-01", gravlab.Must(buried.DepthBound(buried.PointShape, 1, 1)), 1e-12),
	}
}

// squareFraction is the fraction of 2 pi G M that a square map from -x to x both ways
// catches over a mass at the depth z: its solid angle over 2 pi.
func squareFraction(x, z float64) float64 {
	return 2 / math.Pi * math.Atan(x*x/(z*math.Sqrt(z*z+2*x*x)))
}

func sphereFromMap(d *bank.Draw) bank.Question {
	z, x := d.Between("map depth", 5, 8, 0.5), d.Pick("map half side", 15, 20, 25, 30)
	fraction := squareFraction(x, z)
	integral := bank.RoundTo(2*math.Pi*gravlab.G*d.Between("map mass", 60, 140, 2)*1000*fraction/gravlab.MicroGal, 3)
	mass := -integral * gravlab.MicroGal / (2 * math.Pi * gravlab.G) / fraction
	level := d.Pick("u of the level", 0.2, 0.3, 0.4) // µGal
	stations := math.Pow(x/2.5, 2)                   // 5 m apart
	u := func(area float64) float64 { return level * gravlab.MicroGal * area / (2 * math.Pi * gravlab.G) }
	return bank.Question{
		ID: "gauss", Kind: judge.KindMeasured, Marks: 3, Unit: "t", Tol: judge.Tolerance{Rel: 0.012},
		Fields: bank.Fields{"twiceX": 2 * x, "z": z, "integral": integral, "x": x, "fraction": fraction, "level": level, "stations": stations},
		Solve:  bank.Always(mass),
		U:      func() float64 { return u(4*x*x) / fraction },
		Slips: []bank.Slip{
			{ID: "outside-ignored", Value: bank.Always(mass * fraction)},
			{ID: "4pi-for-2pi", Value: bank.Always(mass / 2)},
			{ID: "sign-ignored", Value: bank.Always(-mass)},
			{ID: "multiplied", Value: bank.Always(mass * fraction * fraction)},
			{ID: "full-side", Value: bank.Always(mass * fraction / squareFraction(2*x, z))},
		},
		USlips: []bank.Slip{
			{ID: "as-if-independent", Value: bank.Always(u(4*x*x) / fraction / math.Sqrt(stations))},
			{ID: "one-station", Value: bank.Always(u(25) / fraction)},
			{ID: "half-side", Value: bank.Always(u(x*x) / fraction)},
		},
		Range: [2]float64{-1.5e5, -5.5e4},
		// depth 7 m, half side 21 m
		Source: bank.Computed(testdata.Checks, "buried-flux-01", squareFraction(21, 7), 1e-12),
	}
}

func sphereMimic() bank.Question {
	return bank.Question{
		ID: "mimic", Kind: judge.KindChoice, Marks: 1,
	}
}

// peakShareU is the relative uncertainty of a peak G M/z² of which mass and
// depth have relative uncertainties and the correlation r.
func peakShareU(uM, uz, r float64) float64 {
	return math.Sqrt(uM*uM + 4*uz*uz - 4*r*uM*uz)
}

func sphereTradeOff(d *bank.Draw) bank.Question {
	uz, uM := d.Between("u depth", 3, 4.4, 0.1), d.Between("u mass", 7.5, 9.5, 0.1)
	r := d.Between("trade-off", 0.88, 0.96, 0.01)
	u := func(uM, uz, r float64) func(bank.Answers) float64 { return bank.Always(peakShareU(uM, uz, r) / 100) }
	return bank.Question{
		ID: "trade-off", Kind: judge.KindNumber, Marks: 2, Unit: "%", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"uz": uz, "uM": uM, "r": r},
		Solve:  u(uM, uz, r),
		Slips: []bank.Slip{
			{ID: "no-correlation", Value: u(uM, uz, 0)},
			{ID: "cross-sign", Value: u(uM, uz, -r)},
			{ID: "depth-exponent", Value: bank.Always(math.Sqrt(uM*uM+uz*uz-2*r*uM*uz) / 100)},
			{ID: "cross-half", Value: bank.Always(math.Sqrt(uM*uM+4*uz*uz-2*r*uM*uz) / 100)},
			{ID: "difference", Value: func(bank.Answers) float64 {
				if uM == 2*uz {
					return math.NaN()
				}
				return math.Abs(uM-2*uz) / 100
			}},
		},
		Range: [2]float64{0.015, 0.06},
	}
}

func sphereReport() bank.Question {
	return bank.Question{
		ID: "report", Kind: judge.KindChoice, Marks: 1,
	}
}
