package draw

import (
	"fmt"
	"html"
	"image/color"
	"strings"
	"unicode"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"
)

// The palette: see the package comment. The order puts the darkest first.
var palette = []color.NRGBA{
	{0x00, 0x72, 0xb2, 255}, // blue
	{0xd5, 0x5e, 0x00, 255}, // vermilion
	{0x00, 0x9e, 0x73, 255}, // bluish green
	{0xcc, 0x79, 0xa7, 255}, // reddish purple
	{0x00, 0x00, 0x00, 255}, // black
	{0xe6, 0x9f, 0x00, 255}, // orange
	{0x56, 0xb4, 0xe9, 255}, // sky blue
}

var (
	ink   = color.NRGBA{0x22, 0x22, 0x22, 255}
	faint = color.NRGBA{0xe4, 0xe4, 0xe4, 255}
	grey  = color.NRGBA{0x66, 0x66, 0x66, 255}
	shade = color.NRGBA{0xee, 0xee, 0xee, 255}
	white = color.NRGBA{255, 255, 255, 255}

	support = color.NRGBA{0xdd, 0xdd, 0xdd, 255}
	// mapInk stands out on every colour of a map, on a dark page as well.
	mapInk = color.NRGBA{0x33, 0x33, 0x33, 255}
)

// dashes tell lines apart without colour.
var dashes = [][]vg.Length{
	nil,
	{6, 3},
	{1.5, 2.5},
	{8, 2.5, 1.5, 2.5},
	{12, 4},
	{4, 2, 1.5, 2, 1.5, 2},
	{3, 1.5},
}

// Shares of colour in a fill.
const (
	bandTint  = 0.28
	bodyTint  = 0.35
	lightTint = 0.25
)

var tints = []float64{bandTint, bodyTint, lightTint}

// tint is a lighter opaque relative of c, for fills.
func tint(c color.NRGBA, share float64) color.NRGBA { return blend(c, white, share) }

// blend is a share of c on an opaque ground.
func blend(c, ground color.NRGBA, share float64) color.NRGBA {
	mix := func(v, g uint8) uint8 { return uint8(float64(g) - share*(float64(g)-float64(v))) }
	return color.NRGBA{mix(c.R, ground.R), mix(c.G, ground.G), mix(c.B, ground.B), 255}
}

func hex(c color.NRGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// Sizes in points.
const (
	width     = 420
	plotH     = 210 // height of the first panel's plot area
	textSize  = 12
	tickSize  = 11
	titleSize = 13
	margin    = 6
)

var fonts = font.NewCache(liberation.Collection())

func face(size vg.Length, bold bool) font.Face {
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if bold {
		f.Weight = xfont.WeightBold
	}
	return fonts.Lookup(f, size)
}

// raised and lowered characters are drawn as small ordinary ones: the font
// lacks some of them, and a mixture looks uneven.
var (
	raised  = map[rune]rune{'⁰': '0', '¹': '1', '²': '2', '³': '3', '⁴': '4', '⁵': '5', '⁶': '6', '⁷': '7', '⁸': '8', '⁹': '9', '⁻': '−', '⁺': '+'}
	lowered = map[rune]rune{'₀': '0', '₁': '1', '₂': '2', '₃': '3', '₄': '4', '₅': '5', '₆': '6', '₇': '7', '₈': '8', '₉': '9'}
)

// A run is a piece of text on one level: +1 raised, -1 lowered.
type run struct {
	text  string
	level int
}

func runs(s string) []run {
	var out []run
	for _, r := range s {
		level := 0
		if p, ok := raised[r]; ok {
			r, level = p, 1
		} else if p, ok := lowered[r]; ok {
			r, level = p, -1
		}
		if n := len(out); n > 0 && out[n-1].level == level {
			out[n-1].text += string(r)
		} else {
			out = append(out, run{string(r), level})
		}
	}
	return out
}

// A label is text with its look. Where is given to put as the point at which
// the label's box is anchored: ax, ay from 0 (left, bottom) to 1 (right, top).
type label struct {
	size   vg.Length
	bold   bool
	color  color.NRGBA
	upward bool // turned to read from bottom to top
}

func (l label) width(s string) vg.Length {
	var w vg.Length
	for _, r := range runs(s) {
		w += l.face(r.level).Width(r.text)
	}
	return w
}

func (l label) face(level int) *font.Face {
	size := l.size
	if level != 0 {
		size *= 0.72
	}
	f := face(size, l.bold)
	return &f
}

// rise is the height of capitals as a share of the type size, about right for
// the font; it centres text better than the whole line would.
const rise = 0.72

func (l label) put(c *vgdraw.Canvas, at vg.Point, ax, ay float64, s string) {
	s = printable(s)
	if s == "" {
		return
	}
	dx, dy := -vg.Length(ax)*l.width(s), -vg.Length(ay*rise)*l.size
	c.SetColor(l.color)
	if l.upward {
		c.Push()
		c.Translate(at)
		c.Rotate(1.5707963267948966)
		at = vg.Point{}
		defer c.Pop()
	}
	at.X += dx
	at.Y += dy
	for _, r := range runs(s) {
		f := l.face(r.level)
		p := at
		switch r.level {
		case 1:
			p.Y += 0.36 * l.size
		case -1:
			p.Y -= 0.16 * l.size
		}
		c.FillString(*f, p, strings.ReplaceAll(r.text, " ", "\u00a0")) // an SVG drops blanks at the ends
		at.X += f.Width(r.text)
	}
}

// wrap breaks s into lines no wider than w.
func (l label) wrap(s string, w vg.Length) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(printable(s)) {
		switch {
		case line == "":
			line = word
		case l.width(line+" "+word) <= w:
			line += " " + word
		default:
			lines = append(lines, line)
			line = word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// printable drops what neither a font nor an SVG file can hold.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' || r == '\u00a0' || r == '\u202f' {
			return ' '
		}
		if unicode.IsControl(r) || r == unicode.ReplacementChar || r == '\ufffe' || r == '\uffff' {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, ""))
}

func escape(s string) string { return html.EscapeString(printable(s)) }

// escapeKeep is escape for text that has been through printable already.
func escapeKeep(s string) string { return html.EscapeString(s) }
