package lab14

import (
	"embed"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 14.
var Lab = bank.Lab{
	ID: "14-whats-in-the-truck", Title: "What's in the truck", Minutes: 85,
	Asks:   "A truck rolls past two sensors. What is in it, and what can they never tell you?",
	Tracks: []bank.Track{bank.SurveyHire}, BuildsOn: []string{"10-buried-sphere"}, Graded: true,
	Sealed: bank.Weights{Times: 2, Constants: []string{"apart"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

func build(d *bank.Draw) bank.Sheet {
	pass, empties := drawPass(d), drawEmpties(d)
	return bank.Sheet{
		Recordings: []bank.Recording{pass.recording(), empties.recording()},
		Questions: []bank.Question{
			truckClosest(d), truckTwoLoads(d), truckRow(d), truckDetermined(),
			pass.speed(), pass.apart(), pass.cargo(),
			truckHeight(d), truckDensity(d), truckResolvable(d),
			truckTilt(d), truckPerson(d),
			empties.rate(), truckBaseRate(d), truckThreshold(d), truckWording(),
		},
	}
}

// acrossPull is the horizontal part, across the lane, of the pull of a mass y
// away and h higher than the sensor.
func acrossPull(m, y, h float64) float64 {
	r := math.Hypot(y, h)
	return gravlab.G * m * y / (r * r * r)
}

func truckClosest(d *bank.Draw) bank.Question {
	m, y, h := d.Between("closest mass", 4, 9, 0.5), d.Between("closest distance", 2.2, 3.4, 0.1), d.Between("closest height", 1.0, 1.5, 0.1)
	pull := acrossPull(1000*m, y, h)
	return bank.Question{
		ID: "closest", Kind: judge.KindNumber, Marks: 2, Unit: "nm/s²", Tol: judge.Tolerance{Rel: 0.006},
		Fields: bank.Fields{"m": m, "y": y, "h": h, "mSI": 1000 * m},
		Solve:  bank.Always(pull),
		Slips: []bank.Slip{
			{ID: "whole-pull", Value: bank.Always(gravlab.G * 1000 * m / (y*y + h*h))},
			{ID: "height-left-out", Value: bank.Always(gravlab.G * 1000 * m / (y * y))},
			{ID: "side-of-vehicle", Value: bank.Always(acrossPull(1000*m, y-1.2, h))},
			{ID: "vertical", Value: bank.Always(gravlab.G * 1000 * m * h / math.Pow(y*y+h*h, 1.5))},
			{ID: "not-cubed", Value: bank.Always(gravlab.G * 1000 * m * y / (y*y + h*h))},
			{ID: "straight-sum", Value: bank.Always(gravlab.G * 1000 * m * y / math.Pow(y+h, 3))},
		},
		Range: [2]float64{1e-8, 1.2e-7},
		// 370 t, 150 kg, 20 m, G = 6.67e-11
		Source: bank.Published(testdata.Examples, "newton-09", 150*acrossPull(370000, 20, 0)*6.67e-11/gravlab.G, 0.005e-6),
	}
}

// alongPull is the pull along the lane of loads, on a sensor y to the side on
// the level of the road, at the time t.
func alongPull(loads []buried.Load, speed, y, t float64) float64 {
	return gravlab.Must(buried.Pass{Loads: loads, Speed: speed}.Attraction(r3.Vec{Y: y}, t)).X
}

func truckTwoLoads(d *bank.Draw) bank.Question {
	front := buried.Load{X: d.Between("two front place", -1.9, -1.3, 0.1), Mass: d.Between("two front mass", 1600, 2400, 100), Height: 1.1}
	rear := buried.Load{X: d.Between("two rear place", 1.5, 2.2, 0.1), Mass: d.Between("two rear mass", 4000, 6000, 100), Height: 1.5}
	v, y, t := d.Pick("two speed", 6.3, 7.2, 8.1), d.Between("two side", 2, 3, 0.1), d.Between("two time", 0.2, 0.4, 0.1)
	loads := []buried.Load{front, rear}
	// The pull rises and falls: at some moments it is what it was at time 0, or what it
	// would be driving backwards.
	alike := func() bool {
		now := alongPull(loads, v/3.6, y, t)
		return math.Abs(alongPull(loads, v/3.6, y, 0)/now-1) < 0.02 || math.Abs(alongPull(loads, -v/3.6, y, t)/now-1) < 0.02
	}
	for t < 0.6 && alike() {
		t = bank.Clean(t + 0.1)
	}
	right := alongPull(loads, v/3.6, y, t)
	flat := []buried.Load{{X: front.X, Mass: front.Mass}, {X: rear.X, Mass: rear.Mass}}
	total := front.Mass + rear.Mass
	middle := []buried.Load{{X: (front.X*front.Mass + rear.X*rear.Mass) / total, Mass: total, Height: (1.1*front.Mass + 1.5*rear.Mass) / total}}
	return bank.Question{
		ID: "two-loads", Kind: judge.KindNumber, Marks: 3, Unit: "nm/s²", Tol: judge.Tolerance{Rel: 0.008},
		Fields: bank.Fields{"v": v, "mass": front.Mass, "x": front.X, "mass2": rear.Mass, "x2": rear.X, "y": y, "t": t},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "km-h-for-m-s", Value: bank.Always(alongPull(loads, v, y, t))},
			{ID: "no-lighter-load", Value: bank.Always(alongPull(loads[1:], v/3.6, y, t))},
			{ID: "heights-left-out", Value: bank.Always(alongPull(flat, v/3.6, y, t))},
			{ID: "centre-of-mass", Value: bank.Always(alongPull(middle, v/3.6, y, t))},
			{ID: "time-0", Value: bank.Always(alongPull(loads, v/3.6, y, 0))},
			{ID: "backwards", Value: bank.Always(alongPull(loads, -v/3.6, y, t))},
			{ID: "no-lane", Value: bank.Always(alongPull(loads, v/3.6, 0, t))},
			{ID: "across", Value: bank.Always(gravlab.Must(buried.Pass{Loads: loads, Speed: v / 3.6}.Attraction(r3.Vec{Y: y}, t)).Y)},
			{ID: "sizes", Value: bank.Always(alongPull(loads[1:], v/3.6, y, t) - alongPull(loads[:1], v/3.6, y, t))},
		},
		Range:  [2]float64{2e-9, 4e-8},
		Source: bank.Computed(testdata.Checks, "buried-truck-01", alongPull([]buried.Load{{X: -1.4, Mass: 1900, Height: 1.1}, {X: 1.9, Mass: 5200, Height: 1.5}}, 1.7, 2.2, 0.6), 1e-12*1.3e-8),
	}
}

// designRow is the pull of a load over a sensor in the lane, and its derivatives
// by the load's place and mass: nm/s², nm/s² per m, nm/s² per t. a holds place X
// (m), mass (t), speed (m/s), time (s) and the height d of the load over the
// sensor (m).
func designRow(a []float64) []float64 {
	x, m, d := a[0]+a[2]*a[3], a[1], a[4]
	r2 := x*x + d*d
	pull := gravlab.G * 1e12 * m * d / (r2 * math.Sqrt(r2))
	return []float64{pull, -3 * pull * x / r2, pull / m}
}

func truckRow(d *bank.Draw) bank.Question {
	random := d.Rand("row calls")
	var calls [][]float64
	for range 8 {
		at := func(lo, hi float64) float64 { return bank.Clean(math.Round((lo+(hi-lo)*random.Float64())*10) / 10) }
		calls = append(calls, []float64{at(-8, -3), at(2, 6), at(1, 2), at(1.5, 4.5), at(2.2, 3.2)})
	}
	calls = append(calls, []float64{-4, 3, 1.5, 3.2, 2.5}, append([]float64(nil), calls[2]...))
	change := func(f func(a, row []float64)) func([]float64) []float64 {
		return func(a []float64) []float64 { row := designRow(a); f(a, row); return row }
	}

	// The parts along and across are as the ways: x along, up across.
	x, up := 1.7*0.6, math.Hypot(1.8, 0.8+0.4)
	return bank.Question{
		ID: "row", Kind: judge.KindFunction, Marks: 4, Tol: judge.Tolerance{Rel: 3e-3},
		Function: &bank.Function{
			Name: "row", Signature: judge.SliceToMany, Calls: calls,
			Right: designRow,
			Slips: []bank.FunctionSlip{
				{ID: "factor-3-ignored", F: change(func(_, row []float64) { row[1] /= 3 })},
				{ID: "place-sign", F: change(func(_, row []float64) { row[1] = -row[1] })},
				{ID: "pull", F: change(func(_, row []float64) { row[2] = row[0] })},
				{ID: "kilograms", F: change(func(_, row []float64) {
					for i := range row {
						row[i] /= 1000
					}
				})},
				{ID: "time-0", F: func(a []float64) []float64 { return designRow([]float64{a[0], a[1], 0, a[3], a[4]}) }},
				{ID: "per-kilogram", F: change(func(_, row []float64) { row[2] /= 1000 })},
				{ID: "metres-per-second", F: change(func(_, row []float64) { row[0], row[1], row[2] = row[0]/1e9, row[1]/1e9, row[2]/1e9 })},
			},
		},
		// one load of 800 kg, 0.8 m up, v = 1.7, sensor at (0, 1.8, 0.4), t = 0.6: x component
		Source: bank.Computed(testdata.Checks, "buried-truck-03", designRow([]float64{0, 0.8, 1.7, 0.6, up})[0]*1e-9*x/up, 1e-12*4e-9),
	}
}

func truckDetermined() bank.Question {
	return bank.Question{
		ID: "determined", Kind: judge.KindChoice, Marks: 1,
	}
}

func truckHeight(d *bank.Draw) bank.Question {
	uFit, wanted, dist := d.Between("u fit", 3.5, 5, 0.5), d.Between("wanted u", 6, 9, 0.5), d.Between("height over sensor", 2.2, 3, 0.1)
	left := math.Sqrt(wanted*wanted - uFit*uFit)
	height := func(percent float64) func(bank.Answers) float64 { return bank.Always(dist * percent / 100) }
	return bank.Question{
		ID: "u-height", Kind: judge.KindNumber, Marks: 2, Unit: "cm", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"uFit": uFit, "dist": dist, "wanted": wanted},
		Solve:  height(left / 2),
		Slips: []bank.Slip{
			{ID: "distance-exponent", Value: height(left)},
			{ID: "plain-difference", Value: height((wanted - uFit) / 2)},
			{ID: "fit-left-out", Value: height(wanted / 2)},
			{ID: "exponent-inside", Value: height(left / math.Sqrt2)},
			{ID: "multiplied", Value: height(2 * left)},
			{ID: "added", Value: height(math.Hypot(wanted, uFit) / 2)},
		},
		Range: [2]float64{0.03, 0.13},
	}
}

func truckDensity(d *bank.Draw) bank.Question {
	m := d.Between("crate mass", 2, 5, 0.1)
	l, w, h := d.Between("crate length", 1.1, 1.4, 0.05), d.Between("crate width", 0.8, 1, 0.05), d.Between("crate height", 0.7, 0.95, 0.05)
	v := l * w * h
	return bank.Question{
		ID: "density", Kind: judge.KindNumber, Marks: 2, Unit: "kg/m³", Tol: judge.Tolerance{Rel: 0.008},
		Fields: bank.Fields{"m": m, "l": l, "w": w, "h": h, "mSI": 1000 * m},
		Solve:  bank.Always(1000 * m / v),
		Slips: []bank.Slip{
			{ID: "loading-space", Value: bank.Always(1000 * m / (6 * 2.4 * 2.5))},
			{ID: "ball-for-crate", Value: bank.Always(1000 * m / (math.Pi / 6 * h * h * h))},
			{ID: "base", Value: bank.Always(1000 * m / (l * w))},
			{ID: "ellipsoid", Value: bank.Always(1000 * m / (math.Pi / 6 * v))},
			{ID: "upside-down", Value: bank.Always(v / (1000 * m))},
		},
		Range: [2]float64{1400, 9000},
	}
}

// resolvableMass is the standard uncertainty of a mass that passes over a sensor
// with white noise (amplitude density, one-sided) at the distance d.
func resolvableMass(density, d, v float64) float64 {
	return d * d / gravlab.G * density * math.Sqrt(4*v/(3*math.Pi*d))
}

func truckResolvable(d *bank.Draw) bank.Question {
	density, dist, v := d.Between("sensor density", 2, 6, 0.5), d.Between("sensor distance", 2.2, 3, 0.1), d.Pick("sensor speed", 3.6, 6.3, 7.2)
	n := density * 1e-9
	right := resolvableMass(n, dist, v/3.6)
	return bank.Question{
		ID: "resolvable", Kind: judge.KindNumber, Marks: 3, Unit: "kg", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"density": density, "dist": dist, "v": v, "n": n},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "km-h-for-m-s", Value: bank.Always(resolvableMass(n, dist, v))},
			{ID: "two-sided", Value: bank.Always(right * math.Sqrt2)},
			{ID: "not-squared", Value: bank.Always(right / dist)},
			{ID: "box-pulse", Value: bank.Always(right * math.Sqrt(3*math.Pi/8))},
			{ID: "upside-down", Value: bank.Always(right * dist / (v / 3.6))},
			{ID: "no-time", Value: bank.Always(right / math.Sqrt(v/3.6/dist))},
			{ID: "no-root", Value: bank.Always(right * math.Sqrt(4*v/3.6/(3*math.Pi*dist)))},
		},
		Range: [2]float64{40, 500},
	}
}

func truckTilt(d *bank.Draw) bank.Question {
	poisson, share := d.Pick("poisson", 0.25, 0.3, 0.35), d.Pick("tilt share", 5, 10, 20, 25) // 1, %
	const g = 9.81
	young := g * g * (1 - poisson*poisson) / (math.Pi * gravlab.G * share / 100) // Pa
	m, r := d.Between("tilt mass", 12, 24, 1), d.Between("tilt distance", 3, 5, 0.5)
	return bank.Question{
		ID: "tilt", Kind: judge.KindNumber, Marks: 3, Unit: "GPa", Tol: judge.Tolerance{Rel: 0.012},
		Fields: bank.Fields{"m": m, "r": r, "poisson": poisson, "share": share, "shareSI": share / 100},
		Solve:  bank.Always(young),
		Slips: []bank.Slip{
			{ID: "no-g", Value: bank.Always(young / g)},
			{ID: "degrees", Value: bank.Always(young * 180 / math.Pi)},
			{ID: "poisson-ignored", Value: bank.Always(young / (1 - poisson*poisson))},
			{ID: "equal", Value: bank.Always(young * share / 100)},
			{ID: "one-minus-nu", Value: bank.Always(young / (1 + poisson))},
			{ID: "no-pi", Value: bank.Always(young * math.Pi)},
			{ID: "distance-kept", Value: bank.Always(young / (r * r))},
		},
		Range: [2]float64{1.4e12, 9e12},
	}
}

// lineOfSightGradient is the gradient of the pull of a point along the line to it.
func lineOfSightGradient(m, r float64) float64 { return 2 * gravlab.G * m / (r * r * r) }

func truckPerson(d *bank.Draw) bank.Question {
	m, r := d.Between("person", 60, 95, 5), d.Pick("person distance", 1.5, 1.6, 1.7, 1.8, 1.9, 2.1, 2.2, 2.3, 2.4, 2.5)
	g := lineOfSightGradient(m, r)
	return bank.Question{
		ID: "person", Kind: judge.KindNumber, Marks: 2, Unit: "E", Tol: judge.Tolerance{Rel: 0.006},
		Fields: bank.Fields{"m": m, "r": r},
		Solve:  bank.Always(g),
		Slips: []bank.Slip{
			{ID: "half", Value: bank.Always(g / 2)},
			{ID: "square-for-cube", Value: bank.Always(g * r)},
			{ID: "gradient-across", Value: bank.Always(-g / 2)},
			{ID: "pull", Value: bank.Always(gravlab.G * m / (r * r))},
			{ID: "three", Value: bank.Always(1.5 * g)},
		},
		Range: [2]float64{0.4e-9, 4e-9},
		// a ball of 1200 kg/m³ and 0.25 m radius, 1.7 m away
		Source: bank.Computed(testdata.Checks, "buried-sphere-T-09", lineOfSightGradient(1200*4*math.Pi/3*math.Pow(0.25, 3), 1.7), 1e-12*2e-9),
	}
}

// trueAlarms is the probability that an alarm is true: prior, detection and false
// alarm probabilities by Bayes' rule.
func trueAlarms(prior, pd, pf float64) float64 {
	return prior * pd / (prior*pd + (1-prior)*pf)
}

func truckBaseRate(d *bank.Draw) bank.Question {
	n, pd, pf := d.Pick("one in", 200, 250, 400, 500, 800, 1000, 1500, 2000), d.Pick("pd", 90, 92, 95), d.Pick("pf", 1, 2, 3)
	prior := 1 / n
	right := trueAlarms(prior, pd/100, pf/100)
	return bank.Question{
		ID: "base-rate", Kind: judge.KindNumber, Marks: 3, Unit: "%", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{
			"n": n, "pd": pd, "pf": pf, "loaded": 1e5 * prior, "ringLoaded": 1e3 * prior * pd,
			"ringEmpty": 1e3 * (1 - prior) * pf,
		},
		Solve: bank.Always(right),
		Slips: []bank.Slip{
			{ID: "ring-if-loaded", Value: bank.Always(pd / 100)},
			{ID: "no-ring-if-empty", Value: bank.Always(1 - pf/100)},
			{ID: "all-vehicles", Value: bank.Always(prior * pd / 100)},
			{ID: "true-over-false", Value: bank.Always(prior * pd / 100 / ((1 - prior) * pf / 100))},
			{ID: "all-rings", Value: bank.Always(prior*pd/100 + (1-prior)*pf/100)},
			{ID: "wrongly", Value: bank.Always(1 - right)},
			{ID: "no-prior", Value: bank.Always(pd / (pd + pf))},
		},
		Range: [2]float64{0.01, 0.35},
	}
}

func truckThreshold(d *bank.Draw) bank.Question {
	n, pd, wanted := d.Pick("threshold one in", 500, 1000, 2000, 5000), d.Pick("threshold pd", 80, 85, 90), d.Pick("wanted share", 20, 25, 30, 40)
	prior := 1 / n
	pf := func(trueAlarms float64) float64 {
		return prior * pd / 100 * (1 - trueAlarms) / trueAlarms / (1 - prior)
	}
	s := wanted / 100
	return bank.Question{
		ID: "false-alarms", Kind: judge.KindNumber, Marks: 3, Unit: "%", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"n": n, "pd": pd, "wanted": wanted},
		Solve:  bank.Always(pf(s)),
		Slips: []bank.Slip{
			{ID: "reversed", Value: bank.Always(pf(1 - s))},
			{ID: "one-half", Value: bank.Always(pf(0.5))},
			{ID: "true-over-false", Value: bank.Always(prior * pd / 100 / s / (1 - prior))},
			{ID: "false-fraction", Value: bank.Always(1 - s)},
			{ID: "no-base-rate", Value: bank.Always(pd / 100 * (1 - s) / s)},
			{ID: "no-detection", Value: bank.Always(pf(s) / (pd / 100))},
			{ID: "one-minus", Value: bank.Always(prior * pd / 100 * (1 - s) / (1 - prior))},
		},
		Range: [2]float64{1e-4, 0.01},
	}
}

func truckWording() bank.Question {
	return bank.Question{
		ID: "wording", Kind: judge.KindChoice, Marks: 1,
	}
}
