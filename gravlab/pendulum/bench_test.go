package pendulum_test

import (
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/pendulum"
)

// minute is 60 s in steps of 0.1 s.
func minute() []float64 {
	t := make([]float64, 601)
	for i := range t {
		t[i] = 0.1 * float64(i)
	}
	return t
}

func BenchmarkIntegrate(b *testing.B) {
	p := swing
	p.Amplitude = 1
	t := minute()
	for b.Loop() {
		if _, _, err := p.Integrate(t, 1e-9); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAngleClosedForm(b *testing.B) {
	p := swing
	p.Amplitude = 1
	t := minute()
	for b.Loop() {
		if _, err := p.Angle(t); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMotionAt(b *testing.B) {
	m, err := swing.Motion()
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		m.At(1.234)
	}
}

func BenchmarkPullSphere(b *testing.B) {
	s := pendulum.Station{At: r3.Vec{Z: 2.7}, Axis: r3.Vec{Z: 1}}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := swing.Pull(0.1, s); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPullBox(b *testing.B) {
	p := swing
	p.Bob = pendulum.Bob{Shape: pendulum.Box, Mass: 18, Along: 0.12, Across: 0.2, Height: 0.1}
	s := pendulum.Station{At: r3.Vec{Z: 2.7}, Axis: r3.Vec{Z: 1}}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := p.Pull(0.1, s); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDetect(b *testing.B) {
	e, a := laboratory(18)
	r, err := e.Record(rand.New(rand.NewPCG(1, 1)))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := a.Detect(r); err != nil {
			b.Fatal(err)
		}
	}
}
