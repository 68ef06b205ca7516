// Package quantity reads and writes physical quantities as people type them,
// and carries their uncertainty through a calculation.
//
// # Which function
//
//   - [Parse] reads typed text such as "8,4e-8 m/s²", "12.0(3) mrad" or
//     "3.2 ± 0.1 E", given the unit of the answer that is expected. It returns
//     the value in SI and says what it understood, or refuses with a question.
//   - [ParseUnit] and [Dimension.Unit] read a unit alone; [Unit.SI] is its size
//     in SI units and [Unit.Dimension] its dimension.
//   - [Quantity.String] and [Quantity.Concise] write a quantity, rounded as
//     its uncertainty asks.
//   - [Propagate] is the law of propagation of uncertainty with a budget,
//     [MonteCarlo] the propagation of distributions.
//
// # What is assumed
//
// An uncertainty is standard (k = 1), as everywhere in this module; typed text
// may say otherwise with "(k = 2)". A number is a float64 in SI units; the unit
// beside it only says how to write it. Angles are measured in radians, a
// dimension of its own as in gonum/unit, but the radian of a compound unit may
// be left out as the SI allows ("N·m" for "N·m/rad"), and that is then said.
// The hertz counts turns and never stands for rad/s.
//
// # Refusing
//
// Text with two possible meanings is not guessed at. "g" is a gram where a mass
// is expected and standard gravity where an acceleration is; the reading says
// which. "1,234" (decimal comma or thousands), "3.2E" (eotvos or an unfinished
// power of ten) and "12'" (minutes of arc, minutes or feet) are refused with a
// question. See [InputError].
//
// Sources: The International System of Units (SI Brochure), 9th ed., BIPM 2019
// (units, prefixes, writing of values; from memory); JCGM 100:2008 and JCGM
// 101:2008 (uncertainty; from memory).
package quantity

// A Quantity is a value with its standard uncertainty, both in SI units, and
// the unit in which it is written.
type Quantity struct {
	Value float64 // in SI units
	U     float64 // standard uncertainty in SI units; 0 when none is stated
	Unit  Unit    // how to write it
}

// In returns the value and the standard uncertainty as numbers of the given
// unit. It does not look at dimensions: compare with [Unit.Dimension] first.
func (q Quantity) In(u Unit) (value, uncertainty float64) {
	return q.Value / u.SI(), q.U / u.SI()
}

// A Reading is a Quantity as it was read from typed text.
type Reading struct {
	Quantity
	// Text is the text as typed.
	Text string
	// Step is one unit of the last digit that was typed, in SI units: 1e-4 for
	// "3.1 mrad". Zeros at the end count as digits.
	Step float64
	// Remarks say what was assumed: a decimal comma, which of two
	// units of one name, a coverage factor.
	Remarks []string
}

// Understood says what was read, in one line: the quantity, then the remarks.
// For "0.25 ng" where an acceleration is expected it is
// "0.25 ng (ng: nano-standard gravity, 9.80665e-9 m/s²)".
func (r Reading) Understood() string {
	text := r.Echo()
	for i, remark := range r.Remarks {
		if i == 0 {
			text += " ("
		} else {
			text += "; "
		}
		text += remark
	}
	if len(r.Remarks) > 0 {
		text += ")"
	}
	return text
}
