package draw

import (
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/palette/brewer"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"

	"gravity.example/gravlab/draw/figure"
)

// A heat is a map in steps of colour.
type heatmap struct {
	m      *figure.Map
	limits []float64 // of the steps, rising
	colors []color.NRGBA
	scale  *scale
}

// newHeat chooses round limits for the steps, about eight.
func newHeat(m *figure.Map) *heatmap {
	lo, hi := figure.Range(m.Z)
	if m.Signed && !m.Fit {
		hi = math.Max(math.Abs(lo), math.Abs(hi))
		lo = -hi
	}
	if narrow(lo, hi) {
		lo, hi = widen(lo, hi)
	}
	step := Nice((hi - lo) / 9)
	if m.Interval > 0 && (hi-lo)/m.Interval <= 60 {
		step = m.Interval
	}
	h := &heatmap{m: m}
	first := math.Floor(lo/step + 1e-9)
	steps := max(1, int(math.Ceil(hi/step-1e-9)-first))
	for i := range steps + 1 {
		h.limits = append(h.limits, (first+float64(i))*step)
	}
	n := len(h.limits) - 1
	h.colors = colors(n, m.Signed)
	if m.Signed && m.Fit {
		// Of a scale that reaches as far to either side as this one to the farther.
		reach := int(math.Round(math.Max(math.Abs(h.limits[0]), math.Abs(h.limits[n])) / step))
		from := int(math.Round(h.limits[0]/step)) + reach
		h.colors = colors(2*reach, true)[from : from+n]
	}
	h.scale = newScale(figure.Axis{Label: m.Label, Unit: m.Unit, Min: h.limits[0], Max: h.limits[n]}, h.limits[0], h.limits[n], 5, true)
	return h
}

// colors takes n colours evenly from a published scale.
func colors(n int, signed bool) []color.NRGBA {
	kind, name, most := brewer.TypeSequential, "YlGnBu", 9
	if signed {
		kind, name, most = brewer.TypeDiverging, "PuOr", 11
	}
	p, err := brewer.GetPalette(kind, name, most)
	if err != nil {
		panic(err) // the names are fixed above
	}
	base := p.Colors()
	out := make([]color.NRGBA, n)
	for i := range out {
		t := 0.5
		if n > 1 {
			t = float64(i) / float64(n-1)
		}
		at := t * float64(len(base)-1)
		k := min(int(at), len(base)-2)
		a := color.NRGBAModel.Convert(base[k]).(color.NRGBA)
		b := color.NRGBAModel.Convert(base[k+1]).(color.NRGBA)
		f := at - float64(k)
		mix := func(x, y uint8) uint8 { return uint8(math.Round(float64(x) + f*(float64(y)-float64(x)))) }
		out[i] = color.NRGBA{mix(a.R, b.R), mix(a.G, b.G), mix(a.B, b.B), 255}
	}
	return out
}

// room is the width that the bar of colours takes.
func (h *heatmap) room() vg.Length {
	w := vg.Length(0)
	for _, t := range h.scale.ticks {
		w = max(w, tickText.width(t.text))
	}
	return 12 + 12 + 6 + w + 6 + textSize + 2
}

// draw puts the map into its area, one square of pixels for a value.
func (h *heatmap) draw(c *vgdraw.Canvas, area vg.Rectangle, xs, ys *scale) {
	nx, ny := len(h.m.X), len(h.m.Y)
	// Values are repeated so that a viewer which smooths images blurs only the
	// edges of the cells.
	k := max(1, 400/max(nx, ny))
	img := image.NewPaletted(image.Rect(0, 0, nx*k, ny*k), color.Palette{})
	img.Palette = append(img.Palette, color.NRGBA{0xdd, 0xdd, 0xdd, 255}) // a gap
	for _, col := range h.colors {
		img.Palette = append(img.Palette, col)
	}
	for j := range ny {
		for i := range nx {
			col := uint8(1 + h.step(h.m.Z[j*nx+i]))
			x, y := i, ny-1-j // an image has its first row on top
			if xs.flip {
				x = nx - 1 - i
			}
			if ys.flip {
				y = j
			}
			for dy := range k {
				row := img.Pix[(y*k+dy)*img.Stride+x*k:]
				for dx := range k {
					row[dx] = col
				}
			}
		}
	}
	lox, hix := edges(h.m.X)
	loy, hiy := edges(h.m.Y)
	place := func(x, y float64) vg.Point {
		return vg.Point{X: area.Min.X + vg.Length(xs.norm(x))*(area.Max.X-area.Min.X), Y: area.Min.Y + vg.Length(ys.norm(y))*(area.Max.Y-area.Min.Y)}
	}
	a, b := place(lox, loy), place(hix, hiy)
	r := vg.Rectangle{Min: vg.Point{X: min(a.X, b.X), Y: min(a.Y, b.Y)}, Max: vg.Point{X: max(a.X, b.X), Y: max(a.Y, b.Y)}}
	c.DrawImage(r, img)
	if h.m.Lines {
		for _, z := range h.limits[1 : len(h.limits)-1] {
			var path vg.Path
			for _, line := range Contours(h.m, z) {
				path.Move(place(line[0][0], line[0][1]))
				for _, p := range line[1:] {
					path.Line(place(p[0], p[1]))
				}
			}
			w := vg.Length(0.7)
			if z == 0 {
				w = 1.4
			}
			var dash []vg.Length
			if h.m.Signed && z < 0 {
				dash = dashes[1] // without colour, one side of such a scale looks like the other
			}
			stroke(c, path, mapInk, w, dash)
			if h.m.Interval > 0 {
				h.label(c, z, place)
			}
		}
	}
}

// label writes the value of a line on its longest piece, where the line is level if it is
// anywhere, on a ground of white.
func (h *heatmap) label(c *vgdraw.Canvas, z float64, place func(x, y float64) vg.Point) {
	var longest [][2]float64
	for _, line := range Contours(h.m, z) {
		if len(line) > len(longest) {
			longest = line
		}
	}
	if len(longest) < 12 {
		return
	}
	// Neighbouring lines are labelled on different thirds of their length.
	best, at := math.Inf(1), 0
	third := ((int(math.Round(z/h.m.Interval)) % 3) + 3) % 3
	for i := len(longest) * third / 3; i < len(longest)*(third+1)/3-2; i++ {
		a, b := place(longest[i][0], longest[i][1]), place(longest[i+2][0], longest[i+2][1])
		if tilt := math.Abs(float64(b.Y-a.Y)) / (math.Abs(float64(b.X-a.X)) + 1e-9); tilt < best {
			best, at = tilt, i+1
		}
	}
	text := strings.Replace(strconv.FormatFloat(math.Round(z*1e6)/1e6, 'g', -1, 64), "-", "−", 1)
	p := place(longest[at][0], longest[at][1])
	w := tickText.width(text)/2 + 1.5
	fill(c, vg.Rectangle{Min: vg.Point{X: p.X - w, Y: p.Y - 5.5}, Max: vg.Point{X: p.X + w, Y: p.Y + 5.5}}, color.NRGBA{255, 255, 255, 210})
	tickText.put(c, p, 0.5, 0.5, text)
}

// step returns the colour of a value, -1 for a gap.
func (h *heatmap) step(z float64) int {
	if math.IsNaN(z) {
		return -1
	}
	n := len(h.colors)
	k := int(math.Floor((z - h.limits[0]) / (h.limits[n] - h.limits[0]) * float64(n)))
	return max(0, min(n-1, k))
}

// bar draws the scale of colours beside the map.
func (h *heatmap) bar(c *vgdraw.Canvas, x, bottom, top vg.Length) {
	n := len(h.colors)
	for i, col := range h.colors {
		y0 := bottom + (top-bottom)*vg.Length(i)/vg.Length(n)
		y1 := bottom + (top-bottom)*vg.Length(i+1)/vg.Length(n)
		fill(c, vg.Rectangle{Min: vg.Point{X: x, Y: y0}, Max: vg.Point{X: x + 12, Y: y1}}, col)
	}
	var frame vg.Path
	w := vg.Length(0)
	for _, t := range h.scale.ticks {
		y := bottom + vg.Length(h.scale.norm(t.at))*(top-bottom)
		frame.Move(vg.Point{X: x + 12, Y: y})
		frame.Line(vg.Point{X: x + 15, Y: y})
		tickText.put(c, vg.Point{X: x + 18, Y: y}, 0, 0.5, t.text)
		w = max(w, tickText.width(t.text))
	}
	stroke(c, frame, grey, 0.9, nil)
	upward := axisText
	upward.upward = true
	upward.put(c, vg.Point{X: x + 18 + w + 6, Y: (bottom + top) / 2}, 0.5, 1, h.scale.label)
}

// isolines calls segment for each piece of the line on which the map is z. Each
// cell between four values is cut into two triangles, in which the map is a
// plane, so that no case is ambiguous.
func isolines(m *figure.Map, z float64, segment func(x0, y0, x1, y1 float64)) {
	nx := len(m.X)
	corner := func(i, j int) [3]float64 { return [3]float64{m.X[i], m.Y[j], m.Z[j*nx+i] - z} }
	for j := range len(m.Y) - 1 {
		for i := range nx - 1 {
			a, b, c, d := corner(i, j), corner(i+1, j), corner(i+1, j+1), corner(i, j+1)
			triangle(a, b, c, segment)
			triangle(a, c, d, segment)
		}
	}
}

func triangle(a, b, c [3]float64, segment func(x0, y0, x1, y1 float64)) {
	var x, y [3]float64
	n := 0
	for _, e := range [][2][3]float64{{a, b}, {b, c}, {c, a}} {
		p, q := e[0], e[1]
		if math.IsNaN(p[2]) || math.IsNaN(q[2]) {
			return
		}
		if (p[2] < 0) == (q[2] < 0) {
			continue
		}
		t := p[2] / (p[2] - q[2])
		x[n], y[n] = p[0]+t*(q[0]-p[0]), p[1]+t*(q[1]-p[1])
		n++
	}
	if n == 2 && (x[0] != x[1] || y[0] != y[1]) {
		segment(x[0], y[0], x[1], y[1])
	}
}

// edges returns the range of a grid including half a cell on both sides.
func edges(v []float64) (lo, hi float64) {
	n := len(v)
	half := (v[n-1] - v[0]) / float64(n-1) / 2
	return v[0] - half, v[n-1] + half
}
