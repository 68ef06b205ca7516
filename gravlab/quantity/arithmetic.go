package quantity

import (
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// workOut replaces arithmetic in typed text by its value: "sqrt(2/9.81) s" becomes
// "0.45152364098573 s", on both sides of "±". done is false where nothing is arithmetic:
// numbers alone, and numbers with a minus between them, which may be a range. The
// arithmetic is + - * / ^, brackets, sqrt, exp, ln, log10, pi, and sin, cos and tan of
// what is said to be degrees or radians.
func workOut(text, s string) (out string, done bool, err error) {
	s = cutName(s)
	left, right, split := strings.Cut(s, "±")
	out, done, err = workOutSide(text, left)
	if err != nil || !split {
		return out, done, err
	}
	spread, also, err := workOutSide(text, right)
	return out + " ± " + spread, done || also, err
}

func workOutSide(text, s string) (out string, done bool, err error) {
	c := &calculation{text: text, rest: strings.TrimSpace(s)}
	v, ok := c.sum()
	switch {
	case c.failed != nil:
		return s, false, c.failed
	case !ok || !c.more:
		return s, false, nil
	case math.IsNaN(v) || math.IsInf(v, 0):
		return s, false, refuse(text, ErrNotFinite, "is there a division by zero, or a root of a negative number?")
	}
	// Nine digits: more than any answer is judged by, and few enough to be read.
	return strconv.FormatFloat(v, 'g', 9, 64) + " " + strings.TrimSpace(c.rest), true, nil
}

// A calculation reads from the left; rest is what it has not read.
type calculation struct {
	text, rest string
	more       bool // than a number, or numbers and minus signs
	angle      bool // what was read last says that it is an angle
	deep       int
	failed     error
}

// take takes one of some signs, if what follows it can be worked out too. The unit that
// stands behind a number may begin with such a sign.
func (c *calculation) take(signs ...string) string {
	at := strings.TrimLeft(c.rest, " ")
	for _, sign := range signs {
		if after, ok := strings.CutPrefix(at, sign); ok && begins(after) {
			c.rest = after
			c.more = c.more || sign != "-"
			return sign
		}
	}
	return ""
}

// functions by name; those of angles need to know in which unit their argument is.
var functions = map[string]func(float64) float64{
	"sqrt": math.Sqrt, "√": math.Sqrt, "exp": math.Exp, "ln": math.Log, "log10": math.Log10, "lg": math.Log10,
	"sin": math.Sin, "cos": math.Cos, "tan": math.Tan,
}

var angular = map[string]bool{"sin": true, "cos": true, "tan": true}

// begins reports whether a value begins at s.
func begins(s string) bool {
	s = strings.TrimLeft(s, " -")
	r, _ := utf8.DecodeRuneInString(s)
	if unicode.IsDigit(r) || r == '(' || r == '.' || r == '√' {
		return true
	}
	name := word(s)
	return name == "pi" || name == "π" || functions[name] != nil && strings.HasPrefix(strings.TrimLeft(s[len(name):], " "), "(")
}

// word is the name at the beginning of s, as in "log10(".
func word(s string) string {
	end := strings.IndexFunc(s, func(r rune) bool { return !unicode.IsLetter(r) })
	if end < 0 {
		end = len(s)
	}
	if s[:end] == "log" && strings.HasPrefix(s[end:], "10") {
		end += 2
	}
	return s[:end]
}

func (c *calculation) sum() (v float64, ok bool) {
	// As deep as anybody types, and far from what a stack holds.
	if c.deep++; c.deep > 100 {
		return 0, false
	}
	defer func() { c.deep-- }()
	if v, ok = c.product(); !ok {
		return 0, false
	}
	for {
		sign := c.take("+", "-")
		if sign == "" {
			return v, true
		}
		w, ok := c.product()
		if !ok {
			return 0, false
		}
		if sign == "-" {
			w = -w
		}
		v += w
	}
}

// lost reports whether a power of ten stands there whose exponent has come down: 1011 for
// 10¹¹.
func lost(s string) bool {
	after, ok := strings.CutPrefix(strings.TrimLeft(s, " "), "10")
	rest := strings.TrimLeft(after, "0123456789")
	return ok && rest != after && !strings.HasPrefix(rest, ".") && !strings.HasPrefix(rest, ",")
}

func (c *calculation) product() (v float64, ok bool) {
	if v, ok = c.power(); !ok {
		return 0, false
	}
	for {
		sign := c.take("*", "·", "×", "/", "÷")
		if sign == "" {
			return v, true
		}
		if lost(c.rest) && sign != "/" && sign != "÷" {
			return 0, false
		}
		w, ok := c.power()
		if !ok {
			return 0, false
		}
		if sign == "/" || sign == "÷" {
			v /= w
		} else {
			v *= w
		}
	}
}

func (c *calculation) power() (v float64, ok bool) {
	if c.deep++; c.deep > 100 {
		return 0, false
	}
	defer func() { c.deep-- }()
	if after, minus := strings.CutPrefix(strings.TrimLeft(c.rest, " "), "-"); minus {
		c.rest = after
		v, ok = c.power()
		return -v, ok
	}
	if v, ok = c.value(); !ok {
		return 0, false
	}
	if n, after, there := cutExponent(c.rest); there {
		c.rest, c.more = after, true
		return math.Pow(v, n), true
	}
	if c.take("^", "**") == "" {
		return v, true
	}
	w, ok := c.power()
	return math.Pow(v, w), ok
}

// cutExponent reads an exponent that is written high: "⁻¹¹".
func cutExponent(s string) (n float64, after string, ok bool) {
	text := ""
	for len(s) > 0 {
		r, size := utf8.DecodeRuneInString(s)
		switch at := strings.IndexRune("⁰¹²³⁴⁵⁶⁷⁸⁹", r); {
		case r == '⁻' && text == "":
			text = "-"
		case at >= 0:
			text += strconv.Itoa(utf8.RuneCountInString("⁰¹²³⁴⁵⁶⁷⁸⁹"[:at]))
		default:
			n, err := strconv.ParseFloat(text, 64)
			return n, s, err == nil
		}
		s = s[size:]
	}
	n, err := strconv.ParseFloat(text, 64)
	return n, s, err == nil
}

func (c *calculation) value() (float64, bool) {
	c.rest = strings.TrimLeft(c.rest, " ")
	r, size := utf8.DecodeRuneInString(c.rest)
	switch name := word(c.rest); {
	case r == '(':
		c.rest, c.more = c.rest[size:], true
		v, ok := c.sum()
		return v, ok && c.closed()
	case r == '√':
		c.rest, c.more = c.rest[size:], true
		v, ok := c.value()
		return math.Sqrt(v), ok
	case unicode.IsDigit(r) || r == '.':
		return c.number()
	case name == "pi" || name == "π":
		c.rest, c.more, c.angle = c.rest[len(name):], true, true
		return math.Pi, true
	case functions[name] != nil:
		after, ok := strings.CutPrefix(strings.TrimLeft(c.rest[len(name):], " "), "(")
		if !ok {
			return 0, false
		}
		c.rest, c.more, c.angle = after, true, false
		v, ok := c.sum()
		if ok && angular[name] {
			v, ok = c.radians(name, v)
		}
		return functions[name](v), ok && c.closed()
	}
	return 0, false
}

// closed takes the closing bracket.
func (c *calculation) closed() bool {
	after, ok := strings.CutPrefix(strings.TrimLeft(c.rest, " "), ")")
	c.rest = after
	return ok
}

// radians takes the unit of an angle behind it.
func (c *calculation) radians(name string, v float64) (float64, bool) {
	at := strings.TrimLeft(c.rest, " ")
	for _, u := range []struct {
		name string
		size float64
	}{{"°", math.Pi / 180}, {"degrees", math.Pi / 180}, {"deg", math.Pi / 180}, {"rad", 1}} {
		if after, ok := strings.CutPrefix(at, u.name); ok {
			c.rest = after
			return v * u.size, true
		}
	}
	if !c.angle && v != 0 {
		c.failed = refuse(c.text, ErrAmbiguous, "is that angle in degrees or in radians? Type %s(30°) or %s(0.52 rad)", name, name)
		return 0, false
	}
	return v, true
}

// number reads a number with a point or a decimal comma. A comma before three digits may
// separate thousands and is not read.
func (c *calculation) number() (float64, bool) {
	digits := func(s string) int {
		n := strings.IndexFunc(s, func(r rune) bool { return r < '0' || r > '9' })
		if n < 0 {
			n = len(s)
		}
		return n
	}
	s := c.rest
	n := digits(s)
	text := s[:n]
	if len(s) > n && (s[n] == '.' || s[n] == ',') {
		k := digits(s[n+1:])
		if s[n] == ',' && (k == 3 || k == 0) {
			return 0, false
		}
		text += "." + s[n+1:n+1+k]
		n += 1 + k
	}
	if len(s) > n && (s[n] == 'e' || s[n] == 'E') {
		at := n + 1
		if len(s) > at && (s[at] == '-' || s[at] == '+') {
			at++
		}
		if k := digits(s[at:]); k > 0 {
			text += "e" + s[n+1:at+k]
			n = at + k
		}
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return 0, false
	}
	c.rest = s[n:]
	return v, true
}
