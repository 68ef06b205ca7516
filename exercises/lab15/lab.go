package lab15

import (
	"embed"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/pendulum"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 15.
var Lab = bank.Lab{
	ID: "15-how-much-is-g", Title: "How much is g?", Minutes: 90,
	Tracks: []bank.Track{bank.LaboratoryClass}, BuildsOn: []string{"00-first-steps"}, Graded: true,
	Asks:   "You have written 9.81 a hundred times. What are the next five digits where you are, and how do you get them?",
	Sealed: bank.Weights{Times: 2, Constants: []string{"kater-1818"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

func build(d *bank.Draw) bank.Sheet {
	drops, turned := drawDrops(d), drawTurned(d)
	viscosity := d.Between("viscosity", 1.42, 1.62, 0.01) * 1e-5 // m²/s
	return bank.Sheet{
		Recordings: []bank.Recording{drops.recording(), turned.recording()},
		Questions: []bank.Question{
			lateRelease(d), uByHand(d),
			drops.gravity(), transferDown(d), freeGradient(),
			largestAmplitude(d), airFunction(d, viscosity), airOfBall(d, viscosity), swayingBracket(d),
			midway(), symmetricInAir(), turned.period(), turned.gravity(), centreOfMass(d),
			placeOfG(d), kater1818(), potsdam1906(),
		},
	}
}

// fallTime is how long a body falls from rest by h, s.
func fallTime(h, g float64) float64 { return math.Sqrt(2 * h / g) }

// lateBy is the delay that two falls from rest with one clock have in common.
func lateBy(h1, t1, h2, t2 float64) float64 {
	root := (math.Sqrt(h2) - math.Sqrt(h1)) / (t2 - t1) // √(g/2)
	return t1 - math.Sqrt(h1)/root
}

func lateRelease(d *bank.Draw) bank.Question {
	h1, h2 := d.Between("short fall", 0.4, 0.6, 0.01), d.Between("long fall", 1.5, 1.9, 0.01)
	delay := d.Between("delay", 9, 20, 0.25) * 1e-3
	// Near the equator or far from it: the handbook's 9.81 would hide the mistake.
	g := d.Pick("gravity of the falls", 9.788, 9.826) + d.Between("gravity of the place", -0.008, 0.004, 0.001)
	clock := func(h float64) float64 { return bank.RoundTo(1e5*(fallTime(h, g)+delay), 6) / 1e5 }
	t1, t2 := math.Round(1e5*clock(h1))/1e5, math.Round(1e5*clock(h2))/1e5
	late := lateBy(h1, t1, h2, t2)
	simple := 2 * h2 / (t2 * t2)
	printed := testdata.Find(testdata.Examples, "fall-01") // 1.0000 m in 0.45173 s
	return bank.Question{
		ID: "late", Kind: judge.KindNumber, Marks: 2, Unit: "ms", Tol: judge.Tolerance{Abs: 0.05e-3},
		Fields: bank.Fields{"h1": h1, "h2": h2, "t1": t1, "t2": t2},
		Solve:  bank.Always(late),
		Slips: []bank.Slip{
			{ID: "handbook", Value: bank.Always(t1 - fallTime(h1, 9.81))},
			{ID: "handbook-long", Value: bank.Always(t2 - fallTime(h2, 9.81))},
			{ID: "difference-as-fall", Value: bank.Always(t1 - math.Sqrt(h1/(h2-h1))*(t2-t1))},
			{ID: "from-long-fall", Value: bank.Always(t1 - fallTime(h1, simple))},
			{ID: "sign", Value: bank.Always(-late)},
		},
		Range:  [2]float64{8e-3, 21e-3},
		Source: bank.Published(testdata.Examples, "fall-01", 2*1.0000/math.Pow(0.45173-lateBy(0.25, fallTime(0.25, printed.Float("published_answer")), 1, fallTime(1, printed.Float("published_answer"))), 2), 0.00005),
	}
}

func uByHand(d *bank.Draw) bank.Question {
	h := d.Between("height by hand", 1.6, 2.6, 0.1)
	press := d.Between("press", 0.02, 0.06, 0.005)
	n := d.Pick("falls by hand", 10, 12, 15, 16, 20, 25)
	t := fallTime(h, 9.81)
	u := 2 * math.Sqrt2 * press / t / math.Sqrt(n)
	return bank.Question{
		ID: "u-hand", Kind: judge.KindNumber, Marks: 2, Unit: "%", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"h": h, "press": press, "n": n},
		Solve:  bank.Always(u),
		Slips: []bank.Slip{
			{ID: "not-doubled", Value: bank.Always(u / 2)},
			{ID: "one-press", Value: bank.Always(u / math.Sqrt2)},
			{ID: "one-fall", Value: bank.Always(u * math.Sqrt(n))},
			{ID: "n-not-root", Value: bank.Always(u / math.Sqrt(n))},
			{ID: "presses-added", Value: bank.Always(u * math.Sqrt2)},
			{ID: "half-time", Value: bank.Always(u * t / fallTime(h/2, 9.81))},
		},
		Range: [2]float64{0.01, 0.1},
	}
}

func transferDown(d *bank.Draw) bank.Question {
	start := d.Between("start height", 1.1, 1.5, 0.01)
	fall := d.Between("fall", 0.18, 0.3, 0.01)
	gradient := d.Between("gradient of the pier", 2.6, 3.4, 0.02) * 1e-6
	at := func(depth float64) func(bank.Answers) float64 { return bank.Always(gradient * (start - depth)) }
	return bank.Question{
		ID: "transfer", Kind: judge.KindNumber, Marks: 2, Unit: "µGal", Tol: judge.Tolerance{Rel: 0.006},
		Fields: bank.Fields{"start": start, "fall": fall, "perCentimetre": gradient / gravlab.MicroGal / 100},
		Solve:  at(2 * fall / 7),
		Slips: []bank.Slip{
			{ID: "from-start", Value: at(0)},
			{ID: "from-middle", Value: at(fall / 2)},
			{ID: "from-end", Value: at(fall)},
			{ID: "wrong-end", Value: at(5 * fall / 7)},
			{ID: "upward", Value: bank.Always(-gradient * (start - 2*fall/7))},
			{ID: "added", Value: at(-2 * fall / 7)},
		},
		Range:  [2]float64{250e-8, 520e-8},
		Source: bank.Source{Published: true, Check: &bank.SourceCheck{Table: testdata.Examples, ID: "drop-01", Got: gravlab.Must(earth.DropReference([]float64{0, 1, 2})), Want: 7.0 / 24, Within: 1e-12}},
	}
}

func freeGradient() bank.Question {
	return bank.Question{ID: "gradient", Kind: judge.KindChoice, Marks: 1}
}

// amplitudeFor is the amplitude at which gravity by the formula of small swings
// is too small by the fraction e.
func amplitudeFor(e float64) float64 {
	lo, hi := 0.0, 1.0
	for range 60 {
		mid := (lo + hi) / 2
		if r := gravlab.Must(pendulum.PeriodRatio(mid)); 1-1/(r*r) < e {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

func largestAmplitude(d *bank.Draw) bank.Question {
	low := d.Between("amplitude budget", 10, 90, 1)
	e := low * gravlab.MilliGal / 9.81
	a := amplitudeFor(e)
	return bank.Question{
		ID: "amplitude", Kind: judge.KindNumber, Marks: 2, Unit: "°", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"low": low},
		Solve:  bank.Always(a),
		Slips: []bank.Slip{
			{ID: "period-only", Value: bank.Always(math.Sqrt(16 * e))},
			{ID: "full-width", Value: bank.Always(2 * a)},
			{ID: "halved", Value: bank.Always(math.Sqrt(4 * e))},
			{ID: "root-not-taken", Value: bank.Always(8 * e)},
			{ID: "sixteenth-missing", Value: bank.Always(math.Sqrt(e / 2))},
		},
		Range: [2]float64{0.4 * gravlab.Degree, 2 * gravlab.Degree},
		Source: bank.Published(testdata.Examples, "pendulum-13",
			2*math.Pi*math.Sqrt(1/9.81)/math.Sqrt(1-(1-math.Pow(gravlab.Must(pendulum.PeriodRatio(20*gravlab.Degree)), -2))), 0.5e-12),
	}
}

func airFunction(d *bank.Draw, nu float64) bank.Question {
	random := d.Rand("air calls")
	var calls [][]float64
	for range 8 {
		calls = append(calls, []float64{math.Round(10+random.Float64()*40) / 1000, math.Round(8+random.Float64()*32) / 10})
	}
	calls = append(calls, calls[2])
	one := func(f func(a, t float64) float64) func([]float64) []float64 {
		return func(x []float64) []float64 { return []float64{f(x[0], x[1])} }
	}
	k := func(a, t float64) float64 { return gravlab.Must(pendulum.SphereAirInertia(a, t, nu)) }
	const inch = 0.0254
	printed := gravlab.Must(pendulum.SphereAirInertia(2.143/2*inch, 2, 0.116*0.116*inch*inch))
	return bank.Question{
		ID: "entrained", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 2e-3},
		Fields: bank.Fields{"nu": nu * 1e5},
		Function: &bank.Function{
			Name: "entrained", Signature: judge.TwoToOne, Calls: calls,
			Right: one(k),
			Slips: []bank.FunctionSlip{
				{ID: "diameter", F: one(func(a, t float64) float64 { return k(2*a, t) })},
				{ID: "half-swing", F: one(func(a, t float64) float64 { return k(a, t/2) })},
				{ID: "double-swing", F: one(func(a, t float64) float64 { return k(a, 2*t) })},
				{ID: "no-half", F: one(func(a, t float64) float64 { return k(a, t) - 0.5 })},
				{ID: "no-root", F: one(func(a, t float64) float64 { return 0.5 + 9.0/4*nu*t/math.Pi/a })},
				{ID: "no-9-4", F: one(func(a, t float64) float64 { return 0.5 + (k(a, t)-0.5)*4/9 })},
				{ID: "buoyancy-added", F: one(func(a, t float64) float64 { return 1 + k(a, t) })},
			},
		},
		Source: bank.Published(testdata.Examples, "air-01", printed, 0.0005),
	}
}

func airOfBall(d *bank.Draw, nu float64) bank.Question {
	radius := d.Between("ball radius", 12, 30, 0.5) * 1e-3
	metal := d.Pick("ball density", 2700, 7200, 7850, 8400, 8900)
	period := d.Between("ball period", 1.6, 3.2, 0.1)
	air := d.Between("air density", 1.16, 1.26, 0.005)
	k := gravlab.Must(pendulum.SphereAirInertia(radius, period, nu))
	low := func(k float64) float64 { return 9.81 * (air / metal) * (1 + k) }
	printed := func(swing float64) float64 {
		return gravlab.Must(pendulum.SphereAirInertia(2.143/2*0.0254, 2*swing, math.Pow(0.116*0.0254, 2)))
	}
	return bank.Question{
		ID: "air", Kind: judge.KindNumber, Marks: 2, Unit: "mGal", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"millimetres": radius * 1e3, "metal": metal, "period": period, "air": air, "nu": nu * 1e5},
		Solve:  bank.Always(low(k)),
		Slips: []bank.Slip{
			{ID: "buoyancy-only", Value: bank.Always(low(0))},
			{ID: "ideal-fluid", Value: bank.Always(low(0.5))},
			{ID: "inertia-only", Value: bank.Always(low(k - 1))},
			{ID: "period-only", Value: bank.Always(low(k) / 2)},
			{ID: "diameter", Value: bank.Always(low(0.5 + (k-0.5)/2))},
			{ID: "subtracted", Value: bank.Always(low(-k))},
		},
		Range:  [2]float64{150e-5, 1000e-5},
		Source: bank.Published(testdata.Examples, "air-02", printed(1.721), 0.0005),
	}
}

func swayingBracket(d *bank.Draw) bank.Question {
	mass := d.Between("pendulum on the bracket", 2, 6, 0.2)
	length := d.Between("length on the bracket", 0.7, 0.92, 0.02)
	force := d.Pick("test force", 5, 10, 15, 20)
	low := d.Between("sway budget", 3, 12, 0.5)
	e := low * gravlab.MilliGal / 9.81
	weight := mass * 9.81
	gives := e * length * force / weight
	return bank.Question{
		ID: "sway", Kind: judge.KindNumber, Marks: 2, Unit: "µm", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"mass": mass, "length": length, "force": force, "low": low},
		Solve:  bank.Always(gives),
		Slips: []bank.Slip{
			{ID: "period-only", Value: bank.Always(2 * gives)},
			{ID: "under-the-weight", Value: bank.Always(e * length)},
			{ID: "mass-for-weight", Value: bank.Always(gives * 9.81)},
			{ID: "length-ignored", Value: bank.Always(gives / length)},
			{ID: "stiffness-inverted", Value: bank.Always(e * length * weight / force)},
		},
		Range: [2]float64{0.1e-6, 30e-6},
	}
}

func midway() bank.Question {
	return bank.Question{ID: "midway", Kind: judge.KindChoice, Marks: 1}
}

func symmetricInAir() bank.Question {
	return bank.Question{ID: "symmetric", Kind: judge.KindChoice, Marks: 1}
}

func centreOfMass(d *bank.Draw) bank.Question {
	edges := d.Between("edges of the old one", 0.95, 1.05, 0.005)
	far := edges * d.Between("fraction of the far edge", 0.66, 0.76, 0.01)
	far = math.Round(1000*far) / 1000
	u := d.Between("u of the balance point", 0.5, 2, 0.1) * 1e-3
	period := 2 * math.Pi * math.Sqrt(edges/9.81)
	low := d.Between("balance budget", 3, 15, 0.5)
	e := low * gravlab.MilliGal / 9.81
	apart := 2*far - edges
	// g is uncertain by (T1²-T2²)/T² · edges/(h1-h2)² of u(h1-h2) = 2 u.
	most := period * e * apart * apart / (2 * u * edges)
	return bank.Question{
		ID: "balance", Kind: judge.KindNumber, Marks: 2, Unit: "ms", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"edges": edges, "far": far, "u": u * 1e3, "low": low},
		Solve:  bank.Always(most),
		Slips: []bank.Slip{
			{ID: "one-distance", Value: bank.Always(2 * most)},
			{ID: "not-squared", Value: bank.Always(most * edges / apart)},
			{ID: "fraction", Value: bank.Always(most / period)},
			{ID: "edges-for-difference", Value: bank.Always(most * edges * edges / (apart * apart))},
		},
		Range: [2]float64{1e-5, 0.02},
	}
}

// katerInches is the length of the seconds pendulum in London that Kater gave
// after a correction, katerFirst the one of 1818.
const katerInches, katerFirst = 39.13929, 39.13860

func kater1818() bank.Question {
	lat := 51.52 * gravlab.Degree
	normal := func(lat float64) float64 { return gravlab.Must(earth.GRS80.NormalGravity(lat, 0)) }
	g := func(inches float64) float64 { return math.Pi * math.Pi * inches * 0.0254 }
	below := func(inches float64) func(bank.Answers) float64 {
		return bank.Always(normal(lat) - g(inches))
	}
	return bank.Question{
		ID: "kater-1818", Kind: judge.KindNumber, Marks: 2, Unit: "mGal", Tol: judge.Tolerance{Abs: 0.5 * gravlab.MilliGal},
		Solve: below(katerInches),
		Slips: []bank.Slip{
			{ID: "first-value", Value: below(katerFirst)},
			{ID: "second-there-and-back", Value: bank.Always(normal(lat) - 4*g(katerInches))},
			{ID: "reversed", Value: bank.Always(g(katerInches) - normal(lat))},
			{ID: "standard-gravity", Value: bank.Always(9.80665 - g(katerInches))},
			{ID: "at-45-degrees", Value: bank.Always(normal(45*gravlab.Degree) - g(katerInches))},
		},
		Degrees: bank.Always(normal(math.Asin(math.Sin(51.52))) - g(katerInches)),
		Range:   [2]float64{20e-5, 40e-5},
		Source:  bank.Published(testdata.Examples, "pendulum-01", 4*g(0.75/0.0254)/(1.7357*1.7357), 0.00005),
	}
}

func potsdam1906() bank.Question {
	return bank.Question{ID: "potsdam", Kind: judge.KindChoice, Marks: 1}
}

func placeOfG(d *bank.Draw) bank.Question {
	degrees := d.Pick("hemisphere", -1, 1) * d.Between("latitude", 12, 64, 0.01)
	h := d.Between("height of the place", 150, 900, 1)
	normal := func(lat, h float64) float64 { return gravlab.Must(earth.GRS80.NormalGravity(lat, h)) }
	lat := degrees * gravlab.Degree
	disturbance := d.Pick("disturbance side", -1, 1) * d.Between("disturbance", 15, 60, 0.1) * gravlab.MilliGal
	g := math.Round(1e6*(normal(lat, h)+disturbance)) / 1e6
	free := 0.3086 * gravlab.MilliGal * h
	right := g - normal(lat, h)
	return bank.Question{
		ID: "place", Kind: judge.KindNumber, Marks: 2, Unit: "mGal", Tol: judge.Tolerance{Abs: 0.4 * gravlab.MilliGal},
		Fields: bank.Fields{"lat": math.Abs(degrees), "south": degrees < 0, "h": h, "g": g},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "height-ignored", Value: bank.Always(g - normal(lat, 0))},
			{ID: "height-wrong-way", Value: bank.Always(g - normal(lat, 0) - free)},
			{ID: "reversed", Value: bank.Always(-right)},
			{ID: "slab", Value: bank.Always(right - gravlab.Must(earth.Slab(2670, h)))},
			{ID: "standard-gravity", Value: bank.Always(g + free - 9.80665)},
		},
		Degrees: bank.Always(g - normal(math.Asin(math.Sin(math.Abs(degrees))), h)),
		Range:   [2]float64{-61e-5, 61e-5},
		Source:  bank.Published(testdata.Values, "grs80_gamma45", normal(45*gravlab.Degree, 0), 0.5e-9),
	}
}
