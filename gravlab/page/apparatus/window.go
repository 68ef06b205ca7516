package apparatus

import (
	"fmt"
	"math"

	"gravity.example/gravlab/fit"
)

// A Window is a fit of a damped swing to a part of a record.
type Window struct {
	Readings int       `json:"readings"` // in the window
	Numbers  []Number  `json:"numbers"`
	Times    []float64 `json:"times"` // of Model, s
	Model    []float64 `json:"model"` // in the unit of the readings
	Left     []float64 `json:"left"`  // readings minus model, in the window
	Says     string    `json:"says"`
}

// mostFitted bounds the readings of a window.
const mostFitted = 20_000

// FitWindow fits a damped swing, with a steady drift of its zero if drift says so, to the readings
// y (in unit) at the times t (s) that lie in a window. It is the fit of package fit, so that the
// numbers are those of the same fit in code.
func FitWindow(t, y []float64, from, to float64, drift bool, unit string) (Window, error) {
	if len(t) != len(y) || len(t) > mostFitted {
		return Window{}, fmt.Errorf("a record needs as many times as readings, %d at most", mostFitted)
	}
	var in, readings []float64
	for i := range t {
		if t[i] >= from && t[i] <= to {
			in, readings = append(in, t[i]), append(readings, y[i])
		}
	}
	const fewest = 12 // for six parameters
	if len(in) < fewest {
		return Window{}, fmt.Errorf("there are %d readings in this window; the fit needs %d", len(in), fewest)
	}
	damped := fit.DampedOscillation
	if drift {
		damped = fit.DampedOscillationDrift
	}
	r, err := damped(in, readings, nil)
	if err != nil {
		return Window{}, err
	}
	w := Window{Readings: len(in), Left: r.Residuals}
	squares := 0.0
	for _, v := range r.Residuals {
		squares += v * v
	}
	scatter := math.Sqrt(squares / float64(r.DoF))
	w.Numbers = []Number{
		counted("readings", "readings in the window", len(in)),
		uncertain("period", "period", r.P[fit.Period], r.U[fit.Period], "s"),
		uncertain("tau", "decay time", r.P[fit.DecayTime], r.U[fit.DecayTime], "s"),
		uncertain("rest", "place of rest", r.P[fit.Offset], r.U[fit.Offset], unit),
		number("scatter", "scatter of what is left", scatter, unit),
	}
	if drift {
		w.Numbers = append(w.Numbers, uncertain("drift", "drift of the rest", r.P[fit.Drift], r.U[fit.Drift], unit+"/s"))
	}
	const n = 600
	for i := range n + 1 {
		at := in[0] + (in[len(in)-1]-in[0])*float64(i)/n
		v := r.P[fit.Offset] + r.P[fit.Amplitude]*math.Exp(-at/r.P[fit.DecayTime])*math.Cos(2*math.Pi*at/r.P[fit.Period]-r.P[fit.Phase])
		if drift {
			v += r.P[fit.Drift] * at
		}
		w.Times, w.Model = append(w.Times, at), append(w.Model, v)
	}
	w.Says = fmt.Sprintf("%d readings: period %s s, decay time %s s, scatter %s %s.", len(in), digits(r.P[fit.Period]), digits(r.P[fit.DecayTime]), digits(scatter), unit)
	return w, nil
}

// uncertain is a number with its standard uncertainty.
func uncertain(id, label string, value, u float64, unit string) Number {
	n := number(id, label, value, unit)
	if u > 0 && !math.IsInf(u, 0) {
		places := max(0, 1-int(math.Floor(math.Log10(u))))
		n.Text = withUnit(fmt.Sprintf("%s ± %s", tick(value, math.Pow(10, float64(-places))), tick(u, math.Pow(10, float64(-places)))), unit)
	}
	return n
}
