package lab02

import (
	"embed"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/sensor"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 02.
var Lab = bank.Lab{
	ID: "02-settling-down", Title: "Settling down", Minutes: 80,
	Asks:   "The beam never stands still when you want to read it. Do you wait, or do you read the swing?",
	Tracks: []bank.Track{bank.LaboratoryClass, bank.PlanetarySpace}, BuildsOn: []string{"01-weighing-the-earth"}, Graded: true,
	Sealed: bank.Weights{Times: 3, Constants: []string{"quality", "mean-1935", "birge"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

func build(d *bank.Draw) bank.Sheet {
	decay := drawDecay(d)
	return bank.Sheet{
		Recordings: []bank.Recording{decay.recording(), gravityOf1935()},
		Questions: []bank.Question{
			decrementOfFibre(d), energyOfSwing(d), qFromHalving(d),
			decay.tau(), decay.period(), decay.quality(),
			runsOfResiduals(d), whatChi2Says(),
			uOfTiming(d), uOfCorrelated(d),
			meanOf1935(), birgeOf1935(), decide1935(),
			flickerTime(d), whenToStop(),
		},
	}
}

// decrement is the logarithmic decrement of a swing of which the share left is
// left after n periods.
func decrement(left, n float64) float64 { return -math.Log(left) / n }

func decrementOfFibre(d *bank.Draw) bank.Question {
	percent := d.Between("loss", 15, 40, 1)
	n := d.Between("swings", 100, 400, 10)
	left := 1 - percent/100
	return bank.Question{
		ID: "decrement", Kind: judge.KindNumber, Marks: 2, Unit: "1", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"percent": percent, "n": n},
		Solve:  bank.Always(decrement(left, n)),
		Slips: []bank.Slip{
			{ID: "not-divided", Value: bank.Always(n * decrement(left, n))},
			{ID: "log10", Value: bank.Always(decrement(left, n) * math.Log10(math.E))},
			{ID: "linear", Value: bank.Always(percent / 100 / n)},
			{ID: "loss", Value: bank.Always(decrement(percent/100, n))},
			{ID: "half-swings", Value: bank.Always(decrement(left, n) / 2)},
			{ID: "energy", Value: bank.Always(2 * decrement(left, n))},
			{ID: "sign", Value: bank.Always(-decrement(left, n))},
		},
		Range: [2]float64{3e-4, 6e-3},
		// twelve swings of a damped equation
		Source: bank.Computed(testdata.Checks, "pendulum-decrement-01", decrement(0.92774345190467490, 12), 1e-15),
	}
}

// energyLost is the share of the energy that goes with a share of the amplitude.
func energyLost(amplitudeLost float64) float64 { return 1 - (1-amplitudeLost)*(1-amplitudeLost) }

func energyOfSwing(d *bank.Draw) bank.Question {
	percent := d.Between("energy loss", 5, 12, 0.5)
	p := percent / 100
	return bank.Question{
		ID: "energy", Kind: judge.KindNumber, Marks: 2, Unit: "%", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"percent": percent},
		Solve:  bank.Always(energyLost(p)),
		Slips: []bank.Slip{
			{ID: "amplitude", Value: bank.Always(p)},
			{ID: "linear", Value: bank.Always(2 * p)},
			{ID: "remainder", Value: bank.Always(1 - energyLost(p))},
			{ID: "square-of-loss", Value: bank.Always(p * p)},
			{ID: "root", Value: bank.Always(1 - math.Sqrt(1-p))},
			{ID: "amplitude-left", Value: bank.Always(1 - p)},
		},
		Range: [2]float64{0.09, 0.24},
		// 3.0 % a cycle
		Source: bank.Published(testdata.Examples, "damping-01",
			// Printed with one digit.
			100*energyLost(0.03), 0.5),
	}
}

// halvingQ is the quality factor of a swing of the period T whose amplitude
// halves in the time t.
func halvingQ(period, t float64) float64 { return math.Pi * t / (period * math.Ln2) }

func qFromHalving(d *bank.Draw) bank.Question {
	period := d.Between("clock period", 4, 9, 0.5)
	t := d.Between("halving", 80, 240, 5)
	q := halvingQ(period, t)
	return bank.Question{
		ID: "q-halving", Kind: judge.KindNumber, Marks: 2, Unit: "1", Tol: judge.Tolerance{Rel: 0.006},
		Fields: bank.Fields{"period": period, "t": t},
		Solve:  bank.Always(q),
		Slips: []bank.Slip{
			{ID: "frequency", Value: bank.Always(q / (2 * math.Pi))},
			{ID: "factor-2", Value: bank.Always(2 * q)},
			{ID: "half-time", Value: bank.Always(q * math.Ln2)},
			{ID: "multiplied", Value: bank.Always(q * math.Ln2 * math.Ln2)},
			{ID: "no-pi", Value: bank.Always(q / math.Pi)},
			{ID: "energy-time", Value: bank.Always(q / 2)},
		},
		Range: [2]float64{35, 280},
		// a period of 1 s without damping
		Source: bank.Computed(testdata.Checks, "pendulum-quality-01", halvingQ(1, 110.90354888959125), 1e-9),
	}
}

// runsStatistic is that of Wald and Wolfowitz: by how many standard deviations
// the number of runs of one sign lies above what chance gives.
func runsStatistic(x []float64) float64 {
	runs, variance, mean := runsOf(x)
	return (runs - mean) / math.Sqrt(variance)
}

func runsOf(x []float64) (runs, variance, mean float64) {
	var above, below float64
	for i, v := range x {
		if v > 0 {
			above++
		} else {
			below++
		}
		if i == 0 || (v > 0) != (x[i-1] > 0) {
			runs++
		}
	}
	n := above + below
	mean = 2*above*below/n + 1
	return runs, (mean - 1) * (mean - 2) / (n - 1), mean
}

func runsOfResiduals(d *bank.Draw) bank.Question {
	r := d.Rand("residuals")
	var calls [][]float64
	for len(calls) < 7 {
		// From alternating to sluggish: the sign of the statistic must show.
		stay := []float64{0, -0.6, 0.6, 0.85}[len(calls)%4]
		x := make([]float64, 15+r.IntN(30))
		for i := range x {
			x[i] = math.Round(r.NormFloat64()*200) / 10
			if i > 0 {
				x[i] = math.Round((float64(stay*x[i-1])+x[i])*10) / 10
			}
			if x[i] == 0 {
				x[i] = 0.1
			}
		}
		if z := runsStatistic(x); !math.IsNaN(z) && !math.IsInf(z, 0) && math.Abs(z) > 0.3 {
			calls = append(calls, x)
		}
	}
	calls = append(calls, slices.Clone(calls[2]))
	one := func(f func(x []float64) float64) func([]float64) []float64 {
		return func(x []float64) []float64 { return []float64{f(x)} }
	}
	return bank.Question{
		ID: "runs", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 1e-3, Abs: 5e-3},
		Function: &bank.Function{
			Name: "runs", Signature: judge.SliceToOne, Calls: calls,
			Right: one(runsStatistic),
			Slips: []bank.FunctionSlip{
				{ID: "changes", F: one(func(x []float64) float64 {
					R, v, mu := runsOf(x)
					return (R - 1 - mu) / math.Sqrt(v)
				})},
				{ID: "variance", F: one(func(x []float64) float64 {
					R, v, mu := runsOf(x)
					return (R - mu) / v
				})},
				{ID: "sign", F: one(func(x []float64) float64 { return -runsStatistic(x) })},
				{ID: "count", F: one(func(x []float64) float64 { R, _, _ := runsOf(x); return R })},
				{ID: "n-for-n-minus-1", F: one(func(x []float64) float64 {
					R, v, mu := runsOf(x)
					n := float64(len(x))
					return (R - mu) / math.Sqrt(v*(n-1)/n)
				})},
				{ID: "mean-without-1", F: one(func(x []float64) float64 { R, v, mu := runsOf(x); return (R - mu + 1) / math.Sqrt(v) })},
			},
		},
	}
}

func whatChi2Says() bank.Question {
	return bank.Question{
		ID: "chi2", Kind: judge.KindChoice, Marks: 1,
	}
}

func uOfTiming(d *bank.Draw) bank.Question {
	hand := d.Between("hand", 0.12, 0.3, 0.02)
	n := d.Between("swings timed", 6, 20, 1)
	times := d.Pick("repeats", 5, 6, 7, 8, 10)
	u := math.Sqrt2 * hand / (n * math.Sqrt(times))
	return bank.Question{
		ID: "u-timing", Kind: judge.KindNumber, Marks: 2, Unit: "s", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"n": n, "times": times, "hand": hand},
		Solve:  bank.Always(u),
		Slips: []bank.Slip{
			{ID: "not-divided", Value: bank.Always(n * u)},
			{ID: "one-press", Value: bank.Always(u / math.Sqrt2)},
			{ID: "one-timing", Value: bank.Always(math.Sqrt(times) * u)},
			{ID: "n-not-root", Value: bank.Always(u / math.Sqrt(times))},
			{ID: "presses-added", Value: bank.Always(math.Sqrt2 * u)},
			{ID: "all-swings", Value: bank.Always(math.Sqrt(n) * u)},
		},
		Range: [2]float64{0.001, 0.05},
	}
}

// relativeUOfG is u(G)/G for G ∝ theta d² b/(T² M), with the correlation r of
// theta and T.
func relativeUOfG(uTheta, uT, uD, uM, uB, r float64) float64 {
	terms := []float64{uTheta, 2 * uT, 2 * uD, uM, uB}
	return math.Sqrt(floats.Dot(terms, terms) - 4*r*uTheta*uT)
}

func uOfCorrelated(d *bank.Draw) bank.Question {
	uTheta := d.Between("u theta", 0.6, 0.9, 0.1)
	uT := d.Between("u T", 0.6, 0.9, 0.05)
	uD := d.Between("u d", 0.35, 0.5, 0.05)
	r := d.Between("r", 0.5, 0.7, 0.05)
	u := func(r float64) func(bank.Answers) float64 {
		return bank.Always(relativeUOfG(uTheta, uT, uD, 0, 0, r) / 100)
	}
	exact := testdata.Find(testdata.Checks, "quantity-propagation-01")
	// Its inputs: theta 0.00413(4), T 512.3(7), d 0.0468(1), M 1.492, b 0.0497.
	g := math.Pow(2*math.Pi/512.3, 2) * 0.00413 * 0.0468 * 0.0468 * 0.0497 / 1.492
	return bank.Question{
		ID: "u-correlated", Kind: judge.KindNumber, Marks: 3, Unit: "%", Tol: judge.Tolerance{Rel: 0.02},
		Fields: bank.Fields{"uTheta": uTheta, "uT": uT, "r": r, "uD": uD},
		Solve:  u(r),
		Slips: []bank.Slip{
			{ID: "no-correlation", Value: u(0)},
			{ID: "cross-sign", Value: u(-r)},
			{ID: "no-exponents", Value: bank.Always(math.Sqrt(uTheta*uTheta+uT*uT+uD*uD-2*r*uTheta*uT) / 100)},
			{ID: "cross-half", Value: bank.Always(math.Sqrt(uTheta*uTheta+4*uT*uT+4*uD*uD-2*r*uTheta*uT) / 100)},
			{ID: "distance-exponent", Value: bank.Always(math.Sqrt(uTheta*uTheta+4*uT*uT+uD*uD-4*r*uTheta*uT) / 100)},
			{ID: "straight-sum", Value: bank.Always((uTheta + 2*uT + 2*uD) / 100)},
		},
		Range:  [2]float64{0.007, 0.02},
		Source: bank.Computed(testdata.Checks, "quantity-propagation-01", g*relativeUOfG(0.00004/0.00413, 0.7/512.3, 0.00012/0.0468, 0.0004/1.492, 0.00005/0.0497, 0.6), 1e-9*exact.Float("value")),
	}
}

// gravity1935 is one series of readings with the reversible pendulum.
type gravity1935 struct {
	mean, s, n float64 // m/s², above 9.80 m/s²
}

// gravity1935Series are the eight series.
var gravity1935Series = sync.OnceValue(func() []gravity1935 {
	readings := make([][]float64, 8)
	for _, row := range testdata.Table("nbs_gravity_washington_1934_1935.csv") {
		e := int(row.Float("experiment")) - 1
		readings[e] = append(readings[e], row.Float("deviation_1e-3_cm/s2")*gravlab.MilliGal)
	}
	var series []gravity1935
	for _, x := range readings {
		n := float64(len(x))
		mean, s := floats.Sum(x)/n, 0.0
		for _, v := range x {
			s += (v - mean) * (v - mean) / (n - 1)
		}
		series = append(series, gravity1935{mean, math.Sqrt(s), n})
	}
	return series
})

// mean1935 weights each series by weight.
func mean1935(weight func(s gravity1935) float64) float64 {
	total, x := 0.0, 0.0
	for _, s := range gravity1935Series() {
		total += weight(s)
		x += weight(s) * s.mean
	}
	return x / total
}

// weighted1935 is the weighted mean of the series' means.
func weighted1935() fit.Mean {
	var x, u []float64
	for _, s := range gravity1935Series() {
		x, u = append(x, s.mean), append(u, s.s/math.Sqrt(s.n))
	}
	return gravlab.Must(fit.WeightedMean(x, u))
}

func gravityOf1935() bank.Recording {
	return bank.Recording{
		ID: "gravity-1935", Shared: true,
		Columns: []bank.Column{{Name: "series", Unit: "1"}, {Name: "above", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			var series, above []float64
			for _, row := range testdata.Table("nbs_gravity_washington_1934_1935.csv") {
				series = append(series, row.Float("experiment"))
				above = append(above, bank.Clean(row.Float("deviation_1e-3_cm/s2")*gravlab.MilliGal))
			}
			return [][]float64{series, above}, nil
		},
	}
}

func meanOf1935() bank.Question {
	mean := weighted1935()
	scatter := 0.0 // of the reading of one series, on average
	for _, s := range gravity1935Series() {
		scatter += s.s / 8
	}
	return bank.Question{
		ID: "mean-1935", Kind: judge.KindMeasured, Marks: 3, Unit: "mGal", Tol: judge.Tolerance{Abs: 0.006 * gravlab.MilliGal},
		Solve: bank.Always(mean.Value),
		U:     func() float64 { return mean.U },
		Slips: []bank.Slip{
			{ID: "unweighted", Value: bank.Always(mean1935(func(s gravity1935) float64 { return s.n }))},
			{ID: "unweighted-means", Value: bank.Always(mean1935(func(gravity1935) float64 { return 1 }))},
			{ID: "scatter-weights", Value: bank.Always(mean1935(func(s gravity1935) float64 { return 1 / (s.s * s.s) }))},
			{ID: "weights-of-u", Value: bank.Always(mean1935(func(s gravity1935) float64 { return math.Sqrt(s.n) / s.s }))},
		},
		USlips: []bank.Slip{
			{ID: "scatter", Value: bank.Always(scatter)},
		},
		Range: [2]float64{78 * gravlab.MilliGal, 79 * gravlab.MilliGal},
		Source: bank.Source{Check: &bank.SourceCheck{
			Table: "nbs_gravity_washington_1934_1935.csv", ID: "weighted mean", Got: mean.Value, Want: 78.62912385464328 * gravlab.MilliGal, Within: 1e-9 * gravlab.MilliGal}},
	}
}

func decide1935() bank.Question {
	return bank.Question{
		ID: "decide-1935", Kind: judge.KindChoice, Marks: 1,
	}
}

func birgeOf1935() bank.Question {
	mean := weighted1935()
	nu, chi2 := float64(mean.DoF), mean.Chi2

	check := gravlab.Must(fit.WeightedMean([]float64{6.6721, 6.6758, 6.6740, 6.6729}, []float64{0.0012, 0.0007, 0.0004, 0.0005}))
	return bank.Question{
		ID: "birge", Kind: judge.KindNumber, Marks: 2, Unit: "1", Tol: judge.Tolerance{Rel: 0.01},
		Solve: bank.Always(mean.Birge),
		Slips: []bank.Slip{
			{ID: "root-not-taken", Value: bank.Always(chi2 / nu)},
			{ID: "not-divided", Value: bank.Always(math.Sqrt(chi2))},
			{ID: "n-for-nu", Value: bank.Always(math.Sqrt(chi2 / (nu + 1)))},
			{ID: "chi2", Value: bank.Always(chi2)},
			{ID: "p-value", Value: bank.Always(mean.PValue)},
		},
		Range: [2]float64{1.7, 1.8},
		// the probability of the chi-square of four values
		Source: bank.Computed(testdata.Checks, "fit-mean-03", check.PValue, 1e-9),
	}
}

// whiteMeetsFlicker is the averaging time at which white noise has come down to
// the level of flicker noise; the amplitude densities are a, and b at 1 Hz.
func whiteMeetsFlicker(a, b float64) float64 { return a * a / (4 * math.Ln2 * b * b) }

func flickerTime(d *bank.Draw) bank.Question {
	a := d.Between("white", 2, 6, 0.2)
	b := d.Between("flicker", 0.1, 0.3, 0.02)
	t := whiteMeetsFlicker(a, b)
	exact := testdata.Find(testdata.Checks, "sensor-allan-02") // h = 4e-18
	return bank.Question{
		ID: "flicker", Kind: judge.KindNumber, Marks: 2, Unit: "s", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"a": a, "b": b},
		Solve:  bank.Always(t),
		Slips: []bank.Slip{
			{ID: "not-squared", Value: bank.Always(math.Sqrt(t / (4 * math.Ln2)))},
			{ID: "spectra-crossing", Value: bank.Always(4 * math.Ln2 * t)},
			{ID: "root", Value: bank.Always(math.Sqrt(t))},
			{ID: "no-half", Value: bank.Always(2 * t)},
			{ID: "no-2ln2", Value: bank.Always(2 * math.Ln2 * t)},
			{ID: "ratio", Value: bank.Always(a / b)},
		},
		Range: [2]float64{10, 1500},
		Source: bank.Computed(testdata.Checks, "sensor-allan-02",
			// Both laws in one: flicker of the row's h, met by white noise after the time
			// above.
			gravlab.Must(sensor.AllanPowerLaw(1e-16, 0, whiteMeetsFlicker(1e-8, 2e-9))), 1e-12*exact.Float("value")),
	}
}

func whenToStop() bank.Question {
	return bank.Question{
		ID: "averaging", Kind: judge.KindChoice, Marks: 1,
	}
}
