package lab05

import (
	"embed"
	"math"
	"sync"

	"gonum.org/v1/gonum/floats"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/signal"
	"gravity.example/testdata"
)

//go:embed *.md
var files embed.FS

// Lab is lab 05.
var Lab = bank.Lab{
	ID: "05-side-by-side", Title: "Side by side", Minutes: 85,
	Asks:   "Two instruments stand on one pier. Which part of what they say is the ground?",
	Tracks: []bank.Track{bank.LaboratoryClass, bank.PlanetarySpace}, BuildsOn: []string{"02-settling-down", "04-how-quiet"}, Graded: true,
	Sealed: bank.Weights{Times: 3, Constants: []string{"clock", "self-noise", "quality", "microseism", "movement", "strong-motion-peak"}},
	Words:  bank.ReadWords(files),
	Build:  build,
}

func build(d *bank.Draw) bank.Sheet {
	p, e := drawPier(d), drawEvening(d)
	return bank.Sheet{
		Recordings: []bank.Recording{p.recording(), p.startsRecording(), e.recording(), strongMotion()},
		Questions: []bank.Question{
			pierLevel(d), pierAboveTheModel(), pierLine(d), pierDegrees(d),
			p.clock(), pierClockAndCoherence(), pierNothingInCommon(d), p.selfNoise(), pierMisaligned(d), pierLeftover(d),
			p.resonance(), p.quality(),
			e.microseism(), e.movement(), pierWhoIsIt(e.peak), strongMotionPeak(),
		},
	}
}

// noiseLevel is the amplitude density (m/s²/√Hz) of a noise model's segment,
// A + B log10(T) dB relative to 1 (m/s²)²/Hz.
func noiseLevel(a, b, period float64) float64 { return math.Pow(10, (a+b*math.Log10(period))/20) }

func pierLevel(d *bank.Draw) bank.Question {
	const a, b = -71.36, -99.77 // low noise model, 5 to 6 s
	period := d.Between("period", 5.2, 5.9, 0.05)
	var row testdata.Row
	for _, r := range testdata.Table("peterson1993.csv") {
		if r["model"] == "NLNM" && r["period_start_s"] == "5.00" {
			row = r
		}
	}
	want := row.Float("computed_accel_asd_at_start_m_s2_rtHz")
	return bank.Question{
		ID: "level", Kind: judge.KindNumber, Marks: 2, Unit: "nm/s²/√Hz", Tol: judge.Tolerance{Rel: 0.015},
		Fields: bank.Fields{"period": period},
		Solve:  bank.Always(noiseLevel(a, b, period)),
		Slips: []bank.Slip{
			{ID: "ten", Value: bank.Always(math.Pow(noiseLevel(a, b, period), 2))},
			{ID: "frequency", Value: bank.Always(noiseLevel(a, b, 1/period))},
			{ID: "natural-log", Value: bank.Always(math.Pow(10, (a+b*math.Log(period))/20))},
			{ID: "no-slope", Value: bank.Always(math.Pow(10, a/20))},
			{ID: "slope-sign", Value: bank.Always(math.Pow(10, (a-b*math.Log10(period))/20))},
		},
		Range: [2]float64{3e-8, 9e-8},
		Source: bank.Source{Check: &bank.SourceCheck{
			Table: "peterson1993.csv", ID: "NLNM, 5.00 s", Got: noiseLevel(a, b, 5), Want: want, Within: 0.0000005 * want}},
	}
}

func pierAboveTheModel() bank.Question {
	return bank.Question{
		ID: "above-the-model", Kind: judge.KindChoice, Marks: 1,
	}
}

// lineAmplitude is the amplitude of a steady line in the middle of a bin from
// the amplitude density asd there, with a window of bandwidth enbw bins.
func lineAmplitude(asd, enbw, rate, segment float64) float64 {
	return asd * math.Sqrt(2*enbw*rate/segment)
}

func pierLine(d *bank.Draw) bank.Question {
	asd := d.Between("line density", 1.5, 6, 0.1) // µm/s²/√Hz
	segment := d.Pick("line segment", 512, 1024, 2048)
	const rate = 100.0
	amp := func(enbw, factor float64) func(bank.Answers) float64 {
		return bank.Always(factor * lineAmplitude(asd*1e-6, enbw, rate, segment))
	}
	return bank.Question{
		ID: "line", Kind: judge.KindNumber, Marks: 2, Unit: "µm/s²", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"segment": segment, "asd": asd, "asdSI": asd * 1e-6},
		Solve:  amp(1.5, 1),
		Slips: []bank.Slip{
			{ID: "one-bin", Value: amp(1, 1)},
			{ID: "rms", Value: amp(1.5, math.Sqrt2/2)},
			{ID: "no-bandwidth", Value: bank.Always(math.Sqrt2 * asd * 1e-6)},
			{ID: "peak-to-peak", Value: amp(1.5, 2)},
			{ID: "no-root", Value: bank.Always(asd * 1e-6 * 2 * 1.5 * rate / segment)},
			{ID: "bin-alone", Value: amp(1, math.Sqrt2/2)},
			{ID: "divided", Value: bank.Always(asd * 1e-6 * math.Sqrt(2*segment/(1.5*rate)))},
		},
		Range:  [2]float64{0.4e-6, 6e-6},
		Source: bank.Computed(testdata.Checks, "signal-enbw-01", gravlab.Must(signal.Hann.ENBW(64)), 1e-9),
	}
}

func pierDegrees(d *bank.Draw) bank.Question {
	k := d.Between("segments", 10, 30, 1)
	nu := func(k float64) float64 {
		return gravlab.Must(signal.Welch{Segment: 64}.DoF(int(k)))
	}
	return bank.Question{
		ID: "degrees", Kind: judge.KindNumber, Marks: 2, Unit: "1", Tol: judge.Tolerance{Rel: 0.01},
		Fields: bank.Fields{"k": k},
		Solve:  bank.Always(nu(k)),
		Slips: []bank.Slip{
			{ID: "no-overlap", Value: bank.Always(2 * k)},
			{ID: "one-per-segment", Value: bank.Always(k)},
			{ID: "amplitude-correlation", Value: bank.Always(2 * k / (1 + 2*(k-1)/k/6))},
			{ID: "every-other", Value: bank.Always(k + 1)},
			{ID: "multiplied", Value: bank.Always(4*k - nu(k))},
		},
		Range:  [2]float64{18, 60},
		Source: bank.Computed(testdata.Checks, "signal-dof-01", 2*15/(1+2*14.0/15/36), 1e-9),
	}
}

func pierClockAndCoherence() bank.Question {
	return bank.Question{
		ID: "clock-and-coherence", Kind: judge.KindChoice, Marks: 1,
	}
}

func pierNothingInCommon(d *bank.Draw) bank.Question {
	k := d.Between("averages", 10, 30, 1)
	bins := d.Pick("bins", 100, 200, 300, 400)
	const p = 0.01
	limit := func(trials, k float64) func(bank.Answers) float64 {
		return bank.Always(gravlab.Must(signal.CoherenceThreshold(k, p/trials)))
	}
	return bank.Question{
		ID: "nothing-in-common", Kind: judge.KindNumber, Marks: 2, Unit: "1", Tol: judge.Tolerance{Rel: 0.005},
		Fields: bank.Fields{"bins": bins, "k": k},
		Solve:  limit(bins, k),
		Slips: []bank.Slip{
			{ID: "no-trials", Value: limit(1, k)},
			{ID: "k", Value: limit(bins, k+1)},
			{ID: "mean", Value: bank.Always(1 / k)},
			{ID: "two-trials", Value: limit(bins*bins, k)},
			{ID: "one-minus", Value: func(a bank.Answers) float64 { return 1 - limit(bins, k)(a) }},
			{ID: "root", Value: func(a bank.Answers) float64 { return math.Sqrt(limit(bins, k)(a)) }},
		},
		Range: [2]float64{0.25, 0.75},
	}
}

func pierMisaligned(d *bank.Draw) bank.Question {
	tilt := d.Pick("misalignment", 3, 5, 8)
	return bank.Question{
		ID: "misaligned", Kind: judge.KindChoice, Marks: 1,
		Fields: bank.Fields{"tilt": tilt},
	}
}

// leftover fits x = c + h y to the first half of n pairs, v holding all x and
// then all y, and returns the rms of what is left in the pairs from first to
// last.
func leftover(v []float64, fitted int, first, last int) float64 {
	n := len(v) / 2
	x, y := v[:n], v[n:]
	mx, my := floats.Sum(x[:fitted])/float64(fitted), floats.Sum(y[:fitted])/float64(fitted)
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

// leftoverThroughZero is leftover of a fit of x = h y, without c.
func leftoverThroughZero(v []float64, n int) float64 {
	x, y, half := v[:n], v[n:], n/2
	h := floats.Dot(x[:half], y[:half]) / floats.Dot(y[:half], y[:half])
	s := 0.0
	for i := half; i < n; i++ {
		s += (x[i] - h*y[i]) * (x[i] - h*y[i])
	}
	return math.Sqrt(s / float64(n-half))
}

func pierLeftover(d *bank.Draw) bank.Question {
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
	return bank.Question{
		ID: "leftover", Kind: judge.KindFunction, Marks: 3, Tol: judge.Tolerance{Rel: 1e-6},
		Function: &bank.Function{
			Name: "leftover", Signature: judge.SliceToOne, Calls: calls,
			Right: one(func(v []float64, n int) float64 { return leftover(v, n/2, n/2, n) }),
			Slips: []bank.FunctionSlip{
				{ID: "fitted-half", F: one(func(v []float64, n int) float64 { return leftover(v, n/2, 0, n/2) })},
				{ID: "fitted-all", F: one(func(v []float64, n int) float64 { return leftover(v, n, n/2, n) })},
				{ID: "all-all", F: one(func(v []float64, n int) float64 { return leftover(v, n, 0, n) })},
				{ID: "difference", F: one(func(v []float64, n int) float64 {
					s := 0.0
					for i := n / 2; i < n; i++ {
						s += (v[i] - v[n+i]) * (v[i] - v[n+i])
					}
					return math.Sqrt(s / float64(n/2))
				})},
				{ID: "no-root", F: one(func(v []float64, n int) float64 { return math.Pow(leftover(v, n/2, n/2, n), 2) })},
				{ID: "through-zero", F: one(leftoverThroughZero)},
			},
		},
	}
}

func pierWhoIsIt(peak float64) bank.Question {
	return bank.Question{
		ID: "who-is-it", Kind: judge.KindChoice, Marks: 1,
		Fields: bank.Fields{"peak": peak},
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

func strongMotion() bank.Recording {
	return bank.Recording{
		ID: "strong-motion", Shared: true,
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "counts", Unit: "1"}},
		Make: func() ([][]float64, error) {
			t, counts := strongMotionCounts()
			return [][]float64{t, counts}, nil
		},
	}
}

func strongMotionPeak() bank.Question {
	// At most of the numbers of a record, with c taken off.
	peak := func(c func(mean float64) float64, size func(above, below float64) float64) func(bank.Answers) float64 {
		return func(bank.Answers) float64 {
			_, x := strongMotionCounts()
			zero := c(floats.Sum(x) / float64(len(x)))
			above, below := math.Inf(-1), math.Inf(-1)
			for _, v := range x {
				above, below = math.Max(above, v-zero), math.Max(below, zero-v)
			}
			return size(above, below) / strongMotionGain
		}
	}
	same := func(mean float64) float64 { return mean }
	right := peak(same, math.Max)
	published := testdata.Find(testdata.Values, "geonet_tcw_pga")
	return bank.Question{
		ID: "strong-motion-peak", Kind: judge.KindNumber, Marks: 3, Unit: "m/s²", Tol: judge.Tolerance{Rel: 0.01},
		Solve: right,
		Slips: []bank.Slip{
			{ID: "offset", Value: peak(func(float64) float64 { return 0 }, math.Max)},
			{ID: "peak-to-peak", Value: peak(same, func(a, b float64) float64 { return a + b })},
			{ID: "positive", Value: peak(same, func(a, _ float64) float64 { return a })},
			{ID: "g", Value: func(k bank.Answers) float64 { return right(k) / gravlab.StandardGravity }},
			{ID: "half-range", Value: peak(same, func(a, b float64) float64 { return (a + b) / 2 })},
		},
		Range: [2]float64{0.0205, 0.0211},
		Source: bank.Published(testdata.Values, "geonet_tcw_pga",
			// The published peak is that of an independent sensor at the same place:
			// two calibrations and two filters, which agree to a few per cent.
			100*right(nil)/gravlab.StandardGravity, 0.05*published.Float("value")),
	}
}
