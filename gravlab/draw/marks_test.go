package draw

import (
	"math"
	"testing"

	"gonum.org/v1/plot/vg"

	"gravity.example/gravlab/draw/figure"
)

// TestTextsHideNoData: where there is room in the figure the text of a mark
// covers no data, stays in the plot area and clear of other texts.
func TestTextsHideNoData(t *testing.T) {
	var x, swing, fall, stop []float64
	for i := range 500 {
		v := float64(i)
		x = append(x, v)
		swing = append(swing, math.Exp(-v/300)*math.Cos(v/40)) // high where the text would stand
		fall = append(fall, -v/500)                            // near the line at its left end only
		stop = append(stop, 0.05+math.Min(1, 1e9*math.Max(0, 450-v)))
	}
	tests := []struct {
		name   string
		series []float64
		kind   figure.Kind
		marks  []figure.Mark
	}{
		{"dots beside a line", swing, figure.Points, []figure.Mark{{Kind: figure.Vertical, X: -60, Text: "spheres moved"}}},
		{"a line along the data", fall, figure.Line, []figure.Mark{{Kind: figure.Horizontal, Y: -0.9, Text: "the level of the end"}}},
		{"two lines that a step crosses", stop, figure.Steps, []figure.Mark{{Kind: figure.Horizontal, Y: 0.1, Text: "by chance"}, {Kind: figure.Horizontal, Y: 0.3, Text: "in one of a hundred records"}}},
		{"a span at the edge", fall, figure.Line, []figure.Mark{{Kind: figure.Span, X: 460, X2: 490, Text: "band of the question"}}},
		{"a name at a point", fall, figure.Line, []figure.Mark{{Kind: figure.Label, X: 250, Y: -0.5, Text: "half way"}}},
	}
	for _, test := range tests {
		f := &figure.Figure{Title: "t", X: figure.Axis{Label: "x", Unit: "1"}, Y: figure.Axis{Label: "y", Unit: "1"},
			Series: []figure.Series{{Name: "s", Kind: test.kind, X: x, Y: test.series}}, Marks: test.marks}
		p, err := plan(f)
		if err != nil {
			t.Fatal(err)
		}
		q := p.panels[0]
		area := p.area(q)
		data := p.drawn(q, area)
		var taken []vg.Rectangle
		for _, m := range test.marks {
			w := markText.width(m.Text)
			s, hides := best(p.spots(q, area, m, w), area, w, taken, data)
			box := s.box(w)
			if hides != 0 || box.Min.X < area.Min.X-3 || box.Max.X > area.Max.X+3 {
				t.Errorf("%s: %q hides %d and stands from %.0f to %.0f of %.0f to %.0f", test.name, m.Text, hides, box.Min.X, box.Max.X, area.Min.X, area.Max.X)
			}
			if _, clash := overlap(box, taken); clash {
				t.Errorf("%s: %q stands on another text", test.name, m.Text)
			}
			taken = append(taken, box)
		}
	}
}
