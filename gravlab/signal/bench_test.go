package signal_test

import (
	"math/rand/v2"
	"testing"

	"gravity.example/gravlab"
	"gravity.example/gravlab/signal"
)

func noise(n int, seed uint64) []float64 {
	return gravlab.Must(signal.WhiteNoise(rand.New(rand.NewPCG(seed, 1)), n, 100, 1))
}

func BenchmarkPSD(b *testing.B) {
	x := noise(1_000_000, 1)
	w := signal.Welch{Segment: 4096}
	for b.Loop() {
		if _, err := w.PSD(x, 100); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPair(b *testing.B) {
	x, y := noise(1_000_000, 1), noise(1_000_000, 2)
	w := signal.Welch{Segment: 4096}
	for b.Loop() {
		if _, err := w.Pair(x, y, 100); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSubtract(b *testing.B) {
	x, y := noise(100_000, 1), noise(100_000, 2)
	for b.Loop() {
		if _, err := signal.CancelReference(x, y, 16, 50_000); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkOverlappingAllan(b *testing.B) {
	x := noise(100_000, 1)
	for b.Loop() {
		if _, err := signal.OverlappingAllan(x, 100); err != nil {
			b.Fatal(err)
		}
	}
}
