package draw

import (
	"math"

	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"

	"gravity.example/gravlab/draw/figure"
)

const lineWidth = 1.6

// pieces returns the places of a series, cut at its gaps.
func (p *plot) pieces(q *panel, s styled, shift func(i int) float64) [][]vg.Point {
	var all [][]vg.Point
	var piece []vg.Point
	for i := range s.X {
		y := s.Y[i]
		if shift != nil {
			y += shift(i)
		}
		if q.y.log && y <= 0 {
			y = q.y.lo * 1e-3 // far below the axis; cut off there
		}
		if math.IsNaN(y) {
			if piece != nil {
				all = append(all, piece)
			}
			piece = nil
			continue
		}
		at := p.at(q, s.X[i], y)
		if s.Kind == figure.Steps && len(piece) > 0 {
			piece = append(piece, vg.Point{X: at.X, Y: piece[len(piece)-1].Y})
		}
		piece = append(piece, at)
	}
	if piece != nil {
		all = append(all, piece)
	}
	return all
}

func (p *plot) line(c *vgdraw.Canvas, q *panel, s styled) {
	var path vg.Path
	for _, piece := range p.pieces(q, s, nil) {
		for _, part := range c.ClipLinesXY(thin(piece)) {
			for i, pt := range part {
				if i == 0 {
					path.Move(pt)
				} else {
					path.Line(pt)
				}
			}
		}
		if len(piece) == 1 && c.Contains(piece[0]) { // a line of one point would not be seen
			path.Move(vg.Point{X: piece[0].X - 1, Y: piece[0].Y})
			path.Line(vg.Point{X: piece[0].X + 1, Y: piece[0].Y})
		}
	}
	stroke(c, path, s.color, lineWidth, s.dash)
}

// bandOf fills from Y-U to Y+U for the kinds of series that show it so.
func (p *plot) bandOf(c *vgdraw.Canvas, q *panel, s styled) {
	if len(s.U) == 0 || s.Kind == figure.Points {
		return
	}
	lower := p.pieces(q, s, func(i int) float64 { return -s.U[i] })
	upper := p.pieces(q, s, func(i int) float64 { return s.U[i] })
	c.SetColor(tint(s.color, bandTint))
	for k := range upper {
		outline := append([]vg.Point{}, thin(upper[k])...)
		low := thin(lower[k])
		for i := len(low) - 1; i >= 0; i-- {
			outline = append(outline, low[i])
		}
		c.FillPolygon(tint(s.color, bandTint), c.ClipPolygonXY(outline))
	}
}

func (p *plot) points(c *vgdraw.Canvas, q *panel, s styled) {
	var at []vg.Point
	var index []int
	for i := range s.X {
		if math.IsNaN(s.Y[i]) {
			continue
		}
		if pt := p.at(q, s.X[i], s.Y[i]); c.Contains(pt) {
			at, index = append(at, pt), append(index, i)
		}
	}
	kept := spread(at)
	r := vg.Length(2.8)
	switch {
	case len(kept) > 1000:
		r = 0.9
	case len(kept) > 200:
		r = 1.5
	case len(kept) > 60:
		r = 2.1
	}
	var bars, marks vg.Path
	for _, k := range kept {
		if len(s.U) > 0 {
			i := index[k]
			lo, hi := s.Y[i]-s.U[i], s.Y[i]+s.U[i]
			if q.y.log && lo <= 0 {
				lo = q.y.lo
			}
			a, b := p.at(q, s.X[i], lo), p.at(q, s.X[i], hi)
			a.Y, b.Y = clamp(a.Y, c.Rectangle), clamp(b.Y, c.Rectangle)
			bars.Move(a)
			bars.Line(b)
			if r > 2 {
				for _, end := range []vg.Point{a, b} {
					bars.Move(vg.Point{X: end.X - 2, Y: end.Y})
					bars.Line(vg.Point{X: end.X + 2, Y: end.Y})
				}
			}
		}
		shapes[s.shape%len(shapes)](&marks, at[k], r)
	}
	stroke(c, bars, s.color, 1, nil)
	if len(marks) > 0 {
		c.SetColor(s.color)
		c.Fill(marks)
	}
}

func clamp(y vg.Length, r vg.Rectangle) vg.Length { return max(r.Min.Y, min(r.Max.Y, y)) }

// shapes tell points apart without colour.
var shapes = []func(p *vg.Path, at vg.Point, r vg.Length){
	func(p *vg.Path, at vg.Point, r vg.Length) { // disc
		p.Move(vg.Point{X: at.X + r, Y: at.Y})
		p.Arc(at, r, 0, 2*math.Pi)
		p.Close()
	},
	func(p *vg.Path, at vg.Point, r vg.Length) { polygon(p, at, 1.3*r, 4, math.Pi/4) },    // square
	func(p *vg.Path, at vg.Point, r vg.Length) { polygon(p, at, 1.5*r, 3, math.Pi/2) },    // triangle
	func(p *vg.Path, at vg.Point, r vg.Length) { polygon(p, at, 1.5*r, 4, 0) },            // diamond
	func(p *vg.Path, at vg.Point, r vg.Length) { polygon(p, at, 1.5*r, 3, 3*math.Pi/2) },  // triangle, down
	func(p *vg.Path, at vg.Point, r vg.Length) { star(p, at, 1.7*r, 4, 0, 0.3) },          // cross
	func(p *vg.Path, at vg.Point, r vg.Length) { star(p, at, 1.7*r, 5, math.Pi/2, 0.45) }, // star
}

func polygon(p *vg.Path, at vg.Point, r vg.Length, n int, start float64) {
	star(p, at, r, n, start, 0)
}

// star draws n corners; inner above 0 puts a corner at that share of r between.
func star(p *vg.Path, at vg.Point, r vg.Length, n int, start, inner float64) {
	corner := func(angle float64, r vg.Length) vg.Point {
		return vg.Point{X: at.X + r*vg.Length(math.Cos(angle)), Y: at.Y + r*vg.Length(math.Sin(angle))}
	}
	for k := range n {
		a := start + 2*math.Pi*float64(k)/float64(n)
		if k == 0 {
			p.Move(corner(a, r))
		} else {
			p.Line(corner(a, r))
		}
		if inner > 0 {
			p.Line(corner(a+math.Pi/float64(n), r*vg.Length(inner)))
		}
	}
	p.Close()
}
