package lab15

import (
	"math"
	"slices"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/pendulum"
)

// timed is how many swings were timed at once.
const timed = 10

// A turnedRecord is the recording of one sheet: the times of ten swings of a
// reversible pendulum on either edge, for places of its sliding weight. At one
// place one swing too many was counted.
type turnedRecord struct {
	edges, amplitude, last float64             // m; rad at the first and the last swing
	g                      float64             // m/s²
	odd                    int                 // the miscounted place; known once make has run
	mass                   float64             // kg
	make                   func() [3][]float64 // place, first, second
	good, kept             func() [4]float64   // see equalPeriods
}

func drawTurned(d *bank.Draw) *turnedRecord {
	r := &turnedRecord{
		edges:     d.Between("edges", 0.97, 1.03, 0.00001),
		amplitude: d.Between("first amplitude", 4, 6, 0.1) * gravlab.Degree,
	}
	r.last = math.Round(r.amplitude/gravlab.Degree*8.5) / 10 * gravlab.Degree
	// Away from the round values of books, so that none of them is measured by chance.
	g := d.Pick("gravity of the school", 9.785, 9.795, 9.815, 9.825) + d.Between("gravity there", -0.0024, 0.0024, 0.0001)
	r.g = g
	big := d.Between("heavy disc", 1.30, 1.50, 0.01)
	r.mass = math.Round(1000*big*(1/1.4+1+0.107+0.286)) / 1000
	// Symmetric outside, and in air: equal periods say g all the same.
	e := r.edges + float64(uEdges*d.Rand("true edges").NormFloat64())
	kit := func(slide float64) pendulum.Reversible {
		return pendulum.Reversible{Edges: e, Gravity: g, AirDensity: 1.2, AirInertia: 0.9, Parts: []pendulum.Part{
			{Mass: big / 1.4, At: e / 2, Length: 1.4 * e, Volume: 7.5e-4},
			{Mass: big, At: 1.1 * e, Length: 0.06, Volume: 2.5e-4},
			{Mass: 0.107 * big, At: -0.1 * e, Length: 0.06, Volume: 2.5e-4},
			{Mass: 0.286 * big, At: slide, Length: 0.04},
		}}
	}
	// The place of equal periods, and scale marks to either side of it.
	lo, hi := 0.6*r.edges, 0.9*r.edges
	for range 50 {
		mid := (lo + hi) / 2
		t1, t2, err := kit(mid).Periods()
		if gravlab.Must(t1, err) > t2 {
			lo = mid
		} else {
			hi = mid
		}
	}
	mark := 0.005 * math.Round(200*(lo-0.05+d.Between("shift of the marks", -0.015, 0.015, 0.005)))
	firstTry, tryOnSecond := int(d.Between("miscounted place", 2, 8, 1)), d.Pick("miscounted edge", 0, 1) == 1
	r.make = sync.OnceValue(func() [3][]float64 {
		random := d.Rand("turned")
		const noise, step = 4e-4, 1e-4 // s, of ten swings
		a2 := (r.amplitude*r.amplitude - r.last*r.last) / (2 * math.Log(r.amplitude/r.last))
		wide := gravlab.Must(pendulum.PeriodRatio(math.Sqrt(a2)))
		var rows [3][]float64
		read := func(t float64) float64 {
			return bank.Clean(step * math.Round((timed*wide*t+float64(noise*random.NormFloat64()))/step))
		}
		for i := range 11 {
			x := bank.Clean(mark + 0.01*float64(i))
			t1, t2, err := kit(x).Periods()
			rows[0], rows[1] = append(rows[0], x), append(rows[1], read(gravlab.Must(t1, err)))
			rows[2] = append(rows[2], read(t2))
		}
		// A miscount that leaves no crossing, or leaves it where it was, would be no
		// trap: take the first place at which it moves the period by far more than
		// anybody could defend.
		for try := range 14 {
			r.odd = 2 + (firstTry-2+try)%7
			column := 1
			if tryOnSecond != (try >= 7) {
				column = 2
			}
			right := equalPeriods(without(rows[0], r.odd), without(rows[1], r.odd), without(rows[2], r.odd))
			was := rows[column][r.odd]
			rows[column][r.odd] = bank.Clean(step * math.Round(was*(timed+1)/timed/step))
			kept := equalPeriods(rows[0], rows[1], rows[2])
			if math.Abs(kept[0]-right[0]) > 5*judge.CoverageFactor*right[1] { // false for a NaN
				break
			}
			rows[column][r.odd] = was
		}
		return rows
	})
	r.good = sync.OnceValue(func() [4]float64 {
		rows := r.make()
		return equalPeriods(without(rows[0], r.odd), without(rows[1], r.odd), without(rows[2], r.odd))
	})
	r.kept = sync.OnceValue(func() [4]float64 {
		rows := r.make()
		return equalPeriods(rows[0], rows[1], rows[2])
	})
	return r
}

// without is x without the element i.
func without(x []float64, i int) []float64 {
	return slices.Concat(x[:i], x[i+1:])
}

// parabola fits times of ten swings, as periods, about the place x0.
func parabola(x, ten []float64, x0 float64) *fit.Result {
	t := make([]float64, len(ten))
	for i := range t {
		t[i] = ten[i] / timed
	}
	return gravlab.Must(fit.Curve{X: x, Y: t, Start: []float64{2, 0.1, 1}, Model: func(p, x, dst []float64) {
		for i, v := range x {
			dst[i] = p[0] + p[1]*(v-x0) + p[2]*(v-x0)*(v-x0)
		}
	}}.Fit())
}

// equalPeriods is the period at which two parabolas meet, its standard
// uncertainty, that of the first parabola alone, and the scatter of its periods
// over the root of their number. NaN if the parabolas do not meet between the
// places.
func equalPeriods(x, first, second []float64) [4]float64 {
	x0 := x[len(x)/2]
	for range 30 {
		a, b := parabola(x, first, x0), parabola(x, second, x0)
		step := (b.P[0] - a.P[0]) / (a.P[1] - b.P[1])
		x0 += math.Max(-0.02, math.Min(0.02, step))
		if math.Abs(step) < 1e-9 {
			break
		}
		if x0 < x[0]-0.1 || x0 > x[len(x)-1]+0.1 {
			return [4]float64{math.NaN(), math.NaN(), math.NaN(), math.NaN()}
		}
	}
	a, b := parabola(x, first, x0), parabola(x, second, x0)
	u := math.Hypot(b.P[1]*a.U[0], a.P[1]*b.U[0]) / math.Abs(a.P[1]-b.P[1])
	squares := 0.0
	for _, v := range a.Residuals {
		squares += v * v / float64(len(x)-3)
	}
	return [4]float64{a.P[0], u, a.U[0], math.Sqrt(squares / float64(len(x)))}
}

func (r *turnedRecord) recording() bank.Recording {
	return bank.Recording{
		ID:      "turned",
		Columns: []bank.Column{{Name: "place", Unit: "m"}, {Name: "first", Unit: "s"}, {Name: "second", Unit: "s"}},
		Make: func() ([][]float64, error) {
			rows := r.make()
			return rows[:], nil
		},
	}
}

func (r *turnedRecord) period() bank.Question {
	return bank.Question{
		ID: "equal", Kind: judge.KindMeasured, Marks: 3, Unit: "s",
		Solve: func(bank.Answers) float64 { return r.good()[0] },
		U:     func() float64 { return r.good()[1] },
		Slips: []bank.Slip{
			{ID: "miscount-kept", Value: func(bank.Answers) float64 { return r.kept()[0] }},
			{ID: "ten-swings", Value: func(bank.Answers) float64 { return timed * r.good()[0] }},
			{ID: "half-swing", Value: func(bank.Answers) float64 { return r.good()[0] / 2 }},
		},
		USlips: []bank.Slip{
			{ID: "first-alone", Value: func(bank.Answers) float64 { return r.good()[2] }},
			{ID: "as-a-mean", Value: func(bank.Answers) float64 { return r.good()[3] }},
		},
		Range: [2]float64{1.9, 2.1},
	}
}

// displaced is the volume of air that the pendulum displaces, m³.
const displaced = 1.25e-3

// uEdges is the standard uncertainty of the distance of the edges, m.
const uEdges = 0.005e-3

func (r *turnedRecord) gravity() bank.Question {
	// Of the mean amplitude: its square differs from the mean square by a thousandth.
	wide := gravlab.Must(pendulum.PeriodRatio((r.amplitude + r.last) / 2))
	g := func(edges, wide, factor float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 {
			t := k["equal"] / wide
			return factor * 4 * math.Pi * math.Pi * edges / (t * t)
		}
	}
	u := func(weight float64) float64 {
		t := r.good()
		return 4 * math.Pi * math.Pi * r.edges / (t[0] * t[0]) * math.Hypot(uEdges/r.edges, weight*t[1]/t[0])
	}
	return bank.Question{
		ID: "kater-g", Kind: judge.KindMeasured, Marks: 3, Unit: "m/s²", Uses: []string{"equal"}, Reads: []string{"turned"},
		Fields: bank.Fields{"edges": r.edges * 1e3, "uEdges": uEdges * 1e3, "amplitude": r.amplitude / gravlab.Degree, "last": r.last / gravlab.Degree, "mass": r.mass},
		Solve:  g(r.edges, wide, 1),
		U:      func() float64 { return u(2) },
		Slips: []bank.Slip{
			{ID: "amplitude-ignored", Value: g(r.edges, 1, 1)},
			{ID: "amplitude-reversed", Value: g(r.edges, 1/wide, 1)},
			{ID: "amplitude-once", Value: g(r.edges, math.Sqrt(wide), 1)},
			{ID: "buoyancy-added", Value: g(r.edges, wide, 1/(1-1.2*displaced/r.mass))},
			{ID: "half-edges", Value: g(r.edges/2, wide, 1)},
		},
		USlips: []bank.Slip{
			{ID: "edges-only", Value: func(bank.Answers) float64 { return u(0) }},
			{ID: "period-once", Value: func(bank.Answers) float64 { return u(1) }},
		},
		Range: [2]float64{9.776, 9.836},
	}
}
