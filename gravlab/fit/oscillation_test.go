package fit

import (
	"math"
	"math/rand/v2"
	"testing"
)

func oscillationRecord(p []float64, dt float64, n int, sigma float64, seed uint64) (t, y []float64) {
	rng := rand.New(rand.NewPCG(seed, 0))
	t, y = make([]float64, n), make([]float64, n)
	for i := range t {
		t[i] = float64(i) * dt
		y[i] = p[0]*math.Exp(-t[i]/p[1])*math.Cos(2*math.Pi*t[i]/p[2]-p[3]) + p[4] + sigma*rng.NormFloat64()
		if len(p) > 5 {
			y[i] += p[5] * t[i]
		}
	}
	return t, y
}

func BenchmarkDampedOscillation(b *testing.B) {
	t, y := oscillationRecord([]float64{1.3, 400, 33, 0.7, 0.2}, 0.1, 10000, 0.02, 1)
	sigma := make([]float64, len(t))
	for i := range sigma {
		sigma[i] = 0.02
	}
	for b.Loop() {
		r, err := DampedOscillation(t, y, sigma)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(r.Iterations), "iterations")
	}
}

func TestOscillationManyShapes(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	bad := 0
	for trial := range 2000 {
		turns := math.Exp(rng.Float64()*math.Log(2000)) * 0.7
		n := 60 + rng.IntN(3000)
		if float64(n) < 2.5*turns {
			continue
		}
		L := 100.0
		T := L / turns
		tau := L / (math.Exp(rng.Float64()*math.Log(200)) * 0.1)
		if tau < T/3 {
			continue
		}
		p := []float64{1, tau, T, rng.Float64()*6.28 - 3.14, rng.NormFloat64() * 3}
		if trial%2 == 0 {
			p = append(p, 0.01*rng.NormFloat64())
		}
		ts, y := oscillationRecord(p, L/float64(n-1), n, 0.01, uint64(trial))
		f := DampedOscillation
		if len(p) > 5 {
			f = DampedOscillationDrift
		}
		r, err := f(ts, y, nil)
		if err != nil || math.Abs(r.P[Period]-T) > 6*r.U[Period] || math.Sqrt(r.ReducedChi2()) > 0.015 {
			bad++
			if bad < 30 {
				t.Logf("turns %.3g tau/L %.3g n %d T %.4g: %v %v %v", turns, tau/L, n, T, p, err, r)
			}
		}
	}
	t.Log(bad)
}
