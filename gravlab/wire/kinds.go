package wire

// Kind says what a frame is for. The constants are all the kinds there are,
// each with the fields of the Head and the parts of the Frame that it uses
// besides Kind.
//
// Frames about a sheet (Answer, Function, Values, Recording, Hint, Done) carry
// Lab, Code and Assessed; frames that lead to a display carry Pipe and PipeBack.
type Kind string

// Kinds that the program sends.
const (
	// Answer submits an answer: Question, Form, and by form:
	// FormNumber and FormMeasured: Unit; Numbers is the value and its standard
	// uncertainty, as they are, NaN and infinities too.
	// FormTyped, FormChoice, FormWords: Text.
	// FormFunction (one that is not there yet): nothing more.
	// The reply is Recorded or Refused.
	Answer Kind = "answer"
	// Function announces a function as the answer: Question, Signature. The
	// reply is Calls, or Recorded if there is nothing to call (the reason is
	// displayed), or Refused.
	Function Kind = "function"
	// Values brings what the function gave: Question, Token of the Calls, Lengths
	// (how many of the Numbers belong to each call), Fault if a call did not
	// return. The reply is Recorded or Refused.
	Values Kind = "values"
	// Recording asks for a recording of the sheet's apparatus: Name, At (how many
	// numbers the program has already). The reply is Columns or Refused.
	Recording Kind = "recording"
	// File asks for a file that lies beside the notebook, by its base name: Name,
	// At (how many bytes the program has already). Only confined programs send it;
	// others read the file themselves. The reply is Chunk or Refused.
	File Kind = "file"
	// Figure shows a figure: Figure and Numbers are the two parts that
	// figure.Pack makes of it (package gravlab/draw/figure). The reply is Recorded
	// or Refused.
	Figure Kind = "figure"
	// Chart is a Figure to be shown as an interactive chart with its still image.
	Chart Kind = "chart"
	// Sketch shows a drawing: Figure is what its Pack makes of a figure.Sketch. The reply is
	// Recorded or Refused.
	Sketch Kind = "sketch"
	// Show displays Data of type MIME: text/html, text/markdown, text/plain or
	// image/png. Text is the plain text beside it. The reply is Recorded or Refused.
	Show Kind = "show"
	// Hint asks for a hint: Question. The reply is Recorded or Refused.
	Hint Kind = "hint"
	// Done asks for the summary of the sheet: marks and what is left. The reply is
	// Recorded or Refused.
	Done Kind = "done"
)

// Kinds that the lab server replies with.
const (
	// Recorded acknowledges. Text is empty, always so for a confined program: no
	// verdict enters it. A lab server without a notebook to display in puts into Text
	// what the program shall print.
	Recorded Kind = "recorded"
	// Refused says in Text why nothing was done and what to do about it.
	Refused Kind = "refused"
	// Calls lists the calls that the function is judged by: Token, Lengths (how
	// many of the Numbers are arguments of each call).
	Calls Kind = "calls"
	// Columns holds a recording, or a part: Columns, Total (numbers of the whole
	// recording), At, and in Numbers those from At on. The whole is one column
	// after the other.
	Columns Kind = "columns"
	// Chunk holds a part of a file: Total (bytes of the file), At, and in Data
	// those from At on.
	Chunk Kind = "chunk"
)

// Form is how an Answer was given.
type Form string

const (
	FormNumber   Form = "number"   // a value with a unit
	FormMeasured Form = "measured" // a value with its standard uncertainty and a unit
	FormTyped    Form = "typed"    // a number as people type it
	FormChoice   Form = "choice"   // the letter of an option
	FormWords    Form = "words"    // a text that a person will read
	FormFunction Form = "function" // a function
)

// Head is what a frame says in fields. Which fields count depends on Kind.
type Head struct {
	Kind Kind

	Lab      string // "01-weighing-the-earth"
	Code     string // the sheet's code; empty for the default variant
	Assessed bool
	Question string
	Own      bool // the program has read a recording of the student's own

	Form      Form
	Unit      string
	Text      string
	Signature string // "func(float64) float64", as judge.Signature
	Token     string
	Lengths   []int
	Fault     string

	Name    string
	Columns []Column
	At      int
	Total   int

	MIME   string
	Figure []byte

	// The notebook's named pipes for displays, as the program found them in its
	// environment.
	Pipe     string
	PipeBack string
}

// A Column names a column of a recording and its SI unit.
type Column struct {
	Name string
	Unit string
}

// Split cuts numbers into slices of the given lengths, in order; the slices
// share the memory of numbers. ok is false if the lengths do not add up.
func Split(numbers []float64, lengths []int) (parts [][]float64, ok bool) {
	parts = make([][]float64, 0, min(len(lengths), len(numbers)+1))
	for _, n := range lengths {
		if n < 0 || n > len(numbers) {
			return nil, false
		}
		parts = append(parts, numbers[:n:n])
		numbers = numbers[n:]
	}
	return parts, len(numbers) == 0
}

// Join is the inverse of Split.
func Join(parts [][]float64) (numbers []float64, lengths []int) {
	lengths = make([]int, len(parts))
	for i, p := range parts {
		lengths[i] = len(p)
		numbers = append(numbers, p...)
	}
	return numbers, lengths
}
