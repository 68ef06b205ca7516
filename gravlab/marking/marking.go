// Package marking is a lecturer's evening: handing out a lab to a class, taking
// in the files, marking them, and telling everybody what came out.
//
// Most callers need three calls: ReadClass, Handout.Write and Mark.
//
// # Whose sheet is it
//
// Each student's sheet has a code that follows from the class key and the
// student's id (bank.StudentCode). A file belongs to whom its code belongs,
// whatever its name is. Two files with one code are marked for nobody until the
// lecturer names one.
//
// # How a file is marked
//
// A notebook is run by a worker process that is confined (package compose), as far as it
// came: nothing that stands in the file as an output counts. What its program
// gives in reaches this process as frames, which are answered by a bench that
// never says what an answer is worth. What was given in is kept in the store,
// one file for each content: a file that is there is not run again, a marking
// that was killed goes on where it was. Marks are made of the store by the bank,
// so that a change of the bank needs no second run.
//
// # What is written
//
//	marks.csv        one row a student: id, name, one column a question, total, remarks
//	replies/ID.html  what was asked, answered, understood and earned
//	class.html       the spread of the marks, each question, each slip, who is missing
//	remarks.csv      what a person should know
//	by-eye.csv       texts that a person reads and gives marks for
//	store/           what was given in, and its verdicts
//
// No file that is written holds a time, a duration or a path: the same input
// gives the same bytes. Text of a notebook is never HTML in a page, and cells
// of tables that a spreadsheet would take for a formula are made harmless.
//
// # What a mark proves
//
// The bank is public and a sheet's code is its seed, so anyone with this program
// can compute the right answers. What a mark says about a student rests on own
// recordings (Marking.Reference), functions, texts, or a bank of the lecturer's own.
package marking

import (
	"errors"
	"fmt"
)

// An InputError is a file of the lecturer's that cannot be used.
type InputError struct {
	File string // as the caller named it
	Line int    // 0: the whole file
	What string // what is wrong, and what to do
}

func (e *InputError) Error() string {
	if e.Line > 0 {
		return fmt.Sprintf("%s, line %d: %s", e.File, e.Line, e.What)
	}
	return e.File + ": " + e.What
}

// wrong makes an InputError.
func wrong(file string, line int, format string, args ...any) error {
	return &InputError{file, line, fmt.Sprintf(format, args...)}
}

// IsInput says whether an error is about a file of the lecturer's, not about
// the work.
func IsInput(err error) bool {
	var e *InputError
	return errors.As(err, &e)
}
