package lab11

import (
	"embed"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 11.
var Lab = bank.Lab{
	ID: "11-two-tunnels", Title: "Two old drains", Minutes: 90,
	Asks:   "One drain or two? Nearly the same gravity lies above both.",
	Tracks: []bank.Track{bank.SurveyHire}, BuildsOn: []string{"10-buried-sphere"}, Graded: true,
	Sealed: bank.Weights{Times: 3, Constants: []string{"textbook", "place", "depth", "radius", "detection"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

func build(d *bank.Draw) bank.Sheet {
	yard := drawYard(d)
	return bank.Sheet{
		Recordings: []bank.Recording{yard.recording(), textbookProfile()},
		Questions: []bank.Question{
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

func drainPeak(d *bank.Draw) bank.Question {
	r, z := d.Between("drain radius", 0.6, 0.9, 0.05), d.Between("drain depth", 2.5, 4.5, 0.1)
	rho := d.Between("drain ground", 1800, 2100, 50)
	peak := lineGZ(math.Pi*r*r*-rho, 0, z)
	return bank.Question{
		ID: "line", Kind: judge.KindNumber, Marks: 2, Unit: "µGal", Tol: judge.Tolerance{Rel: 0.006},
		Fields: bank.Fields{"r": r, "rho": rho, "z": z},
		Solve:  bank.Always(peak),
		Slips: []bank.Slip{
			{ID: "depth-to-roof", Value: bank.Always(peak * z / (z - r))},
			{ID: "factor-2-too-few", Value: bank.Always(peak / 2)},
			{ID: "formula-ball", Value: bank.Always(gravlab.G * -4 * math.Pi / 3 * r * r * r * rho / (z * z))},
			{ID: "diameter", Value: bank.Always(4 * peak)},
			{ID: "sign-ignored", Value: bank.Always(-peak)},
			{ID: "square", Value: bank.Always(peak / z)},
			{ID: "no-pi", Value: bank.Always(peak / math.Pi)},
		},
		Range: [2]float64{-30e-8, -5e-8},
		// R = 10 m, 2800 kg/m³, axis at 50 m, G = 6.67e-11
		Source: bank.Computed(testdata.Checks, "buried-cylinder-infinite-01", lineGZ(math.Pi*10*10*-2800, 0, 50), 1e-12*2.3e-6),
	}
}

// compact is the depth of a compact body over the half-width of its low.
var compact = gravlab.Must(buried.DepthFromHalfWidth(buried.PointShape, 1))

func drainAxis(d *bank.Draw) bank.Question {
	left, half := d.Between("axis left", 6, 12, 0.1), d.Between("axis half", 2.6, 4.8, 0.1)
	angle := d.Between("axis angle", 50, 70, 5) // degrees between tape and drain
	sin, cos := math.Sincos(angle * math.Pi / 180)
	return bank.Question{
		ID: "axis", Kind: judge.KindNumber, Marks: 2, Unit: "m", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"left": left, "right": bank.Clean(left + 2*half), "angle": angle},
		Solve:  bank.Always(half * sin),
		Slips: []bank.Slip{
			{ID: "angle-ignored", Value: bank.Always(half)},
			{ID: "full-width", Value: bank.Always(2 * half * sin)},
			{ID: "compact-body", Value: bank.Always(compact * half * sin)},
			{ID: "cosine", Value: bank.Always(half * cos)},
			{ID: "divided", Value: bank.Always(half / sin)},
			{ID: "full-width-along", Value: bank.Always(2 * half)},
		},
		Degrees: func(bank.Answers) float64 { return half * math.Abs(math.Sin(angle)) },
		Range:   [2]float64{1.9, 4.6},
		Source: bank.Published(testdata.Examples, "sphere-05",
			// The half-width is found by bisection of the model's curve, not by the rule.
			2.5/gravlab.Must(buried.HalfWidth(buried.InfiniteCylinder{Z: 2.5, Radius: 0.5, Contrast: -1900}, r3.Vec{}, r3.Vec{X: 1})), 1e-9),
	}
}

// linedMass is the excess mass per length of an empty tunnel from 0 to a within a
// lining from a to b.
func linedMass(a, b, lining, host float64) float64 {
	return math.Pi * (a*a*-host + (b*b-a*a)*(lining-host))
}

func drainLined(d *bank.Draw) bank.Question {
	a, thick := d.Between("inner", 0.6, 0.85, 0.05), d.Between("lining", 0.2, 0.3, 0.05)
	z, host := d.Between("lined depth", 3, 4.5, 0.1), d.Between("lined ground", 1800, 2000, 50)
	b := bank.Clean(a + thick)
	const stone = 2400
	g := func(lambda float64) func(bank.Answers) float64 { return bank.Always(lineGZ(lambda, 0, z)) }
	return bank.Question{
		ID: "lined", Kind: judge.KindNumber, Marks: 2, Unit: "µGal", Tol: judge.Tolerance{Rel: 0.008},
		Fields: bank.Fields{"a": a, "b": b, "host": host, "z": z},
		Solve:  g(linedMass(a, b, stone, host)),
		Slips: []bank.Slip{
			{ID: "lining-left-out", Value: g(math.Pi * a * a * -host)},
			{ID: "whole-density", Value: g(math.Pi * (a*a*-host + (b*b-a*a)*stone))},
			{ID: "lining-as-empty", Value: g(math.Pi * b * b * -host)},
			{ID: "ring-alone", Value: g(math.Pi * (b*b - a*a) * (stone - host))},
			{ID: "thickness", Value: g(math.Pi * (a*a*-host + (b-a)*(b-a)*(stone-host)))},
			{ID: "factor-2", Value: g(linedMass(a, b, stone, host) / 2)},
		},
		Range: [2]float64{-25e-8, -2e-8},
		// 1.0, 1.25 m, axis at 8 m, 2400, 1950 kg/m³
		Source: bank.Computed(testdata.Checks, "buried-lined-01", lineGZ(linedMass(1, 1.25, 2400, 1950), 0, 8), 1e-12*9e-8),
	}
}

func drainFilling() bank.Question {
	return bank.Question{
		ID: "filling", Kind: judge.KindChoice, Marks: 1,
	}
}

func drainEnds(d *bank.Draw) bank.Question {
	length, z := d.Between("length", 6, 14, 1), d.Between("ends depth", 3, 5, 0.2)
	fraction := func(half float64) float64 { return half / math.Hypot(half, z) }
	return bank.Question{
		ID: "ends", Kind: judge.KindNumber, Marks: 2, Unit: "%", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"length": length, "z": z},
		Solve:  bank.Always(fraction(length / 2)),
		Slips: []bank.Slip{
			{ID: "whole-length", Value: bank.Always(fraction(length))},
			{ID: "finite-profile", Value: bank.Always(2 / math.Pi * math.Atan(length/2/z))},
			{ID: "missing", Value: bank.Always(1 - fraction(length/2))},
			{ID: "squared", Value: bank.Always(math.Pow(fraction(length/2), 2))},
			{ID: "quarter", Value: bank.Always(fraction(length / 4))},
		},
		Range: [2]float64{0.45, 0.95},
	}
}

// verticalPair is what a pair of sensors at the heights low and high above the
// ground reads over a long body, x across it: lower less upper over the distance.
func verticalPair(lambda, x, z, low, high float64) float64 {
	return (lineGZ(lambda, x, z+low) - lineGZ(lambda, x, z+high)) / (high - low)
}

func drainPair(d *bank.Draw) bank.Question {
	z, base := d.Between("pair depth", 2.2, 3, 0.1), d.Pick("baseline", 1.2, 1.3, 1.4, 1.5, 1.6)
	const low = 0.2
	high := bank.Clean(low + base)
	middle := z + (low+high)/2
	more := verticalPair(1, 0, z, low, high)*middle*middle/(2*gravlab.G) - 1
	ball := math.Pow(middle*middle/((z+low)*(z+high)), 2) - 1

	tunnel := buried.InfiniteCylinder{Z: 9, Radius: 1, Contrast: -2000}
	truth := gravlab.Must(buried.Pair{Separation: r3.Vec{Z: 1.5}}.True(tunnel, r3.Vec{X: 4}))
	return bank.Question{
		ID: "pair", Kind: judge.KindNumber, Marks: 3, Unit: "%", Tol: judge.Tolerance{Rel: 0.03},
		Fields: bank.Fields{"z": z, "high": high},
		Solve:  bank.Always(more),
		Slips: []bank.Slip{
			{ID: "lower-sensor", Value: bank.Always((z+low)/(z+high) - 1)},
			{ID: "ball", Value: bank.Always(ball)},
			{ID: "at-ground", Value: bank.Always(z*z/((z+low)*(z+high)) - 1)},
			{ID: "from-the-ground", Value: bank.Always(base * base / 4 / (z * high))},
		},
		Range: [2]float64{0.02, 0.08},
		// R = 1, axis at 9 m, -2000 kg/m³, x = 4, baseline 1.5: pair over true gradient
		Source: bank.Computed(testdata.Checks, "buried-gradiometer-05", verticalPair(tunnel.MassPerLength(), 4, 9, -0.75, 0.75)/truth, 1e-9),
	}
}

func drainEvenDepth(d *bank.Draw) bank.Question {
	ug, ut := d.Between("meter noise", 2, 5, 0.5), d.Between("pair noise", 5, 12, 1)
	z := ug * gravlab.MicroGal / (ut * gravlab.Eotvos)
	return bank.Question{
		ID: "even-depth", Kind: judge.KindNumber, Marks: 2, Unit: "m", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"ug": ug, "ut": ut},
		Solve:  bank.Always(z),
		Slips: []bank.Slip{
			{ID: "gradient-ball", Value: bank.Always(2 * z)},
			{ID: "upside-down", Value: bank.Always(1 / z)},
			{ID: "inverse-square", Value: bank.Always(math.Sqrt(z))},
			{ID: "units", Value: bank.Always(z / 10)},
			{ID: "half", Value: bank.Always(z / 2)},
		},
		Range: [2]float64{1.5, 11},
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

func drainScore(d *bank.Draw) bank.Question {
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
			x[i] = bank.Clean(math.Round(at*10) / 10)
		}
		calls = append(calls, x)
	}
	calls = append(calls, []float64{-4, -2, 0, 2, 4, 6, 8, 10}, append([]float64(nil), calls[1]...))
	one := func(f func(x []float64) float64) func([]float64) []float64 {
		return func(x []float64) []float64 { return []float64{f(x)} }
	}

	var grid []float64
	for i := range 13 {
		grid = append(grid, float64(2*i-12))
	}
	return bank.Question{
		ID: "score", Kind: judge.KindFunction, Marks: 4, Tol: judge.Tolerance{Rel: 3e-3},
		Fields: bank.Fields{"r": r, "rho": rho, "z": z, "sigma": sigma},
		Function: &bank.Function{
			Name: "score", Signature: judge.SliceToOne, Calls: calls,
			Right: one(func(x []float64) float64 { return planScore(x, lambda, z, u, true, true) }),
			Slips: []bank.FunctionSlip{
				{ID: "no-level", F: one(func(x []float64) float64 { return planScore(x, lambda, z, u, false, false) })},
				{ID: "slope-ignored", F: one(func(x []float64) float64 { return planScore(x, lambda, z, u, true, false) })},
				{ID: "root-ignored", F: one(func(x []float64) float64 { return math.Pow(planScore(x, lambda, z, u, true, true), 2) })},
				{ID: "plain-sum", F: one(func(x []float64) float64 {
					total := 0.0
					for i := range x {
						total += math.Abs(lineGZ(lambda, x[i], z)) / u
					}
					return total
				})},
				{ID: "per-station", F: one(func(x []float64) float64 { return planScore(x, lambda, z, u, true, true) / math.Sqrt(float64(len(x))) })},
				{ID: "half-signal", F: one(func(x []float64) float64 { return planScore(x, lambda, z, u, true, true) / 2 })},
			},
		},
		// R = 1.0, axis at 6 m, -1900, 13 stations, 2 m, 5 µGal
		Source: bank.Computed(testdata.Checks, "buried-detect-01", planScore(grid, math.Pi*-1900, 6, 5e-8, true, true), 1e-9),
	}
}

// rubbleCorrelation is that of the pull of stones strewn from top to bottom at two
// stations a distance apart. factor is 2; a slip makes it 1.
func rubbleCorrelation(top, bottom, apart, factor float64) float64 {
	f := func(z float64) float64 { return 1 / math.Hypot(factor*z, apart) }
	return (f(top) - f(bottom)) / (1/(factor*top) - 1/(factor*bottom))
}

func rocksCorrelation(d *bank.Draw) bank.Question {
	top, bottom := d.Between("stones top", 0.8, 1.5, 0.1), d.Between("stones bottom", 5, 9, 0.5)
	wanted := d.Pick("wanted correlation", 0.25, 0.3, 0.4)
	// apart is the distance at which a correlation that falls with it is down to a value.
	apart := func(value float64, correlation func(float64) float64) float64 {
		lo, hi := 0.0, 100.0
		for range 60 {
			if middle := (lo + hi) / 2; correlation(middle) > value {
				lo = middle
			} else {
				hi = middle
			}
		}
		return lo
	}
	exact := func(factor float64) func(float64) float64 {
		return func(l float64) float64 { return rubbleCorrelation(top, bottom, l, factor) }
	}
	return bank.Question{
		ID: "correlated", Kind: judge.KindNumber, Marks: 2, Unit: "m", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"top": top, "bottom": bottom, "wanted": wanted},
		Solve:  bank.Always(apart(wanted, exact(2))),
		Slips: []bank.Slip{
			{ID: "z-for-2z", Value: bank.Always(apart(wanted, exact(1)))},
			{ID: "no-lower-limit", Value: bank.Always(apart(wanted, func(l float64) float64 { return 2 * top / math.Hypot(2*top, l) }))},
			{ID: "squared", Value: bank.Always(apart(math.Sqrt(wanted), exact(2)))},
			{ID: "root", Value: bank.Always(apart(wanted*wanted, exact(2)))},
			{ID: "complement", Value: bank.Always(apart(1-wanted, exact(2)))},
		},
		Range: [2]float64{2, 8},
		// from 1 to 8 m, 2 m apart
		Source: bank.Computed(testdata.Checks, "buried-clutter-02", rubbleCorrelation(1, 8, 2, 2), 1e-12),
	}
}

func drainDetection(d *bank.Draw) bank.Question {
	stones := buried.Clutter{Number: d.Between("stones", 0.08, 0.14, 0.02), Mass: d.Between("stone mass", 400, 600, 50), Top: 1, Bottom: 5}
	noise, z := d.Between("plan noise", 1.5, 2.5, 0.5), d.Between("plan depth", 3, 4, 0.2)
	trials, n := int(d.Between("plan places", 6, 12, 1)), int(d.Pick("plan stations", 21, 25, 31))
	const falseAlarm, ground, spacing = 0.05, 1900.0, 1.0
	white := noise * gravlab.MicroGal
	plan := buried.Plan{Stations: gravlab.Must(buried.Line(n, spacing)), Noise: white, Clutter: &stones}
	chance := func(p buried.Plan, r float64, trials int) float64 {
		return gravlab.Must(p.Detect(buried.InfiniteCylinder{Z: z, Radius: r, Contrast: -ground}, falseAlarm, trials)).Probability
	}
	r := 0.3
	for chance(plan, r, trials) < 0.52 { // a drain that is neither lost nor plain to see
		r = bank.Clean(r + 0.02)
	}
	right := chance(plan, r, trials)
	clear, mixed := plan, plan
	clear.Clutter = nil
	mixed.Clutter, mixed.Noise = nil, math.Hypot(white, gravlab.Must(stones.RMS()))
	return bank.Question{
		ID: "detection", Kind: judge.KindNumber, Marks: 3, Unit: "%", Tol: judge.Tolerance{Abs: 0.01},
		Fields: bank.Fields{"n": n, "noise": noise, "number": stones.Number, "mass": stones.Mass, "trials": trials, "r": r, "z": z},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "stones-left-out", Value: bank.Always(chance(clear, r, trials))},
			{ID: "total", Value: bank.Always(chance(plan, r, 1))},
			{ID: "stones-as-noise", Value: bank.Always(chance(mixed, r, trials))},
			{ID: "missed", Value: bank.Always(1 - right)},
		},
		Range: [2]float64{0.49, 0.75},
	}
}

func drainTrials(d *bank.Draw) bank.Question {
	dip, n := d.Between("dip", 2.4, 2.7, 0.1), d.Between("places searched", 40, 80, 10)
	p := distuv.UnitNormal.Survival(dip)
	chance := func(p float64) float64 { return 1 - math.Pow(1-p, n) }
	return bank.Question{
		ID: "trials", Kind: judge.KindNumber, Marks: 2, Unit: "%", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"dip": dip, "n": n},
		Solve:  bank.Always(chance(p)),
		Slips: []bank.Slip{
			{ID: "one-place", Value: bank.Always(p)},
			{ID: "sum", Value: bank.Always(n * p)},
			{ID: "two-sided", Value: bank.Always(chance(2 * p))},
			{ID: "none", Value: bank.Always(1 - chance(p))},
			{ID: "above", Value: bank.Always(chance(1 - p))},
		},
		Range: [2]float64{0.1, 0.55},
	}
}

func drainNotSeen() bank.Question {
	return bank.Question{
		ID: "not-seen", Kind: judge.KindChoice, Marks: 1,
	}
}
