package judge

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gravity.example/gravlab"
	"gravity.example/gravlab/internal/drawing"
	"gravity.example/gravlab/quantity"
)

// The general layer: mistakes that can be made in any question. It stands beneath the slips
// of a question, which know more, and speaks where the digits leave little doubt.

const (
	// vague is the share of the wanted value from which on a tolerance is too wide for a
	// remark that rests on digits.
	vague = 0.1
	// signVague is the same for a remark on the sign.
	signVague = 0.3
	// A general mistake is told where the digits agree to sharp, or to half a unit of the
	// last digit that was given and at most to blunt. With the factors below, one random
	// value of a hundred agrees by accident (TestFalseReasons).
	sharp = 0.001
	blunt = 0.005
	// sameDigits is how well the digits have to agree for a power of ten, which three digits do.
	sameDigits = 0.01
	// aboutRight is the largest window around a slip, unless the uncertainty is wider.
	aboutRight = 0.02
)

// A scaling is a number that people leave out of a result or put into it.
type scaling struct {
	by    float64
	name  string // "a factor of 2"
	ask   string // what may have happened
	plain bool   // may happen to a pure number as well
	unit  string // only where the question's unit holds this
}

// scalings in the order in which they are tried. Their inverses count too.
var scalings = []scaling{
	{2, "a factor of 2", "Where could it come from: there and back, a diameter, one of two equal parts?", true, ""},
	{math.Sqrt2, "a factor of √2", "Amplitude or rms value, one reading or a difference of two?", true, ""},
	{math.Pi, "a factor of π", "Is a π missing, or one too many: of a circle, a sphere, a phase?", true, ""},
	{2 * math.Pi, "a factor of 2π", "Frequency or angular frequency, radius or circumference?", true, ""},
	{4, "a factor of 4", "A factor of 2 that is squared, or lost twice?", true, ""},
	{4 * math.Pi * math.Pi, "a factor of 4π²", "Frequency or angular frequency, squared?", true, ""},
	{4 * math.Pi, "a factor of 4π", "Is it the area of a sphere, or the solid angle all around?", true, ""},
	{180 / math.Pi, "a factor of 180/π", "Degrees or radians?", true, ""},
	{3.6, "a factor of 3.6", "km/h or m/s?", false, ""},
	{60, "a factor of 60", "Seconds, minutes or hours?", false, ""},
	{24, "a factor of 24", "Hours or days?", false, ""},
	{12, "a factor of 12", "Months or years?", false, "/a"},
	{9.81, "a factor of g", "Mass or weight, m/s² or multiples of g?", false, ""},
}

// inTrig is the name of a mistake in the argument of sin, cos or tan.
const inTrig = "degrees in sin or cos"

// drawn are the drawings of mistakes that can be made in any question.
var drawn = map[string]string{inTrig: drawing.Radian, "a factor of 180/π": drawing.Radian, "a factor of 2π": drawing.Turn}

// near reports whether an answer is a value, as far as its digits tell. Two digits tell
// little, so they have to be exact.
func (r reading) near(value float64) bool {
	size := math.Abs(value)
	if r.few(2) {
		return within(r.value, value, sharp*size)
	}
	return within(r.value, value, math.Min(math.Max(sharp*size, r.coarse/2), blunt*size))
}

// handbook holds values that students know from books, in SI units, by what they measure.
//
// Source: CODATA 2018 for G; IAU 2015 resolution B3 (arXiv:1510.07674) with that G for the
// masses of Sun and Earth; D. A. Vallado's and other textbooks' rounded values for the rest
// (from memory).
var handbook = []struct {
	unit   string
	values []float64
}{
	{"m³/(kg s²)", []float64{gravlab.G, 6.67384e-11, 6.67408e-11}},
	{"kg", []float64{5.972e24, 5.9722e24, 5.97219e24, 5.974e24, 1.989e30, 1.9885e30, 7.342e22, 7.346e22}},
	{"kg/m³", []float64{5513, 5514, 5515, 5510, 5520}},
	{"m/s²", []float64{9.81, gravlab.StandardGravity, 9.807}},
	{"m", []float64{6.371e6, 6.378e6, 6.378137e6, 3.844e8, 1.496e11}},
}

// fromHandbook reports whether an answer has a handbook's digits, three of them at least.
func (t NumberTask) fromHandbook(r reading) bool {
	want, err := quantity.ParseUnit(t.Unit)
	if err != nil || r.few(2) {
		return false
	}
	for _, h := range handbook {
		if quantity.MustUnit(h.unit).Dimension() == want.Dimension() {
			return slices.ContainsFunc(h.values, func(v float64) bool { return r.rounds(v, math.Min(r.coarse, blunt*v)) })
		}
	}
	return false
}

// share reports whether the question may ask for a part of a whole, as a probability is. Pure
// numbers far smaller than that are something else, such as the shift of a clock.
func (t NumberTask) share() bool { return t.pure() && t.Want > 1e-6 && t.Want < 1 }

// vague reports whether the tolerance around a right value is too wide for a remark on its digits.
func (t NumberTask) vague(right float64) bool {
	return !(t.Allowed(right) <= vague*math.Abs(right))
}

// general looks for a mistake that can be made in any question.
func (t NumberTask) general(r reading) (name, message string, ok bool) {
	if t.fromHandbook(r) {
		return "a handbook's value", "That is the value of a handbook.\nWhat do the numbers of this question give?", true
	}
	for _, v := range t.Degrees {
		if r.near(v) {
			return inTrig, "Degrees in sin, cos or tan?\nThey take radians.", true
		}
	}
	for _, right := range []float64{t.Want, t.Carried} {
		if right == 0 || math.IsNaN(right) || t.vague(right) {
			continue
		}
		for _, s := range scalings {
			if !s.plain && t.pure() || !strings.Contains(t.Unit, s.unit) {
				continue
			}
			if r.near(right*s.by) || r.near(right/s.by) {
				size := "large"
				if math.Abs(r.value) < math.Abs(right) {
					size = "small"
				}
				return s.name, fmt.Sprintf("Right but for %s: too %s.\n%s", s.name, size, s.ask), true
			}
		}
		if t.share() && r.near(1-right) {
			return "the complement", "Right, for the opposite of what is asked.\nThis is 1 minus it: which of the two cases does the question mean?", true
		}
		if one := t.reciprocal(right); r.near(one) {
			return "the reciprocal", "Right, but upside down.\nIs it one per the other, or the other per one?", true
		}
	}
	for _, s := range t.Slips {
		for _, v := range []float64{s.Value, s.Carried} {
			if r.near(-v) {
				return s.Name + ", sign reversed", capital(s.Name) + "?\n" + s.Fix + " The sign is reversed too.", true
			}
		}
	}
	return "", "", false
}

// reciprocal is 1 over a value where that may be taken for it: of a pure number, a time or a
// frequency, as a number in the question's unit. Else it is NaN.
func (t NumberTask) reciprocal(right float64) float64 {
	u, err := quantity.ParseUnit(t.Unit)
	if err != nil {
		return math.NaN()
	}
	switch u.Dimension() {
	case quantity.One, quantity.Time, quantity.Frequency:
		return u.SI() * u.SI() / right
	}
	return math.NaN()
}

// power looks for a sign or a power of ten that was lost. The unit may explain it: then half
// of the marks are earned.
func (t NumberTask) power(v Verdict, r reading) (Verdict, bool) {
	for _, right := range []float64{t.Want, t.Carried} {
		if math.IsNaN(right) || right == 0 {
			continue
		}
		if t.fits(-r.value, right) && t.Allowed(right) <= signVague*math.Abs(right) {
			v.Outcome, v.Slip = OutcomeSlip, "sign reversed"
			v.Message = "The magnitude is right, the sign is not.\n" + t.direction(right)
			return v, true
		}
		if t.vague(right) {
			continue
		}
		k := math.Round(math.Log10(r.value / right)) // NaN for another sign
		scaled := r.value / math.Pow(10, k)
		if k == 0 || !(k >= -15 && k <= 15) || !t.fits(scaled, right) || !within(scaled, right, sameDigits*math.Abs(right)) {
			continue
		}
		switch {
		case t.Unit == "%" && k == -2:
			v.Outcome, v.Marks = OutcomeUnit, t.Marks/2
			v.Message = "The digits are right.\nPercentage or fraction? In % the number is 100 times as large."
		case t.share():
			continue
		case math.Mod(k, 3) == 0 && !t.pure():
			v.Outcome, v.Marks = OutcomeUnit, t.Marks/2
			v.Message = fmt.Sprintf("The digits are right, the size is not: it is %s.\nCheck the unit and its prefix.", tooLarge(k))
		default:
			v.Outcome, v.Slip = OutcomeSlip, "a power of ten lost"
			v.Message = fmt.Sprintf("The digits are right, the power of ten is not: it is %s.\nFollow the units through your calculation, the squared and cubed ones too.", tooLarge(k))
		}
		return v, true
	}
	return v, false
}

// direction asks about a sign that is wrong: of a size, of a change, or of what has a direction.
func (t NumberTask) direction(right float64) string {
	u, err := quantity.ParseUnit(t.Unit)
	directed := []quantity.Dimension{
		quantity.Length, quantity.Angle, quantity.Acceleration, quantity.Force, quantity.Gradient,
		quantity.MustUnit("m/s").Dimension(), quantity.MustUnit("N m").Dimension(),
	}
	switch {
	case t.perLongTime():
		return "Does it grow or fall with time?"
	case err == nil && right > 0 && !slices.Contains(directed, u.Dimension()):
		return "Can this quantity be negative?"
	case right > 0:
		return "Can this quantity be negative? If so, which direction does the question count as positive?"
	}
	return "Which direction does the question count as positive?"
}

// perLongTime reports whether the question is about a change per hour, day or year, by its
// unit: µGal/h, nm/(s² d), Gt/a.
func (t NumberTask) perLongTime() bool {
	unit := strings.TrimSuffix(t.Unit, ")")
	return slices.ContainsFunc([]string{"/h", "/d", "/a", " h", " d", " a"}, func(end string) bool { return strings.HasSuffix(unit, end) })
}

// tooLarge says by which power of ten a number is too large or too small.
func tooLarge(k float64) string {
	size := "large"
	if k < 0 {
		size = "small"
	}
	n := fmt.Sprintf("10^%d", int(math.Abs(k)))
	if math.Abs(k) <= 3 {
		n = fmt.Sprint(math.Pow(10, math.Abs(k)))
	}
	return fmt.Sprintf("%s times too %s", n, size)
}

// Nearest lists the general mistakes whose value cannot be told from the right one, because
// the tolerance reaches as far.
func (t NumberTask) Nearest() []string {
	var names []string
	for _, s := range scalings {
		if (s.plain || !t.pure()) && (t.fits(t.Want*s.by, t.Want) || t.fits(t.Want/s.by, t.Want)) {
			names = append(names, s.name)
		}
	}
	if t.fits(-t.Want, t.Want) {
		names = append(names, "sign reversed")
	}
	if t.share() && t.fits(1-t.Want, t.Want) {
		names = append(names, "the complement")
	}
	if t.fits(t.reciprocal(t.Want), t.Want) {
		names = append(names, "the reciprocal")
	}
	return names
}

// general looks for a mistake that can be made in any function: one factor at all calls, a
// sign, degrees, a shift by one.
func (t FunctionTask) general(got [][]float64) (name, message string, ok bool) {
	if t.Degrees != nil && t.agree(got, t.Degrees) {
		return inTrig, "Degrees in sin, cos or tan?\nThey take radians.", true
	}
	times := func(f func(i, j int) float64) bool {
		scaled := make([][]float64, len(t.Want))
		for i, want := range t.Want {
			for j := range want {
				scaled[i] = append(scaled[i], want[j]*f(i, j))
			}
		}
		return t.agree(got, scaled)
	}
	by := func(factor float64) bool { return times(func(int, int) float64 { return factor }) }
	if by(-1) {
		return "sign reversed", "The magnitude is right at every point, the sign is not.\nWhich direction does the question count as positive?", true
	}
	for _, s := range scalings {
		size := ""
		switch {
		case by(s.by):
			size = "large"
		case by(1 / s.by):
			size = "small"
		default:
			continue
		}
		return s.name, fmt.Sprintf("Right but for %s: too %s at every point.\n%s", s.name, size, s.ask), true
	}
	for k := -15.0; k <= 15; k++ {
		// At the size of what is wanted: beside numbers 10^15 times smaller, a function that
		// returns nothing but zeros or rounding errors would agree.
		if k != 0 && t.agree(over(got, math.Pow(10, k)), t.Want) {
			return "a power of ten lost", fmt.Sprintf("Right but for a power of ten: %s at every point.\nIn which units do the arguments come, and the result?", tooLarge(k)), true
		}
	}
	if t.Signature == SliceToOne {
		for _, off := range []float64{-1, 1} {
			if times(func(i, _ int) float64 { n := float64(len(t.Calls[i])); return n / (n + off) }) {
				return "off by one", "The sum is right, the number to divide by is off by one.\nHow many values are there, and which of them does the loop reach?", true
			}
		}
	}
	if t.Signature == SliceToMany && t.shifted(got) {
		return "off by one", "The values are right, in places that are off by one.\nWith which index does the loop begin?", true
	}
	return "", "", false
}

// over divides every number by one.
func over(values [][]float64, by float64) [][]float64 {
	out := make([][]float64, len(values))
	for i, row := range values {
		for _, v := range row {
			out[i] = append(out[i], v/by)
		}
	}
	return out
}

// shifted reports whether every result of three numbers or more is the wanted one, moved by
// one place.
func (t FunctionTask) shifted(got [][]float64) bool {
	for _, by := range []int{1, -1} {
		all, long := true, false
		for i, want := range t.Want {
			n := len(want)
			if n < 3 {
				continue
			}
			long = true
			mine, theirs := got[i][1:], want[:n-1]
			if by < 0 {
				mine, theirs = got[i][:n-1], want[1:]
			}
			all = all && t.near(mine, theirs)
		}
		if all && long {
			return true
		}
	}
	return false
}
