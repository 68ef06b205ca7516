package judge

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/quantity"
)

// A reading is an answer as it was understood.
type reading struct {
	value, u   float64 // SI
	understood string

	// One unit of the last digit that was given, SI. A zero at the end of a whole
	// number is a digit for the step and none for the coarse step: 1500 m may be
	// known to a metre or to a hundred.
	step, coarse float64
	padded       bool // zeros end the decimals, as rounding leaves them: 1.00

	blank   string // why it counts as nothing entered; empty if it does not
	refusal string // why it cannot be judged, and what to do; empty if it can

	// A number whose unit is missing or does not fit: what is wrong with the
	// unit and what to do, and the number as given and as it would be in the
	// wanted unit.
	problem, remedy  string
	number, asWanted float64
}

// read reads an answer to a question whose worked answer is in unit. digits says how
// many digits of a number from code are told.
func read(a Answer, unit string, digits func(si float64) int) reading {
	if a.Typed && strings.TrimSpace(a.Text) == "" || !a.Typed && a.Value == 0 && a.U == 0 {
		if !a.Typed {
			return reading{blank: "Nothing entered yet: your code gives exactly 0, which counts as no answer."}
		}
		return reading{blank: "Nothing entered yet."}
	}
	want, err := quantity.ParseUnit(unit)
	w := wanted{want, unit}
	if err != nil {
		// Only a mistake in the bank gets here; its tests parse every unit.
		return reading{refusal: fmt.Sprintf("This question has the unit %q, which is not known.", unit)}
	}
	if a.Typed {
		return readTyped(a.Text, w)
	}
	return readGiven(a, w, digits)
}

// verdict is what can be said of the answer without knowing what is right.
func (r reading) verdict(marks int) Verdict {
	v := Verdict{Outcome: OutcomeRecorded, Of: marks, Understood: r.understood}
	switch {
	case r.blank != "":
		v.Outcome, v.Message = OutcomeBlank, r.blank
	case r.refusal != "":
		v.Outcome, v.Message = OutcomeUnreadable, r.refusal
	case r.problem != "":
		v.Message = sentence(r.problem) + "\n" + sentence(capital(r.remedy))
	default:
		v.SI = r.value
	}
	return v
}

// A wanted unit, and how the question writes it.
type wanted struct {
	quantity.Unit
	text string
}

func readTyped(text string, want wanted) reading {
	got, err := quantity.Parse(text, want.Unit)
	if (err != nil || got.Value == 0) && zero(text, want.Unit) {
		return reading{blank: "Exactly 0 counts as nothing entered yet."}
	}
	if err == nil {
		r := reading{value: got.Value, u: got.U, understood: got.Understood(), step: got.Step, coarse: got.Step}
		if writtenAs0(got.Value, r.understood) {
			r.understood = clip.Line(strings.TrimSpace(text), mostSaid)
		}
		if got.Step > 0 {
			zeros := lastPlace(math.Round(got.Value / got.Step)) // 100 where two end the number
			if whole := !strings.ContainsAny(text, ".,"); whole {
				r.coarse *= zeros
			} else {
				r.padded = zeros > 1
			}
		}
		return r
	}
	r := reading{understood: fmt.Sprintf("%q", clip.Line(text, mostSaid))}
	var problem *quantity.InputError
	if !errors.As(err, &problem) {
		r.refusal = capital(err.Error()) + "."
		return r
	}
	switch {
	case errors.Is(err, quantity.ErrNoUnit) && problem.HasNumber:
		r.withoutUnit(problem.Number, want)
	case problem.HasNumber && !errors.Is(err, quantity.ErrDimension):
		r.withUnknown(problem.Number, problem, want)
	case errors.Is(err, quantity.ErrDimension) && problem.HasNumber:
		r.withOther(problem.Number, problem, want)
	default:
		r.refusal = sentence(capital(problem.Kind.Error())) + "\n" + sentence(capital(problem.Ask))
	}
	return r
}

// zero reports whether text is the number 0, whatever its unit, and so is its
// uncertainty if it has one.
func zero(text string, want quantity.Unit) bool {
	if !strings.Contains(text, "0") {
		return false
	}
	got, err := quantity.Parse(text, want)
	var refused *quantity.InputError
	if !errors.As(err, &refused) {
		return err == nil && got.Value == 0 && got.U == 0
	}
	// An uncertainty of 0 is refused: look at both numbers.
	for _, sign := range []string{"±", "+/-", "+-"} {
		if value, u, ok := strings.Cut(text, sign); ok {
			return zero(value, want) && zero(u, want)
		}
	}
	return refused.HasNumber && refused.Number == 0
}

func readGiven(a Answer, want wanted, digits func(si float64) int) reading {
	r := reading{understood: clip.Line(fmt.Sprintf("%.6g %s", a.Value, a.Unit), mostSaid)}
	switch {
	case math.IsNaN(a.Value) || math.IsInf(a.Value, 0):
		r.refusal = fmt.Sprintf("Your calculation gives %v, which is not a number.\nIs there a division by zero, or the root of a negative number?", a.Value)
		return r
	case math.IsNaN(a.U) || math.IsInf(a.U, 0):
		r.refusal = fmt.Sprintf("Your uncertainty is %v, which is not a number.\nIs there a division by zero, or the root of a negative number?", a.U)
		return r
	case strings.TrimSpace(a.Unit) == "" && want.Dimension() != quantity.One:
		r.withoutUnit(a.Value, want)
		return r
	}
	unit, err := want.Dimension().Unit(a.Unit)
	var problem *quantity.InputError
	switch {
	case err == nil:
		q := quantity.Quantity{Value: a.Value * unit.SI(), U: a.U * unit.SI(), Unit: unit}
		r.value, r.u, r.understood = q.Value, q.U, q.Echo()
		r.coarse = lastPlace(a.Value) * unit.SI()
		r.step = math.Min(r.coarse, unit.SI())
		switch {
		case q.U == 0:
			r.understood = q.Digits(digits(q.Value))
		case writtenAs0(q.Value, r.understood):
			r.understood = clip.Line(fmt.Sprintf("%.6g ± %.6g %s", a.Value, a.U, a.Unit), mostSaid)
		}
		if math.IsInf(q.Value, 0) || math.IsInf(q.U, 0) {
			r.refusal = fmt.Sprintf("%.6g %s is more than this judge can write.\nFollow the powers of ten through your calculation.", a.Value, a.Unit)
		}
	case errors.Is(err, quantity.ErrDimension) && errors.As(err, &problem):
		r.withOther(a.Value, problem, want)
	case errors.As(err, &problem):
		r.withUnknown(a.Value, problem, want)
	default:
		r.refusal = capital(err.Error()) + "."
	}
	return r
}

// writtenAs0 reports whether a value that is not 0 looks like 0 in a text, because it
// is rounded to the digits of a much larger uncertainty.
func writtenAs0(value float64, text string) bool {
	shown, _, measured := strings.Cut(text, "±")
	return measured && value != 0 && !strings.ContainsAny(shown, "123456789")
}

// lastPlace is one unit of the last digit, but for zeros, of a number as it is
// written in full: 100 for 1500, 0.1 for 3.1.
func lastPlace(x float64) float64 {
	mantissa, exponent, _ := strings.Cut(strconv.FormatFloat(x, 'e', -1, 64), "e")
	_, decimals, _ := strings.Cut(mantissa, ".")
	n, _ := strconv.Atoi(exponent)
	return math.Pow(10, float64(n-len(decimals)))
}

// few reports whether at most n significant digits were given, and not 0.
func (r reading) few(n int) bool {
	ratio := math.Abs(r.value) / r.coarse // one digit: from 1 to 9
	return ratio > 0.5 && ratio < math.Pow(10, float64(n))-0.5
}

// rounds reports whether value, rounded to the place of step, is the answer. It
// is false for a NaN.
func (r reading) rounds(value, step float64) bool {
	return math.Abs(r.value-value) <= step/2*(1+1e-9)
}

// covers reports whether value is as good a meaning of the answer as its digits:
// it rounds to them, or lies within an uncertainty that says no more than that
// the last digit is not sure.
func (r reading) covers(value float64) bool {
	const edge = 1 + 1e-9
	return r.rounds(value, r.step) || r.u <= r.step*edge && math.Abs(r.value-value) <= r.u*edge
}

// is reports whether value is the answer without any rounding.
func (r reading) is(value float64) bool {
	return !r.padded && within(r.value, value, 1e-9*math.Abs(value))
}

// sentence ends a text with a full stop, unless it is a question or ended already.
func sentence(s string) string {
	if strings.HasSuffix(s, "?") || strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}

// withoutUnit notes a number without a unit.
func (r *reading) withoutUnit(number float64, want wanted) {
	r.number, r.asWanted = number, number*want.SI()
	r.problem, r.remedy = "A number needs its unit", want.remedy()
}

// withUnknown notes a number with a unit that cannot be read: it is worth what one without is.
func (r *reading) withUnknown(number float64, refused *quantity.InputError, want wanted) {
	r.withoutUnit(number, want)
	r.problem = capital(refused.Kind.Error()) + ": " + refused.Ask
	if what, next, ok := strings.Cut(r.problem, "? "); ok {
		r.problem = what + "? " + capital(next)
	}
}

// withOther notes a number with a unit of something else, or with two units.
func (r *reading) withOther(number float64, refused *quantity.InputError, want wanted) {
	r.number, r.asWanted = number*refused.Unit.SI(), number*want.SI()
	if refused.Kind != quantity.ErrDimension { // one that says more
		r.problem, r.remedy = capital(refused.Kind.Error()), refused.Ask
		return
	}
	wants, ok := kind(want.Unit)
	if !ok {
		wants = want.text
	}
	if is, ok := kind(refused.Unit); ok {
		r.problem = fmt.Sprintf("%s is a unit of %s; the question asks for %s", refused.Unit, is, wants)
	} else {
		r.problem = fmt.Sprintf("%s does not fit; the question asks for %s", refused.Unit, wants)
	}
	r.remedy = want.remedy()
}

func (w wanted) remedy() string {
	if w.String() == "1" {
		return "enter it as a dimensionless number, without a unit"
	}
	return fmt.Sprintf("enter it in %s or another unit of that kind", w.text)
}

// kind names what a unit measures, where there is a word for it.
func kind(u quantity.Unit) (name string, ok bool) {
	names := map[quantity.Dimension]string{
		quantity.One: "a dimensionless number", quantity.Length: "length", quantity.Mass: "mass", quantity.Time: "time",
		quantity.Angle: "angle", quantity.Frequency: "frequency", quantity.Acceleration: "acceleration",
		quantity.Force: "force", quantity.Gradient: "a gravity gradient", quantity.Density: "density",
	}
	name, ok = names[u.Dimension()]
	return name, ok
}
