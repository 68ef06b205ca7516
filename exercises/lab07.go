package exercises

import (
	"fmt"
	"math"

	"gravity.example/gravlab"
	"gravity.example/gravlab/equivalence"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

var inTheLift = Lab{
	ID: "07-in-the-lift", Title: "In the lift", Minutes: 80,
	Tracks: []Track{LaboratoryClass, PlanetarySpace}, BuildsOn: []string{"03-mass-on-a-spring"}, Graded: true,
	Build: buildInTheLift,
}

const (
	liftGravity = 9.81           // m/s², as the prompts print it
	earthGM     = 3.986004418e14 // m³/s², WGS84
	earthRadius = 6.371e6        // m, as the prompts print it
)

func buildInTheLift(d *Draw) Paper {
	ride, clocks := drawRide(d), drawClocks(d)
	return Paper{
		Recordings: []Recording{ride.recording(), clocks.recording()},
		Questions: []Question{
			liftTable(), liftScale(d), liftReading(d),
			ride.speedQuestion(), ride.heightQuestion(), ride.storeysQuestion(),
			liftFloating(), liftOrbit(d), liftBox(d), liftTilt(d),
			liftRedshift(d), clocks.question(), liftTower1960(), liftWhat1960(),
		},
	}
}

func liftTable() Question {
	return Question{
		ID: "table", Kind: judge.Choice, Marks: 1, Title: "An accelerometer on a table",
		Prompt: "An accelerometer lies on a table in the basement laboratory, and everything is at rest. It reads $9.81\\ \\mathrm{m/s^2}$, *upward*. Why upward?",
		Options: []judge.Option{
			{Letter: "a", Text: "the sign is a convention of the maker: gravity points down, and the instrument shows it reversed", Idea: "Signs can be chosen, but this one is not free: an accelerometer pushed forward reads forward. With the same sign the push of the table is up."},
			{Letter: "b", Text: "it reads what its support does to it for each kilogram, and the table pushes up; of gravity itself it feels nothing", Right: true},
			{Letter: "c", Text: "gravity and the push of the table both act on it, and it reads their sum", Idea: "That sum is zero: it is what makes the instrument rest. The reading is not zero."},
			{Letter: "d", Text: "the table turns with the Earth, and the reading is the centrifugal acceleration", Idea: "That is 0.03 m/s² at most, three hundred times too small."},
		},
		Worked:    "%%\nsheet.Choice(\"table\", \"b\") // f = a - g: with a = 0 it is minus g, which points up",
		Reasoning: "The mass in the instrument falls with everything else unless something holds it; what is measured is the hold. As a formula $\\vec f = \\vec a - \\vec g$: at rest $\\vec f = -\\vec g$, up; in free fall $\\vec a = \\vec g$ and $\\vec f = 0$.",
		Source:    Source{Text: "common practice, no source: the specific force of inertial navigation"},
	}
}

func liftScale(d *Draw) Question {
	mass := d.Between("scale mass", 52, 94, 1)
	speed := d.Between("scale speed", 1.2, 2.4, 0.1)
	time := d.Between("scale time", 1.5, 2.5, 0.1)
	up := d.Pick("scale direction", 1, -1)
	a := up * speed / time
	weight := func(g, a float64) float64 { return gravlab.Must(equivalence.Weight(mass, g, a)) }
	way, why := "upward", "The floor accelerates upward, so it must push harder than at rest: a is positive."
	if up < 0 {
		way, why = "downward", "The floor gives way, so it pushes less than at rest: a is negative."
	}
	jump := testdata.Find("worked_examples.csv", "equiv-06") // 75.0 kg, 0 to 30.0 m/s in 2.00 s upward, g = 9.80
	return Question{
		ID: "scale", Kind: judge.Number, Marks: 2, Title: "A scale in a lift",
		Prompt: fmt.Sprintf("A student of %g kg stands on a scale in a lift that is at rest. The lift sets off %s and reaches %.1f m/s within %.1f s, at a steady rate. What does the scale read meanwhile, in newton? Take $g = 9.81\\ \\mathrm{m/s^2}$.", mass, way, speed, time),
		Unit:   "N", Tol: judge.Tolerance{Rel: 0.003, Why: "g of 9.80 to 9.81 m/s² and three digits carried"},
		Solve: valueOf(weight(liftGravity, a)),
		Slips: []Slip{
			{Name: "the lift's acceleration with the wrong sign", Value: valueOf(weight(liftGravity, -a)), Fix: why},
			{Name: "the weight at rest", Value: valueOf(weight(liftGravity, 0)), Fix: "That would be right at a steady speed. Here the speed changes."},
			{Name: "the lift's acceleration alone", Value: valueOf(mass * math.Abs(a)), Fix: "The scale still holds the student up against gravity as well."},
			{Name: "the speed taken for the acceleration", Value: valueOf(mass * (liftGravity + up*speed)), Fix: "An acceleration is a change of speed over the time it takes."},
		},
		Range:     [2]float64{350, 1150},
		Hints:     [2]string{"Two forces act on the student: the weight m g down and the push of the scale up.", "Their difference makes the acceleration: N − m g = m a, with a positive upward."},
		Worked:    fmt.Sprintf("%%%%\n// The push of the scale less the weight gives the acceleration: N - m g = m a.\na := %s / %s // m/s², upward positive\nsheet.Number(\"scale\", %s*(9.81+a), \"N\")", lit(up*speed), lit(time), lit(mass)),
		Reasoning: "$N - mg = ma$ with $a$ positive upward, so $N = m(g+a)$. It is the push for each kilogram, $g+a$, that an accelerometer on the floor would read.",
		Source: Source{Text: jump["source"], Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "equiv-06", Got: gravlab.Must(equivalence.Weight(75.0, 9.80, 30.0/2)), Want: jump.Float("published_answer"), Within: 0.5}},
	}
}

// readingFrom is g plus the second difference of three heights, interval apart.
func readingFrom(h []float64, interval float64) float64 {
	return liftGravity + (h[0]-2*h[1]+h[2])/(interval*interval)
}

func liftReading(d *Draw) Question {
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
			h = append(h, clean(math.Round((start+sign*lift.Rise(at+k*interval))*1e5)/1e5))
		}
		calls = append(calls, h)
	}
	calls = append(calls, []float64{3.2, 3.2, 3.2}, calls[2])
	one := func(f func(h []float64) float64) func([]float64) []float64 {
		return func(h []float64) []float64 { return []float64{f(h)} }
	}
	acceleration := func(h []float64) float64 { return readingFrom(h, interval) - liftGravity }
	return Question{
		ID: "reading", Kind: judge.Function, Marks: 3, Title: "From heights to a reading",
		Prompt: fmt.Sprintf("A camera in the lift shaft takes a picture of the cabin every %g s. Write a function `reading` that takes three successive heights of the cabin (a slice `x` of three numbers, in m, upward positive) and returns what an accelerometer on the cabin's floor reads at the middle picture, in $\\mathrm{m/s^2}$, upward positive. Take $g = 9.81\\ \\mathrm{m/s^2}$.", interval),
		Tol:    judge.Tolerance{Rel: 1.5e-3, Why: "g of 9.80 to 9.81 m/s²"},
		Function: &Function{
			Name: "reading", Signature: judge.SliceToOne, Calls: calls,
			Right: one(func(h []float64) float64 { return readingFrom(h, interval) }),
			Slips: []FunctionSlip{
				{Name: "the acceleration of the cabin for the reading", F: one(acceleration), Fix: "At rest the accelerometer does not read 0: what holds it up then?"},
				{Name: "g with the wrong sign", F: one(func(h []float64) float64 { return acceleration(h) - liftGravity }), Fix: "Gravity is not added to the acceleration: f = a − g as vectors, and g points down."},
				{Name: "the cabin's acceleration with the wrong sign", F: one(func(h []float64) float64 { return liftGravity - acceleration(h) }), Fix: "A cabin that speeds up upward makes everything in it heavier."},
				{Name: "the interval not squared", F: one(func(h []float64) float64 { return liftGravity + acceleration(h)*interval }), Fix: "A difference of differences is divided by the interval twice."},
				{Name: "the speed for the acceleration", F: one(func(h []float64) float64 { return liftGravity + (h[2]-h[0])/(2*interval) }), Fix: "(x₂ − x₀)/(2Δt) is the speed. The acceleration is the difference of two speeds."},
			},
		},
		Hints:     [2]string{"The acceleration is the change of the speed: two speeds from three heights.", "Acceleration: (x₀ − 2x₁ + x₂)/Δt². The reading is what holds things up as well: which sign has g?"},
		Worked:    fmt.Sprintf("// The second difference is the cabin's acceleration a; the floor also holds the\n// instrument up against gravity: f = g + a, upward positive.\nfunc reading(x []float64) float64 {\n\tdt := %s // s\n\ta := (x[0] - 2*x[1] + x[2]) / (dt * dt)\n\treturn 9.81 + a\n}\n\n%%%%\nsheet.Function(\"reading\", reading)", lit(interval)),
		Reasoning: "Between the first and the second picture the mean speed is $(x_1-x_0)/\\Delta t$, between the second and the third $(x_2-x_1)/\\Delta t$. Their difference over $\\Delta t$ is the acceleration $a$; the reading is $a$ less gravity, and gravity is $-g$ upward.",
		Source:    Source{Text: "common practice, no source: the second difference, and f = a − g; package equivalence checks its lift against quadrature"},
	}
}

func liftFloating() Question {
	return Question{
		ID: "floating", Kind: judge.Choice, Marks: 1, Title: "Why they float",
		Prompt: "A space station circles 400 km above the ground. Gravity there is $8.7\\ \\mathrm{m/s^2}$. What does an accelerometer fixed to its wall read, and why do the people in it float? (Leave the thin air and the size of the station out of it.)",
		Options: []judge.Option{
			{Letter: "a", Text: "0: the station is too far away for gravity to count", Idea: "At 400 km gravity is 89 % of that on the ground: without it the station would fly off in a straight line."},
			{Letter: "b", Text: "8.7 m/s², towards the Earth: that is gravity there", Idea: "An accelerometer does not feel gravity; it reads the push of what holds it. What pushes the station?"},
			{Letter: "c", Text: "0: gravity is balanced by a centrifugal force, so that nothing accelerates", Idea: "Seen from outside nothing balances: the station does accelerate, at 8.7 m/s² towards the Earth, or it would not go round."},
			{Letter: "d", Text: "0: station, instrument and people all fall with the same acceleration, and nothing pushes any of them", Right: true},
		},
		Worked:    "%%\nsheet.Choice(\"floating\", \"d\") // free fall: a = g, so f = a - g = 0; falling sideways fast enough to miss the ground",
		Reasoning: "In orbit $\\vec a = \\vec g$ and $\\vec f = \\vec a - \\vec g = 0$, in the station as in a lift whose cable broke: all bodies fall alike (lab 08 asks how well that is known).",
		Source:    Source{Text: "common practice, no source"},
	}
}

// orbitPeriod is 2 pi sqrt(r³/GM).
func orbitPeriod(gm, r float64) float64 { return 2 * math.Pi * math.Sqrt(r*r*r/gm) }

func liftOrbit(d *Draw) Question {
	height := d.Between("orbit height", 320, 880, 10) // km
	r := earthRadius + 1000*height
	station := testdata.Find("worked_examples.csv", "equiv-21") // 6.37e6 + 4.00e5 m, 5.96e24 kg, 6.67e-11
	return Question{
		ID: "orbit", Kind: judge.Number, Marks: 2, Title: "Falling round the Earth",
		Prompt: fmt.Sprintf("The longest fall is an orbit. How long does a satellite take for one turn on a circle %g km above a spherical Earth? Take $GM = 3.986\\times 10^{14}\\ \\mathrm{m^3/s^2}$ and a radius of 6371 km.", height),
		Unit:   "min", Tol: judge.Tolerance{Rel: 0.005, Why: "three digits carried; GM and radius as books round them"},
		Solve: valueOf(orbitPeriod(earthGM, r)),
		Slips: []Slip{
			{Name: "the height taken for the distance from the centre", Value: valueOf(orbitPeriod(earthGM, 1000*height)), Fix: "The orbit goes round the centre of the Earth: r = R + h."},
			{Name: "2π left out", Value: valueOf(orbitPeriod(earthGM, r) / (2 * math.Pi)), Fix: "√(r³/GM) is the time of one radian; a turn has 2π."},
			{Name: "the turn at ground level", Value: valueOf(orbitPeriod(earthGM, earthRadius)), Fix: "The height has been left out: r = R + h."},
			{Name: "the diameter for the radius", Value: valueOf(orbitPeriod(earthGM, 2*r)), Fix: "r is from the centre of the Earth to the satellite."},
		},
		Range:     [2]float64{88 * 60, 105 * 60},
		Hints:     [2]string{"On a circle the acceleration is v²/r, and only gravity makes it: v²/r = GM/r².", "One turn is 2πr at that speed: T = 2π √(r³/GM)."},
		Worked:    fmt.Sprintf("%%%%\n// Gravity alone bends the path: v²/r = GM/r². One turn is 2 pi r long.\nr := 6.371e6 + %s // m, from the centre\nv := math.Sqrt(3.986e14 / r)\nsheet.Number(\"orbit\", 2*math.Pi*r/v/60, \"min\")", lit(1000*height)),
		Reasoning: "$v^2/r = GM/r^2$ gives $v = \\sqrt{GM/r}$ and $T = 2\\pi r/v = 2\\pi\\sqrt{r^3/GM}$. The satellite's own mass cancels: that is the equivalence again.",
		Source: Source{Text: station["source"], Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "equiv-21", Got: orbitPeriod(6.67e-11*5.96e24, 6.37e6+4.00e5), Want: station.Float("published_answer"), Within: 0.005e3}},
	}
}

func liftBox(d *Draw) Question {
	height := d.Between("box height", 400, 800, 50) // km
	asd := d.Between("box noise", 1, 8, 0.5)        // µm/s²/√Hz
	tau := d.Between("box time", 20, 90, 10)        // s
	h := 1000 * height
	right := gravlab.Must(equivalence.SmallestBox(earthGM, earthRadius, h, asd*1e-6, tau))
	exact := testdata.Find("model_checks.csv", "equivalence-box-05")
	return Question{
		ID: "box", Kind: judge.Number, Marks: 3, Title: "How big must the box be?",
		Prompt: fmt.Sprintf("A rocket has thrown a closed box straight up; the engine is off, the box does not turn, one end is down, and for the whole of the measurement it is near the top of its path, %g km above the ground. Two accelerometers, one at either end, each have white noise of $%g\\ \\mathrm{\\text{µ}m/s^2/\\sqrt{Hz}}$; their readings are averaged for %g s and subtracted. "+
			"How long must the box be for the difference of gravity between its ends to equal *one* standard uncertainty of that difference? An average over the time $\\tau$ of white noise with the amplitude density $n$ has the standard uncertainty $n/\\sqrt{2\\tau}$. Take $GM = 3.986\\times 10^{14}\\ \\mathrm{m^3/s^2}$ and a radius of 6371 km.", height, asd, tau),
		Unit: "mm", Tol: judge.Tolerance{Rel: 0.01, Why: "three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "a factor 2 too long", Value: valueOf(2 * right), Fix: "The derivative of GM/r² by r has a factor 2.\nOr was the length counted from the middle of the box?"},
			{Name: "the noise of one sensor", Value: valueOf(right / math.Sqrt2), Fix: "Both sensors are noisy: the uncertainties of a difference add in quadrature."},
			{Name: "the averaging time not rooted", Value: valueOf(right / math.Sqrt(tau)), Fix: "Averaging white noise helps with the square root of the time only."},
			{Name: "the height taken for the distance from the centre", Value: valueOf(right * math.Pow(h/(earthRadius+h), 3)), Fix: "r is from the centre of the Earth: r = R + h, to the third power."},
			{Name: "averaging left out", Value: valueOf(right * math.Sqrt(2*tau)), Fix: "The amplitude density is not the uncertainty: first average, n/√(2τ)."},
		},
		Range:     [2]float64{0.02, 1},
		Hints:     [2]string{"By how much does gravity change over a length L? Differentiate GM/r².", "2GM L/r³ = √2 · n/√(2τ), solved for L."},
		Worked:    fmt.Sprintf("%%%%\n// Over the length L gravity changes by 2GM L/r³. Two sensors, each known to\n// n/sqrt(2 tau) after averaging, are subtracted: sqrt(2) times that.\nr := 6.371e6 + %s // m\nn, tau := %s*1e-6, %s // m/s²/√Hz, s\nu := math.Sqrt2 * n / math.Sqrt(2*tau)\nsheet.Number(\"box\", 1000*u*r*r*r/(2*3.986e14), \"mm\")", lit(h), lit(asd), lit(tau)),
		Reasoning: "The box falls, so gravity is gone from it, but not the *difference* of gravity between its ends, $2GML/r^3$. The difference of two averages has the uncertainty $\\sqrt2\\,n/\\sqrt{2\\tau} = n/\\sqrt\\tau$. Whether a box can tell gravity from acceleration depends on its size, on the time and on the noise, all three. (In an *orbit* with one end always down the box turns once a revolution, and the ends then differ by $\\omega^2L = GML/r^3$ more.)",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			// The reference solves the exact difference; the linear one agrees to (L/r)².
			Table: "model_checks.csv", ID: "equivalence-box-05", Got: 1e-9 * math.Pow(6371000, 3) / (2 * earthGM), Want: exact.Float("value"), Within: 1e-12}},
	}
}

func liftTilt(d *Draw) Question {
	loss := d.Between("tilt loss", 1, 20, 0.5) // µGal
	a := loss * gravlab.MicroGal
	exact := testdata.Find("model_checks.csv", "equivalence-tilt-03")
	return Question{
		ID: "tilt", Kind: judge.Number, Marks: 2, Title: "A table that is not level",
		Prompt: fmt.Sprintf("A gravity meter reads the part of the specific force along its axis. By what angle may the axis lean from the vertical if the reading is to lose no more than %g µGal? ($1\\ \\mathrm{\\text{µ}Gal} = 10^{-8}\\ \\mathrm{m/s^2}$; take $g = 9.81\\ \\mathrm{m/s^2}$.)", loss),
		Unit:   "µrad", Tol: judge.Tolerance{Rel: 0.005, Why: "g of 9.80 to 9.81 m/s² and three digits carried"},
		Solve: valueOf(gravlab.Must(equivalence.TiltFor(liftGravity, a))),
		Slips: []Slip{
			{Name: "the sine for the cosine", Value: valueOf(a / liftGravity), Fix: "A vertical sensor loses g (1 − cos ε), which starts with the square of the tilt."},
			{Name: "the factor 2 left out", Value: valueOf(math.Sqrt(a / liftGravity)), Fix: "1 − cos ε is ε²/2 for small angles."},
			{Name: "degrees for radians", Value: valueOf(gravlab.Must(equivalence.TiltFor(liftGravity, a)) * 180 / math.Pi), Fix: "1 − cos ε ≈ ε²/2 gives ε in radians. Leave it so, or give it in with the unit deg."},
		},
		Range:     [2]float64{4e-5, 2.1e-4},
		Hints:     [2]string{"Along the leaning axis only g cos ε is left.", "1 − cos ε ≈ ε²/2: solve g ε²/2 for ε. (math.Acos loses its digits here.)"},
		Worked:    fmt.Sprintf("%%%%\n// Along the axis g cos(eps) is left, so the loss is g (1 - cos(eps)) = g eps²/2.\n// Solved this way round no digits are lost, as they would be in math.Acos.\nloss := %s * gravlab.MicroGal // m/s²\nsheet.Number(\"tilt\", 1e6*math.Sqrt(2*loss/9.81), \"µrad\")", lit(loss)),
		Reasoning: "The loss is $g(1-\\cos\\varepsilon) \\approx g\\varepsilon^2/2$, so $\\varepsilon = \\sqrt{2\\,\\Delta g/g}$: a level good to some tens of microradians is enough for a microgal, as long as the axis stands near the vertical to begin with. A *horizontal* sensor loses nothing and gains $g\\varepsilon$: it would need a thousand times better.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "equivalence-tilt-03", Got: 9.80665 * 0.0035 * 0.0035 / 2, Want: exact.Float("value"), Within: 1e-10}},
	}
}

// clockShift is g h/c²; clockHeight turns it round.
func clockShift(g, h, c float64) float64         { return g * h / (c * c) }
func clockHeight(fraction, g, c float64) float64 { return fraction * c * c / g }

func liftRedshift(d *Draw) Question {
	h := d.Between("tower", 18, 64, 0.5)
	shift := clockShift(liftGravity, h, gravlab.SpeedOfLight)
	tower := testdata.Find("values.csv", "poundrebka_pred") // 22.5 m, one way
	return Question{
		ID: "redshift", Kind: judge.Number, Marks: 2, Title: "Up the clock tower",
		Prompt: fmt.Sprintf("The clock tower of Skelmire College is %g m high. Light of a sharp line is sent from the ground to the top. By what fraction of its frequency does it arrive too low? Take $g = 9.81\\ \\mathrm{m/s^2}$ and $c = 2.998\\times 10^8\\ \\mathrm{m/s}$.", h),
		Unit:   "1", Tol: judge.Tolerance{Rel: 0.004, Why: "g of 9.80 to 9.81 m/s², c of 2.998e8 to 3e8 m/s and three digits carried"},
		Solve: valueOf(shift),
		Slips: []Slip{
			{Name: "c not squared", Value: valueOf(shift * gravlab.SpeedOfLight), Fix: "Compare energies: m g h with m c². The fraction has no unit; yours has."},
			{Name: "up and down for one way", Value: valueOf(2 * shift), Fix: "The light goes up only. (Comparing up with down doubles the effect.)"},
			{Name: "the speed of a fall over c", Value: valueOf(math.Sqrt(2*liftGravity*h) / gravlab.SpeedOfLight), Fix: "In the lift's view the floor is faster by g times the *time of the light*, h/c, not by the speed of a fall."},
		},
		Range:     [2]float64{1.9e-15, 7.1e-15},
		Hints:     [2]string{"Let a lift accelerate at g instead: while the light climbs, for the time h/c, the top gains the speed g h/c.", "The Doppler shift of that speed is g h/c²."},
		Worked:    fmt.Sprintf("%%%%\n// While the light climbs for h/c, a lift that accelerates at g gains the speed\n// g h/c; its Doppler shift is that over c.\nh := %s // m\nsheet.Number(\"redshift\", 9.81*h/math.Pow(2.998e8, 2), \"1\")", lit(h)),
		Reasoning: "In a lift that accelerates at $g$ far from any mass the light needs $h/c$ to the top; meanwhile the top has gained the speed $gh/c$ and sees the light shifted by $gh/c^2$. If a lift at rest on the ground cannot be told from it, the same must happen in the tower.",
		Source: Source{Text: "R. V. Pound, G. A. Rebka, Apparent Weight of Photons, Phys. Rev. Lett. 4 (1960) 337: 2.46e-15 for 22.5 m, one way", Published: true, Check: &SourceCheck{
			Table: "values.csv", ID: "poundrebka_pred", Got: clockShift(9.81, 22.5, gravlab.SpeedOfLight), Want: tower.Float("value"), Within: 0.005e-15}},
	}
}

// liftTower1960 compares the measured shift with the predicted one.
func liftTower1960() Question {
	const measured, uMeasured, height = 2.57e-15, 0.26e-15, 22.5
	predicted := clockShift(liftGravity, height, gravlab.SpeedOfLight)
	row := testdata.Find("values.csv", "poundrebka_pred")
	return Question{
		ID: "tower-1960", Kind: judge.Measured, Marks: 2, Title: "Measured over predicted, 1960",
		Prompt: "In 1960 R. V. Pound and G. A. Rebka compared gamma rays that went up and down a tower at Harvard, 22.5 m high. They found a shift of $2.57(26)\\times 10^{-15}$ for one way. What is the ratio of the measured shift to the predicted one, with its standard uncertainty? Take $g = 9.81\\ \\mathrm{m/s^2}$.",
		Unit:   "1", Tol: judge.Tolerance{Abs: 0.008, Why: "a prediction of 2.45 to 2.46e-15, as c and g are rounded, and two decimals"},
		Solve: valueOf(measured / predicted),
		U:     func() float64 { return uMeasured / predicted },
		Slips: []Slip{
			{Name: "the prediction for both ways", Value: valueOf(measured / (2 * predicted)), Fix: "The measured number is for one way, so the prediction must be too."},
			{Name: "predicted over measured", Value: valueOf(predicted / measured), Fix: "The question asks for measured over predicted."},
		},
		USlips: []Slip{
			{Name: "the uncertainty of the shift given for that of the ratio", Value: valueOf(uMeasured), Fix: "The ratio is a number near 1: divide the uncertainty by the prediction as well."},
		},
		Range:     [2]float64{1.03, 1.06},
		Hints:     [2]string{"First the prediction, g h/c², for one way.", "The prediction is exact here, so value and uncertainty are both divided by it."},
		Worked:    "%%\n// The prediction is known far better than the measurement: divide both value\n// and uncertainty by it.\npredicted := gravlab.Must(equivalence.Redshift(9.81, 22.5))\nsheet.Measured(\"tower-1960\", 2.57e-15/predicted, 0.26e-15/predicted, \"1\")",
		Reasoning: "$gh/c^2 = 2.456\\times10^{-15}$, so the ratio is 1.05(11): half a standard uncertainty from 1. Five years later the same tower gave 0.999 with 1 %.",
		Source: Source{Text: row["source"] + ": prediction and measured shift, one way", Published: true, Check: &SourceCheck{
			Table: "values.csv", ID: "poundrebka_pred", Got: clockShift(gravlab.StandardGravity, height, gravlab.SpeedOfLight), Want: row.Float("value"), Within: 0.0052e-15}},
	}
}

func liftWhat1960() Question {
	return Question{
		ID: "what-1960", Kind: judge.Choice, Marks: 1, Title: "What a tower does not show",
		Prompt: "Suppose the shift over a tower agreed with $gh/c^2$ to a part in a million. Which of these would that *not* support?",
		Options: []judge.Option{
			{Letter: "a", Text: "that the rate of clocks of this kind depends on the height as equivalence says", Idea: "That is just what the number says. (For clocks of another kind the test would have to be made again.)"},
			{Letter: "b", Text: "that energy is conserved when light climbs and a heavier, excited atom is lifted", Idea: "If light did not lose m g h for every m c² of energy, lifting atoms and letting light fall would yield energy for nothing: the shift supports that."},
			{Letter: "c", Text: "that Einstein's field equations are right, and no others", Right: true},
			{Letter: "d", Text: "that a clock at the top counts more seconds than one at the bottom", Idea: "That is the shift itself, read with two clocks."},
		},
		Worked:    "%%\nsheet.Choice(\"what-1960\", \"c\") // g h/c² follows from equivalence alone, in any theory that has it",
		Reasoning: "The derivation with the lift uses no field equations: every theory in which falling is universal predicts $gh/c^2$. To tell such theories apart takes the bending of light, orbits, or waves.",
		Source:    Source{Text: "C. M. Will, Living Rev. Relativ. 17, 4 (2014), section 2.1 (from memory): what the redshift tests"},
	}
}
