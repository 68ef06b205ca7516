package exercises

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/pendulum"
	"gravity.example/testdata"
)

var passingPendulum = Lab{
	ID: "06-passing-pendulum", Title: "The passing pendulum", Minutes: 90,
	Tracks: []Track{LaboratoryClass}, BuildsOn: []string{"02-settling-down", "05-side-by-side"}, Graded: true,
	Build: buildPassingPendulum,
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

func drawPassing(d *Draw) passing {
	p := passing{
		degrees: d.Between("amplitude", 18, 24, 0.5),
		below:   d.Between("below", 0.42, 0.48, 0.01),
	}
	p.Pendulum = pendulum.Pendulum{
		Bob:    pendulum.Bob{Shape: pendulum.Sphere, Mass: d.Between("bob", 14, 20, 0.5)},
		Length: d.Between("length", 1.8, 2.4, 0.02), Gravity: passingGravity, Amplitude: p.degrees * math.Pi / 180,
	}
	p.Bob.Radius = leadRadius(p.Bob.Mass)
	return p
}

// station is below the bob's rest position; axis says which way it feels.
func (p passing) station(axis r3.Vec) pendulum.Station {
	return pendulum.Station{At: r3.Vec{Z: p.Length + p.below}, Axis: axis}
}

func buildPassingPendulum(d *Draw) Paper {
	p := drawPassing(d)
	s := p.swing(d)
	return Paper{
		Recordings: []Recording{s.recording(false), s.recording(true)},
		Questions: []Question{
			passingPeriod(d), passingRating(d), p.closest(), p.pull(d), passingWhichAxis(), p.line(),
			p.background(d), p.swings(d), p.tilt(d), passingTests(), passingStarter(),
			s.amplitude(), s.floorLine(), s.mass(), p.budget(d),
		},
	}
}

// apparatus is the pendulum in words, for the prompts.
func (p passing) apparatus() string {
	return fmt.Sprintf("$m = %g\\ \\mathrm{kg}$, $L = %.2f\\ \\mathrm{m}$, $\\theta_0 = %g°$", p.Bob.Mass, p.Length, p.degrees)
}

// code is the pendulum in Go, for the worked answers.
func (p passing) code() string {
	return fmt.Sprintf("p := pendulum.Pendulum{\n\tBob:    pendulum.Bob{Shape: pendulum.Sphere, Mass: %s, Radius: %s},\n\tLength: %s, Gravity: 9.81, Amplitude: %s * math.Pi / 180,\n}\n", lit(p.Bob.Mass), lit(roundTo(p.Bob.Radius, 3)), lit(p.Length), lit(p.degrees))
}

func passingPeriod(d *Draw) Question {
	length, degrees := d.Between("period length", 0.9, 2.6, 0.05), d.Between("period amplitude", 30, 42, 1)
	alpha := degrees * math.Pi / 180
	small := 2 * math.Pi * math.Sqrt(length/passingGravity)
	exact := func(length, degrees, g float64) float64 {
		return gravlab.Must(pendulum.Pendulum{Bob: pendulum.Bob{Mass: 1}, Length: length, Gravity: g, Amplitude: degrees * math.Pi / 180}.Period())
	}
	printed := testdata.Find("worked_examples.csv", "pendulum-15") // 1 m, 9.81 m/s², 40°
	return Question{
		ID: "period", Kind: judge.Number, Marks: 2, Title: "A wide swing takes longer",
		Prompt: fmt.Sprintf("A small heavy bob hangs %.2f m below its pivot and is let go at %g° from straight down. How long does a full swing take at that amplitude? Take $g = 9.81\\ \\mathrm{m/s^2}$.", length, degrees),
		Unit:   "s", Tol: judge.Tolerance{Rel: 0.002, Why: "the first term of the series, 1 + α²/16, is 0.11 % low at most"},
		Solve: pierNumber(exact(length, degrees, passingGravity)),
		Slips: []Slip{
			{Name: "the formula for small swings", Value: pierNumber(small), Fix: "A wide swing is slower: the restoring force grows less than the angle."},
			{Name: "the whole swing taken for the amplitude", Value: pierNumber(small * (1 + alpha*alpha/4)), Fix: "The amplitude α counts from straight down to one side."},
			{Name: "degrees in α²/16", Value: pierNumber(small * (1 + degrees*degrees/16)), Fix: "The series wants the angle in radians."},
			{Name: "half a swing", Value: pierNumber(exact(length, degrees, passingGravity) / 2), Fix: "A full swing is there and back."},
		},
		Range:     [2]float64{1.9, 3.5},
		Hints:     [2]string{"How long would a small swing take? By what factor is a wide one slower?", "T = 2π√(L/g)·(1 + α²/16 + …), α in radians. Pendulum.Period() is exact."},
		Worked:    fmt.Sprintf("%%%%\n// The model has the exact period, by the arithmetic-geometric mean.\np := pendulum.Pendulum{\n\tBob: pendulum.Bob{Mass: 1}, Length: %s, Gravity: 9.81,\n\tAmplitude: %s * math.Pi / 180,\n}\nsheet.Number(\"period\", gravlab.Must(p.Period()), \"s\")", lit(length), lit(degrees)),
		Reasoning: "$T = T_0\\,\\frac{2}{\\pi}K(\\sin^2(\\alpha/2)) = T_0\\,(1 + \\alpha^2/16 + 11\\alpha^4/3072 + \\dots)$. It matters here: a line that is looked for at the wrong frequency for an hour is not found.",
		Source: Source{Text: printed["source"], Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "pendulum-15", Got: exact(1, 40, 9.81), Want: printed.Float("published_answer"), Within: 5e-13}},
	}
}

func passingRating(d *Draw) Question {
	m, degrees := d.Between("rating bob", 10, 20, 1), d.Between("rating amplitude", 45, 60, 1)
	theta := degrees * math.Pi / 180
	tension := gravlab.Must(pendulum.Pendulum{Bob: pendulum.Bob{Mass: m}, Length: 2, Gravity: passingGravity, Amplitude: theta}.LargestTension())
	return Question{
		ID: "rating", Kind: judge.Number, Marks: 1, Title: "Before anything hangs",
		Prompt: fmt.Sprintf("Somebody will one day pull the bob of %g kg as far as %g° and let go. The fixing in the ceiling must hold five times the largest pull on the string that this gives. For which force must it be rated?", m, degrees),
		Unit:   "N", Tol: judge.Tolerance{Rel: 0.01, Why: "g of 9.80 to 9.81 m/s² and three digits carried"},
		Solve: pierNumber(5 * tension),
		Slips: []Slip{
			{Name: "five times the weight only", Value: pierNumber(5 * m * passingGravity), Fix: "At the bottom the string also turns the bob round its circle: add m v²/L."},
			{Name: "five times the pull at the point of release", Value: pierNumber(5 * m * passingGravity * math.Cos(theta)), Fix: "At the ends of the swing the string pulls least. Where does it pull most?"},
			{Name: "the factor of five forgotten", Value: pierNumber(tension), Fix: "Rated for five times that."},
		},
		Range:     [2]float64{700, 2100},
		Hints:     [2]string{"The pull is largest at the bottom. How fast is the bob there? Energy tells.", "v² = 2 g L (1 − cos θ₀), so the pull is m g (3 − 2 cos θ₀), whatever the length."},
		Worked:    fmt.Sprintf("%%%%\n// At the bottom: weight and m v²/L with v² = 2 g L (1 - cos theta0).\ntheta0 := %s * math.Pi / 180\nlargest := %s * 9.81 * (3 - 2*math.Cos(theta0))\nsheet.Number(\"rating\", 5*largest, \"N\")", lit(degrees), lit(m)),
		Reasoning: "$mg + mv^2/L$ with $v^2 = 2gL(1-\\cos\\theta_0)$ is $mg(3 - 2\\cos\\theta_0)$: twice the weight at 60°. A fixing that fails drops a ball on whatever is below.",
		Source:    Source{Text: "common practice, no source: conservation of energy; the factor of five: common practice"},
	}
}

func (p passing) closest() Question {
	pull := func(d float64) float64 { return gravlab.G * p.Bob.Mass / (d * d) }
	book := testdata.Find("worked_examples.csv", "newton-02") // 9000 kg at 10 m
	return Question{
		ID: "closest", Kind: judge.Number, Marks: 1, Title: "How hard does it pull?",
		Prompt: fmt.Sprintf("A lead ball of %g kg passes over a sensor. At the lowest point its *centre* is %.2f m above the sensor, its surface %.3f m. With what acceleration does it pull the sensor's test mass there?", p.Bob.Mass, p.below, roundTo(p.below-p.Bob.Radius, 3)),
		Unit:   "nm/s²", Tol: judge.Tolerance{Rel: 0.005, Why: "G of 6.67e-11 and three digits carried"},
		Solve: pierNumber(pull(p.below)),
		Slips: []Slip{
			{Name: "the distance of the surface", Value: pierNumber(pull(p.below - p.Bob.Radius)), Fix: "From outside a sphere pulls as if all its mass were in its centre."},
			{Name: "distance not squared", Value: pierNumber(pull(p.below) * p.below), Fix: "The pull falls with the square of the distance."},
			{Name: "the force on a mass of its own", Value: pierNumber(pull(p.below) * p.Bob.Mass), Fix: "An acceleration is asked: the mass that is pulled cancels."},
		},
		Range:     [2]float64{3.5e-9, 8e-9},
		Hints:     [2]string{"Newton: acceleration = G m/d². Which distance?", "d is from the ball's centre to the sensor."},
		Worked:    fmt.Sprintf("%%%%\n// A sphere pulls from its centre.\na := gravlab.G * %s / (%s * %s)\nsheet.Number(\"closest\", a, \"m/s²\")", lit(p.Bob.Mass), lit(p.below), lit(p.below)),
		Reasoning: "$a = Gm/d^2$ with the distance of the centre: less than a billionth of $g$. (Earth moves a scale, a ball moves only the last digit of the best ones.)",
		Source: Source{Text: book["source"], Published: true, Check: &SourceCheck{
			// The book takes G = 6.67e-11.
			Table: "worked_examples.csv", ID: "newton-02", Got: 6.67e-11 * 9000 / 100, Want: book.Float("published_answer"), Within: 0.05e-9}},
	}
}

// verticalPull is the pull of a point on the circle at a sensor straight below
// the pivot, down positive.
func verticalPull(m, length, below, theta float64) float64 {
	x, z := length*math.Sin(theta), length*math.Cos(theta)-length-below
	r := math.Hypot(x, z)
	return gravlab.G * m * z / (r * r * r)
}

func (p passing) pull(d *Draw) Question {
	r := d.Rand("pull calls")
	var calls [][]float64
	for range 8 {
		calls = append(calls, []float64{clean(math.Round((r.Float64()-0.5)*1e4) / 1e4)})
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
	check := testdata.Find("model_checks.csv", "pendulum-harm-2-01") // 14 kg, 1.9 m, 0.42 rad, sensor 2.52 m below the pivot
	return Question{
		ID: "pull", Kind: judge.Function, Marks: 3, Title: "The pull at any angle",
		Prompt: fmt.Sprintf("Write a function `pull` that returns what a sensor with a *vertical* axis feels of the ball, in m/s², *positive downwards*, when the string stands at the angle $\\theta$ (rad). "+
			"The ball of %g kg hangs on $L = %.2f\\ \\mathrm{m}$; the sensor is straight below the pivot, %.2f m below the ball's centre at rest.", m, length, below),
		Tol: judge.Tolerance{Rel: 2e-3, Why: "G of 6.67e-11 is 0.06 % low; rounding is far below"},
		Function: &Function{
			Name: "pull", Signature: judge.OneToOne, Calls: calls, Right: one(right),
			Slips: []FunctionSlip{
				{Name: "the sign", F: one(func(theta float64) float64 { return -right(theta) }), Fix: "The ball is above the sensor and pulls it up. Positive is down."},
				{Name: "the whole pull, not its vertical part", F: one(whole), Fix: "Of a slanting pull the sensor feels the part along its axis: times the cosine of the slant."},
				{Name: "the distance at rest for every angle", F: one(func(float64) float64 { return right(0) }), Fix: "The ball moves: work its place out from θ."},
				{Name: "the sideways distance left out", F: one(func(theta float64) float64 {
					z := length*math.Cos(theta) - length - below
					return -gravlab.G * m / (z * z)
				}), Fix: "The distance has a horizontal part too: L sin θ."},
			},
		},
		Hints:     [2]string{"Where is the ball? L sin θ to the side, and how far above the sensor?", "With x to the side and h above: the pull is G m/(x² + h²), of which h/√(x² + h²) is vertical. Up is negative."},
		Worked:    fmt.Sprintf("// The ball is x to the side and h above; up is negative.\nfunc pull(theta float64) float64 {\n\tm, L, d := %s, %s, %s // kg, m, m\n\tx, h := L*math.Sin(theta), d+L-L*math.Cos(theta)\n\tr := math.Hypot(x, h)\n\treturn -gravlab.G * m * h / (r * r * r)\n}\n\n%%%%\nsheet.Function(\"pull\", pull)", lit(m), lit(length), lit(below)),
		Reasoning: "The ball is at $(L\\sin\\theta, L\\cos\\theta)$ from the pivot, the sensor at $(0, L+d)$. The pull has the size $Gm/r^2$ and points to the ball; its part along the axis is that times $h/r$.",
		Source: Source{Text: "independently computed: " + check["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "pendulum-harm-2-01",
			Got: lineOf(func(theta float64) float64 { return verticalPull(14, 1.9, 0.62, theta) }, pendulum.Pendulum{Bob: pendulum.Bob{Mass: 14}, Length: 1.9, Gravity: 9.80665, Amplitude: 0.42}), Want: check.Float("value"), Within: 1e-15}},
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

func passingWhichAxis() Question {
	return Question{
		ID: "which-axis", Kind: judge.Choice, Marks: 1, Title: "Once or twice a swing?",
		Prompt: "A sensor stands exactly below the rest position, and the ball swings symmetrically over it, in the plane of $x$, with the period $T$. At which frequencies does the sensor see the pull?",
		Options: []judge.Option{
			{Letter: "a", Text: "at 2/T, whatever the direction of its axis, since the ball passes twice in a swing", Idea: "It passes twice, but from opposite sides. Which way does it pull a horizontal sensor at each end of the swing?"},
			{Letter: "b", Text: "at 1/T, whatever the direction of its axis, since that is the frequency of the swing", Idea: "A vertical sensor feels the same pull with the ball to the left as to the right: it cannot tell half swings apart."},
			{Letter: "c", Text: "a vertical axis at 2/T and its multiples; a horizontal axis along the swing at 1/T, 3/T and so on", Right: true},
			{Letter: "d", Text: "a vertical axis at 1/T; a horizontal axis along the swing at 2/T", Idea: "The other way round. Draw the pull at both ends of the swing."},
		},
		Worked:    "%%\nsheet.Choice(\"which-axis\", \"c\") // what changes sign with the side has odd lines, what does not has even ones",
		Reasoning: "Half a swing later the ball is at the mirror image. The vertical pull is the same there, so it repeats after $T/2$: lines at $2/T$, $4/T$, … The pull along the swing has changed sign: lines at $1/T$, $3/T$, … Beside the plane of the swing an axis across it behaves like the vertical one.",
		Source:    Source{Text: "independently computed: model_checks.csv, pendulum-harm-1-01, -1-09, -2-01 and -2-09 have the four cases"},
	}
}

func (p passing) line() Question {
	h := gravlab.Must(p.Harmonics(p.station(r3.Vec{Z: 1}), 2))[2]
	half := (verticalPull(p.Bob.Mass, p.Length, p.below, p.Amplitude) - verticalPull(p.Bob.Mass, p.Length, p.below, 0)) / 2
	check := testdata.Find("model_checks.csv", "pendulum-harm-2-01")
	row := pendulum.Pendulum{Bob: pendulum.Bob{Shape: pendulum.Sphere, Mass: 14, Radius: 0.05}, Length: 1.9, Gravity: 9.80665, Amplitude: 0.42}
	return Question{
		ID: "line", Kind: judge.Number, Marks: 3, Title: "How high is the line?",
		Prompt: fmt.Sprintf("The ball swings with %s over a vertical sensor %.2f m below its lowest centre, exactly in the middle. What is the amplitude (zero to peak) of the line that the pull draws at $2/T$? Use the model, or take your function `pull` over a full swing.", p.apparatus(), p.below),
		Unit:   "nm/s²", Tol: judge.Tolerance{Rel: 0.01, Why: "a swing taken as θ₀ cos(2πt/T) instead of the exact one changes the line by up to half a per cent"},
		Solve: pierNumber(h),
		Slips: []Slip{
			{Name: "the rms given for the amplitude", Value: pierNumber(h / math.Sqrt2), Fix: "The amplitude is zero to peak."},
			{Name: "from trough to crest", Value: pierNumber(2 * h), Fix: "The amplitude counts from zero to peak."},
			{Name: "half the way between largest and smallest pull", Value: pierNumber(half), Fix: "The pull is no pure sine: part of it belongs to 4/T, 6/T and so on."},
		},
		Range: [2]float64{0.9e-9, 3.5e-9},
		Hints: [2]string{"A line is a Fourier coefficient: multiply the pull by cos(2π·2t/T) and average over a swing, times 2.", "pendulum.Pendulum.Harmonics(station, 2) returns the lines; element 2 belongs to 2/T. The station's axis is r3.Vec{Z: 1}."},
		Worked: "%%\n// The model knows the exact swing; element 2 is the line at 2/T.\n" + p.code() +
			fmt.Sprintf("station := pendulum.Station{At: r3.Vec{Z: p.Length + %s}, Axis: r3.Vec{Z: 1}}\nlines := gravlab.Must(p.Harmonics(station, 2))\nsheet.Number(\"line\", lines[2], \"m/s²\")", lit(p.below)),
		Reasoning: "The line is $\\frac{2}{T}\\int_0^T a(t)\\cos(4\\pi t/T)\\,dt$. It is positive: at release the ball is far and pulls least upwards. The rest of the pull is a mean, which nobody can tell from gravity, and lines at $4/T$, $6/T$, …",
		Source: Source{Text: "independently computed: " + check["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "pendulum-harm-2-01",
			Got: gravlab.Must(row.Harmonics(pendulum.Station{At: r3.Vec{Z: 2.52}, Axis: r3.Vec{Z: 1}}, 2))[2], Want: check.Float("value"), Within: 1e-18}},
	}
}

func (p passing) background(d *Draw) Question {
	f1, f2 := 0.6, d.Between("band end", 0.75, 0.9, 0.01)
	middle := gravlab.Must(pendulum.HighNoise.Density(math.Sqrt(f1 * f2)))
	check := testdata.Find("model_checks.csv", "pendulum-background-04") // 0.3 to 0.45 Hz
	return Question{
		ID: "background", Kind: judge.Number, Marks: 2, Title: "What the ground does meanwhile",
		Prompt: fmt.Sprintf("At the level of the high noise model of 1993, what is the rms acceleration of the ground between %.1f and %.2f Hz, where our line lies?", f1, f2),
		Unit:   "µm/s²", Tol: judge.Tolerance{Rel: 0.03, Why: "the density in the middle of the band times the root of its width is good to 2 %"},
		Solve: pierNumber(gravlab.Must(pendulum.HighNoise.RMS(f1, f2))),
		Slips: []Slip{
			{Name: "the width of the band not rooted", Value: pierNumber(middle * (f2 - f1)), Fix: "An amplitude density is per √Hz: times the root of the width."},
			{Name: "the density given for the rms", Value: pierNumber(middle), Fix: "A density wants a band: times the root of its width in Hz."},
			{Name: "the low noise model", Value: pierNumber(gravlab.Must(pendulum.LowNoise.RMS(f1, f2))), Fix: "That is the quietest ground on Earth. The question asks for the high model."},
		},
		Range:     [2]float64{0.5e-6, 2e-6},
		Hints:     [2]string{"The mean square is the area under the power density in the band.", "pendulum.HighNoise.RMS(f1, f2), or Density in the middle times √(f2 − f1)."},
		Worked:    fmt.Sprintf("%%%%\n// The root of the area under the power density.\nrms := gravlab.Must(pendulum.HighNoise.RMS(%s, %s))\nsheet.Number(\"background\", rms, \"m/s²\")", lit(f1), lit(f2)),
		Reasoning: "The ground moves hundreds of times more than the ball pulls, and a building in use more than that. What saves us: the ground is noise, the pull keeps time; and a second sensor feels the same ground.",
		Source: Source{Text: "independently computed: " + check["route"] + "; the model: J. Peterson, U.S. Geological Survey Open-File Report 93-322 (1993)", Check: &SourceCheck{
			Table: "model_checks.csv", ID: "pendulum-background-04", Got: gravlab.Must(pendulum.HighNoise.RMS(0.3, 0.45)), Want: check.Float("value"), Within: 1e-17}},
	}
}

// neededSwings is the number of periods for a signal-to-noise ratio rho.
func neededSwings(rho, amplitude, asd, period float64) float64 {
	return math.Pow(rho*asd/amplitude, 2) / period
}

// swings builds on the student's own line.
func (p passing) swings(d *Draw) Question {
	asd := d.Between("asd", 4, 9, 0.5) // nm/s²/√Hz
	const rho = 5.0
	period := gravlab.Must(p.Period())
	n := func(f func(a float64) float64) func(Known) float64 {
		return func(k Known) float64 { return f(k["line"]) }
	}
	check := testdata.Find("model_checks.csv", "pendulum-swings-01")
	T := gravlab.Must(pendulum.Pendulum{Bob: pendulum.Bob{Mass: 1}, Length: 1.9, Gravity: 9.80665, Amplitude: 0.2}.Period())
	return Question{
		ID: "swings", Kind: judge.Number, Marks: 2, Title: "How many swings?", Uses: []string{"line"},
		Prompt: fmt.Sprintf("After everything that a reference can take off, noise of %.1f nm/s²/√Hz is left. How many full swings of %.3f s must you watch until your line at $2/T$ has a signal-to-noise ratio of 5? For a line of amplitude $A$ in white noise of the one-sided amplitude density $s$, watched for the time $t$, the ratio is $\\rho = A\\sqrt{t}/s$.", asd, roundTo(period, 4)),
		Unit:   "1", Tol: judge.Tolerance{Rel: 0.02, Abs: 1, Why: "the tolerance of the line counts twice; a number rounded up to whole swings fits"},
		Solve: n(func(a float64) float64 { return neededSwings(rho, a, asd*1e-9, period) }),
		Slips: []Slip{
			{Name: "the ratio not squared", Value: n(func(a float64) float64 { return neededSwings(1, a, asd*1e-9, period) * rho }), Fix: "The ratio grows with the root of the time: five times the ratio takes 25 times as long."},
			{Name: "half-swings counted, or a two-sided density", Value: n(func(a float64) float64 { return 2 * neededSwings(rho, a, asd*1e-9, period) }), Fix: "A full swing is there and back; the density is one-sided."},
			{Name: "the time given for the number of swings", Value: n(func(a float64) float64 { return neededSwings(rho, a, asd*1e-9, 1) }), Fix: "That is the time in seconds. How many swings fit in?"},
		},
		Range: [2]float64{8, 1000},
		Hints: [2]string{"Solve ρ = A√t/s for the time t.", "t = (ρ s/A)², and t/T swings."},
		Worked: "%%\n// Time from the ratio, swings from the time.\n" + p.code() +
			fmt.Sprintf("station := pendulum.Station{At: r3.Vec{Z: p.Length + %s}, Axis: r3.Vec{Z: 1}}\nA := gravlab.Must(p.Harmonics(station, 2))[2]\nn := gravlab.Must(p.SwingsNeeded(5, A, %se-9))\nsheet.Number(\"swings\", n, \"1\")", lit(p.below), lit(asd)),
		Reasoning: "The matched filter of a known shape $h(t)$ in white noise has $\\rho^2 = \\frac{2}{s^2}\\int h^2\\,dt = A^2t/s^2$. Four times closer to the noise takes sixteen times as long, so it pays to go nearer with the sensor.",
		Source: Source{Text: "independently computed: " + check["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "pendulum-swings-01", Got: neededSwings(5, 2.2e-10, 3e-9, T), Want: check.Float("value"), Within: 1e-6}},
	}
}

func (p passing) tilt(d *Draw) Question {
	stiffness, height := d.Between("rocking", 3, 6, 0.5)*1e7, d.Between("pivot height", 2.5, 2.9, 0.05)
	along := p.station(r3.Vec{X: 1})
	effect := gravlab.Must(p.Compare(along, pendulum.Floor{RockingStiffness: stiffness, PivotHeight: height, Share: 1}, 1))[0]
	perForce := height / stiffness * passingGravity
	weight := p.Bob.Mass * passingGravity
	check := testdata.Find("model_checks.csv", "pendulum-floortilt-01")
	row := pendulum.Pendulum{Bob: pendulum.Bob{Mass: 14}, Length: 1.9, Gravity: 9.80665, Amplitude: 0.42}
	got := gravlab.Must(row.Compare(pendulum.Station{At: r3.Vec{Z: 2.5}, Axis: r3.Vec{X: 1}}, pendulum.Floor{RockingStiffness: 4.1e7, PivotHeight: 2.6, Share: 1}, 1))[0].Floor
	return Question{
		ID: "tilt", Kind: judge.Number, Marks: 2, Title: "The floor answers",
		Prompt: fmt.Sprintf("Now a sensor with a *horizontal* axis along the swing stands below the pivot, on the slab that also carries the pendulum's frame. The swing (%s) pulls at its pivot, %.2f m above the slab, to and fro; the slab rocks with a stiffness of %s. "+
			"A tilt by $\\beta$ adds $g\\beta$ to what such a sensor reads. What is the amplitude of that at $1/T$?", p.apparatus(), height, "$"+tex(stiffness, 2)+"\\ \\mathrm{N\\,m/rad}$"),
		Unit: "µm/s²", Tol: judge.Tolerance{Rel: 0.008, Why: "g of 9.80 to 9.81 m/s² and three digits carried; the small-angle force is 2 % and more too large"},
		Solve: pierNumber(effect.Floor),
		Slips: []Slip{
			{Name: "the force of a small swing, m g θ₀", Value: pierNumber(weight * p.Amplitude * perForce), Fix: "At this amplitude the line at 1/T is a little lower than m g θ₀: ask the model for the force."},
			{Name: "the whole weight taken for the horizontal force", Value: pierNumber(weight * perForce), Fix: "The weight pulls down. The string's pull has a horizontal part only while it slants."},
			{Name: "the height of the pivot left out", Value: pierNumber(effect.Floor / height), Fix: "A force tilts by its moment: times the lever arm."},
			{Name: "the angle given for the acceleration", Value: pierNumber(effect.Floor / passingGravity), Fix: "The sensor reads g times the tilt."},
		},
		Range: [2]float64{1.5e-5, 9e-5},
		Hints: [2]string{"Force at 1/T (about m g θ₀, less at wide swings), times the height, over the stiffness: the tilt. Times g.", "Pendulum.Compare(station, floor, 1) sets pull and floor side by side; or ReactionHarmonics(1) gives the force."},
		Worked: "%%\n// Force at 1/T times height over stiffness is the tilt; times g. The model\n// has the exact force.\n" + p.code() +
			fmt.Sprintf("floor := pendulum.Floor{RockingStiffness: %s, PivotHeight: %s, Share: 1}\nstation := pendulum.Station{At: r3.Vec{Z: p.Length + %s}, Axis: r3.Vec{X: 1}}\neffect := gravlab.Must(p.Compare(station, floor, 1))[0]\nsheet.Number(\"tilt\", effect.Floor, \"m/s²\")", goFloat(stiffness, 2), lit(height), lit(p.below)),
		Reasoning: "The string pulls the pivot sideways with about $mg\\theta_0$ at $1/T$; the slab tilts by force times height over stiffness. The result is more than ten thousand times the pull of the ball on the same axis, with the same frequency, the same phase and the same sign.",
		Source: Source{Text: "independently computed: " + check["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "pendulum-floortilt-01", Got: got, Want: check.Float("value"), Within: 1e-14}},
	}
}

func passingTests() Question {
	return Question{
		ID: "tests", Kind: judge.Choice, Marks: 1, Title: "Is it gravity?",
		Prompt: "A line stands at the right frequency. Which of these does *not* help to tell the ball's pull from the floor's motion?",
		Options: []judge.Option{
			{Letter: "a", Text: "a shaker that pushes the same support with the same force and moves hardly any mass", Idea: "That helps: it shows the floor alone. What it shows can be subtracted."},
			{Letter: "b", Text: "a second, equal ball beside the first that swings against it", Idea: "That helps: the horizontal forces on the support cancel; below one of the balls the pulls do not, since it is much nearer than the other."},
			{Letter: "c", Text: "the same measurement from several places", Idea: "That helps: the pull falls off fast with distance and changes sign in a known way; the slab tilts alike everywhere."},
			{Letter: "d", Text: "a longer record, from which a lock-in reads the phase of the line more exactly", Right: true},
		},
		Worked:    "%%\nsheet.Choice(\"tests\", \"d\") // both have the same phase (or just the opposite one), however exactly it is read",
		Reasoning: "Pull and reaction follow from the same angle at the same moment: both are cosines from the release, so their phases are equal or opposite. More time makes both lines sharper, and no clearer.",
		Source:    Source{Text: "independently computed: the cosine coefficients of pull and force in model_checks.csv (pendulum-harm-1-09, pendulum-reaction-01); there are no sines"},
	}
}

func passingStarter() Question {
	return Question{
		ID: "starter", Kind: judge.Choice, Marks: 1, Title: "Who lets go?",
		Prompt: "The ball is held aside by a thread, and the thread is burnt through. Everybody stays where they are until the record ends. Why this trouble?",
		Options: []judge.Option{
			{Letter: "a", Text: "fire gives a cleaner start than a hand, and once it swings people can move as they like", Idea: "The clean start is half of it: a push makes the swing an ellipse. But what about the people?"},
			{Letter: "b", Text: "a hand pushes, so the swing would be an ellipse; and a person who walks is a second moving mass, and a moving load on the floor as well", Right: true},
			{Letter: "c", Text: "a warm hand would heat the ball, and its weight would change", Idea: "Warmth changes the size a little, not the mass."},
			{Letter: "d", Text: "a person's pull is too small to matter; only the noise of steps must be avoided", Idea: "80 kg at two metres pull with more than 1 nm/s². How large was the ball's line?"},
		},
		Worked:    "%%\nsheet.Choice(\"starter\", \"b\") // G 80 kg/(2 m)² is 1.3 nm/s²; 800 N on the floor tilts it",
		Reasoning: "$G\\cdot 80\\ \\mathrm{kg}/(2\\ \\mathrm{m})^2 = 1.3\\ \\mathrm{nm/s^2}$: the person is a second pendulum. The weight on the floor tilts it as well. And a push to the side makes an ellipse, whose line at $1/T$ a symmetric sensor should not see.",
		Source:    Source{Text: "common practice, no source; the size by Newton's law"},
	}
}

// budget asks for the relative uncertainty of a mass.
func (p passing) budget(d *Draw) Question {
	uLine := d.Between("u line", 1.5, 3, 0.1) // %
	uPlace := d.Between("u place", 3, 6, 0.5) // mm
	at := func(below float64) float64 {
		return gravlab.Must(p.Harmonics(pendulum.Station{At: r3.Vec{Z: p.Length + below}, Axis: r3.Vec{Z: 1}}, 2))[2]
	}
	const step = 1e-3
	exponent := math.Round(-10*math.Log(at(p.below+step)/at(p.below-step))/math.Log((p.below+step)/(p.below-step))) / 10
	rel := uPlace / 1000 / p.below * 100 // %
	root := func(terms ...float64) func(Known) float64 { return pierNumber(math.Sqrt(squares(terms)) / 100) }
	return Question{
		ID: "budget", Kind: judge.Number, Marks: 2, Title: "What limits the mass?",
		Prompt: fmt.Sprintf("The mass follows from the line's amplitude, which is known to %.1f %%, and from the geometry. Here the line falls as $d^{-%.1f}$ with the distance $d = %.2f\\ \\mathrm{m}$ below the ball's lowest centre, and $d$ is known to %.1f mm. $G$ is known to 22 millionths. All are standard uncertainties, without correlation. What is the relative standard uncertainty of the mass, in per cent?", uLine, exponent, p.below, uPlace),
		Unit:   "%", Tol: judge.Tolerance{Rel: 0.02, Why: "an uncertainty is stated with two digits"},
		Solve: root(uLine, exponent*rel),
		Slips: []Slip{
			{Name: "the exponent of the distance left out", Value: root(uLine, rel), Fix: "A relative change of d counts as many times as its exponent says."},
			{Name: "added straight, not in quadrature", Value: pierNumber((uLine + exponent*rel) / 100), Fix: "Independent uncertainties add as squares; take the root of the sum."},
			{Name: "the distance in mm over metres", Value: root(uLine, exponent*uPlace/p.below*100), Fix: "Millimetres and metres: make the ratio in one unit."},
		},
		Range:     [2]float64{0.018, 0.07},
		Hints:     [2]string{"Relative uncertainties. That of d counts times the exponent.", "Square both, add, take the root. G is far too well known to matter."},
		Worked:    fmt.Sprintf("%%%%\n// Relative uncertainties, that of d times its exponent, in quadrature.\nline, place := %s, %s*%s/%s*100 // %%\nsheet.Number(\"budget\", math.Hypot(line, place), \"%%\")", lit(uLine), lit(exponent), lit(uPlace/1000), lit(p.below)),
		Reasoning: "$m \\propto A\\,d^{p}/G$, so $u^2(m)/m^2 = u^2(A)/A^2 + p^2u^2(d)/d^2 + u^2(G)/G^2$. The uncertainty of $G$, the largest trouble of lab 01, is a thousand times smaller than the others here.",
		Source:    Source{Text: "JCGM 100:2008, 5.1.6 (from memory): products of powers; the exponent by differences of the exact line"},
	}
}
