package lab04

import (
	"math"
	"testing"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/signal"
)

// TestWorkShows: on every sheet of lab 04 the whole night gives no answer that
// the judge accepts, the default segments of a quiet stretch do, and the density
// that made the record comes out.
func TestWorkShows(t *testing.T) {
	const most = judge.CredibleFactor * judge.CoverageFactor
	for n := range 60 {
		code := bank.NumberedCode(Lab.ID, n)
		d := Lab.Draw(code)
		night := drawNight(d)
		quiet, whole := night.quiet(), night.whole()
		if math.Abs(whole.white-quiet.white) <= most*quiet.uWhite || math.Abs(whole.floor-quiet.floor) <= most*quiet.uFloor {
			t.Errorf("sheet %s: quiet %+v, whole %+v", code, quiet, whole)
		}
		// White and flicker noise averaged in power from 0.2 to 0.4 Hz.
		white, corner := d.Between("night white", 20, 60, 2)*1e-9, d.Between("night corner", 0.01, 0.02, 0.001)
		made := white * math.Sqrt(1+corner*math.Ln2/(nightBandHi-nightBandLo))
		if math.Abs(quiet.white-made) > 5*quiet.uWhite {
			t.Errorf("sheet %s: density %g(%g), made with %g", code, quiet.white, quiet.uWhite, made)
		}
		p := Lab.Sheet(code)
		q, _ := p.Question("white")
		rec, _ := p.Recording("night")
		columns, err := rec.Make()
		if err != nil {
			t.Fatal(err)
		}
		s := gravlab.Must(signal.Welch{}.PSD(columns[1][:6500], 1))
		a := gravlab.Must(s.RMS(0.2, 0.4)) / math.Sqrt(0.2)
		v := p.Judge(q, judge.Answer{Value: a, U: a / 2 / math.Sqrt(0.2*6500), Unit: "m/s²/√Hz"}, nil, 0)
		if v.Outcome != judge.OutcomeRight || v.Marks != q.Marks {
			t.Errorf("sheet %s: %g is %s: %s", code, a, v.Outcome, v.Message)
		}
	}
}
