package figure

import (
	"errors"
	"fmt"
	"strings"
)

// Sketch is a drawing of an apparatus or a site to scale.
type Sketch struct {
	Title   string  `json:"title,omitempty"`
	Caption string  `json:"caption,omitempty"`
	Alt     string  `json:"alt,omitempty"`
	Unit    string  `json:"unit"` // of all lengths, e.g. "mm"
	Shapes  []Shape `json:"shapes"`
	// Bar draws a bar of that length as scale; 0 draws none and the caption
	// should say that the sketch is not to scale.
	Bar float64 `json:"bar,omitempty"`
}

// ShapeKind says what a shape is.
type ShapeKind string

// The kinds of shape.
const (
	Circle  ShapeKind = "circle"  // around X, Y with radius R
	Segment ShapeKind = "segment" // from X, Y to X2, Y2
	Box     ShapeKind = "box"     // corners X, Y and X2, Y2
	Arrow   ShapeKind = "arrow"   // from X, Y to X2, Y2
	Length  ShapeKind = "length"  // a dimension line from X, Y to X2, Y2 with Text
	Text    ShapeKind = "text"    // Text at X, Y
)

// Role gives a shape its colour and line.
type Role string

// The roles of shapes.
const (
	Plain   Role = ""        // outline in the colour of text
	Mass    Role = "mass"    // what pulls
	Sensor  Role = "sensor"  // what is pulled or read
	Support Role = "support" // what holds: walls, fibres, ground
	Light   Role = "light"   // a beam
	Guide   Role = "guide"   // dashed help lines
)

// Shape is one part of a sketch. y is up.
type Shape struct {
	Kind ShapeKind `json:"kind"`
	Role Role      `json:"role,omitempty"`
	X    float64   `json:"x"`
	Y    float64   `json:"y"`
	X2   float64   `json:"x2,omitempty"`
	Y2   float64   `json:"y2,omitempty"`
	R    float64   `json:"r,omitempty"`
	Text string    `json:"text,omitempty"`
}

// Validate says what is wrong with the sketch, everything at once.
func (s *Sketch) Validate() error {
	var errs []error
	bad := func(format string, args ...any) { errs = append(errs, fmt.Errorf("sketch: "+format, args...)) }
	fit(bad, maxText, text{"title", s.Title}, text{"unit", s.Unit})
	fit(bad, maxProse, text{"caption", s.Caption}, text{"alt text", s.Alt})
	if strings.TrimSpace(s.Unit) == "" {
		bad("no unit; give the unit of its lengths")
	}
	if n := len(s.Shapes); n == 0 || n > 5000 {
		bad("%d shapes; allowed: 1 to 5000", n)
	}
	if !(s.Bar >= 0 && s.Bar < huge) {
		bad("Bar is %v; allowed: a finite length, zero or more", s.Bar)
	}
	for i, sh := range s.Shapes {
		fit(bad, maxText, text{fmt.Sprintf("text of shape %d", i+1), sh.Text})
		for _, v := range []float64{sh.X, sh.Y, sh.X2, sh.Y2, sh.R} {
			if !finite(v) || v > huge || v < -huge {
				bad("shape %d has the length %v; allowed: finite numbers", i+1, v)
			}
		}
		switch sh.Kind {
		case Circle:
			if !(sh.R > 0) {
				bad("shape %d is a circle with R %v; allowed: above zero", i+1, sh.R)
			}
		case Segment, Box, Arrow, Length:
		case Text:
			if sh.Text == "" {
				bad("shape %d is a text without Text", i+1)
			}
		default:
			bad("shape %d: Kind is %q; allowed: circle, segment, box, arrow, length, text", i+1, sh.Kind)
		}
		switch sh.Role {
		case Plain, Mass, Sensor, Support, Light, Guide:
		default:
			bad("shape %d: Role is %q; allowed: mass, sensor, support, light, guide or none", i+1, sh.Role)
		}
	}
	return errors.Join(errs...)
}

// AltText returns Alt, or a plain sentence made from the sketch.
func (s *Sketch) AltText() string {
	if s.Alt != "" {
		return clean(s.Alt)
	}
	var parts []string
	for _, sh := range s.Shapes {
		if sh.Text != "" {
			parts = append(parts, sh.Text)
		}
	}
	text := "Sketch"
	if s.Title != "" {
		text += ": " + s.Title
	}
	if len(parts) > 0 {
		text += ". Labelled: " + strings.Join(parts, ", ")
	}
	return clean(text + ".")
}
