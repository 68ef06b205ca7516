package judge

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"gravity.example/gravlab/quantity"
)

// A reading is an answer as it was understood.
type reading struct {
	value, u   float64 // SI
	understood string

	refusal string // why it cannot be judged, and what to do; empty if it can

	// A number whose unit is missing or does not fit: what is wrong with the
	// unit and what to do, and the number as given and as it would be in the
	// wanted unit.
	problem, remedy  string
	number, asWanted float64
}

// read reads an answer to a question whose worked answer is in unit.
func read(a Answer, unit string) reading {
	want, err := quantity.ParseUnit(unit)
	w := wanted{want, unit}
	if err != nil {
		// Only a mistake in the bank gets here; its tests parse every unit.
		return reading{refusal: fmt.Sprintf("This question has the unit %q, which is not known.", unit)}
	}
	if a.Typed {
		return readTyped(a.Text, w)
	}
	return readGiven(a, w)
}

// A wanted unit, and how the question writes it.
type wanted struct {
	quantity.Unit
	text string
}

func readTyped(text string, want wanted) reading {
	got, err := quantity.Parse(text, want.Unit)
	if err == nil {
		return reading{value: got.Value, u: got.U, understood: got.Understood()}
	}
	r := reading{understood: fmt.Sprintf("%q", clip(text))}
	var problem *quantity.InputError
	if !errors.As(err, &problem) {
		r.refusal = capital(err.Error()) + "."
		return r
	}
	switch {
	case errors.Is(err, quantity.ErrNoUnit) && problem.HasNumber:
		r.withoutUnit(problem.Number, want)
	case errors.Is(err, quantity.ErrDimension) && problem.HasNumber:
		r.withOther(problem.Number, problem, want)
	default:
		r.refusal = capital(problem.Kind.Error()) + ".\n" + capital(problem.Ask)
	}
	return r
}

func readGiven(a Answer, want wanted) reading {
	r := reading{understood: clip(fmt.Sprintf("%.6g %s", a.Value, a.Unit))}
	switch {
	case math.IsNaN(a.Value) || math.IsInf(a.Value, 0):
		r.refusal = fmt.Sprintf("Your calculation gives %v, which is no number.\nIs there a division by zero, or the root of a negative number?", a.Value)
		return r
	case math.IsNaN(a.U) || math.IsInf(a.U, 0):
		r.refusal = fmt.Sprintf("Your uncertainty is %v, which is no number.\nIs there a division by zero, or the root of a negative number?", a.U)
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
		r.value, r.u, r.understood = q.Value, q.U, q.String()
		if q.U == 0 {
			r.understood = q.Digits(6)
		}
		if math.IsInf(q.Value, 0) || math.IsInf(q.U, 0) {
			r.refusal = fmt.Sprintf("%.6g %s is more than this judge can write.\nFollow the powers of ten through your calculation.", a.Value, a.Unit)
		}
	case errors.Is(err, quantity.ErrDimension) && errors.As(err, &problem):
		r.withOther(a.Value, problem, want)
	case errors.As(err, &problem):
		r.refusal = fmt.Sprintf("The unit %q cannot be used: %v.\n%s", clip(a.Unit), problem.Kind, capital(problem.Ask))
	default:
		r.refusal = capital(err.Error()) + "."
	}
	return r
}

// withoutUnit notes a number without a unit.
func (r *reading) withoutUnit(number float64, want wanted) {
	r.number, r.asWanted = number, number*want.SI()
	r.problem, r.remedy = "A number needs its unit", want.remedy()
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
		r.problem = fmt.Sprintf("%s is a unit of %s; wanted is %s", refused.Unit, is, wants)
	} else {
		r.problem = fmt.Sprintf("%s does not fit; wanted is %s", refused.Unit, wants)
	}
	r.remedy = want.remedy()
}

func (w wanted) remedy() string {
	if w.String() == "1" {
		return "give it as a pure number, without a unit"
	}
	return fmt.Sprintf("give it in %s or another unit of that kind", w.text)
}

// kind names what a unit measures, where there is a word for it.
func kind(u quantity.Unit) (name string, ok bool) {
	names := map[quantity.Dimension]string{
		quantity.One: "a pure number", quantity.Length: "length", quantity.Mass: "mass", quantity.Time: "time",
		quantity.Angle: "angle", quantity.Frequency: "frequency", quantity.Acceleration: "acceleration",
		quantity.Force: "force", quantity.Gradient: "a gravity gradient", quantity.Density: "density",
	}
	name, ok = names[u.Dimension()]
	return name, ok
}
