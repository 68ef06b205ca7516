package mdhtml

import (
	"fmt"
	"html"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A MathError says where math could not be read.
type MathError struct {
	TeX  string
	At   int // offset in bytes
	What string
}

func (e *MathError) Error() string {
	near := e.TeX[min(e.At, len(e.TeX)):]
	if len([]rune(near)) > 20 {
		near = string([]rune(near)[:20]) + "…"
	}
	if near == "" {
		near = "the end"
	} else {
		near = "\"" + near + "\"" // no %q: it would double the backslashes
	}
	return fmt.Sprintf("math: %s at character %d, near %s", e.What, 1+utf8.RuneCountInString(e.TeX[:min(e.At, len(e.TeX))]), near)
}

// Math translates TeX to MathML. display sets it as on a line of its own.
//
// It knows letters, numbers, Greek, the usual operators, relations, arrows and
// functions; _ and ^ and '; \frac \dfrac \tfrac \binom \sqrt; the accents \vec \dot
// \ddot \bar \hat \tilde \overline \underline \widehat \underbrace \overbrace;
// \sum \prod \int and relatives with limits; \left \middle \right, \big and
// larger; \text \mathrm \mathbf \mathit \mathcal \operatorname; blanks; and the
// environments aligned, gathered, cases, matrix, pmatrix, bmatrix, vmatrix. Anything else
// is a *MathError.
func Math(tex string, display bool) (string, error) {
	if len(tex) > longest {
		return "", &MathError{tex, longest, fmt.Sprintf("more than %d characters", longest)}
	}
	for i, r := range tex {
		if r == utf8.RuneError || r == '\ufffe' || r == '\uffff' || unicode.IsControl(r) && !blank(byte(r)) {
			return "", &MathError{tex, i, "a character that is not text"} // nor can HTML hold it
		}
	}
	p := &texParser{tex: tex, display: display}
	body, err := p.all()
	if err != nil {
		return "", err
	}
	if display {
		return `<math display="block">` + body + "</math>", nil
	}
	return "<math>" + body + "</math>", nil
}

// Limits for text from elsewhere.
const (
	longest = 10_000
	deepest = 60
)

// texParser reads TeX from left to right and writes MathML as it goes. It has no
// tree of its own: the parts of TeX that need one are not translated.
type texParser struct {
	tex     string
	at      int
	depth   int
	display bool
	upright bool // inside \mathrm: letters stand upright and side by side
}

func (p *texParser) fail(at int, format string, args ...any) error {
	return &MathError{p.tex, at, fmt.Sprintf(format, args...)}
}

func (p *texParser) all() (string, error) {
	body, err := p.list("")
	if err != nil {
		return "", err
	}
	switch tok := p.peek(); tok {
	case "":
	case "&", `\\`:
		return "", p.fail(p.at, `%s outside \begin and \end`, tok)
	default:
		return "", p.fail(p.at, "%s without its beginning", tok)
	}
	return body, nil
}

// peek returns the next token without taking it: a command with its backslash, or
// one character; blanks do not count. It returns "" at the end.
func (p *texParser) peek() string {
	for p.at < len(p.tex) {
		c := p.tex[p.at]
		if c == '%' { // a comment
			end := strings.IndexByte(p.tex[p.at:], '\n')
			if end < 0 {
				p.at = len(p.tex)
				break
			}
			p.at += end
		} else if !blank(c) {
			break
		} else {
			p.at++
		}
	}
	rest := p.tex[p.at:]
	if rest == "" {
		return ""
	}
	if rest[0] != '\\' {
		_, n := utf8.DecodeRuneInString(rest)
		return rest[:n]
	}
	n := 1
	for n < len(rest) && isLetter(rest[n]) {
		n++
	}
	if n == 1 && len(rest) > 1 {
		_, size := utf8.DecodeRuneInString(rest[1:])
		n = 1 + size
	}
	return rest[:n]
}

func (p *texParser) take() string {
	tok := p.peek()
	p.at += len(tok)
	return tok
}

func isLetter(c byte) bool { return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' }

// ends are the tokens that end a list from outside.
func ends(tok string) bool {
	switch tok {
	case "", "}", "&", `\\`, `\right`, `\middle`, `\end`:
		return true
	}
	return false
}

// list reads atoms up to a token that ends a list, or to the token until.
func (p *texParser) list(until string) (string, error) {
	if p.depth++; p.depth > deepest {
		return "", p.fail(p.at, "nested deeper than %d levels", deepest)
	}
	defer func() { p.depth-- }()
	var b strings.Builder
	for {
		tok := p.peek()
		if tok == until && until != "" || ends(tok) {
			return b.String(), nil
		}
		s, err := p.scripted()
		if err != nil {
			return "", err
		}
		if sign, ok := strings.CutPrefix(s, "<mo>"); ok && isSign[tok] && wantsOperand(b.String()) {
			s = `<mo form="prefix">` + sign
		}
		b.WriteString(s)
	}
}

// isSign holds what is a sign of one number as well as an operator between two.
// A browser tells them apart only at the start of a row.
var isSign = map[string]bool{"-": true, "+": true, `\pm`: true, `\mp`: true}

// wantsOperand reports whether ml ends with an operator, so that a sign belongs to
// what follows.
func wantsOperand(ml string) bool {
	before, ok := strings.CutSuffix(ml, "</mo>")
	if !ok {
		return false
	}
	for _, closing := range []string{")", "]", "}", "|", "⟩", "⌋", "⌉", "‖", "!", "′", "…", "⋯"} {
		if strings.HasSuffix(before, closing) {
			return false
		}
	}
	return true
}

// An atom is one piece of math and how scripts attach to it.
type atom struct {
	ml       string
	limits   bool // scripts go below and above
	function bool // a small space follows, as after sin
}

// scripted reads an atom with its scripts.
func (p *texParser) scripted() (string, error) {
	start := p.at
	var a atom
	var err error
	if tok := p.peek(); tok == "^" || tok == "_" || tok == "'" {
		a.ml = "<mrow></mrow>" // scripts on nothing, as in {}^{14}C
	} else if a, err = p.atom(); err != nil {
		return "", err
	}
	var sub, sup string
	for {
		switch tok := p.peek(); tok {
		case `\limits`, `\nolimits`:
			p.take()
			a.limits = tok == `\limits`
			continue
		case "_", "^":
			at := p.at
			p.take()
			s, err := p.argument(tok)
			if err != nil {
				return "", err
			}
			if tok == "_" && sub != "" || tok == "^" && sup != "" {
				return "", p.fail(at, "a second %s on one letter (use braces)", tok)
			}
			if tok == "_" {
				sub = s
			} else {
				sup = s
			}
			continue
		case "'":
			primes := ""
			for p.peek() == "'" {
				p.take()
				primes += "′"
			}
			if sup != "" {
				return "", p.fail(start, "a prime after ^ (put it before)")
			}
			sup = "<mo>" + primes + "</mo>"
			if p.peek() == "^" {
				p.take()
				s, err := p.argument("^")
				if err != nil {
					return "", err
				}
				sup = "<mrow>" + sup + s + "</mrow>"
			}
			continue
		}
		break
	}
	return a.with(sub, sup) + p.gap(a), nil
}

// with hangs scripts on an atom.
func (a atom) with(sub, sup string) string {
	switch {
	case sub == "" && sup == "":
		return a.ml
	case a.limits && sup == "":
		return "<munder>" + a.ml + sub + "</munder>"
	case a.limits && sub == "":
		return "<mover>" + a.ml + sup + "</mover>"
	case a.limits:
		return "<munderover>" + a.ml + sub + sup + "</munderover>"
	case sup == "":
		return "<msub>" + a.ml + sub + "</msub>"
	case sub == "":
		return "<msup>" + a.ml + sup + "</msup>"
	}
	return "<msubsup>" + a.ml + sub + sup + "</msubsup>"
}

// gap is the small space between a function and its argument.
func (p *texParser) gap(a atom) string {
	if !a.function {
		return ""
	}
	switch next := p.peek(); {
	case ends(next), next == "(", next == "[", next == `\left`, next == "|", strings.Contains("+-=<>/,;:)]!", next):
		return ""
	}
	return `<mspace width="0.1667em"></mspace>`
}

// argument reads what follows a command: a group, or one atom.
func (p *texParser) argument(of string) (string, error) {
	tok := p.peek()
	if ends(tok) {
		return "", p.fail(p.at, "%s wants something after it", of)
	}
	if tok == "{" {
		return p.group()
	}
	if p.depth++; p.depth > deepest {
		return "", p.fail(p.at, "nested deeper than %d levels", deepest)
	}
	defer func() { p.depth-- }()
	if c := tok[0]; c >= '0' && c <= '9' { // TeX takes one digit
		p.take()
		return "<mn>" + tok + "</mn>", nil
	}
	a, err := p.atom()
	return a.ml, err
}

// group reads { ... } into one element.
func (p *texParser) group() (string, error) {
	start := p.at
	p.take()
	body, err := p.list("}")
	if err != nil {
		return "", err
	}
	if p.peek() != "}" {
		return "", p.fail(start, "a { without its }")
	}
	p.take()
	return row(body), nil
}

// row makes one element of several.
func row(body string) string {
	if single(body) {
		return body
	}
	return "<mrow>" + body + "</mrow>"
}

// single reports whether s is exactly one simple element.
func single(s string) bool {
	for _, tag := range []string{"mi", "mn", "mo", "mtext"} {
		if strings.HasPrefix(s, "<"+tag) && strings.HasSuffix(s, "</"+tag+">") && strings.Count(s, "<") == 2 {
			return true
		}
	}
	return false
}

// words reads { text } as it stands, for \text and names.
func (p *texParser) words(of string) (string, error) {
	start := p.at
	if p.peek() != "{" {
		return "", p.fail(p.at, "%s wants { after it", of)
	}
	p.take()
	var b strings.Builder
	for depth := 1; ; {
		if p.at >= len(p.tex) {
			return "", p.fail(start, "a { without its }")
		}
		r, n := utf8.DecodeRuneInString(p.tex[p.at:])
		p.at += n
		switch r {
		case '{':
			depth++
			continue
		case '}':
			if depth--; depth == 0 {
				return b.String(), nil
			}
			continue
		case '~':
			r = '\u00a0'
		case '\\':
			tok := "\\"
			if p.at < len(p.tex) {
				p.at--
				tok = p.take()
			}
			switch plain, ok := inWords[tok]; {
			case ok:
				b.WriteString(plain)
			default:
				return "", p.fail(p.at-len(tok), "%s inside %s", tok, of)
			}
			continue
		case '$':
			return "", p.fail(p.at-1, "$ inside %s", of)
		case '\n', '\r', '\t':
			r = ' '
		}
		b.WriteRune(r)
	}
}

// name reads what \mathrm and the like apply to: { letters }, or one letter.
func (p *texParser) name(of string) (string, error) {
	if tok := p.peek(); tok != "{" && len(tok) > 0 && tok[0] != '\\' && !ends(tok) {
		return p.take(), nil
	}
	return p.words(of)
}

// inWords are the commands that \text and names may hold.
var inWords = map[string]string{`\ `: " ", `\,`: "\u2009", `\%`: "%", `\&`: "&", `\#`: "#", `\_`: "_", `\{`: "{", `\}`: "}", `\$`: "$", `\-`: "", `\mu`: "µ", `\circ`: "°", `\degree`: "°", `\Omega`: "Ω"}

// atom reads one piece without scripts.
func (p *texParser) atom() (atom, error) {
	tok := p.peek()
	if tok == "{" {
		ml, err := p.group()
		return atom{ml: ml}, err
	}
	start := p.at // blanks are behind
	p.take()
	if tok[0] == '\\' {
		return p.command(tok, start)
	}
	r, _ := utf8.DecodeRuneInString(tok)
	switch {
	case r >= '0' && r <= '9' || r == '.' && p.digitNext():
		return atom{ml: "<mn>" + tok + p.number() + "</mn>"}, nil
	case strings.ContainsRune("+=<>,;:!?*", r):
		return atom{ml: "<mo>" + html.EscapeString(strings.Replace(tok, "*", "∗", 1)) + "</mo>"}, nil
	case r == '-':
		return atom{ml: "<mo>−</mo>"}, nil
	case r == '/':
		return atom{ml: `<mo lspace="0" rspace="0">/</mo>`}, nil
	case strings.ContainsRune("()[]|", r):
		return atom{ml: fence(tok, false)}, nil
	case r == '.':
		return atom{ml: "<mo>.</mo>"}, nil
	case r == '~':
		return atom{ml: "<mtext>\u00a0</mtext>"}, nil
	case unicode.IsLetter(r) && p.upright:
		return atom{ml: `<mi mathvariant="normal">` + tok + p.letters() + "</mi>"}, nil
	case unicode.IsLetter(r):
		return atom{ml: "<mi>" + tok + "</mi>"}, nil
	case r == '#' || r == '"' || r == '`' || r == '@':
		return atom{}, p.fail(start, "%q has no meaning in math", tok)
	}
	return atom{ml: "<mo>" + html.EscapeString(tok) + "</mo>"}, nil // ·, ×, ° and others typed as they are
}

func (p *texParser) digitNext() bool {
	return p.at < len(p.tex) && p.tex[p.at] >= '0' && p.tex[p.at] <= '9'
}

// number reads the rest of a number: digits, and a point between digits.
func (p *texParser) number() string {
	start := p.at
	for p.at < len(p.tex) {
		c := p.tex[p.at]
		point := c == '.' && p.at+1 < len(p.tex) && p.tex[p.at+1] >= '0' && p.tex[p.at+1] <= '9'
		if !point && (c < '0' || c > '9') {
			break
		}
		p.at++
	}
	return p.tex[start:p.at]
}

// letters reads the letters that follow at once.
func (p *texParser) letters() string {
	start := p.at
	for p.at < len(p.tex) {
		r, n := utf8.DecodeRuneInString(p.tex[p.at:])
		if !unicode.IsLetter(r) {
			break
		}
		p.at += n
	}
	return p.tex[start:p.at]
}

// fence writes a bracket, which by itself does not grow with its content.
func fence(s string, grow bool) string {
	if grow {
		return `<mo fence="true" stretchy="true">` + html.EscapeString(s) + "</mo>"
	}
	if s == "|" || s == "‖" { // else a browser spaces it as "divides"
		return `<mo stretchy="false" lspace="0" rspace="0">` + s + "</mo>"
	}
	return `<mo stretchy="false">` + html.EscapeString(s) + "</mo>"
}
