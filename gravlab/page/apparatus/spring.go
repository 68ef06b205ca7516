package apparatus

import (
	"fmt"
	"math"

	"gravity.example/gravlab/sensor"
)

var spring = Scene{
	ID: "spring", Title: "A mass on a spring, and how quiet it is", Labs: []string{"03"},
	Controls: []Control{
		{ID: "f0", Label: "natural frequency f₀", Unit: "Hz", Min: 1.5, Max: 20, Step: 0.1, Start: 3.1},
		{ID: "Q", Label: "quality factor Q", Unit: "", Min: 0.6, Max: 2000, Step: 0.1, Start: 40},
		{ID: "m", Label: "mass", Unit: "g", Min: 0.1, Max: 500, Step: 0.1, Start: 50},
		{ID: "readout", Label: "noise of the readout", Unit: "pm/√Hz", Min: 0.1, Max: 100, Step: 0.1, Start: 5},
		{ID: "f", Label: "frequency of the ground motion", Unit: "Hz", Min: 0.05, Max: 20, Step: 0.05, Start: 1},
	},
	Speed: 0.5,
	Note:  "The sag is drawn to scale. The ground shakes with 1 mm/s²; the motion is exaggerated 200 times, and time runs at half speed. The curves are spectral densities of acceleration noise from 0.01 to 100 Hz; both axes are logarithmic.",
	view:  viewSpring,
}

func viewSpring(set map[string]float64, t float64) (State, error) {
	s := sensor.Suspension{Mass: set["m"] / 1000, Frequency: set["f0"], Q: set["Q"], Temperature: 293.15}
	sag, err := s.Sag(9.80665)
	if err != nil {
		return State{}, err
	}
	response, err := s.Response(set["f"])
	if err != nil {
		return State{}, err
	}
	thermal, err := s.ThermalNoise()
	if err != nil {
		return State{}, err
	}
	readout, err := s.ReadoutNoise(set["readout"] * 1e-12)
	if err != nil {
		return State{}, err
	}
	budget := sensor.Budget{Suspension: s, Sources: []sensor.Noise{thermal, readout}}
	rms, err := budget.RMS(0.1, 1)
	if err != nil {
		return State{}, err
	}
	total, err := budget.Acceleration(set["f"])
	if err != nil {
		return State{}, err
	}
	const shake = 1e-3 // m/s²
	size, phase := math.Hypot(real(response), imag(response)), math.Atan2(imag(response), real(response))
	moved := shake * size * math.Cos(2*math.Pi*set["f"]*t+phase) // m

	const n = 81
	var logs, a, b, sum []float64
	for i := range n {
		l := -2 + 4*float64(i)/(n-1)
		f := math.Pow(10, l)
		th, ro := thermal.Density(f), readout.Density(f)
		logs = append(logs, l)
		a, b, sum = append(a, math.Log10(th)), append(b, math.Log10(ro)), append(sum, math.Log10(math.Hypot(th, ro)))
	}
	out := State{
		View: [4]float64{0, 0, 320, 210},
		Numbers: []Number{
			number("sag", "sag under its weight", 1000*sag, "mm"),
			number("ratio", "displacement for 1 mm/s² at the ground's frequency", 1e6*shake*size, "µm"),
			number("phase", "its phase relative to the acceleration of the ground", phase*180/math.Pi, "°"),
			number("thermal", "thermal noise at that frequency", 1e9*thermal.Density(set["f"]), "nm/s²/√Hz"),
			number("readout", "readout noise at that frequency", 1e9*readout.Density(set["f"]), "nm/s²/√Hz"),
			number("total", "total noise at that frequency", 1e9*total, "nm/s²/√Hz"),
			number("rms", "resolution from 0.1 to 1 Hz (rms)", 1e9*rms, "nm/s²"),
		},
		Says: fmt.Sprintf("The spring sags by %s mm; from 0.1 to 1 Hz the sensor resolves %s nm/s² rms.", digits(1000*sag), digits(1e9*rms)),
	}
	// Left: the spring, in mm, with the frame at the top.
	const x, top = 55.0, 20.0
	rest := top + 25 + 1000*sag
	y := rest + 1000*200*moved
	y = math.Min(math.Max(y, top+12), 185)
	coil := []float64{x, top}
	for i := 1; i < 20; i++ {
		side := 8.0
		if i%2 == 0 {
			side = -8
		}
		coil = append(coil, x+side, top+(y-8-top)*float64(i)/20)
	}
	coil = append(coil, x, y-8)
	out.Shapes = append(out.Shapes,
		box("support", 20, 8, 90, 200), line("guide", 30, top+25, 80, top+25), label(114.5, top+27, "unloaded"),
		path("plain", coil), box("mass", x-14, y-8, x+14, y+8))
	// Right: the noise curves.
	const left, up, width, height = 140.0, 20.0, 165.0, 150.0
	lo, hi := -12.0, -4.0
	out.Shapes = append(out.Shapes,
		line("guide", left, up+height, left+width, up+height), line("guide", left, up, left, up+height),
		graph("curve2", left, up, width, height, logs, a, -2, 2, lo, hi), graph("guide", left, up, width, height, logs, b, -2, 2, lo, hi),
		graph("curve", left, up, width, height, logs, sum, -2, 2, lo, hi),
		label(left+8, up+height+14, "0.01 Hz"), label(left+width-12, up+height+14, "100 Hz"),
		label(left+30, up-6, "10⁻⁴ m/s²/√Hz"), label(left+34, up+height-4, "10⁻¹²"))
	place := func(f float64) float64 { return left + width*(math.Log10(f)+2)/4 }
	out.Drags = []Drag{dragAlong("f", [4]float64{left, up, left + width, up + height}, powers(0.05, 20), place)}
	at := place(set["f"])
	out.Shapes = append(out.Shapes, circle("curve", at, up+height*(1-(math.Log10(total)-lo)/(hi-lo)), 3, ""))
	return out, nil
}
