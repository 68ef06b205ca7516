package judge

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gravity.example/gravlab/quantity"
)

const (
	// CredibleFactor is how far a stated standard uncertainty may lie from the
	// judge's own, either way.
	CredibleFactor = 3
	// CoverageFactor is how many standard uncertainties a value may lie from the
	// wanted one. With a normal error 3 leave out 0.3 % of honest answers.
	CoverageFactor = 3

	// TellingFactor is by how much a mistake has to change the uncertainty to be named before
	// the result is credited: more than two sound analyses differ.
	TellingFactor = 1.35

	// An uncertainty within goodFactor of the judge's own needs no remark. One within
	// alikeFactor of what a mistake gives is that mistake: no two people get the same digits
	// of an uncertainty.
	goodFactor  = 1.5
	alikeFactor = 1.25
)

// Number judges a number, or a number with its uncertainty.
//
// Full marks go to a right or carried answer; half of them, rounded down, to a
// right number with a wrong or missing unit and to a right value whose
// uncertainty is missing or not credible. An answer whose few digits are those of
// the right value, outside the tolerance, is off and told to be rounded too early.
func Number(t NumberTask, a Answer) Verdict {
	r := read(a, t.Unit, t.digits)
	v := r.verdict(t.Marks)
	switch {
	case v.Outcome != OutcomeRecorded:
		return v
	case r.problem != "":
		return t.withoutUnit(v, r)
	}
	// A less careful analysis has a larger uncertainty and may lie further off,
	// as long as it says so.
	credible := t
	if !t.Strict {
		credible.U = math.Min(math.Max(t.U, r.u), CredibleFactor*t.U)
	}
	switch {
	case credible.fits(r.value, t.Want):
		v.Outcome, v.Marks = OutcomeRight, t.Marks
		if t.U > 0 && t.Telling != WithMarks && t.fromHandbook(r) && !r.few(3) {
			v.Message = "These are the digits of a handbook. What does your own record give?"
		}
	case credible.fits(r.value, t.Carried):
		v.Outcome, v.Marks = OutcomeCarried, t.Marks
		v.Message = "Right, " + t.given() + ", which need another look."
		if len(t.From) < 2 {
			v.Message = "Right, " + t.given() + ", which needs another look."
		}
	default:
		return t.wrong(v, r)
	}
	if t.U > 0 {
		return t.uncertainty(v, r)
	}
	return v
}

// given names the earlier answers from which a carried one follows.
func (t NumberTask) given() string {
	last := len(t.From) - 1
	if last < 1 {
		return "given your answer to " + strings.Join(t.From, "")
	}
	return "given your answers to " + strings.Join(t.From[:last], ", ") + " and " + t.From[last]
}

// UnderstandNumber says how a number was understood: Recorded, with a remark on a
// unit that is missing or does not fit; Blank; or Unreadable.
func UnderstandNumber(marks int, unit string, tol Tolerance, a Answer) Verdict {
	return read(a, unit, NumberTask{Tol: tol}.digits).verdict(marks)
}

// Allowed is how far an answer may lie from a value: the tolerance, or, for a
// measured value without one, CoverageFactor times the judge's own uncertainty.
func (t NumberTask) Allowed(from float64) float64 {
	if t.Tol.Abs == 0 && t.Tol.Rel == 0 {
		return CoverageFactor * t.U
	}
	return math.Max(t.Tol.Abs, t.Tol.Rel*math.Abs(from))
}

// digits is how many digits of a value are told, one more than the tolerance asks
// for: 6 at least, 12 at most.
func (t NumberTask) digits(value float64) int {
	share := t.Allowed(value) / math.Abs(value)
	if !(share > 0) || math.IsInf(share, 1) {
		return 6
	}
	return min(max(6, 1+int(math.Ceil(-math.Log10(share)))), 12)
}

// fits is false for a NaN.
func (t NumberTask) fits(got, value float64) bool {
	return within(got, value, t.Allowed(value))
}

// within reports whether got lies no further than allowed from value. An answer
// at the edge is within, whatever the last bits of its digits and units are: 2.02
// within 1 % of 2.
func within(got, value, allowed float64) bool {
	return math.Abs(got-value) <= allowed*(1+1e-12)+4*0x1p-52*math.Abs(value)
}

// withoutUnit judges a number whose unit is missing or does not fit: the number
// may be right in the wanted unit, or in SI units.
func (t NumberTask) withoutUnit(v Verdict, r reading) Verdict {
	for _, value := range []float64{r.asWanted, r.number} {
		if t.fits(value, t.Want) || t.fits(value, t.Carried) {
			v.Outcome, v.Marks, v.SI = OutcomeUnit, t.Marks/2, value
			v.Message = sentence(r.problem) + "\nThe number is right: " + sentence(r.remedy)
			return v
		}
	}
	v.Outcome = OutcomeUnreadable
	return v
}

// wrong looks for the reason of a number that is neither right nor carried. A
// mistake is named only where the digits given tell it from the right value, or
// where it leads to exactly these digits: a factor of 1, a number of the question
// left as it is.
func (t NumberTask) wrong(v Verdict, r reading) Verdict {
	slips, unclear := t.slips(r)
	switch {
	case len(slips) > 0:
		v.Outcome, v.Slip, v.Drawing, v.Message = OutcomeSlip, slips[0].Name, slips[0].Drawing, capital(slips[0].Name)+"?\n"+slips[0].Fix
		if len(slips) > 1 {
			v.Drawing = "" // of which of the two?
			v.Message = fmt.Sprintf("%s, or %s?\n%s\n%s", capital(slips[0].Name), slips[1].Name, oneLine(slips[0].Fix), oneLine(slips[1].Fix))
		}
		return v
	case unclear:
		return t.rounded(v, r)
	}
	if told, ok := t.power(v, r); ok {
		return told
	}
	if r.few(t.digitsWanted()-1) && (r.rounds(t.Want, r.coarse) || r.rounds(t.Carried, r.coarse)) {
		return t.rounded(v, r)
	}
	if name, message, ok := t.general(r); ok {
		v.Outcome, v.Slip, v.Drawing, v.Message = OutcomeSlip, name, drawn[name], message
		return v
	}
	v.Outcome = OutcomeOff
	if t.Telling == NextPractice && r.few(t.digitsWanted()-1) {
		return t.moreDigits(v)
	}
	v.Message = "Not recognised.\n" + t.Hint
	return v
}

// slips are the slips that an answer fits: the nearest, and the next one where the digits do
// not tell it from the nearest. unclear says that they do not tell a slip from the right value.
func (t NumberTask) slips(r reading) (fits []WrongValue, unclear bool) {
	off := func(s WrongValue) float64 {
		d := math.Inf(1)
		for _, v := range []float64{s.Value, s.Carried} {
			if within(r.value, v, t.Window(v)) { // false for a NaN
				d = math.Min(d, math.Abs(r.value-v))
			}
		}
		return d
	}
	for _, s := range t.Slips {
		switch {
		case math.IsInf(off(s), 1):
		case (r.covers(t.Want) || r.covers(t.Carried)) && !r.is(s.Value) && !r.is(s.Carried):
			unclear = true
		default:
			fits = append(fits, s)
		}
	}
	slices.SortStableFunc(fits, func(a, b WrongValue) int { return cmp.Compare(off(a), off(b)) })
	if len(fits) > 1 && (off(fits[1]) > off(fits[0])+sharp*math.Abs(r.value) || fits[1].Name == fits[0].Name) {
		fits = fits[:1]
	}
	return fits[:min(len(fits), 2)], unclear
}

// Window is how far an answer may lie from the value of a slip to be named as it: the
// tolerance, and no more than a few per cent or the judge's own uncertainty.
func (t NumberTask) Window(slip float64) float64 {
	return math.Min(t.Allowed(slip), math.Max(aboutRight*math.Abs(slip), t.U))
}

// digitsWanted is how many digits an answer needs so that rounding keeps it within the
// tolerance.
func (t NumberTask) digitsWanted() int {
	share := t.Allowed(t.Want) / math.Abs(t.Want)
	if !(share > 0) || math.IsInf(share, 1) {
		return 4
	}
	return min(max(2, int(math.Ceil(1-math.Log10(2*share)))), 12)
}

// rounded is the verdict on an answer that is as near to the right or carried
// value as its digits allow, and not within the tolerance.
func (t NumberTask) rounded(v Verdict, r reading) Verdict {
	v.Outcome = OutcomeOff
	if t.Telling == NextPractice {
		return t.moreDigits(v)
	}
	v.Message = "This looks rounded too early"
	if !r.covers(t.Want) && !r.rounds(t.Want, r.coarse) {
		v.Message += ", " + t.given()
	}
	v.Message += ".\nCarry more digits through the calculation, and round only at the end."
	switch {
	case t.U > 0 && r.u == 0:
		v.Message += "\nState its standard uncertainty too."
	case t.U > 0 && r.u > t.U*CredibleFactor:
		v.Message += "\nIts uncertainty is far larger than this record allows."
	}
	return v
}

// moreDigits asks for digits, and says nothing about those that were given.
func (t NumberTask) moreDigits(v Verdict) Verdict {
	v.Message = fmt.Sprintf("Not recognised. This question needs %d significant digits.\n%s", t.digitsWanted(), t.Hint)
	return v
}

// uncertainty judges the uncertainty of a value that fits.
func (t NumberTask) uncertainty(v Verdict, r reading) Verdict {
	missed := func(message string) Verdict {
		v.Outcome, v.Marks = OutcomeOff, t.Marks/2
		v.Message = "Value right, " + message
		return v
	}
	want := t.Want
	if v.Outcome == OutcomeCarried {
		want = t.Carried
	}
	// A mistake that changes the uncertainty by much is named, even where the
	// result would still be credible.
	slip := func(apart float64) bool {
		for _, s := range t.USlips {
			if factor(s.Value, t.U) < apart || factor(r.u, s.Value) > min(alikeFactor, factor(r.u, t.U)) {
				continue
			}
			v.Outcome, v.Slip, v.Drawing, v.Marks = OutcomeSlip, s.Name, s.Drawing, t.Marks/2
			v.Message = "Value right, uncertainty not: " + s.Name + "?\n" + s.Fix
			return true
		}
		return false
	}
	const edge = 1 + 1e-12
	most, least := t.U*CredibleFactor*edge, t.U/CredibleFactor/edge
	switch {
	case r.u == 0:
		return missed("uncertainty missing.\nState its standard uncertainty too.")
	case r.u < 0:
		return missed("uncertainty negative.\nAn uncertainty is positive.")
	case slip(TellingFactor):
		return v
	case r.u <= most && r.u >= least && within(r.value, want, CoverageFactor*r.u):
		switch {
		case r.u > t.U*goodFactor*edge:
			v.Message = fmt.Sprintf("Your uncertainty is %.1f times what this record allows.", r.u/t.U)
		case r.u < t.U/goodFactor/edge:
			v.Message = fmt.Sprintf("Your uncertainty is small: this record gives one %.1f times as large.", t.U/r.u)
		}
		return v
	case slip(1):
		return v
	}
	if k := t.otherUnit(r); k != 0 {
		return missed(fmt.Sprintf("uncertainty in another unit?\nAs it stands it is %s. Give both in the same unit.", tooLarge(k)))
	}
	switch {
	case r.u > most:
		return missed("uncertainty far larger than this record allows.\n" + t.Hint)
	case r.u < least:
		return missed("uncertainty far smaller than this record allows.\n" + t.Hint)
	default:
		return missed("uncertainty too small:\nthe value is more than three of your uncertainties from the expected one.")
	}
}

// otherUnit is the power of ten by which an uncertainty is too large, if it is the judge's
// own in another unit than that of its value; else 0.
func (t NumberTask) otherUnit(r reading) float64 {
	k := math.Round(math.Log10(r.u / t.U))
	if k != 0 && math.Abs(k) <= 15 && (math.Mod(k, 3) == 0 || math.Abs(k) == 2 && t.pure()) && factor(r.u/math.Pow(10, k), t.U) <= alikeFactor {
		return k
	}
	return 0
}

// factor is by how much two positive numbers differ, as a factor of 1 or more.
func factor(a, b float64) float64 { return math.Exp(math.Abs(math.Log(a / b))) }

// pure reports whether the question wants a pure number, whose unit has no
// prefix to get wrong.
func (t NumberTask) pure() bool {
	u, err := quantity.ParseUnit(t.Unit)
	return err == nil && u.Dimension() == quantity.One
}

// capital begins a sentence with a capital letter, unless it begins with a symbol or a unit,
// which keep theirs.
func capital(s string) string {
	word := s
	if i := strings.IndexFunc(s, func(r rune) bool { return r == ' ' || r == ',' || r == '-' || r == ':' }); i >= 0 {
		word = s[:i]
	}
	plain := word != "" && strings.Trim(word, "abcdefghijklmnopqrstuvwxyz") == ""
	if !plain || len(word) == 1 && word != "a" || slices.Contains(symbols, word) {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// symbols are units and functions in small letters that a sentence may begin with.
var symbols = strings.Fields("mm cm km nm pm kg mg ms ns rad mrad nrad sin cos tan exp log ln rms")

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// NormalisedError is the normalised error of ISO 13528 (E_n) of a value x with
// standard uncertainty u against a reference with its standard uncertainty,
// both expanded with k = 2: (x-ref)/sqrt((2u)² + (2 uRef)²). A result agrees
// with its reference when the size of E_n is at most 1.
func NormalisedError(x, u, ref, uRef float64) float64 {
	return (x - ref) / math.Hypot(2*u, 2*uRef)
}
