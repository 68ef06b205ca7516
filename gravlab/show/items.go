package show

import "gravity.example/gravlab/draw/figure"

// Axis is an axis that shows a quantity in a unit; a pure number has the unit
// "1".
func Axis(label, unit string) figure.Axis { return figure.Axis{Label: label, Unit: unit} }

// LogAxis is a logarithmic axis.
func LogAxis(label, unit string) figure.Axis {
	return figure.Axis{Label: label, Unit: unit, Log: true}
}

// An Item is something in a figure.
type Item func(*figure.Figure)

// Line joins the points x, y; with u it has a band of ± u.
func Line(name string, x, y []float64, u ...[]float64) Item {
	return series(figure.Line, name, x, y, u)
}

// Points marks the points x, y; with u they have bars of ± u.
func Points(name string, x, y []float64, u ...[]float64) Item {
	return series(figure.Points, name, x, y, u)
}

// Steps holds each y from its x to the next.
func Steps(name string, x, y []float64) Item { return series(figure.Steps, name, x, y, nil) }

// Band fills y ± u.
func Band(name string, x, y, u []float64) Item {
	return series(figure.Band, name, x, y, [][]float64{u})
}

func series(kind figure.Kind, name string, x, y []float64, u [][]float64) Item {
	s := figure.Series{Name: name, Kind: kind, X: x, Y: y}
	if len(u) > 0 {
		s.U = u[0]
	}
	return func(f *figure.Figure) { f.Series = append(f.Series, s) }
}

// Residuals adds a panel of y - fitted below, in the unit of the vertical axis.
// u may be nil.
func Residuals(unit string, x, y, u, fitted []float64) Item {
	return func(f *figure.Figure) { f.AddResiduals(unit, x, y, u, fitted) }
}

// Vertical draws a line at x.
func Vertical(x float64, text string) Item {
	return mark(figure.Mark{Kind: figure.Vertical, X: x, Text: text})
}

// Horizontal draws a line at y.
func Horizontal(y float64, text string) Item {
	return mark(figure.Mark{Kind: figure.Horizontal, Y: y, Text: text})
}

// Label writes a text at x, y.
func Label(x, y float64, text string) Item {
	return mark(figure.Mark{Kind: figure.Label, X: x, Y: y, Text: text})
}

// Span shades everything from x to x2.
func Span(x, x2 float64, text string) Item {
	return mark(figure.Mark{Kind: figure.Span, X: x, X2: x2, Text: text})
}

func mark(m figure.Mark) Item {
	return func(f *figure.Figure) { f.Marks = append(f.Marks, m) }
}

// Caption says in a sentence or two what to see.
func Caption(text string) Item { return func(f *figure.Figure) { f.Caption = text } }
