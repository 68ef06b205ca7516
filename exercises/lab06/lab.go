package lab06

import (
	"embed"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/pendulum"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 06.
var Lab = bank.Lab{
	ID: "06-passing-pendulum", Title: "The passing pendulum", Minutes: 80,
	Asks:   "A ball swings past a sensor and never touches it. Can you weigh it all the same?",
	Tracks: []bank.Track{bank.LaboratoryClass}, BuildsOn: []string{"02-settling-down", "05-side-by-side"}, Graded: true,
	Sealed: bank.Weights{Times: 2, Constants: []string{"background", "amplitude", "floor-line", "mass"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

// passing is the pendulum of one sheet and the sensor below it. Angles are
// printed in degrees.
type passing struct {
	pendulum.Pendulum
	degrees float64 // amplitude
	below   float64 // m, of the sensor below the bob's centre at rest
}

// Local gravity at the College, as the prompts print it, m/s².
const passingGravity = 9.81

func drawPassing(d *bank.Draw) passing {
	p := passing{
		degrees: d.Between("amplitude", 18, 24, 0.5),
		below:   d.Between("below", 0.42, 0.48, 0.01),
	}
	p.Pendulum = pendulum.Pendulum{
		Bob:    pendulum.Bob{Shape: pendulum.Sphere, Mass: d.Between("bob", 14, 20, 0.5)},
		Length: d.Between("length", 1.8, 2.4, 0.02), Gravity: passingGravity, Amplitude: p.degrees * math.Pi / 180,
	}
	p.Bob.Radius = bank.LeadRadius(p.Bob.Mass)
	return p
}

// station is below the bob's rest position; axis says which way it feels.
func (p passing) station(axis r3.Vec) pendulum.Station {
	return pendulum.Station{At: r3.Vec{Z: p.Length + p.below}, Axis: axis}
}

func build(d *bank.Draw) bank.Sheet {
	p := drawPassing(d)
	s := p.swing(d)
	return bank.Sheet{
		Recordings: []bank.Recording{s.recording(0), s.recording(1)},
		Questions: []bank.Question{
			passingPeriod(d), passingRating(d), p.closest(), p.pull(d), passingWhichAxis(), p.line(),
			p.background(d), p.swings(d), p.tilt(d), passingTests(), passingStarter(),
			s.lineQuestion("amplitude", 0, 3, 3e-10, 2.6e-9), s.lineQuestion("floor-line", 1, 2, 2e-10, 2.2e-9),
			s.mass(), p.budget(d),
		},
	}
}

func passingPeriod(d *bank.Draw) bank.Question {
	length, degrees := d.Between("period length", 0.9, 2.6, 0.05), d.Between("period amplitude", 30, 42, 1)
	alpha := degrees * math.Pi / 180
	exact := func(length, degrees, g float64) float64 {
		return gravlab.Must(pendulum.Pendulum{Bob: pendulum.Bob{Mass: 1}, Length: length, Gravity: g, Amplitude: degrees * math.Pi / 180}.Period())
	}
	slower := exact(length, degrees, passingGravity)/(2*math.Pi*math.Sqrt(length/passingGravity)) - 1
	until := func(slower float64) func(bank.Answers) float64 { return bank.Always(0.5 / slower) }
	return bank.Question{
		ID: "period", Kind: judge.KindNumber, Marks: 2, Unit: "1", Tol: judge.Tolerance{Rel: 0.045},
		Fields: bank.Fields{"length": length, "degrees": degrees},
		Solve:  until(slower),
		Slips: []bank.Slip{
			{ID: "whole-swing", Value: until(slower / 2)},
			{ID: "side-to-side", Value: until(4 * slower)},
			{ID: "degrees", Value: until(degrees * degrees / 16)},
			{ID: "not-squared", Value: until(alpha / 16)},
		},
		Range: [2]float64{13, 31},
		// 1.37 m, 9.8125 m/s², 37°
		Source: bank.Computed(testdata.Checks, "pendulum-period-01", exact(1.37, 37, 9.8125), 2.5e-12),
	}
}

func passingRating(d *bank.Draw) bank.Question {
	m, degrees := d.Between("rating bob", 26, 40, 1), d.Between("rating amplitude", 45, 60, 1)
	theta := degrees * math.Pi / 180
	tension := gravlab.Must(pendulum.Pendulum{Bob: pendulum.Bob{Mass: m}, Length: 2, Gravity: passingGravity, Amplitude: theta}.LargestTension())
	return bank.Question{
		ID: "rating", Kind: judge.KindNumber, Marks: 2, Unit: "N", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"m": m, "degrees": degrees},
		Solve:  bank.Always(5 * tension),
		Slips: []bank.Slip{
			{ID: "weight", Value: bank.Always(5 * m * passingGravity)},
			{ID: "release", Value: bank.Always(5 * m * passingGravity * math.Cos(theta))},
			{ID: "no-five", Value: bank.Always(tension)},
			{ID: "speed-once", Value: bank.Always(5 * m * passingGravity * (2 - math.Cos(theta)))},
			{ID: "no-weight", Value: bank.Always(10 * m * passingGravity * (1 - math.Cos(theta)))},
			{ID: "no-g", Value: bank.Always(5 * tension / passingGravity)},
			{ID: "degrees", Value: bank.Always(5 * m * passingGravity * (3 - 2*math.Cos(degrees)))},
		},
		Range: [2]float64{2000, 3950},
	}
}

func (p passing) closest() bank.Question {
	pull := func(d float64) float64 { return gravlab.G * p.Bob.Mass / (d * d) }
	return bank.Question{
		ID: "closest", Kind: judge.KindNumber, Marks: 2, Unit: "nm/s²", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"mass": p.Bob.Mass, "below": p.below, "gap": bank.RoundTo(p.below-p.Bob.Radius, 3)},
		Solve:  bank.Always(pull(p.below)),
		Slips: []bank.Slip{
			{ID: "surface", Value: bank.Always(pull(p.below - p.Bob.Radius))},
			{ID: "not-squared", Value: bank.Always(pull(p.below) * p.below)},
			{ID: "force", Value: bank.Always(pull(p.below) * p.Bob.Mass)},
			{ID: "radius-added", Value: bank.Always(pull(p.below + p.Bob.Radius))},
			{ID: "g", Value: bank.Always(passingGravity * p.Bob.Mass / (p.below * p.below))},
		},
		Range: [2]float64{3.5e-9, 8e-9},
		// 9000 kg at 10 m
		Source: bank.Published(testdata.Examples, "newton-02",
			// The book takes G = 6.67e-11.
			6.67e-11*9000/100, 0.05e-9),
	}
}

// verticalPull is the pull of a point on the circle at a sensor straight below
// the pivot, down positive.
func verticalPull(m, length, below, theta float64) float64 {
	x, z := length*math.Sin(theta), length*math.Cos(theta)-length-below
	r := math.Hypot(x, z)
	return gravlab.G * m * z / (r * r * r)
}

func (p passing) pull(d *bank.Draw) bank.Question {
	r := d.Rand("pull calls")
	var calls [][]float64
	for range 8 {
		calls = append(calls, []float64{bank.Clean(math.Round((r.Float64()-0.5)*1e4) / 1e4)})
	}
	calls = append(calls, []float64{0}, calls[2])
	one := func(f func(theta float64) float64) func([]float64) []float64 {
		return func(a []float64) []float64 { return []float64{f(a[0])} }
	}
	m, length, below := p.Bob.Mass, p.Length, p.below
	right := func(theta float64) float64 { return verticalPull(m, length, below, theta) }
	whole := func(theta float64) float64 {
		x, z := length*math.Sin(theta), length*math.Cos(theta)-length-below
		return -gravlab.G * m / (x*x + z*z)
	}
	return bank.Question{
		ID: "pull", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 2e-3},
		Fields: bank.Fields{"m": m, "length": length, "below": below},
		Function: &bank.Function{
			Name: "pull", Signature: judge.OneToOne, Calls: calls,
			Right:   one(right),
			Degrees: one(func(theta float64) float64 { return right(theta / gravlab.Degree) }),
			Slips: []bank.FunctionSlip{
				{ID: "sign", F: one(func(theta float64) float64 { return -right(theta) })},
				{ID: "whole-pull", F: one(whole)},
				{ID: "rest-distance", F: one(func(float64) float64 { return right(0) })},
				{ID: "no-sideways", F: one(func(theta float64) float64 {
					z := length*math.Cos(theta) - length - below
					return -gravlab.G * m / (z * z)
				})},
				{ID: "no-drop", F: one(func(theta float64) float64 {
					x := length * math.Sin(theta)
					return -gravlab.G * m * below / math.Pow(x*x+below*below, 1.5)
				})},
				{ID: "sideways-part", F: one(func(theta float64) float64 {
					x, z := length*math.Sin(theta), length*math.Cos(theta)-length-below
					return -gravlab.G * m * math.Abs(x) / math.Pow(x*x+z*z, 1.5)
				})},
			},
		},
		// 14 kg, 1.9 m, 0.42 rad, sensor 2.52 m below the pivot
		Source: bank.Computed(testdata.Checks, "pendulum-harm-2-01", lineOf(func(theta float64) float64 { return verticalPull(14, 1.9, 0.62, theta) }, pendulum.Pendulum{Bob: pendulum.Bob{Mass: 14}, Length: 1.9, Gravity: 9.80665, Amplitude: 0.42}), 1e-15),
	}
}

// lineOf is the cosine coefficient at 2/T of a function of the angle over one
// swing, by a sum over 96 times.
func lineOf(f func(theta float64) float64, p pendulum.Pendulum) float64 {
	motion, s := gravlab.Must(p.Motion()), 0.0
	for i := range 96 {
		theta, _ := motion.At(motion.Period * float64(i) / 96)
		s += f(theta) * math.Cos(4*math.Pi*float64(i)/96) / 48
	}
	return s
}

func passingWhichAxis() bank.Question {
	return bank.Question{
		ID: "which-axis", Kind: judge.KindChoice, Marks: 1,
	}
}

func (p passing) line() bank.Question {
	h := gravlab.Must(p.Harmonics(p.station(r3.Vec{Z: 1}), 2))[2]
	half := (verticalPull(p.Bob.Mass, p.Length, p.below, p.Amplitude) - verticalPull(p.Bob.Mass, p.Length, p.below, 0)) / 2

	row := pendulum.Pendulum{Bob: pendulum.Bob{Shape: pendulum.Sphere, Mass: 14, Radius: 0.05}, Length: 1.9, Gravity: 9.80665, Amplitude: 0.42}
	return bank.Question{
		ID: "line", Kind: judge.KindNumber, Marks: 3, Unit: "nm/s²", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{
			"mass": p.Bob.Mass, "length": p.Length, "degrees": p.degrees, "below": p.below,
			"radius": bank.RoundTo(p.Bob.Radius, 3),
		},
		Solve: bank.Always(h),
		Slips: []bank.Slip{
			{ID: "rms", Value: bank.Always(h / math.Sqrt2)},
			{ID: "peak-to-peak", Value: bank.Always(2 * h)},
			{ID: "half-range", Value: bank.Always(half)},
			{ID: "largest-pull", Value: bank.Always(-verticalPull(p.Bob.Mass, p.Length, p.below, 0))},
			{ID: "half", Value: bank.Always(h / 2)},
			{ID: "range", Value: bank.Always(2 * half)},
		},
		Range:  [2]float64{0.9e-9, 3.5e-9},
		Source: bank.Computed(testdata.Checks, "pendulum-harm-2-01", gravlab.Must(row.Harmonics(pendulum.Station{At: r3.Vec{Z: 2.52}, Axis: r3.Vec{Z: 1}}, 2))[2], 1e-18),
	}
}

func (p passing) background(d *bank.Draw) bank.Question {
	f1, f2 := 0.6, d.Between("band end", 0.75, 0.9, 0.01)
	middle := gravlab.Must(pendulum.HighNoise.Density(math.Sqrt(f1 * f2)))
	return bank.Question{
		ID: "background", Kind: judge.KindNumber, Marks: 2, Unit: "µm/s²", Tol: judge.Tolerance{Rel: 0.03},
		Fields: bank.Fields{"f1": f1, "f2": f2},
		Solve:  bank.Always(gravlab.Must(pendulum.HighNoise.RMS(f1, f2))),
		Slips: []bank.Slip{
			{ID: "no-root", Value: bank.Always(middle * (f2 - f1))},
			{ID: "density", Value: bank.Always(middle)},
			{ID: "low-model", Value: bank.Always(gravlab.Must(pendulum.LowNoise.RMS(f1, f2)))},
			{ID: "peak", Value: bank.Always(gravlab.Must(pendulum.HighNoise.RMS(f1, f2)) * math.Sqrt2)},
			{ID: "upper-edge", Value: bank.Always(middle * math.Sqrt(f2))},
		},
		Range: [2]float64{0.5e-6, 2e-6},
		// 0.3 to 0.45 Hz
		Source: bank.Computed(testdata.Checks, "pendulum-background-04", gravlab.Must(pendulum.HighNoise.RMS(0.3, 0.45)), 1e-17),
	}
}

// neededSwings is the number of periods for a signal-to-noise ratio rho.
func neededSwings(rho, amplitude, asd, period float64) float64 {
	return math.Pow(rho*asd/amplitude, 2) / period
}

// swings builds on the student's own line.
func (p passing) swings(d *bank.Draw) bank.Question {
	asd := d.Between("asd", 4, 9, 0.5) // nm/s²/√Hz
	const rho = 5.0
	period := gravlab.Must(p.Period())
	n := func(f func(a float64) float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 { return f(k["line"]) }
	}

	T := gravlab.Must(pendulum.Pendulum{Bob: pendulum.Bob{Mass: 1}, Length: 1.9, Gravity: 9.80665, Amplitude: 0.2}.Period())
	return bank.Question{
		ID: "swings", Kind: judge.KindNumber, Marks: 2, Unit: "1", Tol: judge.Tolerance{Rel: 0.02, Abs: 1}, Uses: []string{"line"},
		Fields: bank.Fields{
			"asd": asd, "period": bank.RoundTo(period, 4), "mass": p.Bob.Mass,
			"radius": bank.RoundTo(p.Bob.Radius, 3), "length": p.Length, "degrees": p.degrees, "below": p.below,
		},
		Solve: n(func(a float64) float64 { return neededSwings(rho, a, asd*1e-9, period) }),
		Slips: []bank.Slip{
			{ID: "not-squared", Value: n(func(a float64) float64 { return neededSwings(1, a, asd*1e-9, period) * rho })},
			{ID: "factor-2", Value: n(func(a float64) float64 { return 2 * neededSwings(rho, a, asd*1e-9, period) })},
			{ID: "time", Value: n(func(a float64) float64 { return neededSwings(rho, a, asd*1e-9, 1) })},
			{ID: "half", Value: n(func(a float64) float64 { return neededSwings(rho, a, asd*1e-9, 2*period) })},
		},
		Range:  [2]float64{8, 1000},
		Source: bank.Computed(testdata.Checks, "pendulum-swings-01", neededSwings(5, 2.2e-10, 3e-9, T), 1e-6),
	}
}

func (p passing) tilt(d *bank.Draw) bank.Question {
	stiffness, height := d.Between("rocking", 3, 6, 0.5)*1e7, d.Between("pivot height", 2.5, 2.9, 0.05)
	along := p.station(r3.Vec{X: 1})
	effect := gravlab.Must(p.Compare(along, pendulum.Floor{RockingStiffness: stiffness, PivotHeight: height, Share: 1}, 1))[0]
	perForce := height / stiffness * passingGravity
	weight := p.Bob.Mass * passingGravity

	row := pendulum.Pendulum{Bob: pendulum.Bob{Mass: 14}, Length: 1.9, Gravity: 9.80665, Amplitude: 0.42}
	got := gravlab.Must(row.Compare(pendulum.Station{At: r3.Vec{Z: 2.5}, Axis: r3.Vec{X: 1}}, pendulum.Floor{RockingStiffness: 4.1e7, PivotHeight: 2.6, Share: 1}, 1))[0].Floor
	return bank.Question{
		ID: "tilt", Kind: judge.KindNumber, Marks: 2, Unit: "µm/s²", Tol: judge.Tolerance{Rel: 0.008},
		Fields: bank.Fields{
			"mass": p.Bob.Mass, "length": p.Length, "degrees": p.degrees, "height": height, "stiffness": stiffness,
			"radius": bank.RoundTo(p.Bob.Radius, 3), "below": p.below,
		},
		Solve: bank.Always(effect.Floor),
		Slips: []bank.Slip{
			{ID: "small-swing", Value: bank.Always(weight * p.Amplitude * perForce)},
			{ID: "weight", Value: bank.Always(weight * perForce)},
			{ID: "no-height", Value: bank.Always(effect.Floor / height)},
			{ID: "angle", Value: bank.Always(effect.Floor / passingGravity)},
			{ID: "length", Value: bank.Always(effect.Floor / height * p.Length)},
			{ID: "doubled", Value: bank.Always(2 * effect.Floor)},
			{ID: "degrees", Value: bank.Always(weight * p.degrees * perForce)},
			{ID: "sine", Value: bank.Always(weight * math.Sin(p.Amplitude) * math.Cos(p.Amplitude) * perForce)},
		},
		Range:  [2]float64{1.5e-5, 9e-5},
		Source: bank.Computed(testdata.Checks, "pendulum-floortilt-01", got, 1e-14),
	}
}

func passingTests() bank.Question {
	return bank.Question{
		ID: "tests", Kind: judge.KindChoice, Marks: 1,
	}
}

func passingStarter() bank.Question {
	return bank.Question{
		ID: "starter", Kind: judge.KindChoice, Marks: 1,
	}
}

// budget asks for the relative uncertainty of a mass.
func (p passing) budget(d *bank.Draw) bank.Question {
	uLine := d.Between("u line", 1.5, 3, 0.1)    // %
	wanted := d.Between("wanted u", 3.5, 5, 0.1) // %
	at := func(below float64) float64 {
		return gravlab.Must(p.Harmonics(pendulum.Station{At: r3.Vec{Z: p.Length + below}, Axis: r3.Vec{Z: 1}}, 2))[2]
	}
	const step = 1e-3
	exponent := math.Round(-10*math.Log(at(p.below+step)/at(p.below-step))/math.Log((p.below+step)/(p.below-step))) / 10
	// What is left for the distance, m, of a relative uncertainty in %.
	place := func(left float64) func(bank.Answers) float64 { return bank.Always(p.below * left / 100) }
	left := math.Sqrt(wanted*wanted - uLine*uLine)
	return bank.Question{
		ID: "budget", Kind: judge.KindNumber, Marks: 2, Unit: "mm", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"uLine": uLine, "exponent": exponent, "below": p.below, "wanted": wanted},
		Solve:  place(left / exponent),
		Slips: []bank.Slip{
			{ID: "no-exponent", Value: place(left)},
			{ID: "straight-difference", Value: place((wanted - uLine) / exponent)},
			{ID: "line-ignored", Value: place(wanted / exponent)},
			{ID: "exponent-inside", Value: place(left / math.Sqrt(exponent))},
			{ID: "multiplied", Value: place(left * exponent)},
			{ID: "added", Value: place(math.Hypot(wanted, uLine) / exponent)},
		},
		Range: [2]float64{0.003, 0.013},
	}
}
