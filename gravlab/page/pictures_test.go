package page_test

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/draw/figure"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
	labpage "gravity.example/gravlab/page"
	"gravity.example/gravlab/wire"
)

var update = flag.Bool("update", false, "make the labs' pictures in the list again")

// The list shows a picture of each lab: that of the box whose
// metadata say {"gravlab": {"picture": true}}, else its first sketch, else its first figure,
// without words and as small as a card. With -update they are made.
func TestPictures(t *testing.T) {
	if testing.Short() {
		t.Skip("a box of each lab is compiled and run")
	}
	runner := confined(t)
	for _, lab := range exercises.Labs() {
		svg := pictureOf(t, runner, lab.ID)
		path := filepath.Join("assets", "lab-"+lab.ID+".svg")
		if *update {
			if err := os.WriteFile(path, svg, 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if got, err := os.ReadFile(path); err != nil || !bytes.Equal(got, svg) {
			t.Errorf("the list has no picture of lab %s as it is now: go test ./gravlab/page -run TestPictures -update", lab.Number())
		}
		if len(svg) > 20_000 {
			t.Errorf("the picture of lab %s has %d bytes; a list of them is loaded at once", lab.Number(), len(svg))
		}
	}
}

// pictureOf runs the box of a lab's default sheet that draws its picture.
func pictureOf(t *testing.T, runner labpage.Runner, id string) []byte {
	t.Helper()
	nb, err := notebook.ReadFile(filepath.Join(labs, id+".ipynb"), notebook.Options{})
	if err != nil {
		t.Fatal(err)
	}
	at, found, above := -1, false, []string{}
	for i, c := range nb.Cells {
		_, _, marked := c.Question()
		if c.Kind != notebook.Code || marked {
			continue
		}
		if chosen, _ := c.Own()["picture"].(bool); chosen || !found && strings.Contains(c.Source, "show.Sketch") {
			at, found = i, true
			if chosen {
				break
			}
		}
		if at < 0 && strings.Contains(c.Source, "show.") {
			at = i
		}
	}
	if at < 0 {
		t.Fatalf("lab %s shows nothing", id)
	}
	for _, c := range nb.Cells[:at] {
		if c.Kind == notebook.Code {
			above = append(above, c.Source)
		}
	}
	server, err := labserver.New(labserver.Options{Data: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer server.Close()
	session := server.Session(labserver.SessionOptions{Confined: true})
	var svg []byte
	exchange := func(in []byte) []byte {
		f, err := wire.Decode(in)
		if err == nil && svg == nil {
			switch f.Kind {
			case wire.Sketch:
				var s figure.Sketch
				if err := json.Unmarshal(f.Figure, &s); err != nil {
					t.Error(err)
				}
				svg = smallSketch(&s)
			case wire.Figure, wire.Chart:
				fig, err := figure.Unpack(f.Figure, f.Numbers)
				if err != nil {
					t.Error(err)
				}
				svg = smallFigure(fig)
			}
		}
		return session.Exchange(in)
	}
	result, err := runner.RunBox(context.Background(), labpage.Box{Above: above, Source: nb.Cells[at].Source, Exchange: exchange, Output: func([]byte) {}, Log: func(string) {}})
	if err != nil || len(result.Trouble) > 0 || svg == nil {
		t.Fatalf("lab %s, cell %s: %v %v", id, nb.Cells[at].ID, err, result.Trouble)
	}
	return svg
}

// Size and margin of a picture, in pixels.
const (
	pictureW, pictureH = 320.0, 180.0
	pictureEdge        = 16.0
)

// pictureHead has the colours of package draw, and others in the dark: mass m, sensor s, support u,
// light l, guide g, plain p; f is filled.
const pictureHead = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 320 180" width="320" height="180"><style>
.m{--c:#d55e00;--f:#f0c5a6}.s{--c:#0072b2;--f:#a6cfe4}.u{--c:#666;--f:#ddd}.l{--c:#009e73;--f:#bfe7dc}.g{--c:#777;--f:none}.p{--c:#222;--f:none}
path,circle,rect{stroke:var(--c);fill:none;stroke-width:2;stroke-linecap:round;stroke-linejoin:round}.f{fill:var(--f)}.a{fill:var(--c)}.d{stroke-dasharray:5 4;stroke-width:1.5}

@media(prefers-color-scheme:dark){.m{--c:#e8813a;--f:#6a3a1a}.s{--c:#4aa3dd;--f:#1d4a68}.u{--c:#a5a8ae;--f:#3a3e46}.l{--c:#2fbf96;--f:#17493c}.g{--c:#999}.p{--c:#ddd}}
</style>
`

var pictureClass = map[figure.Role]string{figure.Plain: "p", figure.Mass: "m", figure.Sensor: "s", figure.Support: "u", figure.Light: "l", figure.Guide: "g d"}

// smallSketch draws a sketch without its words and lengths.
func smallSketch(s *figure.Sketch) []byte {
	x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	var shapes []figure.Shape
	for _, sh := range s.Shapes {
		if sh.Kind == figure.Text || sh.Kind == figure.Length {
			continue
		}
		shapes = append(shapes, sh)
		if sh.Kind == figure.Circle {
			sh.X, sh.X2, sh.Y, sh.Y2 = sh.X-sh.R, sh.X+sh.R, sh.Y-sh.R, sh.Y+sh.R
		}
		x0, x1 = min(x0, sh.X, sh.X2), max(x1, sh.X, sh.X2)
		y0, y1 = min(y0, sh.Y, sh.Y2), max(y1, sh.Y, sh.Y2)
	}
	scale := min((pictureW-2*pictureEdge)/max(x1-x0, 1e-300), (pictureH-2*pictureEdge)/max(y1-y0, 1e-300))
	left, top := (pictureW-scale*(x1-x0))/2, (pictureH-scale*(y1-y0))/2
	px := func(x float64) float64 { return left + scale*(x-x0) }
	py := func(y float64) float64 { return top + scale*(y1-y) }
	var b bytes.Buffer
	b.WriteString(pictureHead)
	for _, sh := range shapes {
		class := pictureClass[sh.Role]
		ax, ay, bx, by := px(sh.X), py(sh.Y), px(sh.X2), py(sh.Y2)
		switch sh.Kind {
		case figure.Circle:
			fmt.Fprintf(&b, "<circle class=\"%s f\" cx=\"%.1f\" cy=\"%.1f\" r=\"%.1f\"/>\n", class, ax, ay, max(scale*sh.R, 2.5))
		case figure.Box:
			fmt.Fprintf(&b, "<rect class=\"%s f\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\"/>\n", class, min(ax, bx), min(ay, by), math.Abs(bx-ax), math.Abs(by-ay))
		case figure.Segment, figure.Arrow:
			fmt.Fprintf(&b, "<path class=\"%s\" d=\"M%.1f %.1fL%.1f %.1f\"/>\n", class, ax, ay, bx, by)
			if l := math.Hypot(bx-ax, by-ay); sh.Kind == figure.Arrow && l > 0 {
				ux, uy := (bx-ax)/l, (by-ay)/l
				fmt.Fprintf(&b, "<path class=\"%s a\" d=\"M%.1f %.1fL%.1f %.1fL%.1f %.1fZ\"/>\n", class[:1], bx, by, bx-8*ux-3*uy, by-8*uy+3*ux, bx-8*ux+3*uy, by-8*uy-3*ux)
			}
		}
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// smallFigure draws the first panel of a figure without its words.
func smallFigure(f *figure.Figure) []byte {
	f = figure.Thin(f, 900)
	along := func(a figure.Axis, v float64) float64 {
		if a.Log {
			return math.Log10(v)
		}
		return v
	}
	x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, s := range f.Series {
		for i := range s.X {
			x, y := along(f.X, s.X[i]), along(f.Y, s.Y[i])
			if !math.IsNaN(x+y) && !math.IsInf(x+y, 0) {
				x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
			}
		}
	}
	for _, r := range []struct {
		a      figure.Axis
		lo, hi *float64
	}{{f.X, &x0, &x1}, {f.Y, &y0, &y1}} {
		if r.a.Min != 0 || r.a.Max != 0 {
			*r.lo, *r.hi = along(r.a, r.a.Min), along(r.a, r.a.Max)
		}
	}
	px := func(x float64) float64 {
		return pictureEdge + 8 + (pictureW-2*pictureEdge-8)*(along(f.X, x)-x0)/(x1-x0)
	}
	py := func(y float64) float64 {
		share := (along(f.Y, y) - y0) / (y1 - y0)
		if f.Y.Flip {
			share = 1 - share
		}
		return pictureH - pictureEdge - 8 - (pictureH-2*pictureEdge-8)*share
	}
	var b bytes.Buffer
	b.WriteString(pictureHead)
	fmt.Fprintf(&b, "<path class=\"u\" d=\"M%.0f %.0fV%.0fH%.0f\"/>\n", pictureEdge, pictureEdge, pictureH-pictureEdge, pictureW-pictureEdge)
	for k, s := range f.Series {
		class := []string{"s", "m", "l", "u"}[k%4]
		var line strings.Builder
		for i := range s.X {
			x, y := px(s.X[i]), py(s.Y[i])
			switch {
			case math.IsNaN(x+y) || math.IsInf(x+y, 0):
			case s.Kind == figure.Points:
				fmt.Fprintf(&b, "<circle class=\"%s a\" cx=\"%.1f\" cy=\"%.1f\" r=\"1.5\"/>\n", class, x, y)
			case line.Len() == 0:
				fmt.Fprintf(&line, "M%.1f %.1f", x, y)
			default:
				fmt.Fprintf(&line, "L%.1f %.1f", x, y)
			}
		}
		if line.Len() > 0 && s.Kind != figure.Band {
			fmt.Fprintf(&b, "<path class=\"%s\" d=\"%s\"/>\n", class, line.String())
		}
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}
