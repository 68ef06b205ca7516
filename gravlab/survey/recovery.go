package survey

import (
	"errors"
	"fmt"
	"math"

	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/arg"
)

// A Recovery is how a meter settles after transport: Level + Amplitude
// exp(−t/Time).
type Recovery struct {
	Amplitude, UAmplitude float64 // m/s²
	Time, UTime           float64 // s
	Level, ULevel         float64 // m/s²
	Chi2                  float64
	DoF                   int
}

// FitRecovery finds the recovery of a meter from readings (m/s², tide and drift
// subtracted) at times since it was set down (s, rising), each with standard
// uncertainty u (m/s²). The record should reach well beyond the recovery time,
// else level and amplitude cannot be told apart, which is an error. Put the
// result into [Meter], or wait: see [Meter.WaitFor].
func FitRecovery(since, readings []float64, u float64) (Recovery, error) {
	const fn = "survey.FitRecovery"
	if err := errors.Join(
		arg.AtLeast(fn, "since", len(since), 5),
		arg.SameLength(fn, "since", len(since), "readings", len(readings)),
		arg.Rising(fn, "since", since, "time in s"),
		arg.AllFinite(fn, "readings", readings, "reading in m/s²"),
		arg.Between(fn, "u", u, 1e-15, 1, "standard uncertainty in m/s²"),
	); err != nil {
		return Recovery{}, err
	}
	n := len(since)
	span := since[n-1] - since[0]
	if err := errors.Join(
		arg.Between(fn, "since[0]", since[0], 0, 1e9, "time in s"),
		arg.Between(fn, "the span of since", span, 1e-3, 1e9, "time in s"),
	); err != nil {
		return Recovery{}, err
	}
	level := readings[n-1]
	y, sigma := make([]float64, n), make([]float64, n)
	for i := range y {
		// In units of u, from the last reading: all parameters near one.
		y[i], sigma[i] = (readings[i]-level)/u, 1
	}
	r, err := fit.Curve{
		X: since, Y: y, Sigma: sigma,
		Model: func(p, x, dst []float64) {
			for i, t := range x {
				dst[i] = p[2] + p[0]*math.Exp(-t/p[1])
			}
		},
		Start: []float64{y[0] * math.Exp(math.Min(3*since[0]/span, 10)), span / 3, 0},
		Lower: []float64{math.Inf(-1), span / 1e4, math.Inf(-1)}, Upper: []float64{math.Inf(1), 100 * span, math.Inf(1)},
		Names: []string{"amplitude", "time", "level"},
	}.Fit()
	if err != nil {
		return Recovery{}, fmt.Errorf("%s: %w", fn, err)
	}
	if len(r.Undetermined) > 0 || len(r.AtBound) > 0 {
		return Recovery{}, fmt.Errorf("%s: the readings show no recovery, or not enough of it", fn)
	}
	return Recovery{Amplitude: r.P[0] * u, UAmplitude: r.U[0] * u, Time: r.P[1], UTime: r.U[1], Level: level + r.P[2]*u, ULevel: r.U[2] * u, Chi2: r.Chi2, DoF: r.DoF}, nil
}
