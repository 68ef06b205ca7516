package quantity

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Parse reads a quantity where one in the unit want is expected; the text may
// use any unit of that dimension. What is understood:
//
//	8.4 µGal   8,4e-8 m/s²   8.4×10⁻⁸ m s⁻²   10^-8 m/s^2   9.806 65 m/s²
//	12.0(3) mrad   3.2 ± 0.1 E   3.2 E +/- 0.1 E   (1.23 ± 0.04) × 10⁻⁸ N·m/rad
//	3.2 E ± 2 %   (50 ± 10) %   3.2 ± 0.2 E (k = 2)   8.4 10⁻⁸ m/s²
//	8.4 microgal   3 newton metres per radian   3 per cent   x = 0.534 s
//	sqrt(2/9.81) s   9.81*sin(30°) m/s²   2*pi/603.8 rad/s
//
// Arithmetic is worked out where the text is nothing else: + - * / ^ and brackets, sqrt, exp,
// ln, log10, pi, and sin, cos and tan of an angle whose unit stands behind it.
// A number without a unit is read only where want is the unit one; there "1",
// "-" and "none" behind it say the same. The error is an [*InputError] that asks
// for what to type instead.
func Parse(text string, want Unit) (Reading, error) {
	s, err := normalise(text)
	if err != nil {
		return Reading{}, err
	}
	if s == "" {
		return Reading{}, refuse(text, ErrEmpty, "type a number with its unit, such as %s", example(want))
	}
	p := &reader{text: text, want: want}
	r, err := p.read(s)
	if err != nil && !errors.Is(err, ErrAmbiguous) {
		if out, done, wrong := workOut(text, s); wrong != nil {
			err = wrong
		} else if done {
			p = &reader{text: text, want: want}
			r, err = p.read(out)
		}
	}
	if err != nil {
		var e *InputError
		if errors.As(err, &e) {
			e.Text = text
		}
		return Reading{}, err
	}
	r.Text = text
	return r, nil
}

func example(want Unit) string {
	if want.String() == "1" {
		return "1.23"
	}
	return "1.23 " + want.String()
}

// normalise gives each sign one form: "-" for every minus, " " for every
// space, "±", "µ", "·" and "Ω" in one encoding each.
func normalise(text string) (string, error) {
	if !utf8.ValidString(text) {
		return "", refuse(text, ErrUnreadable, "it is not valid UTF-8 text")
	}
	if utf8.RuneCountInString(text) > maxText {
		return "", refuse(text, ErrUnreadable, "type only a number with its unit (at most %d characters)", maxText)
	}
	var b strings.Builder
	for _, r := range text {
		switch {
		case r == '−' || r == '–' || r == '‐' || r == '‑' || r == '﹣' || r == '-':
			r = '-'
		case unicode.IsSpace(r) || r == '\u2060' || r == '\ufeff':
			r = ' '
		case r == 'μ':
			r = 'µ'
		case r == '\u2126':
			r = 'Ω'
		case r == '⋅' || r == '∙' || r == '•':
			r = '·'
		case unicode.IsControl(r):
			return "", refuse(text, ErrUnreadable, "it holds a control character")
		}
		b.WriteRune(r)
	}
	s := strings.Join(strings.Fields(b.String()), " ")
	s = strings.ReplaceAll(s, "+/-", "±")
	s = strings.ReplaceAll(s, "+-", "±")
	return s, nil
}

// A reader holds what the steps of one reading share.
type reader struct {
	text    string
	want    Unit
	remarks []string
}

// A decimal is a number as typed: digits × 10^exponent, exactly.
type decimal struct {
	digits   string // sign, digits and at most one point
	decimals int    // digits after the point
	exponent int
	times    bool   // the exponent was written as a power of ten, not as e-8
	concise  string // digits of the uncertainty in brackets
}

// times returns d in SI units for a number of units u.
func (d decimal) in(u Unit) float64 {
	return u.scale(d.digits, d.exponent)
}

func (p *reader) read(s string) (Reading, error) {
	s = cutName(s)
	k := 1.0
	if head, factor, ok := cutCoverage(s); ok {
		v, err := strconv.ParseFloat(factor, 64)
		if err != nil || !(v >= 0.1 && v <= 10) {
			return Reading{}, refuse(p.text, ErrUncertainty, "a coverage factor k from 0.1 to 10, such as (k = 2)")
		}
		k, s = v, head
	}

	var value, spread decimal
	var hasSpread bool
	var unitText, spreadUnit string
	var err error
	if inner, tail, ok := cutBrackets(s); ok {
		// (1.23 ± 0.04) × 10⁻⁸ unit
		left, right, _ := strings.Cut(inner, "±")
		var rest string
		if value, rest, err = p.number(strings.TrimSpace(left)); err == nil && rest != "" {
			err = refuse(p.text, ErrUnreadable, "the unit goes after the bracket: (1.23 ± 0.04) unit")
		}
		if err != nil {
			return Reading{}, err
		}
		if spread, rest, err = p.number(strings.TrimSpace(right)); err == nil && rest != "" {
			err = refuse(p.text, ErrUnreadable, "the unit goes after the bracket: (1.23 ± 0.04) unit")
		}
		if err != nil {
			return Reading{}, err
		}
		power := decimal{}
		if tail, err = p.powerOfTen(tail, &power); err != nil {
			return Reading{}, err
		}
		value.exponent += power.exponent
		spread.exponent += power.exponent
		hasSpread = true
		unitText = strings.TrimSpace(tail)
	} else {
		left, right, split := strings.Cut(s, "±")
		if value, unitText, err = p.number(strings.TrimSpace(left)); err != nil {
			return Reading{}, err
		}
		if split {
			hasSpread = true
			if spread, spreadUnit, err = p.number(strings.TrimSpace(right)); err != nil {
				return Reading{}, err
			}
			if first, second, ok := twoUnits(spreadUnit, p.want.Dimension(), p.want.String()); ok {
				return Reading{}, p.oneUnit(value, spread, first, second, unitText)
			}
			if unitText == "" && spread.times && !value.times && value.exponent == 0 {
				return Reading{}, refuse(p.text, ErrAmbiguous, "does the power of ten belong to both numbers? Type (1.23 ± 0.04) × 10⁻⁸ with brackets")
			}
			if unitText == "" && !(spreadUnit == "%" && p.want.String() != "%") {
				unitText = spreadUnit
				spreadUnit = ""
			}
		}
	}
	return p.assemble(value, spread, hasSpread, unitText, spreadUnit, k)
}

// cutName takes away the name in front of a value: "x = 0.534 s", "κ ≈ 8.4 µN·m/rad".
func cutName(s string) string {
	for _, sign := range []string{"=", "≈"} {
		name, value, ok := strings.Cut(s, sign)
		if name = strings.TrimSpace(name); ok && !strings.ContainsAny(name, " ±%") && (name == "" || !strings.ContainsAny(name[:1], "0123456789+-.,(")) {
			return strings.TrimSpace(value)
		}
	}
	return s
}

// cutCoverage splits "3.2 ± 0.2 E (k = 2)", also without the brackets or with a
// comma or semicolon before them. A pattern of package regexp would do the same,
// and make each student's program, which links this package, longer by a
// fourteenth.
func cutCoverage(s string) (head, factor string, ok bool) {
	rest, bracket := strings.CutSuffix(s, ")")
	if bracket {
		rest = strings.TrimRight(rest, " ")
	}
	head = strings.TrimRight(rest, "0123456789.")
	factor = rest[len(head):]
	if head, ok = strings.CutSuffix(strings.TrimRight(head, " "), "="); !ok || factor == "" {
		return "", "", false
	}
	if head, ok = strings.CutSuffix(strings.TrimRight(head, " "), "k"); !ok {
		return "", "", false
	}
	if bracket {
		head, ok = strings.CutSuffix(strings.TrimRight(head, " "), "(")
	} else if head != "" { // a k that ends a word, or a unit, is none
		c := head[len(head)-1]
		ok = !('0' <= c && c <= '9' || 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || c == '_')
	}
	head = strings.TrimRight(head, " ")
	if strings.HasSuffix(head, ",") || strings.HasSuffix(head, ";") {
		head = strings.TrimRight(head[:len(head)-1], " ")
	}
	return head, factor, ok
}

// assemble puts numbers and units together and checks what came out.
func (p *reader) assemble(value, spread decimal, hasSpread bool, unitText, spreadUnit string, k float64) (Reading, error) {
	typed, err := value.float(p.text)
	if err != nil {
		return Reading{}, err
	}
	withNumber := func(err error) error {
		var e *InputError
		if errors.As(err, &e) {
			e.Number, e.HasNumber = typed, true
		}
		return err
	}
	var u Unit
	if unitText != "" {
		if u, err = p.unit(unitText); err != nil {
			return Reading{}, withNumber(err)
		}
	}
	if unitText == "" && len(p.want.factors) > 0 {
		return Reading{}, withNumber(refuse(p.text, ErrNoUnit, "type it with the number, such as %s %s", numberText(typed, 15), p.want))
	}
	r := Reading{Quantity: Quantity{Value: value.in(u), Unit: u}, Step: u.scale("1", value.exponent-value.decimals)}
	if math.IsInf(r.Value, 0) || r.Value == 0 && typed != 0 {
		return Reading{}, refuse(p.text, ErrRange, "a size between 1e-300 and 1e300 in SI units")
	}
	if value.concise != "" {
		if hasSpread {
			return Reading{}, refuse(p.text, ErrUncertainty, "give the uncertainty once, as 12.0(3) or as 12.0 ± 0.3")
		}
		hasSpread = true
		spread = value.brackets()
	}
	if !hasSpread {
		if k != 1 {
			return Reading{}, refuse(p.text, ErrUncertainty, "k belongs to an uncertainty: 3.2 ± 0.2 E (k = 2)")
		}
		r.Remarks = p.remarks
		return r, nil
	}
	if spread.concise != "" {
		return Reading{}, refuse(p.text, ErrUncertainty, "an uncertainty without an uncertainty of its own")
	}
	switch spreadUnit {
	case "":
		r.U = spread.in(u)
	case "%":
		if len(u.factors) == 1 && u.factors[0].entry.symbol == "%" {
			r.U = spread.in(u) // 50 % ± 10 %: from 40 % to 60 %
			break
		}
		if len(u.factors) == 0 {
			p.remark("the uncertainty read as a percentage of the value")
		}
		r.U = spread.in(Unit{}) / 100 * math.Abs(r.Value)
	default:
		v, err := p.unit(spreadUnit)
		if err != nil {
			return Reading{}, withNumber(err)
		}
		r.U = spread.in(v)
	}
	r.U /= k
	if !(r.U > 0) || math.IsInf(r.U, 1) {
		return Reading{}, refuse(p.text, ErrUncertainty, "a standard uncertainty above zero")
	}
	if k != 1 {
		p.remark("expanded uncertainty divided by k = %g", k)
	}
	r.Remarks = p.remarks
	return r, nil
}

// oneUnit refuses an uncertainty with two units, such as 0.4515 s ± 200 ms s, and
// says what it is in the unit of the value.
func (p *reader) oneUnit(value, spread decimal, first, second, valueUnit string) error {
	typed, err := value.float(p.text)
	if err != nil {
		return err
	}
	if valueUnit == "" {
		valueUnit = second
	}
	own, err := p.unit(first)
	if err != nil {
		return err
	}
	u, err := p.unit(valueUnit)
	var e *InputError
	switch {
	case err == nil:
		kind, has := errTwoUnits, first+" and "+second
		if first == second {
			kind, has = errTwice, first+" twice"
		}
		e = refuse(p.text, kind, "the uncertainty has %s; give both numbers in one unit, as in %s ± %s %s", has, numberText(typed, 15), numberText(spread.in(own)/u.SI(), 6), u)
		e.Unit = u
	case !errors.As(err, &e):
		return err
	}
	e.Number, e.HasNumber = typed, true
	return e
}

// unit reads the unit of the value or of its uncertainty.
func (p *reader) unit(text string) (Unit, error) {
	readings, written, err := readUnit(text)
	if err != nil {
		return Unit{}, err
	}
	u, remarks, err := choose(text, readings, p.want.Dimension(), p.want.String())
	for _, remark := range append(written, remarks...) {
		p.remark("%s", remark)
	}
	return u, err
}

// float returns the number as typed, without its unit.
func (d decimal) float(text string) (float64, error) {
	v := d.in(Unit{})
	if math.IsInf(v, 0) || v == 0 && strings.ContainsAny(d.digits, "123456789") {
		return 0, refuse(text, ErrRange, "a size between 1e-300 and 1e300")
	}
	return v, nil
}

// brackets returns the uncertainty of 12.0(3) or 12.0(0.3).
func (d decimal) brackets() decimal {
	if strings.Contains(d.concise, ".") {
		return decimal{digits: d.concise, exponent: d.exponent}
	}
	return decimal{digits: d.concise, exponent: d.exponent - d.decimals}
}

// cutBrackets splits "(a ± b) tail".
func cutBrackets(s string) (inner, tail string, ok bool) {
	if !strings.HasPrefix(s, "(") {
		return "", "", false
	}
	inner, tail, ok = strings.Cut(s[1:], ")")
	// "(12.0(3) ± ...": not ours
	return inner, tail, ok && strings.Contains(inner, "±")
}

// number cuts a number from the front of s and returns what is behind it.
func (p *reader) number(s string) (d decimal, rest string, err error) {
	sign := ""
	rest = s
	for strings.HasPrefix(rest, "-") || strings.HasPrefix(rest, "+") {
		if sign != "" {
			return d, "", refuse(p.text, ErrUnreadable, "there are two signs before the number")
		}
		sign, rest = rest[:1], strings.TrimLeft(rest[1:], " ")
	}
	low := strings.ToLower(rest)
	for _, word := range []string{"nan", "infinity", "inf", "∞"} {
		if after, ok := strings.CutPrefix(low, word); ok && (after == "" || !unicode.IsLetter([]rune(after)[0])) {
			return d, "", refuse(p.text, ErrNotFinite, "type the number itself; if a calculation gave it, look for a division by zero")
		}
	}
	run, rest := cutDigits(rest)
	if !strings.ContainsAny(run, "0123456789") {
		return d, "", refuse(p.text, ErrUnreadable, "start with the number, such as %s", example(p.want))
	}
	run, rest = p.cutOne(run, rest)
	if d.digits, d.decimals, err = p.separators(run, rest); err != nil {
		return d, "", err
	}
	if sign == "-" {
		d.digits = "-" + d.digits
	}
	// 10^-8 alone
	if run == "10" {
		if exponent, after, ok, err := p.tenTo(rest); err != nil {
			return d, "", err
		} else if ok {
			d.digits, d.exponent, d.times = strings.TrimSuffix(d.digits, "0"), exponent, true
			return d, strings.TrimSpace(after), nil
		}
	}
	if strings.HasPrefix(rest, "(") {
		inner, after, ok := strings.Cut(rest[1:], ")")
		if !ok || inner == "" || strings.Trim(inner, "0123456789.") != "" || strings.Count(inner, ".") > 1 || inner == "." {
			return d, "", refuse(p.text, ErrUnreadable, "brackets behind a number hold the uncertainty of its last digits: 12.0(3)")
		}
		d.concise, rest = inner, after
	}
	rest, err = p.powerOfTen(rest, &d)
	if err != nil {
		return d, "", err
	}
	rest = strings.TrimSpace(rest)
	switch {
	case noUnit(rest):
		return d, "", nil
	case strings.EqualFold(rest, "per cent"), strings.EqualFold(rest, "percent"):
		return d, "%", nil
	}
	if len(rest) > 0 && (rest[0] >= '0' && rest[0] <= '9') && !(rest == "1" && p.want.Dimension() == One) {
		if one, ok := strings.CutPrefix(rest, "1/"); !ok || one == "" {
			return d, "", refuse(p.text, ErrUnreadable, "there are two numbers side by side; write a power of ten as 8.4e-8 or 8.4×10^-8")
		}
	}
	return d, rest, nil
}

// cutOne takes a last group "1" away from digits where a pure number is wanted:
// 0.805 1 is the number 0.805 with its unit, as two fields give it. Behind zeros
// alone, as in 0.000 1, it stays a digit.
func (p *reader) cutOne(run, rest string) (digits, unit string) {
	digits, ok := strings.CutSuffix(run, " 1")
	if !ok || strings.TrimSpace(rest) != "" || p.want.Dimension() != One || !strings.ContainsAny(digits, "123456789") {
		return run, rest
	}
	p.remark("the 1 at the end is the unit")
	return digits, "1"
}

// noUnit reports whether a text in the place of a unit says that there is none.
func noUnit(text string) bool {
	switch strings.ToLower(text) {
	case "-", "—", "none", "no unit", "dimensionless":
		return true
	}
	return false
}

// remark notes what was taken for granted, once.
func (p *reader) remark(format string, values ...any) {
	if text := fmt.Sprintf(format, values...); !containsString(p.remarks, text) {
		p.remarks = append(p.remarks, text)
	}
}

// cutDigits takes digits with points, commas and the spaces or apostrophes
// that part groups of digits.
func cutDigits(s string) (run, rest string) {
	i := 0
	for i < len(s) {
		c := s[i]
		if c >= '0' && c <= '9' || (c == '.' || c == ',') && i+1 < len(s) && s[i+1] >= '0' && s[i+1] <= '9' {
			i++
			continue
		}
		if (c == '.' || c == ',') && i > 0 && s[i-1] >= '0' && s[i-1] <= '9' && !strings.ContainsAny(s[:i], ".,") {
			i++ // "3." as Go and many instruments write it
			continue
		}
		if c != ' ' || !groupFollows(s[:i], s[i+1:]) {
			break
		}
		i++
	}
	return s[:i], s[i:]
}

// groupFollows reports whether a space between before and after parts groups
// of three digits, as the SI writes long numbers: 12 345, 9.806 65.
func groupFollows(before, after string) bool {
	n := 0
	for n < len(after) && after[n] >= '0' && after[n] <= '9' {
		n++
	}
	behind := after[n:]
	if n == 0 || strings.HasPrefix(behind, "-") || strings.HasPrefix(behind, "^") || strings.HasPrefix(behind, "**") || strings.HasPrefix(behind, "/") {
		return false
	}
	if _, _, _, power := cutSuperscript(behind); power {
		return false
	}
	last := before[strings.LastIndexAny(before, " .,")+1:]
	if strings.ContainsAny(before, ".,") {
		return len(last) == 3 && n <= 3
	}
	first := strings.IndexByte(before, ' ') < 0
	return n == 3 && (len(last) == 3 || first && len(last) >= 1 && len(last) <= 3)
}

// separators turns digits with points, commas and spaces into plain ones with
// at most one point; behind is the text behind them.
func (p *reader) separators(run, behind string) (digits string, decimals int, err error) {
	plain := strings.ReplaceAll(run, " ", "")
	points, commas := strings.Count(plain, "."), strings.Count(plain, ",")
	decimal := "."
	switch {
	case points+commas == 0:
		return plain, 0, nil
	case points > 0 && commas > 0:
		// 1,234.5 or 1.234,5: the last one is the decimal sign.
		if strings.LastIndex(plain, ",") > strings.LastIndex(plain, ".") {
			decimal = ","
		}
		other := strings.Trim(".,", decimal)
		whole, _, _ := strings.Cut(plain, decimal)
		if strings.Count(plain, decimal) > 1 || !grouped(whole, other) {
			return "", 0, refuse(p.text, ErrAmbiguous, "which sign parts the decimals? Type it with one point and no commas")
		}
		p.remark("%q read as thousands, %q as decimal sign", other, decimal)
		plain = strings.ReplaceAll(plain, other, "")
	case points > 1 || commas > 1:
		sign := ","
		if points > 1 {
			sign = "."
		}
		if !grouped(plain, sign) {
			return "", 0, refuse(p.text, ErrAmbiguous, "which sign parts the decimals? Type it with one point and no commas")
		}
		p.remark("%q read as thousands", sign)
		return strings.ReplaceAll(plain, sign, ""), 0, nil
	case commas == 1:
		decimal = ","
		whole, fraction, _ := strings.Cut(plain, ",")
		if len(fraction) == 3 && len(whole) >= 1 && len(whole) <= 3 && whole[0] != '0' && !strings.Contains(run, " ") {
			return "", 0, refuse(p.text, ErrAmbiguous, "is the comma a decimal sign or does it part thousands? Type %[4]s%[1]s.%[2]s%[3]s or %[4]s%[1]s%[2]s%[3]s", whole, fraction, p.belongs(behind), p.sign(run))
		}
		p.remark("decimal comma")
	}
	whole, fraction, _ := strings.Cut(plain, decimal)
	if whole == "" {
		whole = "0"
	}
	if fraction == "" {
		return whole, 0, nil
	}
	return whole + "." + fraction, len(fraction), nil
}

// sign returns the minus in front of a run of digits, or "".
func (p *reader) sign(run string) string {
	before, _, _ := strings.Cut(p.text, run)
	before = strings.TrimRight(before, " ")
	for _, minus := range []string{"-", "−", "–", "‐", "‑", "﹣"} {
		if strings.HasSuffix(before, minus) {
			return minus
		}
	}
	return ""
}

// belongs returns what in the text behind the digits belongs to the number: an
// uncertainty in brackets and a power of ten.
func (p *reader) belongs(behind string) string {
	rest := behind
	if strings.HasPrefix(rest, "(") {
		if _, after, ok := strings.Cut(rest, ")"); ok {
			rest = after
		}
	}
	// A reader of its own: this one takes nothing for granted by looking.
	if after, err := (&reader{text: p.text, want: p.want}).powerOfTen(rest, &decimal{}); err == nil {
		rest = after
	}
	return strings.TrimRight(strings.TrimSuffix(behind, rest), " ")
}

// grouped reports whether sign parts s into thousands: 1 to 3 digits, then threes.
func grouped(s, sign string) bool {
	groups := strings.Split(s, sign)
	for i, g := range groups {
		if i == 0 && (len(g) < 1 || len(g) > 3) || i > 0 && len(g) != 3 {
			return false
		}
	}
	return groups[0][0] != '0'
}

// powerOfTen cuts an exponent such as e-8 or × 10⁻⁸ from the front of s.
func (p *reader) powerOfTen(s string, d *decimal) (rest string, err error) {
	if len(s) > 0 && (s[0] == 'e' || s[0] == 'E') {
		after := s[1:]
		signed := strings.TrimLeft(after, "+-")
		switch {
		case len(after)-len(signed) <= 1 && signed != "" && signed[0] >= '0' && signed[0] <= '9':
			n := 0
			for n < len(signed) && signed[n] >= '0' && signed[n] <= '9' {
				n++
			}
			if d.exponent, err = p.exponent(after[:len(after)-len(signed)], signed[:n]); err != nil {
				return "", err
			}
			return signed[n:], nil
		case s[0] == 'E' && (after == "" || after[0] == ' ' || signed != after):
			return "", refuse(p.text, ErrAmbiguous, "3.2 E with a space is eotvos, 3.2e1 is a power of ten: which is it?")
		}
		return s, nil
	}
	trimmed := strings.TrimLeft(s, " ")
	if len(trimmed) > 1 && (trimmed[0] == 'e' || trimmed[0] == 'E') && strings.ContainsAny(trimmed[1:2], "+-0123456789") {
		power := strings.TrimLeft(trimmed[1:], "+-")
		power = trimmed[:len(trimmed)-len(strings.TrimLeft(power, "0123456789"))]
		if trimmed[0] == 'E' && p.want.Dimension() == Gradient {
			return "", refuse(p.text, ErrAmbiguous, "%s can be a power of ten or a power of the eotvos: join a power of ten to its number, such as 3.2e-9; eotvos is E alone", power)
		}
		// Where no gradient is wanted, a power of the eotvos fits nothing.
		rest, err := p.powerOfTen(trimmed, d)
		if err == nil && rest != trimmed {
			p.remark("%s read as × 10%s", power, superscript(strconv.Itoa(d.exponent)))
		}
		return rest, err
	}
	if ten, ok := strings.CutPrefix(trimmed, "10"); ok && len(trimmed) < len(s) {
		// 8.4 10⁻⁸ m/s²: the power of ten stands in the place of the unit.
		exponent, rest, ok, err := p.tenTo(ten)
		if err != nil {
			return "", err
		}
		if ok {
			d.exponent, d.times = exponent, true
			p.remark("10%[1]s read as × 10%[1]s", superscript(strconv.Itoa(exponent)))
			return rest, nil
		}
	}
	for _, sign := range []string{"×", "x", "X", "*", "·"} {
		after, ok := strings.CutPrefix(trimmed, sign)
		if !ok {
			continue
		}
		ten, ok := strings.CutPrefix(strings.TrimLeft(after, " "), "10")
		if !ok {
			break
		}
		exponent, rest, ok, err := p.tenTo(ten)
		if err != nil {
			return "", err
		}
		if !ok {
			// ×10-8, as pasted text often has it
			if signed, cut := strings.CutPrefix(ten, "-"); cut {
				n := len(signed) - len(strings.TrimLeft(signed, "0123456789"))
				if n > 0 {
					if d.exponent, err = p.exponent("-", signed[:n]); err != nil {
						return "", err
					}
					d.times = true
					p.remark("×10-%s read as ×10%s", signed[:n], superscript(strconv.Itoa(d.exponent)))
					return signed[n:], nil
				}
			}
			if ten != "" && ten[0] != ' ' {
				return "", refuse(p.text, ErrUnreadable, "write the power of ten as ×10^-8, ×10⁻⁸ or e-8")
			}
			d.exponent, d.times = 1, true
			return ten, nil
		}
		d.exponent, d.times = exponent, true
		return rest, nil
	}
	return s, nil
}

// tenTo reads the power behind "10": ^-8, **-8 or ⁻⁸.
func (p *reader) tenTo(s string) (exponent int, rest string, ok bool, err error) {
	if sign, digits, rest, ok := cutSuperscript(s); ok {
		text := ""
		if sign < 0 {
			text = "-"
		}
		exponent, err = p.exponent(text, digits)
		return exponent, rest, true, err
	}
	after, ok := strings.CutPrefix(s, "^")
	if !ok {
		if after, ok = strings.CutPrefix(s, "**"); !ok {
			return 0, s, false, nil
		}
	}
	after = strings.TrimLeft(after, " ")
	bracket := strings.HasPrefix(after, "(") || strings.HasPrefix(after, "{")
	if bracket {
		after = after[1:]
	}
	sign := ""
	if after != "" && (after[0] == '-' || after[0] == '+') {
		sign, after = after[:1], after[1:]
	}
	n := len(after) - len(strings.TrimLeft(after, "0123456789"))
	if exponent, err = p.exponent(sign, after[:n]); err != nil {
		return 0, "", false, err
	}
	rest = after[n:]
	if bracket {
		if rest == "" || rest[0] != ')' && rest[0] != '}' {
			return 0, "", false, refuse(p.text, ErrUnreadable, "a bracket of the power of ten is not closed")
		}
		rest = rest[1:]
	}
	return exponent, rest, true, nil
}

func (p *reader) exponent(sign, digits string) (int, error) {
	if digits == "" {
		return 0, refuse(p.text, ErrUnreadable, "the power of ten has no number; write ×10^-8 or e-8")
	}
	if digits = strings.TrimLeft(digits, "0"); len(digits) > 4 {
		return 0, refuse(p.text, ErrRange, "a size between 1e-300 and 1e300")
	}
	n := number(digits)
	if sign == "-" {
		n = -n
	}
	return n, nil
}
