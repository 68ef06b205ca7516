package sensor_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"gravity.example/gravlab/sensor"
)

func number(t *rapid.T, name string) float64 {
	switch rapid.IntRange(0, 2).Draw(t, name+" kind") {
	case 0:
		return rapid.SampledFrom([]float64{0, math.Copysign(0, -1), 1, -1, math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, math.SmallestNonzeroFloat64, 1e-300, 1e150}).Draw(t, name)
	case 1:
		return rapid.Float64Range(1e-6, 1e3).Draw(t, name)
	}
	return rapid.Float64().Draw(t, name)
}

// No argument whatever makes a function panic.
func TestNoPanic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := make([]float64, 8)
		for i := range v {
			v[i] = number(t, string(rune('a'+i)))
		}
		a, b, c, d := v[0], v[1], v[2], v[3]
		n := rapid.SampledFrom([]int{math.MinInt, -1, 0, 1, 7, 300, math.MaxInt}).Draw(t, "n")
		s := sensor.Suspension{Mass: a, Frequency: b, Q: c, Temperature: d, Damping: sensor.Damping(rapid.IntRange(-1, 2).Draw(t, "damping"))}
		given := s
		if given.Mass == 0 { // what does not depend on it does without
			given.Mass = 1
		}
		valid := given.Validate() == nil
		check := func(what string, x float64, err error) {
			if err == nil && math.IsNaN(x) {
				t.Fatalf("%s is NaN without an error", what)
			}
			if err == nil && !valid {
				t.Fatalf("%s of an impossible suspension has no error", what)
			}
		}
		x, err := s.Stiffness()
		check("stiffness", x, err)
		if err == nil && s.Mass == 0 {
			t.Fatal("a stiffness without a mass")
		}
		x, err = s.Sag(v[4])
		if s.Q != 0 {
			check("sag", x, err)
		}
		z, err := s.Response(v[4])
		check("response", real(z), err)
		x, err = s.StepResponse(v[4], v[5])
		check("step", x, err)
		x, err = s.FirstPeak()
		check("peak", x, err)
		x, err = s.ThermalRMS()
		check("rms", x, err)
		if n < 1000 {
			_, _ = s.ThermalRecord(rand.New(rand.NewPCG(1, 1)), n, v[4])
		}
		fb := sensor.Feedback{Suspension: s, P: v[4], D: v[5], I: v[6]}
		_, _ = fb.Reading(v[7])
		_, _ = fb.Displacement(v[7])
		var sources []sensor.Noise
		keep := func(n sensor.Noise, err error) {
			if err == nil {
				sources = append(sources, n)
			}
		}
		keep(s.ThermalNoise())
		keep(s.ReadoutNoise(v[4]))
		keep(s.FromDisplacement("d", func(f float64) float64 { return f * v[5] }))
		keep(sensor.White("w", v[6]))
		keep(sensor.PatchNoise(a, b, c, d))
		keep(sensor.VerticalTiltNoise(a, b, c))
		keep(sensor.HorizontalTiltNoise(a, b))
		keep(sensor.TemperatureNoise(a, b, func(f float64) float64 { return c }))
		budget := sensor.Budget{Suspension: s, Sources: sources}
		_, _ = budget.Acceleration(v[7])
		_, _ = budget.Displacement(v[7])
		_, _, _ = budget.Largest(v[7])
		if rapid.IntRange(0, 9).Draw(t, "slow ones too") == 0 {
			_, _ = budget.RMS(v[6], v[7])
			_, _ = budget.AllanDeviation(v[6], v[7])
		}
		_, _ = sensor.Budget{}.RMS(a, b)
		if len(sources) > 1 {
			_, _ = sensor.Crossing(sources[0], sources[1], v[4], v[5])
		}
		_, _ = sensor.FrequencyFromSag(a, b)
		_, _ = sensor.SpringConstant(a, b, c)
		_, _ = sensor.HorizontalTilt(a, b)
		_, _ = sensor.VerticalTilt(a, b)
		_, _ = sensor.CrossAxis(a, b, c)
		_, _ = sensor.SpringTemperature(a, b)
		_, _ = sensor.MagneticMoment(a, b, c)
		_, _ = sensor.MagneticSusceptibility(a, b, c, d)
		p := sensor.Plates{Area: a, Gap: b, Permittivity: c}
		_, _, _ = p.Capacitances(d)
		_, _ = p.PairGradient()
		_, _ = p.BridgeSensitivity(d)
		_, _ = p.PullIn(d)
		_, _ = p.PairPullIn(d)
		_, _ = p.PairSoftening(d, v[4])
		_, _ = p.Deflection(d, v[4])
		_, _ = sensor.Comb{Pairs: n, Width: a, Gap: b, Permittivity: c}.Gradient()
		if !(a/b > 1e-3 && a/b < 0.05) { // only its time is of interest there
			_, _ = sensor.DiscFringe(b, a)
		}
		_, _ = sensor.Amplifier{Voltage: a, Current: b, Capacitance: c, Sensitivity: d}.Displacement(v[4])
		g := sensor.GenerationRecombination{Variance: a, Lifetime: b}
		_, _ = g.Density(c)
		_, _ = g.RMS(c, d)
		_, _ = sensor.Strips{Count: n, Pitch: a, CorrelationLength: b, Sigma: c}.Mean()
		_, _ = sensor.Strips{Count: n, Pitch: a, CorrelationLength: b, Sigma: c}.Alternating()
		_, _ = sensor.PatchAverage(a, b, c)
		_, _ = sensor.AllanPowerLaw(a, -n, b)
	})
}
