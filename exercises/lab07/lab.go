package lab07

import (
	"embed"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/equivalence"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 07.
var Lab = bank.Lab{
	ID: "07-in-the-lift", Title: "In the lift", Minutes: 85,
	Asks:   "You wake in a closed box and float. Are you falling, or is there nothing to fall towards?",
	Tracks: []bank.Track{bank.LaboratoryClass, bank.PlanetarySpace}, BuildsOn: []string{"03-mass-on-a-spring"}, Graded: true,
	Sealed: bank.Weights{Times: 2, Constants: []string{"storeys", "tower-1960"}},
	Words:  bank.ReadWords(files),
	Ride: bank.Ride{File: "own-ride.csv", After: "storeys",
		Does: "Lay the device flat on the floor of the lift, screen up, and start. Wait until the recording has begun, count to five, press the button of another floor, and let the lift come to rest for five seconds before you stop.",
		Cautions: []string{
			"Ride in an ordinary passenger lift, standing on its floor. Do not jump, do not block the lift, and keep out of the shaft and off the roof.",
			"Lay the device where no one steps on it or trips over it.",
			"If you let it fall to see it weightless, then by a hand's breadth, onto a cushion or a bed, with nobody in the way; never from a tower, a stairwell or a window.",
		}},
	Build: build,
}

const (
	liftGravity = 9.81    // m/s², as the prompts print it
	earthRadius = 6.371e6 // m, as the prompts print it
)

func build(d *bank.Draw) bank.Sheet {
	ride, clocks, phone := drawRide(d), drawClocks(d), drawPhone(d)
	return bank.Sheet{
		Recordings: []bank.Recording{ride.recording(), clocks.recording()},
		Questions: []bank.Question{
			liftTable(), liftScale(d), liftReading(d),
			ride.speedQuestion(), ride.heightQuestion(), ride.storeysQuestion(), phone.turnedQuestion(), phone.stretchedQuestion(d),
			liftFloating(), liftOrbit(d), liftBox(d), liftTwoZeros(), liftTilt(d),
			liftRedshift(d), clocks.question(), liftTower1960(), liftWhat1960(),
		},
	}
}

func liftTable() bank.Question {
	return bank.Question{
		ID: "table", Kind: judge.KindChoice, Marks: 1,
	}
}

func liftScale(d *bank.Draw) bank.Question {
	mass := d.Between("scale mass", 52, 94, 1)
	speed := d.Between("scale speed", 1.2, 2.4, 0.1)
	time := d.Between("scale time", 1.5, 2.5, 0.1)
	up := d.Pick("scale direction", 1, -1)
	a := up * speed / time
	weight := func(g, a float64) float64 { return gravlab.Must(equivalence.Weight(mass, g, a)) }
	return bank.Question{
		ID: "scale", Kind: judge.KindNumber, Marks: 2, Unit: "N", Tol: judge.Tolerance{Rel: 0.003},
		Fields: bank.Fields{"mass": mass, "speed": speed, "time": time, "change": up * speed, "up": up > 0},
		Solve:  bank.Always(weight(liftGravity, a)),
		Slips: []bank.Slip{
			{ID: "lift-sign", Value: bank.Always(weight(liftGravity, -a))},
			{ID: "weight-at-rest", Value: bank.Always(weight(liftGravity, 0))},
			{ID: "no-g", Value: bank.Always(mass * math.Abs(a))},
			{ID: "speed", Value: bank.Always(mass * (liftGravity + up*speed))},
			{ID: "time-ignored", Value: bank.Always(weight(liftGravity, up*speed*time))},
			{ID: "kilograms", Value: bank.Always(weight(liftGravity, a) / liftGravity)},
		},
		Range: [2]float64{350, 1150},
		// 75.0 kg, 0 to 30.0 m/s in 2.00 s upward, g = 9.80
		Source: bank.Published(testdata.Examples, "equiv-06", gravlab.Must(equivalence.Weight(75.0, 9.80, 30.0/2)), 0.5),
	}
}

// readingFrom is g plus the second difference of three heights, interval apart.
func readingFrom(h []float64, interval float64) float64 {
	return liftGravity + (h[0]-2*h[1]+h[2])/(interval*interval)
}

func liftReading(d *bank.Draw) bank.Question {
	interval := d.Pick("film interval", 0.1, 0.2, 0.25) // s
	lift := equivalence.Lift{Gravity: liftGravity, Peak: d.Between("film peak", 0.8, 1.4, 0.1), Pulse: d.Between("film pulse", 2, 3, 0.2)}
	var calls [][]float64
	r := d.Rand("film")
	for i := range 9 {
		// Up in the first calls, down in the last ones; a start from any height.
		sign, start := 1.0, math.Round(r.Float64()*200)/10
		if i > 4 {
			sign = -1
		}
		at := (0.1 + 0.8*r.Float64()) * lift.Pulse
		var h []float64
		for k := -1.0; k <= 1; k++ {
			h = append(h, bank.Clean(math.Round((start+sign*lift.Rise(at+k*interval))*1e5)/1e5))
		}
		calls = append(calls, h)
	}
	calls = append(calls, []float64{3.2, 3.2, 3.2}, calls[2])
	one := func(f func(h []float64) float64) func([]float64) []float64 {
		return func(h []float64) []float64 { return []float64{f(h)} }
	}
	acceleration := func(h []float64) float64 { return readingFrom(h, interval) - liftGravity }
	return bank.Question{
		ID: "reading", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 1.5e-3},
		Fields: bank.Fields{"interval": interval},
		Function: &bank.Function{
			Name: "reading", Signature: judge.SliceToOne, Calls: calls,
			Right: one(func(h []float64) float64 { return readingFrom(h, interval) }),
			Slips: []bank.FunctionSlip{
				{ID: "g-ignored", F: one(acceleration)},
				{ID: "g-sign", F: one(func(h []float64) float64 { return acceleration(h) - liftGravity })},
				{ID: "cabin-sign", F: one(func(h []float64) float64 { return liftGravity - acceleration(h) })},
				{ID: "not-squared", F: one(func(h []float64) float64 { return liftGravity + acceleration(h)*interval })},
				{ID: "speed", F: one(func(h []float64) float64 { return liftGravity + (h[2]-h[0])/(2*interval) })},
			},
		},
	}
}

func liftFloating() bank.Question {
	return bank.Question{
		ID: "floating", Kind: judge.KindChoice, Marks: 1,
	}
}

// orbitPeriod is 2 pi sqrt(r³/GM).
func orbitPeriod(gm, r float64) float64 { return 2 * math.Pi * math.Sqrt(r*r*r/gm) }

func liftOrbit(d *bank.Draw) bank.Question {
	height := d.Between("orbit height", 320, 880, 10) // km
	r := earthRadius + 1000*height
	return bank.Question{
		ID: "orbit", Kind: judge.KindNumber, Marks: 2, Unit: "min", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"height": height, "heightSI": 1000 * height},
		Solve:  bank.Always(orbitPeriod(earth.WGS84.GM, r)),
		Slips: []bank.Slip{
			{ID: "height", Value: bank.Always(orbitPeriod(earth.WGS84.GM, 1000*height))},
			{ID: "2pi-left-out", Value: bank.Always(orbitPeriod(earth.WGS84.GM, r) / (2 * math.Pi))},
			{ID: "at-ground", Value: bank.Always(orbitPeriod(earth.WGS84.GM, earthRadius))},
			{ID: "diameter", Value: bank.Always(orbitPeriod(earth.WGS84.GM, 2*r))},
			{ID: "square", Value: bank.Always(2 * math.Pi * r * math.Sqrt(1/earth.WGS84.GM))},
			{ID: "half", Value: bank.Always(orbitPeriod(earth.WGS84.GM, r) / 2)},
		},
		Range: [2]float64{88 * 60, 105 * 60},
		// 6.37e6 + 4.00e5 m, 5.96e24 kg, 6.67e-11
		Source: bank.Published(testdata.Examples, "equiv-21", orbitPeriod(6.67e-11*5.96e24, 6.37e6+4.00e5), 0.005e3),
	}
}

func liftBox(d *bank.Draw) bank.Question {
	height := d.Between("box height", 400, 800, 50) // km
	asd := d.Between("box noise", 1, 8, 0.5)        // µm/s²/√Hz
	tau := d.Between("box time", 20, 90, 10)        // s
	h := 1000 * height
	right := gravlab.Must(equivalence.SmallestBox(earth.WGS84.GM, earthRadius, h, asd*1e-6, tau))
	return bank.Question{
		ID: "box", Kind: judge.KindNumber, Marks: 3, Unit: "mm", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"height": height, "asd": asd, "tau": tau, "h": h},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "twice", Value: bank.Always(2 * right)},
			{ID: "one-sensor-noise", Value: bank.Always(right / math.Sqrt2)},
			{ID: "time-not-rooted", Value: bank.Always(right / math.Sqrt(tau))},
			{ID: "height", Value: bank.Always(right * math.Pow(h/(earthRadius+h), 3))},
			{ID: "not-averaged", Value: bank.Always(right * math.Sqrt(2*tau))},
			{ID: "added-noise", Value: bank.Always(right * math.Sqrt2)},
			{ID: "square", Value: bank.Always(right / (earthRadius + h))},
		},
		Range: [2]float64{0.02, 1},
		Source: bank.Computed(testdata.Checks, "equivalence-box-05",
			// The reference solves the exact difference; the linear one agrees to (L/r)².
			1e-9*math.Pow(6371000, 3)/(2*earth.WGS84.GM), 1e-12),
	}
}

func liftTwoZeros() bank.Question {
	return bank.Question{
		ID: "two-zeros", Kind: judge.KindChoice, Marks: 1,
	}
}

func liftTilt(d *bank.Draw) bank.Question {
	loss := d.Between("tilt loss", 1, 20, 0.5) // µGal
	a := loss * gravlab.MicroGal
	return bank.Question{
		ID: "tilt", Kind: judge.KindNumber, Marks: 2, Unit: "µrad", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"loss": loss},
		Solve:  bank.Always(gravlab.Must(equivalence.TiltFor(liftGravity, a))),
		Slips: []bank.Slip{
			{ID: "sine-for-cosine", Value: bank.Always(a / liftGravity)},
			{ID: "half", Value: bank.Always(math.Sqrt(a / liftGravity))},
			{ID: "degrees", Value: bank.Always(gravlab.Must(equivalence.TiltFor(liftGravity, a)) * 180 / math.Pi)},
			{ID: "no-root", Value: bank.Always(2 * a / liftGravity)},
			{ID: "times-2", Value: bank.Always(2 * gravlab.Must(equivalence.TiltFor(liftGravity, a)))},
		},
		Range:  [2]float64{4e-5, 2.1e-4},
		Source: bank.Computed(testdata.Checks, "equivalence-tilt-03", 9.80665*0.0035*0.0035/2, 1e-10),
	}
}

// clockShift is g h/c²; clockHeight turns it round.
func clockShift(g, h, c float64) float64         { return g * h / (c * c) }
func clockHeight(fraction, g, c float64) float64 { return fraction * c * c / g }

func liftRedshift(d *bank.Draw) bank.Question {
	h := d.Between("tower", 18, 64, 0.5)
	shift := clockShift(liftGravity, h, gravlab.SpeedOfLight)
	return bank.Question{
		ID: "redshift", Kind: judge.KindNumber, Marks: 2, Unit: "1", Tol: judge.Tolerance{Rel: 0.004},
		Fields: bank.Fields{"h": h},
		Solve:  bank.Always(shift),
		Slips: []bank.Slip{
			{ID: "c-not-squared", Value: bank.Always(shift * gravlab.SpeedOfLight)},
			{ID: "up-and-down", Value: bank.Always(2 * shift)},
			{ID: "speed-of-fall", Value: bank.Always(math.Sqrt(2*liftGravity*h) / gravlab.SpeedOfLight)},
			{ID: "half", Value: bank.Always(shift / 2)},
			{ID: "g-ignored", Value: bank.Always(shift / liftGravity)},
		},
		Range: [2]float64{1.9e-15, 7.1e-15},
		// 22.5 m, one way
		Source: bank.Published(testdata.Values, "poundrebka_pred", clockShift(9.81, 22.5, gravlab.SpeedOfLight), 0.005e-15),
	}
}

// liftTower1960 compares the measured shift with the predicted one.
func liftTower1960() bank.Question {
	const measured, uMeasured, height = 2.57e-15, 0.26e-15, 22.5
	predicted := clockShift(liftGravity, height, gravlab.SpeedOfLight)
	return bank.Question{
		ID: "tower-1960", Kind: judge.KindMeasured, Marks: 2, Unit: "1", Tol: judge.Tolerance{Abs: 0.008},
		Solve: bank.Always(measured / predicted),
		U:     func() float64 { return uMeasured / predicted },
		Slips: []bank.Slip{
			{ID: "both-ways", Value: bank.Always(measured / (2 * predicted))},
			{ID: "upside-down", Value: bank.Always(predicted / measured)},
			{ID: "measured-doubled", Value: bank.Always(2 * measured / predicted)},
			{ID: "excess", Value: bank.Always(measured/predicted - 1)},
		},
		USlips: []bank.Slip{
			{ID: "shift-uncertainty", Value: bank.Always(uMeasured)},
			{ID: "in-the-last-digits", Value: bank.Always(0.26)},
		},
		Range:  [2]float64{1.03, 1.06},
		Source: bank.Published(testdata.Values, "poundrebka_pred", clockShift(gravlab.StandardGravity, height, gravlab.SpeedOfLight), 0.0052e-15),
	}
}

func liftWhat1960() bank.Question {
	return bank.Question{
		ID: "what-1960", Kind: judge.KindChoice, Marks: 1,
	}
}
