package draw_test

import (
	"fmt"
	"strings"

	"gravity.example/gravlab/draw"
	"gravity.example/gravlab/draw/figure"
)

func ExampleSVG() {
	f := &figure.Figure{
		Title: "Period of a pendulum",
		X:     figure.Axis{Label: "length", Unit: "m"},
		Y:     figure.Axis{Label: "period", Unit: "s"},
		Series: []figure.Series{
			{Name: "timed", Kind: figure.Points, X: []float64{0.5, 1, 2}, Y: []float64{1.42, 2.01, 2.83}, U: []float64{0.02, 0.02, 0.02}},
		},
	}
	svg, err := draw.SVG(f)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(strings.HasPrefix(string(svg), "<svg"))
	fmt.Println(f.AltText())
	// Output:
	// true
	// Period of a pendulum. period against length. timed (points, 3 values): length from 0.5 to 2 m, period from 1.42 to 2.83 s.
}

func ExampleSVG_refused() {
	_, err := draw.SVG(&figure.Figure{X: figure.Axis{Label: "length", Unit: "m"}, Y: figure.Axis{Label: "period"},
		Series: []figure.Series{{Kind: figure.Points, X: []float64{1}, Y: []float64{2}}}})
	fmt.Println(err)
	// Output: figure: the y axis has no unit; give one, or "1" for a pure number
}
