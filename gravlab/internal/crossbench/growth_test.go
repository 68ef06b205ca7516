package crossbench

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/buried"
	"gravity.example/gravlab/earth"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/mcmc"
	"gravity.example/gravlab/quantity"
	"gravity.example/gravlab/signal"
	"gravity.example/gravlab/survey"
)

// A growth is one thing that people do with much: make prepares it for a size, and what it
// returns is timed.
type growth struct {
	name, size string
	sizes      [3]int
	make       func(n int) func() error
}

func growths() []growth {
	rng := func() *rand.Rand { return rand.New(rand.NewPCG(7, 7)) }
	line := func(n int) []r3.Vec { return gravlab.Must(buried.Line(n, 200/float64(n-1))) }
	rocks := func(n int) buried.Rocks {
		box := buried.Rubble{Min: r3.Vec{X: -50, Y: -50, Z: 1}, Max: r3.Vec{X: 50, Y: 50, Z: 6}, Number: float64(n) / 5e4, Smallest: 0.1, Largest: 0.3, Contrast: 600}
		return gravlab.Must(box.Scatter(rng()))
	}
	clutter := buried.Clutter{Number: 0.5, Mass: 20, Top: 1, Bottom: 8}
	tunnel := buried.InfiniteCylinder{Z: 5, Radius: 0.9, Contrast: -1900}
	snr := func(p buried.Plan) func() error {
		return func() error { _, err := p.SNR(tunnel); return err }
	}
	noise := func(n int) []float64 { return gravlab.Must(signal.WhiteNoise(rng(), n, 100, 1)) }
	day := func(n, stations int) []survey.Reduced {
		start, r := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC), rng()
		readings := make([]survey.Reduced, n)
		for i := range readings {
			name := fmt.Sprint(i % stations)
			readings[i] = survey.Reduced{Reading: survey.Reading{Station: name, Time: start.Add(time.Duration(i) * time.Minute)}, Value: 1e-8 * r.NormFloat64(), UValue: 1e-8}
		}
		return readings
	}
	ground := func(n int) survey.Terrain {
		side := int(math.Sqrt(float64(n)))
		t := survey.Terrain{Cell: 10, Density: 2670, Apart: 500}
		r := rng()
		for range side {
			row := make([]float64, side)
			for j := range row {
				row[j] = 300 * r.Float64()
			}
			t.Heights = append(t.Heights, row)
		}
		return t
	}
	return []growth{
		{"rocks, 100 stations", "rocks", [3]int{1_000, 10_000, 100_000}, func(n int) func() error {
			r, at := rocks(n), line(100)
			return func() error { _, err := buried.GZAt(r, at); return err }
		}},
		{"stations over 100 rocks", "stations", [3]int{1_000, 10_000, 100_000}, func(n int) func() error {
			r, at := rocks(100), line(n)
			return func() error { _, err := buried.GZAt(r, at); return err }
		}},
		{"terrain correction of a station", "cells", [3]int{160_000, 1_000_000, 9_000_000}, func(n int) func() error {
			t := ground(n)
			half := t.Cell * float64(len(t.Heights)-1) / 2
			return func() error { _, _, err := t.Correction(half, half, 100, 30, half-1); return err }
		}},
		{"inversion for two bodies", "stations", [3]int{50, 200, 800}, func(n int) func() error {
			at := line(n)
			gz := gravlab.Must(buried.Instrument{Noise: 1e-8}.Readings(rng(), buried.Sum{tunnel, buried.InfiniteCylinder{X: 30, Z: 8, Radius: 1, Contrast: -1900}}, at))
			return func() error {
				_, err := buried.Invert(buried.Anomaly{Stations: at, GZ: gz}, []buried.Shape{buried.LineShape, buried.LineShape}, nil)
				return err
			}
		}},
		{"plan in drift", "stations", [3]int{300, 1_200, 4_800}, func(n int) func() error {
			return snr(buried.Plan{Stations: line(n), Noise: 4e-7, Drift: 1e-9})
		}},
		{"plan in clutter, even line", "stations", [3]int{300, 1_200, 4_800}, func(n int) func() error {
			return snr(buried.Plan{Stations: line(n), Noise: 4e-7, Clutter: &clutter})
		}},
		{"plan in clutter, scattered", "stations", [3]int{300, 1_200, 4_800}, func(n int) func() error {
			at, r := line(n), rng()
			for i := range at {
				at[i].Y = 20 * r.Float64()
			}
			return snr(buried.Plan{Stations: at, Noise: 4e-7, Clutter: &clutter})
		}},
		{"adjustment, two readings per station", "readings", [3]int{100, 300, 900}, func(n int) func() error {
			readings := day(n, n/2)
			return func() error { _, err := survey.Adjust(readings, nil, survey.Drift{Degree: 1}); return err }
		}},
		{"search for a tare", "readings", [3]int{100, 300, 900}, func(n int) func() error {
			readings := day(n, n/2)
			return func() error { _, err := survey.FindTare(readings, nil, survey.Drift{Degree: 1}); return err }
		}},
		{"fit of a damped oscillation", "samples", [3]int{10_000, 40_000, 160_000}, func(n int) func() error {
			t, y := make([]float64, n), noise(n)
			for i := range t {
				t[i] = float64(i) * 1000 / float64(n)
				y[i] = 0.01*y[i] + 1.3*math.Exp(-t[i]/400)*math.Cos(2*math.Pi*t[i]/33-0.7)
			}
			return func() error { _, err := fit.DampedOscillation(t, y, nil); return err }
		}},
		{"Fourier transform of 2ᵏ", "samples", [3]int{1 << 14, 1 << 17, 1 << 20}, func(n int) func() error {
			x := noise(n)
			return func() error { _, err := signal.Welch{Segment: n}.PSD(x, 100); return err }
		}},
		{"Fourier transform of 2 × 3ᵏ", "samples", [3]int{13_122, 118_098, 1_062_882}, func(n int) func() error {
			x := noise(n)
			return func() error { _, err := signal.Welch{Segment: n}.PSD(x, 100); return err }
		}},
		{"spectrum by segments of 4,096", "samples", [3]int{100_000, 400_000, 1_600_000}, func(n int) func() error {
			x := noise(n)
			return func() error { _, err := signal.Welch{Segment: 4096}.PSD(x, 100); return err }
		}},
		{"Allan deviation", "samples", [3]int{100_000, 400_000, 1_600_000}, func(n int) func() error {
			x := noise(n)
			return func() error { _, err := signal.OverlappingAllan(x, n/10); return err }
		}},
		{"tide", "hours", [3]int{1_000, 4_000, 16_000}, func(n int) func() error {
			return func() error {
				_, err := earth.Site{Lat: 0.95, Height: 310}.TideSeries(time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC), time.Hour, n)
				return err
			}
		}},
		{"Monte Carlo", "trials", [3]int{100_000, 400_000, 1_600_000}, func(n int) func() error {
			inputs := []quantity.Input{{Name: "a", Value: 1, U: 0.1}, {Name: "b", Value: 3, U: 0.1}}
			return func() error {
				_, err := quantity.MonteCarlo(rng(), func(x []float64) float64 { return x[0] / x[1] }, inputs, nil, n)
				return err
			}
		}},
		{"sampler, 24 walkers", "steps", [3]int{2_000, 8_000, 32_000}, func(n int) func() error {
			density := func(p []float64) float64 { return -(p[0]*p[0] + p[1]*p[1] + p[2]*p[2]) / 2 }
			return func() error {
				r := rng()
				start, err := mcmc.InitialWalkers(r, density, []float64{0, 0, 0}, []float64{1, 1, 1}, 24)
				if err != nil {
					return err
				}
				_, err = mcmc.Sample(r, density, start, n, 0)
				return err
			}
		}},
	}
}

// BenchmarkGrowth gives the least processor time of some turns at the largest size, and the
// exponent with which it has grown since the middle one: 1 is in proportion. The sizes take
// turns, so that what else the machine does meets them alike.
func BenchmarkGrowth(b *testing.B) {
	for _, g := range growths() {
		b.Run(g.name, func(b *testing.B) {
			var do [len(g.sizes)]func() error
			for k, n := range g.sizes {
				do[k] = g.make(n)
			}
			least := [len(g.sizes)]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
			begin := time.Now()
			for turn := 0; turn < 3 || turn < 100 && time.Since(begin) < 4*time.Second; turn++ {
				for k := range do {
					start := processorTime()
					if err := do[k](); err != nil {
						b.Fatal(err)
					}
					least[k] = min(least[k], processorTime()-start)
				}
			}
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(least[2]*1e3, fmt.Sprintf("ms/%d_%s", g.sizes[2], g.size))
			b.ReportMetric(math.Log(least[2]/least[1])/math.Log(float64(g.sizes[2])/float64(g.sizes[1])), "exponent")
		})
	}
}
