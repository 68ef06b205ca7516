package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gravity.example/gravlab/internal/digits"
)

// String writes the quantity in its unit: "1.23 ± 0.04 µN·m/rad" rounded as
// the uncertainty asks, or up to 12 digits when none is stated. A power of ten
// stands outside the bracket: "(1.23 ± 0.04) × 10⁻⁸ N·m/rad". The signs are
// those of the SI: U+2212 for minus, a space before the unit.
func (q Quantity) String() string { return q.text(digits.Place) }

// Echo writes the quantity like String, with two digits of the uncertainty where it has them:
// what a student has stated is not rounded away.
func (q Quantity) Echo() string {
	return q.text(func(u float64) int {
		first, place := digits.Leading(u, 1)
		if first[2] != '0' {
			place--
		}
		if place > 0 && u < 1e6 {
			place = 0
		}
		return place
	})
}

// text writes the quantity with its last digit at the place that its uncertainty asks for.
func (q Quantity) text(place func(u float64) int) string {
	v, u := q.In(q.Unit)
	if !(u > 0) || math.IsInf(u, 1) || !isFinite(v) {
		return withUnit(numberText(v, 12), q.Unit)
	}
	value, spread, exponent := rounded(v, u, place(u))
	if exponent == 0 {
		if len(q.Unit.factors) == 1 && q.Unit.factors[0].entry.symbol == "°" {
			return "(" + value + " ± " + spread + ")°"
		}
		return withUnit(value+" ± "+spread, q.Unit)
	}
	return withUnit(fmt.Sprintf("(%s ± %s) × 10%s", value, spread, superscript(strconv.Itoa(exponent))), q.Unit)
}

// Concise writes the uncertainty in brackets, in units of the last digit:
// "1.23(4) × 10⁻⁸ N·m/rad".
func (q Quantity) Concise() string {
	v, u := q.In(q.Unit)
	if !(u > 0) || math.IsInf(u, 1) || !isFinite(v) {
		return withUnit(numberText(v, 12), q.Unit)
	}
	value, spread, exponent := rounded(v, u, digits.Place(u))
	if strings.Contains(value, ".") {
		// The point stays where the uncertainty reaches above the decimals: 12.3(1.2).
		if bare := strings.TrimLeft(strings.Replace(spread, ".", "", 1), "0"); strings.HasPrefix(spread, "0") {
			spread = bare
		}
	}
	text := value + "(" + spread + ")"
	if exponent != 0 {
		text += " × 10" + superscript(strconv.Itoa(exponent))
	}
	return withUnit(text, q.Unit)
}

// Digits writes the value alone, to n significant digits, in its unit.
func (q Quantity) Digits(n int) string {
	v, _ := q.In(q.Unit)
	return withUnit(numberText(v, max(1, min(n, 17))), q.Unit)
}

func withUnit(number string, u Unit) string {
	if len(u.factors) == 0 {
		return number
	}
	if len(u.factors) == 1 && u.factors[0].entry.symbol == "°" && u.factors[0].twice == 2 {
		return number + "°" // SI Brochure 5.4.3: no space before the degree sign (from memory)
	}
	return number + " " + u.String()
}

// rounded writes v and u to one place. exponent is the power of ten that
// both must be multiplied by, 0 when they can be written without one.
func rounded(v, u float64, place int) (value, spread string, exponent int) {
	top := place
	if v != 0 {
		top = max(top, magnitude(v, place))
	}
	if u != 0 {
		top = max(top, magnitude(u, place))
	}
	if place > 0 || top < -3 || top > 6 {
		exponent = top
	}
	decimals := exponent - place
	return fixed(v, exponent, decimals), fixed(u, exponent, decimals), exponent
}

// magnitude returns the power of ten of the first digit of v once it is rounded at place.
func magnitude(v float64, place int) int {
	_, first := digits.Leading(math.Abs(v), 17)
	if first < place {
		return place
	}
	_, first = digits.Leading(math.Abs(v), min(first-place, 17))
	return first
}

// fixed writes v/10^exponent with the given decimals.
func fixed(v float64, exponent, decimals int) string {
	// Shift the point in the decimal text, so that no division rounds.
	text := strconv.FormatFloat(v, 'e', -1, 64)
	mantissa, exponentText, _ := strings.Cut(text, "e")
	e, _ := strconv.Atoi(exponentText)
	shifted, err := strconv.ParseFloat(mantissa+"e"+strconv.Itoa(e-exponent), 64)
	if err != nil {
		return minus(text)
	}
	out := strconv.FormatFloat(shifted, 'f', min(max(decimals, 0), 40), 64)
	if strings.Trim(out, "-0.") == "" {
		out = strings.TrimPrefix(out, "-")
	}
	return minus(out)
}

// numberText writes v to at most n significant digits without trailing zeros,
// with a power of ten outside 10⁻³ to 10⁶.
func numberText(v float64, n int) string {
	if !isFinite(v) {
		return minus(strconv.FormatFloat(v, 'g', -1, 64))
	}
	if v == 0 {
		return "0"
	}
	text := strconv.FormatFloat(v, 'e', n-1, 64)
	mantissa, exponentText, _ := strings.Cut(text, "e")
	exponent, _ := strconv.Atoi(exponentText)
	if exponent >= -3 && exponent < 6 {
		text = strconv.FormatFloat(v, 'f', max(0, n-1-exponent), 64)
		if strings.Contains(text, ".") {
			text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
		}
		return minus(text)
	}
	if strings.Contains(mantissa, ".") {
		mantissa = strings.TrimRight(strings.TrimRight(mantissa, "0"), ".")
	}
	return minus(mantissa) + " × 10" + superscript(strconv.Itoa(exponent))
}

func minus(s string) string { return strings.ReplaceAll(s, "-", "−") }

func isFinite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
