// Package draw turns figures (package figure) into SVG, PNG and interactive
// charts, all in the same house style.
//
// SVG and PNG are what most callers need; Chart puts an interactive chart beside
// its still image.
//
// # The style
//
//   - Every axis says what it shows and in which unit; powers of ten go to the
//     axis, not to the numbers.
//   - Uncertainty is drawn: bars on points, a band around lines.
//   - The colours are the eight that M. Okabe and K. Ito published for all kinds
//     of colour vision ("Color universal design", 2002, revised 2008), as set out in
//     B. Wong, "Points of view: Color blindness", Nature Methods 8, 441 (2011), less
//     yellow, which is too pale for lines on white. Lines differ by dash and points by
//     shape as well, so a figure survives a grey printer.
//   - Maps use the YlGnBu and PuOr scales of C. Brewer (colorbrewer2.org, marked
//     there as safe for colour-blind readers), in steps, so that a value can be
//     read off.
//   - The text is large enough to be read when the figure fills half a column
//     of a page: 12 points in a figure 420 points wide.
//
// # What is promised
//
// The same figure gives the same bytes on the same kind of machine; there are no
// dates in the files. The number of points drawn follows from the size of the
// figure, not of the data: within a column of pixels a line keeps its first, last,
// lowest and highest value, so that peaks stay.
package draw

import (
	"bytes"
	"fmt"
	imagepng "image/png"

	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"gravity.example/gravlab/draw/figure"
)

// SVG draws a figure. The result is a complete file with the figure's
// alternative text in it.
func SVG(f *figure.Figure) ([]byte, error) {
	l, err := plan(f)
	if err != nil {
		return nil, err
	}
	return svg(l, f.Title, f.AltText())
}

// PNG draws a figure 840 pixels wide, times scale. Allowed: 0.25 to 4.
func PNG(f *figure.Figure, scale float64) ([]byte, error) {
	l, err := plan(f)
	if err != nil {
		return nil, err
	}
	return png(l, scale)
}

// SketchSVG draws a sketch as SVG does a figure.
func SketchSVG(s *figure.Sketch) ([]byte, error) {
	l, err := planSketch(s)
	if err != nil {
		return nil, err
	}
	return svg(l, s.Title, s.AltText())
}

// SketchPNG draws a sketch as PNG does a figure.
func SketchPNG(s *figure.Sketch, scale float64) ([]byte, error) {
	l, err := planSketch(s)
	if err != nil {
		return nil, err
	}
	return png(l, scale)
}

// A layout knows its size and draws itself.
type layout interface {
	size() (w, h vg.Length)
	draw(c *vgdraw.Canvas)
}

func svg(l layout, title, alt string) ([]byte, error) {
	w, h := l.size()
	canvas := newSVG(w, h, title, alt)
	c := vgdraw.NewCanvas(canvas, w, h)
	l.draw(&c)
	return canvas.bytes(), nil
}

func png(l layout, scale float64) ([]byte, error) {
	if !(scale >= 0.25 && scale <= 4) {
		return nil, fmt.Errorf("draw.PNG: scale is %v; allowed: 0.25 to 4", scale)
	}
	w, h := l.size()
	canvas := &pngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(w, h), vgimg.UseDPI(int(144*scale)))}
	c := vgdraw.NewCanvas(canvas, w, h)
	l.draw(&c)
	var b bytes.Buffer
	encoder := imagepng.Encoder{CompressionLevel: imagepng.BestSpeed} // a tenth larger, in half the time
	if err := encoder.Encode(&b, canvas.Image()); err != nil {
		return nil, fmt.Errorf("draw: %w", err)
	}
	return b.Bytes(), nil
}
