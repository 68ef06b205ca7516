package apparatus

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gravity.example/gravlab/fit"
)

// TestFitWindow: at 200 windows the numbers are those of package fit on the same readings, and the
// model that is drawn leaves what is said to be left.
func TestFitWindow(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 7))
	var times, y []float64
	for i := range 400 {
		s := 10 * float64(i)
		times = append(times, s)
		y = append(y, 3+8*math.Exp(-s/2500)*math.Cos(2*math.Pi*s/600)+1e-4*s+0.05*rng.NormFloat64())
	}
	for range 200 {
		from := 1500 * rng.Float64()
		to := from + 900 + 1500*rng.Float64()
		w, err := FitWindow(times, y, from, to, true, "mrad")
		if err != nil {
			t.Fatal(err)
		}
		var in, readings []float64
		for i := range times {
			if times[i] >= from && times[i] <= to {
				in, readings = append(in, times[i]), append(readings, y[i])
			}
		}
		r, err := fit.DampedOscillationDrift(in, readings, nil)
		if err != nil {
			t.Fatal(err)
		}
		for id, want := range map[string]float64{"readings": float64(len(in)), "period": r.P[fit.Period], "tau": r.P[fit.DecayTime], "rest": r.P[fit.Offset], "drift": r.P[fit.Drift]} {
			for _, n := range w.Numbers {
				if n.ID == id && n.Value != want {
					t.Errorf("%s is %g, want %g", id, n.Value, want)
				}
			}
		}
		// The model is drawn on other times; at its first it is the reading less what is left.
		if got, want := w.Model[0], readings[0]-w.Left[0]; math.Abs(got-want) > 1e-9*math.Abs(want) {
			t.Errorf("the model begins at %g, and reading minus rest is %g", got, want)
		}
		if math.Abs(w.Times[0]-in[0]) > 1e-9 || w.Times[len(w.Times)-1] != in[len(in)-1] {
			t.Errorf("the model is drawn from %g to %g, the window is from %g to %g", w.Times[0], w.Times[len(w.Times)-1], in[0], in[len(in)-1])
		}
	}
	if _, err := FitWindow(times, y, 0, 50, true, "mrad"); err == nil || !strings.Contains(err.Error(), "needs 12") {
		t.Errorf("a window of six readings: %v", err)
	}
}

func BenchmarkFitWindow(b *testing.B) {
	var times, y []float64
	for i := range 600 {
		s := 10 * float64(i)
		times, y = append(times, s), append(y, 8*math.Exp(-s/2500)*math.Cos(2*math.Pi*s/600))
	}
	for b.Loop() {
		if _, err := FitWindow(times, y, 100, 5500, true, "mrad"); err != nil {
			b.Fatal(err)
		}
	}
}
