package reduction_test

import (
	"fmt"
	"math/rand/v2"

	"gravity.example/gravlab"
	"gravity.example/gravlab/torsion"
	"gravity.example/gravlab/torsion/reduction"
)

// From a recording to G: record from a seed, fit, and use period and
// deflection.
func ExampleFit() {
	balance := torsion.Skelmire()
	recorder := torsion.Recorder{
		Interval: 15, Duration: 5400, Before: 600, Lever: torsion.Lever{Distance: 3},
		Noise: 2e-4, Step: 1e-4, Drift: 1e-7,
	}
	recording := gravlab.Must(balance.Record(recorder, rand.New(rand.NewPCG(1798, 29))))
	swing := gravlab.Must(reduction.Fit(recording, reduction.Window{}))
	fmt.Printf("T = %.1f s, tau = %.0f s\n", swing.Period.Value, swing.DecayTime.Value)
	fmt.Printf("theta_e = %.4f mrad, u = %.4f mrad\n", 1e3*swing.Deflection.Value, 1e3*swing.Deflection.U)
	bigG := gravlab.Must(balance.GFromSwing(swing.Deflection.Value, swing.Undamped.Value))
	fmt.Printf("G = %.2e\n", bigG)
	// Output:
	// T = 604.4 s, tau = 2007 s
	// theta_e = 3.5334 mrad, u = 0.0025 mrad
	// G = 6.67e-11
}

// Somebody knocks the table after half an hour. The fit over it is bad, and
// says so; the part before it is good.
func ExampleWindow() {
	balance := torsion.Skelmire()
	recorder := torsion.Recorder{Interval: 15, Duration: 3600, Before: 600, Noise: 3e-5, Knock: torsion.Knock{Time: 1800, Speed: 2e-5}}
	recording := gravlab.Must(balance.Record(recorder, rand.New(rand.NewPCG(1, 2))))
	for _, window := range []reduction.Window{{Sigma: 3e-5}, {Sigma: 3e-5, To: 1800}} {
		swing := gravlab.Must(reduction.Fit(recording, window))
		fmt.Printf("chi²/nu = %.1f\n", swing.Fit.ReducedChi2())
	}
	// Output:
	// chi²/nu = 132.7
	// chi²/nu = 0.9
}

// Which measurement limits G? Distances, nearly always.
func ExampleBudget() {
	balance := torsion.Skelmire()
	budget := gravlab.Must(reduction.Budget(balance, 3.53e-3, 603.6, reduction.Uncertainties{
		Arm: 0.3e-3, Distance: 0.5e-3, LargeMass: 5e-3, SmallMass: 1e-5, BeamMass: 1e-4,
		Deflection: 12e-6, Period: 0.4,
	}))
	for _, line := range budget.Lines {
		fmt.Printf("%-11s %5.1f %%\n", line.Name, 100*line.Share)
	}
	fmt.Printf("u(G)/G = %.1f %%\n", 100*budget.U/budget.Value)
	// Output:
	// deflection    5.5 %
	// period        0.8 %
	// arm           2.6 %
	// distance     90.3 %
	// small mass    0.0 %
	// large mass    0.7 %
	// beam mass     0.0 %
	// u(G)/G = 1.4 %
}
