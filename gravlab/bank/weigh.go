package bank

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gravity.example/gravlab/judge"
)

// A Basis is what an answer to a question rests on. It says what a seal protects: worked
// code is public, and runs on the numbers of a prompt as well.
type Basis string

const (
	OwnRecording Basis = "own recording" // a recording that the sheet alone has
	OwnFunction  Basis = "own function"  // a function that is another one on each sheet
	Text         Basis = "text"          // which a person reads
	Prompt       Basis = "prompt"        // numbers that the prompt prints
	SameForAll   Basis = "same for all"  // a recording, or a function, that all sheets have
	Options      Basis = "options"       // a choice
)

// Protected reports whether an answer rests on what only the sheet itself has, or a person
// reads.
func (b Basis) Protected() bool { return b == OwnRecording || b == OwnFunction || b == Text }

// Bases says what the questions of a lab's sealed sheets rest on.
func (l Lab) Bases() map[string]Basis {
	var sheets []Sheet
	for _, code := range []Code{"", NumberedCode(l.ID, 1), NumberedCode(l.ID, 2)} {
		s := l.Build(l.Draw(code))
		s.Lab, s.Code = l, code
		if l.Words != nil {
			if err := l.Words.fill(&s); err != nil {
				panic(WordsError{err})
			}
		}
		sheets = append(sheets, s)
	}
	out := map[string]Basis{}
	for i, q := range sheets[0].Questions {
		switch q.Kind {
		case judge.KindText:
			out[q.ID] = Text
		case judge.KindChoice:
			out[q.ID] = Options
		case judge.KindFunction:
			out[q.ID] = SameForAll
			for _, other := range sheets[1:] {
				if differs(q.Function, other.Questions[i].Function) {
					out[q.ID] = OwnFunction
				}
			}
		default:
			out[q.ID] = Prompt
			for _, r := range sheets[0].Recordings {
				if !q.reads(r.ID) {
					continue
				}
				if !r.Shared {
					out[q.ID] = OwnRecording
				} else if out[q.ID] == Prompt {
					out[q.ID] = SameForAll
				}
			}
		}
	}
	if l.Graded {
		out[FooledID], out[DefendID] = Text, Text
	}
	return out
}

// reads reports whether the worked solution reads a recording.
func (q Question) reads(recording string) bool {
	return strings.Contains(q.Worked, fmt.Sprintf("Recording(%q)", recording)) || slices.Contains(q.Reads, recording)
}

// ReadBy are the recordings of the sheet's own that an answer to a question rests on.
func (s Sheet) ReadBy(q Question) []string {
	var out []string
	for _, r := range s.Recordings {
		if !r.Shared && q.reads(r.ID) {
			out = append(out, r.ID)
		}
	}
	return out
}

// differs reports whether two sheets want another function: at the same arguments, one of them
// gives other values.
func differs(a, b *Function) bool {
	for _, call := range a.Calls {
		x, y := a.Right(call), b.Right(call)
		if len(x) != len(y) {
			return true
		}
		for k := range x {
			if math.Abs(x[k]-y[k]) > 1e-6*max(math.Abs(x[k]), math.Abs(y[k])) {
				return true
			}
		}
	}
	return false
}

// Weights say how the marks of a lab's sealed sheets are weighed.
type Weights struct {
	// Constants are the questions that one constant, the same for all, answers on a fifth
	// of the sheets or more: a constant of nature, a table of a book, a range of truths
	// that is narrow beside the uncertainty. They are worth 1 mark.
	Constants []string
	// Times multiplies the marks of the other protected questions; at least so much that
	// all protected ones together are half of the marks.
	Times int
}

// weigh gives the questions of a sealed sheet their marks.
func (s *Sheet) weigh(basis map[string]Basis) {
	w := s.Lab.Sealed
	var raised []int // the questions that are multiplied
	raise, protected, rest := 0, 0, 0
	for i := range s.Questions {
		q := &s.Questions[i]
		constant := slices.Contains(w.Constants, q.ID)
		if constant {
			q.Marks = 1
		}
		switch {
		case basis[q.ID].Protected() && !constant:
			raised = append(raised, i)
			raise += q.Marks
		case basis[q.ID].Protected():
			protected += q.Marks
		default:
			rest += q.Marks
		}
	}
	if raise == 0 {
		return
	}
	times := max(1, w.Times, (rest-protected+raise-1)/raise)
	for _, i := range raised {
		q := &s.Questions[i]
		q.Marks *= times
		q.Rubric = slices.Clone(q.Rubric)
		for k := range q.Rubric {
			q.Rubric[k].Marks *= times
		}
	}
}

// shuffle gives the options of choices an order of the sheet's own, so that no letter is right
// on all sheets. The default sheet has that of the text files.
func (s *Sheet) shuffle(d *Draw) {
	for i := range s.Questions {
		q := &s.Questions[i]
		if q.Kind != judge.KindChoice {
			continue
		}
		old := q.Options
		q.Options = make([]judge.Option, len(old))
		for to, from := range d.Rand("order of " + q.ID).Perm(len(old)) {
			q.Options[to] = old[from]
			q.Options[to].Letter = old[to].Letter
			q.Worked = strings.ReplaceAll(q.Worked, choiceOf(q.ID, old[from].Letter), choiceOf(q.ID, "\x00"+old[to].Letter))
		}
		q.Worked = strings.ReplaceAll(q.Worked, "\x00", "")
	}
}

func choiceOf(id, letter string) string { return fmt.Sprintf("sheet.Choice(%q, \"%s\")", id, letter) }
