package show_test

import (
	"gravity.example/gravlab/ask"
	"gravity.example/gravlab/show"
)

// Without a lab server, as when a program is started by hand, a figure is a line of
// text, and an answer is printed and not judged.
func Example() {
	t := []float64{0, 300, 600}
	angle := []float64{-2.5, 2.5, -2.5}
	show.Plot("Swing of the beam", show.Axis("time", "s"), show.Axis("angle", "mrad"),
		show.Points("record", t, angle),
		show.Caption("One swing takes ten minutes."))
	show.Table([]string{"ball", "mass (kg)"}, []any{"large", 1.5}, []any{"small", 0.015})
	ask.Sheet("01-weighing-the-earth", "").Measured("period", 604.2, 0.3, "s")
	// Output:
	// Swing of the beam. angle against time. record (points, 3 values): time from 0 to 600 s, angle from -2.5 to 2.5 mrad.
	// ball	mass (kg)
	// large	1.5
	// small	0.015
	// period: 604.2 ± 0.3 s
	// (nothing was judged: this program runs without a lab server; open the notebook with the gravlab kernel)
}
