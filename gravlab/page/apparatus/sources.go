package apparatus

import (
	"fmt"

	"gravity.example/gravlab/sensor"
)

var sources = Scene{
	ID: "sources", Title: "Where the noise comes from", Labs: []string{"04"},
	Controls: []Control{
		{ID: "mass", Label: "mass", Unit: "g", Min: 0.1, Max: 5, Step: 0.05, Start: 0.55},
		{ID: "f0", Label: "natural frequency", Unit: "Hz", Min: 1, Max: 20, Step: 0.1, Start: 5.9},
		{ID: "q", Label: "quality factor Q", Min: 20, Max: 3000, Step: 10, Start: 900},
		{ID: "readout", Label: "noise of the readout", Unit: "pm/√Hz", Min: 0.1, Max: 20, Step: 0.1, Start: 1.2},
		{ID: "bias", Label: "voltage on the plates", Unit: "V", Min: 0, Max: 3, Step: 0.05, Start: 1},
		{ID: "rest", Label: "the rest, white", Unit: "nm/s²/√Hz", Min: 0.1, Max: 20, Step: 0.1, Start: 1.2},
		{ID: "f", Label: "frequency looked at", Unit: "Hz", Min: 0.05, Max: 20, Step: 0.05, Start: 1},
		{ID: "tau", Label: "averaged for", Unit: "s", Min: 1, Max: 200, Step: 1, Start: 60},
	},
	Note: "The sources of noise as accelerations of the frame, and together: squares add. Thermal noise is structural, at 293 K, and falls as the root of the frequency. Readout noise has its gap at the natural frequency, where the mass moves most. Patch charges of 30 µV/√Hz, with 50 nF/m, are flat, and so is the rest.",
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
	roles, names := []string{"curve2", "guide", "curve3"}, []string{"thermal", "readout", "the rest"}
	patches := 0.0
	if set["bias"] > 0 {
		patch, err := sensor.PatchNoise(set["bias"], 5e-8, 30e-6, s.Mass)
		if err != nil {
			return State{}, err
		}
		b.Sources, roles, names = append(b.Sources, patch), append(roles, "plain"), append(names, "patches")
		patches = patch.Density(set["f"])
	}
	chart := axes{left: 58, top: 64, right: 388, bottom: 290, x0: 0.01, x1: 30, y0: 0.03, y1: 3e4, logX: true, logY: true, xName: "frequency (Hz)", yName: "noise (nm/s²/√Hz)"}
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
	key := func(k int, role, name string) {
		x, y := 160+80*float64(k%3), 14+20*float64(k/3)
		state.Shapes = append(state.Shapes, line(role, x, y, x+24, y), label(x+51, y+4, name))
	}
	key(0, "curve", "together")
	for i, source := range b.Sources {
		key(i+1, roles[i], names[i])
		if err := drawn(roles[i], func(f float64) (float64, error) { return source.Density(f), nil }); err != nil {
			return State{}, err
		}
	}
	if err := drawn("curve", b.Acceleration); err != nil {
		return State{}, err
	}
	all, err := b.Acceleration(set["f"])
	if err != nil {
		return State{}, err
	}
	most, part, err := b.Largest(set["f"])
	if err != nil {
		return State{}, err
	}
	allan, err := b.AllanDeviation(set["tau"], 1)
	if err != nil {
		return State{}, err
	}
	state.Numbers = []Number{
		number("thermal", "thermal noise there", 1e9*thermal.Density(set["f"]), "nm/s²/√Hz"),
		number("readout", "readout noise there", 1e9*readout.Density(set["f"]), "nm/s²/√Hz"),
		number("patches", "noise of the patches there", 1e9*patches, "nm/s²/√Hz"),
		number("all", "all together there", 1e9*all, "nm/s²/√Hz"),
		number("part", "of its power, by the largest", 100*part, "%"),
		number("allan", "resolution: Allan deviation, below 1 Hz", 1e9*allan, "nm/s²"),
	}
	state.Says = fmt.Sprintf("At %s Hz the noise is %s nm/s²/√Hz. The largest part is %s, with %s %% of the power. After %s s the resolution is %s nm/s².", digits(set["f"]), digits(1e9*all), most.Name, digits(100*part), digits(set["tau"]), digits(1e9*allan))
	state.Drags = []Drag{chart.drag("f", 0.05, 20)}
	x, y := chart.at(set["f"], 1e9*all)
	state.Shapes = append(state.Shapes, line("guide", x, chart.top, x, chart.bottom), circle("sensor", x, y, 4, ""))
	return state, nil
}
