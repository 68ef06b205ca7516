package lab09

import (
	"math"
	"sync"
	"time"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/judge"
)

// skelmireCellar is where the meter stands.
var skelmireCellar = earth.Site{Lat: 54.6 * math.Pi / 180, Lon: -2.4 * math.Pi / 180, Height: 140}

const (
	tideDays     = 16
	tideInterval = 1800.0 // s
	tideReadings = tideDays * 48
	nmPerDay     = 1e-9 / 86400 // m/s³ in 1 nm/(s² d)
	nmPerHPa     = 1e-11        // m/s² per Pa in 1 nm/(s² hPa)
)

// A tideMeter records in the cellar for sixteen days in March. Its clock follows
// the clock on the wall, which goes to summer time meanwhile.
type tideMeter struct {
	start, summer time.Time
	delta, drift  float64 // of the ground, 1; of the meter, m/s³
	admittance    float64 // m/s² per Pa
	data          func() tideRecord
	right         func() tideFit // with the clock put right
	believed      func() tideFit // the clock believed
	reversed      func() tideFit // the hour put in the wrong way round
}

type tideRecord struct {
	utc, clock, reading, pressure []float64 // s since 1970, s since 1970, m/s², Pa
	up                            []float64 // the tide in it, m/s²
}

// tideFit is what a fit of tide, drift and pressure finds.
type tideFit struct{ delta, drift, pressure, uDelta, uDrift, uPressure float64 }

func drawTideMeter(d *bank.Draw) tideMeter {
	// Summer time begins on the last Sunday of March at 1 h UTC.
	year := int(d.Between("year", 2021, 2026, 1))
	summer := time.Date(year, time.March, 31, 1, 0, 0, 0, time.UTC)
	summer = summer.AddDate(0, 0, -int(summer.Weekday()))
	m := tideMeter{
		summer: summer, start: summer.Add(-time.Hour).AddDate(0, 0, -int(d.Between("days before", 6, 9, 1))),
		delta:      d.Between("delta", 1.145, 1.175, 0.001),
		drift:      d.Pick("meter drift sign", -1, 1) * d.Between("meter drift", 20, 60, 0.5) * nmPerDay,
		admittance: -d.Between("admittance", 2.6, 3.4, 0.05) * nmPerHPa,
	}
	m.data = sync.OnceValue(func() tideRecord { return m.record(d) })
	m.right = sync.OnceValue(func() tideFit { return m.fit(0) })
	m.believed = sync.OnceValue(func() tideFit { return m.fit(3600) })
	m.reversed = sync.OnceValue(func() tideFit { return m.fit(7200) })
	return m
}

func (m tideMeter) record(d *bank.Draw) (out tideRecord) {
	up := gravlab.Must(skelmireCellar.TideSeries(m.start, time.Duration(tideInterval)*time.Second, tideReadings))
	out.up = up
	noise := d.Rand("meter noise")
	weather := d.Rand("weather")
	var size, period, phase [5]float64
	for i := range size {
		size[i], period[i], phase[i] = 300+400*weather.Float64(), (1.5+2*float64(i))*(0.8+0.4*weather.Float64())*86400, 2*math.Pi*weather.Float64()
	}
	mean := 99200 + 1200*weather.Float64()
	for i, p := range up {
		t := float64(float64(i) * tideInterval)
		air := mean
		for k := range size {
			air += float64(size[k] * math.Cos(float64(2*math.Pi*t/period[k])+phase[k]))
		}
		air = math.Round(air/10) * 10
		reading := float64(-m.delta*p) + float64(m.drift*t) + float64(m.admittance*(air-100000)) + float64(8e-9*noise.NormFloat64())
		utc := float64(m.start.Unix()) + t
		clock := utc
		if utc >= float64(m.summer.Unix()) {
			clock += 3600
		}
		out.utc, out.clock = append(out.utc, utc), append(out.clock, clock)
		out.reading, out.pressure = append(out.reading, math.Round(reading*1e9)/1e9), append(out.pressure, air)
	}
	return out
}

// fit fits factor, offset, drift and pressure, with the tide taken so many
// seconds late after the change of the clock.
func (m tideMeter) fit(late float64) tideFit {
	x := m.data()
	a := mat.NewDense(len(x.utc), 4, nil)
	y := make([]float64, len(x.utc))
	for i, utc := range x.utc {
		p := x.up[i]
		if late != 0 && utc >= float64(m.summer.Unix()) {
			utc += late
			p = gravlab.Must(skelmireCellar.Tide(time.Unix(int64(utc), 0))).Upward()
		}
		a.SetRow(i, []float64{-1e9 * p, 1, (utc - x.utc[0]) / 86400, (x.pressure[i] - 1e5) / 100})
		y[i] = 1e9 * x.reading[i]
	}
	r := gravlab.Must(fit.Linear(a, y, nil))
	return tideFit{
		delta: r.P[0], drift: r.P[2] * nmPerDay, pressure: r.P[3] * nmPerHPa,
		uDelta: r.U[0], uDrift: r.U[2] * nmPerDay, uPressure: r.U[3] * nmPerHPa,
	}
}

func (m tideMeter) recording() bank.Recording {
	return bank.Recording{
		ID:      "meter",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "reading", Unit: "m/s²"}, {Name: "pressure", Unit: "Pa"}},
		Make: func() ([][]float64, error) {
			x := m.data()
			return [][]float64{x.clock, x.reading, x.pressure}, nil
		},
	}
}

// fields say when the clock jumps, for the piece of code that all worked solutions share.
func (m tideMeter) fields() bank.Fields {
	return bank.Fields{"summer": m.summer.Format("2 January"), "year": m.summer.Year(), "month": int(m.summer.Month()), "day": m.summer.Day()}
}

func (m tideMeter) deltaQuestion() bank.Question {
	from := func(f func() tideFit) func(bank.Answers) float64 {
		return func(bank.Answers) float64 { return f().delta }
	}
	return bank.Question{
		ID: "delta", Kind: judge.KindMeasured, Marks: 4, Unit: "1",
		Fields: bank.Fields{"tideDays": tideDays, "start": m.start.Format("2 January 2006")},
		Solve:  from(m.right),
		U:      func() float64 { return m.right().uDelta },
		Slips: []bank.Slip{
			{ID: "logger-clock", Value: from(m.believed)},
			{ID: "hour-wrong-way", Value: from(m.reversed)},
			{ID: "the-inverse", Value: func(bank.Answers) float64 { return 1 / m.right().delta }},
			{ID: "excess", Value: func(bank.Answers) float64 { return m.right().delta - 1 }},
		},
		Range: [2]float64{1.14, 1.18},
	}
}

// calibrationQuestion asks for what the fit cannot know: the scale of the meter.
func (m tideMeter) calibrationQuestion(d *bank.Draw) bank.Question {
	scale := d.Between("scale", 0.08, 0.14, 0.01) / 100
	from := func(f func(scale, u float64) float64) func(bank.Answers) float64 {
		return func(a bank.Answers) float64 { return f(scale*a["delta"], m.right().uDelta) }
	}
	return bank.Question{
		ID: "calibration", Kind: judge.KindNumber, Marks: 2, Unit: "1", Tol: judge.Tolerance{Rel: 0.03}, Uses: []string{"delta"},
		Fields: bank.Fields{"scale": 100 * scale, "relative": bank.Clean(scale)},
		Solve:  from(math.Hypot),
		Slips: []bank.Slip{
			{ID: "fit-alone", Value: from(func(_, u float64) float64 { return u })},
			{ID: "scale-alone", Value: from(func(scale, _ float64) float64 { return scale })},
			{ID: "plain-sum", Value: from(func(scale, u float64) float64 { return scale + u })},
			{ID: "relative", Value: bank.Later(func() float64 { return math.Hypot(scale, m.right().uDelta) })},
		},
		Range: [2]float64{9e-4, 2.5e-3},
	}
}

func (m tideMeter) driftQuestion() bank.Question {
	return bank.Question{
		ID: "drift", Kind: judge.KindMeasured, Marks: 2, Unit: "nm/(s² d)",
		Solve: func(bank.Answers) float64 { return m.right().drift },
		U:     func() float64 { return m.right().uDrift },
		Slips: []bank.Slip{
			{ID: "whole-change", Value: func(bank.Answers) float64 { return m.right().drift * tideDays }},
			{ID: "last-minus-first", Value: func(bank.Answers) float64 {
				x := m.data()
				last := len(x.utc) - 1
				return m.unlike((x.reading[last]-x.reading[0])/(x.utc[last]-x.utc[0]), m.right().drift, m.right().drift*tideDays)
			}},
			{ID: "per-hour", Value: func(bank.Answers) float64 { return m.right().drift / 24 }},
		},
		Range: [2]float64{-65 * nmPerDay, 65 * nmPerDay},
	}
}

// unlike returns a value of a slip of the drift, or NaN where it happens to lie
// near one of the others.
func (m tideMeter) unlike(v float64, others ...float64) float64 {
	for _, o := range others {
		if math.Abs(v-o) < 2.5*judge.CoverageFactor*m.right().uDrift {
			return math.NaN()
		}
	}
	return v
}

func (m tideMeter) pressureQuestion() bank.Question {
	// A layer of air: 2 pi G times its mass per area, which is the pressure over g.
	slab := -2 * math.Pi * gravlab.G / 9.81
	return bank.Question{
		ID: "pressure", Kind: judge.KindMeasured, Marks: 2, Unit: "nm/(s² hPa)",
		Solve: func(bank.Answers) float64 { return m.right().pressure },
		U:     func() float64 { return m.right().uPressure },
		Slips: []bank.Slip{
			{ID: "infinite-layer", Value: func(bank.Answers) float64 { return slab }},
			{ID: "kpa-for-hpa", Value: func(bank.Answers) float64 { return 10 * m.right().pressure }},
			{ID: "pascal", Value: func(bank.Answers) float64 { return m.right().pressure / 100 }},
			{ID: "air-alone", Value: func(bank.Answers) float64 { return -3.6 * nmPerHPa }},
		},
		Range: [2]float64{-3.7 * nmPerHPa, -2.3 * nmPerHPa},
	}
}
