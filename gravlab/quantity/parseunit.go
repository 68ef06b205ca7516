package quantity

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// ParseUnit reads a unit: symbols with prefixes and powers, joined by spaces, "·", "*" or
// "." and divided by "/": "N·m/rad", "N m rad^-1", "g/cm3", "m s-2", "nm/s²/√Hz",
// "m^3/(kg s^2)", or spelled out: "newton metre per radian". "1", "-", "none" and the empty
// text are the unit one. A text with two meanings, such as "ng", is refused: use
// [Dimension.Unit], or the unambiguous "ngram" and "ngn".
func ParseUnit(text string) (Unit, error) {
	readings, _, err := readUnit(text)
	if err != nil {
		return Unit{}, err
	}
	readings = natural(readings)
	for _, other := range readings[1:] {
		if other.Dimension() != readings[0].Dimension() || other.SI() != readings[0].SI() {
			return Unit{}, refuse(text, ErrAmbiguous, "%s or %s? Say which", readings[0].inWords(), other.inWords())
		}
	}
	return readings[0], nil
}

// MustUnit is ParseUnit for units written in a program; it panics on an error.
func MustUnit(text string) Unit {
	u, err := ParseUnit(text)
	if err != nil {
		panic("quantity: " + err.Error())
	}
	return u
}

// Unit reads a unit of the dimension d: "ng" is nano-standard gravity for an
// acceleration and nanogram for a mass.
func (d Dimension) Unit(text string) (Unit, error) {
	readings, _, err := readUnit(text)
	if err != nil {
		return Unit{}, err
	}
	u, _, err := choose(text, readings, d, "")
	return u, err
}

// choose returns the reading that has the dimension wanted, and remarks on
// what was taken for granted.
func choose(text string, readings []Unit, want Dimension, wantText string) (Unit, []string, error) {
	if wantText == "" {
		wantText = want.String()
	}
	pick := func(fits func(Unit) bool) (found []Unit) {
		for _, u := range readings {
			if fits(u) && (len(found) == 0 || u.SI() != found[0].SI()) {
				found = append(found, u)
			}
		}
		return found
	}
	found := pick(func(u Unit) bool { return u.Dimension() == want })
	var remarks []string
	if len(found) == 0 {
		found = pick(func(u Unit) bool { return sameButAngle(u, want, wantText) })
		if len(found) > 0 {
			remarks = append(remarks, fmt.Sprintf("%s taken as %s, the radian being the number 1", found[0], wantText))
		}
	}
	// Of pure numbers, two units make one that fits.
	if len(found) == 0 || want == One {
		if first, second, ok := twoUnits(text, want, wantText); ok {
			e := refuse(text, errTwoUnits, "keep one of %s and %s", first, second)
			if first == second {
				e = refuse(text, errTwice, "type %s once", first)
			}
			e.Unit = fitting(first, want, wantText)[0]
			return Unit{}, nil, e
		}
	}
	switch {
	case len(found) == 0:
		e := refuse(text, ErrDimension, "%s", dimensionHint(readings, want, wantText))
		e.Unit = readings[0]
		return Unit{}, nil, e
	case len(found) > 1:
		return Unit{}, nil, refuse(text, ErrAmbiguous, "%s or %s? Use brackets", found[0], found[1])
	}
	u := found[0]
	usual := natural(readings)
	onlyMeaning := len(usual) == 1 && usual[0].SI() == u.SI()
	for _, f := range u.factors {
		// Say so when the name has another meaning or is not an SI one.
		if len(words()[f.typed]) > 1 && onlyMeaning {
			continue
		}
		if len(words()[f.typed]) > 1 {
			remarks = append(remarks, fmt.Sprintf("%s: %s%s, %s", f.typed, f.prefix.name, joined(f), inSI(Unit{factors: []factor{{prefix: f.prefix, entry: f.entry, twice: 2}}})))
		} else if f.entry.remark != "" {
			remarks = append(remarks, f.entry.remark)
		}
	}
	if len(readings) > 1 && !differByName(readings) {
		remarks = append(remarks, "read as "+u.String())
	}
	return u, remarks, nil
}

// twoUnits cuts a text in which two units of the dimension wanted stand one
// behind the other, as when a unit is typed with the number and in a field of its
// own.
func twoUnits(text string, want Dimension, wantText string) (first, second string, ok bool) {
	words := strings.Fields(text)
	for i := 1; i < len(words) && len(words) <= maxFactors; i++ {
		first, second = strings.Join(words[:i], " "), strings.Join(words[i:], " ")
		if len(fitting(first, want, wantText)) > 0 && len(fitting(second, want, wantText)) > 0 {
			return first, second, true
		}
	}
	return "", "", false
}

// fitting returns the readings of a unit that have the dimension wanted.
func fitting(text string, want Dimension, wantText string) (fits []Unit) {
	readings, _, err := readUnit(text)
	if err != nil {
		return nil
	}
	for _, u := range readings {
		if u.Dimension() == want || sameButAngle(u, want, wantText) {
			fits = append(fits, u)
		}
	}
	return fits
}

func joined(f factor) string {
	if f.prefix.name != "" && strings.Contains(f.entry.name, " ") {
		return "-" + f.entry.name
	}
	return f.entry.name
}

// differByName reports whether the readings differ in the meaning of a name,
// not in the grouping of factors.
func differByName(readings []Unit) bool {
	for _, f := range readings[0].factors {
		if len(words()[f.typed]) > 1 {
			return true
		}
	}
	return false
}

// sameButAngle reports whether u has the dimension want up to a power of the
// angle that the SI allows to leave out: in compound units, and never between
// turns and radians.
func sameButAngle(u Unit, want Dimension, wantText string) bool {
	d := u.Dimension()
	if d.withoutAngle() != want.withoutAngle() || d.withoutAngle() == One {
		return false
	}
	return !u.countsTurns() && !strings.Contains(wantText, "Hz")
}

func (u Unit) countsTurns() bool {
	for _, f := range u.factors {
		if f.entry.turns {
			return true
		}
	}
	return false
}

func dimensionHint(readings []Unit, want Dimension, wantText string) string {
	u := readings[0]
	d := u.Dimension()
	switch {
	case d.withoutAngle() == want.withoutAngle() && d.withoutAngle() == Frequency:
		return fmt.Sprintf("a frequency in Hz and an angular frequency in rad/s differ by 2π; write it in %s", wantText)
	case len(u.factors) > 0 && u.factors[len(u.factors)-1].typed == "ms" && u.factors[len(u.factors)-1].twice < 0:
		return "ms is the millisecond; for metre times a power of the second put a space, as in m s^-2"
	}
	meanings := make([]string, 0, len(readings))
	for _, r := range readings {
		if w := r.inWords(); len(meanings) < 3 && !containsString(meanings, w) {
			meanings = append(meanings, w)
		}
	}
	if wantText == "1" {
		return fmt.Sprintf("%s does not fit; write it as a pure number", strings.Join(meanings, " or "))
	}
	return fmt.Sprintf("%s does not fit; write it in %s", strings.Join(meanings, " or "), wantText)
}

func containsString(list []string, item string) bool {
	for _, s := range list {
		if s == item {
			return true
		}
	}
	return false
}

// inWords writes a unit of one factor with its name: "ng (nanogram)".
func (u Unit) inWords() string {
	if len(u.factors) == 1 && u.factors[0].twice == 2 {
		f := u.factors[0]
		return fmt.Sprintf("%s (%s%s)", u, f.prefix.name, joined(f))
	}
	return u.String()
}

// inSI writes the size of u in SI base units.
func inSI(u Unit) string {
	d := u.Dimension()
	size := numberText(u.SI(), 7)
	if d == Acceleration {
		return size + " m/s²"
	}
	return size + " " + d.String()
}

const (
	maxText    = 200 // runes of typed text
	maxFactors = 12
	maxPower   = 9
)

// readUnit returns every reading of a unit, at least one, and remarks on how it
// was written.
func readUnit(text string) (readings []Unit, remarks []string, err error) {
	s, err := normalise(text)
	if err != nil {
		return nil, nil, err
	}
	if s == "" || s == "1" || noUnit(s) {
		return []Unit{{}}, nil, nil
	}
	s, remarks = inSigns(s)
	p := &unitParser{text: s}
	lists, err := p.quotient()
	if err == nil && p.rest() != "" {
		err = fmt.Errorf("%w: what is %q?", ErrUnreadable, p.rest())
	}
	if err != nil {
		kind := ErrUnreadable
		if errors.Is(err, ErrUnknownUnit) {
			kind = ErrUnknownUnit
		} else if errors.Is(err, ErrAmbiguous) {
			kind = ErrAmbiguous
		}
		return nil, nil, refuse(text, kind, "%s", strings.TrimPrefix(err.Error(), kind.Error()+": "))
	}
	for _, l := range lists {
		readings = append(readings, Unit{factors: merged(l)})
	}
	return readings, remarks, nil
}

// merged joins factors of the same unit and prefix: m/s/s is m/s².
func merged(factors []factor) []factor {
	var out []factor
next:
	for _, f := range factors {
		for i := range out {
			if out[i].entry == f.entry && out[i].prefix == f.prefix {
				if out[i].twice += f.twice; out[i].twice == 0 {
					out = append(out[:i], out[i+1:]...)
				}
				continue next
			}
		}
		out = append(out, f)
	}
	return out
}

// natural leaves out readings that nobody means: standard gravity in a
// compound unit such as g/cm³, gram in g/√Hz.
func natural(readings []Unit) []Unit {
	var kept []Unit
	for _, u := range readings {
		gravity, mass, others, density := false, false, false, false
		for _, f := range u.factors {
			switch {
			case f.entry.symbol == "g" && f.entry.dim == Acceleration:
				gravity = true
			case f.entry.symbol == "g":
				mass = true
			case f.entry.turns && f.twice == -1:
				density = true
			case f.entry.dim != Time && f.entry.dim != Frequency:
				others = true
			}
		}
		if gravity && others || mass && density && !others {
			continue
		}
		kept = append(kept, u)
	}
	if len(kept) == 0 {
		return readings
	}
	return kept
}

// A unitParser reads a unit from left to right. Each rule returns all readings
// of what it read, as lists of factors.
type unitParser struct {
	text  string
	at    int
	depth int
	count int
}

func (p *unitParser) rest() string { return p.text[p.at:] }

func (p *unitParser) spaces() {
	for strings.HasPrefix(p.rest(), " ") {
		p.at++
	}
}

func (p *unitParser) take(tokens ...string) bool {
	for _, t := range tokens {
		if strings.HasPrefix(p.rest(), t) {
			p.at += len(t)
			return true
		}
	}
	return false
}

// quotient reads product { "/" product }. After a slash, a product of several
// factors may stand below the line as a whole or only with its first factor:
// both are readings.
func (p *unitParser) quotient() ([][]factor, error) {
	if p.depth++; p.depth > 4 {
		return nil, fmt.Errorf("%w: too many brackets", ErrUnreadable)
	}
	defer func() { p.depth-- }()
	terms, err := p.product()
	if err != nil {
		return nil, err
	}
	readings := combine(terms, nil)
	for {
		p.spaces()
		if !p.take("/") {
			return readings, nil
		}
		below, err := p.product()
		if err != nil {
			return nil, err
		}
		all := combine(inverted(below), nil)
		if len(below) > 1 {
			first := append(inverted(below[:1]), below[1:]...)
			all = append(all, combine(first, nil)...)
		}
		readings = combine([][][]factor{readings, all}, nil)
		if len(readings) > 64 {
			return nil, fmt.Errorf("%w: too many meanings; use brackets and full names", ErrAmbiguous)
		}
	}
}

// combine multiplies out a product of terms, each with several readings.
func combine(terms [][][]factor, prefix []factor) [][]factor {
	if len(terms) == 0 {
		return [][]factor{prefix}
	}
	var out [][]factor
	for _, reading := range terms[0] {
		if len(out) > 64 {
			break
		}
		out = append(out, combine(terms[1:], append(append([]factor(nil), prefix...), reading...))...)
	}
	return out
}

func inverted(terms [][][]factor) [][][]factor {
	out := make([][][]factor, len(terms))
	for i, readings := range terms {
		out[i] = raised(readings, -2)
	}
	return out
}

// raised returns the readings to the power twice/2; nil when a power would be
// neither whole nor half.
func raised(readings [][]factor, twice int) [][]factor {
	out := make([][]factor, len(readings))
	for i, reading := range readings {
		for _, f := range reading {
			if f.twice*twice%2 != 0 {
				return nil
			}
			f.twice = f.twice * twice / 2
			out[i] = append(out[i], f)
		}
	}
	return out
}

// product reads term { separator term }.
func (p *unitParser) product() ([][][]factor, error) {
	var terms [][][]factor
	for {
		p.spaces()
		term, err := p.term()
		if err != nil {
			return nil, err
		}
		terms = append(terms, term)
		if p.count++; p.count > maxFactors {
			return nil, fmt.Errorf("%w: a unit of more than %d factors", ErrUnreadable, maxFactors)
		}
		p.spaces()
		if p.take("·", "*", "×", ".") {
			continue
		}
		if r := p.rest(); r == "" || r[0] == '/' || r[0] == ')' {
			return terms, nil
		}
	}
}

func (p *unitParser) term() ([][]factor, error) {
	switch {
	case p.take("√", "sqrt", "rt"):
		p.spaces()
		inner, err := p.term()
		if err != nil {
			return nil, err
		}
		return p.power(inner, 1)
	case p.take("("):
		inner, err := p.quotient()
		if err != nil {
			return nil, err
		}
		if p.spaces(); !p.take(")") {
			return nil, fmt.Errorf("%w: a bracket is not closed", ErrUnreadable)
		}
		twice, err := p.exponent()
		if err != nil {
			return nil, err
		}
		return p.power(inner, twice)
	case p.take("1"):
		if r := p.rest(); r != "" && r[0] >= '0' && r[0] <= '9' {
			return nil, fmt.Errorf("%w: the unit contains a number", ErrUnreadable)
		}
		return [][]factor{nil}, nil
	}
	word := p.word()
	if word == "" {
		r, _ := utf8.DecodeRuneInString(p.rest())
		switch {
		case p.rest() == "":
			return nil, fmt.Errorf("%w: something is missing at the end of the unit", ErrUnreadable)
		case r == '\'' || r == '"' || r == '′' || r == '″' || r == '’' || r == '”':
			return nil, fmt.Errorf("%w: %c can be minutes or seconds of arc, minutes or seconds, or feet or inches; type arcmin, arcsec, min, s, ft or in", ErrAmbiguous, r)
		}
		return nil, fmt.Errorf("%w: %q does not belong in a unit", ErrUnreadable, r)
	}
	meanings, err := lookUp(word)
	if err != nil {
		return nil, err
	}
	twice, err := p.exponent()
	if err != nil {
		return nil, err
	}
	// A power belongs to the last factor: Nm² is N·m².
	out := make([][]factor, len(meanings))
	for i, m := range meanings {
		last := len(m) - 1
		raisedLast, err := p.power([][]factor{m[last:]}, twice)
		if err != nil {
			return nil, err
		}
		out[i] = append(append([]factor(nil), m[:last]...), raisedLast[0]...)
	}
	return out, nil
}

func (p *unitParser) power(readings [][]factor, twice int) ([][]factor, error) {
	out := raised(readings, twice)
	if out == nil {
		return nil, fmt.Errorf("%w: powers are whole numbers or halves", ErrUnreadable)
	}
	for _, reading := range out {
		for _, f := range reading {
			if f.twice == 0 || f.twice > 2*maxPower || f.twice < -2*maxPower {
				return nil, fmt.Errorf("%w: powers from 1/2 to %d, of either sign", ErrUnreadable, maxPower)
			}
		}
	}
	return out, nil
}

// word takes the letters of a unit's name.
func (p *unitParser) word() string {
	for _, special := range []string{"g.u.", "g.u"} {
		if strings.HasPrefix(p.rest(), special) {
			p.at += len(special)
			return special
		}
	}
	start := p.at
	for p.at < len(p.text) {
		r, size := utf8.DecodeRuneInString(p.rest())
		if !unicode.IsLetter(r) && !strings.ContainsRune("°%‰_ₙ", r) {
			break
		}
		p.at += size
	}
	return p.text[start:p.at]
}

// exponent reads an optional power and returns twice its value, 2 without one.
func (p *unitParser) exponent() (int, error) {
	bad := fmt.Errorf("%w: powers are whole numbers or halves, such as s^-2, s⁻² or Hz^-1/2", ErrUnreadable)
	if caret := p.take("^", "**"); !caret {
		if sign, digits, ok := p.superscripts(); ok {
			if digits == "" || len(digits) > 2 {
				return 0, bad
			}
			return 2 * sign * number(digits), nil
		}
		r := p.rest()
		if strings.IndexAny(strings.TrimPrefix(r, "-"), "0123456789") != 0 {
			return 2, nil
		}
		sign := 1
		if p.take("-") {
			sign = -1
		}
		digits := p.digits()
		if digits == "" || len(digits) > 2 {
			return 0, bad
		}
		return 2 * sign * number(digits), nil
	}
	bracket := p.take("(")
	sign := 1
	if p.take("-") {
		sign = -1
	} else {
		p.take("+")
	}
	digits := p.digits()
	if digits == "" || len(digits) > 2 {
		return 0, bad
	}
	twice := 2 * number(digits)
	switch r := p.rest(); {
	case strings.HasPrefix(r, "/2") && (len(r) == 2 || r[2] < '0' || r[2] > '9'):
		p.at += 2
		twice /= 2
	case strings.HasPrefix(r, ".5") && (len(r) == 2 || r[2] < '0' || r[2] > '9'):
		p.at += 2
		twice++
	}
	if bracket && !p.take(")") {
		return 0, bad
	}
	return sign * twice, nil
}

func (p *unitParser) digits() string {
	start := p.at
	for p.at < len(p.text) && p.text[p.at] >= '0' && p.text[p.at] <= '9' {
		p.at++
	}
	return p.text[start:p.at]
}

func number(digits string) int {
	n := 0
	for _, c := range digits {
		n = 10*n + int(c-'0')
	}
	return n
}

// superscripts takes a power written in superscript, if one is there.
func (p *unitParser) superscripts() (sign int, digits string, ok bool) {
	sign, digits, rest, ok := cutSuperscript(p.rest())
	p.at = len(p.text) - len(rest)
	return sign, digits, ok
}

// cutSuperscript cuts a signed number in superscript from the front of s.
func cutSuperscript(s string) (sign int, digits, rest string, ok bool) {
	const marks = "⁰¹²³⁴⁵⁶⁷⁸⁹"
	sign = 1
	rest = s
	if r, found := strings.CutPrefix(s, "⁻"); found {
		sign, rest, ok = -1, r, true
	} else if r, found := strings.CutPrefix(s, "⁺"); found {
		rest, ok = r, true
	}
	for rest != "" {
		r, size := utf8.DecodeRuneInString(rest)
		digit := strings.IndexRune(marks, r)
		if digit < 0 {
			break
		}
		digits += string(rune('0' + len([]rune(marks[:digit]))))
		rest = rest[size:]
		ok = true
	}
	return sign, digits, rest, ok
}
