package exercises

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/sensor"
	"gravity.example/testdata"
)

var massOnASpring = Lab{
	ID: "03-mass-on-a-spring", Title: "Mass on a spring", Minutes: 75,
	Tracks: []Track{LaboratoryClass, SurveyHire, PlanetarySpace}, BuildsOn: []string{"00-first-steps"}, Graded: true,
	Build: buildMassOnASpring,
}

func buildMassOnASpring(d *Draw) Paper {
	r := drawRelease(d)
	bias := d.Between("gravimeter", 2.2, 4.4, 0.1) // Hz, of the small gravimeter of sag and microgal
	s := sensor.Suspension{Mass: 0.1, Frequency: d.Between("response frequency", 3, 9, 0.1), Q: d.Between("response Q", 12, 40, 1)}
	return Paper{
		Recordings: []Recording{r.recording(), shaking()},
		Questions: []Question{
			springConstant(d), periodFromSag(d), sagUnderG(bias), moveByMicroGal(d, bias), resonanceOfPair(d),
			whichWay(), responseFunction(d, s), atResonance(d, s), aboveResonance(d, s), whyASoftSpring(), whichEnd(),
			r.frequency(), r.quality(), r.step(), r.mass(),
			uOfStiffness(d), massInAnEarthquake(d),
		},
	}
}

const worked03 = "worked_examples.csv"

func springConstant(d *Draw) Question {
	m := d.Between("load", 0.15, 0.6, 0.05)
	x := d.Between("stretch", 24, 96, 1)
	if x == 1000*m { // a stretch that is the same number as the load would hide slips
		x++
	}
	k := func(m, x, g float64) float64 { return gravlab.Must(sensor.SpringConstant(m, x, g)) }
	printed := testdata.Find(worked03, "spring-03") // 10.0 kg, 8.00 cm, g = 9.80
	return Question{
		ID: "stiffness", Kind: judge.Number, Marks: 1, Title: "How stiff is it?",
		Prompt: fmt.Sprintf("A spring gets longer by %g mm when a mass of %.2f kg is hung on it and has come to rest. What is its spring constant $k$? Take $g = 9.81\\ \\mathrm{m/s^2}$.", x, m),
		Unit:   "N/m", Tol: judge.Tolerance{Rel: 0.005, Why: "g of 9.80 to 9.81 m/s² and three digits carried"},
		Solve: valueOf(k(m, x/1000, 9.81)),
		Slips: []Slip{
			{Name: "the mass taken for its weight", Value: valueOf(m / (x / 1000)), Fix: "The spring is stretched by a force: the weight m g."},
			{Name: "a factor 2 too many", Value: valueOf(2 * k(m, x/1000, 9.81)), Fix: "m g x = ½ k x² holds for the lowest point of a mass that was let go.\nAt rest the forces are equal: k x = m g."},
			{Name: "centimetres lost", Value: valueOf(k(m, x/10, 9.81)), Fix: "Millimetres to metres is a factor 1000."},
		},
		Range:     [2]float64{14, 260},
		Hints:     [2]string{"At rest the spring pulls up as hard as the weight pulls down.", "k x = m g, with x in metres."},
		Worked:    fmt.Sprintf("%%%%\n// At rest the spring carries the weight: k x = m g.\nm, x := %s, %s // kg, m\nsheet.Number(\"stiffness\", m*9.81/x, \"N/m\")", lit(m), lit(x/1000)),
		Reasoning: "At rest $kx = mg$.",
		Source: Source{Text: printed["source"], Published: true, Check: &SourceCheck{
			Table: worked03, ID: "spring-03", Got: k(10, 0.08, 9.80), Want: printed.Float("published_answer"), Within: 5}},
	}
}

// sagPeriod is the period of a mass whose spring is stretched by sag.
func sagPeriod(sag, g float64) float64 { return 1 / gravlab.Must(sensor.FrequencyFromSag(sag, g)) }

func periodFromSag(d *Draw) Question {
	sag := d.Between("sag", 60, 180, 2)
	period := sagPeriod(sag/1000, 9.81)
	printed := testdata.Find(worked03, "spring-11") // 0.250 m, g = 9.80
	return Question{
		ID: "period", Kind: judge.Number, Marks: 2, Title: "A ruler for a clock",
		Prompt: fmt.Sprintf("Hanging on another spring, a mass that nobody has weighed stretches it by %g mm. Nudge it: how long does one full swing up and down take? Take $g = 9.81\\ \\mathrm{m/s^2}$; the spring itself weighs next to nothing.", sag),
		Unit:   "s", Tol: judge.Tolerance{Rel: 0.005, Why: "g of 9.80 to 9.81 m/s² and three digits carried"},
		Solve: valueOf(period),
		Slips: []Slip{
			{Name: "the factor 2π left out", Value: valueOf(period / (2 * math.Pi)), Fix: "The root of x/g is the time of one radian of phase; a full swing has 2π."},
			{Name: "centimetres lost", Value: valueOf(sagPeriod(sag/10, 9.81)), Fix: "Millimetres to metres is a factor 1000, which the root makes 32."},
			{Name: "half a swing", Value: valueOf(period / 2), Fix: "From the lowest point to the lowest point again."},
		},
		Range:     [2]float64{0.45, 0.9},
		Hints:     [2]string{"T = 2π √(m/k), and k x = m g. What becomes of the mass?", "T = 2π √(x/g)."},
		Worked:    fmt.Sprintf("%%%%\n// k x = m g gives m/k = x/g: the mass cancels.\nx := %s // m\nsheet.Number(\"period\", 2*math.Pi*math.Sqrt(x/9.81), \"s\")", lit(sag/1000)),
		Reasoning: "$T = 2\\pi\\sqrt{m/k}$ and $kx = mg$, so $T = 2\\pi\\sqrt{x/g}$: the sag alone tells the period, whatever the mass and the spring. It is that of a pendulum as long as the sag.",
		Source: Source{Text: printed["source"], Published: true, Check: &SourceCheck{
			Table: worked03, ID: "spring-11", Got: sagPeriod(0.250, 9.80), Want: printed.Float("published_answer"), Within: 0.005}},
	}
}

// sagOf is g/omega0².
func sagOf(frequency, g float64) float64 {
	return gravlab.Must(sensor.Suspension{Mass: 1, Frequency: frequency, Q: 1}.Sag(g))
}

func sagUnderG(f float64) Question {
	right := sagOf(f, gravlab.StandardGravity)
	exact := testdata.Find("model_checks.csv", "sensor-sag-01") // 3.1 Hz
	mems := testdata.Find("values.csv", "mems_noise")
	return Question{
		ID: "sag", Kind: judge.Number, Marks: 2, Title: "What one g does to a chip",
		Prompt: fmt.Sprintf("A gravity meter is etched from a silicon chip: a mass on springs with a resonance of %.1f Hz along the vertical. If its springs were plain linear ones, how far would the mass sink when the chip is set upright, from no gravity along the springs to $1\\ g_\\mathrm{n} = 9.80665\\ \\mathrm{m/s^2}$?", f),
		Unit:   "mm", Tol: judge.Tolerance{Rel: 0.005, Why: "g of 9.80 to 9.81 m/s² and three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the frequency taken for the angular frequency", Value: valueOf(right * 4 * math.Pi * math.Pi), Fix: "ω₀ = 2π f₀, and it is squared as a whole."},
			{Name: "one factor of 2π left out", Value: valueOf(right * 2 * math.Pi), Fix: "ω₀² = (2π f₀)²: the 2π is squared too."},
			{Name: "1 g taken for 1 m/s²", Value: valueOf(right / gravlab.StandardGravity), Fix: "1 g is 9.80665 m/s²."},
		},
		Range:     [2]float64{0.01, 0.055},
		Hints:     [2]string{"At rest k x = m g, and k/m is ω₀².", "x = g/(2π f₀)²."},
		Worked:    fmt.Sprintf("%%%%\n// x = m g/k = g/omega0².\nw := 2 * math.Pi * %s // rad/s\nsheet.Number(\"sag\", 9.80665/(w*w), \"m\")", lit(f)),
		Reasoning: "$x = mg/k = g/\\omega_0^2$. Centimetres of sag do not fit into a chip half a millimetre thick that leaves room for a few tenths of a millimetre: such sensors carry the constant part of $g$ by springs that are stiff at first and give way under load, so that they are soft only where they work.",
		Source: Source{Text: "independently computed: " + exact["route"] + "; a resonance of 3.1 Hz: " + mems["source"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "sensor-sag-01", Got: sagOf(3.1, 9.80665), Want: exact.Float("value"), Within: 1e-12}},
	}
}

func moveByMicroGal(d *Draw, f float64) Question {
	dg := d.Between("change", 3, 20, 1) // µGal
	move := func(k Known) float64 { return k["sag"] * dg * gravlab.MicroGal / gravlab.StandardGravity }
	return Question{
		ID: "micro", Kind: judge.Number, Marks: 2, Title: "And a very small part of a g", Uses: []string{"sag"},
		Prompt: fmt.Sprintf("The same chip is to notice a change of gravity of %g µGal. How far does its mass move for that? An atom of silicon measures about 200 pm.", dg),
		Unit:   "pm", Tol: judge.Tolerance{Rel: 0.008, Why: "g of 9.80 to 9.81 m/s² and three digits carried"},
		Solve: move,
		Slips: []Slip{
			{Name: "1 Gal taken for 1 m/s²", Value: func(k Known) float64 { return 100 * move(k) }, Fix: "1 Gal is 1 cm/s²: 1 µGal = 10 nm/s²."},
			{Name: "micro-g taken for micro-Gal", Value: func(k Known) float64 { return 980.665 * move(k) }, Fix: "The Gal is a unit of its own, 0.01 m/s², and no multiple of g."},
		},
		Range:     [2]float64{3e-11, 1.2e-9},
		Hints:     [2]string{"A linear spring: the move is to the sag as the change is to g.", "1 µGal = 10⁻⁸ m/s². x = Δg/ω₀²."},
		Worked:    fmt.Sprintf("%%%%\n// x = dg/omega0², with 1 µGal = 1e-8 m/s².\nw := 2 * math.Pi * %s // rad/s\nsheet.Number(\"micro\", %s*gravlab.MicroGal/(w*w), \"m\")", lit(f), lit(dg)),
		Reasoning: "$x = \\Delta g/\\omega_0^2$: the sag that holds the whole of $g$, divided by as many parts as the change is small. Softness is signal, and softness is sag.",
		Source:    Source{Text: "the formula of the question before; 1 Gal = 1 cm/s² (SI Brochure, 9th ed., table of units outside the SI, from memory)"},
	}
}

// pairFrequency is the resonance at which the acceleration a moves the mass by x.
func pairFrequency(x, a float64) float64 { return gravlab.Must(sensor.FrequencyFromSag(x, a)) }

func resonanceOfPair(d *Draw) Question {
	x := d.Between("pair x", 1.0, 3.0, 0.1)    // pm
	a := d.Between("pair a", 0.10, 0.60, 0.05) // ng
	f := func(x, a float64) func(Known) float64 {
		return valueOf(pairFrequency(x*1e-12, a*1e-9))
	}
	right := f(x, a*gravlab.StandardGravity)
	example := testdata.Find(worked03, "spring-15") // 1.4e-12 m, 0.25e-9 g with g = 9.81
	return Question{
		ID: "pair", Kind: judge.Number, Marks: 2, Title: "Reading a brochure",
		Prompt: fmt.Sprintf("A brochure promises an accelerometer that resolves %.2f ng (nano-$g$), and says elsewhere that its readout resolves a displacement of %.1f pm of the mass. Which natural frequency does this pair imply, if both are for slow signals and the readout is what limits?", a, x),
		Unit:   "Hz", Tol: judge.Tolerance{Rel: 0.005, Why: "g of 9.80 to 9.81 m/s², which a root halves, and three digits carried"},
		Solve: right,
		Slips: []Slip{
			{Name: "the angular frequency for the frequency", Value: valueOf(2 * math.Pi * right(nil)), Fix: "√(a/x) is ω₀ in rad/s; the frequency is that over 2π."},
			{Name: "nano-g taken for nm/s²", Value: f(x, a), Fix: "1 ng is 9.81 nm/s²."},
			{Name: "the root left out", Value: valueOf(math.Pow(2*math.Pi*right(nil), 2) / (2 * math.Pi)), Fix: "a = ω₀² x: take the root."},
		},
		Range:     [2]float64{2.5, 13},
		Hints:     [2]string{"For slow signals x = a/ω₀².", "f₀ = √(a/x)/(2π), with a in m/s² and x in m."},
		Worked:    fmt.Sprintf("%%%%\n// For slow signals x = a/omega0², so omega0 = sqrt(a/x).\na, x := %s*9.81, %s // m/s², m\nsheet.Number(\"pair\", math.Sqrt(a/x)/(2*math.Pi), \"Hz\")", goFloat(a*1e-9, 3), goFloat(x*1e-12, 2)),
		Reasoning: "Far below its resonance the mass moves by $a/\\omega_0^2$, so any pair of displacement and acceleration names a resonance. If the brochure states another one, ask: a stiffer sensor needs a better readout for the same promise.",
		Source: Source{Text: example["source"] + ", from memory", Check: &SourceCheck{
			Table: worked03, ID: "spring-15", Got: pairFrequency(1.4e-12, 0.25e-9*9.81), Want: example.Float("published_answer"), Within: 0.05}},
	}
}

func whichWay() Question {
	return Question{
		ID: "way", Kind: judge.Choice, Marks: 1, Title: "Which way does it go?",
		Prompt: "The sensor stands on the floor of a lift, its spring upright. The lift starts upwards, gently, for many periods of the spring. Where does the mass go, seen from the sensor's frame?",
		Options: []judge.Option{
			{Letter: "a", Text: "up, because it is pushed up", Idea: "The frame is pushed up; the mass feels it only through the spring, which must first be stretched."},
			{Letter: "b", Text: "down by $a/\\omega_0^2$, as if gravity had grown", Right: true},
			{Letter: "c", Text: "down first, then back to where it was", Idea: "It would come back when the acceleration ends. As long as it lasts the spring has to pull harder."},
			{Letter: "d", Text: "nowhere, since mass and frame accelerate alike", Idea: "They accelerate alike in the end, and for that the spring must pull the mass along: it is longer than at rest."},
		},
		Worked:    "%%\nsheet.Choice(\"way\", \"b\") // x = -a/omega0²: to pull the mass along, the spring has to be longer",
		Reasoning: "$x = -a/\\omega_0^2$ far below resonance: the minus sign says that the mass lags behind. A sensor cannot tell this from gravity that has grown by $a$; lab 07 takes that seriously.",
		Source:    Source{Text: "common practice, no source: the equation of motion"},
	}
}

// gainOf is |x/a|.
func gainOf(s sensor.Suspension, f float64) float64 { return cmplx.Abs(gravlab.Must(s.Response(f))) }

func responseFunction(d *Draw, s sensor.Suspension) Question {
	r := d.Rand("response calls")
	calls := [][]float64{{clean(0.1 * s.Frequency)}, {clean(roundTo(0.98*s.Frequency, 3))}, {clean(10 * s.Frequency)}}
	for range 7 {
		calls = append(calls, []float64{roundTo(s.Frequency*math.Pow(10, 1.6*r.Float64()-0.8), 3)})
	}
	calls = append(calls, []float64{roundTo(1.03*s.Frequency, 3)}, calls[1])
	one := func(f func(x float64) float64) func([]float64) []float64 {
		return func(a []float64) []float64 { return []float64{f(a[0])} }
	}
	w0 := 2 * math.Pi * s.Frequency
	exact := testdata.Find("model_checks.csv", "sensor-transfer-01") // 4.2 Hz, Q 85, at 0.3 Hz
	return Question{
		ID: "response", Kind: judge.Function, Marks: 3, Title: "The transfer function",
		Prompt: fmt.Sprintf("Write a function `response` that returns $|x/a|$, in s², at the frequency $f$ (Hz) for a sensor with $f_0 = %.1f\\ \\mathrm{Hz}$ and $Q = %g$.", s.Frequency, s.Q),
		Tol:    judge.Tolerance{Rel: 2e-3, Why: "the formula is exact; π of 3.142 is 0.01 % off"},
		Function: &Function{
			Name: "response", Signature: judge.OneToOne, Calls: calls, Right: one(func(f float64) float64 { return gainOf(s, f) }),
			Slips: []FunctionSlip{
				{Name: "the damping left out", F: one(func(f float64) float64 { w := 2 * math.Pi * f; return 1 / math.Abs(w0*w0-w*w) }), Fix: "Near the resonance only the damping keeps the motion finite: the term ωω₀/Q."},
				{Name: "frequencies taken for angular frequencies", F: one(func(f float64) float64 { return gainOf(s, f) * 4 * math.Pi * math.Pi }), Fix: "ω = 2πf, in every term."},
				{Name: "the terms added without a right angle between them", F: one(func(f float64) float64 {
					w := 2 * math.Pi * f
					return 1 / (math.Abs(w0*w0-w*w) + w*w0/s.Q)
				}), Fix: "The damping term is imaginary: the size of a complex number is the root of the sum of squares."},
				{Name: "the root not taken", F: one(func(f float64) float64 { return math.Pow(gainOf(s, f), 2) }), Fix: "The size of a complex number is the root of the sum of squares of its parts."},
			},
		},
		Hints:     [2]string{"The denominator has a real part, ω₀² − ω², and an imaginary one, ωω₀/Q.", "|x/a| = 1/√((ω₀² − ω²)² + (ωω₀/Q)²): math.Hypot does the root."},
		Worked:    fmt.Sprintf("// The denominator is a complex number; its size is the root of the sum of\n// the squares of its two parts.\nfunc response(f float64) float64 {\n\tw0, Q := 2*math.Pi*%s, %s\n\tw := 2 * math.Pi * f\n\treturn 1 / math.Hypot(w0*w0-w*w, w*w0/Q)\n}\n\n%%%%\nsheet.Function(\"response\", response)", lit(s.Frequency), lit(s.Q)),
		Reasoning: "Put $x$ and $a$ with $e^{i\\omega t}$ into the equation of motion: $x(-\\omega^2 + i\\omega\\omega_0/Q + \\omega_0^2) = -a$. The size of the bracket is the root of the squares of its parts.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "sensor-transfer-01", Got: gainOf(sensor.Suspension{Mass: 1, Frequency: 4.2, Q: 85}, 0.3), Want: exact.Float("value"), Within: 1e-12}},
	}
}

func atResonance(d *Draw, s sensor.Suspension) Question {
	a := d.Between("fan", 0.2, 1.0, 0.05) // mm/s²
	w0 := 2 * math.Pi * s.Frequency
	right := a / 1000 * gainOf(s, s.Frequency)
	exact := testdata.Find("model_checks.csv", "sensor-transfer-03") // 4.2 Hz, Q 85, at resonance
	return Question{
		ID: "at-resonance", Kind: judge.Number, Marks: 2, Title: "A fan at the wrong speed",
		Prompt: fmt.Sprintf("A fan next door shakes the floor with exactly %.1f Hz, the natural frequency of the sensor of the last question ($Q = %g$). The floor's acceleration has an amplitude of %.2f mm/s². With which amplitude does the mass move in its frame, once it has settled?", s.Frequency, s.Q, a),
		Unit:   "µm", Tol: judge.Tolerance{Rel: 0.005, Why: "three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "Q left out", Value: valueOf(right / s.Q), Fix: "a/ω₀² is the answer far below resonance. At resonance the motion builds up to Q times that."},
			{Name: "the frequency taken for the angular frequency", Value: valueOf(right * 4 * math.Pi * math.Pi), Fix: "ω₀ = 2π f₀, squared."},
			{Name: "divided by Q", Value: valueOf(a / 1000 / (w0 * w0) / s.Q), Fix: "Less damping means more motion."},
		},
		Range:     [2]float64{5e-7, 1.2e-4},
		Hints:     [2]string{"Which term of the denominator is left at ω = ω₀?", "|x/a| = Q/ω₀² there."},
		Worked:    fmt.Sprintf("%%%%\n// At omega0 only the damping term is left: |x/a| = Q/omega0².\nw0, Q, a := 2*math.Pi*%s, %s, %s // rad/s, 1, m/s²\nsheet.Number(\"at-resonance\", a*Q/(w0*w0), \"m\")", lit(s.Frequency), lit(s.Q), goFloat(a/1000, 3)),
		Reasoning: "At $\\omega = \\omega_0$ the real part of the denominator vanishes and $|x/a| = Q/\\omega_0^2$, a quarter of a period behind. It takes about $Q$ swings to build up.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "sensor-transfer-03", Got: gainOf(sensor.Suspension{Mass: 1, Frequency: 4.2, Q: 85}, 4.2), Want: exact.Float("value"), Within: 1e-12}},
	}
}

func aboveResonance(d *Draw, s sensor.Suspension) Question {
	f := math.Round(s.Frequency * d.Between("times", 8, 14, 1))
	floor := d.Between("floor", 0.5, 3, 0.1) // µm
	w, w0 := 2*math.Pi*f, 2*math.Pi*s.Frequency
	a := floor * 1e-6 * w * w
	right := a * gainOf(s, f)
	exact := testdata.Find("model_checks.csv", "sensor-transfer-05") // 4.2 Hz, Q 85, at 31 Hz
	return Question{
		ID: "above-resonance", Kind: judge.Number, Marks: 2, Title: "A pump far above",
		Prompt: fmt.Sprintf("A pump shakes the floor at %g Hz, far above the natural frequency of the same sensor (%.1f Hz). The floor moves by an amplitude of %.1f µm. With which amplitude does the mass move *in its frame*?", f, s.Frequency, floor),
		Unit:   "µm", Tol: judge.Tolerance{Rel: 0.025, Why: "the limit far above resonance is up to 1.6 % off at 8 f₀"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the rule for slow signals", Value: valueOf(a / (w0 * w0)), Fix: "x = a/ω₀² holds below resonance only. What can the mass do when the frame is much faster than its spring?"},
			{Name: "the floor's amplitude divided as if the mass went along with it", Value: valueOf(floor * 1e-6 * w0 * w0 / (w * w)), Fix: "That is how far the mass moves in the room. In its frame the frame moves about it."},
			{Name: "built up by Q", Value: valueOf(right * s.Q), Fix: "Q counts at the resonance; far from it the damping hardly matters."},
		},
		Range:     [2]float64{4e-7, 3.3e-6},
		Hints:     [2]string{"The floor's acceleration is ω² times its displacement.", "Far above resonance |x/a| tends to 1/ω²."},
		Worked:    fmt.Sprintf("%%%%\n// a = omega² times the floor's motion; the model gives x/a at any frequency.\ns := sensor.Suspension{Mass: 0.1, Frequency: %s, Q: %s}\nw := 2 * math.Pi * %s // rad/s\nx := %s * w * w * cmplx.Abs(gravlab.Must(s.Response(%s)))\nsheet.Number(\"above-resonance\", x, \"m\")", lit(s.Frequency), lit(s.Q), lit(f), goFloat(floor*1e-6, 2), lit(f)),
		Reasoning: "Far above resonance the spring is too soft to take the mass along: it stands still in the room and the frame moves about it. $|x/a| \\to 1/\\omega^2$, so $x$ is the displacement of the floor itself.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "sensor-transfer-05", Got: gainOf(sensor.Suspension{Mass: 1, Frequency: 4.2, Q: 85}, 31), Want: exact.Float("value"), Within: 1e-14}},
	}
}

func whyASoftSpring() Question {
	return Question{
		ID: "soft", Kind: judge.Choice, Marks: 1, Title: "Why go to the trouble of a soft spring?",
		Prompt: "Gravity meters work hard for a low natural frequency. What does it buy?",
		Options: []judge.Option{
			{Letter: "a", Text: "a larger displacement for the same change of gravity, so that the readout needs to resolve less", Right: true},
			{Letter: "b", Text: "a wider band of frequencies in which the sensor is true", Idea: "The other way round: a sensor follows acceleration up to about its natural frequency, so a soft one has the narrower band."},
			{Letter: "c", Text: "a smaller sag under the weight", Idea: "The sag is g/ω₀²: it grows as the spring gets softer, and is the price."},
			{Letter: "d", Text: "a quicker answer", Idea: "A soft spring swings slowly, and takes about Q of its periods to settle."},
		},
		Worked:    "%%\nsheet.Choice(\"soft\", \"a\") // x = dg/omega0²",
		Reasoning: "$x = \\Delta g/\\omega_0^2$: half the frequency gives four times the displacement for the same change. The price is sag, slowness, and a narrow band.",
		Source:    Source{Text: "common practice, no source"},
	}
}

func whichEnd() Question {
	return Question{
		ID: "which-end", Kind: judge.Choice, Marks: 1, Title: "Two instruments, one transfer function",
		Prompt: "The same mass on a spring serves in two instruments. A strong-motion accelerometer is to give the ground's *acceleration* from 0 to 50 Hz. A simple seismometer with a coil is to follow the ground's *motion* from 2 Hz up. Which natural frequencies suit?",
		Options: []judge.Option{
			{Letter: "a", Text: "accelerometer 100 Hz, seismometer 1 Hz", Right: true},
			{Letter: "b", Text: "accelerometer 1 Hz, seismometer 100 Hz", Idea: "Below resonance x follows the acceleration, above it the displacement of the ground. Which side of its resonance does each need?"},
			{Letter: "c", Text: "100 Hz for both", Idea: "Below 100 Hz the mass follows the acceleration. To stand still while the ground moves it has to be soft."},
			{Letter: "d", Text: "whatever, as long as $Q$ is high", Idea: "Q matters near the resonance, where neither wants to work; both instruments are damped on purpose."},
		},
		Worked:    "%%\nsheet.Choice(\"which-end\", \"a\") // flat in acceleration below f0, in displacement above",
		Reasoning: "Below $f_0$ the mass follows the acceleration, $|x/a| = 1/\\omega_0^2$; above it stands still and $x$ is the displacement of the ground.",
		Source:    Source{Text: "common practice, no source"},
	}
}

func uOfStiffness(d *Draw) Question {
	um := d.Between("u mass", 0.4, 0.8, 0.1)
	uf := d.Between("u frequency", 0.4, 0.9, 0.1)
	u := math.Hypot(um, 2*uf)
	return Question{
		ID: "u-stiffness", Kind: judge.Number, Marks: 2, Title: "A budget of two lines",
		Prompt: fmt.Sprintf("Somebody finds the spring constant from $k = m(2\\pi f_0)^2$, with relative standard uncertainties of %.1f %% of the mass and %.1f %% of the frequency, which have nothing to do with each other. What is the relative standard uncertainty of $k$, in per cent?", um, uf),
		Unit:   "%", Tol: judge.Tolerance{Rel: 0.02, Why: "an uncertainty is stated with two digits"},
		Solve: valueOf(u / 100),
		Slips: []Slip{
			{Name: "the exponent of the frequency left out", Value: valueOf(math.Hypot(um, uf) / 100), Fix: "k goes with f²: a relative change of f counts twice."},
			{Name: "added straight, not in quadrature", Value: valueOf((um + 2*uf) / 100), Fix: "Independent uncertainties add as squares; take the root of the sum."},
			{Name: "halved instead of doubled", Value: valueOf(math.Hypot(um, uf/2) / 100), Fix: "A square doubles a relative change; halving belongs to a root."},
		},
		Range:     [2]float64{0.007, 0.022},
		Hints:     [2]string{"Relative uncertainties, each times its exponent.", "Square them, add, take the root."},
		Worked:    fmt.Sprintf("%%%%\n// The exponents are 1 for m and 2 for f.\nsheet.Number(\"u-stiffness\", math.Hypot(%s, 2*%s), \"%%\")", lit(um), lit(uf)),
		Reasoning: "$u^2(k)/k^2 = u^2(m)/m^2 + 4\\,u^2(f_0)/f_0^2$; the $2\\pi$ is exact.",
		Source:    Source{Text: "JCGM 100:2008, 5.1.6 (from memory): products of powers"},
	}
}

// shakingGain is in counts per m/s²; see SOURCES.md.
const shakingGain = 427697.373184

func shakingCounts() []float64 {
	var counts []float64
	for _, row := range testdata.Table("geonet_accel_DUWZ_HNZ_20161224.csv") {
		counts = append(counts, row.Float("counts"))
	}
	return counts
}

func shaking() Recording {
	return Recording{
		ID: "earthquake", Title: "A small earthquake in New Zealand, 24 December 2016, as a strong-motion accelerometer wrote it down (GeoNet, station DUWZ, vertical)",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "counts", Unit: "1"}},
		Make: func() ([][]float64, error) {
			counts := shakingCounts()
			t := make([]float64, len(counts))
			for i := range t {
				t[i] = clean(float64(i) / 200)
			}
			return [][]float64{t, counts}, nil
		},
	}
}

// shakingPeaks are three readings of the record, in m/s²: the largest
// distance from its mean, half of the way from its lowest to its highest value,
// and the largest value as it stands.
var shakingPeaks = sync.OnceValue(func() (p struct{ peak, halfRange, raw float64 }) {
	counts := shakingCounts()
	mean, low, high := sum(counts)/float64(len(counts)), slices.Min(counts), slices.Max(counts)
	p.peak = math.Max(high-mean, mean-low) / shakingGain
	p.halfRange = (high - low) / 2 / shakingGain
	p.raw = high / shakingGain
	return p
})

func massInAnEarthquake(d *Draw) Question {
	f := d.Between("accelerometer", 120, 200, 5)
	p := shakingPeaks()
	peak := p.peak
	w := 2 * math.Pi * f
	return Question{
		ID: "earthquake", Kind: judge.Number, Marks: 3, Title: "A mass in an earthquake",
		Prompt: fmt.Sprintf("`sheet.Recording(\"earthquake\")` is real: 50 s of a strong-motion accelerometer in New Zealand, `time` in s and `counts` of its converter, 427 697 counts for $1\\ \\mathrm{m/s^2}$. At rest its converter does not stand at 0. "+
			"Suppose the instrument has a natural frequency of %g Hz, far above what the earthquake holds. How far from its rest was the mass at most?", f),
		Unit: "nm", Tol: judge.Tolerance{Rel: 0.02, Why: "mean, median or quiet part for the rest differ by less than 0.1 %; three digits carried"},
		Solve: valueOf(peak / (w * w)),
		Slips: []Slip{
			{Name: "the offset of the converter left in", Value: valueOf(p.raw / (w * w)), Fix: "Before the earthquake the converter stands far from 0 although nothing moves.\nTake the mean away first."},
			{Name: "half of the way from the lowest to the highest value", Value: valueOf(p.halfRange / (w * w)), Fix: "The shaking is not symmetric. From the rest to the furthest point, on whichever side that is."},
			{Name: "the frequency taken for the angular frequency", Value: valueOf(peak / (f * f)), Fix: "ω₀ = 2π f₀, squared."},
			{Name: "per cent of g taken for m/s²", Value: valueOf(peak * 100 / 9.81 / (w * w)), Fix: "In SI units throughout: counts over counts per m/s² are m/s²."},
		},
		Range:     [2]float64{2.5e-9, 1e-8},
		Hints:     [2]string{"Plot the counts first. What are they before the earthquake comes?", "Largest distance from the mean, over the counts per m/s², over (2πf₀)²."},
		Worked:    fmt.Sprintf("%%%%\n// The rest of the converter is the mean; the furthest reading from it, in\n// m/s², moves the mass by a/omega0².\ncounts := sheet.Recording(\"earthquake\").Column(\"counts\")\nmean, far := 0.0, 0.0\nfor _, c := range counts {\n\tmean += c / float64(len(counts))\n}\nfor _, c := range counts {\n\tfar = math.Max(far, math.Abs(c-mean))\n}\nw := 2 * math.Pi * %s // rad/s\nsheet.Number(\"earthquake\", far/427697/(w*w), \"m\")", lit(f)),
		Reasoning: "The offset is no acceleration of the ground. What is left peaks at 0.0049 m/s², 0.0504 % of $g$; another sensor at the place published 0.0481 %, since it filters differently. Divided by $\\omega_0^2$ that is some nanometres.",
		Source: Source{Text: "GeoNet / GNS Science, New Zealand, earthquake 2016p969664, station DUWZ (MIT licence); published peak by another sensor: 0.0481 % of g", Published: true, Check: &SourceCheck{
			// Another sensor and another filter: within 5 %.
			Table: "geonet_accel_DUWZ_HNZ_20161224.csv", ID: "peak, % of g", Got: 100 * peak / gravlab.StandardGravity, Want: 0.0481, Within: 0.05 * 0.0481}},
	}
}
