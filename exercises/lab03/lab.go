package lab03

import (
	"embed"
	"math"
	"math/cmplx"
	"slices"
	"sync"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/sensor"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 03.
var Lab = bank.Lab{
	ID: "03-mass-on-a-spring", Title: "Mass on a spring", Minutes: 80,
	Asks:   "A mass on a spring feels gravity and it feels footsteps. Which of the two does it report?",
	Tracks: []bank.Track{bank.LaboratoryClass, bank.SurveyHire, bank.PlanetarySpace}, BuildsOn: []string{"00-first-steps"}, Graded: true,
	Words: bank.ReadWords(files),
	Build: build,
}

func build(d *bank.Draw) bank.Sheet {
	r := drawRelease(d)
	bias := d.Between("gravimeter", 2.2, 4.4, 0.1) // Hz, of the small gravimeter of sag and microgal
	s := sensor.Suspension{Mass: 0.1, Frequency: d.Between("response frequency", 3, 9, 0.1), Q: d.Between("response Q", 12, 40, 1)}
	return bank.Sheet{
		Recordings: []bank.Recording{r.recording(), shaking()},
		Questions: []bank.Question{
			springConstant(d), periodFromSag(d), sagUnderG(bias), steadyTemperature(d), resonanceOfPair(d),
			whichWay(), responseFunction(d, s), atResonance(d, s), aboveResonance(d, s), whyASoftSpring(), whichEnd(),
			r.frequency(), r.quality(), r.step(), r.mass(),
			uOfStiffness(d), massInAnEarthquake(d),
		},
	}
}

func springConstant(d *bank.Draw) bank.Question {
	m := d.Between("load", 0.15, 0.6, 0.05)
	x := d.Between("stretch", 24, 96, 1)
	if x == 1000*m { // a stretch that is the same number as the load would hide slips
		x++
	}
	k := func(m, x, g float64) float64 { return gravlab.Must(sensor.SpringConstant(m, x, g)) }
	return bank.Question{
		ID: "stiffness", Kind: judge.KindNumber, Marks: 2, Unit: "N/m", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"x": x, "m": m, "xSI": x / 1000},
		Solve:  bank.Always(k(m, x/1000, 9.81)),
		Slips: []bank.Slip{
			{ID: "mass-for-weight", Value: bank.Always(m / (x / 1000))},
			{ID: "factor-2", Value: bank.Always(2 * k(m, x/1000, 9.81))},
			{ID: "centimetres", Value: bank.Always(k(m, x/10, 9.81))},
			{ID: "millimetres", Value: bank.Always(k(m, x, 9.81))},
			{ID: "upside-down", Value: bank.Always(x / 1000 / (m * 9.81))},
			{ID: "product", Value: bank.Always(m * 9.81 * x / 1000)},
		},
		Range: [2]float64{14, 260},
		// 10.0 kg, 8.00 cm, g = 9.80
		Source: bank.Published(testdata.Examples, "spring-03", k(10, 0.08, 9.80), 5),
	}
}

// sagPeriod is the period of a mass whose spring is stretched by sag.
func sagPeriod(sag, g float64) float64 { return 1 / gravlab.Must(sensor.FrequencyFromSag(sag, g)) }

func periodFromSag(d *bank.Draw) bank.Question {
	sag := d.Between("sag", 60, 180, 2)
	period := sagPeriod(sag/1000, 9.81)
	return bank.Question{
		ID: "period", Kind: judge.KindNumber, Marks: 2, Unit: "s", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"sag": sag, "sagSI": sag / 1000},
		Solve:  bank.Always(period),
		Slips: []bank.Slip{
			{ID: "no-2pi", Value: bank.Always(period / (2 * math.Pi))},
			{ID: "centimetres", Value: bank.Always(sagPeriod(sag/10, 9.81))},
			{ID: "half-swing", Value: bank.Always(period / 2)},
			{ID: "frequency", Value: bank.Always(1 / period)},
			{ID: "no-root", Value: bank.Always(4 * math.Pi * math.Pi * sag / 1000 / 9.81)},
			{ID: "upside-down", Value: bank.Always(2 * math.Pi * math.Sqrt(9.81/(sag/1000)))},
			{ID: "mass-for-weight", Value: bank.Always(2 * math.Pi * math.Sqrt(sag/1000))},
		},
		Range: [2]float64{0.45, 0.9},
		// 0.250 m, g = 9.80
		Source: bank.Published(testdata.Examples, "spring-11", sagPeriod(0.250, 9.80), 0.005),
	}
}

// sagOf is g/omega0².
func sagOf(frequency, g float64) float64 {
	return gravlab.Must(sensor.Suspension{Mass: 1, Frequency: frequency, Q: 1}.Sag(g))
}

func sagUnderG(f float64) bank.Question {
	right := sagOf(f, gravlab.StandardGravity)

	mems := testdata.Find(testdata.Values, "mems_noise")
	return bank.Question{
		ID: "sag", Kind: judge.KindNumber, Marks: 2, Unit: "mm", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"f": f, "memsSource": mems["source"]},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "frequency", Value: bank.Always(right * 4 * math.Pi * math.Pi)},
			{ID: "one-2pi", Value: bank.Always(right * 2 * math.Pi)},
			{ID: "one-g", Value: bank.Always(right / gravlab.StandardGravity)},
			{ID: "no-square", Value: bank.Always(right * 2 * math.Pi * f)},
			{ID: "inverse", Value: bank.Always(1 / right)},
		},
		Range: [2]float64{0.01, 0.055},
		// 3.1 Hz
		Source: bank.Computed(testdata.Checks, "sensor-sag-01", sagOf(3.1, 9.80665), 1e-12),
	}
}

// softenedBy is how far the temperature may change, K, until springs whose stiffness falls by
// a part alpha per kelvin let the mass sink as far as a change dg of gravity does.
func softenedBy(dg, alpha float64) float64 { return dg / gravlab.StandardGravity / alpha }

func steadyTemperature(d *bank.Draw) bank.Question {
	dg := d.Between("change", 3, 20, 1)      // µGal
	ppm := d.Between("softening", 40, 80, 5) // per kelvin, 1e-6
	right := softenedBy(dg*gravlab.MicroGal, ppm*1e-6)
	return bank.Question{
		ID: "steady", Kind: judge.KindNumber, Marks: 2, Unit: "mK", Tol: judge.Tolerance{Rel: 0.008},
		Fields: bank.Fields{"dg": dg, "ppm": ppm},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "gal", Value: bank.Always(100 * right)},
			{ID: "micro-g", Value: bank.Always(980.665 * right)},
			{ID: "milli", Value: bank.Always(1000 * right)},
			{ID: "not-a-fraction", Value: bank.Always(right * gravlab.StandardGravity)},
		},
		Range: [2]float64{3e-5, 6e-4},
	}
}

// pairFrequency is the resonance at which the acceleration a moves the mass by x.
func pairFrequency(x, a float64) float64 { return gravlab.Must(sensor.FrequencyFromSag(x, a)) }

func resonanceOfPair(d *bank.Draw) bank.Question {
	x := d.Between("pair x", 1.0, 3.0, 0.1)    // pm
	a := d.Between("pair a", 0.10, 0.60, 0.05) // ng
	f := func(x, a float64) func(bank.Answers) float64 {
		return bank.Always(pairFrequency(x*1e-12, a*1e-9))
	}
	right := f(x, a*gravlab.StandardGravity)
	return bank.Question{
		ID: "pair", Kind: judge.KindNumber, Marks: 2, Unit: "Hz", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"a": a, "x": x, "aSI": a * 1e-9, "xSI": x * 1e-12},
		Solve:  right,
		Slips: []bank.Slip{
			{ID: "angular", Value: bank.Always(2 * math.Pi * right(nil))},
			{ID: "nano-g", Value: f(x, a)},
			{ID: "no-root", Value: bank.Always(math.Pow(2*math.Pi*right(nil), 2) / (2 * math.Pi))},
			{ID: "inverse", Value: bank.Always(1 / (4 * math.Pi * math.Pi * right(nil)))},
			{ID: "milli-g", Value: f(x, a*1e-3*gravlab.StandardGravity)},
		},
		Range: [2]float64{2.5, 13},
		// 1.4e-12 m, 0.25e-9 g with g = 9.81
		Source: bank.Computed(testdata.Examples, "spring-15", pairFrequency(1.4e-12, 0.25e-9*9.81), 0.05),
	}
}

func whichWay() bank.Question {
	return bank.Question{
		ID: "way", Kind: judge.KindChoice, Marks: 1,
	}
}

// gainOf is |x/a|.
func gainOf(s sensor.Suspension, f float64) float64 { return cmplx.Abs(gravlab.Must(s.Response(f))) }

func responseFunction(d *bank.Draw, s sensor.Suspension) bank.Question {
	r := d.Rand("response calls")
	calls := [][]float64{{bank.Clean(0.1 * s.Frequency)}, {bank.Clean(bank.RoundTo(0.98*s.Frequency, 3))}, {bank.Clean(10 * s.Frequency)}}
	for range 7 {
		calls = append(calls, []float64{bank.RoundTo(s.Frequency*math.Pow(10, 1.6*r.Float64()-0.8), 3)})
	}
	calls = append(calls, []float64{bank.RoundTo(1.03*s.Frequency, 3)}, calls[1])
	one := func(f func(x float64) float64) func([]float64) []float64 {
		return func(a []float64) []float64 { return []float64{f(a[0])} }
	}
	w0 := 2 * math.Pi * s.Frequency
	return bank.Question{
		ID: "response", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 2e-3},
		Fields: bank.Fields{"frequency": s.Frequency, "q": s.Q},
		Function: &bank.Function{
			Name: "response", Signature: judge.OneToOne, Calls: calls,
			Right: one(func(f float64) float64 { return gainOf(s, f) }),
			Slips: []bank.FunctionSlip{
				{ID: "no-damping", F: one(func(f float64) float64 { w := 2 * math.Pi * f; return 1 / math.Abs(w0*w0-w*w) })},
				{ID: "frequency", F: one(func(f float64) float64 { return gainOf(s, f) * 4 * math.Pi * math.Pi })},
				{ID: "linear-sum", F: one(func(f float64) float64 {
					w := 2 * math.Pi * f
					return 1 / (math.Abs(w0*w0-w*w) + w*w0/s.Q)
				})},
				{ID: "no-root", F: one(func(f float64) float64 { return math.Pow(gainOf(s, f), 2) })},
				{ID: "one-2pi", F: one(func(f float64) float64 { return gainOf(s, f) * 2 * math.Pi })},
				{ID: "inverse", F: one(func(f float64) float64 { return 1 / gainOf(s, f) })},
				{ID: "with-frame", F: one(func(f float64) float64 { w := 2 * math.Pi * f; return gainOf(s, f) * w * w })},
			},
		},
		// 4.2 Hz, Q 85, at 0.3 Hz
		Source: bank.Computed(testdata.Checks, "sensor-transfer-01", gainOf(sensor.Suspension{Mass: 1, Frequency: 4.2, Q: 85}, 0.3), 1e-12),
	}
}

func atResonance(d *bank.Draw, s sensor.Suspension) bank.Question {
	a := d.Between("fan", 0.2, 1.0, 0.05) // mm/s²
	w0 := 2 * math.Pi * s.Frequency
	right := a / 1000 * gainOf(s, s.Frequency)
	return bank.Question{
		ID: "at-resonance", Kind: judge.KindNumber, Marks: 2, Unit: "µm", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"frequency": s.Frequency, "q": s.Q, "a": a, "aSI": a / 1000},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "no-q", Value: bank.Always(right / s.Q)},
			{ID: "frequency", Value: bank.Always(right * 4 * math.Pi * math.Pi)},
			{ID: "over-q", Value: bank.Always(a / 1000 / (w0 * w0) / s.Q)},
			{ID: "one-2pi", Value: bank.Always(right * 2 * math.Pi)},
			{ID: "half", Value: bank.Always(right / 2)},
		},
		Range: [2]float64{5e-7, 1.2e-4},
		// 4.2 Hz, Q 85, at resonance
		Source: bank.Computed(testdata.Checks, "sensor-transfer-03", gainOf(sensor.Suspension{Mass: 1, Frequency: 4.2, Q: 85}, 4.2), 1e-12),
	}
}

func aboveResonance(d *bank.Draw, s sensor.Suspension) bank.Question {
	f := math.Round(10*s.Frequency*d.Between("times over", 2.2, 3.2, 0.1)) / 10
	floor := d.Between("floor", 0.5, 3, 0.1) // µm
	w, w0 := 2*math.Pi*f, 2*math.Pi*s.Frequency
	a := floor * 1e-6 * w * w
	right := a * gainOf(s, f)
	return bank.Question{
		ID: "above-resonance", Kind: judge.KindNumber, Marks: 2, Unit: "µm", Tol: judge.Tolerance{Rel: 0.015},
		Fields: bank.Fields{"f": f, "frequency": s.Frequency, "floor": floor, "q": s.Q, "floorSI": floor * 1e-6},
		Solve:  bank.Always(right),
		Slips: []bank.Slip{
			{ID: "as-the-floor", Value: bank.Always(floor * 1e-6)},
			{ID: "slow-rule", Value: bank.Always(a / (w0 * w0))},
			{ID: "added", Value: bank.Always(a / (w*w + w0*w0))},
			{ID: "room", Value: bank.Always(right - floor*1e-6)},
			{ID: "times-q", Value: bank.Always(right * s.Q)},
			{ID: "acceleration", Value: bank.Always(a)},
		},
		Range: [2]float64{5e-7, 4e-6},
		// 4.2 Hz, Q 85, at 31 Hz
		Source: bank.Computed(testdata.Checks, "sensor-transfer-05", gainOf(sensor.Suspension{Mass: 1, Frequency: 4.2, Q: 85}, 31), 1e-14),
	}
}

func whyASoftSpring() bank.Question {
	return bank.Question{
		ID: "soft", Kind: judge.KindChoice, Marks: 1,
	}
}

func whichEnd() bank.Question {
	return bank.Question{
		ID: "which-end", Kind: judge.KindChoice, Marks: 1,
	}
}

func uOfStiffness(d *bank.Draw) bank.Question {
	um := d.Between("u mass", 0.6, 0.9, 0.1)
	wanted := d.Between("wanted u", 1.2, 1.6, 0.1)
	left := math.Sqrt(wanted*wanted - um*um)
	return bank.Question{
		ID: "u-stiffness", Kind: judge.KindNumber, Marks: 2, Unit: "%", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"um": um, "wanted": wanted},
		Solve:  bank.Always(left / 2 / 100),
		Slips: []bank.Slip{
			{ID: "no-exponent", Value: bank.Always(left / 100)},
			{ID: "straight-difference", Value: bank.Always((wanted - um) / 2 / 100)},
			{ID: "doubled", Value: bank.Always(2 * left / 100)},
			{ID: "mass-ignored", Value: bank.Always(wanted / 2 / 100)},
			{ID: "exponent-inside", Value: bank.Always(left / math.Sqrt2 / 100)},
			{ID: "added", Value: bank.Always(math.Hypot(wanted, um) / 2 / 100)},
		},
		Range: [2]float64{0.0035, 0.0075},
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

func shaking() bank.Recording {
	return bank.Recording{
		ID: "earthquake", Shared: true,
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "counts", Unit: "1"}},
		Make: func() ([][]float64, error) {
			counts := shakingCounts()
			t := make([]float64, len(counts))
			for i := range t {
				t[i] = bank.Clean(float64(i) / 200)
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
	mean, low, high := floats.Sum(counts)/float64(len(counts)), slices.Min(counts), slices.Max(counts)
	p.peak = math.Max(high-mean, mean-low) / shakingGain
	p.halfRange = (high - low) / 2 / shakingGain
	p.raw = high / shakingGain
	return p
})

func massInAnEarthquake(d *bank.Draw) bank.Question {
	f := d.Between("accelerometer", 120, 200, 5)
	p := shakingPeaks()
	peak := p.peak
	w := 2 * math.Pi * f
	return bank.Question{
		ID: "earthquake", Kind: judge.KindNumber, Marks: 3, Unit: "nm", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"f": f},
		Solve:  bank.Always(peak / (w * w)),
		Slips: []bank.Slip{
			{ID: "offset", Value: bank.Always(p.raw / (w * w))},
			{ID: "half-range", Value: bank.Always(p.halfRange / (w * w))},
			{ID: "frequency", Value: bank.Always(peak / (f * f))},
			{ID: "percent-g", Value: bank.Always(peak * 100 / 9.81 / (w * w))},
			{ID: "one-2pi", Value: bank.Always(2 * math.Pi * peak / (w * w))},
			{ID: "peak-to-peak", Value: bank.Always(2 * p.halfRange / (w * w))},
		},
		Range: [2]float64{2.5e-9, 1e-8},
		Source: bank.Source{Published: true, Check: &bank.SourceCheck{
			// Another sensor and another filter: within 5 %.
			Table: "geonet_accel_DUWZ_HNZ_20161224.csv", ID: "peak, % of g", Got: 100 * peak / gravlab.StandardGravity, Want: 0.0481, Within: 0.05 * 0.0481}},
	}
}
