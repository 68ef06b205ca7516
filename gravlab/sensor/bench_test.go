package sensor_test

import (
	"math/rand/v2"
	"testing"

	"gravity.example/gravlab"
	"gravity.example/gravlab/sensor"
)

func BenchmarkResponse(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := spring.Response(1.3); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkBudgetAcceleration(b *testing.B) {
	budget := sensor.Budget{Suspension: spring, Sources: []sensor.Noise{
		gravlab.Must(spring.ThermalNoise()), gravlab.Must(spring.ReadoutNoise(2e-13)), gravlab.Must(sensor.White("white", 1e-10)),
	}}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := budget.Acceleration(1.3); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkThermalRecord(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	for b.Loop() {
		if _, err := spring.ThermalRecord(rng, 10_000, 0.01); err != nil {
			b.Fatal(err)
		}
	}
}
