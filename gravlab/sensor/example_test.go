package sensor_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"

	"gravity.example/gravlab"
	"gravity.example/gravlab/sensor"
)

// A soft spring sags: why sensitive gravity sensors are hard to hold up.
func ExampleSuspension_Sag() {
	for _, f0 := range []float64{10, 3, 1, 0.3} {
		s := sensor.Suspension{Mass: 1e-3, Frequency: f0, Q: 100}
		fmt.Printf("%4.1f Hz: sag %7.2f mm, %6.1f pm for 1 µGal\n", f0,
			1e3*gravlab.Must(s.Sag(9.81)), 1e12*cmplx.Abs(gravlab.Must(s.Response(0)))*gravlab.MicroGal)
	}
	// Output:
	// 10.0 Hz: sag    2.48 mm,    2.5 pm for 1 µGal
	//  3.0 Hz: sag   27.61 mm,   28.1 pm for 1 µGal
	//  1.0 Hz: sag  248.49 mm,  253.3 pm for 1 µGal
	//  0.3 Hz: sag 2761.00 mm, 2814.5 pm for 1 µGal
}

// What a seismometer and an accelerometer make of the same ground: the two ends
// of one transfer function.
func ExampleSuspension_Response() {
	s := sensor.Suspension{Mass: 1, Frequency: 1, Q: 0.7}
	for _, f := range []float64{0.01, 1, 100} {
		x := gravlab.Must(s.Response(f))
		w := 2 * math.Pi * f
		fmt.Printf("%6.2f Hz: |x/a| %.3g s², x/(ground's displacement) %.3g\n", f, cmplx.Abs(x), cmplx.Abs(x)*w*w)
	}
	// Output:
	// 0.01 Hz: |x/a| 0.0253 s², x/(ground's displacement) 0.0001
	//   1.00 Hz: |x/a| 0.0177 s², x/(ground's displacement) 0.7
	// 100.00 Hz: |x/a| 2.53e-06 s², x/(ground's displacement) 1
}

// Where the noise of a sensor comes from, and how far averaging helps.
func ExampleBudget() {
	s := sensor.Suspension{Mass: 0.5e-3, Frequency: 5, Q: 1000, Temperature: 295}
	thermal := gravlab.Must(s.ThermalNoise())
	readout := gravlab.Must(s.ReadoutNoise(3e-13)) // m/√Hz
	tilt := gravlab.Must(sensor.VerticalTiltNoise(9.81, 2e-4, 1e-8))
	b := sensor.Budget{Suspension: s, Sources: []sensor.Noise{thermal, readout, tilt}}

	for _, f := range []float64{0.1, 1, 20} {
		largest, share, _ := b.Largest(f)
		fmt.Printf("%4.1f Hz: %.2f nm/s²/√Hz, %.3f pm/√Hz, %.0f %% of it %s\n", f,
			1e9*gravlab.Must(b.Acceleration(f)), 1e12*gravlab.Must(b.Displacement(f)), 100*share, largest.Name)
	}
	fmt.Printf("crossing at %.1f Hz\n", gravlab.Must(sensor.Crossing(thermal, readout, s.Frequency, 100)))
	fmt.Printf("0.1 to 1 Hz: %.2f nm/s² rms\n", 1e9*gravlab.Must(b.RMS(0.1, 1)))
	fmt.Printf("averaged over 100 s: %.3f nm/s²\n", 1e9*gravlab.Must(b.AllanDeviation(100, 50)))
	// Output:
	// 0.1 Hz: 1.05 nm/s²/√Hz, 1.069 pm/√Hz, 92 % of it suspension, thermal (viscous)
	//  1.0 Hz: 1.05 nm/s²/√Hz, 1.109 pm/√Hz, 93 % of it suspension, thermal (viscous)
	// 20.0 Hz: 4.56 nm/s²/√Hz, 0.308 pm/√Hz, 95 % of it readout
	// crossing at 10.5 Hz
	// 0.1 to 1 Hz: 1.00 nm/s² rms
	// averaged over 100 s: 0.075 nm/s²
}

// A bias softens the spring, and at last the mass snaps to the plate.
func ExamplePlates() {
	p := sensor.Plates{Area: 1e-4, Gap: 40e-6}
	const k = 8.0 // N/m
	single, pair := gravlab.Must(p.PullIn(k)), gravlab.Must(p.PairPullIn(k))
	fmt.Printf("one plate pulls in at %.2f V, a pair at %.2f V\n", single, pair)
	fmt.Printf("pair at half of that: frequency times %.3f\n", gravlab.Must(p.PairSoftening(k, pair/2)))
	fmt.Printf("one plate at 90 %%: moved by %.1f µm of %.0f\n", 1e6*gravlab.Must(p.Deflection(k, 0.9*single)), 1e6*p.Gap)
	// Output:
	// one plate pulls in at 13.09 V, a pair at 17.00 V
	// pair at half of that: frequency times 0.866
	// one plate at 90 %: moved by 7.1 µm of 40
}

// Cutting an electrode helps under a stated model only.
func ExampleStrips() {
	wide := sensor.Strips{Count: 10, Pitch: 0.5e-3, CorrelationLength: 5e-3, Sigma: 0.05}
	fmt.Printf("wide patches: mean %.1f mV, alternating %.1f mV\n", 1e3*gravlab.Must(wide.Mean()), 1e3*gravlab.Must(wide.Alternating()))
	own := sensor.Strips{Count: 10, Pitch: 0.5e-3, CorrelationLength: 0.05e-3, Sigma: 0.05}
	fmt.Printf("own potentials: mean %.1f mV, alternating %.1f mV\n", 1e3*gravlab.Must(own.Mean()), 1e3*gravlab.Must(own.Alternating()))
	fmt.Printf("small patches, cut or not: %.1f mV\n", 1e3*gravlab.Must(sensor.PatchAverage(0.05, 1e-8, 1e-5)))
	// Output:
	// wide patches: mean 43.0 mV, alternating 4.5 mV
	// own potentials: mean 15.8 mV, alternating 15.8 mV
	// small patches, cut or not: 1.6 mV
}

// Thermal motion in a simulated record: equipartition, with its uncertainty.
func ExampleSuspension_ThermalRecord() {
	s := sensor.Suspension{Mass: 1e-3, Frequency: 2, Q: 10, Temperature: 300}
	x := gravlab.Must(s.ThermalRecord(rand.New(rand.NewPCG(1, 2)), 40_000, 0.05))
	var sum float64
	for _, v := range x {
		sum += v * v
	}
	tau := s.Q / (math.Pi * s.Frequency)
	n := 2 * float64(len(x)) * 0.05 / tau
	want := gravlab.Must(s.ThermalRMS())
	fmt.Printf("mean square over kB T/k: %.3f ± %.3f\n", sum/float64(len(x))/(want*want), math.Sqrt(2/n))
	// Output:
	// mean square over kB T/k: 1.017 ± 0.028
}

// Feedback holds the mass still and reads the force that does it.
func ExampleFeedback() {
	fb := sensor.Feedback{Suspension: sensor.Suspension{Mass: 1e-3, Frequency: 2, Q: 5}, P: 4e4, D: 250, I: 5e5}
	for _, f := range []float64{0, 1, 10, 100} {
		r := gravlab.Must(fb.Reading(f))
		fmt.Printf("%3.0f Hz: reading %.4f of the acceleration, mass moves %.2g s² of it\n", f, cmplx.Abs(r), cmplx.Abs(gravlab.Must(fb.Displacement(f))))
	}
	// Output:
	// 0 Hz: reading 1.0000 of the acceleration, mass moves 0 s² of it
	//   1 Hz: reading 0.9995 of the acceleration, mass moves 1.1e-05 s² of it
	//  10 Hz: reading 1.0993 of the acceleration, mass moves 2.7e-05 s² of it
	// 100 Hz: reading 0.4156 of the acceleration, mass moves 2.6e-06 s² of it
}
