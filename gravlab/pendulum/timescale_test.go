package pendulum_test

import (
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/pendulum"
)

// passing is the setting of lab 06: a ball of 16 kg for 1600 s over a vertical
// sensor 0.47 m below it, in a quiet cellar.
func passing() (pendulum.Experiment, pendulum.Analysis) {
	p := pendulum.Pendulum{Bob: pendulum.Bob{Shape: pendulum.Sphere, Mass: 16, Radius: 0.075}, Length: 2.08, Gravity: 9.81, Amplitude: 18.5 * math.Pi / 180}
	s := pendulum.Station{At: r3.Vec{Z: p.Length + 0.47}, Axis: r3.Vec{Z: 1}}
	low := pendulum.LowNoise.PowerDensity()
	e := pendulum.Experiment{
		Pendulum: p, Station: s, Rate: 4, Quiet: 400, Swing: 1600,
		Ground:   func(f float64) float64 { return 100 * low(f) },
		OwnNoise: 0.8e-9, ReferenceNoise: 0.4e-9, Gain: 0.97,
	}
	p.Bob.Mass = 1
	return e, pendulum.Analysis{Pendulum: p, Station: s, Lags: 2, Order: 8}
}

// records is how many recordings a test of coverage makes.
func records() int {
	if os.Getenv("GRAVLAB_LONG") != "" {
		return 1000
	}
	return 40
}

// lengthen takes the pendulum for longer than it is; the distance from the ball at
// rest to the sensor is measured for itself.
func lengthen(a *pendulum.Analysis, by float64) {
	a.Pendulum.Length += by
	a.Station.At.Z += by
}

// A period that is wrong within the stated uncertainties is counted: 95 %
// intervals hold the mass as often as they say (exact binomial limits, 0.05 % left
// on each side), and hardly any record has a remark.
func TestWrongPeriodIsCounted(t *testing.T) {
	if testing.Short() {
		t.Skip("hundreds of recordings")
	}
	for _, c := range []struct {
		name string
		set  func(a *pendulum.Analysis, rng *rand.Rand)
	}{
		{"exact", func(a *pendulum.Analysis, _ *rand.Rand) { a.ULength = 1e-3 }},
		{"length off by 1 mm", func(a *pendulum.Analysis, _ *rand.Rand) {
			a.ULength = 1e-3
			lengthen(a, 1e-3)
		}},
		{"length off by 2 mm", func(a *pendulum.Analysis, _ *rand.Rand) {
			a.ULength = 2e-3
			lengthen(a, -2e-3)
		}},
		{"amplitude off by 3 mrad", func(a *pendulum.Analysis, _ *rand.Rand) {
			a.ULength, a.UAmplitude = 1e-3, 3e-3
			a.Pendulum.Amplitude += 3e-3
		}},
		{"all off, as stated", func(a *pendulum.Analysis, rng *rand.Rand) {
			a.ULength, a.UAmplitude, a.UPlace = 1e-3, 3e-3, 4e-3
			lengthen(a, 1e-3*rng.NormFloat64())
			a.Pendulum.Amplitude += 3e-3 * rng.NormFloat64()
			a.Station.At.Z += 4e-3 * rng.NormFloat64()
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			n := records()
			inside, remarks, sum, u := 0, 0, 0.0, 0.0
			for i := range n {
				e, a := passing()
				rng := rand.New(rand.NewPCG(uint64(i), 601))
				r, err := e.Record(rng)
				if err != nil {
					t.Fatal(err)
				}
				c.set(&a, rng)
				d, err := a.Detect(r)
				if err != nil {
					t.Fatal(err)
				}
				if math.Abs(d.Mass-16) <= 1.959964*d.U {
					inside++
				}
				if len(d.Remarks) > 0 {
					remarks++
				}
				sum += d.Mass / float64(n)
				u += d.U / float64(n)
			}
			lo, hi := binomialLimits(n, 0.95, 5e-4)
			t.Logf("%d of %d intervals hold the mass (%d to %d); mean %.3f, U %.3f kg; %d with a remark", inside, n, lo, hi, sum, u, remarks)
			if inside < lo || inside > hi {
				t.Errorf("%d of %d intervals hold the mass, want %d to %d", inside, n, lo, hi)
			}
			if _, most := binomialLimits(n, 0.002, 5e-4); remarks > most {
				t.Errorf("%d of %d records have a remark, want at most %d", remarks, n, most)
			}
		})
	}
}

// A period that is taken for exact and is wrong is told, in every record in which
// it matters; one that is right is told of as seldom as noise does it.
func TestWrongPeriodIsTold(t *testing.T) {
	n := max(records()/5, 20)
	for _, c := range []struct {
		name string
		off  func(a *pendulum.Analysis)
		told bool
	}{
		{"exact", func(*pendulum.Analysis) {}, false},
		{"place off by 4 mm", func(a *pendulum.Analysis) { a.Station.At.Z += 4e-3 }, false},
		{"amplitude off, length adjusted", func(a *pendulum.Analysis) {
			before, _ := a.Pendulum.Period()
			a.Pendulum.Amplitude += 3e-3
			for range 5 {
				now, _ := a.Pendulum.Period()
				a.Pendulum.Length *= (before / now) * (before / now)
			}
		}, false},
		{"length off by 1 mm", func(a *pendulum.Analysis) { lengthen(a, 1e-3) }, true},
		{"length off by 2 mm", func(a *pendulum.Analysis) { lengthen(a, -2e-3) }, true},
		{"length off by 4 mm", func(a *pendulum.Analysis) { lengthen(a, 4e-3) }, true},
		{"amplitude off by 3 mrad", func(a *pendulum.Analysis) { a.Pendulum.Amplitude -= 3e-3 }, true},
		{"release off by 1 s", nil, true},
	} {
		remarks := 0
		for i := range n {
			e, a := passing()
			r, err := e.Record(rand.New(rand.NewPCG(uint64(i), 602)))
			if err != nil {
				t.Fatal(err)
			}
			a.UPlace, a.UAmplitude = 4e-3, 3e-3
			if c.off == nil {
				r.Release += 4
			} else {
				c.off(&a)
			}
			d, err := a.Detect(r)
			if err != nil {
				t.Fatal(err)
			}
			if len(d.Remarks) > 0 {
				remarks++
				if !strings.Contains(d.Remarks[0], "out of step") {
					t.Errorf("%s: %q", c.name, d.Remarks[0])
				}
			}
		}
		if _, most := binomialLimits(n, 0.001, 5e-4); c.told && remarks < n || !c.told && remarks > most {
			t.Errorf("%s: %d of %d records have a remark", c.name, remarks, n)
		}
	}
}
