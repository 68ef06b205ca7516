package lab04

import (
	"embed"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/sensor"
	"gravity.example/gravlab/signal"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 04.
var Lab = bank.Lab{
	ID: "04-how-quiet", Title: "How quiet", Minutes: 80,
	Asks:   "Average for longer and the noise goes down, until it does not. When should you stop?",
	Tracks: []bank.Track{bank.LaboratoryClass, bank.PlanetarySpace}, BuildsOn: []string{"03-mass-on-a-spring"}, Graded: true,
	Sealed: bank.Weights{Times: 2, Constants: []string{"floor"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

// A quietSensor is the sensor of one sheet.
type quietSensor struct {
	sensor.Suspension
	readout float64 // pm/√Hz, white
	other   float64 // nm/s²/√Hz, white: everything that has no name yet
}

func build(d *bank.Draw) bank.Sheet {
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
	return bank.Sheet{
		Recordings: []bank.Recording{night.recording()},
		Questions: []bank.Question{
			s.thermal(), s.structural(d), s.readoutNoise(d), amplifierNoise(d),
			stripsOfElectrode(d), whatCuttingDoes(), patchForce(d),
			s.total(d), crossingOfNoise(d), noiseInBand(d),
			allanOfNine(d), night.white(), night.floor(), whatRises(),
			massForTarget(d), marginOfDesign(d),
		},
	}
}

const densityUnit = "nm/s²/√Hz"

// densityAt is the density of the suspension's thermal noise at f.
func densityAt(s sensor.Suspension, f float64) float64 {
	return gravlab.Must(s.ThermalNoise()).Density(f)
}

func (s quietSensor) thermal() bank.Question {
	right := densityAt(s.Suspension, 1)
	exact := testdata.Find(testdata.Checks, "sensor-thermal-01")
	return bank.Question{
		ID: "thermal", Kind: judge.KindNumber, Marks: 2, Unit: densityUnit, Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"massMg": bank.Clean(s.Mass * 1e6), "frequency": s.Frequency, "q": s.Q, "mass": s.Mass},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "two-sided", Value: bank.Always(right / math.Sqrt2)},
			{ID: "frequency", Value: bank.Always(right / math.Sqrt(2*math.Pi))},
			{ID: "celsius", Value: bank.Always(right * math.Sqrt(20/293.15))},
			{ID: "no-q", Value: bank.Always(right * math.Sqrt(s.Q))},
			{ID: "power", Value: bank.Always(right * right)},
			{ID: "force", Value: bank.Always(right * s.Mass)},
			{ID: "grams", Value: bank.Always(right / math.Sqrt(1000))},
			{ID: "no-4", Value: bank.Always(right / 2)},
			{ID: "gravity-of-q", Value: bank.Always(right * s.Q)},
		},
		Range:  [2]float64{4e-10, 5e-9},
		Source: bank.Computed(testdata.Checks, "sensor-thermal-01", densityAt(sensor.Suspension{Mass: 0.35e-3, Frequency: 5.4, Q: 1500, Temperature: 295}, 1), 1e-9*exact.Float("value")),
	}
}

func (s quietSensor) structural(d *bank.Draw) bank.Question {
	f := d.Between("structural at", 0.1, 0.3, 0.05)
	inside := s.Suspension
	inside.Damping = sensor.Structural
	right := densityAt(inside, f)
	exact := testdata.Find(testdata.Checks, "sensor-thermal-03")
	return bank.Question{
		ID: "structural", Kind: judge.KindNumber, Marks: 2, Unit: densityUnit, Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"q": s.Q, "f": f, "mass": s.Mass, "frequency": s.Frequency},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "gas", Value: bank.Always(densityAt(s.Suspension, f))},
			{ID: "frequency", Value: bank.Always(right * math.Sqrt(2*math.Pi))},
			{ID: "no-root", Value: bank.Always(densityAt(s.Suspension, f) * s.Frequency / f)},
			{ID: "both-frequencies", Value: bank.Always(right / math.Sqrt(2*math.Pi))},
			{ID: "upside-down", Value: bank.Always(densityAt(s.Suspension, f) * math.Sqrt(f/s.Frequency))},
			{ID: "power", Value: bank.Always(right * right)},
		},
		Range:  [2]float64{1.5e-9, 4e-8},
		Source: bank.Computed(testdata.Checks, "sensor-thermal-03", densityAt(sensor.Suspension{Mass: 0.35e-3, Frequency: 5.4, Q: 1500, Damping: sensor.Structural, Temperature: 295}, 0.7), 1e-9*exact.Float("value")),
	}
}

// readoutDensity is white displacement noise x (m/√Hz) as acceleration at f.
func readoutDensity(s sensor.Suspension, x, f float64) float64 {
	return gravlab.Must(s.ReadoutNoise(x)).Density(f)
}

func (s quietSensor) readoutNoise(d *bank.Draw) bank.Question {
	f := math.Round(s.Frequency * d.Between("above", 2, 3, 0.25))
	x := s.readout * 1e-12
	right := readoutDensity(s.Suspension, x, f)
	w, w0 := 2*math.Pi*f, 2*math.Pi*s.Frequency
	exact := testdata.Find(testdata.Checks, "sensor-readout-03")
	return bank.Question{
		ID: "readout", Kind: judge.KindNumber, Marks: 2, Unit: densityUnit, Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"frequency": s.Frequency, "q": s.Q, "readout": s.readout, "f": f, "mass": s.Mass, "x": x},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "slow-rule", Value: bank.Always(x * w0 * w0)},
			{ID: "no-resonance", Value: bank.Always(x * w * w)},
			{ID: "frequency", Value: bank.Always(right / (4 * math.Pi * math.Pi))},
			{ID: "sum", Value: bank.Always(x * (w*w + w0*w0))},
			{ID: "square-of-difference", Value: bank.Always(x * (w - w0) * (w - w0))},
			{ID: "divided", Value: bank.Always(x / (w*w - w0*w0))},
		},
		Range:  [2]float64{2e-10, 3e-8},
		Source: bank.Computed(testdata.Checks, "sensor-readout-03", readoutDensity(sensor.Suspension{Mass: 1, Frequency: 1.1, Q: 0.8}, 4e-12, 0.1), 1e-9*exact.Float("value")),
	}
}

func amplifierNoise(d *bank.Draw) bank.Question {
	e := d.Between("voltage noise", 4, 8, 0.5)    // nV/√Hz
	i := d.Between("current noise", 10, 20, 1)    // fA/√Hz
	c := d.Between("capacitance", 6, 12, 0.5)     // pF
	s := d.Between("sensitivity", 0.05, 0.2, .01) // V/µm
	right := i * 1e-15 / (2 * math.Pi * c * 1e-12 * e * 1e-9)
	exact := testdata.Find(testdata.Checks, "sensor-amplifier-02")
	return bank.Question{
		ID: "amplifier", Kind: judge.KindNumber, Marks: 2, Unit: "kHz", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"s": s, "e": e, "i": i, "c": c, "iSI": i * 1e-15, "cSI": c * 1e-12, "eSI": e * 1e-9},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "frequency", Value: bank.Always(right * 2 * math.Pi)},
			{ID: "twice-2pi", Value: bank.Always(right / (2 * math.Pi))},
			{ID: "nanofarads", Value: bank.Always(right / 1000)},
		},
		Range:  [2]float64{1.5e4, 1.4e5},
		Source: bank.Computed(testdata.Checks, "sensor-amplifier-02", gravlab.Must(sensor.Amplifier{Voltage: 6e-9, Current: 12e-15, Capacitance: 110e-12, Sensitivity: 2.5e5}.Displacement(20)), 1e-9*exact.Float("value")),
	}
}

func stripsOfElectrode(d *bank.Draw) bank.Question {
	n := d.Pick("strips", 8, 10, 12, 16, 20)
	pitch := d.Between("pitch", 0.6, 1.2, 0.1)
	length := d.Between("correlation", 1.0, 1.5, 0.1)
	sigma := d.Between("potential", 20, 70, 5)
	s := sensor.Strips{Count: int(n), Pitch: pitch / 1000, CorrelationLength: length / 1000, Sigma: sigma / 1000}
	right := gravlab.Must(s.Alternating())
	exact := testdata.Find(testdata.Checks, "sensor-strips-02")
	return bank.Question{
		ID: "strips", Kind: judge.KindNumber, Marks: 3, Unit: "mV", Tol: judge.Tolerance{Rel: 0.015},
		Fields: bank.Fields{"n": n, "pitch": pitch, "sigma": sigma, "length": length, "n2": int(n)},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "uncorrelated", Value: bank.Always(sigma / 1000 / math.Sqrt(n))},
			{ID: "same-sign", Value: bank.Always(gravlab.Must(s.Mean()))},
			{ID: "n-not-root", Value: bank.Always(sigma / 1000 / n)},
			{ID: "not-divided", Value: bank.Always(n * right)},
			{ID: "one-correlation", Value: bank.Always(sigma / 1000 * math.Sqrt((1-math.Exp(-pitch/length))/n))},
			{ID: "no-root", Value: bank.Always(right * right)},
		},
		Range:  [2]float64{1e-3, 2e-2},
		Source: bank.Computed(testdata.Checks, "sensor-strips-02", gravlab.Must(sensor.Strips{Count: 8, Pitch: 1.5e-3, CorrelationLength: 0.9e-3, Sigma: 0.02}.Alternating()), 1e-9*exact.Float("value")),
	}
}

func whatCuttingDoes() bank.Question {
	return bank.Question{
		ID: "cutting", Kind: judge.KindChoice, Marks: 1,
	}
}

func patchForce(d *bank.Draw) bank.Question {
	bias := d.Between("bias", 2.4, 4.4, 0.1)
	gradient := d.Between("gradient", 20, 80, 2) // nF/m
	mass := d.Between("patch mass", 0.2, 0.9, 0.05)
	printed := testdata.Find(testdata.Values, "patch_noise") // 30 µV/√Hz
	v := printed.Float("value") * 1e-6
	right := gravlab.Must(sensor.PatchNoise(bias, gradient*1e-9, v, mass/1000)).Density(1)
	return bank.Question{
		ID: "patch-force", Kind: judge.KindNumber, Marks: 2, Unit: densityUnit, Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{
			"bias": bias, "gradient": gradient, "mass": mass, "gradientSI": gradient * 1e-9, "massSI": mass / 1000,
			"printedSource": printed["source"],
		},
		Solve: bank.Always(right),
		Slips: []bank.Slip{
			{ID: "half", Value: bank.Always(right / 2)},
			{ID: "no-bias", Value: bank.Always(right / bias)},
			{ID: "bias-squared", Value: bank.Always(right * bias)},
			{ID: "force", Value: bank.Always(right * mass / 1000)},
			{ID: "noise-squared", Value: bank.Always(v * v * gradient * 1e-9 / 2 / (mass / 1000))},
			{ID: "doubled", Value: bank.Always(2 * right)},
			{ID: "bias-force", Value: bank.Always(bias * bias * gradient * 1e-9 / 2 / (mass / 1000))},
		},
		Range: [2]float64{5e-10, 6e-8},
	}
}

// total is a function that the student writes: three independent terms.
func (s quietSensor) total(d *bank.Draw) bank.Question {
	loss := bank.Clean(bank.RoundTo(densityAt(sensor.Suspension{Mass: s.Mass, Frequency: s.Frequency, Q: s.Q, Damping: sensor.Structural, Temperature: s.Temperature}, 1)*1e9, 2)) // nm/s²/√Hz at 1 Hz
	readout := gravlab.Must(s.ReadoutNoise(s.readout * 1e-12)).Density
	w0 := 2 * math.Pi * s.Frequency
	terms := func(f float64) (a, b, c float64) { return loss * 1e-9 / math.Sqrt(f), readout(f), s.other * 1e-9 }
	one := func(f func(a, b, c, x float64) float64) func([]float64) []float64 {
		return func(x []float64) []float64 {
			a, b, c := terms(x[0])
			return []float64{f(a, b, c, x[0])}
		}
	}
	root := func(x ...float64) float64 { return math.Sqrt(floats.Dot(x, x)) }
	r := d.Rand("total calls")
	calls := [][]float64{{0.01}, {0.1}, {bank.Clean(4 * s.Frequency)}}
	for range 7 {
		calls = append(calls, []float64{bank.RoundTo(math.Pow(10, 3.3*r.Float64()-2), 2)})
	}
	calls = append(calls, calls[1])
	return bank.Question{
		ID: "total", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 5e-3},
		Fields: bank.Fields{
			"frequency": s.Frequency, "q": s.Q, "loss": loss, "readout": s.readout, "other": s.other, "lossSI": loss * 1e-9,
			"readoutSI": s.readout * 1e-12, "otherSI": s.other * 1e-9,
		},
		Function: &bank.Function{
			Name: "total", Signature: judge.OneToOne, Calls: calls,
			Right: one(func(a, b, c, _ float64) float64 { return root(a, b, c) }),
			Slips: []bank.FunctionSlip{
				{ID: "straight-sum", F: one(func(a, b, c, _ float64) float64 { return a + b + c })},
				{ID: "slow-rule", F: one(func(a, _, c, _ float64) float64 { return root(a, s.readout*1e-12*w0*w0, c) })},
				{ID: "one-over-f", F: one(func(a, b, c, f float64) float64 { return root(a/math.Sqrt(f), b, c) })},
				{ID: "root-not-taken", F: one(func(a, b, c, _ float64) float64 { return a*a + b*b + c*c })},
				{ID: "flat-thermal", F: one(func(a, b, c, f float64) float64 { return root(a*math.Sqrt(f), b, c) })},
				{ID: "free-mass", F: one(func(a, _, c, f float64) float64 { w := 2 * math.Pi * f; return root(a, s.readout*1e-12*w*w, c) })},
			},
		},
	}
}

// crossingAbove is the frequency above resonance at which readout noise x
// (m/√Hz) reaches a white acceleration noise a.
func crossingAbove(f0, q, x, a float64) float64 {
	s := sensor.Suspension{Mass: 1, Frequency: f0, Q: q}
	white, readout := gravlab.Must(sensor.White("acceleration", a)), gravlab.Must(s.ReadoutNoise(x))
	return gravlab.Must(sensor.Crossing(white, readout, f0, 100*f0))
}

func crossingOfNoise(d *bank.Draw) bank.Question {
	f0 := d.Between("crossing f0", 3, 8, 0.2)
	x := d.Between("crossing x", 0.2, 0.9, 0.1) // pm/√Hz
	w0 := 2 * math.Pi * f0
	a := bank.RoundTo(x*1e-12*w0*w0*d.Between("crossing ratio", 1, 4, 0.25)*1e9, 2) // nm/s²/√Hz
	ratio := a * 1e-9 / (x * 1e-12)
	right := crossingAbove(f0, 1000, x*1e-12, a*1e-9)
	return bank.Question{
		ID: "crossing", Kind: judge.KindNumber, Marks: 2, Unit: "Hz", Tol: judge.Tolerance{Rel: 0.006},
		Fields: bank.Fields{"f0": f0, "a": a, "x": x, "aSI": a * 1e-9, "xSI": x * 1e-12},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "no-resonance", Value: bank.Always(math.Sqrt(ratio) / (2 * math.Pi))},
			{ID: "angular", Value: bank.Always(2 * math.Pi * right)},
			{ID: "frequency", Value: bank.Always(math.Sqrt(f0*f0 + ratio))},
			{ID: "plus", Value: bank.Always(math.Sqrt(ratio-w0*w0) / (2 * math.Pi))},
			{ID: "no-root", Value: bank.Always((w0*w0 + ratio) / (4 * math.Pi * math.Pi))},
			{ID: "resonance", Value: bank.Always(f0)},
		},
		Range:  [2]float64{4, 20},
		Source: bank.Computed(testdata.Checks, "sensor-cross-01", crossingAbove(5.4, 1500, 2.1e-13, 3e-10), 1e-8),
	}
}

// inBand is the rms of a budget between f1 and f2.
func inBand(b sensor.Budget, f1, f2 float64) float64 { return gravlab.Must(b.RMS(f1, f2)) }

func noiseInBand(d *bank.Draw) bank.Question {
	a := d.Between("band density", 14, 26, 0.5) // nm/s²/√Hz: no printed scatter is near that of the question floor
	f1 := d.Between("band from", 0.3, 0.6, 0.05)
	allowed := math.Round(10*a*math.Sqrt(d.Between("band to", 2.5, 4.5, 0.25)-f1)) / 10 // nm/s²
	width := math.Pow(allowed/a, 2)
	exact := testdata.Find(testdata.Checks, "sensor-band-01") // readout and white noise together
	s := sensor.Suspension{Mass: 1, Frequency: 5.4, Q: 1500}
	return bank.Question{
		ID: "band", Kind: judge.KindNumber, Marks: 2, Unit: "Hz", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"a": a, "f1": f1, "allowed": allowed},
		Solve:  bank.Always(f1 + width),
		Slips: []bank.Slip{
			{ID: "no-square", Value: bank.Always(f1 + allowed/a)},
			{ID: "width", Value: bank.Always(width)},
			{ID: "two-sided", Value: bank.Always(f1 + 2*width)},
			{ID: "peak-to-peak", Value: bank.Always(f1 + width/8)},
			{ID: "inverted", Value: bank.Always(f1 + 1/width)},
		},
		Range:  [2]float64{2.3, 4.8},
		Source: bank.Computed(testdata.Checks, "sensor-band-01", inBand(sensor.Budget{Suspension: s, Sources: []sensor.Noise{gravlab.Must(s.ReadoutNoise(2.1e-13)), gravlab.Must(sensor.White("white", 3e-10))}}, 0.1, 4), 1e-8*exact.Float("value")),
	}
}

// nineReadings draws nine readings for which the ways to get their Allan
// deviation wrong can be told apart.
func nineReadings(d *bank.Draw) (y []float64, right float64, slips [4]float64) {
	r := d.Rand("nine")
	for {
		y = nil
		for range 9 {
			y = append(y, float64(600+r.IntN(320)))
		}
		right = gravlab.Must(signal.OverlappingAllan(y, 2))
		mean, s := floats.Sum(y)/9, 0.0
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

func allanOfNine(d *bank.Draw) bank.Question {
	y, right, slips := nineReadings(d)
	var text []string
	for _, v := range y {
		text = append(text, fmt.Sprintf("%g", v))
	}

	unit := gravlab.MicroGal / 10 // nm/s²
	return bank.Question{
		ID: "allan", Kind: judge.KindNumber, Marks: 3, Unit: "nm/s²", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"components": strings.Join(text, ", ")},
		Solve:  bank.Always(right * unit),
		Slips: []bank.Slip{
			{ID: "no-overlap", Value: bank.Always(slips[0] * unit)},
			{ID: "no-averaging", Value: bank.Always(slips[1] * unit)},
			{ID: "no-half", Value: bank.Always(slips[2] * unit)},
			{ID: "not-of-mean", Value: bank.Always(slips[3] * unit)},
			{ID: "not-averaged", Value: bank.Always(2 * right * unit)},
			{ID: "variance", Value: bank.Always(right * right * unit * unit)},
		},
		Range: [2]float64{1e-9, 3e-7},
		// printed: 85.95287
		Source: bank.Published(testdata.Checks, "signal-oadev-07", gravlab.Must(signal.OverlappingAllan([]float64{892, 809, 823, 798, 671, 644, 883, 903, 677}, 2)), 5e-6),
	}
}

func whatRises() bank.Question {
	return bank.Question{
		ID: "rises", Kind: judge.KindChoice, Marks: 1,
	}
}

func massForTarget(d *bank.Draw) bank.Question {
	target := d.Between("target", 1, 4, 0.2) // nm/s²/√Hz
	f0 := d.Between("design f0", 1.5, 4, 0.1)
	q := d.Between("design Q", 60, 200, 10)
	// The thermal noise may have half of the power.
	m := 4 * gravlab.BoltzmannK * 293.15 * 2 * math.Pi * f0 / (q * target * target * 1e-18 / 2)
	return bank.Question{
		ID: "design", Kind: judge.KindNumber, Marks: 3, Unit: "kg", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"target": target, "f0": f0, "q": q, "targetSI": target * 1e-9},
		Solve:  bank.Always(m),
		Slips: []bank.Slip{
			{ID: "half-amplitude", Value: bank.Always(2 * m)},
			{ID: "all-power", Value: bank.Always(m / 2)},
			{ID: "frequency", Value: bank.Always(m / (2 * math.Pi))},
			{ID: "celsius", Value: bank.Always(m * 20 / 293.15)},
			{ID: "not-squared", Value: bank.Always(m * target * 1e-9)},
			{ID: "quality", Value: bank.Always(m * q * q)},
		},
		Range: [2]float64{1e-5, 2e-2},
		// 300 K, 1 Hz, 1 kg, Q 100
		Source: bank.Computed(testdata.Values, "brownian_calc1", densityAt(sensor.Suspension{Mass: 1, Frequency: 1, Q: 100, Temperature: 300}, 1), 5e-19),
	}
}

func marginOfDesign(d *bank.Draw) bank.Question {
	u := d.Between("predicted u", 0.2, 0.4, 0.02)
	target := d.Between("target", 2, 3, 0.05)
	wanted := d.Pick("wanted probability", 90, 95, 99) // %
	z := math.Sqrt2 * math.Erfinv(2*wanted/100-1)
	both := math.Sqrt2 * math.Erfinv(wanted/100) // of the interval that holds as much about the middle
	at := func(z float64) func(bank.Answers) float64 { return bank.Always((target - z*u) * 1e-9) }
	return bank.Question{
		ID: "margin", Kind: judge.KindNumber, Marks: 2, Unit: "nm/s²/√Hz", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"u": u, "target": target, "wanted": wanted, "probability": wanted / 100},
		Solve:  at(z),
		Slips: []bank.Slip{
			{ID: "target", Value: at(0)},
			{ID: "one-u", Value: at(1)},
			{ID: "wrong-side", Value: at(-z)},
			{ID: "both-sides", Value: at(both)},
			{ID: "no-root-2", Value: at(z / math.Sqrt2)},
		},
		Range: [2]float64{0.9e-9, 2.8e-9},
	}
}
