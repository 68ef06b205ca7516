// Package judge says what an answer is worth. Its functions are pure: what the
// student gave and what the question asks for go in, a Verdict comes out.
//
// A number is right when it lies within the question's tolerance of the wanted
// value, whatever unit of the right dimension it is expressed in. When it is not,
// the judge looks for the reason: a value that follows from the student's own
// earlier answers (carried), a named slip, a right number with a wrong or
// missing unit, a right value rounded too early, and last a mistake that can be made
// in any question, such as a factor of 2. A slip is not named where the digits given
// are those of the right value as well, unless it leads to exactly these; two slips
// that lead to one value are both named. A verdict says what is left to do and never
// gives the answer away. It is read beside the answer at once, or in a reply a week
// later (see Telling).
//
// Uncertainties are standard ones (k = 1). A stated uncertainty u is credible
// when it lies within a factor CredibleFactor of the judge's own and the value
// within CoverageFactor times u of the wanted one. A student's own recording is
// judged by the normalised error of ISO 13528 instead (see Normalised).
//
// UnderstandNumber, UnderstandChoice and UnderstandFunction say how an answer was
// understood. They are not told what is right, so that what they say is the same
// for every value that is written in the same way.
package judge

// Outcome is the word that a verdict leads with.
type Outcome string

const (
	OutcomeRight      Outcome = "right"      // within the tolerance
	OutcomeCarried    Outcome = "carried"    // right, given the student's earlier answer
	OutcomeSlip       Outcome = "slip"       // a known mistake, which the verdict names
	OutcomeUnit       Outcome = "unit"       // right number, wrong or missing unit
	OutcomeOff        Outcome = "off"        // not recognised, or rounded too early
	OutcomeBlank      Outcome = "blank"      // nothing entered yet: no text, or a number of exactly 0
	OutcomeUnreadable Outcome = "unreadable" // not a number, not an option, a function that fails
	OutcomeWaiting    Outcome = "waiting"    // a text that a person will read
	OutcomeRecorded   Outcome = "recorded"   // understood, and not judged: what it is worth comes with the marking
)

// Sign is a mark that stands before the outcome, so that colour never speaks
// alone.
func (o Outcome) Sign() string {
	switch o {
	case OutcomeRight, OutcomeCarried:
		return "✓"
	case OutcomeSlip, OutcomeUnit:
		return "△"
	case OutcomeBlank:
		return "–"
	case OutcomeWaiting:
		return "…"
	case OutcomeRecorded:
		return "•"
	default:
		return "✗"
	}
}

// VerdictMIME is the media type of a verdict for programs: a JSON object with the
// fields of labserver.View.
const VerdictMIME = "application/vnd.gravlab.verdict+json"

// Kind is how a question is answered.
type Kind string

const (
	KindNumber   Kind = "number"   // a number with a unit
	KindMeasured Kind = "measured" // a number with its standard uncertainty and a unit
	KindChoice   Kind = "choice"   // one of the options
	KindFunction Kind = "function" // a function that the student writes
	KindText     Kind = "text"     // words, read by a person
)

// An Answer is what a student gave to one question, before it is judged
// at it. Which fields count depends on how it was given.
type Answer struct {
	// Value, U and Unit are a number given from code: the value and its
	// standard uncertainty (0 if none was stated) in Unit.
	Value float64 `json:"value,omitempty"`
	U     float64 `json:"u,omitempty"`
	Unit  string  `json:"unit,omitempty"`
	// Text is a number as people type it ("8.4(2) µN·m/rad"), the letter of an
	// option, or words. Typed says that a number came as Text.
	Text  string `json:"text,omitempty"`
	Typed bool   `json:"typed,omitempty"`
	// Values are the results of a function at the judge's calls, in their
	// order; Fault says what went wrong instead ("panic: …").
	Values [][]float64 `json:"values,omitempty"`
	Fault  string      `json:"fault,omitempty"`
}

// A Verdict is what the judge says about an answer.
type Verdict struct {
	Outcome    Outcome `json:"outcome"`
	Marks      int     `json:"marks"`                // earned
	Of         int     `json:"of"`                   // that could be earned
	Understood string  `json:"understood,omitempty"` // how the answer was read: "1.23 ± 0.04 µN·m/rad"
	Slip       string  `json:"slip,omitempty"`       // the slip's name
	Drawing    string  `json:"-"`                    // a drawing of what was confused (package internal/drawing); "" is none
	Message    string  `json:"message"`              // what to do next, at most three lines; none where nothing is left to do
	// SI is the number as understood, in SI units, which later questions may
	// build on; 0 if there is none.
	SI float64 `json:"si,omitempty"`
}

// Telling is how much a verdict tells.
type Telling int

const (
	// WithMarks is the verdict of a marking: nothing is answered after it, so it tells all
	// but the answer.
	WithMarks Telling = iota
	// FirstPractice is the verdict on the first answer to a question of a sheet to practise
	// with. A hint is asked for; a function is told one input with both values.
	FirstPractice
	// NextPractice is that on a later answer: whether its few digits are those of the right
	// one is told no more, or the digits could be found one by one.
	NextPractice
)

// Practice is the telling of an answer before which came a number of others.
func Practice(tries int) Telling {
	if tries > 0 {
		return NextPractice
	}
	return FirstPractice
}

// A Tolerance is how far an answer may lie from the wanted value: the larger of
// Abs and Rel times the size of the wanted value. Why is for the lecturer.
type Tolerance struct {
	Abs, Rel float64
	Why      string
}

// A WrongValue is a mistake that people make, the value it leads to, and how to
// put it right.
type WrongValue struct {
	Name    string  // "full swing instead of the deflection from the middle"
	Value   float64 // SI
	Carried float64 // the same, from the student's own earlier answers; NaN if there are none
	Fix     string  // what to look at, without the answer
	Drawing string  // a drawing of what was confused (package internal/drawing); "" is none
}

// A NumberTask is what a question for a number wants.
type NumberTask struct {
	Marks   int
	Want    float64  // SI
	Carried float64  // what follows from the student's own earlier answers, SI; NaN if nothing does
	From    []string // the questions whose answers Carried rests on and that need another look, for the message
	Unit    string   // the unit that a worked answer would use; any other of its dimension is accepted
	Tol     Tolerance
	Slips   []WrongValue
	Degrees []float64 // what degrees in sin and cos lead to, SI, from the right and from the own earlier answers
	Hint    string    // told with an answer that is not recognised
	Telling Telling

	// For a Measured question: the judge's own standard uncertainty (SI), and
	// the slips that people make with it. Zero means that no uncertainty is asked.
	U      float64
	USlips []WrongValue
	// Strict wants the value within CoverageFactor of U, however large the stated uncertainty
	// is: else a constant with a wide one would be right on every sheet.
	Strict bool
}

// An Option is one choice.
type Option struct {
	Letter string // "a"
	Text   string // Markdown
	Right  bool
	Idea   string // for a wrong one: the idea that leads there, and what speaks against it
}

// A ChoiceTask is what a question with options wants.
type ChoiceTask struct {
	Marks   int
	Options []Option
}

// Signature is the form of a function that a student may be asked for.
type Signature string

const (
	OneToOne    Signature = "func(float64) float64"
	TwoToOne    Signature = "func(float64, float64) float64"
	SliceToOne  Signature = "func([]float64) float64"
	SliceToMany Signature = "func([]float64) []float64"
)

// A WrongFunction is a mistake that people make in a function and the values
// that it gives at the task's calls.
type WrongFunction struct {
	Name    string
	Values  [][]float64
	Fix     string
	Drawing string // as in WrongValue
}

// A FunctionTask is what a question for a function needs: Want[i] at Calls[i].
// A call holds the arguments one after the other; a result of one number is a
// slice of one. Some calls come twice: a function must repeat itself.
type FunctionTask struct {
	Marks     int
	Signature Signature
	Calls     [][]float64
	Want      [][]float64
	Tol       Tolerance
	Slips     []WrongFunction
	Degrees   [][]float64 // the values with degrees in sin and cos; nil if there is no angle
	Hint      string
	Telling   Telling
}
