package draw

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"

	"gravity.example/gravlab/draw/figure"
)

// A plot is a figure laid out: every length is known before a line is drawn.
type plot struct {
	title  []string
	x      *scale
	panels []*panel
	heat   *heatmap // nil without a map
	w, h   vg.Length
	left   vg.Length // of the plot areas
	right  vg.Length
}

// A panel is one plot area with its own vertical axis.
type panel struct {
	y           *scale
	series      []styled
	marks       []figure.Mark
	key         []keyRow
	yLabel      []string
	top, bottom vg.Length // of the plot area
}

// A styled series knows its look.
type styled struct {
	figure.Series
	color color.NRGBA
	dash  []vg.Length
	shape int
}

var (
	titleLabel = label{size: titleSize, bold: true, color: ink}
	axisText   = label{size: textSize, color: ink}
	tickText   = label{size: tickSize, color: ink}
	markText   = label{size: tickSize, color: grey}
)

// plan checks a figure and lays it out from the top down.
func plan(f *figure.Figure) (*plot, error) {
	if err := f.Validate(); err != nil {
		return nil, err
	}
	p := &plot{w: width}
	p.title = titleLabel.wrap(f.Title, width-2*margin)
	p.x = p.xScale(f)
	if f.Map != nil {
		p.heat = newHeat(f.Map)
	}
	left := vg.Length(0)
	for _, d := range f.Panels() {
		q := newPanel(f, d, len(p.panels) == 0)
		for _, t := range q.y.ticks {
			left = max(left, tickText.width(t.text))
		}
		p.panels = append(p.panels, q)
	}
	for i, d := range f.Panels() {
		q := p.panels[i]
		height := q.height(d.Share, i == 0)
		q.yLabel = axisText.wrap(q.y.label, height+20)
		if len(q.yLabel) > 2 {
			q.yLabel = q.yLabel[:2]
		}
	}
	lines := 1
	for _, q := range p.panels {
		lines = max(lines, len(q.yLabel))
	}
	p.left = margin + vg.Length(lines)*(textSize+2) + 6 + left + 8
	p.right = width - margin - 8
	if n := len(p.x.ticks); n > 0 { // half of the last number stands out
		p.right = min(p.right, width-2-tickText.width(p.x.ticks[n-1].text)/2)
	}
	if p.heat != nil {
		p.right -= p.heat.room()
	}

	y := vg.Length(0) // downwards, turned round below
	if n := len(p.title); n > 0 {
		y += margin + vg.Length(n)*(titleSize+3)
	}
	for i, d := range f.Panels() {
		q := p.panels[i]
		q.key = layKey(q.series, p.right-p.left)
		y += vg.Length(len(q.key))*(textSize+4) + 10
		q.top = y
		height := q.height(d.Share, i == 0)
		if i == 0 && f.Map != nil && f.Map.Square {
			height = p.square(q)
		}
		y += height
		q.bottom = y
	}
	y += 8 + tickSize + 4 + textSize + margin
	p.h = y
	for _, q := range p.panels {
		q.top, q.bottom = y-q.top, y-q.bottom
	}
	return p, nil
}

func (q *panel) height(share float64, first bool) vg.Length {
	if first {
		return plotH
	}
	if share == 0 {
		share = 0.45
	}
	return max(40, vg.Length(share)*plotH)
}

// square gives a map the height at which both axes have the same scale. A map
// that would be taller than wide by much is made narrower instead.
func (p *plot) square(q *panel) vg.Length {
	ratio := vg.Length((q.y.hi - q.y.lo) / (p.x.hi - p.x.lo))
	w := p.right - p.left
	const tallest = 330
	if w*ratio > tallest {
		w = max(60, tallest/ratio)
		p.right = p.left + w
	}
	return max(60, min(tallest, w*ratio))
}

func (p *plot) xScale(f *figure.Figure) *scale {
	var r bounds
	tight := true
	for _, d := range f.Panels() {
		for _, s := range d.Series {
			r.add(figure.Range(s.X))
			tight = tight && s.Kind != figure.Points
		}
		for _, m := range d.Marks {
			if m.Kind != figure.Horizontal {
				r.addIf(m.X, f.X.Log)
			}
			if m.Kind == figure.Span {
				r.addIf(m.X2, f.X.Log)
			}
		}
	}
	if f.Map != nil {
		lo, hi := edges(f.Map.X)
		r.add(lo, hi)
		tight = true
	}
	return newScale(f.X, r.lo, r.hi, 6, tight)
}

func newPanel(f *figure.Figure, d figure.Panel, first bool) *panel {
	var r bounds
	for _, s := range d.Series {
		for i, y := range s.Y {
			if math.IsNaN(y) {
				continue
			}
			r.add(y, y)
			if len(s.U) > 0 {
				r.addIf(y-s.U[i], d.Y.Log)
				r.addIf(y+s.U[i], d.Y.Log)
			}
		}
	}
	for _, m := range d.Marks {
		if m.Kind == figure.Horizontal || m.Kind == figure.Label {
			r.addIf(m.Y, d.Y.Log)
		}
	}
	tight := false
	if first && f.Map != nil {
		lo, hi := edges(f.Map.Y)
		r.add(lo, hi)
		tight = true
	}
	wanted := 5
	if !first {
		wanted = 3
	}
	if !r.any {
		r.add(1, 10)
	}
	q := &panel{y: newScale(d.Y, r.lo, r.hi, wanted, tight), marks: d.Marks}
	lines, shapes := 0, 0
	for i, s := range d.Series {
		st := styled{Series: s, color: palette[i%len(palette)]}
		if first && f.Map != nil {
			st.color = mapInk
		}
		if s.Link > 0 && s.Link <= len(d.Series) {
			st.color = palette[(s.Link-1)%len(palette)]
		}
		switch s.Kind {
		case figure.Line, figure.Steps:
			st.dash = dashes[lines%len(dashes)]
			lines++
		case figure.Points:
			st.shape = shapes
			shapes++
		}
		q.series = append(q.series, st)
	}
	return q
}

// bounds collects the range of some values.
type bounds struct {
	lo, hi float64
	any    bool
}

func (b *bounds) add(lo, hi float64) {
	if !b.any {
		b.lo, b.hi, b.any = lo, hi, true
		return
	}
	b.lo, b.hi = min(b.lo, lo), max(b.hi, hi)
}

func (b *bounds) addIf(v float64, log bool) {
	if !log || v >= 1e-150 { // smaller ones would spoil the ratio of the ends
		b.add(v, v)
	}
}

func (p *plot) size() (w, h vg.Length) { return p.w, p.h }

func (p *plot) draw(c *vgdraw.Canvas) {
	fill(c, vg.Rectangle{Max: vg.Point{X: p.w, Y: p.h}}, white)
	for i, line := range p.title {
		titleLabel.put(c, vg.Point{X: margin, Y: p.h - margin - vg.Length(i)*(titleSize+3)}, 0, 1, line)
	}
	for i, q := range p.panels {
		p.panel(c, q, i == 0, i == len(p.panels)-1)
	}
	if p.heat != nil {
		p.heat.bar(c, p.right+12, p.panels[0].bottom, p.panels[0].top)
	}
}

// area is the plot area of a panel.
func (p *plot) area(q *panel) vg.Rectangle {
	return vg.Rectangle{Min: vg.Point{X: p.left, Y: q.bottom}, Max: vg.Point{X: p.right, Y: q.top}}
}

// at is the place of a value. What is far outside the plot area is moved to
// where it can still be reckoned with.
func (p *plot) at(q *panel, x, y float64) vg.Point {
	const far = 1e6
	nx := max(-far, min(far, p.x.norm(x)))
	ny := max(-far, min(far, q.y.norm(y)))
	return vg.Point{X: p.left + vg.Length(nx)*(p.right-p.left), Y: q.bottom + vg.Length(ny)*(q.top-q.bottom)}
}

func (p *plot) panel(c *vgdraw.Canvas, q *panel, first, last bool) {
	area := p.area(q)
	inside := vgdraw.Canvas{Canvas: c.Canvas, Rectangle: area}
	for _, m := range q.marks {
		if m.Kind == figure.Span {
			a, b := p.at(q, m.X, q.y.lo).X, p.at(q, m.X2, q.y.lo).X
			a, b = max(min(a, b), area.Min.X), min(max(a, b), area.Max.X)
			if a < b {
				fill(c, vg.Rectangle{Min: vg.Point{X: a, Y: area.Min.Y}, Max: vg.Point{X: b, Y: area.Max.Y}}, shade)
			}
		}
	}
	if first && p.heat != nil {
		p.heat.draw(c, area, p.x, q.y)
	} else {
		p.grid(c, q, area)
	}
	for _, s := range q.series {
		p.bandOf(&inside, q, s)
	}
	p.lines(c, q, area)
	for _, s := range q.series {
		switch s.Kind {
		case figure.Line, figure.Steps:
			p.line(&inside, q, s)
		case figure.Points:
			p.points(&inside, q, s)
		}
	}
	p.texts(c, q, area)
	p.axes(c, q, area, last)
	for i, row := range q.key {
		row.draw(c, vg.Point{X: p.left, Y: q.top + 8 + vg.Length(len(q.key)-1-i)*(textSize+4)})
	}
}

func (p *plot) grid(c *vgdraw.Canvas, q *panel, area vg.Rectangle) {
	var path vg.Path
	for _, t := range p.x.ticks {
		if x := p.at(q, t.at, q.y.lo).X; t.text != "" && inRange(x, area.Min.X, area.Max.X) {
			path.Move(vg.Point{X: x, Y: area.Min.Y})
			path.Line(vg.Point{X: x, Y: area.Max.Y})
		}
	}
	for _, t := range q.y.ticks {
		if y := p.at(q, p.x.lo, t.at).Y; t.text != "" && inRange(y, area.Min.Y, area.Max.Y) {
			path.Move(vg.Point{X: area.Min.X, Y: y})
			path.Line(vg.Point{X: area.Max.X, Y: y})
		}
	}
	stroke(c, path, faint, 0.7, nil)
}

func (p *plot) axes(c *vgdraw.Canvas, q *panel, area vg.Rectangle, last bool) {
	var path vg.Path
	path.Move(vg.Point{X: area.Min.X, Y: area.Max.Y})
	path.Line(area.Min)
	path.Line(vg.Point{X: area.Max.X, Y: area.Min.Y})
	for _, t := range q.y.ticks {
		y := p.at(q, p.x.lo, t.at).Y
		path.Move(vg.Point{X: area.Min.X, Y: y})
		path.Line(vg.Point{X: area.Min.X - tickLength(t), Y: y})
		tickText.put(c, vg.Point{X: area.Min.X - 7, Y: y}, 1, 0.5, t.text)
	}
	for _, t := range p.x.ticks {
		x := p.at(q, t.at, q.y.lo).X
		path.Move(vg.Point{X: x, Y: area.Min.Y})
		path.Line(vg.Point{X: x, Y: area.Min.Y - tickLength(t)})
		if last {
			tickText.put(c, vg.Point{X: x, Y: area.Min.Y - 7}, 0.5, 1, t.text)
		}
	}
	stroke(c, path, grey, 0.9, nil)
	upward := axisText
	upward.upward = true
	for i, line := range q.yLabel {
		upward.put(c, vg.Point{X: margin + vg.Length(i)*(textSize+2), Y: (area.Min.Y + area.Max.Y) / 2}, 0.5, 1, line)
	}
	if last {
		axisText.put(c, vg.Point{X: (area.Min.X + area.Max.X) / 2, Y: margin}, 0.5, 0, p.x.label)
	}
}

func tickLength(t tick) vg.Length {
	if t.text == "" {
		return 2.5
	}
	return 4.5
}

// lines draws the vertical and horizontal marks under the data.
func (p *plot) lines(c *vgdraw.Canvas, q *panel, area vg.Rectangle) {
	var path vg.Path
	for _, m := range q.marks {
		switch m.Kind {
		case figure.Vertical:
			if x := p.at(q, m.X, q.y.lo).X; inRange(x, area.Min.X, area.Max.X) {
				path.Move(vg.Point{X: x, Y: area.Min.Y})
				path.Line(vg.Point{X: x, Y: area.Max.Y})
			}
		case figure.Horizontal:
			if y := p.at(q, p.x.lo, m.Y).Y; inRange(y, area.Min.Y, area.Max.Y) {
				path.Move(vg.Point{X: area.Min.X, Y: y})
				path.Line(vg.Point{X: area.Max.X, Y: y})
			}
		}
	}
	stroke(c, path, grey, 1, []vg.Length{3, 2})
}

func inRange(v, lo, hi vg.Length) bool { return v >= lo-0.01 && v <= hi+0.01 }

func fill(c *vgdraw.Canvas, r vg.Rectangle, col color.NRGBA) {
	c.SetColor(col)
	c.Fill(r.Path())
}

func stroke(c *vgdraw.Canvas, path vg.Path, col color.NRGBA, w vg.Length, dash []vg.Length) {
	if len(path) == 0 {
		return
	}
	c.SetLineStyle(vgdraw.LineStyle{Color: col, Width: w, Dashes: dash})
	c.Stroke(path)
}
