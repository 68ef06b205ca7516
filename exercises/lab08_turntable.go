package exercises

import (
	"fmt"
	"math"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/equivalence"
	"gravity.example/gravlab/judge"
)

const (
	turnPeriod   = 2400.0  // s
	turnInterval = 60.0    // s
	turnReadings = 72 * 40 // 72 turns, two days
	pm           = 1e-12   // m/s² in 1 pm/s²
)

// A turntable is what a balance with two materials recorded on it: the reading
// and the tilt of the table. Materials fall alike here. What comes in step with
// the turning is the tilt, and somebody knocked the pier.
type turntable struct {
	latitude float64
	c, uC    float64 // m/s² per rad of tilt, as printed
	knock    float64 // s
	make     func() turnRecord
	reading  func() turnPart // of the part before the knock
	tilt     func() turnPart
	whole    func() float64 // sine part of everything, knock and all, m/s²
}

type turnRecord struct{ t, reading, tilt []float64 }

// turnPart is what a fit finds at one and two per turn.
type turnPart struct{ sine, cosine, twice, u float64 }

func drawTurntable(d *Draw, latitude float64) turntable {
	s := turntable{latitude: latitude, c: clean(d.Between("feedthrough", 0.16, 0.26, 0.01) * 1e-6), uC: 1e-8}
	// Half way through a turn a step looks most like a signal.
	s.knock = turnPeriod * (d.Between("knock turn", 42, 54, 1) + 0.5)
	quiet := sync.OnceValue(func() turnRecord { return s.record(d, 0) })
	n := int(s.knock / turnInterval)
	s.reading = sync.OnceValue(func() turnPart { r := quiet(); return fitTurn(r.t[:n], r.reading[:n]) })
	s.tilt = sync.OnceValue(func() turnPart { r := quiet(); return fitTurn(r.t[:n], r.tilt[:n]) })
	s.make = sync.OnceValue(func() turnRecord {
		// A knock must show in the result, and not by chance as another slip.
		before := s.reading()
		sign, size := d.Pick("knock sign", -1, 1), d.Between("knock size", 200, 260, 5)
		for _, step := range []float64{sign * size, -sign * size, sign * 320, -sign * 320} {
			r := s.record(d, step*pm)
			all := fitTurn(r.t, r.reading).sine
			far := true
			for _, v := range []float64{before.sine, math.Hypot(before.sine, before.cosine), before.twice} {
				far = far && math.Abs(all-v) > 2.5*judge.CoverageFactor*before.u
			}
			if far {
				return r
			}
		}
		panic(fmt.Sprintf("lab 08: no knock shows on sheet %s", d.Code()))
	})
	s.whole = sync.OnceValue(func() float64 { r := s.make(); return fitTurn(r.t, r.reading).sine })
	return s
}

// record makes the readings with a step of the offset at the knock, rounded to
// the last digits of balance and tiltmeter.
func (s turntable) record(d *Draw, step float64) (out turnRecord) {
	balance := equivalence.Turning{
		Drive: acrossPlumb(s.latitude), Eta: 0, Period: turnPeriod,
		Gradient: d.Between("gradient amplitude", 4.5, 8, 0.5) * pm,
		Offset:   d.Between("turn offset", -90, 90, 1) * pm,
		Drift:    d.Pick("turn drift sign", -1, 1) * d.Between("turn drift", 15, 40, 1) * pm / 86400,
		Noise:    1.2 * pm,
	}
	rng := d.Rand("turntable")
	var err error
	if out.t, out.reading, err = balance.Record(rng, turnReadings, turnInterval); err != nil {
		panic(err) // arguments from this file
	}
	amplitude := d.Between("tilt amplitude", 8, 12, 0.1) * 1e-6 // rad
	phase := d.Between("tilt phase", 0.85, 0.95, 0.01)
	offset, drift := d.Between("tilt offset", -20, 20, 1)*1e-6, d.Between("tilt drift", -3, 3, 0.5)*1e-6/86400
	// The feedthrough is what was printed, within its uncertainty.
	c := s.c + s.uC*math.Max(-2, math.Min(2, d.Rand("feedthrough error").NormFloat64()))
	for i, t := range out.t {
		turning := float64(amplitude * math.Sin(float64(2*math.Pi*t/turnPeriod)+phase))
		tilt := turning + offset + float64(drift*t)
		reading := out.reading[i] + float64(c*turning)
		if t >= s.knock {
			reading += step
		}
		tilt += float64(0.3e-6 * rng.NormFloat64())
		out.reading[i] = math.Round(reading*1e13) / 1e13
		out.tilt = append(out.tilt, math.Round(tilt*1e8)/1e8)
	}
	return out
}

func fitTurn(t, x []float64) turnPart {
	m := gravlab.Must(equivalence.FitModulation(t, x, turnPeriod, 2))
	return turnPart{sine: m.Sine[0], cosine: m.Cosine[0], twice: m.Sine[1], u: m.USine[0]}
}

func (s turntable) recording() Recording {
	return Recording{
		ID: "turntable", Title: "A balance with two materials on a turntable, two days",
		Columns: []Column{{Name: "time", Unit: "s"}, {Name: "reading", Unit: "m/s²"}, {Name: "tilt", Unit: "rad"}},
		Make:    func() ([][]float64, error) { r := s.make(); return [][]float64{r.t, r.reading, r.tilt}, nil },
	}
}

// code is how every worked answer about the recording starts.
func (s turntable) code() string {
	return fmt.Sprintf("rec := sheet.Recording(\"turntable\")\n// Somebody knocked the pier at %g s: what came before is sound.\nn := %d // readings before that\nt := rec.Column(\"time\")[:n]\n", s.knock, int(s.knock/turnInterval))
}

const (
	turnReadingCode = "reading := gravlab.Must(equivalence.FitModulation(t, rec.Column(\"reading\")[:n], 2400, 2))\n"
	turnTiltCode    = "tilt := gravlab.Must(equivalence.FitModulation(t, rec.Column(\"tilt\")[:n], 2400, 2))\n"
)

func (s turntable) turnQuestion() Question {
	return Question{
		ID: "turn", Kind: judge.Measured, Marks: 3, Title: "Once a turn, in your own recording",
		Prompt: "`sheet.Recording(\"turntable\")` holds two days of a balance with beryllium on one side and titanium on the other, on a table that turns once in 2400 s: `time` in s, `reading` in $\\mathrm{m/s^2}$ (the difference of the two accelerations that it pretends), and the `tilt` of the table in rad. The zero drifts, a cabinet nearby pulls twice a turn, and the days were not undisturbed. " +
			"What is the amplitude of the part in $\\sin(2\\pi t/T)$, once a turn, where a difference of the materials would be? Give it with its sign.",
		Unit:  "pm/s²",
		Solve: func(Known) float64 { return s.reading().sine },
		U:     func() float64 { return s.reading().u },
		Slips: []Slip{
			{Name: "the whole recording fitted", Value: func(Known) float64 { return s.whole() }, Fix: "Plot the readings: something happened to the offset. A step holds all frequencies,\nalso that of the turning."},
			{Name: "what comes twice a turn", Value: func(Known) float64 { return s.reading().twice }, Fix: "Twice a turn is the pull of the cabinet. A difference of the materials comes once a turn."},
			{Name: "sine and cosine together", Value: func(Known) float64 { return math.Hypot(s.reading().sine, s.reading().cosine) }, Fix: "A difference of the materials would be in step with the sine alone."},
		},
		Range:     [2]float64{0.5 * pm, 2.6 * pm},
		Hints:     [2]string{"Look at the plot of the readings first, and stop before whatever disturbed them.", "equivalence.FitModulation with two harmonics: Sine[0] and USine[0] are what is asked for."},
		Worked:    "%%\n" + s.code() + "// Two harmonics: without the second the pull of the cabinet would count as noise.\n" + turnReadingCode + "sheet.Measured(\"turn\", 1e12*reading.Sine[0], 1e12*reading.USine[0], \"pm/s²\")",
		Reasoning: "A step in the offset is not a drift: fitted across, it leaves something at every frequency, and at one per turn as well. Before the knock, offset, drift and two harmonics describe the readings, and the residuals are as quiet as the noise.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording; the tilt in it is not in the fitted model"},
	}
}

func (s turntable) leanQuestion() Question {
	return Question{
		ID: "lean", Kind: judge.Measured, Marks: 2, Title: "The table leans",
		Prompt: "No bearing is perfect: the table leans a little as it turns, and the floor under it too. From the `tilt` in the same part of the recording: what is the amplitude of the part of the tilt in $\\sin(2\\pi t/T)$, once a turn?",
		Unit:   "µrad",
		Solve:  func(Known) float64 { return s.tilt().sine },
		U:      func() float64 { return s.tilt().u },
		Slips: []Slip{
			{Name: "sine and cosine together", Value: func(Known) float64 { return math.Hypot(s.tilt().sine, s.tilt().cosine) }, Fix: "Only the part in step with the sine can pass for a difference of the materials."},
			{Name: "the cosine for the sine", Value: func(Known) float64 { return s.tilt().cosine }, Fix: "At t = 0 the wanted part is 0."},
			{Name: "from peak to peak", Value: func(Known) float64 { return 2 * s.tilt().sine }, Fix: "An amplitude is from zero to peak."},
		},
		Range:     [2]float64{4e-6, 9e-6},
		Hints:     [2]string{"The same fit as for the reading, with the other column.", "Sine[0] and USine[0] of the fit of the tilt."},
		Worked:    "%%\n" + s.code() + "// The tilt, fitted as the reading was.\n" + turnTiltCode + "sheet.Measured(\"lean\", 1e6*tilt.Sine[0], 1e6*tilt.USine[0], \"µrad\")",
		Reasoning: "The tilt comes once a turn, like the signal that is looked for. Only a measurement of the tilt itself can tell the two apart.",
		Source:    Source{Text: "common practice, no source: least squares on the sheet's own recording"},
	}
}

func (s turntable) etaQuestion() Question {
	eta := func(factor float64) func(Known) float64 {
		return func(k Known) float64 { return (k["turn"] - factor*s.c*k["lean"]) / k["drive"] }
	}
	return Question{
		ID: "eta", Kind: judge.Measured, Marks: 4, Title: "And η?", Uses: []string{"drive", "turn", "lean"},
		Prompt: fmt.Sprintf("To see what a tilt does, the table was leaned on purpose, by far more than it leans by itself: the reading changed by $%.2f(1)\\ \\mathrm{pm/s^2}$ for each µrad. Take the tilt out of your result. What Eötvös ratio $\\eta$ is left, with its standard uncertainty? The balance stands at %g°, and the sine is that of the direction of north.", s.c*1e6, s.latitude),
		Unit:   "1",
		Solve:  eta(1),
		U: func() float64 {
			return inQuadrature(s.reading().u, s.c*s.tilt().u, s.tilt().sine*s.uC) / acrossPlumb(s.latitude)
		},
		Slips: []Slip{
			{Name: "the tilt left in", Value: eta(0), Fix: "The tilt comes once a turn too: take from the reading what it makes of it."},
			{Name: "the tilt added", Value: eta(-1), Fix: "The reading holds the tilt's part already: it must be taken away."},
		},
		Range: [2]float64{-3e-11, 3e-11},
		Hints: [2]string{"Reading less (feedthrough × tilt), both the parts in the sine. Then divide by what drives the balance.", "Three terms in quadrature: u of the reading, feedthrough × u of the tilt, tilt × u of the feedthrough; all over the drive."},
		Worked: "%%\n" + s.code() + turnReadingCode + turnTiltCode + fmt.Sprintf("c, uc := %s, %s // m/s² per rad\ndrive := gravlab.Must(equivalence.EarthDrive(earth.GRS80, %s*math.Pi/180, 0))\n"+
			"// Take out what the tilt makes of the reading; its scale is uncertain as well.\nA, uA, lean, uLean := reading.Sine[0], reading.USine[0], tilt.Sine[0], tilt.USine[0]\nu := math.Sqrt(uA*uA + c*c*uLean*uLean + lean*lean*uc*uc)\nsheet.Measured(\"eta\", (A-c*lean)/drive, u/drive, \"1\")", lit(s.c), lit(s.uC), lit(s.latitude)),
		Reasoning: "What is left, $(A - c\\,\\vartheta)/a_\\perp$, is a number of a few $10^{-12}$ with an uncertainty of the same size: materials fall alike as far as this balance can tell. The uncertainty has a part from the noise, which more days make smaller, and a part from the feedthrough, which they do not.",
		Source:    Source{Text: "common practice, no source: the recording was made with η = 0, and with a feedthrough that differs from the printed one by about its uncertainty"},
	}
}
