package lab08

import (
	"fmt"
	"math"
	"sync"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
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
	c, uC    float64        // m/s² per rad of tilt, as printed
	knock    float64        // s
	side     func() float64 // 1 or -1: whether the true feedthrough is larger or smaller than the printed one
	make     func() turnRecord
	reading  func() turnPart // of the part before the knock
	tilt     func() turnPart
	whole    func() float64 // sine part of everything, knock and all, m/s²
}

type turnRecord struct{ t, reading, tilt []float64 }

// turnPart is what a fit finds at one and two per turn.
type turnPart struct{ sine, cosine, twice, u float64 }

func drawTurntable(d *bank.Draw, latitude float64) turntable {
	s := turntable{latitude: latitude, c: bank.Clean(d.Between("feedthrough", 0.16, 0.26, 0.01) * 1e-6), uC: 1e-8}
	// Half way through a turn a step looks most like a signal.
	s.knock = turnPeriod * (d.Between("knock turn", 42, 54, 1) + 0.5)
	n := int(s.knock / turnInterval)
	// The feedthrough errs to the side to which the noise does already. What the record
	// gives is then about as large as its uncertainty on every sheet, and never so near 0
	// that g in place of the drive, six hundred times too large, makes no difference.
	s.side = sync.OnceValue(func() float64 {
		r := s.record(d, 0, s.c)
		return math.Copysign(1, fitTurn(r.t[:n], r.reading[:n]).sine-s.c*fitTurn(r.t[:n], r.tilt[:n]).sine)
	})
	feedthrough := func() float64 { return s.c + s.side()*d.Between("feedthrough error", 0.95, 1.05, 0.05)*s.uC }
	quiet := sync.OnceValue(func() turnRecord { return s.record(d, 0, feedthrough()) })
	s.reading = sync.OnceValue(func() turnPart { r := quiet(); return fitTurn(r.t[:n], r.reading[:n]) })
	s.tilt = sync.OnceValue(func() turnPart { r := quiet(); return fitTurn(r.t[:n], r.tilt[:n]) })
	s.make = sync.OnceValue(func() turnRecord {
		// A knock must show in the result, and not by chance as another slip.
		before := s.reading()
		sign, size := d.Pick("knock sign", -1, 1), d.Between("knock size", 200, 260, 5)
		for _, step := range []float64{sign * size, -sign * size, sign * 320, -sign * 320} {
			r := s.record(d, step*pm, feedthrough())
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

// record makes the readings with a step of the offset at the knock and a true
// feedthrough c, rounded to the last digits of balance and tiltmeter.
func (s turntable) record(d *bank.Draw, step, c float64) (out turnRecord) {
	balance := equivalence.RotatingBalance{
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

func (s turntable) recording() bank.Recording {
	return bank.Recording{
		ID:      "turntable",
		Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "reading", Unit: "m/s²"}, {Name: "tilt", Unit: "rad"}},
		Make:    func() ([][]float64, error) { r := s.make(); return [][]float64{r.t, r.reading, r.tilt}, nil },
	}
}

func (s turntable) turnQuestion() bank.Question {
	return bank.Question{
		ID: "turn", Kind: judge.KindMeasured, Marks: 3, Unit: "pm/s²",
		Fields: bank.Fields{"knock": s.knock, "knockAt": int(s.knock / turnInterval)},
		Solve:  func(bank.Answers) float64 { return s.reading().sine },
		U:      func() float64 { return s.reading().u },
		Slips: []bank.Slip{
			{ID: "knock-kept", Value: func(bank.Answers) float64 { return s.whole() }},
			{ID: "second-harmonic", Value: func(bank.Answers) float64 { return s.reading().twice }},
			{ID: "both-phases", Value: func(bank.Answers) float64 { return math.Hypot(s.reading().sine, s.reading().cosine) }},
			{ID: "half", Value: func(bank.Answers) float64 { return s.reading().sine / 2 }},
			{ID: "rms", Value: func(bank.Answers) float64 { return s.reading().sine / math.Sqrt2 }},
			{ID: "peak-to-peak", Value: func(bank.Answers) float64 { return 2 * s.reading().sine }},
			{ID: "cosine-for-sine", Value: func(bank.Answers) float64 { return s.reading().cosine }},
		},
		Range: [2]float64{0.5 * pm, 2.6 * pm},
	}
}

func (s turntable) leanQuestion() bank.Question {
	return bank.Question{
		ID: "lean", Kind: judge.KindMeasured, Marks: 2, Unit: "µrad",
		Fields: bank.Fields{"knock": s.knock, "knockAt": int(s.knock / turnInterval)},
		Solve:  func(bank.Answers) float64 { return s.tilt().sine },
		U:      func() float64 { return s.tilt().u },
		Slips: []bank.Slip{
			{ID: "both-phases", Value: func(bank.Answers) float64 { return math.Hypot(s.tilt().sine, s.tilt().cosine) }},
			{ID: "cosine-for-sine", Value: func(bank.Answers) float64 { return s.tilt().cosine }},
			{ID: "peak-to-peak", Value: func(bank.Answers) float64 { return 2 * s.tilt().sine }},
			{ID: "half", Value: func(bank.Answers) float64 { return s.tilt().sine / 2 }},
			{ID: "rms", Value: func(bank.Answers) float64 { return s.tilt().sine / math.Sqrt2 }},
		},
		Range: [2]float64{4e-6, 9e-6},
	}
}

func (s turntable) etaQuestion() bank.Question {
	eta := func(factor float64) func(bank.Answers) float64 {
		return func(k bank.Answers) float64 { return (k["turn"] - factor*s.c*k["lean"]) / k["drive"] }
	}
	return bank.Question{
		ID: "eta", Kind: judge.KindMeasured, Marks: 4, Unit: "1", Tol: judge.Tolerance{Abs: 1e-12}, Uses: []string{"drive", "turn", "lean"},
		Fields: bank.Fields{
			"cSI": s.c * 1e6, "latitude": s.latitude, "knock": s.knock, "knockAt": int(s.knock / turnInterval),
			"c": s.c, "uC": s.uC,
		},
		Solve: eta(1),
		U: func() float64 {
			return inQuadrature(s.reading().u, s.c*s.tilt().u, s.tilt().sine*s.uC) / acrossPlumb(s.latitude)
		},
		Slips: []bank.Slip{
			{ID: "tilt-left-in", Value: eta(0)},
			{ID: "tilt-added", Value: eta(-1)},
			{ID: "g-for-drive", Value: func(k bank.Answers) float64 { return (k["turn"] - s.c*k["lean"]) / 9.81 }},
			{ID: "whole-tilt", Value: func(k bank.Answers) float64 {
				return (k["turn"] - s.c*math.Hypot(s.tilt().sine, s.tilt().cosine)) / k["drive"]
			}},
			{ID: "acceleration", Value: func(k bank.Answers) float64 { return k["turn"] - s.c*k["lean"] }},
			{ID: "expected", Value: bank.Always(0)},
		},
		USlips: []bank.Slip{
			{ID: "g-for-drive", Value: func(bank.Answers) float64 {
				return inQuadrature(s.reading().u, s.c*s.tilt().u, s.tilt().sine*s.uC) / 9.81
			}},
			{ID: "noise-alone", Value: func(bank.Answers) float64 { return s.reading().u / acrossPlumb(s.latitude) }},
		},
		Range: [2]float64{-3e-11, 3e-11},
	}
}
