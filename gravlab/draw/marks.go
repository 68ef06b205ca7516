package draw

import (
	"math"

	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"

	"gravity.example/gravlab/draw/figure"
)

// A spot is where the text of a mark may stand: at and the alignment as label.put
// takes them.
type spot struct {
	at     vg.Point
	ax, ay float64
}

// box is what a text of the width w covers there.
func (s spot) box(w vg.Length) vg.Rectangle {
	x, y := s.at.X-vg.Length(s.ax)*w, s.at.Y-vg.Length(s.ay*rise)*tickSize
	return vg.Rectangle{Min: vg.Point{X: x - 2, Y: y - 3}, Max: vg.Point{X: x + w + 2, Y: y + tickSize*rise + 3}}
}

// texts writes what the marks say where it hides the fewest data.
func (p *plot) texts(c *vgdraw.Canvas, q *panel, area vg.Rectangle) {
	var taken []vg.Rectangle
	var data *cover
	for _, m := range q.marks {
		if m.Text == "" {
			continue
		}
		w := markText.width(printable(m.Text))
		spots := p.spots(q, area, m, w)
		if len(spots) == 0 {
			continue
		}
		if data == nil {
			data = p.drawn(q, area)
		}
		s, hides := best(spots, area, w, taken, data)
		if hides == 0 {
			fill(c, s.box(w), white) // legible where it stands on lines of the grid
		}
		markText.put(c, s.at, s.ax, s.ay, m.Text)
		taken = append(taken, s.box(w))
	}
}

// spots are the places for the text of a mark, the preferred one first. There are
// none when the mark is not in the plot area.
func (p *plot) spots(q *panel, area vg.Rectangle, m figure.Mark, w vg.Length) []spot {
	const gap = 4
	at := p.at(q, m.X, m.Y)
	inX, inY := inRange(at.X, area.Min.X-1, area.Max.X+1), inRange(at.Y, area.Min.Y-1, area.Max.Y+1)
	var all []spot
	switch {
	case m.Kind == figure.Vertical && inX:
		for _, height := range []float64{1, 0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1} { // the ends first
			y := area.Min.Y + gap + vg.Length(height)*(area.Max.Y-area.Min.Y-2*gap)
			all = append(all, spot{vg.Point{X: at.X + gap, Y: y}, 0, height}, spot{vg.Point{X: at.X - gap, Y: y}, 1, height})
		}
	case m.Kind == figure.Horizontal && inY:
		const steps = 12
		room := area.Max.X - area.Min.X - 6 - w
		for i := range steps + 1 { // from the right end to the left one
			x := area.Max.X - 3 - room*vg.Length(i)/steps
			all = append(all, spot{vg.Point{X: x, Y: at.Y + gap}, 1, 0}, spot{vg.Point{X: x, Y: at.Y - gap}, 1, 1})
		}
	case m.Kind == figure.Span:
		a, b := at.X, p.at(q, m.X2, q.y.lo).X
		a, b = max(min(a, b), area.Min.X), min(max(a, b), area.Max.X)
		if a > b {
			return nil
		}
		x := max(area.Min.X+w/2+3, min(area.Max.X-w/2-3, (a+b)/2)) // not beyond the end
		all = append(all, spot{vg.Point{X: x, Y: area.Max.Y - gap}, 0.5, 1}, spot{vg.Point{X: x, Y: area.Min.Y + gap}, 0.5, 0})
	case m.Kind == figure.Label && inX && inY:
		for _, right := range []float64{0, 1} {
			x := at.X + 5 - 10*vg.Length(right)
			all = append(all, spot{vg.Point{X: x, Y: at.Y + 5}, right, 0}, spot{vg.Point{X: x, Y: at.Y - 5}, right, 1})
		}
	}
	return all
}

// best returns the first spot that hides the fewest data, and how many: a spot in
// the plot area and clear of the texts before it. If there is none, the first
// spot is lowered until it is clear of them.
func best(spots []spot, area vg.Rectangle, w vg.Length, taken []vg.Rectangle, data *cover) (found spot, hides int) {
	hides = math.MaxInt
	for _, s := range spots {
		box := s.box(w)
		inside := box.Min.X >= area.Min.X-3 && box.Max.X <= area.Max.X+3 && box.Min.Y >= area.Min.Y-3 && box.Max.Y <= area.Max.Y+3
		if _, clash := overlap(box, taken); clash || !inside {
			continue
		}
		if n := data.under(box); n < hides {
			found, hides = s, n
		}
		if hides == 0 {
			break
		}
	}
	if hides < math.MaxInt {
		return found, hides
	}
	found = spots[0]
	for {
		box := found.box(w)
		t, clash := overlap(box, taken)
		if !clash {
			return found, 0
		}
		found.at.Y -= box.Max.Y - t.Min.Y + 1
	}
}

// overlap returns the first of the places taken that a box covers a part of.
func overlap(box vg.Rectangle, taken []vg.Rectangle) (vg.Rectangle, bool) {
	for _, t := range taken {
		if box.Min.X < t.Max.X && t.Min.X < box.Max.X && box.Min.Y < t.Max.Y && t.Min.Y < box.Max.Y {
			return t, true
		}
	}
	return vg.Rectangle{}, false
}

// A cover knows which cells of the plot area hold data.
type cover struct {
	min        vg.Point
	cols, rows int
	sum        []int // of the cells below and to the left of each corner of the grid
}

const cell = 2 // points

// drawn is the cover of the data of a panel: lines and dots. Bands are left out,
// since a text hides little of one.
func (p *plot) drawn(q *panel, area vg.Rectangle) *cover {
	c := &cover{min: area.Min, cols: int((area.Max.X-area.Min.X)/cell) + 1, rows: int((area.Max.Y-area.Min.Y)/cell) + 1}
	c.sum = make([]int, (c.cols+1)*(c.rows+1))
	add := func(x, y vg.Length) {
		if inRange(x, area.Min.X, area.Max.X) && inRange(y, area.Min.Y, area.Max.Y) {
			i, j := c.column(x), c.row(y)
			c.sum[(j+1)*(c.cols+1)+i+1] = 1
		}
	}
	inside := vgdraw.Canvas{Rectangle: area}
	for _, s := range q.series {
		if s.Kind == figure.Band {
			continue
		}
		for _, piece := range p.pieces(q, s, nil) {
			if s.Kind == figure.Points {
				for _, dot := range piece {
					add(dot.X, dot.Y)
				}
				continue
			}
			for _, part := range inside.ClipLinesXY(thin(piece)) {
				for i := range part {
					a, b := part[max(0, i-1)], part[i]
					steps := math.Ceil(max(math.Abs(float64(b.X-a.X)), math.Abs(float64(b.Y-a.Y)))/cell) + 1
					for k := 0.0; k <= steps; k++ {
						add(a.X+(b.X-a.X)*vg.Length(k/steps), a.Y+(b.Y-a.Y)*vg.Length(k/steps))
					}
				}
			}
		}
	}
	for j := 1; j <= c.rows; j++ {
		for i := 1; i <= c.cols; i++ {
			c.sum[j*(c.cols+1)+i] += c.sum[(j-1)*(c.cols+1)+i] + c.sum[j*(c.cols+1)+i-1] - c.sum[(j-1)*(c.cols+1)+i-1]
		}
	}
	return c
}

func (c *cover) column(x vg.Length) int { return max(0, min(c.cols-1, int((x-c.min.X)/cell))) }
func (c *cover) row(y vg.Length) int    { return max(0, min(c.rows-1, int((y-c.min.Y)/cell))) }

// under is the number of cells with data that a box covers.
func (c *cover) under(box vg.Rectangle) int {
	at := func(i, j int) int { return c.sum[j*(c.cols+1)+i] }
	left, right, low, high := c.column(box.Min.X), c.column(box.Max.X)+1, c.row(box.Min.Y), c.row(box.Max.Y)+1
	return at(right, high) - at(left, high) - at(right, low) + at(left, low)
}
