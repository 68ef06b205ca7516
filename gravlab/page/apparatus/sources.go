package apparatus

import (
	"fmt"

	"gravity.example/gravlab/sensor"
)

var sources = Scene{
	ID: "sources", Title: "Where the noise comes from", Labs: []string{"04"},
	Controls: []Control{
		{ID: "mass", Label: "mass", Unit: "g", Min: 0.1, Max: 5, Step: 0.1, Start: 0.4},
		{ID: "f0", Label: "natural frequency", Unit: "Hz", Min: 1, Max: 20, Step: 0.1, Start: 4},
		{ID: "q", Label: "quality factor Q", Min: 20, Max: 3000, Step: 10, Start: 800},
		{ID: "readout", Label: "noise of the readout", Unit: "pm/√Hz", Min: 0.1, Max: 20, Step: 0.1, Start: 1},
		{ID: "bias", Label: "voltage between mass and plates", Unit: "V", Min: 0, Max: 3, Step: 0.05, Start: 1},
		{ID: "rest", Label: "the rest, white", Unit: "nm/s²/√Hz", Min: 0.1, Max: 20, Step: 0.1, Start: 1},
		{ID: "tau", Label: "averaged for", Unit: "s", Min: 1, Max: 200, Step: 1, Start: 60},
	},
	Note: "The sources of noise as accelerations of the frame, and together (solid): squares add. Thermal noise is structural, at 293 K, and falls as the root of the frequency; readout noise has its gap at the natural frequency, where the mass moves most; patch charges are flat, and so is the rest. Which of them is the largest the numbers say.",
	view: viewSources,
}

func viewSources(set map[string]float64, _ float64) (State, error) {
	s := sensor.Suspension{Mass: 1e-3 * set["mass"], Frequency: set["f0"], Q: set["q"], Damping: sensor.Structural, Temperature: 293}
	thermal, err := s.ThermalNoise()
	if err != nil {
		return State{}, err
	}
	readout, err := s.ReadoutNoise(1e-12 * set["readout"])
	if err != nil {
		return State{}, err
	}
	rest, err := sensor.White("the rest", 1e-9*set["rest"])
	if err != nil {
		return State{}, err
	}
	b := sensor.Budget{Suspension: s, Sources: []sensor.Noise{thermal, readout, rest}}
	if set["bias"] > 0 {
		patch, err := sensor.PatchNoise(set["bias"], 5e-8, 30e-6, s.Mass)
		if err != nil {
			return State{}, err
		}
		b.Sources = append(b.Sources, patch)
	}
	chart := axes{left: 58, top: 34, right: 388, bottom: 290, x0: 0.01, x1: 30, y0: 0.03, y1: 3e4, logX: true, logY: true, xName: "frequency (Hz)", yName: "noise (nm/s²/√Hz)"}
	state := State{View: [4]float64{0, 0, 400, 340}}
	state.Shapes = append(state.Shapes, chart.frame()...)
	var f []float64
	for x := 0.01; x <= 30; x *= 1.06 {
		f = append(f, x)
	}
	drawn := func(role string, density func(f float64) (float64, error)) error {
		y := make([]float64, len(f))
		for i, x := range f {
			d, err := density(x)
			if err != nil {
				return err
			}
			y[i] = 1e9 * d
		}
		state.Shapes = append(state.Shapes, chart.curve(role, f, y))
		return nil
	}
	for _, source := range b.Sources {
		role := "guide"
		if source.Name == thermal.Name {
			role = "curve2"
		}
		if err := drawn(role, func(f float64) (float64, error) { return source.Density(f), nil }); err != nil {
			return State{}, err
		}
	}
	if err := drawn("curve", b.Acceleration); err != nil {
		return State{}, err
	}
	at := func(f float64) (float64, error) { a, err := b.Acceleration(f); return 1e9 * a, err }
	low, err := at(0.1)
	if err != nil {
		return State{}, err
	}
	one, err := at(1)
	if err != nil {
		return State{}, err
	}
	most, part, err := b.Largest(0.1)
	if err != nil {
		return State{}, err
	}
	allan, err := b.AllanDeviation(set["tau"], 1)
	if err != nil {
		return State{}, err
	}
	state.Numbers = []Number{
		number("thermal", "thermal noise at 0.1 Hz", 1e9*thermal.Density(0.1), "nm/s²/√Hz"),
		number("readout", "readout noise at 0.1 Hz", 1e9*readout.Density(0.1), "nm/s²/√Hz"),
		number("low", "all together at 0.1 Hz", low, "nm/s²/√Hz"),
		number("one", "all together at 1 Hz", one, "nm/s²/√Hz"),
		number("allan", "resolution: Allan deviation of that average, below 1 Hz", 1e9*allan, "nm/s²"),
	}
	state.Says = fmt.Sprintf("At 0.1 Hz the noise is %s nm/s²/√Hz. The largest part is %s, with %s %% of the power.", digits(low), most.Name, digits(100*part))
	x, y := chart.at(0.1, low)
	state.Shapes = append(state.Shapes, circle("sensor", x, y, 4, ""))
	return state, nil
}
