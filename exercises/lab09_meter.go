package exercises

import (
	"fmt"
	"math"
	"sync"
	"time"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab"
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

func drawTideMeter(d *Draw) tideMeter {
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

func (m tideMeter) record(d *Draw) (out tideRecord) {
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

func (m tideMeter) recording() Recording {
	return Recording{
		ID: "meter", Title: "A gravity meter in the cellar, sixteen days, every half hour",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "reading", Unit: "m/s²"}, {Name: "pressure", Unit: "Pa"}},
		Make: func() ([][]float64, error) {
			x := m.data()
			return [][]float64{x.clock, x.reading, x.pressure}, nil
		},
	}
}

// code is how every worked answer about the recording starts.
func (m tideMeter) code() string {
	return "rec := sheet.Recording(\"meter\")\nt, reading, air := rec.Column(\"time\"), rec.Column(\"reading\"), rec.Column(\"pressure\")\n" +
		fmt.Sprintf("// The clock jumps by an hour on %s: that is summer time, not UTC.\nsummer := float64(time.Date(%d, %d, %d, 1, 0, 0, 0, time.UTC).Unix())\n", m.summer.Format("2 January"), m.summer.Year(), m.summer.Month(), m.summer.Day()) +
		"site := earth.Site{Lat: 54.6 * math.Pi / 180, Lon: -2.4 * math.Pi / 180, Height: 140}\nup, day, y := make([]float64, len(t)), make([]float64, len(t)), make([]float64, len(t))\nfor i, utc := range t {\n\tif utc >= summer {\n\t\tutc -= 3600\n\t}\n\tup[i] = 1e9 * gravlab.Must(site.Tide(time.Unix(int64(utc), 0))).Upward() // nm/s²\n\tday[i], y[i] = (utc-t[0])/86400, 1e9*reading[i]\n}\n" +
		"// reading = -delta × tide + offset + drift × days + admittance × pressure (hPa)\nr := gravlab.Must(fit.Curve{X: t, Y: y, Start: []float64{1, 0, 0, 0}, Model: func(p, x, dst []float64) {\n\tfor i := range dst {\n\t\tdst[i] = -p[0]*up[i] + p[1] + p[2]*day[i] + p[3]*(air[i]-1e5)/100\n\t}\n}}.Fit())\n"
}

func (m tideMeter) deltaQuestion() Question {
	from := func(f func() tideFit) func(Known) float64 { return func(Known) float64 { return f().delta } }
	return Question{
		ID: "delta", Kind: judge.Measured, Marks: 4, Title: "How much does the Earth give way?",
		Prompt: fmt.Sprintf("`sheet.Recording(\"meter\")` is a gravity meter in the cellar of Skelmire College (54.6° north, 2.4° west, 140 m), every half hour for %d days from %s: `time` in s since the beginning of 1970 by the logger's clock, which was set to UTC when it was started; `reading` in $\\mathrm{m/s^2}$, downward positive, from an arbitrary zero; `pressure` in Pa. "+
			"Fit the tide of a rigid Earth, a drift, and the pressure. What gravimetric factor $\\delta$ do you find? Look at the residuals, and at the times: somewhere on the way the record parts from UTC.", tideDays, m.start.Format("2 January 2006")),
		Unit:  "1",
		Solve: from(m.right),
		U:     func() float64 { return m.right().uDelta },
		Slips: []Slip{
			{Name: "the logger's clock believed", Value: from(m.believed), Fix: "Look at the steps from time to time, and at the residuals after the odd one:\nwhat do clocks on the wall do at the end of March?"},
			{Name: "the hour put in the wrong way round", Value: from(m.reversed), Fix: "When the clock on the wall is put forward, UTC is *behind* it."},
			{Name: "the inverse", Value: func(Known) float64 { return 1 / m.right().delta }, Fix: "δ is the tide that is read over the tide of a rigid Earth."},
		},
		Range:     [2]float64{1.14, 1.18},
		Hints:     [2]string{"Plot what the fit leaves over against time. From when on is there a tide left in it?", "Put the clock right, then fit reading = −δ·tide + offset + drift·t + c·pressure: fit.Curve gives value and uncertainty."},
		Worked:    "%%\n" + m.code() + "sheet.Measured(\"delta\", r.P[0], r.U[0], \"1\")",
		Reasoning: "With the clock put right the residuals are as quiet as the noise, and $\\delta$ is known to a part in a thousand. With an hour of error in half of the record the tide does not fit there: the residuals grow tenfold and $\\delta$ comes out some per cent too small, with an uncertainty that does not say so.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording; noise, clock and weather are not in the fitted model. The tide is that of package earth, checked against another library's ephemeris"},
	}
}

func (m tideMeter) driftQuestion() Question {
	return Question{
		ID: "drift", Kind: judge.Measured, Marks: 2, Title: "The drift of the meter",
		Prompt: "From the same fit: how fast does the reading of the meter drift, with its sign?",
		Unit:   "nm/(s² d)",
		Solve:  func(Known) float64 { return m.right().drift },
		U:      func() float64 { return m.right().uDrift },
		Slips: []Slip{
			{Name: "the whole change given for that of a day", Value: func(Known) float64 { return m.right().drift * tideDays }, Fix: "A drift is a change for each day: divide by the length of the record."},
			{Name: "last reading less first", Value: func(Known) float64 {
				x := m.data()
				last := len(x.utc) - 1
				return m.unlike((x.reading[last]-x.reading[0])/(x.utc[last]-x.utc[0]), m.right().drift, m.right().drift*tideDays)
			}, Fix: "First and last reading stand at unlike phases of the tide: take the drift from the fit."},
		},
		Range:     [2]float64{-65 * nmPerDay, 65 * nmPerDay},
		Hints:     [2]string{"It is one of the four numbers of the fit.", "The coefficient of the time, in nm/s² for each day, and its uncertainty from the same fit."},
		Worked:    "%%\n" + m.code() + "sheet.Measured(\"drift\", r.P[2], r.U[2], \"nm/(s² d)\")",
		Reasoning: "A spring creeps, and the reading with it: some tens of nm/s² a day. Over sixteen days that is as much as the tide, but it goes one way, and the tide comes back. Over two hours of a survey the two look the same: that is why a survey goes back to its base, and takes out the tide *before* it looks for the drift.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
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

func (m tideMeter) pressureQuestion() Question {
	// A layer of air: 2 pi G times its mass per area, which is the pressure over g.
	slab := -2 * math.Pi * gravlab.G / 9.81
	return Question{
		ID: "pressure", Kind: judge.Measured, Marks: 2, Title: "The weight of the air",
		Prompt: "And from the same fit: by how much does the reading change for each hPa of air pressure? Mind the sign.",
		Unit:   "nm/(s² hPa)",
		Solve:  func(Known) float64 { return m.right().pressure },
		U:      func() float64 { return m.right().uPressure },
		Slips: []Slip{
			{Name: "computed for an endless layer of air", Value: func(Known) float64 { return slab }, Fix: "Take it from the recording: the ground gives way under the air, and the air is not a thin layer."},
			{Name: "for each kPa", Value: func(Known) float64 { return 10 * m.right().pressure }, Fix: "1 hPa is 100 Pa, 1 kPa is 1000 Pa."},
		},
		Range:     [2]float64{-3.7 * nmPerHPa, -2.3 * nmPerHPa},
		Hints:     [2]string{"The coefficient of the pressure in the fit. Does more air above the meter pull it up or down?", "The fourth number of the fit, per hPa, with its uncertainty from the same fit."},
		Worked:    "%%\n" + m.code() + "sheet.Measured(\"pressure\", r.P[3], r.U[3], \"nm/(s² hPa)\")",
		Reasoning: "More air above pulls *up*, so the reading falls: an endless thin layer would give $-2\\pi G/g = -4.3\\ \\mathrm{nm/s^2}$ for each hPa. The real air is thick and ends at the horizon ($-3.6$), and the ground sinks under the load, which brings the meter nearer to the centre: about $-3$ is left.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording; about −3 nm/s² per hPa is common practice too"},
	}
}
