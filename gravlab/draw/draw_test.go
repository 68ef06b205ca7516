package draw

import (
	"bytes"
	"fmt"

	imagepng "image/png"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"
	"pgregory.net/rapid"

	"gravity.example/gravlab/draw/figure"
)

func TestRefused(t *testing.T) {
	f := &figure.Figure{X: figure.Axis{Label: "time", Unit: "s"}, Y: figure.Axis{Label: "angle"},
		Series: []figure.Series{{Kind: figure.Line, X: []float64{1}, Y: []float64{1}}}}
	if _, err := SVG(f); err == nil || !strings.Contains(err.Error(), "no unit") {
		t.Errorf("a figure without a unit: error %v", err)
	}
	f.Y.Unit = "rad"
	for _, scale := range []float64{0, 0.2, 5, math.NaN()} {
		if _, err := PNG(f, scale); err == nil {
			t.Errorf("scale %v: no error", scale)
		}
	}
}

func TestPNGSize(t *testing.T) {
	data, err := PNG(gallery()["steps"], 1)
	if err != nil {
		t.Fatal(err)
	}
	c, err := imagepng.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if c.Width != 840 {
		t.Errorf("the image is %d pixels wide, want 840", c.Width)
	}
}

func ticksOf(s *scale) []string {
	var out []string
	for _, t := range s.ticks {
		if t.text != "" {
			out = append(out, t.text)
		}
	}
	return out
}

func TestTicks(t *testing.T) {
	axis := figure.Axis{Label: "q", Unit: "m"}
	log := figure.Axis{Label: "q", Unit: "m", Log: true}
	for _, c := range []struct {
		axis   figure.Axis
		lo, hi float64
		label  string
		ticks  string
	}{
		{axis, 0, 10, "q (m)", "0 2 4 6 8 10"},
		{axis, -1, 1, "q (m)", "−1.0 −0.5 0.0 0.5 1.0"},
		{axis, 0, 3e-8, "q (10⁻⁹ m)", "0 10 20 30"},
		{axis, 0, 4e6, "q (10⁶ m)", "0 1 2 3 4"},
		{axis, 9.80665, 9.80665004, "q − 9.80665000 m (10⁻⁹ m)", "0 10 20 30 40"},
		{axis, 5, 5, "q (m)", "4.6 4.8 5.0 5.2 5.4"},
		{figure.Axis{Label: "n", Unit: "1"}, 0, 4, "n", "0 1 2 3 4"},
		{log, 1e-9, 1e-3, "q (m)", "10⁻⁹ 10⁻⁸ 10⁻⁷ 10⁻⁶ 10⁻⁵ 10⁻⁴ 10⁻³"},
		{log, 0.01, 100, "q (m)", "0.01 0.1 1 10 100"},
		{log, 1, 20, "q (m)", "1 2 5 10 20"},
	} {
		s := newScale(c.axis, c.lo, c.hi, 5, true)
		if got := strings.Join(ticksOf(s), " "); got != c.ticks || s.label != c.label {
			t.Errorf("%v to %v: %q with %q, want %q with %q", c.lo, c.hi, got, s.label, c.ticks, c.label)
		}
	}
}

// A thinned line reaches as far up and down in every column as the whole line.
func TestThinKeepsPeaks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 400).Draw(t, "n")
		pts := make([]vg.Point, n)
		for i := range pts {
			pts[i] = vg.Point{X: vg.Length(i) * 0.05, Y: vg.Length(rapid.Float64Range(-100, 100).Draw(t, "y"))}
		}
		reach := func(pts []vg.Point) map[int][2]vg.Length {
			out := map[int][2]vg.Length{}
			for _, p := range pts {
				k := int(math.Floor(float64(p.X) / column))
				r, ok := out[k]
				if !ok {
					r = [2]vg.Length{p.Y, p.Y}
				}
				out[k] = [2]vg.Length{min(r[0], p.Y), max(r[1], p.Y)}
			}
			return out
		}
		kept := thin(pts)
		want, got := reach(pts), reach(kept)
		for k, w := range want {
			if got[k] != w {
				t.Fatalf("column %d reaches %v, want %v", k, got[k], w)
			}
		}
		if kept[0] != pts[0] || kept[len(kept)-1] != pts[n-1] {
			t.Fatal("the ends are not kept")
		}
		if len(kept) > 4*len(want) {
			t.Fatalf("%d points in %d columns", len(kept), len(want))
		}
	})
}

func TestSpreadKeepsOutliers(t *testing.T) {
	var pts []vg.Point
	for i := range 100_000 {
		pts = append(pts, vg.Point{X: vg.Length(i%300) + 0.3, Y: vg.Length(i%97) + 0.1})
	}
	pts = append(pts, vg.Point{X: 150, Y: 5000})
	kept := spread(pts)
	if len(kept) > mostDots {
		t.Errorf("%d dots, want at most %d", len(kept), mostDots)
	}
	if kept[len(kept)-1] != len(pts)-1 {
		t.Error("the outlier is gone")
	}
}

// On a plane the isolines are straight, where they should be, and as long as
// the area is high.
func TestIsolinesOfAPlane(t *testing.T) {
	m := &figure.Map{X: []float64{0, 1, 2, 3}, Y: []float64{0, 2, 4}}
	for range m.Y {
		m.Z = append(m.Z, m.X...)
	}
	length := 0.0
	isolines(m, 1.25, func(x0, y0, x1, y1 float64) {
		// Rounding of one interpolation between numbers of size 1.
		if math.Abs(x0-1.25) > 1e-15 || math.Abs(x1-1.25) > 1e-15 {
			t.Errorf("a piece from x = %v to %v, want 1.25", x0, x1)
		}
		length += math.Hypot(x1-x0, y1-y0)
	})
	if math.Abs(length-4) > 1e-12 {
		t.Errorf("the line is %v long, want 4", length)
	}
}

// A step in the colours of a map lies where its scale says.
func TestHeatSteps(t *testing.T) {
	h := newHeat(&figure.Map{X: []float64{0, 1}, Y: []float64{0, 1}, Z: []float64{-35, 10, 20, math.NaN()}, Signed: true})
	for i, c := range h.colors {
		mid := (h.limits[i] + h.limits[i+1]) / 2
		if got := h.step(mid); got != i {
			t.Errorf("the value %v has colour %d, want %d (%v)", mid, got, i, c)
		}
	}
	n := len(h.limits)
	if h.limits[0] != -h.limits[n-1] {
		t.Errorf("the limits %v are not centred on zero", h.limits)
	}
	if h.step(math.NaN()) != -1 {
		t.Error("a gap has a colour")
	}
}

// Any figure that Validate takes is drawn, without NaN or infinity in the file.
func TestAnyFigureIsDrawn(t *testing.T) {
	kinds := []figure.Kind{figure.Line, figure.Points, figure.Steps, figure.Band}
	number := rapid.OneOf(rapid.Float64Range(-1e150, 1e150), rapid.Float64Range(-1, 1), rapid.SampledFrom([]float64{0, 1e15, 1e15 + 0.125, 5e-324, math.NaN()}))
	rapid.Check(t, func(t *rapid.T) {
		f := &figure.Figure{Title: rapid.StringN(0, 80, 200).Draw(t, "title"),
			X: figure.Axis{Label: "x", Unit: "m", Log: rapid.Bool().Draw(t, "log x"), Flip: rapid.Bool().Draw(t, "flip")},
			Y: figure.Axis{Label: "y", Unit: "s", Log: rapid.Bool().Draw(t, "log y")}}
		if rapid.Bool().Draw(t, "fixed") {
			f.Y.Min, f.Y.Max = number.Draw(t, "min"), number.Draw(t, "max")
		}
		n := rapid.IntRange(1, 12).Draw(t, "n")
		for range rapid.IntRange(1, 3).Draw(t, "series") {
			s := figure.Series{Name: rapid.StringN(1, 10, 30).Draw(t, "name"), Kind: rapid.SampledFrom(kinds).Draw(t, "kind")}
			for range n {
				s.X = append(s.X, number.Draw(t, "x"))
				s.Y = append(s.Y, number.Draw(t, "y"))
				s.U = append(s.U, math.Abs(number.Draw(t, "u")))
			}
			f.Series = append(f.Series, s)
		}
		for _, k := range []figure.MarkKind{figure.Vertical, figure.Horizontal, figure.Label, figure.Span} {
			f.Marks = append(f.Marks, figure.Mark{Kind: k, X: number.Draw(t, "mark"), Y: number.Draw(t, "mark"), X2: number.Draw(t, "mark"), Text: "mark"})
		}
		if f.Validate() != nil {
			// Logarithmic axes and NaN refuse much of what is drawn at random;
			// repair the most common reasons and try again.
			for i := range f.Series {
				s := &f.Series[i]
				for j := range s.X {
					s.X[j], s.Y[j], s.U[j] = repair(s.X[j], f.X.Log), repair(s.Y[j], f.Y.Log), repair(s.U[j], true)
				}
			}
			for i := range f.Marks {
				m := &f.Marks[i]
				m.X, m.Y, m.X2 = repair(m.X, false), repair(m.Y, false), repair(m.X2, false)
			}
			f.Y.Min, f.Y.Max = 0, 0
		}
		if err := f.Validate(); err != nil {
			t.Fatalf("repaired, but refused: %v", err)
		}
		data, err := SVG(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, never := range []string{"NaN", "Inf", "-9223372036854775808", "92233720368547758"} {
			if bytes.Contains(data[bytes.Index(data, []byte("</desc>")):], []byte(never)) && !strings.Contains(f.Title, never) {
				t.Fatalf("the file holds %s", never)
			}
		}
		if _, _, err := ChartOption(f); err != nil {
			t.Fatal(err)
		}
	})
}

func repair(v float64, positive bool) float64 {
	if math.IsNaN(v) {
		v = 2
	}
	if positive {
		v = max(math.Abs(v), 1e-140)
	}
	return v
}

// The colours are those of the publication, in its table of RGB values (B. Wong,
// Nature Methods 8, 441 (2011), figure 2).
func TestPaletteIsThePublishedOne(t *testing.T) {
	published := map[string][3]uint8{
		"black": {0, 0, 0}, "orange": {230, 159, 0}, "sky blue": {86, 180, 233}, "bluish green": {0, 158, 115},
		"blue": {0, 114, 178}, "vermilion": {213, 94, 0}, "reddish purple": {204, 121, 167},
	}
	names := map[[3]uint8]string{}
	for name, rgb := range published {
		names[rgb] = name
	}
	for i, c := range palette {
		name, ok := names[[3]uint8{c.R, c.G, c.B}]
		if !ok {
			t.Errorf("colour %d is %v, which is not in the table or is there twice", i, c)
		}
		delete(names, published[name])
	}
	if len(names) > 0 {
		t.Errorf("the palette lacks %v", names)
	}
}

// Lines with different colours have different dashes, and points shapes.
func TestLinesDifferByDash(t *testing.T) {
	if len(dashes) < len(palette) || len(shapes) < len(palette) {
		t.Fatalf("%d dashes and %d shapes for %d colours", len(dashes), len(shapes), len(palette))
	}
	seen := map[string]bool{}
	for _, d := range dashes {
		key := fmt.Sprint(d)
		if seen[key] {
			t.Errorf("the dash %v is there twice", d)
		}
		seen[key] = true
	}
}

// A path is written relative to points that are themselves rounded, so that
// rounding does not add up along a line.
func TestSVGPathDoesNotDrift(t *testing.T) {
	s := newSVG(100, 100, "", "")
	var p vg.Path
	p.Move(vg.Point{})
	for i := 1; i <= 1000; i++ {
		p.Line(vg.Point{X: vg.Length(i) * 0.0333})
	}
	d := s.path(p)
	sum := 0
	for _, part := range strings.Split(d, "l")[1:] {
		x, _, _ := strings.Cut(part, " ")
		n := 0
		for _, r := range strings.TrimPrefix(x, ".") {
			n = 10*n + int(r-'0')
		}
		if len(x) == 2 { // ".3" is 30 hundredths
			n *= 10
		}
		sum += n
	}
	if sum != 3330 {
		t.Errorf("the line ends at %d hundredths, want 3330", sum)
	}
}

var sink []byte

func BenchmarkSVG(b *testing.B) {
	all := gallery()
	for _, name := range []string{"swing", "long", "cloud", "anomaly"} {
		b.Run("figure="+name, func(b *testing.B) {
			for b.Loop() {
				sink, _ = SVG(all[name])
			}
			b.ReportMetric(float64(len(sink)), "bytes/file")
		})
	}
}

func BenchmarkPNG(b *testing.B) {
	all := gallery()
	for _, name := range []string{"swing", "long", "cloud", "anomaly"} {
		b.Run("figure="+name, func(b *testing.B) {
			for b.Loop() {
				sink, _ = PNG(all[name], 1)
			}
			b.ReportMetric(float64(len(sink)), "bytes/file")
		})
	}
}

func BenchmarkChartOption(b *testing.B) {
	f := gallery()["long"]
	for b.Loop() {
		sink, _, _ = ChartOption(f)
	}
}
