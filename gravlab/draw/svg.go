package draw

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"image"
	"image/color"
	imagepng "image/png"
	"math"
	"strconv"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// An svgCanvas is a vg.Canvas that writes SVG.
//
// It is not vg/vgsvg for one reason: a viewer may lack the font that the figure
// was laid out with. Here every text says how wide it was laid out, so that it
// fits its place in any font. Paths are written relative to their last point in
// hundredths of a point, which makes files a third smaller.
type svgCanvas struct {
	b     bytes.Buffer
	h     vg.Length
	state svgState
	stack []svgState
}

type svgState struct {
	color color.NRGBA
	width vg.Length
	dash  []vg.Length
	// The transformation of a point: x' = a x + c y + e, y' = b x + d y + f.
	a, b, c, d, e, f float64
}

// How the first line of a file begins and ends.
const (
	svgHead  = `<svg xmlns="http://www.w3.org/2000/svg"`
	svgFonts = ` role="img" font-family="'Liberation Sans',Arimo,Arial,Helvetica,sans-serif">`
)

func newSVG(w, h vg.Length, title, alt string) *svgCanvas {
	s := &svgCanvas{h: h, state: svgState{color: color.NRGBA{A: 255}, width: 1, a: 1, d: 1}}
	fmt.Fprintf(&s.b, svgHead+` width="%.0f" height="%.0f" viewBox="0 0 %s %s"`+svgFonts+"\n",
		w.Points()*4/3, h.Points()*4/3, hundredths(w), hundredths(h))
	if title != "" {
		fmt.Fprintf(&s.b, "<title>%s</title>\n", escape(title))
	}
	fmt.Fprintf(&s.b, "<desc>%s</desc>\n", escape(alt))
	return s
}

func (s *svgCanvas) bytes() []byte {
	return append(bytes.Clone(s.b.Bytes()), "</svg>\n"...)
}

func (s *svgCanvas) SetLineWidth(w vg.Length)                  { s.state.width = w }
func (s *svgCanvas) SetLineDash(dash []vg.Length, _ vg.Length) { s.state.dash = dash }
func (s *svgCanvas) Push()                                     { s.stack = append(s.stack, s.state) }

func (s *svgCanvas) Pop() {
	s.state = s.stack[len(s.stack)-1]
	s.stack = s.stack[:len(s.stack)-1]
}

func (s *svgCanvas) SetColor(c color.Color) {
	if c == nil {
		c = color.Black
	}
	s.state.color = color.NRGBAModel.Convert(c).(color.NRGBA)
}

func (s *svgCanvas) Translate(p vg.Point) {
	t := &s.state
	t.e, t.f = t.a*float64(p.X)+t.c*float64(p.Y)+t.e, t.b*float64(p.X)+t.d*float64(p.Y)+t.f
}

func (s *svgCanvas) Rotate(angle float64) {
	t := &s.state
	sin, cos := math.Sincos(angle)
	t.a, t.b, t.c, t.d = t.a*cos+t.c*sin, t.b*cos+t.d*sin, t.c*cos-t.a*sin, t.d*cos-t.b*sin
}

func (s *svgCanvas) Scale(x, y float64) {
	t := &s.state
	t.a, t.b, t.c, t.d = t.a*x, t.b*x, t.c*y, t.d*y
}

// at turns a point into hundredths of a point, y down.
func (s *svgCanvas) at(p vg.Point) (x, y int) {
	t := s.state
	px, py := float64(p.X), float64(p.Y)
	return int(math.Round(100 * (t.a*px + t.c*py + t.e))), int(math.Round(100 * (float64(s.h) - (t.b*px + t.d*py + t.f))))
}

func (s *svgCanvas) Stroke(p vg.Path) {
	if s.state.width <= 0 {
		return
	}
	fmt.Fprintf(&s.b, `<path d="%s" fill="none" stroke="%s" stroke-width="%s" stroke-linejoin="round"`, s.path(p), s.ink(), hundredths(s.state.width))
	if len(s.state.dash) > 0 {
		s.b.WriteString(` stroke-dasharray="`)
		for i, d := range s.state.dash {
			if i > 0 {
				s.b.WriteByte(' ')
			}
			s.b.WriteString(hundredths(d))
		}
		s.b.WriteByte('"')
	}
	s.b.WriteString("/>\n")
}

func (s *svgCanvas) Fill(p vg.Path) {
	fmt.Fprintf(&s.b, `<path d="%s" fill="%s"/>`+"\n", s.path(p), s.ink())
}

func (s *svgCanvas) FillString(f font.Face, p vg.Point, text string) {
	if f.Font.Size == 0 || text == "" {
		return
	}
	x, y := s.at(p)
	fmt.Fprintf(&s.b, `<text x="%s" y="%s" font-size="%s" fill="%s" textLength="%s" lengthAdjust="spacingAndGlyphs"`,
		cents(x), cents(y), hundredths(f.Font.Size), s.ink(), hundredths(f.Width(text)))
	if f.Font.Weight > 0 {
		s.b.WriteString(` font-weight="bold"`)
	}
	if t := s.state; t.b != 0 { // the only turned text is upright
		fmt.Fprintf(&s.b, ` transform="rotate(%s %s %s)"`, strconv.FormatFloat(-math.Atan2(t.b, t.a)*180/math.Pi, 'g', 6, 64), cents(x), cents(y))
	}
	fmt.Fprintf(&s.b, ">%s</text>\n", escapeKeep(text))
}

func (s *svgCanvas) DrawImage(r vg.Rectangle, img image.Image) {
	var data bytes.Buffer
	if err := imagepng.Encode(&data, img); err != nil {
		panic(err) // a buffer takes everything, and the image is ours
	}
	x0, y0 := s.at(vg.Point{X: r.Min.X, Y: r.Max.Y})
	x1, y1 := s.at(vg.Point{X: r.Max.X, Y: r.Min.Y})
	fmt.Fprintf(&s.b, `<image x="%s" y="%s" width="%s" height="%s" preserveAspectRatio="none" style="image-rendering:pixelated" href="data:image/png;base64,%s"/>`+"\n",
		cents(x0), cents(y0), cents(x1-x0), cents(y1-y0), base64.StdEncoding.EncodeToString(data.Bytes()))
}

func (s *svgCanvas) ink() string {
	return hex(s.state.color)
}

// path writes moves, lines, whole circles and closings: all that is drawn here.
func (s *svgCanvas) path(p vg.Path) string {
	var b []byte
	lastX, lastY := 0, 0
	step := func(letter byte, x, y int) {
		b = append(b, letter)
		b = appendCents(b, x-lastX)
		if y-lastY >= 0 {
			b = append(b, ' ')
		}
		b = appendCents(b, y-lastY)
		lastX, lastY = x, y
	}
	startX, startY := 0, 0
	for _, comp := range p {
		switch comp.Type {
		case vg.MoveComp:
			x, y := s.at(comp.Pos)
			step('m', x, y)
			startX, startY = x, y
		case vg.LineComp:
			x, y := s.at(comp.Pos)
			step('l', x, y)
		case vg.ArcComp: // a circle that begins at its right
			r := hundredths(comp.Radius)
			d := hundredths(2 * comp.Radius)
			b = fmt.Appendf(b, "a%s %s 0 1 0-%s 0a%s %s 0 1 0 %s 0", r, r, d, r, r, d)
		case vg.CloseComp:
			b = append(b, 'z')
			lastX, lastY = startX, startY
		}
	}
	return string(b)
}

func hundredths(v vg.Length) string { return cents(int(math.Round(100 * float64(v)))) }

func cents(n int) string { return string(appendCents(nil, n)) }

// appendCents writes n/100 without needless digits.
func appendCents(b []byte, n int) []byte {
	if n < 0 {
		b, n = append(b, '-'), -n
	}
	if n >= 100 || n == 0 {
		b = strconv.AppendInt(b, int64(n/100), 10)
	}
	if n %= 100; n == 0 {
		return b
	}
	b = append(b, '.', byte('0'+n/10))
	if n%10 != 0 {
		b = append(b, byte('0'+n%10))
	}
	return b
}
