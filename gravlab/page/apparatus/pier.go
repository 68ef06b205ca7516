package apparatus

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gravity.example/gravlab/pendulum"
)

var pier = Scene{
	ID: "pier", Title: "Two sensors on one pier", Labs: []string{"05"},
	Controls: []Control{
		{ID: "ground", Label: "ground, over the low noise model", Unit: "times", Min: 1, Max: 50, Step: 0.5, Start: 12},
		{ID: "a", Label: "self-noise of a", Unit: "nm/s²/√Hz", Min: 1, Max: 200, Step: 1, Start: 40},
		{ID: "b", Label: "self-noise of b", Unit: "nm/s²/√Hz", Min: 1, Max: 200, Step: 1, Start: 40},
		{ID: "tilt", Label: "angle between their axes", Unit: "mrad", Min: 0, Max: 100, Step: 1, Start: 0},
		{ID: "all", Label: "averages in all", Min: 2, Max: 100, Step: 1, Start: 60},
	},
	Speed: 4,
	Note:  "Four averages a second, of one throw of dice. Points: coherence so far; line: what it goes to; dashed: 1/K, which K averages of nothing in common show. The ground moves as much sideways as up and down. The angle is drawn five times as large.",
	view:  viewPier,
}

func viewPier(set map[string]float64, t float64) (State, error) {
	k := min(int(math.Round(set["all"])), 1+int(t))
	angle := set["tilt"] / 1000
	sin, cos := math.Sincos(angle)
	own := func(id string) float64 { return set[id] * set[id] } // (nm/s²)²/Hz
	const n = 48
	f, seen, goes := make([]float64, n), make([]float64, n), make([]float64, n)
	rng := rand.New(rand.NewPCG(5, 20))
	normal := func(power float64) complex128 {
		return complex(math.Sqrt(power/2)*rng.NormFloat64(), math.Sqrt(power/2)*rng.NormFloat64())
	}
	power := func(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }
	at1, truth1 := math.NaN(), math.NaN()
	for i := range f {
		f[i] = 0.05 * math.Pow(160, float64(i)/(n-1)) // to 8 Hz
		density, err := pendulum.LowNoise.Density(f[i])
		if err != nil {
			return State{}, err
		}
		ground := math.Pow(1e9*set["ground"]*density, 2)
		both := ground*cos*cos + ground*sin*sin + own("b") // what b shows
		goes[i] = ground * ground * cos * cos / ((ground + own("a")) * both)
		var aa, bb float64
		var ab complex128
		for range k {
			up, side := normal(ground), normal(ground)
			x := up + normal(own("a"))
			y := up*complex(cos, 0) + side*complex(sin, 0) + normal(own("b"))
			aa, bb, ab = aa+power(x), bb+power(y), ab+x*complex(real(y), -imag(y))
		}
		seen[i] = power(ab) / (aa * bb)
		if math.IsNaN(at1) && f[i] >= 1 {
			at1 = math.Sqrt((ground + own("a")) * (1 - math.Sqrt(goes[i])))
			truth1 = set["a"]
		}
	}
	chart := axes{left: 180, top: 40, right: 388, bottom: 288, x0: 0.05, x1: 8, y1: 1, xName: "frequency (Hz)", yName: "coherence γ²", logX: true}
	s := State{
		View: [4]float64{0, 0, 400, 340},
		Numbers: []Number{
			counted("k", "averages so far", k),
			number("floor", "coherence of nothing in common, 1/K", 1/float64(k), ""),
			number("one", "self-noise of a at 1 Hz, by the coherence it goes to", at1, "nm/s²/√Hz"),
			number("truth", "true self-noise of a", truth1, "nm/s²/√Hz"),
		},
		Says: fmt.Sprintf("After %d averages. The coherence that it goes to gives %s nm/s²/√Hz for the self-noise of a at 1 Hz; the true one is %s.", k, digits(at1), digits(truth1)),
	}
	s.Shapes = append(s.Shapes, line("support", 8, 240, 24, 240), line("support", 134, 240, 150, 240), box("plain", 28, 180, 130, 260))
	s.Shapes = append(s.Shapes, box("sensor", 42, 146, 66, 180))
	// b is turned about the middle of its foot.
	turn := 5 * angle
	var corners []float64
	for _, c := range [][2]float64{{-12, 0}, {-12, -34}, {12, -34}, {12, 0}, {-12, 0}} {
		corners = append(corners, 104+c[0]*math.Cos(turn)-c[1]*math.Sin(turn), 180+c[0]*math.Sin(turn)+c[1]*math.Cos(turn))
	}
	s.Shapes = append(s.Shapes, path("sensor", corners), label(54, 134, "a"), label(104, 128, "b"), label(79, 284, "pier"))
	s.Shapes = append(s.Shapes, chart.frame()...)
	s.Shapes = append(s.Shapes, chart.curve("guide", []float64{0.05, 8}, []float64{1 / float64(k), 1 / float64(k)}), chart.curve("curve", f, goes))
	for i := range f {
		x, y := chart.at(f[i], seen[i])
		s.Shapes = append(s.Shapes, circle("sensor", x, y, 2.2, ""))
	}
	return s, nil
}
