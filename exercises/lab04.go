package exercises

import (
	"fmt"
	"math"
	"strings"

	"gravity.example/gravlab"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/sensor"
	"gravity.example/gravlab/signal"
	"gravity.example/testdata"
)

var howQuiet = Lab{
	ID: "04-how-quiet", Title: "How quiet", Minutes: 80,
	Tracks: []Track{LaboratoryClass, PlanetarySpace}, BuildsOn: []string{"03-mass-on-a-spring"}, Graded: true,
	Build: buildHowQuiet,
}

// A quietSensor is the sensor of one sheet.
type quietSensor struct {
	sensor.Suspension
	readout float64 // pm/√Hz, white
	other   float64 // nm/s²/√Hz, white: everything that has no name yet
}

func buildHowQuiet(d *Draw) Paper {
	s := quietSensor{
		Suspension: sensor.Suspension{
			Mass:      d.Between("mass", 0.15, 0.6, 0.05) / 1000,
			Frequency: d.Between("frequency", 3, 6, 0.1),
			Q:         d.Between("Q", 300, 1500, 100), Temperature: 293.15,
		},
		readout: d.Between("readout", 0.4, 2, 0.1),
		other:   d.Between("other", 0.6, 2.4, 0.2),
	}
	night := drawNight(d)
	return Paper{
		Recordings: []Recording{night.recording()},
		Questions: []Question{
			s.thermal(), s.structural(d), s.readoutNoise(d), amplifierNoise(d),
			stripsOfElectrode(d), whatCuttingDoes(), patchForce(d),
			s.total(d), crossingOfNoise(d), noiseInBand(d),
			allanOfNine(d), night.white(), night.floor(), whatRises(),
			massForTarget(d), marginOfDesign(d),
		},
	}
}

const densityUnit = "nm/s²/√Hz"

// massText is the mass in mg, as prompts have it.
func (s quietSensor) massText() string { return fmt.Sprintf("%g mg", clean(s.Mass*1e6)) }

// densityAt is the density of the suspension's thermal noise at f.
func densityAt(s sensor.Suspension, f float64) float64 {
	return gravlab.Must(s.ThermalNoise()).Density(f)
}

func (s quietSensor) thermal() Question {
	right := densityAt(s.Suspension, 1)
	exact := testdata.Find("model_checks.csv", "sensor-thermal-01")
	return Question{
		ID: "thermal", Kind: judge.Number, Marks: 2, Title: "The hiss of the gas",
		Prompt: fmt.Sprintf("A sensor has a mass of %s on a spring, a natural frequency of %.1f Hz, and in its thin gas a quality factor of %g. It stands in a room of 20 °C (293 K). Which thermal acceleration noise does the gas cause, as a one-sided amplitude density?", s.massText(), s.Frequency, s.Q),
		Unit:   densityUnit, Tol: judge.Tolerance{Rel: 0.01, Why: "293 for 293.15 K and three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the two-sided density", Value: valueOf(right / math.Sqrt2), Fix: "A one-sided density holds the power of both signs of the frequency: 4 k_B T, not 2 k_B T."},
			{Name: "the frequency taken for the angular frequency", Value: valueOf(right / math.Sqrt(2*math.Pi)), Fix: "ω₀ = 2π f₀."},
			{Name: "degrees Celsius taken for kelvin", Value: valueOf(right * math.Sqrt(20/293.15)), Fix: "Thermal noise knows the absolute temperature only."},
			{Name: "the quality factor left out", Value: valueOf(right * math.Sqrt(s.Q)), Fix: "Little damping, little noise: the damping force constant is m ω₀/Q."},
		},
		Range:     [2]float64{4e-10, 5e-9},
		Hints:     [2]string{"Everything in SI units, the temperature in kelvin: a² = 4 k_B T ω₀/(m Q).", "Take the root: a density of amplitude is the root of a density of power."},
		Worked:    fmt.Sprintf("%%%%\n// a = sqrt(4 kB T omega0/(m Q)); the mass in kg.\nm, w0, Q := %s, 2*math.Pi*%s, %s // kg, rad/s, 1\na := math.Sqrt(4 * gravlab.BoltzmannK * 293.15 * w0 / (m * Q))\nsheet.Number(\"thermal\", a, \"m/s²/√Hz\")", goFloat(s.Mass, 3), lit(s.Frequency), lit(s.Q)),
		Reasoning: "The gas pushes back with $m\\omega_0/Q$ times the speed, so by the fluctuation–dissipation theorem it also pushes at random, with a force density of $\\sqrt{4k_\\mathrm{B}T\\,m\\omega_0/Q}$; over the mass that is an acceleration.",
		Source: Source{Text: "H. B. Callen and T. A. Welton, Phys. Rev. 83 (1951) 34, and T. B. Gabrielson, IEEE Trans. Electron Devices 40 (1993) 903 (both from memory); independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "sensor-thermal-01",
			Got:  densityAt(sensor.Suspension{Mass: 0.35e-3, Frequency: 5.4, Q: 1500, Temperature: 295}, 1),
			Want: exact.Float("value"), Within: 1e-9 * exact.Float("value")}},
	}
}

func (s quietSensor) structural(d *Draw) Question {
	f := d.Between("structural at", 0.1, 0.3, 0.05)
	inside := s.Suspension
	inside.Damping = sensor.Structural
	right := densityAt(inside, f)
	exact := testdata.Find("model_checks.csv", "sensor-thermal-03")
	return Question{
		ID: "structural", Kind: judge.Number, Marks: 2, Title: "Take the gas away",
		Prompt: fmt.Sprintf("Pump the gas out, and suppose that the same $Q = %g$ is left, now from losses inside the spring, a loss angle $1/Q$ at all frequencies. What is the thermal acceleration noise of the sensor of the last question at %.2f Hz?", s.Q, f),
		Unit:   densityUnit, Tol: judge.Tolerance{Rel: 0.01, Why: "293 for 293.15 K and three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the formula for gas", Value: valueOf(densityAt(s.Suspension, f)), Fix: "A loss inside the spring does not fall with the speed: its noise grows towards low frequencies."},
			{Name: "the frequency of the signal taken for its angular frequency", Value: valueOf(right * math.Sqrt(2*math.Pi)), Fix: "ω = 2πf in the denominator too."},
			{Name: "the ratio of the frequencies not rooted", Value: valueOf(densityAt(s.Suspension, f) * s.Frequency / f), Fix: "The power density grows as ω₀/ω, the amplitude density as its root."},
		},
		Range:     [2]float64{1.5e-9, 4e-8},
		Hints:     [2]string{"At the resonance both kinds agree. How does this one depend on the frequency?", "a² = 4 k_B T ω₀²/(m Q ω)."},
		Worked:    fmt.Sprintf("%%%%\n// Structural loss: the power density grows as omega0/omega below resonance.\ns := sensor.Suspension{Mass: %s, Frequency: %s, Q: %s, Damping: sensor.Structural, Temperature: 293.15}\nsheet.Number(\"structural\", gravlab.Must(s.ThermalNoise()).Density(%s), \"m/s²/√Hz\")", goFloat(s.Mass, 3), lit(s.Frequency), lit(s.Q), lit(f)),
		Reasoning: "With a constant loss angle the resistance is $k/(Q\\omega)$, larger at low frequencies; so $a^2 = 4k_\\mathrm{B}T\\,\\omega_0^2/(mQ\\omega)$. Who extrapolates a $Q$ measured at resonance with the wrong law is too hopeful by $\\sqrt{f_0/f}$.",
		Source: Source{Text: "P. R. Saulson, Phys. Rev. D 42 (1990) 2437 (from memory); independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "sensor-thermal-03",
			Got:  densityAt(sensor.Suspension{Mass: 0.35e-3, Frequency: 5.4, Q: 1500, Damping: sensor.Structural, Temperature: 295}, 0.7),
			Want: exact.Float("value"), Within: 1e-9 * exact.Float("value")}},
	}
}

// readoutDensity is white displacement noise x (m/√Hz) as acceleration at f.
func readoutDensity(s sensor.Suspension, x, f float64) float64 {
	return gravlab.Must(s.ReadoutNoise(x)).Density(f)
}

func (s quietSensor) readoutNoise(d *Draw) Question {
	f := math.Round(s.Frequency * d.Between("above", 2, 3, 0.25))
	x := s.readout * 1e-12
	right := readoutDensity(s.Suspension, x, f)
	w, w0 := 2*math.Pi*f, 2*math.Pi*s.Frequency
	exact := testdata.Find("model_checks.csv", "sensor-readout-03")
	return Question{
		ID: "readout", Kind: judge.Number, Marks: 2, Title: "What the readout pretends",
		Prompt: fmt.Sprintf("The readout of the same sensor (%.1f Hz, Q of %g) has a white noise of $%.1f\\ \\mathrm{pm/\\sqrt{Hz}}$ in displacement. As which acceleration noise does that appear at %g Hz?", s.Frequency, s.Q, s.readout, f),
		Unit:   densityUnit, Tol: judge.Tolerance{Rel: 0.01, Why: "three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the rule for slow signals", Value: valueOf(x * w0 * w0), Fix: "Above the resonance the mass moves less for the same acceleration: divide by |x/a| at that frequency."},
			{Name: "the resonance left out", Value: valueOf(x * w * w), Fix: "ω² alone is the limit far above. Here ω₀² is not small against it: ω² − ω₀²."},
			{Name: "frequencies taken for angular frequencies", Value: valueOf(right / (4 * math.Pi * math.Pi)), Fix: "ω = 2πf, in both terms."},
			{Name: "ω² and ω₀² added", Value: valueOf(x * (w*w + w0*w0)), Fix: "Above resonance spring and inertia pull against each other: the difference counts."},
		},
		Range:     [2]float64{2e-10, 3e-8},
		Hints:     [2]string{"Noise as acceleration is noise as displacement over |x/a| at that frequency.", "With high Q, and away from the resonance, |x/a| = 1/|ω₀² − ω²|."},
		Worked:    fmt.Sprintf("%%%%\n// Displacement noise over the response at that frequency.\ns := sensor.Suspension{Mass: %s, Frequency: %s, Q: %s}\nnoise := gravlab.Must(s.ReadoutNoise(%s)) // m/√Hz\nsheet.Number(\"readout\", noise.Density(%s), \"m/s²/√Hz\")", goFloat(s.Mass, 3), lit(s.Frequency), lit(s.Q), goFloat(x, 2), lit(f)),
		Reasoning: "$a_\\mathrm{n} = x_\\mathrm{n}/|x/a| = x_\\mathrm{n}|\\omega_0^2 - \\omega^2|$ away from the resonance: flat below it, growing with the square of the frequency above, and next to nothing at the resonance itself.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "sensor-readout-03",
			Got:  readoutDensity(sensor.Suspension{Mass: 1, Frequency: 1.1, Q: 0.8}, 4e-12, 0.1),
			Want: exact.Float("value"), Within: 1e-9 * exact.Float("value")}},
	}
}

func amplifierNoise(d *Draw) Question {
	e := d.Between("voltage noise", 4, 8, 0.5)    // nV/√Hz
	i := d.Between("current noise", 10, 20, 1)    // fA/√Hz
	c := d.Between("capacitance", 6, 12, 0.5)     // pF
	f := d.Between("carrier", 40, 60, 2)          // kHz
	s := d.Between("sensitivity", 0.05, 0.2, .01) // V/µm
	through := i * 1e-15 / (2 * math.Pi * f * 1e3 * c * 1e-12)
	perMetre := s * 1e6
	right := gravlab.Must(sensor.Amplifier{Voltage: e * 1e-9, Current: i * 1e-15, Capacitance: c * 1e-12, Sensitivity: perMetre}.Displacement(f * 1e3))
	exact := testdata.Find("model_checks.csv", "sensor-amplifier-02")
	return Question{
		ID: "amplifier", Kind: judge.Number, Marks: 2, Title: "Where the picometres come from",
		Prompt: fmt.Sprintf("A capacitive bridge is read with a carrier of %g kHz. Its output changes by %.2f V when the mass moves by 1 µm. The amplifier has a voltage noise of $%.1f\\ \\mathrm{nV/\\sqrt{Hz}}$ and a current noise of $%g\\ \\mathrm{fA/\\sqrt{Hz}}$, which flows through the source's capacitance of %.1f pF; the two are independent. Which displacement noise is that?", f, s, e, i, c),
		Unit:   "fm/√Hz", Tol: judge.Tolerance{Rel: 0.01, Why: "three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the two added straight", Value: valueOf((e*1e-9 + through) / perMetre), Fix: "Independent noises add as squares."},
			{Name: "the current noise left out", Value: valueOf(e * 1e-9 / perMetre), Fix: "A current through a small capacitance is a voltage: i/(ωC)."},
			{Name: "the frequency taken for the angular frequency", Value: valueOf(math.Hypot(e*1e-9, 2*math.Pi*through) / perMetre), Fix: "The impedance of a capacitor is 1/(ωC) with ω = 2πf."},
		},
		Range:     [2]float64{2e-14, 4e-13},
		Hints:     [2]string{"First both noises as voltages: the current times 1/(2πfC).", "Square, add, root; then over the volts per metre of the bridge."},
		Worked:    fmt.Sprintf("%%%%\n// Current noise times the impedance of the source is a voltage; both in\n// quadrature, over the volts per metre.\nthrough := %s / (2 * math.Pi * %s * %s) // V/√Hz\nx := math.Hypot(%s, through) / %s\nsheet.Number(\"amplifier\", x, \"m/√Hz\")", goFloat(i*1e-15, 3), lit(f*1e3), goFloat(c*1e-12, 3), goFloat(e*1e-9, 3), goFloat(perMetre, 3)),
		Reasoning: "$x_\\mathrm{n} = \\sqrt{e_\\mathrm{n}^2 + (i_\\mathrm{n}/\\omega C)^2}\\,/\\,s$. With a carrier the amplifier works at a frequency where $1/(\\omega C)$ is small; without one, at the signal's own frequency, the current noise would be a million times larger.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "sensor-amplifier-02",
			Got:  gravlab.Must(sensor.Amplifier{Voltage: 6e-9, Current: 12e-15, Capacitance: 110e-12, Sensitivity: 2.5e5}.Displacement(20)),
			Want: exact.Float("value"), Within: 1e-9 * exact.Float("value")}},
	}
}

func stripsOfElectrode(d *Draw) Question {
	n := d.Pick("strips", 8, 10, 12, 16, 20)
	pitch := d.Between("pitch", 0.6, 1.2, 0.1)
	length := d.Between("correlation", 1.0, 1.5, 0.1)
	sigma := d.Between("potential", 20, 70, 5)
	s := sensor.Strips{Count: int(n), Pitch: pitch / 1000, CorrelationLength: length / 1000, Sigma: sigma / 1000}
	right := gravlab.Must(s.Alternating())
	exact := testdata.Find("model_checks.csv", "sensor-strips-02")
	return Question{
		ID: "strips", Kind: judge.Number, Marks: 3, Title: "Strips of opposite sign",
		Prompt: fmt.Sprintf("An electrode is cut into %g strips, %.1f mm from centre to centre, that work with alternating sign. Work function and dirt give each strip a potential of its own with a standard deviation of %g mV; the correlation of two strips is $e^{-s/L}$, where $s$ is the distance of their centres and $L = %.1f\\ \\mathrm{mm}$. "+
			"What is the standard deviation of the *alternating* sum of the potentials over their number, $(V_1 - V_2 + V_3 - \\dots)/%g$?", n, pitch, sigma, length, n),
		Unit: "mV", Tol: judge.Tolerance{Rel: 0.015, Why: "two to three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "as if the strips had nothing to do with each other", Value: valueOf(sigma / 1000 / math.Sqrt(n)), Fix: "Neighbours are correlated: the double sum over all pairs has more than its diagonal."},
			{Name: "all strips with the same sign", Value: valueOf(gravlab.Must(s.Mean())), Fix: "Strips side by side work against each other: a pair i, j counts with (−1)^(i−j)."},
			{Name: "divided by the number where its root belongs", Value: valueOf(sigma / 1000 / n), Fix: "Independent errors average as 1/√n, and these are not even independent."},
		},
		Range:     [2]float64{1e-3, 2e-2},
		Hints:     [2]string{"The variance of a sum is the double sum of the covariances, each with both signs.", "sensor.Strips holds number, pitch, correlation length and sigma; it has the methods Mean and Alternating."},
		Worked:    fmt.Sprintf("%%%%\n// Double sum of the covariances, with the signs of both strips.\nn, r, sum := %d, math.Exp(-%s/%s), 0.0\nfor i := range n {\n\tfor j := range n {\n\t\tsign := math.Pow(-1, float64(i-j))\n\t\tsum += sign * math.Pow(r, math.Abs(float64(i-j)))\n\t}\n}\nsheet.Number(\"strips\", %s*math.Sqrt(sum)/float64(n), \"mV\")", int(n), lit(pitch), lit(length), lit(sigma)),
		Reasoning: "$\\sigma^2_\\Sigma = \\frac{\\sigma^2}{n^2}\\sum_{ij}(-1)^{i-j}e^{-|i-j|p/L}$ with the pitch $p$: what neighbours share cancels, so that alternation helps the more, the *wider* the patches are. With the same sign the correlation hurts instead.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "sensor-strips-02",
			Got:  gravlab.Must(sensor.Strips{Count: 8, Pitch: 1.5e-3, CorrelationLength: 0.9e-3, Sigma: 0.02}.Alternating()),
			Want: exact.Float("value"), Within: 1e-9 * exact.Float("value")}},
	}
}

func whatCuttingDoes() Question {
	return Question{
		ID: "cutting", Kind: judge.Choice, Marks: 1, Title: "Would scissors help?",
		Prompt: "A plain electrode of 1 cm² carries patches of 0.1 mm across. Somebody cuts it into twenty strips of 0.5 mm, all joined to the same wire and with the same area in all. What happens to the patches' share in the mean potential?",
		Options: []judge.Option{
			{Letter: "a", Text: "it falls to $1/\\sqrt{20}$, since there are twenty electrodes now", Idea: "Twenty strips hold the same patches as before. The mean over the same area is the same mean."},
			{Letter: "b", Text: "it falls to $1/20$", Idea: "Nothing was taken away: the patches are smaller than a strip and sit on the strips."},
			{Letter: "c", Text: "nothing: the area decides how many patches are averaged", Right: true},
			{Letter: "d", Text: "it grows, since edges attract dirt", Idea: "Perhaps, but that is not what averages. How many patches are there on the electrode, before and after?"},
		},
		Worked:    "%%\nsheet.Choice(\"cutting\", \"c\") // the same 10,000 patches are averaged, cut or not",
		Reasoning: "Independent patches of area $A_p$ average over the area $A$ as $\\sqrt{A_p/A}$, cut or not. Cutting helps when strips have potentials of their own with a correlation shorter than the pitch, or when neighbours work with opposite sign and patches are wider than a pair.",
		Source:    Source{Text: "common practice, no source: the average of independent patches"},
	}
}

func patchForce(d *Draw) Question {
	bias := d.Between("bias", 2.4, 4.4, 0.1)
	gradient := d.Between("gradient", 20, 80, 2) // nF/m
	mass := d.Between("patch mass", 0.2, 0.9, 0.05)
	printed := testdata.Find("values.csv", "patch_noise") // 30 µV/√Hz
	v := printed.Float("value") * 1e-6
	right := gravlab.Must(sensor.PatchNoise(bias, gradient*1e-9, v, mass/1000)).Density(1)
	return Question{
		ID: "patch-force", Kind: judge.Number, Marks: 2, Title: "A potential that will not keep still",
		Prompt: fmt.Sprintf("On gold-coated plates a surface potential noise of $30\\ \\mathrm{\\text{µ}V/\\sqrt{Hz}}$ has been measured. A sensor works with a bias of %.1f V between a comb whose capacitance changes by %g nF per metre of motion and a mass of %.2f g. The force on the mass is $F = \\frac12 V^2\\,\\mathrm{d}C/\\mathrm{d}x$. Which acceleration noise does the fluctuating potential cause?", bias, gradient, mass),
		Unit:   densityUnit, Tol: judge.Tolerance{Rel: 0.01, Why: "three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the ½ of the force kept", Value: valueOf(right / 2), Fix: "A small v beside a large V changes ½V² by V v: the derivative of a square brings a 2."},
			{Name: "the bias left out", Value: valueOf(right / bias), Fix: "The force is linear in the patch only through the bias: F = V v dC/dx."},
			{Name: "the bias squared", Value: valueOf(right * bias), Fix: "One factor of V² is the bias, the other one the patch: V v."},
		},
		Range:     [2]float64{5e-10, 6e-8},
		Hints:     [2]string{"By how much does ½(V + v)² change for a small v?", "F = V v dC/dx; over the mass."},
		Worked:    fmt.Sprintf("%%%%\n// ½(V+v)² grows by V v: the bias turns the potential into a force.\nV, v, dCdx, m := %s, 30e-6, %s, %s // V, V/√Hz, F/m, kg\nsheet.Number(\"patch-force\", V*v*dCdx/m, \"m/s²/√Hz\")", lit(bias), goFloat(gradient*1e-9, 3), goFloat(mass/1000, 3)),
		Reasoning: "$\\frac12(V+v)^2 \\approx \\frac12V^2 + Vv$, so the noise is $V v\\,(\\mathrm{d}C/\\mathrm{d}x)/m$. Without a bias it would be of second order: a reason to keep the bias low, and to choose a comb with a small gradient.",
		Source:    Source{Text: "level of the noise: " + printed["source"] + "; the force from the energy of a capacitor, common practice, no source"},
	}
}

// total is a function that the student writes: three independent terms.
func (s quietSensor) total(d *Draw) Question {
	loss := clean(roundTo(densityAt(sensor.Suspension{Mass: s.Mass, Frequency: s.Frequency, Q: s.Q, Damping: sensor.Structural, Temperature: s.Temperature}, 1)*1e9, 2)) // nm/s²/√Hz at 1 Hz
	readout := gravlab.Must(s.ReadoutNoise(s.readout * 1e-12)).Density
	w0 := 2 * math.Pi * s.Frequency
	terms := func(f float64) (a, b, c float64) { return loss * 1e-9 / math.Sqrt(f), readout(f), s.other * 1e-9 }
	one := func(f func(a, b, c, x float64) float64) func([]float64) []float64 {
		return func(x []float64) []float64 {
			a, b, c := terms(x[0])
			return []float64{f(a, b, c, x[0])}
		}
	}
	root := func(x ...float64) float64 { return math.Sqrt(squares(x)) }
	r := d.Rand("total calls")
	calls := [][]float64{{0.01}, {0.1}, {clean(4 * s.Frequency)}}
	for range 7 {
		calls = append(calls, []float64{roundTo(math.Pow(10, 3.3*r.Float64()-2), 2)})
	}
	calls = append(calls, calls[1])
	return Question{
		ID: "total", Kind: judge.Function, Marks: 3, Title: "The budget as a function",
		Prompt: fmt.Sprintf("Write a function `total` that returns the acceleration noise in $\\mathrm{m/s^2/\\sqrt{Hz}}$ of all sources together at the frequency $f$ (Hz). The sensor has $f_0 = %.1f\\ \\mathrm{Hz}$ and $Q = %g$; the sources are independent: "+
			"thermal noise of the spring, $%g\\ \\mathrm{nm/s^2/\\sqrt{Hz}}$ at 1 Hz and falling as $1/\\sqrt f$; white readout noise of $%.1f\\ \\mathrm{pm/\\sqrt{Hz}}$ in displacement; and a white $%.1f\\ \\mathrm{nm/s^2/\\sqrt{Hz}}$ of everything else.", s.Frequency, s.Q, loss, s.readout, s.other),
		Tol: judge.Tolerance{Rel: 5e-3, Why: "the formula is exact; three digits of 2π carried"},
		Function: &Function{
			Name: "total", Signature: judge.OneToOne, Calls: calls,
			Right: one(func(a, b, c, _ float64) float64 { return root(a, b, c) }),
			Slips: []FunctionSlip{
				{Name: "the densities added straight", F: one(func(a, b, c, _ float64) float64 { return a + b + c }), Fix: "Independent sources add as squares: the root of the sum of squares."},
				{Name: "the readout as below the resonance, everywhere", F: one(func(a, _, c, _ float64) float64 { return root(a, s.readout*1e-12*w0*w0, c) }), Fix: "Above the resonance the mass moves less: divide by |x/a| at the frequency asked for."},
				{Name: "the thermal noise falling as 1/f", F: one(func(a, b, c, f float64) float64 { return root(a/math.Sqrt(f), b, c) }), Fix: "Its power falls as 1/f, its amplitude as 1/√f."},
				{Name: "the root not taken", F: one(func(a, b, c, _ float64) float64 { return a*a + b*b + c*c }), Fix: "The sum of squares is a density of power. Take the root."},
			},
		},
		Hints:     [2]string{"One line for each source, then the root of the sum of squares.", "Readout as acceleration: x_n √((ω₀² − ω²)² + (ωω₀/Q)²)."},
		Worked:    fmt.Sprintf("// Each source as acceleration; independent sources add as squares.\nfunc total(f float64) float64 {\n\tw0, w, Q := 2*math.Pi*%s, 2*math.Pi*f, %s\n\tthermal := %s / math.Sqrt(f)\n\treadout := %s * math.Hypot(w0*w0-w*w, w*w0/Q)\n\tother := %s\n\treturn math.Sqrt(thermal*thermal + readout*readout + other*other)\n}\n\n%%%%\nsheet.Function(\"total\", total)", lit(s.Frequency), lit(s.Q), goFloat(loss*1e-9, 2), goFloat(s.readout*1e-12, 2), goFloat(s.other*1e-9, 2)),
		Reasoning: "Powers of independent sources add. Whoever wants a quieter sensor looks for the largest square: the others hardly show.",
		Source:    Source{Text: "common practice, no source: sum of independent variances; the response is checked in lab 03"},
	}
}

// crossingAbove is the frequency above resonance at which readout noise x
// (m/√Hz) reaches a white acceleration noise a.
func crossingAbove(f0, q, x, a float64) float64 {
	s := sensor.Suspension{Mass: 1, Frequency: f0, Q: q}
	white, readout := gravlab.Must(sensor.White("acceleration", a)), gravlab.Must(s.ReadoutNoise(x))
	return gravlab.Must(sensor.Crossing(white, readout, f0, 100*f0))
}

func crossingOfNoise(d *Draw) Question {
	f0 := d.Between("crossing f0", 3, 8, 0.2)
	x := d.Between("crossing x", 0.2, 0.9, 0.1) // pm/√Hz
	w0 := 2 * math.Pi * f0
	a := roundTo(x*1e-12*w0*w0*d.Between("crossing ratio", 1, 4, 0.25)*1e9, 2) // nm/s²/√Hz
	ratio := a * 1e-9 / (x * 1e-12)
	right := crossingAbove(f0, 1000, x*1e-12, a*1e-9)
	exact := testdata.Find("model_checks.csv", "sensor-cross-01")
	return Question{
		ID: "crossing", Kind: judge.Number, Marks: 2, Title: "Where the readout takes over",
		Prompt: fmt.Sprintf("Another sensor has $f_0 = %.1f\\ \\mathrm{Hz}$ and little damping ($Q = 1000$), a white acceleration noise of $%g\\ \\mathrm{nm/s^2/\\sqrt{Hz}}$, and a readout noise of $%.1f\\ \\mathrm{pm/\\sqrt{Hz}}$. Above the resonance the readout's part grows with frequency. At which frequency does it reach the other?", f0, a, x),
		Unit:   "Hz", Tol: judge.Tolerance{Rel: 0.006, Why: "three digits carried; the damping changes far less"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the resonance left out", Value: valueOf(math.Sqrt(ratio) / (2 * math.Pi)), Fix: "x_n ω² is the limit far above. Near the resonance it is x_n(ω² − ω₀²)."},
			{Name: "the angular frequency for the frequency", Value: valueOf(2 * math.Pi * right), Fix: "In Hz: over 2π."},
			{Name: "frequencies taken for angular frequencies", Value: valueOf(math.Sqrt(f0*f0 + ratio)), Fix: "a/x is a square of an angular frequency: ω² = ω₀² + a/x."},
		},
		Range:     [2]float64{4, 20},
		Hints:     [2]string{"Set the readout as acceleration equal to the other: x_n (ω² − ω₀²) = a_n.", "ω² = ω₀² + a_n/x_n; then f = ω/2π."},
		Worked:    fmt.Sprintf("%%%%\n// x (omega² - omega0²) = a, solved for omega; the damping does not matter here.\nw0 := 2 * math.Pi * %s // rad/s\nw := math.Sqrt(w0*w0 + %s/%s)\nsheet.Number(\"crossing\", w/(2*math.Pi), \"Hz\")", lit(f0), goFloat(a*1e-9, 2), goFloat(x*1e-12, 2)),
		Reasoning: "Above the resonance the readout appears as $x_\\mathrm{n}(\\omega^2 - \\omega_0^2)$, so the two meet at $\\omega^2 = \\omega_0^2 + a_\\mathrm{n}/x_\\mathrm{n}$. A better readout moves the crossing up; it does nothing for the noise below it.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "sensor-cross-01", Got: crossingAbove(5.4, 1500, 2.1e-13, 3e-10), Want: exact.Float("value"), Within: 1e-8}},
	}
}

// inBand is the rms of a budget between f1 and f2.
func inBand(b sensor.Budget, f1, f2 float64) float64 { return gravlab.Must(b.RMS(f1, f2)) }

func noiseInBand(d *Draw) Question {
	a := d.Between("band density", 4, 16, 0.5) // nm/s²/√Hz
	f1 := d.Between("band from", 0.3, 0.6, 0.05)
	f2 := d.Between("band to", 2.5, 4.5, 0.25)
	anything := sensor.Suspension{Mass: 1, Frequency: 10, Q: 1}
	white := sensor.Budget{Suspension: anything, Sources: []sensor.Noise{gravlab.Must(sensor.White("white", a*1e-9))}}
	right := inBand(white, f1, f2)
	exact := testdata.Find("model_checks.csv", "sensor-band-01") // readout and white noise together
	s := sensor.Suspension{Mass: 1, Frequency: 5.4, Q: 1500}
	return Question{
		ID: "band", Kind: judge.Number, Marks: 2, Title: "From a density to a scatter",
		Prompt: fmt.Sprintf("A sensor has a noise of $%.1f\\ \\mathrm{nm/s^2/\\sqrt{Hz}}$, the same at all frequencies of interest, and its signal is filtered to the band from %.2f Hz to %.2f Hz. What is the rms scatter of what is left?", a, f1, f2),
		Unit:   "nm/s²", Tol: judge.Tolerance{Rel: 0.006, Why: "three digits carried"},
		Solve: valueOf(right),
		Slips: []Slip{
			{Name: "the root of the width not taken", Value: valueOf(a * 1e-9 * (f2 - f1)), Fix: "The unit shows it: nm/s² per *root* of a hertz."},
			{Name: "the upper edge taken for the width", Value: valueOf(a * 1e-9 * math.Sqrt(f2)), Fix: "The band begins at its lower edge, not at 0."},
			{Name: "peak to peak of a sine for the rms", Value: valueOf(right * 2 * math.Sqrt2), Fix: "The rms is asked for; noise has no amplitude."},
		},
		Range:     [2]float64{4e-9, 3.2e-8},
		Hints:     [2]string{"Variance is the integral of the power density over the band.", "rms = density · √(f₂ − f₁)."},
		Worked:    fmt.Sprintf("%%%%\n// The variance is density² times width.\na, f1, f2 := %s, %s, %s // nm/s²/√Hz, Hz, Hz\nsheet.Number(\"band\", a*math.Sqrt(f2-f1), \"nm/s²\")", lit(a), lit(f1), lit(f2)),
		Reasoning: "$\\sigma^2 = \\int_{f_1}^{f_2} a^2\\,\\mathrm{d}f = a^2(f_2 - f_1)$. A promise of a resolution means nothing without its band and its averaging.",
		Source: Source{Text: "independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "sensor-band-01",
			Got:  inBand(sensor.Budget{Suspension: s, Sources: []sensor.Noise{gravlab.Must(s.ReadoutNoise(2.1e-13)), gravlab.Must(sensor.White("white", 3e-10))}}, 0.1, 4),
			Want: exact.Float("value"), Within: 1e-8 * exact.Float("value")}},
	}
}

// nineReadings draws nine readings for which the ways to get their Allan
// deviation wrong can be told apart.
func nineReadings(d *Draw) (y []float64, right float64, slips [4]float64) {
	r := d.Rand("nine")
	for {
		y = nil
		for range 9 {
			y = append(y, float64(600+r.IntN(320)))
		}
		right = gravlab.Must(signal.OverlappingAllan(y, 2))
		mean, s := sum(y)/9, 0.0
		for _, v := range y {
			s += (v - mean) * (v - mean) / 8
		}
		slips = [4]float64{gravlab.Must(signal.NonOverlappingAllan(y, 2)), gravlab.Must(signal.OverlappingAllan(y, 1)), right * math.Sqrt2, math.Sqrt(s)}
		all, apart := append(slips[:], right), true
		for i := range all {
			for j := range i {
				apart = apart && math.Abs(all[i]-all[j]) > 0.03*math.Max(all[i], all[j])
			}
		}
		if apart {
			return y, right, slips
		}
	}
}

func allanOfNine(d *Draw) Question {
	y, right, slips := nineReadings(d)
	var text []string
	for _, v := range y {
		text = append(text, fmt.Sprintf("%g", v))
	}
	exact := testdata.Find("model_checks.csv", "signal-oadev-07") // printed: 85.95287
	unit := gravlab.MicroGal / 10                                 // nm/s²
	return Question{
		ID: "allan", Kind: judge.Number, Marks: 3, Title: "Nine readings",
		Prompt: fmt.Sprintf("A meter gives nine readings, one a second: %s nm/s². What is their overlapping Allan deviation at an averaging time of two seconds?", strings.Join(text, ", ")),
		Unit:   "nm/s²", Tol: judge.Tolerance{Rel: 0.005, Why: "three digits carried"},
		Solve: valueOf(right * unit),
		Slips: []Slip{
			{Name: "averages that do not overlap", Value: valueOf(slips[0] * unit), Fix: "Overlapping: a pair of averages begins at every reading, not only at every second one."},
			{Name: "no averaging", Value: valueOf(slips[1] * unit), Fix: "Two seconds are two readings: average two, compare with the next two."},
			{Name: "the ½ left out", Value: valueOf(slips[2] * unit), Fix: "The Allan variance is half of the mean square difference."},
			{Name: "the standard deviation of the readings", Value: valueOf(slips[3] * unit), Fix: "Differences of neighbouring averages, not deviations from the mean of all."},
		},
		Range:     [2]float64{1e-9, 3e-7},
		Hints:     [2]string{"Averages of two neighbouring readings, beginning at every reading; each against the one that begins two readings later.", "Half of the mean of the squared differences, and the root. Six differences there are."},
		Worked:    fmt.Sprintf("%%%%\n// Averages of two; differences to the average two readings later; half of\n// their mean square.\ny := []float64{%s}\nsum, n := 0.0, 0.0\nfor i := 0; i+4 <= len(y); i++ {\n\tdiff := (y[i+2] + y[i+3] - y[i] - y[i+1]) / 2\n\tsum += diff * diff\n\tn++\n}\nsheet.Number(\"allan\", math.Sqrt(sum/n/2), \"nm/s²\")", strings.Join(text, ", ")),
		Reasoning: "Nine readings hold six pairs of neighbouring averages of two. Using every one of them wrings more from a short record than the four averages that follow one another.",
		Source: Source{Text: exact["source"] + ", printed in NIST Special Publication 1065 as 85.95287 (from memory)", Published: true, Check: &SourceCheck{
			Table: "model_checks.csv", ID: "signal-oadev-07",
			Got:  gravlab.Must(signal.OverlappingAllan([]float64{892, 809, 823, 798, 671, 644, 883, 903, 677}, 2)),
			Want: exact.Float("value"), Within: 5e-6}},
	}
}

func whatRises() Question {
	return Question{
		ID: "rises", Kind: judge.Choice, Marks: 1, Title: "A curve that rises",
		Prompt: "The Allan deviation of another meter falls as $\\tau^{-1/2}$ up to 100 s and rises as $\\tau^{+1/2}$ beyond 1000 s. What helps against the rise?",
		Options: []judge.Option{
			{Letter: "a", Text: "averaging longer", Idea: "That is what the curve says: beyond 1000 s longer averages agree less well, not better."},
			{Letter: "b", Text: "coming back to a reference about every few hundred seconds, since the zero walks at random", Right: true},
			{Letter: "c", Text: "a readout with less white noise", Idea: "White noise is the falling part. It would move the left flank down and leave the right one."},
			{Letter: "d", Text: "subtracting one straight line from the record", Idea: "A steady drift would rise as τ¹. A walk of slope ½ has no straight line to subtract."},
		},
		Worked:    "%%\nsheet.Choice(\"rises\", \"b\") // slope 1/2 is a random walk: measure differences against a reference",
		Reasoning: "White noise falls as $\\tau^{-1/2}$, flicker stays level, a random walk rises as $\\tau^{1/2}$, a steady drift as $\\tau$. Against a walk only a comparison helps, made before the walk has gone far: that is why surveys return to a base.",
		Source:    Source{Text: "IEEE Std 1139 (from memory): slopes of the Allan deviation"},
	}
}

func massForTarget(d *Draw) Question {
	target := d.Between("target", 1, 4, 0.2) // nm/s²/√Hz
	f0 := d.Between("design f0", 1.5, 4, 0.1)
	q := d.Between("design Q", 60, 200, 10)
	// The thermal noise may have half of the power.
	m := 4 * gravlab.BoltzmannK * 293.15 * 2 * math.Pi * f0 / (q * target * target * 1e-18 / 2)
	check := testdata.Find("values.csv", "brownian_calc1") // 300 K, 1 Hz, 1 kg, Q 100
	return Question{
		ID: "design", Kind: judge.Number, Marks: 3, Title: "How heavy must it be?",
		Prompt: fmt.Sprintf("You are to design a sensor with a total noise of $%.1f\\ \\mathrm{nm/s^2/\\sqrt{Hz}}$ at 20 °C. Its suspension of %.1f Hz is damped by gas to a $Q$ of %g, and thermal noise may take *half of the power* of the total. How heavy must the mass be at least?", target, f0, q),
		Unit:   "kg", Tol: judge.Tolerance{Rel: 0.01, Why: "293 for 293.15 K and three digits carried"},
		Solve: valueOf(m),
		Slips: []Slip{
			{Name: "half of the amplitude for half of the power", Value: valueOf(2 * m), Fix: "Half of the power is 1/√2 of the amplitude density."},
			{Name: "all of the power for the thermal noise", Value: valueOf(m / 2), Fix: "The rest of the instrument needs its half of the power too."},
			{Name: "the frequency taken for the angular frequency", Value: valueOf(m / (2 * math.Pi)), Fix: "ω₀ = 2π f₀."},
		},
		Range:     [2]float64{1e-5, 2e-2},
		Hints:     [2]string{"Which thermal power density may there be? Half of the square of the total.", "m = 4 k_B T ω₀/(Q a_th²) with a_th² = a²/2."},
		Worked:    fmt.Sprintf("%%%%\n// Half of the power is a²/2; then a_th² = 4 kB T omega0/(m Q), solved for m.\na, w0, Q := %s, 2*math.Pi*%s, %s // m/s²/√Hz, rad/s, 1\nm := 4 * gravlab.BoltzmannK * 293.15 * w0 / (Q * a * a / 2)\nsheet.Number(\"design\", m, \"kg\")", goFloat(target*1e-9, 2), lit(f0), lit(q)),
		Reasoning: "$m = 4k_\\mathrm{B}T\\omega_0/(Q\\,a_\\mathrm{th}^2)$ with $a_\\mathrm{th}^2 = a^2/2$. The mass counts linearly and so does $Q$: ten times better vacuum is worth ten times more mass, as long as gas is what damps.",
		Source: Source{Text: "as for the first question; independently computed: " + check["source"], Check: &SourceCheck{
			Table: "values.csv", ID: "brownian_calc1",
			Got:  densityAt(sensor.Suspension{Mass: 1, Frequency: 1, Q: 100, Temperature: 300}, 1),
			Want: check.Float("value"), Within: 5e-19}},
	}
}

func marginOfDesign(d *Draw) Question {
	predicted := d.Between("predicted", 1.6, 2.4, 0.1)
	u := d.Between("predicted u", 0.2, 0.4, 0.02)
	target := math.Round((predicted+u*d.Between("margin", 0.8, 1.6, 0.1))*20) / 20
	z := (target - predicted) / u
	p := func(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }
	return Question{
		ID: "margin", Kind: judge.Number, Marks: 2, Title: "Will it meet the target?",
		Prompt: fmt.Sprintf("The budget of a design comes to $%.1f\\ \\mathrm{nm/s^2/\\sqrt{Hz}}$ with a standard uncertainty of $%.2f\\ \\mathrm{nm/s^2/\\sqrt{Hz}}$, about normally distributed. The target is $%.2f\\ \\mathrm{nm/s^2/\\sqrt{Hz}}$ or less. With which probability is it met, in per cent?", predicted, u, target),
		Unit:   "%", Tol: judge.Tolerance{Abs: 0.008, Why: "a probability read from a table of two decimals of z"},
		Solve: valueOf(p(z)),
		Slips: []Slip{
			{Name: "the probability of missing it", Value: valueOf(1 - p(z)), Fix: "The prediction lies below the target: more likely than not it is met."},
			{Name: "both sides counted", Value: valueOf(2*p(z) - 1), Fix: "A design that is quieter than expected meets the target too: one side only."},
			{Name: "the uncertainty halved", Value: valueOf(p(2 * z)), Fix: "The uncertainty is a standard one, k = 1: it is the σ of the normal distribution as it stands."},
		},
		Range:     [2]float64{0.7, 0.98},
		Hints:     [2]string{"How many standard uncertainties lie between prediction and target?", "Φ(z) = ½ erfc(−z/√2), in Go 0.5*math.Erfc(-z/math.Sqrt2)."},
		Worked:    fmt.Sprintf("%%%%\n// The share of a normal distribution below the target.\nz := (%s - %s) / %s\nsheet.Number(\"margin\", 100*0.5*math.Erfc(-z/math.Sqrt2), \"%%\")", lit(target), lit(predicted), lit(u)),
		Reasoning: "$P = \\Phi\\big((a_\\mathrm{target} - a_\\mathrm{pred})/u\\big)$. A design that just meets its target on paper misses it every second time; a budget without an uncertainty cannot be judged at all.",
		Source:    Source{Text: "common practice, no source: normal distribution"},
	}
}
