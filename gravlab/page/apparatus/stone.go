package apparatus

import (
	"fmt"
	"math"

	"gravity.example/gravlab/earth"
)

var stone = Scene{
	ID: "stone", Title: "A falling stone", Labs: []string{"00"},
	Controls: []Control{
		{ID: "height", Label: "height of the drop", Unit: "m", Min: 2, Max: 40, Step: 0.5, Start: 12},
		{ID: "lat", Label: "latitude", Unit: "°", Min: 0, Max: 90, Step: 1, Start: 54},
		{ID: "above", Label: "height above the sea", Unit: "m", Min: 0, Max: 4000, Step: 50, Start: 100},
	},
	Speed:  0.25,
	Record: &Record{Number: "fallen", Column: "fallen", Every: 0.02},
	Note:   "Without air, at a quarter of the real speed. The rings are where the stone was after each fifth of a second, to scale; the stone itself is drawn larger. Gravity is that of the reference Earth at this latitude and height.",
	view:   viewStone,
}

func viewStone(set map[string]float64, t float64) (State, error) {
	g, err := earth.GRS80.NormalGravity(set["lat"]*math.Pi/180, set["above"])
	if err != nil {
		return State{}, err
	}
	drop := set["height"]
	ends := math.Sqrt(2 * drop / g)
	t = math.Min(t, ends)
	fallen := func(t float64) float64 { return g * t * t / 2 }
	s := State{
		View: [4]float64{0, 0, 400, 340},
		Numbers: []Number{
			number("g", "gravity here", g, "m/s²"),
			number("time", "time", t, "s"),
			number("fallen", "distance fallen", fallen(t), "m"),
			number("speed", "speed", g*t, "m/s"),
		},
		Says: fmt.Sprintf("After %s s the stone has fallen %s m and moves at %s m/s.", digits(t), digits(fallen(t)), digits(g*t)),
	}
	const x, top, bottom = 92.0, 24.0, 308.0
	y := func(fallen float64) float64 { return top + (bottom-top)*fallen/drop }
	s.Shapes = append(s.Shapes, line("support", 40, bottom+8, 144, bottom+8), line("plain", 58, top, 58, bottom))
	for m, every := 0.0, tickStep(drop/5); m <= drop*(1+1e-9); m += every {
		s.Shapes = append(s.Shapes, line("plain", 54, y(m), 58, y(m)), label(36, y(m)+4, tick(m, every)))
	}
	s.Shapes = append(s.Shapes, label(44, top-12, "fallen, m"))
	for i := 0; 0.2*float64(i) < t; i++ {
		s.Shapes = append(s.Shapes, circle("guide", x, y(fallen(0.2*float64(i))), 6, ""))
	}
	s.Shapes = append(s.Shapes, circle("sensor", x, y(fallen(t)), 8, ""))
	var speed []float64
	for i := range 121 {
		speed = append(speed, g*ends*float64(i)/120)
	}
	strips{yName: "speed in m/s", xName: "time in s", ends: ends, values: speed, at: t, now: g * t, fromZero: true}.draw(&s, 1)
	return s, nil
}
