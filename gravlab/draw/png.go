package draw

import (
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// A pngCanvas draws long paths in pieces. The time that the rasteriser takes
// for a path grows with the square of what lies in one row of pixels: a noisy
// line of 1,400 points took 950 ms in one piece, and a few tens of ms in many.
type pngCanvas struct {
	*vgimg.Canvas
	dash []vg.Length
}

// piece is how many steps of a path are drawn at once.
const piece = 24

func (c *pngCanvas) SetLineDash(dash []vg.Length, offset vg.Length) {
	c.dash = dash
	c.Canvas.SetLineDash(dash, offset)
}

// Stroke draws the pieces of each line from where the last one ended, and goes
// on there in the pattern of dashes.
func (c *pngCanvas) Stroke(p vg.Path) {
	var part vg.Path
	var run, last vg.Length // length along the line: of the whole, and where part begins
	var at vg.Point
	flush := func() {
		if len(part) > 1 {
			if len(c.dash) > 0 {
				c.Canvas.SetLineDash(c.dash, last)
			}
			c.Canvas.Stroke(part)
		}
		part, last = nil, run
	}
	for _, comp := range p {
		switch comp.Type {
		case vg.MoveComp:
			if len(part) >= piece || len(c.dash) > 0 {
				run = 0
				flush()
				last = 0
			}
			part.Move(comp.Pos)
			at = comp.Pos
		case vg.LineComp:
			part = append(part, comp)
			run += vg.Length(math.Hypot(float64(comp.Pos.X-at.X), float64(comp.Pos.Y-at.Y)))
			at = comp.Pos
			if len(part) >= piece {
				flush()
				part.Move(at)
			}
		default: // a circle or its end: whole, as it came
			part = append(part, comp)
		}
	}
	flush()
	c.Canvas.SetLineDash(c.dash, 0)
}

// Fill draws closed shapes some at a time; a single shape stays whole.
func (c *pngCanvas) Fill(p vg.Path) {
	start, shapes := 0, 0
	for i, comp := range p {
		if comp.Type == vg.CloseComp {
			if shapes++; shapes == piece {
				c.Canvas.Fill(p[start : i+1])
				start, shapes = i+1, 0
			}
		}
	}
	if start < len(p) {
		c.Canvas.Fill(p[start:])
	}
}
