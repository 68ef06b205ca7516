// Package figure describes figures as plain data: what is plotted, on which
// axes, in which units. It draws nothing and imports the standard library
// only, so that a student's cell can make a figure and send it away cheaply;
// package draw draws it.
//
// A figure has one message. Its axes say what they show and in which unit, and
// its data carry their uncertainty. Validate refuses a figure without.
package figure

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"unicode"
)

// Kind says how a series is drawn.
type Kind string

// The kinds of series.
const (
	Line   Kind = "line"   // joined points; with U also a band of ± U
	Points Kind = "points" // marks; with U also bars of ± U
	Steps  Kind = "steps"  // constant from each X to the next
	Band   Kind = "band"   // filled from Y-U to Y+U, without a line
)

// Figure is a plot with one horizontal axis and one or more panels.
type Figure struct {
	Title   string `json:"title,omitempty"`
	Caption string `json:"caption,omitempty"` // what to see in it; one or two sentences
	Alt     string `json:"alt,omitempty"`     // for readers who do not see it; made from the rest if empty

	X      Axis     `json:"x"`
	Y      Axis     `json:"y"`
	Series []Series `json:"series,omitempty"`
	Marks  []Mark   `json:"marks,omitempty"`

	// Map is drawn under the series, for example gz over an area.
	Map *Map `json:"map,omitempty"`

	// Under are further panels below the first with the same horizontal axis,
	// for example residuals.
	Under []Panel `json:"under,omitempty"`
}

// Axis says what an axis shows. Label and Unit are mandatory.
type Axis struct {
	Label string `json:"label"`         // "angle"
	Unit  string `json:"unit"`          // "mrad"; "1" for a pure number
	Log   bool   `json:"log,omitempty"` // logarithmic; the data must be above zero
	// Min and Max set the range; both 0 fit it to the data.
	Min float64 `json:"min,omitempty"`
	Max float64 `json:"max,omitempty"`
	// Flip turns the axis round, for example for depth.
	Flip bool `json:"flip,omitempty"`
}

// Series is one set of data. A NaN in Y is a gap.
type Series struct {
	Name string    `json:"name,omitempty"` // for the key; needed where a panel has several
	Kind Kind      `json:"kind"`
	X    []float64 `json:"-"` // in the unit of the axis
	Y    []float64 `json:"-"` // as many as X
	U    []float64 `json:"-"` // standard uncertainty of Y: none, or as many as X
	// Link gives the series the colour of series number Link (from 1) of the
	// same panel, for example a fit and the data it belongs to.
	Link int `json:"link,omitempty"`
}

// Panel is a further panel of a figure.
type Panel struct {
	Y      Axis     `json:"y"`
	Series []Series `json:"series,omitempty"`
	Marks  []Mark   `json:"marks,omitempty"`
	// Share is the height as a fraction of the first panel's; 0 means 0.45.
	Share float64 `json:"share,omitempty"`
}

// MarkKind says how a mark is drawn.
type MarkKind string

// The kinds of mark.
const (
	Vertical   MarkKind = "vertical"   // a line at X
	Horizontal MarkKind = "horizontal" // a line at Y
	Label      MarkKind = "label"      // text at X, Y
	Span       MarkKind = "span"       // shaded from X to X2
)

// Mark is a line or a text that points something out.
type Mark struct {
	Kind MarkKind `json:"kind"`
	X    float64  `json:"x,omitempty"`
	Y    float64  `json:"y,omitempty"`
	X2   float64  `json:"x2,omitempty"`
	Text string   `json:"text,omitempty"`
}

// Map is a quantity on a grid: Z[j*len(X)+i] belongs to X[i], Y[j].
type Map struct {
	Label string    `json:"label"`
	Unit  string    `json:"unit"`
	X     []float64 `json:"-"` // evenly spaced, rising
	Y     []float64 `json:"-"` // evenly spaced, rising
	Z     []float64 `json:"-"` // NaN is a gap
	// Signed centres the colours on zero, for anomalies.
	Signed bool `json:"signed,omitempty"`
	// Lines draws contour lines at the limits of the colours; with Signed those below zero are
	// dashed, so that a print without colour tells the sides apart.
	Lines bool `json:"lines,omitempty"`
	// Interval is the step of the colours and lines, in Unit; 0 chooses one. With Lines, the
	// lines carry their values.
	Interval float64 `json:"interval,omitempty"`
	// Fit makes the scale of a signed map end where the values end, so that one that is
	// negative all over has as many colours as any other. Zero keeps its place in the
	// colours.
	Fit bool `json:"fit,omitempty"`
	// Square keeps a metre north as long as a metre east.
	Square bool `json:"square,omitempty"`
}

// AddResiduals adds a panel with y - fitted below the figure, and a line at
// zero. u may be nil.
func (f *Figure) AddResiduals(unit string, x, y, u, fitted []float64) {
	r := make([]float64, min(len(y), len(fitted)))
	for i := range r {
		r[i] = y[i] - fitted[i]
	}
	f.Under = append(f.Under, Panel{
		Y:      Axis{Label: "residual", Unit: unit},
		Series: []Series{{Name: "residual", Kind: Points, X: x, Y: r, U: u}},
		Marks:  []Mark{{Kind: Horizontal}},
	})
}

// Panels returns all panels from the top, the first with the figure's own data.
func (f *Figure) Panels() []Panel {
	return append([]Panel{{Y: f.Y, Series: f.Series, Marks: f.Marks, Share: 1}}, f.Under...)
}

// Validate says what is wrong with the figure, everything at once.
func (f *Figure) Validate() error {
	var errs []error
	bad := func(format string, args ...any) { errs = append(errs, fmt.Errorf("figure: "+format, args...)) }
	fit(bad, maxText, text{"title", f.Title})
	fit(bad, maxProse, text{"caption", f.Caption}, text{"alt text", f.Alt})
	f.X.check("x axis", bad)
	if n := len(f.Under); n > 5 {
		bad("%d panels under the first; allowed: 5 at most", n)
	}
	if len(f.Series) == 0 && f.Map == nil {
		bad("nothing to draw: Series is empty; give at least one series or a map")
	}
	for i, p := range f.Panels() {
		where := ""
		if i > 0 {
			where = fmt.Sprintf("panel %d: ", i+1)
		}
		p.Y.check(where+"y axis", bad)
		if !(p.Share >= 0 && p.Share <= 5) {
			bad("%sShare is %v; allowed: 0 to 5", where, p.Share)
		}
		if len(p.Series) > maxSeries || len(p.Marks) > maxMarks {
			bad("%s%d series and %d marks; allowed: %d and %d", where, len(p.Series), len(p.Marks), maxSeries, maxMarks)
			continue
		}
		for j, s := range p.Series {
			s.check(where+fmt.Sprintf("series %d", j+1), f.X.Log, p.Y.Log, len(p.Series), bad)
		}
		for j, m := range p.Marks {
			m.check(where+fmt.Sprintf("mark %d", j+1), bad)
		}
	}
	if f.Map != nil {
		f.Map.check(bad)
		if f.X.Log || f.Y.Log {
			bad("a map on a logarithmic axis; allowed: linear axes")
		}
	}
	return errors.Join(errs...)
}

func (a Axis) check(where string, bad func(string, ...any)) {
	fit(bad, maxText, text{where + "'s label", a.Label}, text{where + "'s unit", a.Unit})
	if strings.TrimSpace(a.Label) == "" {
		bad("the %s has no label; say what it shows", where)
	}
	if strings.TrimSpace(a.Unit) == "" {
		bad(`the %s has no unit; give one, or "1" for a pure number`, where)
	}
	if !(a.Min <= a.Max && a.Min >= -huge && a.Max <= huge) {
		bad("the %s runs from %v to %v; allowed: Min below Max, both within 1e150", where, a.Min, a.Max)
	}
	if a.Log && a.Min != a.Max && a.Min < tiny {
		bad("the %s is logarithmic from %v; allowed: above zero", where, a.Min)
	}
}

func (s Series) check(where string, logX, logY bool, of int, bad func(string, ...any)) {
	if len(s.Name) > maxText {
		fit(bad, maxText, text{where + "'s name", s.Name})
	} else if s.Name != "" {
		where += fmt.Sprintf(" (%q)", s.Name)
	} else if of > 1 {
		bad("%s has no name, and the panel has %d series; name it", where, of)
	}
	switch s.Kind {
	case Line, Points, Steps:
	case Band:
		if len(s.U) == 0 {
			bad("%s is a band without U; give the half width", where)
		}
	default:
		bad("%s: Kind is %q; allowed: line, points, steps, band", where, s.Kind)
	}
	n := len(s.X)
	if n == 0 || n > MaxPoints {
		bad("%s has %d points; allowed: 1 to %d", where, n, MaxPoints)
	}
	if len(s.Y) != n {
		bad("%s has %d values of X and %d of Y; allowed: as many", where, n, len(s.Y))
	}
	if len(s.U) != 0 && len(s.U) != n {
		bad("%s has %d values of X and %d of U; allowed: as many, or none", where, n, len(s.U))
	}
	for i, x := range s.X {
		if !finite(x) || logX && x < tiny {
			bad("%s: X[%d] is %v; allowed: finite numbers%s", where, i, x, above(logX))
			break
		}
	}
	seen := false
	for i, y := range s.Y {
		if math.IsInf(y, 0) || logY && y < tiny {
			bad("%s: Y[%d] is %v; allowed: finite numbers%s, or NaN for a gap", where, i, y, above(logY))
			break
		}
		seen = seen || !math.IsNaN(y)
	}
	if len(s.Y) > 0 && !seen {
		bad("%s: every Y is NaN; allowed: at least one number", where)
	}
	for i, u := range s.U {
		if !(u >= 0) || math.IsInf(u, 1) {
			bad("%s: U[%d] is %v; allowed: standard uncertainties, zero or more", where, i, u)
			break
		}
	}
	for i, v := range s.Y {
		if math.Abs(v) > huge || i < len(s.X) && math.Abs(s.X[i]) > huge || i < len(s.U) && s.U[i] > huge {
			bad("%s: value %d is beyond 1e150; allowed: numbers that can be drawn", where, i)
			break
		}
	}
}

// huge and tiny keep differences and ratios of what is drawn finite.
const (
	huge = 1e150
	tiny = 1e-150
)

func (m Mark) check(where string, bad func(string, ...any)) {
	fit(bad, maxText, text{where + "'s text", m.Text})
	switch m.Kind {
	case Vertical, Horizontal, Label, Span:
	default:
		bad("%s: Kind is %q; allowed: vertical, horizontal, label, span", where, m.Kind)
	}
	if math.Abs(m.X) > huge || math.Abs(m.Y) > huge || !finite(m.X+m.Y+m.X2) || math.Abs(m.X2) > huge {
		bad("%s is at %v, %v, %v; allowed: numbers that can be drawn", where, m.X, m.Y, m.X2)
	}
}

func (m *Map) check(bad func(string, ...any)) {
	fit(bad, maxText, text{"map's label", m.Label}, text{"map's unit", m.Unit})
	if strings.TrimSpace(m.Label) == "" || strings.TrimSpace(m.Unit) == "" {
		bad(`the map has no label or no unit; give both ("1" for a pure number)`)
	}
	nx, ny := len(m.X), len(m.Y)
	if nx < 2 || ny < 2 || nx > 4000 || ny > 4000 || len(m.Z) != nx*ny {
		bad("the map has %d × %d places and %d values; allowed: 2 to 4000 each way and a value for each", nx, ny, len(m.Z))
		return
	}
	for _, axis := range []struct {
		name string
		v    []float64
	}{{"X", m.X}, {"Y", m.Y}} {
		step := (axis.v[len(axis.v)-1] - axis.v[0]) / float64(len(axis.v)-1)
		for i, v := range axis.v {
			// A hundredth of a step cannot be seen and allows for rounding.
			if !finite(v) || !(step > 0) || math.Abs(v-axis.v[0]-float64(i)*step) > 0.01*step {
				bad("the map's %s[%d] is %v; allowed: rising in equal steps", axis.name, i, v)
				break
			}
		}
	}
	seen := false
	for i, z := range m.Z {
		if math.IsInf(z, 0) || math.Abs(z) > huge {
			bad("the map's Z[%d] is %v; allowed: finite numbers, or NaN for a gap", i, z)
			return
		}
		seen = seen || !math.IsNaN(z)
	}
	if !seen {
		bad("the map holds NaN only; allowed: at least one number")
	}
}

func above(log bool) string {
	if log {
		return " above zero (the axis is logarithmic)"
	}
	return ""
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// AltText returns Alt, or a plain sentence made from the figure's data.
func (f *Figure) AltText() string {
	if f.Alt != "" {
		return clean(f.Alt)
	}
	var b strings.Builder
	if f.Title != "" {
		b.WriteString(strings.TrimSuffix(f.Title, ".") + ". ")
	}
	if f.Map != nil {
		lo, hi := Range(f.Map.Z)
		fmt.Fprintf(&b, "Map of %s, from %s to %s%s. ", f.Map.Label, short(lo), short(hi), spaced(f.Map.Unit))
	}
	for i, p := range f.Panels() {
		if len(p.Series) == 0 {
			continue
		}
		if i > 0 {
			b.WriteString("Below it: ")
		}
		fmt.Fprintf(&b, "%s against %s. ", p.Y.Label, f.X.Label)
		for _, s := range p.Series {
			name := s.Name
			if name == "" {
				name = "data"
			}
			x0, x1 := Range(s.X)
			y0, y1 := Range(s.Y)
			fmt.Fprintf(&b, "%s (%s, %d values): %s from %s to %s%s, %s from %s to %s%s. ", name, s.Kind, len(s.X),
				f.X.Label, short(x0), short(x1), spaced(f.X.Unit), p.Y.Label, short(y0), short(y1), spaced(p.Y.Unit))
		}
	}
	return clean(strings.TrimSpace(b.String()))
}

// short writes a number for the alt text: three digits, but all the digits
// before the point of a year, or of anything else up to 99 999.
func short(v float64) string {
	if a := math.Abs(v); a >= 1000 && a < 99999.5 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.3g", v)
}

func spaced(unit string) string {
	if unit == "1" || unit == "" {
		return ""
	}
	return " " + unit
}

// Range returns the smallest and largest of v, leaving NaN out; 0, 0 if there
// is none.
func Range(v []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, x := range v {
		if !math.IsNaN(x) {
			lo, hi = min(lo, x), max(hi, x)
		}
	}
	if lo > hi {
		return 0, 0
	}
	return lo, hi
}

// clean drops control characters, which no file format for figures can hold.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' {
			return ' '
		}
		if unicode.IsControl(r) || r == unicode.ReplacementChar || r == '\ufffe' || r == '\uffff' {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, ""))
}
