package exercises

import (
	"fmt"
	"math"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/signal"
	"gravity.example/testdata"
)

var sideBySide = Lab{
	ID: "05-side-by-side", Title: "Side by side", Minutes: 85,
	Tracks: []Track{LaboratoryClass, PlanetarySpace}, BuildsOn: []string{"02-settling-down", "04-how-quiet"}, Graded: true,
	Build: buildSideBySide,
}

func buildSideBySide(d *Draw) Paper {
	p, e := drawPier(d), drawEvening(d)
	return Paper{
		Recordings: []Recording{p.recording(), p.startsRecording(), e.recording(), strongMotion()},
		Questions: []Question{
			pierLevel(d), pierAboveTheModel(), pierLine(d), pierDegrees(d),
			p.clock(), pierClockAndCoherence(), pierNothingInCommon(d), p.selfNoise(), pierMisaligned(d), pierLeftover(d),
			p.resonance(), p.quality(),
			e.microseism(), e.movement(), pierWhoIsIt(e.peak), strongMotionPeak(),
		},
	}
}

// pierValue is an answer that builds on no other and is there when asked for.
func pierValue(v func() float64) func(Known) float64 { return func(Known) float64 { return v() } }

// pierNumber is an answer that builds on no other.
func pierNumber(v float64) func(Known) float64 { return func(Known) float64 { return v } }

// noiseLevel is the amplitude density (m/s²/√Hz) of a noise model's segment,
// A + B log10(T) dB relative to 1 (m/s²)²/Hz.
func noiseLevel(a, b, period float64) float64 { return math.Pow(10, (a+b*math.Log10(period))/20) }

func pierLevel(d *Draw) Question {
	const a, b = -71.36, -99.77 // low noise model, 5 to 6 s
	period := d.Between("period", 5.2, 5.9, 0.05)
	var row testdata.Row
	for _, r := range testdata.Table("peterson1993.csv") {
		if r["model"] == "NLNM" && r["period_start_s"] == "5.00" {
			row = r
		}
	}
	want := row.Float("computed_accel_asd_at_start_m_s2_rtHz")
	return Question{
		ID: "level", Kind: judge.Number, Marks: 2, Title: "The quietest ground there is",
		Prompt: fmt.Sprintf("Between periods of 5 and 6 s the low noise model of 1993 is $L = A + B\\log_{10}(T/\\mathrm{s})$ in decibels relative to $1\\ \\mathrm{(m/s^2)^2/Hz}$, with $A = -71.36$ and $B = -99.77$. "+
			"What *amplitude* density of the ground's acceleration does it give at a period of %.2f s?", period),
		Unit: "nm/s²/√Hz", Tol: judge.Tolerance{Rel: 0.015, Why: "a level rounded to a tenth of a decibel is 1.2 %"},
		Solve: pierNumber(noiseLevel(a, b, period)),
		Slips: []Slip{
			{Name: "the level divided by 10 instead of 20", Value: pierNumber(math.Pow(noiseLevel(a, b, period), 2)), Fix: "10 for a power density, (m/s²)²/Hz. The question asks for its root."},
			{Name: "the frequency put in for the period", Value: pierNumber(noiseLevel(a, b, 1/period)), Fix: "The models are written in terms of the period T = 1/f."},
			{Name: "the natural logarithm", Value: pierNumber(math.Pow(10, (a+b*math.Log(period))/20)), Fix: "The formula has the logarithm to base 10: math.Log10."},
		},
		Range:     [2]float64{3e-8, 9e-8},
		Hints:     [2]string{"First the level L in dB, from the period. A negative number of the order of −145.", "A level in dB of a power density is 10 log₁₀ of it, so the amplitude density is 10^(L/20)."},
		Worked:    fmt.Sprintf("%%%%\n// Level at this period; 20 because the root of the power is asked.\nL := -71.36 - 99.77*math.Log10(%s)\nsheet.Number(\"level\", math.Pow(10, L/20), \"m/s²/√Hz\")", lit(period)),
		Reasoning: "$L = 10\\log_{10} P$ for a power density $P$, and the amplitude density is $\\sqrt P = 10^{L/20}$. (`pendulum.LowNoise.Density(1/T)` holds the whole model.)",
		Source: Source{Text: "independently computed: J. Peterson, U.S. Geological Survey Open-File Report 93-322 (1993), prints A and B; the level at 5 s was computed from them", Check: &SourceCheck{
			Table: "peterson1993.csv", ID: "NLNM, 5.00 s", Got: noiseLevel(a, b, 5), Want: want, Within: 0.0000005 * want}},
	}
}

func pierAboveTheModel() Question {
	return Question{
		ID: "above-the-model", Kind: judge.Choice, Marks: 1, Title: "Louder than the model",
		Prompt: "Upstairs, in a lecture room, the same sensor shows a spectrum that lies ten times *above* the high noise model from 5 to 10 Hz. What do you conclude?",
		Options: []judge.Option{
			{Letter: "a", Text: "the sensor is broken, since no ground is louder than the high noise model", Idea: "The high model is no law of nature: it sums up the noisiest of the permanent stations that went into it, and nobody puts one beside a lift."},
			{Letter: "b", Text: "nothing unusual: the models describe chosen sites, and a building in use can lie above them at these frequencies", Right: true},
			{Letter: "c", Text: "the sensor's own noise is ten times too large", Idea: "It could be, but a spectrum of one sensor cannot tell own noise from ground. What could? A second sensor beside it."},
			{Letter: "d", Text: "somebody forgot the factor 2 of a one-sided density", Idea: "That would be a factor of √2 in the amplitude density, not 10."},
		},
		Worked:    "%%\nsheet.Choice(\"above-the-model\", \"b\") // permanent stations are put where it is quiet",
		Reasoning: "The models of 1993 are envelopes of spectra from permanent stations. Machines, people and wind on walls make a building louder than that between about 1 and 20 Hz.",
		Source:    Source{Text: "from memory: J. Peterson, U.S. Geological Survey Open-File Report 93-322 (1993), on the stations that the models come from; buildings above them: common practice, no source"},
	}
}

// lineAmplitude is the amplitude of a steady line in the middle of a bin from
// the amplitude density asd there, with a window of bandwidth enbw bins.
func lineAmplitude(asd, enbw, rate, segment float64) float64 {
	return asd * math.Sqrt(2*enbw*rate/segment)
}

func pierLine(d *Draw) Question {
	asd := d.Between("line density", 1.5, 6, 0.1) // µm/s²/√Hz
	segment := d.Pick("line segment", 512, 1024, 2048)
	const rate = 100.0
	amp := func(enbw, factor float64) func(Known) float64 {
		return pierNumber(factor * lineAmplitude(asd*1e-6, enbw, rate, segment))
	}
	check := testdata.Find("model_checks.csv", "signal-enbw-01")
	return Question{
		ID: "line", Kind: judge.Number, Marks: 2, Title: "From a peak to an amplitude",
		Prompt: fmt.Sprintf("A fan draws a steady line at 25 Hz. In a spectrum made with a Hann window from segments of %g samples at 100 samples a second, the line falls in the middle of a bin and stands %.1f µm/s²/√Hz high, far above the noise. "+
			"What is the amplitude of the oscillation, zero to peak?", segment, asd),
		Unit: "µm/s²", Tol: judge.Tolerance{Rel: 0.01, Why: "1.5 bins, or 1.52 for the symmetric form of the window at 64 points, is 0.8 %"},
		Solve: amp(1.5, 1),
		Slips: []Slip{
			{Name: "the window's bandwidth taken for one bin", Value: amp(1, 1), Fix: "A Hann window spreads a line: its equivalent noise bandwidth is not one bin."},
			{Name: "the rms given for the amplitude", Value: amp(1.5, math.Sqrt2/2), Fix: "The area under the peak is the mean square, A²/2."},
			{Name: "the bandwidth left out altogether", Value: pierNumber(math.Sqrt2 * asd * 1e-6), Fix: "A density is per √Hz: multiply by the root of the width in Hz that the line fills."},
		},
		Range:     [2]float64{0.4e-6, 6e-6},
		Hints:     [2]string{"The area under the peak is the mean square of the line. How wide is the peak, in Hz?", "A²/2 = P · ENBW with P the power density, and ENBW for Hann is 1.5 bins of rate/segment."},
		Worked:    fmt.Sprintf("%%%%\n// The peak is as wide as the window's noise bandwidth, 1.5 bins for Hann;\n// its area is the mean square, A²/2.\nwidth := 1.5 * 100.0 / %s // Hz\nA := math.Sqrt(2 * %s * %s * width)\nsheet.Number(\"line\", A, \"m/s²\")", lit(segment), goFloat(asd*1e-6, 2), goFloat(asd*1e-6, 2)),
		Reasoning: "A line of amplitude $A$ has the mean square $A^2/2$. The spectrum shows it as a peak of height $P$ and of the width of the window's equivalent noise bandwidth, so $A = \\sqrt{2 P\\cdot\\mathrm{ENBW}}$. A line has no density of its own: with longer segments the peak grows.",
		Source: Source{Text: "independently computed: " + check["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "signal-enbw-01", Got: gravlab.Must(signal.Hann.ENBW(64)), Want: check.Float("value"), Within: 1e-9}},
	}
}

func pierDegrees(d *Draw) Question {
	k := d.Between("segments", 10, 30, 1)
	nu := func(k float64) float64 {
		return gravlab.Must(signal.Welch{Segment: 64}.DOF(int(k)))
	}
	check := testdata.Find("model_checks.csv", "signal-dof-01")
	return Question{
		ID: "degrees", Kind: judge.Number, Marks: 2, Title: "How many averages are they really?",
		Prompt: fmt.Sprintf("A spectrum is the mean of %g segments with a Hann window, each overlapping the next by one half. Overlapping halves hold the same samples, so neighbouring segments are correlated: for Hann and half overlap by $\\rho = 1/6$ in amplitude, $\\rho^2 = 1/36$ in power. "+
			"How many degrees of freedom $\\nu$ does a value of the spectrum have?", k),
		Unit: "1", Tol: judge.Tolerance{Rel: 0.01, Why: "the end term (K−1)/K left out is at most 0.6 %"},
		Solve: pierNumber(nu(k)),
		Slips: []Slip{
			{Name: "the overlap not counted", Value: pierNumber(2 * k), Fix: "Two a segment holds for segments that share nothing."},
			{Name: "one degree of freedom for a segment", Value: pierNumber(k), Fix: "A spectral value is the sum of two squares, sine and cosine."},
		},
		Range:     [2]float64{18, 60},
		Hints:     [2]string{"Without overlap each segment would give two: sine and cosine.", "The variance of the mean grows by 1 + 2(K−1)/K · ρ². Divide 2K by that; or ask signal.Welch{Segment: 64}.DOF(K)."},
		Worked:    fmt.Sprintf("%%%%\n// Two a segment, less what neighbours share: each of the K-1 pairs of\n// neighbours is correlated by 1/36 in power.\nK := %s\nnu := 2 * K / (1 + 2*(K-1)/K/36)\nsheet.Number(\"degrees\", nu, \"1\")", lit(k)),
		Reasoning: "The variance of a mean of $K$ values whose neighbours are correlated by $\\rho^2$ is $\\frac{1}{K}\\left(1 + 2\\frac{K-1}{K}\\rho^2\\right)$ of one; $\\nu = 2K$ over the bracket. Half overlap costs little and wins back the samples that the window throws away at the ends.",
		Source: Source{Text: "independently computed: " + check["route"], Check: &SourceCheck{
			Table: "model_checks.csv", ID: "signal-dof-01", Got: 2 * 15 / (1 + 2*14.0/15/36), Want: check.Float("value"), Within: 1e-9}},
	}
}

func pierClockAndCoherence() Question {
	return Question{
		ID: "clock-and-coherence", Kind: judge.Choice, Marks: 1, Title: "What a clock does to the coherence",
		Prompt: "Your two records are out of step by a sample or two, and segments are 512 samples long. The coherence in the microseism is nevertheless above 0.99. Why?",
		Options: []judge.Option{
			{Letter: "a", Text: "the coherence only looks at the size of the two spectra, not at their relation", Idea: "It is made from the cross spectrum, which averages the phase between the two: with a phase that changes from segment to segment it would vanish."},
			{Letter: "b", Text: "a fixed delay turns the phase by the same angle in every segment, and the coherence asks only whether the phase is steady", Right: true},
			{Letter: "c", Text: "the microseism is so slow that the delay is no phase at all, and faster signals would lose their coherence", Idea: "Look at 2 Hz: the phase there is large, and the coherence still high."},
			{Letter: "d", Text: "coherence counts the noise of the sensors, and the clock belongs to the recorder", Idea: "Whatever makes the phase wander lowers the coherence, a wandering clock too. This one does not wander."},
		},
		Worked:    "%%\nsheet.Choice(\"clock-and-coherence\", \"b\") // the phase is turned, but always by the same angle",
		Reasoning: "A delay $\\delta$ multiplies the cross spectrum by $e^{-i\\omega\\delta}$ in every segment: its mean keeps its size. Only the small part of a segment that lies outside the other's is lost. A subtraction sample by sample has no such luck.",
		Source:    Source{Text: "J. S. Bendat and A. G. Piersol, Random Data (from memory): coherence of a system with delay"},
	}
}

func pierNothingInCommon(d *Draw) Question {
	k := d.Between("averages", 10, 30, 1)
	bins := d.Pick("bins", 100, 200, 300, 400)
	const p = 0.01
	limit := func(trials, k float64) func(Known) float64 {
		return pierNumber(gravlab.Must(signal.CoherenceThreshold(k, p/trials)))
	}
	return Question{
		ID: "nothing-in-common", Kind: judge.Number, Marks: 2, Title: "Coherence of nothing",
		Prompt: fmt.Sprintf("Two records that have nothing in common still show some coherence. With $K$ independent averages a bin exceeds $\\gamma^2_0$ by chance with the probability $(1-\\gamma^2_0)^{K-1}$. "+
			"You look at %g bins with $K = %g$ and want to raise a false alarm in *any* of them in 1 %% of all cases only. Which $\\gamma^2_0$ must a bin exceed?", bins, k),
		Unit: "1", Tol: judge.Tolerance{Rel: 0.005, Why: "three digits carried; 0.01/n or the exact share, 1 − 0.99^(1/n), makes no difference"},
		Solve: limit(bins, k),
		Slips: []Slip{
			{Name: "the number of bins not counted", Value: limit(1, k), Fix: "Every bin is a trial of its own: many bins, many chances."},
			{Name: "K for K − 1", Value: limit(bins, k+1), Fix: "The exponent is K − 1: one average alone always gives coherence 1."},
			{Name: "the mean coherence of nothing given for its limit", Value: pierNumber(1 / k), Fix: "1/K is what nothing shows on average. Chance goes far above that in one of many bins."},
		},
		Range:     [2]float64{0.25, 0.75},
		Hints:     [2]string{"What may the probability of a false alarm be in one bin?", "Solve (1 − γ₀²)^(K−1) = 0.01/n for γ₀²."},
		Worked:    fmt.Sprintf("%%%%\n// One bin may raise the alarm with 0.01 over the number of bins only.\np := 0.01 / %s\nlimit := 1 - math.Pow(p, 1/(%s-1))\nsheet.Number(\"nothing-in-common\", limit, \"1\")", lit(bins), lit(k)),
		Reasoning: "With $n$ bins and the probability $p$ in each, the chance of any alarm is $1-(1-p)^n \\approx np$. So $p = 0.01/n$ and $\\gamma_0^2 = 1 - p^{1/(K-1)}$. A claim without its number of trials is half a claim.",
		Source:    Source{Text: "J. S. Bendat and A. G. Piersol, Random Data (from memory): distribution of the coherence of unrelated records"},
	}
}

func pierMisaligned(d *Draw) Question {
	tilt := d.Pick("misalignment", 3, 5, 8)
	return Question{
		ID: "misaligned", Kind: judge.Choice, Marks: 1, Title: "A bump where none should be",
		Prompt: fmt.Sprintf("Another pair stands in the next room. The self-noise that it shows by coherence is flat, except for a bump between 0.1 and 0.3 Hz, right where the microseism is. When one of the sensors is turned by %g mrad about a horizontal axis, the bump goes away. What was it?", tilt),
		Options: []judge.Option{
			{Letter: "a", Text: "thermal noise of the springs, which is largest at their resonance", Idea: "Thermal noise does not know how the sensor stands, and why should the resonance lie in the microseism?"},
			{Letter: "b", Text: "the clocks of the two recorders differ", Idea: "A fixed delay is steady in phase and leaves the coherence alone; and turning the sensor would not mend it."},
			{Letter: "c", Text: "horizontal ground motion, of which the two sensors saw unequal parts because their axes were not parallel", Right: true},
			{Letter: "d", Text: "the microseism itself, which differs between two places a metre apart", Idea: "Its waves are kilometres long: a metre is nothing. And turning one sensor would not help."},
		},
		Worked:    "%%\nsheet.Choice(\"misaligned\", \"c\") // what one sees and the other does not counts as own noise",
		Reasoning: "An axis that is off by $\\epsilon$ sees $\\epsilon$ times the horizontal motion, which is not coherent with the vertical. The method calls everything that the two do not share self-noise, so a leak of a few thousandths of a loud signal appears in it. The shape gives it away: it looks like the ground.",
		Source:    Source{Text: "common practice, no source: rotate one sensor until the self-noise is least"},
	}
}

// leftover fits x = c + h y to the first half of n pairs, v holding all x and
// then all y, and returns the rms of what is left in the pairs from first to
// last.
func leftover(v []float64, fitted int, first, last int) float64 {
	n := len(v) / 2
	x, y := v[:n], v[n:]
	mx, my := sum(x[:fitted])/float64(fitted), sum(y[:fitted])/float64(fitted)
	xy, yy := 0.0, 0.0
	for i := range fitted {
		xy += (x[i] - mx) * (y[i] - my)
		yy += (y[i] - my) * (y[i] - my)
	}
	h := xy / yy
	s := 0.0
	for i := first; i < last; i++ {
		r := x[i] - mx - h*(y[i]-my)
		s += r * r
	}
	return math.Sqrt(s / float64(last-first))
}

func pierLeftover(d *Draw) Question {
	r := d.Rand("leftover calls")
	var calls [][]float64
	for range 6 {
		n := 2 * (6 + r.IntN(8))
		x, y := make([]float64, n), make([]float64, n)
		for i := range n {
			g := r.NormFloat64() * 8
			x[i] = math.Round((g+r.NormFloat64()+3)*100) / 100
			y[i] = math.Round((0.9*g+r.NormFloat64())*100) / 100
		}
		calls = append(calls, append(x, y...))
	}
	calls = append(calls, calls[1])
	one := func(f func(v []float64, n int) float64) func([]float64) []float64 {
		return func(v []float64) []float64 { return []float64{f(v, len(v)/2)} }
	}
	return Question{
		ID: "leftover", Kind: judge.Function, Marks: 3, Title: "Take off what the other saw too",
		Prompt: "Write a function `leftover` that takes off from a record what a reference beside it saw too, and says how much is left. Its argument `v` holds $n$ samples of the record $x$ and then $n$ samples of the reference $y$ ($n$ is even; all in the same unit). " +
			"Fit $x_i = c + h\\,y_i$ by least squares to the *first* $n/2$ pairs, and return the root of the mean square of $x_i - c - h\\,y_i$ over the *last* $n/2$ pairs, which the fit has not seen.",
		Tol: judge.Tolerance{Rel: 1e-6, Why: "rounding of the sums"},
		Function: &Function{
			Name: "leftover", Signature: judge.SliceToOne, Calls: calls,
			Right: one(func(v []float64, n int) float64 { return leftover(v, n/2, n/2, n) }),
			Slips: []FunctionSlip{
				{Name: "judged on the half that was fitted", F: one(func(v []float64, n int) float64 { return leftover(v, n/2, 0, n/2) }), Fix: "A fit always looks good on its own data. Judge it on the other half."},
				{Name: "fitted to all of it", F: one(func(v []float64, n int) float64 { return leftover(v, n, n/2, n) }), Fix: "The half on which you judge must not take part in the fit."},
				{Name: "fitted and judged on all of it", F: one(func(v []float64, n int) float64 { return leftover(v, n, 0, n) }), Fix: "Fit on one half, judge on the other."},
				{Name: "the plain difference", F: one(func(v []float64, n int) float64 {
					s := 0.0
					for i := n / 2; i < n; i++ {
						s += (v[i] - v[n+i]) * (v[i] - v[n+i])
					}
					return math.Sqrt(s / float64(n/2))
				}), Fix: "The two sensors need not have the same factor and the same zero: fit h and c."},
			},
		},
		Hints:     [2]string{"h is the sum of (x − x̄)(y − ȳ) over the sum of (y − ȳ)², both over the first half with its own means.", "c = x̄ − h ȳ. Then the mean square of x − c − h y over the second half, and its root."},
		Worked:    "// Straight line through the first half; the second half judges it.\nfunc leftover(v []float64) float64 {\n\tn := len(v) / 2\n\tx, y, half := v[:n], v[n:], n/2\n\tmx, my := 0.0, 0.0\n\tfor i := 0; i < half; i++ {\n\t\tmx += x[i] / float64(half)\n\t\tmy += y[i] / float64(half)\n\t}\n\txy, yy := 0.0, 0.0\n\tfor i := 0; i < half; i++ {\n\t\txy += (x[i] - mx) * (y[i] - my)\n\t\tyy += (y[i] - my) * (y[i] - my)\n\t}\n\th, s := xy/yy, 0.0\n\tfor i := half; i < n; i++ {\n\t\tr := x[i] - mx - h*(y[i]-my)\n\t\ts += r * r\n\t}\n\treturn math.Sqrt(s / float64(n-half))\n}\n\n%%\nsheet.Function(\"leftover\", leftover)",
		Reasoning: "Least squares gives $h = \\sum(x-\\bar x)(y-\\bar y)/\\sum(y-\\bar y)^2$ and $c = \\bar x - h\\bar y$. On the data that chose $c$ and $h$ the rest is always somewhat too small, the more so the more factors are fitted; only unseen data are a fair judge.",
		Source:    Source{Text: "common practice, no source: straight line by least squares"},
	}
}

func pierWhoIsIt(peak float64) Question {
	return Question{
		ID: "who-is-it", Kind: judge.Choice, Marks: 1, Title: "Which one is the sea?",
		Prompt: fmt.Sprintf("A week of spectra from the cellar shows three things: (i) a sharp line at 24.9 Hz, on weekdays from 7 to 18 h; (ii) a broad hump about %.2f Hz, day and night, on both sensors and at every station of the county, larger after a storm on the coast; (iii) one evening, for forty minutes, a strong oscillation whose period fell from 40 to 18 s. Who made them?", peak),
		Options: []judge.Option{
			{Letter: "a", Text: "(i) a machine, (ii) the sea, (iii) a distant earthquake", Right: true},
			{Letter: "b", Text: "(i) the sea, (ii) a machine, (iii) a distant earthquake", Idea: "The sea keeps no working hours and draws no sharp line; a machine is not heard all over the county."},
			{Letter: "c", Text: "(i) a machine, (ii) a distant earthquake, (iii) the sea", Idea: "An earthquake passes within hours. What lasts for a week and follows the weather?"},
			{Letter: "d", Text: "(i) a machine, (ii) the sensors' own noise, (iii) wind on the building", Idea: "Own noise is not shared by two sensors, let alone by a county; and wind has no period that falls in an orderly way."},
		},
		Worked:    "%%\nsheet.Choice(\"who-is-it\", \"a\") // working hours, weather, and long waves that come before shorter ones",
		Reasoning: "Machines turn at fixed speeds and keep hours. Microseism is made by ocean waves at half of their period, and is felt all over continents. The surface waves of a distant earthquake come with the long periods first, because these run deeper, where rock is faster.",
		Source:    Source{Text: "common practice, no source"},
	}
}

// strongMotionGain is in counts per m/s²: 1.01971 V per m/s² times 419430.4
// counts per volt, as the source states for this instrument.
const strongMotionGain = 427697.373184

// strongMotionFile is a real record: see testdata/LICENSES.md.
const strongMotionFile = "geonet_accel_TCW_HNZ_20161224.csv"

var strongMotionCounts = sync.OnceValues(func() (t, counts []float64) {
	for _, row := range testdata.Table(strongMotionFile) {
		t, counts = append(t, row.Float("t_s")), append(counts, row.Float("counts"))
	}
	return t, counts
})

func strongMotion() Recording {
	return Recording{
		ID: "strong-motion", Title: "A real earthquake: vertical accelerometer at station TCW, New Zealand, from 18:37:12.5 UTC on 24 December 2016",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "counts", Unit: "1"}},
		Make: func() ([][]float64, error) {
			t, counts := strongMotionCounts()
			return [][]float64{t, counts}, nil
		},
	}
}

func strongMotionPeak() Question {
	// At most of the numbers of a record, with c taken off.
	peak := func(c func(mean float64) float64, size func(above, below float64) float64) func(Known) float64 {
		return func(Known) float64 {
			_, x := strongMotionCounts()
			zero := c(sum(x) / float64(len(x)))
			above, below := math.Inf(-1), math.Inf(-1)
			for _, v := range x {
				above, below = math.Max(above, v-zero), math.Max(below, zero-v)
			}
			return size(above, below) / strongMotionGain
		}
	}
	same := func(mean float64) float64 { return mean }
	right := peak(same, math.Max)
	published := testdata.Find("values.csv", "geonet_tcw_pga")
	return Question{
		ID: "strong-motion-peak", Kind: judge.Number, Marks: 3, Title: "How hard did it shake?",
		Prompt: "`sheet.Recording(\"strong-motion\")` holds a real earthquake, as the digitiser wrote it: `time` in s and `counts`, 200 samples a second. The instrument makes 427 697 counts per $\\mathrm{m/s^2}$; its zero is nowhere near 0. What is the peak ground acceleration, the largest size of the acceleration, whichever its sign?",
		Unit:   "m/s²", Tol: judge.Tolerance{Rel: 0.01, Why: "the zero from the whole record or from the quiet seconds before the shock moves the peak by 0.1 %; two digits carried"},
		Solve: right,
		Slips: []Slip{
			{Name: "the offset of the digitiser left in", Value: peak(func(float64) float64 { return 0 }, math.Max), Fix: "Before the shock the ground is at rest: what does the record show there?\nTake that off."},
			{Name: "from lowest to highest", Value: peak(same, func(a, b float64) float64 { return a + b }), Fix: "The peak is counted from the zero, not from trough to crest."},
			{Name: "the largest positive value only", Value: peak(same, func(a, _ float64) float64 { return a }), Fix: "The largest in size: the ground also goes down."},
			{Name: "g's taken for m/s²", Value: func(k Known) float64 { return right(k) / gravlab.StandardGravity }, Fix: "The factor is in counts per m/s²: no g is needed."},
		},
		Range:     [2]float64{0.0205, 0.0211},
		Hints:     [2]string{"Plot it first. What is the mean of the first ten seconds?", "Take the mean off, then the largest of math.Abs, then divide by the counts per m/s²."},
		Worked:    "%%\n// The digitiser's zero is the mean of the quiet seconds before the shock.\nx := sheet.Recording(\"strong-motion\").Column(\"counts\")\nzero, peak := 0.0, 0.0\nfor _, v := range x[:2000] {\n\tzero += v / 2000\n}\nfor _, v := range x {\n\tpeak = math.Max(peak, math.Abs(v-zero))\n}\nsheet.Number(\"strong-motion-peak\", peak/427697, \"m/s²\")",
		Reasoning: "The record stands at about −271 590 counts, the digitiser's zero. From there the largest swing is downwards, 8884 counts: 0.0208 m/s², or 0.212 % of $g$. The network published 0.2051 % for this place and event, from another sensor beside it; 3 % between two instruments, each with its own response and its own filter, is what strong-motion records agree to.",
		Source: Source{Text: published["source"], Published: true, Check: &SourceCheck{
			// The published peak is that of an independent sensor at the same place:
			// two calibrations and two filters, which agree to a few per cent.
			Table: "values.csv", ID: "geonet_tcw_pga", Got: 100 * right(nil) / gravlab.StandardGravity, Want: published.Float("value"), Within: 0.05 * published.Float("value")}},
	}
}
