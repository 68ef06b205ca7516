package draw

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"

	"gravity.example/gravlab/draw/figure"
)

// A drawing is a sketch laid out.
type drawing struct {
	s        *figure.Sketch
	title    []string
	w, h     vg.Length
	scale    vg.Length // points for each unit of length
	x0, y0   float64   // the corner of what is drawn
	left, up vg.Length // its place
}

// looks give each role its fill and line. The colours are those of the palette.
var looks = map[figure.Role]struct {
	line, fill color.NRGBA
	dash       []vg.Length
	width      vg.Length
}{
	figure.Plain:   {ink, white, nil, 1.2},
	figure.Mass:    {palette[1], tint(palette[1], bodyTint), nil, 1.4},
	figure.Sensor:  {palette[0], tint(palette[0], bodyTint), nil, 1.4},
	figure.Support: {grey, support, nil, 1.6},
	figure.Light:   {palette[2], tint(palette[2], lightTint), []vg.Length{8, 2.5, 1.5, 2.5}, 1.4},
	figure.Guide:   {grey, white, []vg.Length{3, 2.5}, 0.9},
}

var sketchText = label{size: textSize, color: ink}

func planSketch(s *figure.Sketch) (*drawing, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	d := &drawing{s: s, w: width, title: titleLabel.wrap(s.Title, width-2*margin)}
	var x, y bounds
	for _, sh := range s.Shapes {
		switch sh.Kind {
		case figure.Circle:
			x.add(sh.X-sh.R, sh.X+sh.R)
			y.add(sh.Y-sh.R, sh.Y+sh.R)
		case figure.Text:
			x.add(sh.X, sh.X)
			y.add(sh.Y, sh.Y)
		default:
			x.add(min(sh.X, sh.X2), max(sh.X, sh.X2))
			y.add(min(sh.Y, sh.Y2), max(sh.Y, sh.Y2))
		}
	}
	spanX, spanY := max(x.hi-x.lo, 1e-300), max(y.hi-y.lo, 1e-300)
	const side, tallest = 44, 300 // room for labels at the edges
	d.scale = min((width-2*side)/vg.Length(spanX), tallest/vg.Length(spanY))
	d.x0, d.y0 = x.lo, y.lo
	d.left = (width - d.scale*vg.Length(x.hi-x.lo)) / 2
	d.up = 22
	if s.Bar > 0 {
		d.up += 26
	}
	d.h = d.up + d.scale*vg.Length(y.hi-y.lo) + 22 + vg.Length(len(d.title))*(titleSize+3)
	return d, nil
}

func (d *drawing) size() (w, h vg.Length) { return d.w, d.h }

func (d *drawing) at(x, y float64) vg.Point {
	return vg.Point{X: d.left + d.scale*vg.Length(x-d.x0), Y: d.up + d.scale*vg.Length(y-d.y0)}
}

func (d *drawing) draw(c *vgdraw.Canvas) {
	fill(c, vg.Rectangle{Max: vg.Point{X: d.w, Y: d.h}}, white)
	for i, line := range d.title {
		titleLabel.put(c, vg.Point{X: margin, Y: d.h - margin - vg.Length(i)*(titleSize+3)}, 0, 1, line)
	}
	for _, sh := range d.s.Shapes {
		d.shape(c, sh)
	}
	for _, sh := range d.s.Shapes { // texts last, so that nothing covers them
		d.text(c, sh)
	}
	if d.s.Bar > 0 {
		d.bar(c)
	}
}

func (d *drawing) shape(c *vgdraw.Canvas, sh figure.Shape) {
	look := looks[sh.Role]
	a, b := d.at(sh.X, sh.Y), d.at(sh.X2, sh.Y2)
	var path vg.Path
	switch sh.Kind {
	case figure.Circle:
		r := d.scale * vg.Length(sh.R)
		path.Move(vg.Point{X: a.X + r, Y: a.Y})
		path.Arc(a, r, 0, 2*math.Pi)
		path.Close()
		c.SetColor(look.fill)
		c.Fill(path)
	case figure.Box:
		path = vg.Rectangle{Min: vg.Point{X: min(a.X, b.X), Y: min(a.Y, b.Y)}, Max: vg.Point{X: max(a.X, b.X), Y: max(a.Y, b.Y)}}.Path()
		c.SetColor(look.fill)
		c.Fill(path)
	case figure.Segment, figure.Arrow, figure.Length:
		path.Move(a)
		path.Line(b)
		if sh.Kind != figure.Segment {
			head(c, a, b, look.line)
		}
		if sh.Kind == figure.Length {
			head(c, b, a, look.line)
		}
	}
	stroke(c, path, look.line, look.width, look.dash)
}

// head draws the point of an arrow from a at b.
func head(c *vgdraw.Canvas, a, b vg.Point, col color.NRGBA) {
	dx, dy := float64(b.X-a.X), float64(b.Y-a.Y)
	l := math.Hypot(dx, dy)
	if l == 0 {
		return
	}
	ux, uy := vg.Length(dx/l), vg.Length(dy/l)
	const long, half = 7, 2.6
	c.FillPolygon(col, []vg.Point{b,
		{X: b.X - long*ux - half*uy, Y: b.Y - long*uy + half*ux},
		{X: b.X - long*ux + half*uy, Y: b.Y - long*uy - half*ux},
	})
}

// text writes the label of a shape: in the middle of a text, above a circle,
// beside the middle of a line.
func (d *drawing) text(c *vgdraw.Canvas, sh figure.Shape) {
	if sh.Text == "" {
		return
	}
	a, b := d.at(sh.X, sh.Y), d.at(sh.X2, sh.Y2)
	at, ax, ay := a, 0.5, 0.5
	w := sketchText.width(printable(sh.Text))
	switch sh.Kind {
	case figure.Circle:
		r := d.scale * vg.Length(sh.R)
		if 2*r < w+4 { // no room inside
			at.Y, ay = a.Y+r+4, 0
		}
	case figure.Box:
		at = vg.Point{X: (a.X + b.X) / 2, Y: (a.Y + b.Y) / 2}
	case figure.Segment, figure.Arrow, figure.Length:
		at = vg.Point{X: (a.X + b.X) / 2, Y: (a.Y + b.Y) / 2}
		// Beside the line, on its upper side.
		nx, ny := float64(a.Y-b.Y), float64(b.X-a.X)
		if l := math.Hypot(nx, ny); l > 0 {
			nx, ny = nx/l, ny/l
		}
		if ny < 0 || ny == 0 && nx < 0 {
			nx, ny = -nx, -ny
		}
		at.X, at.Y = at.X+vg.Length(6*nx), at.Y+vg.Length(6*ny)
		ax, ay = (1-nx)/2, (1-ny)/2
		if math.Abs(nx) > 0.5 {
			ax = math.Round(ax)
		}
	}
	// Keep the words on the page.
	left := at.X - vg.Length(ax)*w
	if left < 3 {
		at.X += 3 - left
	} else if left+w > d.w-3 {
		at.X -= left + w - (d.w - 3)
	}
	sketchText.put(c, at, ax, ay, sh.Text)
}

func (d *drawing) bar(c *vgdraw.Canvas) {
	l := d.scale * vg.Length(d.s.Bar)
	x, y := vg.Length(margin+6), vg.Length(margin+8)
	var path vg.Path
	path.Move(vg.Point{X: x, Y: y + 4})
	path.Line(vg.Point{X: x, Y: y})
	path.Line(vg.Point{X: x + l, Y: y})
	path.Line(vg.Point{X: x + l, Y: y + 4})
	stroke(c, path, ink, 1.4, nil)
	text := number(d.s.Bar, 0)
	if d.s.Bar != math.Trunc(d.s.Bar) {
		text = number(d.s.Bar, max(1, int(-math.Floor(math.Log10(d.s.Bar)))))
	}
	sketchText.put(c, vg.Point{X: x + l + 6, Y: y - 2}, 0, 0, text+" "+d.s.Unit)
}
