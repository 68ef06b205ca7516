package marking

import (
	"fmt"
	"math"
	"strings"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

// A reference is what an own recording of a student, or of everybody (ID "*"),
// should lead to: the lecturer's value with its standard uncertainty, and the
// uncertainty that a careful student reaches with that apparatus.
type reference struct {
	ID, Question      string
	Value, U, Allowed float64 // SI
	Unit              string
}

// references are the lecturer's values for questions about own recordings.
type references struct{ rows []reference }

// readReferences reads a CSV file with the columns id (or * for everybody), question
// (with its lab or without: 02/q, q), value, u and unit, and perhaps allowed: the
// standard uncertainty that a careful student reaches, without it u. A row for a
// student goes before one for everybody.
func readReferences(path string, sheet bank.Sheet, class Class) (references, error) {
	t, err := readTable(path)
	if err != nil {
		return references{}, err
	}
	at, err := t.columns("id", "question", "value", "u", "unit")
	if err != nil {
		return references{}, err
	}
	allowed, err := t.column("allowed")
	if err != nil {
		return references{}, err
	}
	var out references
	seen := map[string]bool{}
	for k, row := range t.rows {
		line := t.lines[k]
		r := reference{ID: row[at[0]], Unit: row[at[4]]}
		if r.ID != "*" {
			student, err := class.student(path, line, r.ID)
			if err != nil {
				return out, fmt.Errorf("%w; * stands for the whole class", err)
			}
			r.ID = student.ID
		}
		q, ok := sheet.Question(row[at[1]])
		if !ok || q.Kind != judge.KindNumber && q.Kind != judge.KindMeasured {
			return out, wrong(path, line, "lab %s has no question %q that is answered with a number", sheet.Lab.ID, clip.Line(row[at[1]], 40))
		}
		r.Question = q.ID
		if seen[r.ID+" "+r.Question] {
			return out, wrong(path, line, "gives a second reference of %s for %s", r.Question, r.ID)
		}
		seen[r.ID+" "+r.Question] = true
		want, err := quantity.ParseUnit(q.Unit)
		if err != nil {
			return out, wrong(path, line, "the question %s has the unit %q, which is not known", q.ID, q.Unit)
		}
		unit, err := want.Dimension().Unit(r.Unit)
		if err != nil {
			return out, wrong(path, line, "the unit %q cannot be used; the question's own is %s", clip.Line(r.Unit, 40), q.Unit)
		}
		var okay [3]bool
		r.Value, okay[0] = number(row[at[2]])
		r.U, okay[1] = number(row[at[3]])
		r.Allowed, okay[2] = r.U, true
		if allowed >= 0 && row[allowed] != "" {
			r.Allowed, okay[2] = number(row[allowed])
		}
		if !okay[0] || !okay[1] || !okay[2] || r.U < 0 || r.Allowed <= 0 {
			return out, wrong(path, line, "needs a number for value, one of at least 0 for u (its standard uncertainty) and, if that is 0, one above 0 for allowed")
		}
		r.Value, r.U, r.Allowed = r.Value*unit.SI(), r.U*unit.SI(), r.Allowed*unit.SI()
		if math.IsInf(r.Value, 0) || math.IsInf(r.U, 0) || math.IsInf(r.Allowed, 0) || r.Allowed == 0 {
			return out, wrong(path, line, "has a number that is too large or too small to compute with in %s", want)
		}
		out.rows = append(out.rows, r)
	}
	return out, nil
}

// of are the references that count for a student.
func (r references) of(id string) []reference {
	var own, all []reference
	for _, ref := range r.rows {
		switch ref.ID {
		case id:
			own = append(own, ref)
		case "*":
			all = append(all, ref)
		}
	}
	return append(own, all...)
}

func find(refs []reference, question string) (reference, bool) {
	for _, r := range refs {
		if r.Question == question {
			return r, true
		}
	}
	return reference{}, false
}

// text is the reference as people write it.
func (r reference) text() string {
	unit, err := quantity.ParseUnit(r.Unit)
	if err != nil {
		return fmt.Sprintf("%g", r.Value)
	}
	q := quantity.Quantity{Value: r.Value, U: r.U, Unit: unit}
	if r.U == 0 {
		return q.Digits(6)
	}
	return q.String()
}

// judge judges a value from a student's own recording by the normalised error of
// ISO 13528 (judge.NormalisedError): it agrees if |E_n| <= 1 with k = 2, and its
// uncertainty is credible within a factor judge.CredibleFactor of the allowed
// one. A value that agrees with an uncertainty that does not, or none, earns
// half, rounded down.
func (r reference) judge(q bank.Question, a judge.Answer) judge.Verdict {
	// The units and the form are looked at as for any number.
	v := judge.Number(judge.NumberTask{Marks: q.Marks, Want: r.Value, Carried: math.NaN(), Unit: q.Unit, U: r.Allowed, Hint: q.Hints[0]}, a)
	if v.Outcome == judge.OutcomeBlank || v.Outcome == judge.OutcomeUnreadable || v.Outcome == judge.OutcomeUnit {
		return v
	}
	x, u, ok := r.value(q, a)
	if !ok {
		v.Outcome, v.Marks = judge.OutcomeUnreadable, 0 // Number has read it, so this does not happen
		return v
	}
	en := judge.NormalisedError(x, u, r.Value, r.U)
	if u <= 0 {
		en = judge.NormalisedError(x, r.Allowed, r.Value, r.U)
	}
	agrees := math.Abs(en) <= 1
	v.Marks, v.SI = 0, x
	if !agrees && v.Outcome == judge.OutcomeSlip {
		return v // a sign or a power of ten
	}
	v.Slip = ""
	against := fmt.Sprintf("Judged by your lecturer's reference, E_n = %.2f (ISO 13528, k = 2).", en)
	switch {
	case !agrees:
		v.Outcome = judge.OutcomeOff
		v.Message = against + "\nYour value and the reference lie further apart than both uncertainties explain.\nIs one of your uncertainties too small, or is there an effect that you left out?"
	case u <= 0:
		v.Outcome, v.Marks = judge.OutcomeOff, q.Marks/2
		v.Message = "The value agrees with your lecturer's reference.\nState its standard uncertainty too."
	case u > judge.CredibleFactor*r.Allowed:
		v.Outcome, v.Marks = judge.OutcomeOff, q.Marks/2
		v.Message = against + "\nThe value agrees, but its uncertainty is far larger than this apparatus allows."
	case u < r.Allowed/judge.CredibleFactor:
		v.Outcome, v.Marks = judge.OutcomeOff, q.Marks/2
		v.Message = against + "\nThe value agrees, but its uncertainty is far smaller than this apparatus allows."
	default:
		v.Outcome, v.Marks, v.Message = judge.OutcomeRight, q.Marks, against
	}
	return v
}

// value is a readable answer in SI units.
func (r reference) value(q bank.Question, a judge.Answer) (x, u float64, ok bool) {
	want, err := quantity.ParseUnit(q.Unit)
	if err != nil {
		return 0, 0, false
	}
	if a.Typed {
		got, err := quantity.Parse(a.Text, want)
		return got.Value, got.U, err == nil
	}
	if strings.TrimSpace(a.Unit) == "" && want.Dimension() == quantity.One {
		return a.Value, a.U, true
	}
	unit, err := want.Dimension().Unit(a.Unit)
	if err != nil {
		return 0, 0, false
	}
	return a.Value * unit.SI(), a.U * unit.SI(), true
}
