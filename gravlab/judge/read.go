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

	// A number whose unit is missing or of another dimension: as typed, and as
	// it would be in the wanted unit.
	noUnit, otherDimension bool
	number, asWanted       float64
	unitText               string // the unit that was given
	unitMeaning            string // what it is a unit of
	wantMeaning            string // what the question wants
}

// read reads an answer to a question whose worked answer is in unit.
func read(a Answer, unit string) reading {
	want, err := quantity.ParseUnit(unit)
	if err != nil {
		// Only a mistake in the bank gets here; its tests parse every unit.
		return reading{refusal: fmt.Sprintf("This question has the unit %q, which is not known.", unit)}
	}
	if a.Typed {
		return readTyped(a.Text, want)
	}
	return readGiven(a, want)
}

func readTyped(text string, want quantity.Unit) reading {
	got, err := quantity.Parse(text, want)
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
		r.without(problem.Number, quantity.Unit{}, want, true)
	case errors.Is(err, quantity.ErrDimension) && problem.HasNumber:
		r.without(problem.Number, problem.Unit, want, false)
	default:
		r.refusal = capital(problem.Kind.Error()) + ".\n" + capital(problem.Ask)
	}
	return r
}

func readGiven(a Answer, want quantity.Unit) reading {
	r := reading{understood: clip(fmt.Sprintf("%.6g %s", a.Value, a.Unit))}
	switch {
	case math.IsNaN(a.Value) || math.IsInf(a.Value, 0):
		r.refusal = fmt.Sprintf("Your calculation gives %v, which is no number.\nIs there a division by zero, or the root of a negative number?", a.Value)
		return r
	case math.IsNaN(a.U) || math.IsInf(a.U, 0):
		r.refusal = fmt.Sprintf("Your uncertainty is %v, which is no number.\nIs there a division by zero, or the root of a negative number?", a.U)
		return r
	case strings.TrimSpace(a.Unit) == "" && want.Dimension() != quantity.One:
		r.without(a.Value, quantity.Unit{}, want, true)
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
		r.without(a.Value, problem.Unit, want, false)
	case errors.As(err, &problem):
		r.refusal = fmt.Sprintf("The unit %q cannot be used: %v.\n%s", clip(a.Unit), problem.Kind, capital(problem.Ask))
	default:
		r.refusal = capital(err.Error()) + "."
	}
	return r
}

// without notes a number without a usable unit.
func (r *reading) without(number float64, unit, want quantity.Unit, missing bool) {
	r.noUnit, r.otherDimension = missing, !missing
	r.number = number * unit.SI()
	r.asWanted = number * want.SI()
	r.unitText, r.unitMeaning, r.wantMeaning = unit.String(), "a unit of "+kind(unit), kind(want)
}

// kind names what a unit measures, in words where there is one.
func kind(u quantity.Unit) string {
	names := map[quantity.Dimension]string{
		quantity.One: "a pure number", quantity.Length: "length", quantity.Mass: "mass", quantity.Time: "time",
		quantity.Angle: "angle", quantity.Frequency: "frequency", quantity.Acceleration: "acceleration",
		quantity.Force: "force", quantity.Gradient: "a gravity gradient", quantity.Density: "density",
	}
	if name, ok := names[u.Dimension()]; ok {
		return name
	}
	return u.Dimension().String()
}
