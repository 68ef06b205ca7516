package signal_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gravity.example/gravlab"
	"gravity.example/gravlab/signal"
)

// The noise floor of a sensor, with its uncertainty.
func ExampleWelch_PSD() {
	rng := rand.New(rand.NewPCG(1, 1))
	x := gravlab.Must(signal.WhiteNoise(rng, 20_000, 50, 9e-18)) // (3e-9 m/s²/√Hz)²

	s := gravlab.Must(signal.Welch{Segment: 2000}.PSD(x, 50))
	lo, hi, _ := s.Limits(0.95)
	k := 400 // 10 Hz
	fmt.Printf("%d segments, %.1f degrees of freedom\n", s.Segments, s.DoF)
	fmt.Printf("at %.0f Hz: %.1f nm/s²/√Hz, 95 %%: %.1f to %.1f\n",
		s.Freq[k], 1e9*s.ASD()[k], 1e9*math.Sqrt(s.PSD[k]*lo), 1e9*math.Sqrt(s.PSD[k]*hi))
	// Output:
	// 19 segments, 36.1 degrees of freedom
	// at 10 Hz: 2.8 nm/s²/√Hz, 95 %: 2.2 to 3.6
}

// Two like sensors side by side: what they share, and what is their own.
func ExampleWelch_Pair() {
	rng := rand.New(rand.NewPCG(2, 1))
	ground := gravlab.Must(signal.WhiteNoise(rng, 100_000, 20, 25))
	x := gravlab.Must(signal.WhiteNoise(rng, 100_000, 20, 1))
	y := gravlab.Must(signal.WhiteNoise(rng, 100_000, 20, 1))
	for i, g := range ground {
		x[i] += g
		y[i] += g
	}
	p := gravlab.Must(signal.Welch{Segment: 512}.Pair(x, y, 20))
	k := 100
	fmt.Printf("coherence %.2f, own noise %.1f of %.0f\n", p.Coherence()[k], p.SelfNoise()[k], p.PXX[k])
	fmt.Printf("of nothing it would be %.4f\n", 1/p.Independent())
	// Output:
	// coherence 0.93, own noise 1.0 of 28
	// of nothing it would be 0.0027
}

// A line at a known frequency.
func ExampleSineFit() {
	rng := rand.New(rand.NewPCG(3, 1))
	x := gravlab.Must(signal.WhiteNoise(rng, 6000, 10, 1e-18))
	for i := range x {
		x[i] += 4e-10 * math.Cos(2*math.Pi*0.36*float64(i)/10-0.5)
	}
	l := gravlab.Must(signal.SineFit(x, 10, 0.36))
	fmt.Printf("%.2f ± %.2f nm/s², phase %.2f ± %.2f rad\n", 1e9*l.Amplitude, 1e9*l.UAmplitude, l.Phase, l.UPhase)
	// Output:
	// 0.40 ± 0.04 nm/s², phase 0.53 ± 0.10 rad
}

// What a reference sensor sees too is taken off, and the answer is judged where
// the fit never looked.
func ExampleCancelReference() {
	rng := rand.New(rand.NewPCG(4, 1))
	ground := gravlab.Must(signal.Noise(rng, 20_000, 10, func(f float64) float64 { return 1 / f }))
	own := gravlab.Must(signal.WhiteNoise(rng, 20_000, 10, 0.001))
	x := make([]float64, len(ground))
	for i := range x {
		x[i] = 0.9*ground[i] + own[i]
	}
	s := gravlab.Must(signal.CancelReference(x, ground, 0, 10_000))
	fmt.Printf("factor %.3f; unseen half from %.2f to %.3f\n", s.Taps[0], s.JudgedBefore, s.JudgedAfter)
	// Output:
	// factor 0.900; unseen half from 2.76 to 0.071
}

// A threshold counts every place that was looked at.
func ExampleThreshold() {
	for _, trials := range []int{1, 100, 10_000} {
		fmt.Printf("%5d trials: %.2f\n", trials, gravlab.Must(signal.Threshold(0.01, trials)))
	}
	rho := gravlab.Must(signal.NeededSNR(0.01, 0.95))
	fmt.Printf("to be found 95 times in 100 by one trial: %.2f\n", rho)
	// Output:
	// 1 trials: 2.33
	//   100 trials: 3.72
	// 10000 trials: 4.75
	// to be found 95 times in 100 by one trial: 3.97
}

// A known shape, somewhere in a record.
func ExampleNewMatchedFilter() {
	rng := rand.New(rand.NewPCG(5, 1))
	x := gravlab.Must(signal.WhiteNoise(rng, 2000, 1, 2)) // variance 1
	shape := make([]float64, 40)
	for i := range shape {
		shape[i] = math.Sin(math.Pi * (float64(i) + 0.5) / 40)
		x[700+i] += 1.5 * shape[i]
	}
	m := gravlab.Must(signal.NewMatchedFilter(shape, []float64{1}))
	z := gravlab.Must(m.Slide(x))
	best := 0
	for i := range z {
		if z[i] > z[best] {
			best = i
		}
	}
	a, u, _ := m.Amplitude(x[best : best+40])
	fmt.Printf("at %d: %.1f sigma, amplitude %.1f ± %.1f; false alarm %.0e\n",
		best, z[best], a, u, gravlab.Must(signal.FalseAlarm(z[best], len(z))))
	// Output:
	// at 701: 5.6 sigma, amplitude 1.2 ± 0.2; false alarm 2e-05
}

// When averaging stops helping.
func ExampleAllanCurve() {
	rng := rand.New(rand.NewPCG(6, 1))
	white := gravlab.Must(signal.WhiteNoise(rng, 1<<14, 1, 2))
	pink := gravlab.Must(signal.Noise(rng, 1<<14, 1, func(f float64) float64 { return 0.01 / f }))
	for i := range white {
		white[i] += pink[i]
	}
	for i, p := range gravlab.Must(signal.AllanCurve(white, 1)) {
		if i%3 == 0 {
			fmt.Printf("%5.0f s  %.3f ± %.3f\n", p.Tau, p.Deviation, p.U)
		}
	}
	// Output:
	// 1 s  1.016 ± 0.007
	//     8 s  0.363 ± 0.007
	//    64 s  0.169 ± 0.009
	//   512 s  0.136 ± 0.021
}

// The microseism taken out without shifting what is left in time.
func ExampleFilter_ZeroPhase() {
	x := make([]float64, 3000)
	for i := range x {
		t := float64(i) / 10
		x[i] = math.Cos(2*math.Pi*0.01*t) + math.Cos(2*math.Pi*0.2*t)
	}
	f := gravlab.Must(signal.LowPass(4, 0.05, 10))
	y, edge, _ := f.ZeroPhase(x)
	l := gravlab.Must(signal.Lines(y[edge:len(y)-edge], 10, 0.01, 0.2))
	fmt.Printf("slow %.3f, fast %.5f; %d samples at each end are not to be trusted\n", l[0].Amplitude, l[1].Amplitude, edge)
	// Output:
	// slow 1.000, fast 0.00002; 576 samples at each end are not to be trusted
}
