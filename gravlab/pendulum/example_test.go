package pendulum_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab"
	"gravity.example/gravlab/pendulum"
)

// The exact period against that of a small swing.
func ExamplePendulum_Period() {
	p := pendulum.Pendulum{Bob: pendulum.Bob{Mass: 5}, Length: 1, Gravity: 9.81}
	for _, degrees := range []float64{1, 10, 40, 90, 170} {
		p.Amplitude = degrees * math.Pi / 180
		fmt.Printf("%3.0f°: %.6f s, %.6f of a small swing\n", degrees, gravlab.Must(p.Period()), gravlab.Must(pendulum.PeriodRatio(p.Amplitude)))
	}
	// Output:
	// 1°: 2.006105 s, 1.000019 of a small swing
	//  10°: 2.009893 s, 1.001907 of a small swing
	//  40°: 2.068938 s, 1.031341 of a small swing
	//  90°: 2.367842 s, 1.180341 of a small swing
	// 170°: 4.893524 s, 2.439363 of a small swing
}

// Which lines a swing draws depends on where the sensor stands and on its axis.
func ExamplePendulum_Harmonics() {
	p := pendulum.Pendulum{Bob: pendulum.Bob{Shape: pendulum.Sphere, Mass: 18, Radius: 0.075}, Length: 2.1, Gravity: 9.81, Amplitude: 0.35}
	below := r3.Vec{Z: 2.7}
	for _, axis := range []r3.Vec{{Z: 1}, {X: 1}} {
		h := gravlab.Must(p.Harmonics(pendulum.Station{At: below, Axis: axis}, 3))
		fmt.Printf("axis %v:", axis)
		for n := 1; n <= 3; n++ {
			// Adding zero turns a rounded -0 into 0.
			fmt.Printf("  %d/T %.0f", n, math.Round(h[n]*1e12)+0)
		}
		fmt.Println(" pm/s²")
	}
	// Output:
	// axis {0 0 1}:  1/T 0  2/T 1141  3/T 0 pm/s²
	// axis {1 0 0}:  1/T 1177  2/T 0  3/T -499 pm/s²
}

// The trap: the floor's tilt at the same frequency, phase and sign as the pull.
func ExamplePendulum_Compare() {
	p := pendulum.Pendulum{Bob: pendulum.Bob{Shape: pendulum.Sphere, Mass: 18, Radius: 0.075}, Length: 2.1, Gravity: 9.81, Amplitude: 0.35}
	floor := pendulum.Floor{RockingStiffness: 5e7, PivotHeight: 2.4, Share: 1}
	for _, x := range []float64{0, 1.6} {
		s := pendulum.Station{At: r3.Vec{X: x, Z: 2.7}, Axis: r3.Vec{X: 1}}
		e := gravlab.Must(p.Compare(s, floor, 1))[0]
		fmt.Printf("x = %.1f m: pull %+.2f nm/s², tilt %+.0f nm/s², ratio %+.0f\n", x, 1e9*e.Pull, 1e9*e.Floor, e.Ratio)
	}
	// Output:
	// x = 0.0 m: pull +1.18 nm/s², tilt +28225 nm/s², ratio +23971
	// x = 1.6 m: pull -0.27 nm/s², tilt +28225 nm/s², ratio -104331
}

// A bob that is no point.
func ExampleBob_Attraction() {
	b := pendulum.Bob{Shape: pendulum.Cylinder, Mass: 20, Radius: 0.08, Height: 0.12}
	for _, d := range []float64{0.1, 0.3, 1} {
		g, u, err := b.Attraction(r3.Vec{Z: d})
		if err != nil {
			fmt.Println(err)
			continue
		}
		fmt.Printf("%.1f m: %.4f nm/s² (error below %.0e), as a point %.4f\n", d, -1e9*g.Z, math.Max(1e9*u, 1e-12), 1e9*gravlab.G*b.Mass/d/d)
	}
	// Output:
	// 0.1 m: 106.2232 nm/s² (error below 1e-12), as a point 133.4860
	// 0.3 m: 14.6015 nm/s² (error below 1e-12), as a point 14.8318
	// 1.0 m: 1.3332 nm/s² (error below 1e-12), as a point 1.3349
}

// How loud the ground is where the swing's lines are.
func ExampleNoiseModel() {
	for _, m := range []pendulum.NoiseModel{pendulum.LowNoise, pendulum.HighNoise, pendulum.Basement} {
		fmt.Printf("%s: %.2g m/s²/√Hz at 0.7 Hz, %.2g m/s² rms from 0.5 to 1 Hz\n", m, gravlab.Must(m.Density(0.7)), gravlab.Must(m.RMS(0.5, 1)))
	}
	// Output:
	// new low noise model 1993: 9.5e-09 m/s²/√Hz at 0.7 Hz, 7.7e-09 m/s² rms from 0.5 to 1 Hz
	// new high noise model 1993: 2.6e-06 m/s²/√Hz at 0.7 Hz, 1.9e-06 m/s² rms from 0.5 to 1 Hz
	// basement (assumed): 1.4e-05 m/s²/√Hz at 0.7 Hz, 1e-05 m/s² rms from 0.5 to 1 Hz
}

// The pull of somebody who walks past a sensor on a table: upward, since most of
// the person is higher.
func ExampleWalker_Passing() {
	w := pendulum.Walker{Mass: 75, Height: 1.75}
	times := []float64{-4, -2, 0, 2, 4}
	for i, a := range gravlab.Must(w.Passing(times, 1.2, 1.5, -0.4)) {
		fmt.Printf("%+.0f s %+.3f nm/s²\n", times[i], 1e9*a+0)
	}
	// Output:
	// -4 s -0.044 nm/s²
	// -2 s -0.196 nm/s²
	// +0 s -0.751 nm/s²
	// +2 s -0.196 nm/s²
	// +4 s -0.044 nm/s²
}

// A recording, and the mass of the bob found in it.
func ExampleAnalysis_Detect() {
	p := pendulum.Pendulum{Bob: pendulum.Bob{Shape: pendulum.Sphere, Mass: 18, Radius: 0.075}, Length: 2.1, Gravity: 9.81, Amplitude: 0.35}
	s := pendulum.Station{At: r3.Vec{Z: 2.6}, Axis: r3.Vec{Z: 1}}
	e := pendulum.Experiment{
		Pendulum: p, Station: s, Rate: 5, Quiet: 600, Swing: 1200,
		Ground: pendulum.LowNoise.PowerDensity(), OwnNoise: 2e-9, ReferenceNoise: 5e-10,
	}
	r := gravlab.Must(e.Record(rand.New(rand.NewPCG(1, 2))))

	p.Bob.Mass = 1 // not known
	d := gravlab.Must(pendulum.Analysis{Pendulum: p, Station: s, Lags: 2, Order: 8, UPlace: 2e-3, UAmplitude: 2e-3}.Detect(r))
	fmt.Printf("scatter %.1f nm/s², %.1f without the reference's part\n", 1e9*d.Before, 1e9*d.After)
	fmt.Printf("mass %.1f ± %.1f kg, Z = %.0f\n", d.Mass, d.U, d.Z)
	fmt.Printf("of that: noise %.2f, place %.2f, amplitude %.2f, G %.4f kg\n", d.UNoise, d.UPlace, d.UAmplitude, d.UG)
	g, u, _ := d.G(18, 0.01)
	fmt.Printf("G = (%.1f ± %.1f)e-11\n", 1e11*g, 1e11*u)
	// Output:
	// scatter 33.4 nm/s², 3.5 without the reference's part
	// mass 17.7 ± 0.6 kg, Z = 31
	// of that: noise 0.57, place 0.16, amplitude 0.02, G 0.0004 kg
	// G = (6.6 ± 0.2)e-11
}

// How long to watch.
func ExamplePendulum_SwingsNeeded() {
	p := pendulum.Pendulum{Bob: pendulum.Bob{Mass: 18}, Length: 2.1, Gravity: 9.81, Amplitude: 0.35}
	h := gravlab.Must(p.Harmonics(pendulum.Station{At: r3.Vec{Z: 2.7}, Axis: r3.Vec{Z: 1}}, 2))
	for _, asd := range []float64{1e-9, 1e-8} {
		n := gravlab.Must(p.SwingsNeeded(5, math.Abs(h[2]), asd))
		fmt.Printf("%.0e m/s²/√Hz: %.0f swings\n", asd, math.Ceil(n))
	}
	// Output:
	// 1e-09 m/s²/√Hz: 7 swings
	// 1e-08 m/s²/√Hz: 656 swings
}

// A swing that is not quite plane.
func ExampleSpherical_Turn() {
	s := pendulum.Spherical{Length: 2.1, Gravity: 9.81, Theta: 0.35, Speed: 0.05}
	theta, azimuth, duration, _ := s.Turn()
	fmt.Printf("half width %.4f rad, from turn to turn %.6f rad in %.4f s\n", theta, azimuth, duration)
	fmt.Printf("the ellipse turns by %.2f° in a full swing\n", (4*azimuth-2*math.Pi)*180/math.Pi)
	// Output:
	// half width 0.0108 rad, from turn to turn 1.573065 rad in 0.7324 s
	// the ellipse turns by 0.52° in a full swing
}
