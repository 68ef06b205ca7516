package lab15

import (
	"math"
	"slices"
	"testing"

	"gravity.example/gravlab"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/bank/banktest"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

func TestLab(t *testing.T) { banktest.Check(t, Lab) }

// An analysis that has not seen the trap of its recording is never right.
func TestTraps(t *testing.T) {
	banktest.Bites(t, Lab, "drop-g", "lost-kept")
	banktest.Bites(t, Lab, "equal", "miscount-kept")
	banktest.Bites(t, Lab, "kater-g", "amplitude-ignored")
	banktest.Bites(t, Lab, "kater-g", "buoyancy-added")
}

// What the lab teaches of uncertainties is named where it is forgotten.
func TestNaiveUncertainties(t *testing.T) { banktest.NamesU(t, Lab, "drop-g", "equal", "kater-g") }

// Sound analyses that are not the judge's own get full marks: the spoilt drop and
// the miscounted swings are mended instead of left out, and only the miscounted
// point of one edge is touched. And the true gravity lies within the judge's
// uncertainty as often as it should.
func TestSoundMethods(t *testing.T) {
	sheets, full, asked := 0, 0, 0
	var within, within2 [2]int
	for n := range banktest.Sheets() {
		code := bank.NumberedCode(Lab.ID, n)
		s := Lab.Sheet(code)
		sheets++
		judged := func(id string, value, u float64, earlier bank.Answers) {
			q, _ := s.Question(id)
			asked++
			v := s.Judge(q, judge.Answer{Value: value, U: u, Unit: q.Unit}, earlier, 0)
			if v.Marks == q.Marks {
				full++
			} else {
				t.Logf("15/%s on sheet %s: %g ± %g is %s: %s", id, code, value, u, v.Outcome, v.Message)
			}
		}
		drops, turned := drawDrops(Lab.Draw(code)), drawTurned(Lab.Draw(code))

		// Each drop from the reading after the loss on counts what was missed.
		rows := drops.make()
		var g []float64
		for k := range dropCount {
			at, fringe := rows[2][k*readings:(k+1)*readings], slices.Clone(rows[1][k*readings:(k+1)*readings])
			best := fitDrop(at, fringe, wavelength, pierGradient)
			for from := 1; k+1 == drops.lost && from < readings; from++ {
				for missed := 1.0; missed <= 6; missed++ {
					mended := slices.Clone(fringe)
					for i := from; i < readings; i++ {
						mended[i] += missed
					}
					if f := fitDrop(at, mended, wavelength, pierGradient); f.U[2] < best.U[2] {
						best = f
					}
				}
			}
			g = append(g, best.P[2])
		}
		inputs, _, err := quantity.Repeated(g)
		m := gravlab.Must(inputs, err)[0]
		judged("drop-g", m.Value, m.U, nil)

		rows = turned.make()
		column := 1
		if rows[2][turned.odd] > 21.2 {
			column = 2
		}
		mended := slices.Clone(rows[column])
		mended[turned.odd] *= 10.0 / 11
		both := rows
		both[column] = mended
		p := equalPeriods(both[0], both[1], both[2])
		judged("equal", p[0], p[1], nil)
		mean := (turned.amplitude + turned.last) / 2
		period := p[0] / (1 + mean*mean/16)
		gk := 4 * math.Pi * math.Pi * turned.edges / (period * period)
		judged("kater-g", gk, gk*math.Hypot(uEdges/turned.edges, 2*p[1]/p[0]), nil)

		right := s.RightAnswers()
		for i, truth := range []float64{drops.g, turned.g} {
			q, _ := s.Question([]string{"drop-g", "kater-g"}[i])
			off := math.Abs(q.Solve(right)-truth) / q.U()
			if off <= 1 {
				within[i]++
			}
			if off <= 2 {
				within2[i]++
			}
		}
	}
	t.Logf("%d of %d sound answers have full marks; of %d sheets the truth is within u and 2u on %v and %v (drops, pendulum)", full, asked, sheets, within, within2)
	// Two of 20 sheets may have an uncertainty by luck as a mistake would give it.
	if asked-full > max(2, asked/100) {
		t.Errorf("%d of %d sound answers have full marks", full, asked)
	}
	for i := range within {
		// Student's t of 23 and of some 10 degrees of freedom: 67 and 94 %. The count may be
		// off by five of its standard deviations.
		for _, c := range []struct{ got, want float64 }{{float64(within[i]), 0.67}, {float64(within2[i]), 0.94}} {
			if n := float64(sheets); math.Abs(c.got-c.want*n) > 5*math.Sqrt(c.want*(1-c.want)*n) {
				t.Errorf("the truth lies within on %.0f of %d sheets, %.0f %% expected", c.got, sheets, 100*c.want)
			}
		}
	}
}
