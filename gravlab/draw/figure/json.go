package figure

import (
	"fmt"
	"math"
	"strconv"
)

// An object writes the JSON that Unpack reads, in the cell's program. Package json would have to be
// linked into it, and takes the interpreter of confined programs longer than all the rest of a
// figure.
type object struct {
	b   []byte
	err error // of the first number that JSON does not have
}

func (o *object) key(name string) {
	if n := len(o.b); n > 0 && o.b[n-1] != '{' && o.b[n-1] != '[' {
		o.b = append(o.b, ',')
	}
	if name != "" {
		o.b = append(append(append(o.b, '"'), name...), '"', ':')
	}
}

func (o *object) text(name, s string) {
	o.key(name)
	o.b = append(o.b, '"')
	for i := range len(s) {
		switch c := s[i]; {
		case c == '"' || c == '\\':
			o.b = append(o.b, '\\', c)
		case c < ' ':
			o.b = append(o.b, `\u00`...)
			o.b = append(o.b, "0123456789abcdef"[c>>4], "0123456789abcdef"[c&15])
		default:
			o.b = append(o.b, c)
		}
	}
	o.b = append(o.b, '"')
}

// maybeText, truth and maybeNumber leave a field out that is empty.

func (o *object) maybeText(name, s string) {
	if s != "" {
		o.text(name, s)
	}
}

func (o *object) truth(name string, is bool) {
	if is {
		o.key(name)
		o.b = append(o.b, "true"...)
	}
}

func (o *object) maybeNumber(name string, v float64) {
	if v != 0 {
		o.number(name, v)
	}
}

// number writes one that may be 0.
func (o *object) number(name string, v float64) {
	if o.err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
		o.err = fmt.Errorf("%s is %v", name, v)
	}
	o.key(name)
	o.b = strconv.AppendFloat(o.b, v, 'g', -1, 64)
}

func (o *object) count(name string, n int) {
	o.key(name)
	o.b = strconv.AppendInt(o.b, int64(n), 10)
}

// within writes what is between brackets.
func (o *object) within(name, brackets string, write func()) {
	o.key(name)
	o.b = append(o.b, brackets[0])
	write()
	o.b = append(o.b, brackets[1])
}

// list writes a list of objects, and nothing if it is empty.
func list[T any](o *object, name string, all []T, write func(*T)) {
	if len(all) > 0 {
		o.within(name, "[]", func() {
			for i := range all {
				o.within("", "{}", func() { write(&all[i]) })
			}
		})
	}
}

func (o *object) axis(name string, a Axis) {
	o.within(name, "{}", func() {
		o.text("label", a.Label)
		o.text("unit", a.Unit)
		o.truth("log", a.Log)
		o.maybeNumber("min", a.Min)
		o.maybeNumber("max", a.Max)
		o.truth("flip", a.Flip)
	})
}

func (o *object) series(s *Series) {
	o.maybeText("name", s.Name)
	o.text("kind", string(s.Kind))
	if s.Link != 0 {
		o.count("link", s.Link)
	}
}

func (o *object) mark(m *Mark) {
	o.text("kind", string(m.Kind))
	o.maybeNumber("x", m.X)
	o.maybeNumber("y", m.Y)
	o.maybeNumber("x2", m.X2)
	o.maybeText("text", m.Text)
}

func (o *object) panel(p *Panel) {
	o.axis("y", p.Y)
	list(o, "series", p.Series, o.series)
	list(o, "marks", p.Marks, o.mark)
	o.maybeNumber("share", p.Share)
}

func (o *object) figure(f *Figure) {
	o.maybeText("title", f.Title)
	o.maybeText("caption", f.Caption)
	o.maybeText("alt", f.Alt)
	o.axis("x", f.X)
	o.axis("y", f.Y)
	list(o, "series", f.Series, o.series)
	list(o, "marks", f.Marks, o.mark)
	if m := f.Map; m != nil {
		o.within("map", "{}", func() {
			o.text("label", m.Label)
			o.text("unit", m.Unit)
			o.truth("signed", m.Signed)
			o.truth("lines", m.Lines)
			o.maybeNumber("interval", m.Interval)
			o.truth("fit", m.Fit)
			o.truth("square", m.Square)
		})
	}
	list(o, "under", f.Under, o.panel)
}

func (o *object) sketch(s *Sketch) {
	o.maybeText("title", s.Title)
	o.maybeText("caption", s.Caption)
	o.maybeText("alt", s.Alt)
	o.text("unit", s.Unit)
	list(o, "shapes", s.Shapes, func(sh *Shape) {
		o.text("kind", string(sh.Kind))
		o.maybeText("role", string(sh.Role))
		o.number("x", sh.X)
		o.number("y", sh.Y)
		o.maybeNumber("x2", sh.X2)
		o.maybeNumber("y2", sh.Y2)
		o.maybeNumber("r", sh.R)
		o.maybeText("text", sh.Text)
	})
	o.maybeNumber("bar", s.Bar)
}
