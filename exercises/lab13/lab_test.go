package lab13

import (
	"math"
	"testing"

	"gravity.example/gravlab/bank/banktest"
)

func TestLab(t *testing.T) { banktest.Check(t, Lab) }

// An analysis that has not seen the trap of the recording is never right.
func TestTraps(t *testing.T) {
	banktest.Shows(t, Lab, "storage", "pump-days-kept")
}

// Months taken as independent are named on every sheet, and the whole of a record
// with its spoiled months too.
func TestNaiveUncertainties(t *testing.T) { banktest.NamesU(t, Lab, "rate", "acceleration") }

// A slow swing of 50 Gt makes several Gt/a² with the lab's model and record.
func TestSlowSwing(t *testing.T) {
	for period, want := range map[float64]float64{12: 7, 20: 4} {
		most := 0.0
		for phase := range 36 {
			var at, mass []float64
			for m := range 132 {
				years := (float64(m) + 0.5) / 12
				at, mass = append(at, years), append(mass, 50*math.Cos(2*math.Pi*years/period+float64(phase)*math.Pi/18))
			}
			model := waterModel
			model.Year = 1
			trend, err := model.Fit(at, mass)
			if err != nil {
				t.Fatal(err)
			}
			most = max(most, math.Abs(trend.Acceleration.Value))
		}
		if math.Abs(most-want) > 0.5 {
			t.Errorf("a swing of 50 Gt in %g years makes up to %.1f Gt/a², want about %g", period, most, want)
		}
	}
}
