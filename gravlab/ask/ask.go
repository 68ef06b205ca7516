// Package ask submits answers from a student's program.
//
// A notebook's first code cell declares the sheet, and every later cell uses
// it:
//
//	var sheet = ask.Sheet("01-weighing-the-earth", "K7QF-3M2P")
//
//	swing := sheet.Recording("swing")            // what your own apparatus recorded
//	sheet.Number("kappa", kappa, "N m/rad")      // a number with its unit
//	sheet.Measured("period", t, ut, "s")         // with its standard uncertainty
//	sheet.Typed("kappa", "8.4(2) µN·m/rad")      // the same as you would write it by hand
//	sheet.Choice("why-lead", "b")
//	sheet.Function("equilibrium", equilibrium)   // a function of your own
//	sheet.Words("sketch", "The far sphere ...")
//	sheet.Hint("kappa")                          // a hint, which costs nothing; again for the next one
//	sheet.Done()                                 // marks, and what is left
//
// The answer goes to the lab server, which judges it outside this program and
// displays a verdict under the cell. Without a lab server (the program was started
// by hand) the answer is printed, with a line that says that nothing was judged.
//
// A value of exactly 0 without an uncertainty, an empty text and a nil function
// mean that nothing has been entered yet.
//
// The package is thin on purpose: it imports the standard library and package
// wire, since every cell that uses it is linked again.
package ask

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"gravity.example/gravlab/wire"
)

// A StudentSheet is one student's copy of a lab. Sheet and Assessed make it.
type StudentSheet struct {
	lab, code string
	assessed  bool
}

// Sheet declares the sheet: the lab, and the code that stands for the sheet's
// own numbers; the empty code is the sheet that the repository's notebooks
// carry. It does nothing until the first answer.
func Sheet(lab, code string) StudentSheet { return StudentSheet{lab: lab, code: code} }

// Assessed declares a sheet that is handed in for marks. The lab server says how it
// understood an answer, and the verdict comes with the marking.
func Assessed(lab, code string) StudentSheet {
	return StudentSheet{lab: lab, code: code, assessed: true}
}

// Number submits a value in a unit, such as "N m/rad", "µGal" or "mm/s²".
func (c StudentSheet) Number(question string, value float64, unit string) {
	f := c.answer(question, wire.FormNumber)
	f.Unit, f.Numbers = unit, []float64{value, 0}
	send(f, question, number(value, unit))
}

// Measured submits a value with its standard uncertainty u, both in unit.
func (c StudentSheet) Measured(question string, value, u float64, unit string) {
	f := c.answer(question, wire.FormMeasured)
	f.Unit, f.Numbers = unit, []float64{value, u}
	send(f, question, number(value, "")+" ± "+number(u, unit))
}

// Typed submits a number as you would write it by hand, "8.4(2) µN·m/rad" or
// "8.4e-6 ± 0.2e-6 N m/rad".
func (c StudentSheet) Typed(question, text string) {
	f := c.answer(question, wire.FormTyped)
	f.Text = text
	send(f, question, strconv.Quote(text))
}

// Choice submits the letter of an option.
func (c StudentSheet) Choice(question, option string) {
	f := c.answer(question, wire.FormChoice)
	f.Text = option
	send(f, question, strconv.Quote(option))
}

// Words submits a text for a person to read.
func (c StudentSheet) Words(question, text string) {
	f := c.answer(question, wire.FormWords)
	f.Text = text
	send(f, question, strconv.Quote(text))
}

// Hint displays a hint to a question of a sheet to practise with; called again, the next one.
// It costs no marks.
func (c StudentSheet) Hint(question string) {
	f := c.frame(wire.Hint)
	f.Question = question
	send(f, question, "a hint")
}

// Done displays the marks and what is left to do.
func (c StudentSheet) Done() {
	send(c.frame(wire.Done), "done", "the summary of the sheet")
}

// frame starts a frame about this sheet.
func (c StudentSheet) frame(k wire.Kind) wire.Frame {
	return wire.Frame{Head: wire.Head{Kind: k, Lab: c.lab, Code: c.code, Assessed: c.assessed}}
}

func (c StudentSheet) answer(question string, form wire.Form) wire.Frame {
	f := c.frame(wire.Answer)
	f.Question, f.Form, f.Own = question, form, readOwn.Load()
	return f
}

// number writes a number for the reader of a program without a lab server.
func number(v float64, unit string) string {
	return strings.TrimSpace(strconv.FormatFloat(v, 'g', 6, 64) + " " + unit)
}

// send exchanges a frame and reports; plain is the answer in words.
func send(f wire.Frame, what, plain string) {
	reply, err := wire.Exchange(f)
	report(reply, err, what, plain)
}

// report prints what there is to say in the cell itself: as a rule nothing,
// since the lab server displays the verdict.
func report(reply wire.Frame, err error, what, plain string) {
	switch {
	case errors.Is(err, wire.ErrNoServer):
		fmt.Printf("%s: %s\n(nothing was judged: this program runs without a lab server; open the notebook with the gravlab kernel)\n", what, plain)
	case err != nil:
		fmt.Printf("%s: not submitted: %v\n", what, err)
	case reply.Text != "":
		fmt.Println(reply.Text)
	}
}
