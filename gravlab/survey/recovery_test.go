package survey

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func TestFitRecovery(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	amplitude, time, total := 0, 0, 1000
	for range total {
		var x, y []float64
		for i := range 40 {
			since := 20 + 20*float64(i)
			x = append(x, since)
			y = append(y, 0.0417+12e-8*math.Exp(-since/140)+4e-9*rng.NormFloat64())
		}
		r, err := FitRecovery(x, y, 4e-9)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(r.Amplitude-12e-8) < 1.959964*r.UAmplitude {
			amplitude++
		}
		if math.Abs(r.Time-140) < 1.959964*r.UTime {
			time++
		}
		if math.Abs(r.Level-0.0417) > 5*r.ULevel {
			t.Fatalf("level off by %g, u %g", r.Level-0.0417, r.ULevel)
		}
	}
	binomial(t, "amplitude", amplitude, total)
	binomial(t, "time", time, total)
	if _, err := FitRecovery([]float64{0, 60, 120, 180, 240, 300}, []float64{1, 1, 1, 1, 1, 1}, 1e-8); err == nil {
		t.Error("a recovery found in equal readings")
	}
}

func TestFitRecoveryNoPanic(t *testing.T) {
	number := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{0, 1, 60, 120, math.NaN(), math.Inf(1), 1e308, 5e-324}))
	rapid.Check(t, func(t *rapid.T) {
		x, y := rapid.SliceOfN(number, 0, 8).Draw(t, "x"), rapid.SliceOfN(number, 0, 8).Draw(t, "y")
		if rapid.Bool().Draw(t, "regular") {
			x = x[:0]
			for i := range y {
				x = append(x, 60*float64(i))
			}
		}
		_, _ = FitRecovery(x, y, number.Draw(t, "u"))
	})
}
