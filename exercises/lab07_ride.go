package exercises

import (
	"fmt"
	"math"
	"strings"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/equivalence"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

const (
	rideStep  = 0.02 // s between readings
	rideRest  = 20.0 // s of rest at the beginning and at the end
	rideNoise = 0.012
)

// A liftRide is what a telephone's accelerometer on the floor of the lift
// recorded. Its zero is off by bias, and for a while in the middle it recorded
// nothing: the times jump.
type liftRide struct {
	lift          equivalence.Lift
	storeys       float64
	storey        float64 // m
	start         float64 // of the first pulse, s
	delay         float64 // from the first pulse to the second, s
	bias          float64 // m/s²
	gap0, gap1    float64 // nothing recorded between these, s
	steady, after float64 // the printed times: running steadily, at rest again
	data          func() rideData
}

type rideData struct{ t, reading []float64 }

func drawRide(d *Draw) liftRide {
	r := liftRide{
		lift:    equivalence.Lift{Gravity: liftGravity, Peak: d.Between("ride peak", 1.0, 1.3, 0.05), Pulse: d.Between("ride pulse", 2.2, 2.6, 0.1)},
		storeys: d.Between("ride storeys", 5, 9, 1), storey: d.Between("ride storey", 3.2, 3.8, 0.1),
		start: rideRest + d.Between("ride start", 0.3, 0.9, 0.1),
		bias:  d.Pick("ride bias sign", -1, 1) * d.Between("ride bias", 0.1, 0.16, 0.002),
	}
	speed := r.lift.Peak * r.lift.Pulse / 2
	r.delay = r.storeys * r.storey / speed
	r.steady = math.Ceil(r.start + r.lift.Pulse + 0.1)
	r.after = math.Ceil(r.start + r.delay + r.lift.Pulse + 0.2)
	// The gap lies where the cabin runs steadily.
	length := d.Between("ride gap", 2.8, 3.6, 0.1)
	spare := r.start + r.delay - r.steady - length
	r.gap0 = clean(math.Round((r.steady+spare*(0.3+0.4*d.Rand("ride gap place").Float64()))/rideStep) * rideStep)
	r.gap1 = clean(r.gap0 + length)
	r.data = sync.OnceValue(func() rideData { return r.record(d) })
	return r
}

// record makes the readings, rounded to the last digit of the instrument.
func (r liftRide) record(d *Draw) (out rideData) {
	noise := d.Rand("ride noise")
	n := int(math.Round((r.after + rideRest) / rideStep))
	for i := range n {
		t := float64(i) / 50 // rideStep apart, as decimals
		reading := r.lift.Reading(t-r.start) - r.lift.Acceleration(t-r.start-r.delay) + r.bias
		reading += float64(rideNoise * noise.NormFloat64())
		if t > r.gap0 && t < r.gap1 {
			continue
		}
		out.t, out.reading = append(out.t, t), append(out.reading, math.Round(reading*1000)/1000)
	}
	return out
}

func (r liftRide) recording() Recording {
	return Recording{
		ID: "lift", Title: "An accelerometer on the floor of the lift: a ride from the basement",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "reading", Unit: "m/s²"}},
		Make:    func() ([][]float64, error) { x := r.data(); return [][]float64{x.t, x.reading}, nil },
	}
}

// rideSum adds up what every reading between from and to, less zero, gives to
// the speed at the time to and to the way until then: what a reading adds to the
// speed, the cabin keeps for the rest of the time. u are their standard
// uncertainties from the noise of the readings and from the zero's, uZero.
type rideSum struct{ speed, way, uSpeed, uWay float64 }

// sum uses the times as the recording has them, or, with closed, one step from
// reading to reading as if there were no gap.
func (r liftRide) sum(zero, uZero, noise, from, to float64, closed bool) rideSum {
	x := r.data()
	var s rideSum
	var n, lever, lever2 float64
	shift := 0.0
	if closed && to > r.gap1 {
		shift = r.gap1 - r.gap0 - rideStep
	}
	for i, t := range x.t {
		if t < from || t >= to {
			continue
		}
		left := to - t
		if closed && t < r.gap1 {
			left -= shift
		}
		s.speed += (x.reading[i] - zero) * rideStep
		s.way += (x.reading[i] - zero) * rideStep * left
		n, lever, lever2 = n+1, lever+left, lever2+left*left
	}
	s.uSpeed = rideStep * math.Hypot(noise*math.Sqrt(n), uZero*n)
	s.uWay = rideStep * math.Hypot(noise*math.Sqrt(lever2), uZero*lever)
	return s
}

// zero is the mean reading at rest, before and after the ride, its standard
// uncertainty, and the scatter of one reading.
func (r liftRide) zero() (mean, u, scatter float64) {
	x := r.data()
	var rest []float64
	for i, t := range x.t {
		if t < rideRest || t >= r.after {
			rest = append(rest, x.reading[i])
		}
	}
	n := float64(len(rest))
	mean = sum(rest) / n
	for _, v := range rest {
		scatter += (v - mean) * (v - mean) / (n - 1)
	}
	scatter = math.Sqrt(scatter)
	return mean, scatter / math.Sqrt(n), scatter
}

// until is the sum from the end of the rest to a time.
func (r liftRide) until(to float64) rideSum {
	zero, u, scatter := r.zero()
	return r.sum(zero, u, scatter, rideRest, to, false)
}

// code is the worked analysis until a time: the zero, then one loop over the
// ride that does what each says, with the names left (s) and a (m/s²).
func (r liftRide) code(to float64, declare, each string) string {
	start, add := "n, zero := 0.0, 0.0", "n, zero = n+1, zero+f[i]"
	if strings.Contains(declare, "s2") {
		start, add = "n, zero, s2 := 0.0, 0.0, 0.0", "n, zero, s2 = n+1, zero+f[i], s2+f[i]*f[i]"
	}
	return fmt.Sprintf("rec := sheet.Recording(\"lift\")\nt, f := rec.Column(\"time\"), rec.Column(\"reading\")\n"+
		"// The zero: the mean of all readings at rest, before and after.\n%s\nfor i := range t {\n\tif t[i] < 20 || t[i] >= %s {\n\t\t%s\n\t}\n}\nzero /= n\n"+
		"%s\nend, dt := %s, 0.02 // s\nfor i := range t {\n\tif t[i] >= 20 && t[i] < end {\n%s\t}\n}\n", start, lit(r.after), add, declare, lit(to), each)
}

// rideWayCode is the part of the analysis that the height and the storeys share.
const rideWayCode = "\t\t// What a reading adds to the speed, the cabin keeps for the time left.\n\t\tleft := end - t[i]\n\t\th += (f[i] - zero) * dt * left\n"

func (r liftRide) speedQuestion() Question {
	s := sync.OnceValue(func() rideSum { return r.until(r.steady) })
	raw := func(zero float64) func(Known) float64 {
		return func(Known) float64 { return r.sum(zero, 0, 0, rideRest, r.steady, false).speed }
	}
	return Question{
		ID: "speed", Kind: judge.Measured, Marks: 3, Title: "How fast does it run?",
		Prompt: fmt.Sprintf("`sheet.Recording(\"lift\")` is a ride up from the basement: `time` in s and `reading` in $\\mathrm{m/s^2}$, upward positive, every 0.02 s. The lift stood still until 20 s and again from %g s on. How fast did the cabin run at %g s? Begin to add up at 20 s. "+
			"The zero of a telephone's accelerometer is never right: take it from the recording, not from a book.", r.after, r.steady),
		Unit:  "m/s",
		Solve: func(Known) float64 { return s().speed },
		U:     func() float64 { return s().uSpeed },
		Slips: []Slip{
			{Name: "9.81 m/s² taken for the zero", Value: raw(liftGravity), Fix: "The reading at rest is not 9.81 here. Which stretches of the recording tell what it is?"},
			{Name: "gravity left in", Value: raw(0), Fix: "What the accelerometer reads at rest is not a change of speed: take it off first."},
			{Name: "the readings added up without their time", Value: func(Known) float64 { return s().speed / rideStep }, Fix: "A reading of a m/s² changes the speed by a times the time it lasts."},
		},
		Range: [2]float64{1.0, 1.8},
		Hints: [2]string{"The mean reading at rest is the zero. The speed is the sum of (reading − zero) times 0.02 s.", "Uncertainty: n readings scatter by σ each, so their sum by σ√n; and the zero's own uncertainty acts on all n alike."},
		Worked: "%%\n" + r.code(r.steady, "sigma := math.Sqrt(s2/n - zero*zero) // scatter of one reading\nv, m := 0.0, 0.0", "\t\tv, m = v+(f[i]-zero)*dt, m+1\n") +
			"// Noise of the m single readings, and the uncertainty of the zero, which all share.\nu := dt * sigma * math.Sqrt(m+m*m/n)\nsheet.Measured(\"speed\", v, u, \"m/s\")",
		Reasoning: "The reading less its value at rest is the cabin's acceleration; adding it up gives the speed. $n$ independent readings give $\\sigma\\,\\Delta t\\sqrt n$, and the zero, known to $u_0$, gives $u_0\\,n\\,\\Delta t$; both in quadrature.",
		Source:    Source{Text: "common practice, no source: sums over the sheet's own recording, whose bias and noise are not known to the sums"},
	}
}

func (r liftRide) heightQuestion() Question {
	s := sync.OnceValue(func() rideSum { return r.until(r.after) })
	return Question{
		ID: "height", Kind: judge.Measured, Marks: 4, Title: "How high did it go?",
		Prompt: fmt.Sprintf("From the same recording: how much higher is the cabin at %g s than it was at 20 s, and how well do you know it? Plot speed and time before you trust a sum: the telephone was not always listening.", r.after),
		Unit:   "m",
		Solve:  func(Known) float64 { return s().way },
		U:      func() float64 { return s().uWay },
		Slips: []Slip{
			{Name: "the stretch without readings left out", Value: func(Known) float64 { return r.heightClosed() }, Fix: "Look at the step from each time to the next: for some seconds nothing was recorded,\nbut the lift did not wait."},
			{Name: "9.81 m/s² taken for the zero", Value: func(Known) float64 { return r.sum(liftGravity, 0, 0, rideRest, r.after, false).way }, Fix: "The reading at rest is not 9.81 here. Which stretches of the recording tell what it is?"},
		},
		Range: [2]float64{13, 37},
		Hints: [2]string{"Are the times really 0.02 s apart everywhere?", "A reading adds (f − zero) Δt to the speed, and that speed is kept for the time that is left: height = Σ (f − zero) Δt · (end − t)."},
		Worked: "%%\n" + r.code(r.after, "sigma := math.Sqrt(s2/n - zero*zero) // scatter of one reading\nh, k1, k2 := 0.0, 0.0, 0.0", rideWayCode+"\t\tk1, k2 = k1+left, k2+left*left\n") +
			"// The same sum for the uncertainty: single readings in quadrature, the zero at once.\nu := dt * sigma * math.Sqrt(k2+k1*k1/n)\nsheet.Measured(\"height\", h, u, \"m\")",
		Reasoning: "What a reading at $t$ adds to the speed, the cabin keeps until the end, for $t_e - t$: $h = \\sum (f_i - f_0)\\,\\Delta t\\,(t_e - t_i)$. In the gap the cabin ran steadily, so nothing is missing from the sum but the time itself, and that stands in the times. Counting readings instead of looking at their times loses the way of the gap.",
		Source:    Source{Text: "common practice, no source: sums over the sheet's own recording; the height that made it was a whole number of storeys"},
	}
}

// heightClosed is the height of somebody who counts readings as if there were
// no gap between them.
func (r liftRide) heightClosed() float64 {
	zero, _, _ := r.zero()
	return r.sum(zero, 0, 0, rideRest, r.after, true).way
}

func (r liftRide) storeysQuestion() Question {
	count := func(h float64) float64 { return math.Round(h / r.storey) }
	return Question{
		ID: "storeys", Kind: judge.Number, Marks: 1, Title: "Count the storeys", Uses: []string{"height"},
		Prompt: fmt.Sprintf("From floor to floor it is %.1f m in this building. How many storeys did the lift go up?", r.storey),
		Unit:   "1", Tol: judge.Tolerance{Abs: 0.2, Why: "a whole number; a quotient of heights that was not rounded may stand off it by the uncertainty of the height"},
		Solve: func(k Known) float64 { return count(k["height"]) },
		Slips: []Slip{
			{Name: "floors counted in place of the steps between them", Value: func(k Known) float64 { return count(k["height"]) + 1 }, Fix: "From the basement to the floor above it is one storey, though two floors are seen."},
			{Name: "the stretch without readings left out", Value: func(Known) float64 { return count(r.heightClosed()) }, Fix: "Look at the step from each time to the next: for some seconds nothing was recorded,\nbut the lift did not wait."},
		},
		Range:     [2]float64{5, 9},
		Hints:     [2]string{"How many times does the storey go into your height?", "Your height divided by the height of one storey, rounded to a whole number."},
		Worked:    "%%\n" + r.code(r.after, "h := 0.0", rideWayCode) + fmt.Sprintf("// A lift stops at floors: the nearest whole number.\nsheet.Number(\"storeys\", math.Round(h/%s), \"1\")", lit(r.storey)),
		Reasoning: "The height is known to some decimetres, a storey has metres: the whole number is certain, and it is a check on the sum that nobody told the accelerometer.",
		Source:    Source{Text: "common practice, no source"},
	}
}

// liftClocks are two clocks, one above the other, compared in runs.
type liftClocks struct {
	height     float64 // m
	systematic float64 // of all runs alike, 1
	lost       int     // the run in which one clock lost its line
	data       func() clockData
}

type clockData struct{ difference, u []float64 }

const clockRuns = 16

func drawClocks(d *Draw) liftClocks {
	c := liftClocks{
		height: d.Between("clock height", 6, 15, 0.05), systematic: d.Between("clock systematic", 2.5, 4, 0.1) * 1e-18,
		lost: d.Rand("clock lost").IntN(clockRuns-4) + 2,
	}
	c.data = sync.OnceValue(func() (out clockData) {
		r := d.Rand("clock runs")
		off := d.Pick("clock sign", -1, 1) * d.Between("clock jump", 11, 14, 0.1) * 1e-16
		for i := range clockRuns {
			u := clean((1 + float64(r.IntN(11))/10) * 1e-18)
			v := clockShift(liftGravity, c.height, gravlab.SpeedOfLight) + float64(u*r.NormFloat64())
			if i == c.lost {
				v += off
			}
			out.difference, out.u = append(out.difference, clean(math.Round(v*1e19)/1e19)), append(out.u, u)
		}
		return out
	})
	return c
}

func (c liftClocks) recording() Recording {
	return Recording{
		ID: "clocks", Title: "Two clocks, one above the other: how much faster the upper one ran",
		Columns: []Column{{Name: "run", Unit: "1"}, {Name: "difference", Unit: "1"}, {Name: "u", Unit: "1"}},
		Make: func() ([][]float64, error) {
			x := c.data()
			run := make([]float64, clockRuns)
			for i := range run {
				run[i] = float64(i + 1)
			}
			return [][]float64{run, x.difference, x.u}, nil
		},
	}
}

// mean is the weighted mean of the runs, with or without the lost one.
func (c liftClocks) mean(all bool) fit.Mean {
	x := c.data()
	var v, u []float64
	for i := range x.u {
		if all || i != c.lost {
			v, u = append(v, x.difference[i]), append(u, x.u[i])
		}
	}
	return gravlab.Must(fit.WeightedMean(v, u))
}

func (c liftClocks) question() Question {
	m := sync.OnceValue(func() fit.Mean { return c.mean(false) })
	metres := func(fraction float64) float64 {
		return clockHeight(fraction, liftGravity, gravlab.SpeedOfLight)
	}
	lifted := testdata.Find("worked_examples.csv", "equiv-13") // two clocks, one 0.33 m higher: 3.6e-17
	return Question{
		ID: "clocks", Kind: judge.Measured, Marks: 4, Title: "A height from two clocks",
		Prompt: fmt.Sprintf("Two optical clocks stand in the building, one above the other. `sheet.Recording(\"clocks\")` holds %d comparisons: the `run`, the `difference` by which the upper clock ran fast, as a fraction, and its standard uncertainty `u` from the noise of that run. "+
			"One of the clocks also has a systematic uncertainty of $%.1f\\times 10^{-18}$, the same in all runs. How much higher does the upper clock stand, and how well do you know it? Take $g = 9.81\\ \\mathrm{m/s^2}$. Look at the runs first.", clockRuns, c.systematic*1e18),
		Unit:  "m",
		Solve: func(Known) float64 { return metres(m().Value) },
		U:     func() float64 { return metres(math.Hypot(m().U, c.systematic)) },
		Slips: []Slip{
			{Name: "the run that went wrong kept", Value: func(Known) float64 { return metres(c.mean(true).Value) }, Fix: "One run lies hundreds of its uncertainties from all others: something else happened there."},
			{Name: "the difference taken as there and back", Value: func(Known) float64 { return metres(m().Value) / 2 }, Fix: "The clocks are compared at one moment, one with the other: g h/c², once."},
		},
		USlips: []Slip{
			{Name: "the systematic part left out", Value: func(Known) float64 { return metres(m().U) }, Fix: "A systematic uncertainty is the same in all runs: averaging does not make it smaller."},
			{Name: "the systematic part averaged like noise", Value: func(Known) float64 {
				return metres(math.Hypot(m().U, c.systematic/math.Sqrt(clockRuns-1)))
			}, Fix: "A systematic uncertainty is the same in all runs: averaging does not make it smaller."},
		},
		Range: [2]float64{5.8, 15.2},
		Hints: [2]string{"Plot difference against run. Then the weighted mean of what is sound: fit.WeightedMean.", "u of the mean and the systematic part in quadrature; equivalence.HeightOf turns fraction and uncertainty into metres."},
		Worked: "%%\nrec := sheet.Recording(\"clocks\")\nvar x, u []float64\nfor i, v := range rec.Column(\"difference\") {\n" + fmt.Sprintf("\tif i+1 != %d { // that run lies far off: a clock had lost its line\n", c.lost+1) +
			"\t\tx, u = append(x, v), append(u, rec.Column(\"u\")[i])\n\t}\n}\nmean := gravlab.Must(fit.WeightedMean(x, u))\n" +
			fmt.Sprintf("// The systematic part does not average: add it to the mean, in quadrature.\nuAll := math.Hypot(mean.U, %s)\nh, uh, _ := equivalence.HeightOf(mean.Value, uAll, 9.81)\nsheet.Measured(\"clocks\", h, uh, \"m\")", lit(c.systematic)),
		Reasoning: "$h = c^2/g$ times the fraction: $10^{-16}$ is 0.92 m, $10^{-18}$ is 9 mm. The noise of fifteen runs averages down to some $10^{-19}$, the systematic part does not, and it decides the uncertainty: some centimetres.",
		Source: Source{Text: "C. W. Chou, D. B. Hume, T. Rosenband, D. J. Wineland, Optical Clocks and Relativity, Science 329 (2010) 1630 (from memory): 0.33 m gives 3.6e-17", Published: true, Check: &SourceCheck{
			Table: "worked_examples.csv", ID: "equiv-13", Got: 0.33 / clockHeight(1, liftGravity, gravlab.SpeedOfLight), Want: lifted.Float("published_answer"), Within: 0.05e-17}},
	}
}
