// Package apparatus is the virtual apparatus of the labs, from a balance and a falling stone to a
// truck over a sensor and a planet to descend into, each drawn to scale, most of them moving, with
// a few numbers that can be changed.
//
// A Scene is plain Go: from the settings of its controls and a time it works out,
// with the models of this module, what is to be seen and the numbers to be read.
// The page runs the same code in the browser (folder wasm); so each number that is
// shown there is the model's own, and what is drawn larger than it is says so.
package apparatus

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Control is a number that the reader sets.
type Control struct {
	ID    string  `json:"id"`
	Label string  `json:"label"`
	Unit  string  `json:"unit"`
	Min   float64 `json:"min"` // all in Unit
	Max   float64 `json:"max"`
	Step  float64 `json:"step"`
	Start float64 `json:"start"`
	// Choices makes the control a choice between things: the value is the place
	// in this list, from 0.
	Choices []string `json:"choices,omitempty"`
}

// A Drag lets the reader set a control, or the time of a scene that moves, with a pointer that goes
// down somewhere in an area of the picture: what lies there is set to where the pointer is.
type Drag struct {
	Control string     `json:"control"` // its id, or dragsTime
	Area    [4]float64 `json:"area"`    // left, top, right, bottom
	Down    bool       `json:"down"`    // the place is counted down the picture, not across
	// The control has Values[i] where the pointer is at Places[i], and between two of these the
	// values are even. Places ascend.
	Places []float64 `json:"places"`
	Values []float64 `json:"values"`
}

const dragsTime = "time"

// dragAlong is a drag across whose places are those of some values.
func dragAlong(control string, area [4]float64, values []float64, place func(v float64) float64) Drag {
	d := Drag{Control: control, Area: area, Values: values}
	for _, v := range values {
		d.Places = append(d.Places, place(v))
	}
	return d
}

// powers are values from lo to hi, each larger than the one before by the same factor.
func powers(lo, hi float64) []float64 {
	const n = 60
	list := make([]float64, n+1)
	for i := range list {
		list[i] = lo * math.Pow(hi/lo, float64(i)/n)
	}
	return list
}

// dragAcross and dragDown are drags whose places are even between two ends.
func dragAcross(control string, area [4]float64, place1, place2, value1, value2 float64) Drag {
	return Drag{Control: control, Area: area, Places: []float64{place1, place2}, Values: []float64{value1, value2}}
}

func dragDown(control string, area [4]float64, place1, place2, value1, value2 float64) Drag {
	d := dragAcross(control, area, place1, place2, value1, value2)
	d.Down = true
	return d
}

// A Scene is one apparatus.
type Scene struct {
	ID       string    `json:"id"`
	Title    string    `json:"title"`
	Labs     []string  `json:"labs"` // numbers of the labs that it stands beside
	Controls []Control `json:"controls"`
	Speed    float64   `json:"speed"` // seconds of the scene in one second of the reader; 0 for a scene that does not move
	Note     string    `json:"note"`  // what is drawn otherwise than it is
	// Record is what the apparatus records, if it does; see Table.
	Record *Record `json:"record,omitempty"`

	view func(set map[string]float64, t float64) (State, error)
}

// A Record is one number of a scene against time, or what rows says.
type Record struct {
	Number string  `json:"number"` // its id
	Column string  `json:"column"` // its name, a word
	Every  float64 `json:"every"`  // s
	// rows, if not nil, is a table of its own: the heads of its columns with units, and its rows.
	rows func(set map[string]float64, until float64) (heads []string, rows [][]float64, err error)
}

// mostRecorded bounds the readings of a record.
const mostRecorded = 5000

// Table is what the apparatus has recorded by a time (s), as a CSV file that a lab reads as a
// recording of one's own: columns time and the number, with its unit. It has what the model
// gives, to six digits, without noise but that of the scene itself.
func (s Scene) Table(set map[string]float64, until float64) (string, error) {
	if s.Record == nil {
		return "", fmt.Errorf("%s: it records nothing", s.Title)
	}
	all, err := s.settings(set, until)
	if err != nil {
		return "", err
	}
	rowsOf := s.Record.rows
	if rowsOf == nil {
		rowsOf = s.readings
	}
	heads, rows, err := rowsOf(all, until)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintln(&b, strings.Join(heads, ","))
	for _, row := range rows {
		for i, v := range row {
			if i > 0 {
				b.WriteByte(',')
			}
			fmt.Fprintf(&b, "%.6g", v)
		}
		b.WriteByte('\n')
	}
	return b.String(), nil
}

// readings are the rows of a record of one number at even times.
func (s Scene) readings(all map[string]float64, until float64) (heads []string, rows [][]float64, err error) {
	clock := math.NaN()
	for k := 0; k < mostRecorded; k++ {
		t := float64(k) * s.Record.Every
		if t > until && k > 1 {
			break
		}
		state, err := s.view(all, t)
		if err != nil {
			return nil, nil, err
		}
		// A scene that has ended stands still, and so does its clock.
		if now, ok := state.value("time"); ok && k > 0 && now == clock {
			break
		} else if ok {
			clock = now
		}
		for _, n := range state.Numbers {
			if n.ID != s.Record.Number {
				continue
			}
			heads = []string{"time (s)", fmt.Sprintf("%s (%s)", s.Record.Column, strings.Replace(n.Unit, "°", "deg", 1))}
			rows = append(rows, []float64{t, n.Value})
		}
	}
	return heads, rows, nil
}

// A State is a scene at one moment.
type State struct {
	View    [4]float64 `json:"view"` // left, top, width, height of what is seen, in the units of Shapes
	Shapes  []Shape    `json:"shapes"`
	Numbers []Number   `json:"numbers"`
	Drags   []Drag     `json:"drags,omitempty"`
	Says    string     `json:"says"` // the state in one sentence
}

// A Shape is something to draw; y is down.
type Shape struct {
	Kind   string    `json:"kind"`           // circle, line, box, arrow, path, text
	Role   string    `json:"role,omitempty"` // mass, sensor, support, light, guide, curve, curve2, curve3, void, plain
	Points []float64 `json:"points"`         // x, y, x, y, …; of a circle the centre
	R      float64   `json:"r,omitempty"`
	Text   string    `json:"text,omitempty"`
}

// A Number is something to read. Value is in Unit.
type Number struct {
	ID    string  `json:"id"`
	Label string  `json:"label"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
	Text  string  `json:"text"` // Value as it is shown
}

// value is a number by its id.
func (s State) value(id string) (float64, bool) {
	for _, n := range s.Numbers {
		if n.ID == id {
			return n.Value, true
		}
	}
	return 0, false
}

// Scenes returns all scenes.
func Scenes() []Scene {
	return []Scene{balance, pendulumPast, underground, lift, spring, reversible, turntable, stone, tide, descent, gate, iceCap, walk, pendant, sources, pier, drains}
}

// For returns the scene that stands beside a lab ("01"); ok is false where there
// is none.
func For(lab string) (s Scene, ok bool) {
	for _, s := range Scenes() {
		for _, l := range s.Labs {
			if l == lab {
				return s, true
			}
		}
	}
	return Scene{}, false
}

// Find returns the scene with an id.
func Find(id string) (Scene, error) {
	for _, s := range Scenes() {
		if s.ID == id {
			return s, nil
		}
	}
	return Scene{}, fmt.Errorf("there is no apparatus %q", id)
}

// At works the scene out. A control that is missing has its start value; one
// that is set outside its range is an error.
func (s Scene) At(set map[string]float64, t float64) (State, error) {
	all, err := s.settings(set, t)
	if err != nil {
		return State{}, err
	}
	return s.view(all, t)
}

// settings are those of all controls.
func (s Scene) settings(set map[string]float64, t float64) (map[string]float64, error) {
	all := map[string]float64{}
	for _, c := range s.Controls {
		v, ok := set[c.ID]
		if !ok {
			v = c.Start
		}
		if !(v >= c.Min && v <= c.Max) {
			return nil, fmt.Errorf("%s: %s is %s; allowed: %g to %g", s.Title, c.Label, withUnit(fmt.Sprint(v), c.Unit), c.Min, c.Max)
		}
		all[c.ID] = v
	}
	if !(t >= 0) || math.IsInf(t, 1) {
		return nil, fmt.Errorf("%s: the time is %g s; allowed: zero or more", s.Title, t)
	}
	return all, nil
}

func number(id, label string, value float64, unit string) Number {
	return Number{ID: id, Label: label, Value: value, Unit: unit, Text: withUnit(digits(value), unit)}
}

// counted is a number of things.
func counted(id, label string, n int) Number {
	return Number{ID: id, Label: label, Value: float64(n), Text: strconv.Itoa(n)}
}

// withUnit sets a unit behind a number; degrees follow without a space.
func withUnit(number, unit string) string {
	if unit == "°" {
		return number + unit
	}
	return strings.TrimSpace(number + " " + unit)
}

// digits writes four significant digits as people do.
func digits(v float64) string {
	a := math.Abs(v)
	var s string
	switch {
	case a == 0:
		s = "0"
	case a >= 1e-3 && a < 1e5:
		s = strconv.FormatFloat(v, 'f', max(0, 3-int(math.Floor(math.Log10(a)))), 64)
	default:
		mantissa, exponent, _ := strings.Cut(strconv.FormatFloat(v, 'e', 3, 64), "e")
		n, _ := strconv.Atoi(exponent)
		s = mantissa + " × 10" + superscript(n)
	}
	return strings.Replace(s, "-", "−", 1)
}

func superscript(n int) string {
	return strings.NewReplacer("-", "⁻", "0", "⁰", "1", "¹", "2", "²", "3", "³", "4", "⁴", "5", "⁵", "6", "⁶", "7", "⁷", "8", "⁸", "9", "⁹").Replace(strconv.Itoa(n))
}

func circle(role string, x, y, r float64, text string) Shape {
	return Shape{Kind: "circle", Role: role, Points: []float64{x, y}, R: r, Text: text}
}

func line(role string, xy ...float64) Shape { return Shape{Kind: "line", Role: role, Points: xy} }

func arrow(role string, xy ...float64) Shape { return Shape{Kind: "arrow", Role: role, Points: xy} }

func path(role string, xy []float64) Shape { return Shape{Kind: "path", Role: role, Points: xy} }

func box(role string, x1, y1, x2, y2 float64) Shape {
	return Shape{Kind: "box", Role: role, Points: []float64{x1, y1, x2, y2}}
}

func label(x, y float64, text string) Shape {
	return Shape{Kind: "text", Points: []float64{x, y}, Text: text}
}

// graph draws a curve into a frame: x and y run over the given ranges.
func graph(role string, left, top, width, height float64, x, y []float64, x1, x2, y1, y2 float64) Shape {
	xy := make([]float64, 0, 2*len(x))
	for i := range x {
		xy = append(xy, left+width*(x[i]-x1)/(x2-x1), top+height*(1-(math.Min(math.Max(y[i], y1), y2)-y1)/(y2-y1)))
	}
	return path(role, xy)
}
