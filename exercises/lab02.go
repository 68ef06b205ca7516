package exercises

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/sensor"
	"gravity.example/testdata"
)

var settlingDown = Lab{
	ID: "02-settling-down", Title: "Settling down", Minutes: 80,
	Tracks: []Track{LaboratoryClass}, BuildsOn: []string{"01-weighing-the-earth"}, Graded: true,
	Build: buildSettlingDown,
}

func buildSettlingDown(d *Draw) Paper {
	decay := drawDecay(d)
	return Paper{
		Recordings: []Recording{decay.recording(), gravityOf1935()},
		Questions: []Question{
			decrementOfFibre(d), energyOfSwing(d), qFromHalving(d),
			decay.tau(), decay.period(), decay.quality(),
			runsOfResiduals(d), whatChi2Says(),
			uOfTiming(d), uOfCorrelated(d),
			meanOf1935(), birgeOf1935(),
			flickerTime(d), whenToStop(),
		},
	}
}

// decrement is the logarithmic decrement of a swing of which the share left is
// left after n periods.
func decrement(left, n float64) float64 { return -math.Log(left) / n }

func decrementOfFibre(d *Draw) Question {
	percent := d.Between("loss", 15, 40, 1)
	n := d.Between("swings", 100, 400, 10)
	left := 1 - percent/100
	printed := testdata.Find("worked_examples.csv", "damping-02") // 25 % in 300 cycles
	return Question{
		ID: "decrement", Kind: judge.Number, Marks: 2, Title: "The decrement of a good fibre",
		Prompt: fmt.Sprintf("In a vacuum vessel a pendant on a quartz fibre loses %g %% of its amplitude in %g full swings. What is its logarithmic decrement $\\Lambda$, per full swing?", percent, n),
		Unit:   "1", Tol: judge.Tolerance{Rel: 0.005, Why: "three digits carried"},
		Solve: valueOf(decrement(left, n)),
		Slips: []Slip{
			{Name: "not divided by the number of swings", Value: valueOf(n * decrement(left, n)), Fix: "The decrement belongs to one swing: the logarithm of the whole fall over their number."},
			{Name: "the logarithm to base 10", Value: valueOf(decrement(left, n) * math.Log10(math.E)), Fix: "The decrement is a natural logarithm: math.Log, not math.Log10."},
			{Name: "the loss divided by the swings", Value: valueOf(percent / 100 / n), Fix: "The fall is exponential: equal shares, not equal amounts. Take the logarithm."},
			{Name: "the loss taken for what is left", Value: valueOf(decrement(percent/100, n)), Fix: "The logarithm is that of the amplitude left over the amplitude at the start."},
		},
		Range:     [2]float64{3e-4, 6e-3},
		Hints:     [2]string{"Which share of the amplitude is left?", "x(n)/x(0) = exp(−n Λ): solve for Λ."},
		Worked:    fmt.Sprintf("%%%%\n// What is left after n swings is exp(-n Lambda).\nleft, n := 1-%s/100, %s\nsheet.Number(\"decrement\", -math.Log(left)/n, \"1\")", lit(percent), lit(n)),
		Reasoning: "Every swing keeps the same share $e^{-\\Lambda}$ of the amplitude, so $x_n/x_0 = e^{-n\\Lambda}$ and $\\Lambda = -\\ln(x_n/x_0)/n$.",
		Source: Source{Text: printed["source"], Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "damping-02", Got: decrement(0.75, 300), Want: printed.Float("published_answer"), Within: 0.005e-4}},
	}
}

// energyLost is the share of the energy that goes with a share of the amplitude.
func energyLost(amplitudeLost float64) float64 { return 1 - (1-amplitudeLost)*(1-amplitudeLost) }

func energyOfSwing(d *Draw) Question {
	percent := d.Between("energy loss", 5, 12, 0.5)
	p := percent / 100
	printed := testdata.Find("worked_examples.csv", "damping-01") // 3.0 % a cycle
	return Question{
		ID: "energy", Kind: judge.Number, Marks: 1, Title: "What the air takes",
		Prompt: fmt.Sprintf("Let air into the vessel: now the amplitude falls by %.1f %% in each swing. Which share of the *energy* of the swing is lost in one swing, in per cent?", percent),
		Unit:   "%", Tol: judge.Tolerance{Rel: 0.005, Why: "three digits carried"},
		Solve: valueOf(energyLost(p)),
		Slips: []Slip{
			{Name: "the loss of amplitude", Value: valueOf(p), Fix: "The energy goes with the square of the amplitude."},
			{Name: "twice the loss of amplitude", Value: valueOf(2 * p), Fix: "That is the limit for small losses. Square what is left instead."},
			{Name: "what is left given for what is lost", Value: valueOf(1 - energyLost(p)), Fix: "The question asks for the share that goes."},
		},
		Range:     [2]float64{0.09, 0.24},
		Hints:     [2]string{"How does the energy of a swing depend on its amplitude?", "Which share of the amplitude is left? Its square is the share of the energy."},
		Worked:    fmt.Sprintf("%%%%\n// The energy goes with the square of the amplitude.\nleft := 1 - %s/100\nsheet.Number(\"energy\", 100*(1-left*left), \"%%\")", lit(percent)),
		Reasoning: "At a turning point all energy is in the fibre, $\\frac12\\kappa\\theta^2$. So the share left is the square of the amplitude's share.",
		Source: Source{Text: printed["source"], Published: true, Check: &SourceCheck{
			// Printed with one digit.
			Table: "worked_examples.csv", ID: "damping-01", Got: 100 * energyLost(0.03), Want: printed.Float("published_answer"), Within: 0.5}},
	}
}

// halvingQ is the quality factor of a swing of the period T whose amplitude
// halves in the time t.
func halvingQ(period, t float64) float64 { return math.Pi * t / (period * math.Ln2) }

func qFromHalving(d *Draw) Question {
	period := d.Between("clock period", 4, 9, 0.5)
	t := d.Between("halving", 80, 240, 5)
	q := halvingQ(period, t)
	printed := testdata.Find("worked_examples.csv", "damping-05") // 5 s, 100 s
	return Question{
		ID: "q-halving", Kind: judge.Number, Marks: 2, Title: "Q without a logarithm table",
		Prompt: fmt.Sprintf("A pendant with a full period of %.1f s needs %g s for its amplitude to fall to half. What is its quality factor $Q$?", period, t),
		Unit:   "1", Tol: judge.Tolerance{Rel: 0.006, Why: "three digits carried; π/Λ for ω₀τ/2 is closer than that"},
		Solve: valueOf(q),
		Slips: []Slip{
			{Name: "the frequency taken for the angular frequency", Value: valueOf(q / (2 * math.Pi)), Fix: "Q = ω₀ τ/2 with ω₀ = 2π/T."},
			{Name: "a factor 2 too many", Value: valueOf(2 * q), Fix: "τ is the decay time of the amplitude: Q = ω₀ τ/2, and the energy decays twice as fast."},
			{Name: "the time to half taken for the time to 1/e", Value: valueOf(q * math.Ln2), Fix: "From the half-time to the decay time is a factor 1/ln 2."},
		},
		Range:     [2]float64{35, 280},
		Hints:     [2]string{"From the half-time the decay time first: exp(−t/τ) = 1/2.", "Q = π τ/T."},
		Worked:    fmt.Sprintf("%%%%\n// The time to half gives the decay time, and Q = pi tau/T.\nT, half := %s, %s // s\ntau := half / math.Ln2\nsheet.Number(\"q-halving\", math.Pi*tau/T, \"1\")", lit(period), lit(t)),
		Reasoning: "$e^{-t/\\tau} = \\frac12$ gives $\\tau = t/\\ln 2$, and $Q = \\omega_0\\tau/2 = \\pi\\tau/T$. Counting works too: after $N$ swings the amplitude is down to $1/e$, and $Q = \\pi N$.",
		Source: Source{Text: printed["source"] + "; answer worked out by us, from memory", Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "damping-05", Got: halvingQ(5, 100), Want: printed.Float("published_answer"), Within: 0.05}},
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

func runsOfResiduals(d *Draw) Question {
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
	return Question{
		ID: "runs", Kind: judge.Function, Marks: 3, Title: "Do the residuals stay on one side too long?",
		Prompt: "Write a function `runs` that takes residuals in the order in which they were read (none is 0) and returns the runs statistic $z = (R - \\mu)/\\sigma$. " +
			"$R$ is the number of runs: stretches of one sign, so that + + − + has three. With $n_+$ positive and $n_-$ negative residuals, $n = n_+ + n_-$, chance gives on average $\\mu = 2 n_+ n_-/n + 1$ runs, with the variance $\\sigma^2 = (\\mu-1)(\\mu-2)/(n-1)$.",
		Tol: judge.Tolerance{Rel: 1e-3, Abs: 5e-3, Why: "the formula is exact; two decimals of z"},
		Function: &Function{
			Name: "runs", Signature: judge.SliceToOne, Calls: calls, Right: one(runsStatistic),
			Slips: []FunctionSlip{
				{Name: "the changes of sign counted, not the runs", F: one(func(x []float64) float64 {
					R, v, mu := runsOf(x)
					return (R - 1 - mu) / math.Sqrt(v)
				}), Fix: "The first run has no change of sign before it: one more run than changes."},
				{Name: "divided by the variance", F: one(func(x []float64) float64 {
					R, v, mu := runsOf(x)
					return (R - mu) / v
				}), Fix: "z counts standard deviations: take the root of the variance."},
				{Name: "the sign reversed", F: one(func(x []float64) float64 { return -runsStatistic(x) }), Fix: "Too few runs must give a negative z: R less μ."},
				{Name: "the number of runs itself", F: one(func(x []float64) float64 { R, _, _ := runsOf(x); return R }), Fix: "Compare the number with what chance gives: less μ, over σ."},
			},
		},
		Hints: [2]string{"One loop: count positive and negative residuals, and a run whenever the sign differs from the one before.", "Start with R = 1 for the first residual. Then μ, σ² and (R − μ)/σ as written."},
		Worked: "// One loop counts the signs and the runs; the rest is the formula.\nfunc runs(x []float64) float64 {\n\tR, up, down := 0.0, 0.0, 0.0\n\tfor i, v := range x {\n\t\tif v > 0 {\n\t\t\tup++\n\t\t} else {\n\t\t\tdown++\n\t\t}\n\t\tif i == 0 || (v > 0) != (x[i-1] > 0) {\n\t\t\tR++\n\t\t}\n\t}\n" +
			"\tn := up + down\n\tmu := 2*up*down/n + 1\n\treturn (R - mu) / math.Sqrt((mu-1)*(mu-2)/(n-1))\n}\n\n%%\nsheet.Function(\"runs\", runs)",
		Reasoning: "Independent residuals change sign about every second time. A model that misses something leaves long stretches of one sign: few runs, $z$ far below zero. More than 3 standard deviations is no chance.",
		Source:    Source{Text: "A. Wald and J. Wolfowitz, Ann. Math. Stat. 11 (1940) 147 (from memory): number of runs"},
	}
}

func whatChi2Says() Question {
	return Question{
		ID: "chi2", Kind: judge.Choice, Marks: 1, Title: "What six says",
		Prompt: "A fit of 400 readings with *stated* uncertainties gives $\\chi^2/\\nu = 6.1$, and its residuals run in slow waves. What do you do with the decay time that it prints?",
		Options: []judge.Option{
			{Letter: "a", Text: "take it, with the uncertainty times $\\sqrt{6.1}$", Idea: "That factor mends noise that was stated too small. Waves are no noise: the value itself may be off."},
			{Letter: "b", Text: "take it as it is, since the fit has converged", Idea: "Convergence says that nothing fits better, not that it fits. Six times the expected squares says that it does not."},
			{Letter: "c", Text: "use no number yet, and look for what the model leaves out", Right: true},
			{Letter: "d", Text: "delete the readings furthest off until $\\chi^2/\\nu$ is 1", Idea: "That makes any model fit anything. Readings go because something happened, not because they disagree."},
		},
		Worked:    "%%\nsheet.Choice(\"chi2\", \"c\") // waves in the residuals are something that the model does not have",
		Reasoning: "With right $\\sigma$ and right model $\\chi^2/\\nu$ lies within about $1 \\pm \\sqrt{2/\\nu} = 1 \\pm 0.07$. Both too small a $\\sigma$ and a wrong model raise it; the pattern tells them apart.",
		Source:    Source{Text: "common practice, no source"},
	}
}

func uOfTiming(d *Draw) Question {
	hand := d.Between("hand", 0.12, 0.3, 0.02)
	n := d.Between("swings timed", 6, 20, 1)
	times := d.Pick("repeats", 5, 6, 7, 8, 10)
	u := math.Sqrt2 * hand / (n * math.Sqrt(times))
	return Question{
		ID: "u-timing", Kind: judge.Number, Marks: 2, Title: "With a stopwatch instead",
		Prompt: fmt.Sprintf("Somebody times %g full swings with a stopwatch, and does so %g times. Pressing the button has a standard uncertainty of %.2f s, at the start and again at the end, independent each time. What is the standard uncertainty of the mean *period*?", n, times, hand),
		Unit:   "s", Tol: judge.Tolerance{Rel: 0.02, Why: "an uncertainty is stated with two digits"},
		Solve: valueOf(u),
		Slips: []Slip{
			{Name: "not divided by the number of swings", Value: valueOf(n * u), Fix: "What was timed is many periods: the period's uncertainty is that of the time over their number."},
			{Name: "one press of the button only", Value: valueOf(u / math.Sqrt2), Fix: "The button is pressed twice, and the two add in quadrature."},
			{Name: "the scatter of one timing given for the uncertainty of the mean", Value: valueOf(math.Sqrt(times) * u), Fix: "The mean of several independent timings is known better than one of them."},
			{Name: "divided by the number of timings, not by its root", Value: valueOf(u / math.Sqrt(times)), Fix: "Independent errors average as 1/√n, not as 1/n."},
		},
		Range:     [2]float64{0.001, 0.05},
		Hints:     [2]string{"First the uncertainty of one timing: two presses, in quadrature.", "Then of one period, then of the mean of all timings: 1/√n."},
		Worked:    fmt.Sprintf("%%%%\n// Two presses in quadrature; then per swing; then the mean of the timings.\ntiming := math.Sqrt2 * %s // s\nu := timing / %s / math.Sqrt(%s)\nsheet.Number(\"u-timing\", u, \"s\")", lit(hand), lit(n), lit(times)),
		Reasoning: "One timing has $\\sqrt2\\,u$, a period of it that over $N$, the mean of $k$ timings that over $\\sqrt k$. The $N$ pays linearly, since start and end are pressed once for all of them; repeating pays only as a root.",
		Source:    Source{Text: "JCGM 100:2008, 4.2.3 and 5.1.2 (from memory)"},
	}
}

// relativeUOfG is u(G)/G for G ∝ theta d² b/(T² M), with the correlation r of
// theta and T.
func relativeUOfG(uTheta, uT, uD, uM, uB, r float64) float64 {
	return math.Sqrt(squares([]float64{uTheta, 2 * uT, 2 * uD, uM, uB}) - 4*r*uTheta*uT)
}

func uOfCorrelated(d *Draw) Question {
	uTheta := d.Between("u theta", 0.6, 0.9, 0.1)
	uT := d.Between("u T", 0.6, 0.9, 0.05)
	uD := d.Between("u d", 0.2, 0.4, 0.05)
	r := d.Between("r", 0.5, 0.7, 0.05)
	u := func(r float64) func(Known) float64 { return valueOf(relativeUOfG(uTheta, uT, uD, 0, 0, r) / 100) }
	exact := testdata.Find("model_checks.csv", "quantity-propagation-01")
	// Its inputs: theta 0.00413(4), T 512.3(7), d 0.0468(1), M 1.492, b 0.0497.
	g := math.Pow(2*math.Pi/512.3, 2) * 0.00413 * 0.0468 * 0.0468 * 0.0497 / 1.492
	return Question{
		ID: "u-correlated", Kind: judge.Number, Marks: 3, Title: "Two numbers from one fit",
		Prompt: fmt.Sprintf("A short recording of a swing gives the deflection $\\theta$ to %.1f %% and the period $T$ to %.2f %%, with the correlation coefficient $r = %.2f$; the distance $d$ is known to %.2f %% from elsewhere. "+
			"The constant of gravitation goes as $G \\propto \\theta\\, d^2/T^2$, and what else is in it is known far better. What is the relative standard uncertainty of $G$, in per cent?", uTheta, uT, r, uD),
		Unit: "%", Tol: judge.Tolerance{Rel: 0.02, Why: "an uncertainty is stated with two digits"},
		Solve: u(r),
		Slips: []Slip{
			{Name: "the correlation left out", Value: u(0), Fix: "The two errors come from one fit and partly cancel or add: the cross term 2 c₁ c₂ u₁ u₂ r."},
			{Name: "the cross term with the wrong sign", Value: u(-r), Fix: "G falls when T grows: one of the two sensitivities is negative."},
			{Name: "the exponents left out", Value: valueOf(math.Sqrt(squares([]float64{uTheta, uT, uD})-2*r*uTheta*uT) / 100), Fix: "A relative change of T or d counts twice in G, also in the cross term."},
		},
		Range: [2]float64{0.006, 0.018},
		Hints: [2]string{"Relative sensitivities are the exponents: 1, −2 and 2.", "u² = Σ (cᵢuᵢ)² + 2 c₁c₂ u₁u₂ r, with the signs of the exponents."},
		Worked: fmt.Sprintf("%%%%\n// The exponents are the sensitivities: 1 for theta, -2 for T, 2 for d.\nth, T, d, r := %s, %s, %s, %s // %%, %%, %%, 1\nu2 := th*th + 4*T*T + 4*d*d + 2*1*(-2)*th*T*r\nsheet.Number(\"u-correlated\", math.Sqrt(u2), \"%%\")",
			lit(uTheta), lit(uT), lit(uD), lit(r)),
		Reasoning: "With $c_\\theta = 1$, $c_T = -2$, $c_d = 2$: $u^2 = u_\\theta^2 + 4u_T^2 + 4u_d^2 - 4 r u_\\theta u_T$. The deflection comes out large when the period comes out long, and in $G$ part of that cancels. Leaving $r$ out is not always the safe side.",
		Source: Source{Text: "JCGM 100:2008, 5.2.2 (from memory); independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "quantity-propagation-01",
			Got:  g * relativeUOfG(0.00004/0.00413, 0.7/512.3, 0.00012/0.0468, 0.0004/1.492, 0.00005/0.0497, 0.6),
			Want: exact.Float("value"), Within: 1e-9 * exact.Float("value")}},
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
		mean, s := sum(x)/n, 0.0
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

func gravityOf1935() Recording {
	return Recording{
		ID: "gravity-1935", Title: "81 readings of gravity with reversible pendulums, Washington 1934 to 1935: g less 9.80 m/s²",
		Columns: []Column{{Name: "series", Unit: "1"}, {Name: "above", Unit: "m/s²"}},
		Make: func() ([][]float64, error) {
			var series, above []float64
			for _, row := range testdata.Table("nbs_gravity_washington_1934_1935.csv") {
				series = append(series, row.Float("experiment"))
				above = append(above, clean(row.Float("deviation_1e-3_cm/s2")*gravlab.MilliGal))
			}
			return [][]float64{series, above}, nil
		},
	}
}

const source1935 = "81 readings of the US National Bureau of Standards, 1934 to 1935, as printed by N. Cressie, J. Am. Stat. Assoc. 77 (1982) 754"

// worked1935 makes the eight means x and their uncertainties u.
const worked1935 = "rec := sheet.Recording(\"gravity-1935\")\nseries, above := rec.Column(\"series\"), rec.Column(\"above\")\nvar x, u []float64\nfor k := 1.0; k <= 8; k++ {\n\tvar v []float64\n\tfor i := range above {\n\t\tif series[i] == k {\n\t\t\tv = append(v, above[i])\n\t\t}\n\t}\n\tinputs, _, err := quantity.Repeated(v)\n\tm := gravlab.Must(inputs, err)[0]\n\tx, u = append(x, m.Value), append(u, m.U)\n}\nmean := gravlab.Must(fit.WeightedMean(x, u))\n"

func meanOf1935() Question {
	mean := weighted1935()
	scatter := 0.0 // of the reading of one series, on average
	for _, s := range gravity1935Series() {
		scatter += s.s / 8
	}
	return Question{
		ID: "mean-1935", Kind: judge.Measured, Marks: 3, Title: "Eight series of unlike quality",
		Prompt: "`sheet.Recording(\"gravity-1935\")` holds 81 readings of gravity at Washington with reversible pendulums, in eight series (column `series`, 1 to 8; column `above`: $g$ less $9.80\\ \\mathrm{m/s^2}$). The later series scatter five times less than the first. " +
			"Take the mean of each series with its standard uncertainty $s/\\sqrt n$, and combine the eight by weights $1/u^2$. What is the weighted mean of `above`, with the standard uncertainty that follows from the eight? Give it in mGal to one decimal or better.",
		Unit:  "mGal",
		Tol:   judge.Tolerance{Abs: 0.04 * gravlab.MilliGal, Why: "one decimal in mGal"},
		Solve: valueOf(mean.Value), U: func() float64 { return mean.U },
		Slips: []Slip{
			{Name: "the plain mean of all readings", Value: valueOf(mean1935(func(s gravity1935) float64 { return s.n })), Fix: "A reading of the first series tells less than one of the last: weight by 1/u²."},
			{Name: "the plain mean of the eight means", Value: valueOf(mean1935(func(gravity1935) float64 { return 1 })), Fix: "The eight means are not equally good: weight by 1/u²."},
			{Name: "weights from the scatter of one reading", Value: valueOf(mean1935(func(s gravity1935) float64 { return 1 / (s.s * s.s) })), Fix: "The uncertainty of a series' mean is s/√n: a longer series counts more."},
		},
		USlips: []Slip{
			{Name: "the scatter of one reading given for the uncertainty of the mean", Value: valueOf(scatter), Fix: "The weighted mean has u = 1/√(Σ 1/u²), far below the scatter of single readings."},
		},
		Range:     [2]float64{78 * gravlab.MilliGal, 79 * gravlab.MilliGal},
		Hints:     [2]string{"quantity.Repeated gives mean and s/√n of one series.", "fit.WeightedMean takes the eight means and their uncertainties: see Value and U."},
		Worked:    "%%\n// The mean of each series with s/sqrt(n), then weights 1/u².\n" + worked1935 + "sheet.Measured(\"mean-1935\", mean.Value, mean.U, \"m/s²\")",
		Reasoning: "The weights $1/u^2$ make the uncertainty of the mean as small as it can be, $u = (\\sum 1/u_i^2)^{-1/2}$, if the eight are independent and their $u_i$ are right. Whether they are is the next question.",
		Source: Source{Text: source1935 + "; independently computed: 980.0786 cm/s², u 0.0006, with a general-purpose library", Check: &SourceCheck{
			Table: "nbs_gravity_washington_1934_1935.csv", ID: "weighted mean", Got: mean.Value, Want: 78.62912385464328 * gravlab.MilliGal, Within: 1e-9 * gravlab.MilliGal}},
	}
}

func birgeOf1935() Question {
	mean := weighted1935()
	nu, chi2 := float64(mean.DoF), mean.Chi2
	exact := testdata.Find("model_checks.csv", "fit-mean-03") // the probability of the chi-square of four values
	check := gravlab.Must(fit.WeightedMean([]float64{6.6721, 6.6758, 6.6740, 6.6729}, []float64{0.0012, 0.0007, 0.0004, 0.0005}))
	return Question{
		ID: "birge", Kind: judge.Number, Marks: 2, Title: "Do the eight agree?",
		Prompt: "What is the Birge ratio $R_\\mathrm{B} = \\sqrt{\\chi^2/\\nu}$ of the eight series about their weighted mean?",
		Unit:   "1", Tol: judge.Tolerance{Rel: 0.01, Why: "three digits carried"},
		Solve: valueOf(mean.Birge),
		Slips: []Slip{
			{Name: "the root not taken", Value: valueOf(chi2 / nu), Fix: "The ratio compares uncertainties, not their squares: take the root."},
			{Name: "not divided by the degrees of freedom", Value: valueOf(math.Sqrt(chi2)), Fix: "Chance alone gives χ² about ν: divide by it."},
			{Name: "the number of results for the degrees of freedom", Value: valueOf(math.Sqrt(chi2 / (nu + 1))), Fix: "The mean was fitted to the same eight numbers: one degree of freedom is used up."},
		},
		Range:     [2]float64{1.7, 1.8},
		Hints:     [2]string{"χ² is the sum of ((x − mean)/u)² over the eight.", "fit.WeightedMean gives it: see Birge."},
		Worked:    "%%\n// The scatter of the eight about their mean, in their own uncertainties.\n" + worked1935 + "sheet.Number(\"birge\", mean.Birge, \"1\")",
		Reasoning: "Eight series that agreed would give $\\chi^2$ near 7 and a ratio near 1; by chance 1.74 or more comes up about once in 300 times. Something differs between the series beyond their scatter: knife edges, temperature, the pendulum used. An honest uncertainty is that of the mean times the ratio, about 1 mGal. The report of the time gave $980.080\\ \\mathrm{cm/s^2}$ (from memory).",
		Source: Source{Text: source1935 + "; R. T. Birge, Phys. Rev. 40 (1932) 207 (from memory); independently computed: " + exact["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "fit-mean-03", Got: check.PValue, Want: exact.Float("value"), Within: 1e-9}},
	}
}

// whiteMeetsFlicker is the averaging time at which white noise has come down to
// the level of flicker noise; the amplitude densities are a, and b at 1 Hz.
func whiteMeetsFlicker(a, b float64) float64 { return a * a / (4 * math.Ln2 * b * b) }

func flickerTime(d *Draw) Question {
	a := d.Between("white", 2, 6, 0.2)
	b := d.Between("flicker", 0.1, 0.3, 0.02)
	t := whiteMeetsFlicker(a, b)
	exact := testdata.Find("model_checks.csv", "sensor-allan-02") // h = 4e-18
	return Question{
		ID: "flicker", Kind: judge.Number, Marks: 2, Title: "How long is it worth averaging?",
		Prompt: fmt.Sprintf("The angle reader of a balance has white noise of $%.1f\\ \\mathrm{\\text{µ}rad/\\sqrt{Hz}}$ and flicker noise that grows to lower frequencies, $%.2f\\ \\mathrm{\\text{µ}rad/\\sqrt{Hz}}$ at 1 Hz (amplitude densities). After which averaging time $\\tau$ are their two Allan deviations equal, so that more averaging gains little?", a, b),
		Unit:   "s", Tol: judge.Tolerance{Rel: 0.01, Why: "three digits carried"},
		Solve: valueOf(t),
		Slips: []Slip{
			{Name: "the amplitude densities not squared", Value: valueOf(math.Sqrt(t / (4 * math.Ln2))), Fix: "h is a power density: the square of the amplitude density."},
			{Name: "one over the frequency at which the spectra cross", Value: valueOf(4 * math.Ln2 * t), Fix: "Equal densities at a frequency are not equal Allan deviations: set √(h₀/(2τ)) equal to √(2 ln 2 h₁)."},
			{Name: "a root left over", Value: valueOf(math.Sqrt(t)), Fix: "Square both sides: h₀/(2τ) = 2 ln 2 · h₁."},
		},
		Range:     [2]float64{10, 1500},
		Hints:     [2]string{"White: √(h₀/(2τ)). Flicker: √(2 ln 2 · h₁), whatever τ. h is the square of the amplitude density.", "h₀/(2τ) = 2 ln 2 · h₁, solved for τ."},
		Worked:    fmt.Sprintf("%%%%\n// White comes down as 1/tau, flicker stays: h0/(2 tau) = 2 ln 2 h1.\na, b := %s, %s // µrad/√Hz\ntau := a * a / (4 * math.Ln2 * b * b)\nsheet.Number(\"flicker\", tau, \"s\")", lit(a), lit(b)),
		Reasoning: "White noise of power density $h_0$ has the Allan variance $h_0/(2\\tau)$, flicker of $h_1/f$ has $2\\ln 2\\,h_1$ at every $\\tau$. They meet at $\\tau = h_0/(4\\ln 2\\,h_1)$; from there on more readings buy no smaller uncertainty.",
		Source: Source{Text: "IEEE Std 1139 (from memory); independently computed: " + exact["route"], Check: &SourceCheck{
			// Both laws in one: flicker of the row's h, met by white noise after the time above.
			Table: "model_checks.csv", ID: "sensor-allan-02",
			Got:  gravlab.Must(sensor.AllanPowerLaw(1e-16, 0, whiteMeetsFlicker(1e-8, 2e-9))),
			Want: exact.Float("value"), Within: 1e-12 * exact.Float("value")}},
	}
}

func whenToStop() Question {
	return Question{
		ID: "averaging", Kind: judge.Choice, Marks: 1, Title: "Ten thousand readings",
		Prompt: "The rest of a balance is read 10,000 times in a night. One reading scatters by 20 µrad, so $s/\\sqrt n$ is 0.2 µrad. But the Allan deviation of the same record stops falling at 3 µrad after a hundred seconds and stays there. Which standard uncertainty does the mean of the night have?",
		Options: []judge.Option{
			{Letter: "a", Text: "0.2 µrad: that is what $s/\\sqrt n$ is for", Idea: "The rule holds for independent readings. A level Allan deviation says that neighbouring averages share their error."},
			{Letter: "b", Text: "about 3 µrad: longer averages did not agree any better than that", Right: true},
			{Letter: "c", Text: "20 µrad: one cannot know better than one reading", Idea: "The white part does average away: means of 100 s agree seven times better than single readings."},
			{Letter: "d", Text: "none can be stated unless the cause is found", Idea: "An uncertainty states what is known, and the record itself shows by how much averages differ."},
		},
		Worked:    "%%\nsheet.Choice(\"averaging\", \"b\") // averages of any length beyond 100 s still differ by about 3 µrad",
		Reasoning: "$s/\\sqrt n$ takes the readings as independent. Flicker noise, creep and the weather in the laboratory are not; the level part of the Allan deviation is the floor.",
		Source:    Source{Text: "common practice, no source"},
	}
}
