package lab07

import (
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
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

func drawRide(d *bank.Draw) liftRide {
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
	r.gap0 = bank.Clean(math.Round((r.steady+spare*(0.3+0.4*d.Rand("ride gap place").Float64()))/rideStep) * rideStep)
	r.gap1 = bank.Clean(r.gap0 + length)
	r.data = sync.OnceValue(func() rideData { return r.record(d) })
	return r
}

// record makes the readings, rounded to the last digit of the instrument.
func (r liftRide) record(d *bank.Draw) (out rideData) {
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

func (r liftRide) recording() bank.Recording {
	return bank.Recording{
		ID:      "lift",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "reading", Unit: "m/s²"}},
		Make:    func() ([][]float64, error) { x := r.data(); return [][]float64{x.t, x.reading}, nil },
	}
}

// rideSum adds up what every reading between from and to, less zero, gives to
// the speed at the time to and to the way until then: what a reading adds to the
// speed, the cabin keeps for the rest of the time. u are their standard
// uncertainties from the noise of the readings and from the zero's, uZero.
type rideSum struct {
	speed, way, uSpeed, uWay float64
	time, lever              float64 // s and s²: sums of the step, and of the step times what is left
}

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
	s.time, s.lever = rideStep*n, rideStep*lever
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
	mean = floats.Sum(rest) / n
	for _, v := range rest {
		scatter += (v - mean) * (v - mean) / (n - 1)
	}
	scatter = math.Sqrt(scatter)
	return mean, scatter / math.Sqrt(n), scatter
}

// peak is the largest reading, less zero, m/s².
func (r liftRide) peak() float64 {
	zero, _, _ := r.zero()
	return slices.Max(r.data().reading) - zero
}

// until is the sum from the end of the rest to a time.
func (r liftRide) until(to float64) rideSum {
	zero, u, scatter := r.zero()
	return r.sum(zero, u, scatter, rideRest, to, false)
}

func (r liftRide) speedQuestion() bank.Question {
	s := sync.OnceValue(func() rideSum { return r.until(r.steady) })
	raw := func(zero float64) func(bank.Answers) float64 {
		return func(bank.Answers) float64 { return r.sum(zero, 0, 0, rideRest, r.steady, false).speed }
	}
	return bank.Question{
		ID: "speed", Kind: judge.KindMeasured, Marks: 3, Unit: "m/s",
		Fields: bank.Fields{
			"after": r.after, "steady": r.steady,
		},
		Solve: func(bank.Answers) float64 { return s().speed },
		U:     func() float64 { return s().uSpeed },
		Slips: []bank.Slip{
			{ID: "book-g-for-zero", Value: raw(liftGravity)},
			{ID: "gravity-left-in", Value: raw(0)},
			{ID: "interval-ignored", Value: func(bank.Answers) float64 { return s().speed / rideStep }},
			{ID: "largest-reading", Value: func(bank.Answers) float64 { return r.peak() * (r.steady - rideRest) }},
		},
		USlips: []bank.Slip{
			{ID: "scatter", Value: func(bank.Answers) float64 { _, _, scatter := r.zero(); return scatter }},
			{ID: "added", Value: func(bank.Answers) float64 { _, _, scatter := r.zero(); return scatter * s().time }},
		},
		Range: [2]float64{1.0, 1.8},
	}
}

func (r liftRide) heightQuestion() bank.Question {
	s := sync.OnceValue(func() rideSum { return r.until(r.after) })
	return bank.Question{
		ID: "height", Kind: judge.KindMeasured, Marks: 4, Unit: "m",
		Fields: bank.Fields{
			"after": r.after,
		},
		Solve: func(bank.Answers) float64 { return s().way },
		U:     func() float64 { return s().uWay },
		Slips: []bank.Slip{
			{ID: "gap-ignored", Value: func(bank.Answers) float64 { return r.heightClosed() }},
			{ID: "book-g-for-zero", Value: func(bank.Answers) float64 { return r.sum(liftGravity, 0, 0, rideRest, r.after, false).way }},
			{ID: "gravity-left-in", Value: func(bank.Answers) float64 { return r.sum(0, 0, 0, rideRest, r.after, false).way }},
			{ID: "interval-ignored", Value: func(bank.Answers) float64 { return s().way / rideStep }},
			{ID: "interval-ignored", Value: func(bank.Answers) float64 { return s().way / (rideStep * rideStep) }},
			{ID: "top-speed", Value: func(bank.Answers) float64 { return r.until(r.steady).speed * (r.after - rideRest) }},
		},
		USlips: []bank.Slip{
			{ID: "added", Value: func(bank.Answers) float64 { _, _, scatter := r.zero(); return scatter * s().lever }},
		},
		Range: [2]float64{13, 37},
	}
}

// heightClosed is the height of somebody who counts readings as if there were
// no gap between them.
func (r liftRide) heightClosed() float64 {
	zero, _, _ := r.zero()
	return r.sum(zero, 0, 0, rideRest, r.after, true).way
}

func (r liftRide) storeysQuestion() bank.Question {
	count := func(h float64) float64 { return math.Round(h / r.storey) }
	return bank.Question{
		ID: "storeys", Kind: judge.KindNumber, Marks: 1, Unit: "1", Tol: judge.Tolerance{Abs: 0.2}, Uses: []string{"height"},
		Fields: bank.Fields{"storey": r.storey, "after": r.after},
		Solve:  func(k bank.Answers) float64 { return count(k["height"]) },
		Slips: []bank.Slip{
			{ID: "floors-counted", Value: func(k bank.Answers) float64 { return count(k["height"]) + 1 }},
			{ID: "gap-ignored", Value: func(bank.Answers) float64 { return count(r.heightClosed()) }},
		},
		Range: [2]float64{5, 9},
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

func drawClocks(d *bank.Draw) liftClocks {
	c := liftClocks{
		height: d.Between("clock height", 6, 15, 0.05), systematic: d.Between("clock systematic", 2.5, 4, 0.1) * 1e-18,
		lost: d.Rand("clock lost").IntN(clockRuns-4) + 2,
	}
	c.data = sync.OnceValue(func() (out clockData) {
		r := d.Rand("clock runs")
		off := d.Pick("clock sign", -1, 1) * d.Between("clock jump", 11, 14, 0.1) * 1e-16
		for i := range clockRuns {
			u := bank.Clean((1 + float64(r.IntN(11))/10) * 1e-18)
			v := clockShift(liftGravity, c.height, gravlab.SpeedOfLight) + float64(u*r.NormFloat64())
			if i == c.lost {
				v += off
			}
			out.difference, out.u = append(out.difference, bank.Clean(math.Round(v*1e19)/1e19)), append(out.u, u)
		}
		return out
	})
	return c
}

func (c liftClocks) recording() bank.Recording {
	return bank.Recording{
		ID:      "clocks",
		Columns: []bank.Column{{Name: "run", Unit: "1"}, {Name: "difference", Unit: "1"}, {Name: "u", Unit: "1"}},
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

// scatter is the standard deviation of the good runs, 1.
func (c liftClocks) scatter() float64 {
	return stat.StdDev(slices.Delete(slices.Clone(c.data().difference), c.lost, c.lost+1), nil)
}

func (c liftClocks) question() bank.Question {
	m := sync.OnceValue(func() fit.Mean { return c.mean(false) })
	metres := func(fraction float64) float64 {
		return clockHeight(fraction, liftGravity, gravlab.SpeedOfLight)
	}
	return bank.Question{
		ID: "clocks", Kind: judge.KindMeasured, Marks: 4, Unit: "m",
		Fields: bank.Fields{"clockRuns": clockRuns, "systematicSI": c.systematic * 1e18, "badRun": c.lost + 1, "systematic": c.systematic},
		Solve:  func(bank.Answers) float64 { return metres(m().Value) },
		U:      func() float64 { return metres(math.Hypot(m().U, c.systematic)) },
		Slips: []bank.Slip{
			{ID: "failed-run-kept", Value: func(bank.Answers) float64 { return metres(c.mean(true).Value) }},
			{ID: "failed-run-kept", Value: func(bank.Answers) float64 { return metres(floats.Sum(c.data().difference) / clockRuns) }},
			{ID: "there-and-back", Value: func(bank.Answers) float64 { return metres(m().Value) / 2 }},
			{ID: "c-not-squared", Value: func(bank.Answers) float64 { return metres(m().Value) / gravlab.SpeedOfLight }},
			{ID: "no-g", Value: func(bank.Answers) float64 { return metres(m().Value) * liftGravity }},
		},
		USlips: []bank.Slip{
			{ID: "systematic-ignored", Value: func(bank.Answers) float64 { return metres(m().U) }},
			{ID: "systematic-averaged", Value: func(bank.Answers) float64 {
				return metres(math.Hypot(m().U, c.systematic/math.Sqrt(clockRuns-1)))
			}},
			{ID: "scatter", Value: func(bank.Answers) float64 { return metres(c.scatter()) }},
		},
		Range: [2]float64{5.8, 15.2},
		// two clocks, one 0.33 m higher: 3.6e-17
		Source: bank.Published(testdata.Examples, "equiv-13", 0.33/clockHeight(1, liftGravity, gravlab.SpeedOfLight), 0.05e-17),
	}
}

// A phone lies on the floor at rest, then turned over: its reading is gain times
// the specific force along its axis, plus zero.
type phone struct{ up, down float64 } // m/s², as printed

func drawPhone(d *bank.Draw) phone {
	zero := d.Pick("phone zero sign", -1, 1) * d.Between("phone zero", 0.06, 0.16, 0.002)
	gain := 1 + d.Pick("phone gain sign", -1, 1)*d.Between("phone gain", 0.008, 0.016, 0.0005)
	milli := func(x float64) float64 { return bank.Clean(math.Round(1000*x) / 1000) }
	return phone{up: milli(gain*liftGravity + zero), down: milli(-gain*liftGravity + zero)}
}

func (p phone) zero() float64 { return (p.up + p.down) / 2 }
func (p phone) gain() float64 { return (p.up - p.down) / (2 * liftGravity) }

func (p phone) turnedQuestion() bank.Question {
	return bank.Question{
		ID: "turned", Kind: judge.KindNumber, Marks: 2, Unit: "m/s²", Tol: judge.Tolerance{Abs: 0.0011},
		Fields: bank.Fields{"up": p.up, "down": p.down},
		Solve:  bank.Always(p.zero()),
		Slips: []bank.Slip{
			{ID: "book-g-for-zero", Value: bank.Always(p.up - liftGravity)},
			{ID: "not-halved", Value: bank.Always(2 * p.zero())},
			{ID: "difference", Value: bank.Always(p.gain() * liftGravity)},
			{ID: "downside-sign", Value: bank.Always(-p.zero())},
		},
		Range: [2]float64{-0.17, 0.17},
	}
}

func (p phone) stretchedQuestion(d *bank.Draw) bank.Question {
	height := d.Between("phone height", 14, 30, 0.05)
	return bank.Question{
		ID: "stretched", Kind: judge.KindNumber, Marks: 2, Unit: "m", Tol: judge.Tolerance{Rel: 0.001},
		Fields: bank.Fields{"up": p.up, "down": p.down, "height": height},
		Solve:  bank.Always(height / p.gain()),
		Slips: []bank.Slip{
			{ID: "not-corrected", Value: bank.Always(height)},
			{ID: "gain-wrong-way", Value: bank.Always(height * p.gain())},
			{ID: "rest-as-gain", Value: bank.Always(height * liftGravity / p.up)},
			{ID: "not-halved", Value: bank.Always(height / p.gain() / 2)},
		},
		Range: [2]float64{13.5, 30.5},
	}
}
