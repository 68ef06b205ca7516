package pendulum_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"gravity.example/gravlab/pendulum"
)

func number(t *rapid.T, name string) float64 {
	switch rapid.IntRange(0, 3).Draw(t, name+" kind") {
	case 0:
		return rapid.SampledFrom([]float64{0, math.Copysign(0, -1), 1, -1, math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, math.SmallestNonzeroFloat64, 1e-300, 1e150}).Draw(t, name)
	case 1, 2:
		return rapid.Float64Range(1e-6, 3).Draw(t, name)
	}
	return rapid.Float64().Draw(t, name)
}

// No argument whatever makes a function panic, and what has no error is a number.
func TestNoPanic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := make([]float64, 16)
		for i := range v {
			v[i] = number(t, string(rune('a'+i)))
		}
		n := rapid.SampledFrom([]int{math.MinInt, -1, 0, 1, 3, 101, math.MaxInt}).Draw(t, "n")
		p := pendulum.Pendulum{
			Bob:    pendulum.Bob{Shape: pendulum.Shape(rapid.IntRange(-1, 4).Draw(t, "shape")), Mass: v[0], Radius: v[1], Height: v[2], Along: v[3], Across: v[4]},
			Length: v[5], RodMass: v[6], RodLength: v[7], Gravity: v[8], Amplitude: v[9],
		}
		valid := p.Validate() == nil
		check := func(what string, err error, values ...float64) {
			for _, x := range values {
				if err == nil && (math.IsNaN(x) || math.IsInf(x, 0)) {
					t.Fatalf("%s is %v without an error", what, x)
				}
			}
			if err == nil && !valid {
				t.Fatalf("%s of an impossible pendulum has no error", what)
			}
		}
		x, err := p.Inertia()
		check("inertia", err, x)
		x, err = p.Period()
		weighs := p.Bob.Mass != 0 || p.RodMass != 0 // what only moves does without a mass
		if weighs {
			check("period", err, x)
		}
		x, err = p.LargestTension()
		check("tension", err, x)
		m, err := p.Motion()
		if weighs {
			check("motion", err)
		}
		if err == nil && weighs {
			theta, rate := m.At(v[10])
			if y := v[10]; math.Abs(y) < 1e6 {
				check("angle", nil, theta, rate)
			}
		}
		at := r3.Vec{X: v[10], Y: v[11], Z: v[12]}
		s := pendulum.Station{At: at, Axis: r3.Vec{X: v[13], Y: v[14], Z: v[15]}}
		g, e, err := p.Attraction(v[10], at)
		check("attraction", err, g.X, g.Y, g.Z, e)
		x, err = p.Pull(v[11], s)
		check("pull", err, x)
		h, w, err := p.Reaction(v[10], v[11])
		check("reaction", err, h, w)
		_, err = p.Tension(v[10], v[11])
		check("tension", err)
		times := []float64{0, v[12], v[13]}
		_, err = p.Angle(times)
		if weighs {
			check("angles", err)
		}
		_, err = p.Series(times, s)
		check("series", err)
		p.Place(v[10])
		slow := rapid.IntRange(0, 19).Draw(t, "slow ones too") == 0
		if slow {
			_, err = p.Harmonics(s, n)
			check("harmonics", err)
			_, _, err = p.ReactionHarmonics(n)
			check("reaction harmonics", err)
			floor := pendulum.Floor{RockingStiffness: v[0], PivotHeight: v[1], VerticalStiffness: v[2], Share: v[3]}
			_, err = p.Compare(s, floor, n)
			check("compare", err)
			ex := pendulum.Experiment{Pendulum: p, Station: s, Rate: v[3], Quiet: v[4], Swing: v[5], OwnNoise: v[6], ReferenceNoise: v[7],
				Gain: v[8], Floor: floor, Antiphase: v[9] > 1, OtherPivot: at, Ground: func(float64) float64 { return v[10] }}
			if !(v[3]*(v[4]+v[5]) > 1e4) {
				if r, err := ex.Record(rand.New(rand.NewPCG(1, 1))); err == nil {
					_, _ = pendulum.Analysis{Pendulum: p, Station: s, Lags: n, Order: n, UPlace: v[1], UAmplitude: v[2]}.Detect(r)
				}
			}
			long := make([]float64, 60)
			for i := range long {
				long[i] = v[i%len(v)]
			}
			_, _ = pendulum.Analysis{Pendulum: p, Station: s}.Detect(pendulum.Recording{Rate: v[3], Release: n, Test: long, Reference: long[:30+n%2*30]})
			_, _ = pendulum.Analysis{Pendulum: p, Station: s}.Detect(pendulum.Recording{Rate: v[3], Release: 20, Test: long, Reference: long})
		}
		p.Damping = math.Min(v[15], 1)
		_, _ = p.Quality()
		if !(p.Gravity/p.Length > 1e4) && !(math.Abs(v[12])+math.Abs(v[13]) > 100) { // else it only takes long
			_, _ = p.Angle(times)
			_, _, _ = p.Integrate(times, v[14])
		}
		_, err = p.SwingsNeeded(v[10], v[11], v[12])
		if p.Validate() == nil {
			check("swings", err)
		}
		_, _, _ = pendulum.Bob{Shape: p.Bob.Shape, Mass: v[0], Radius: v[1], Height: v[2], Along: v[3], Across: v[4]}.Attraction(at)
		_, _ = pendulum.PeriodRatio(v[0])
		_, _ = pendulum.LogDecrement(v[0], v[1], v[2])
		_, _ = pendulum.QualityFromDecrement(v[0])
		_, _ = pendulum.ConicalPeriod(v[0], v[1], v[2])
		sp := pendulum.Spherical{Length: v[0], Gravity: v[1], Theta: v[2], Speed: v[3]}
		if !(v[3] < 1e-4) {
			_, _, _, _ = sp.Turn()
		}
		if !(v[1]/v[0] > 1e3) && !(v[3]/v[0] > 1e3) && !(math.Abs(v[4]) > 10) {
			_, _ = sp.Path([]float64{0, v[4]})
		}
		x, err = pendulum.Floor{RockingStiffness: v[0], PivotHeight: v[1], Share: v[2]}.LoadTilt(v[3], v[4], v[5])
		if valid {
			check("tilt by a load", err, x)
		}
		_, _ = pendulum.Walker{Mass: v[0], Height: v[1]}.Attraction(at)
		_, _ = pendulum.Walker{Mass: v[0], Height: v[1]}.Passing(times, v[2], v[3], v[4])
		model := pendulum.NoiseModel(rapid.IntRange(-1, 3).Draw(t, "model"))
		_, _ = model.Density(v[0])
		_, _ = model.RMS(v[0], v[1])
		model.PowerDensity()(v[0])
		_ = model.String()
		_, _, _ = pendulum.Detection{Mass: v[0], UNoise: v[1]}.G(v[2], v[3])
	})
}
