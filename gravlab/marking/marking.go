// Package marking hands out a lab to a class, collects and marks the files that come
// back, and writes a reply to every student.
//
// Most callers need three calls: ReadClass, Handout.Write and Mark.
//
// # Whose sheet is it
//
// Each student's sheet has a code that follows from the class key and the
// student's id (bank.StudentCode). A file belongs to the student whose code it
// carries, whatever its name is.
//
// Anyone who has a student's file can hand it in again, changed or not, so no file may keep
// another from being marked. Files of equal bytes, with equal recordings beside them, count
// once. Of files that differ, the one in a folder that names the student counts, if there
// is just one such: a folder of the lecturer's disk, or of an archive of the whole class.
// The file's own name and folders in an archive that was handed in are chosen by the one
// who hands it in, and prove nothing. Where this does not decide, none is marked until the
// lecturer names one. The files that do not count are reported.
//
// # How a file is marked
//
// A notebook is run by a worker process that is confined (package sandbox), from its first
// cell to its last: no output in the file counts. What its program
// submits reaches this process as frames, which are answered by a lab server that
// never says what an answer is worth. The answers are kept in the store,
// one file for each content: a file that is there is not run again, and a marking
// that was killed continues where it stopped. Marks are made from the store by the bank,
// so that a change of the bank needs no second run.
//
// # What is written
//
//	marks.csv        one row per student: id, name, one column per question, total, remarks
//	replies/ID.html  what was asked, answered, understood and earned, or why nothing was marked
//	class.html       the spread of the marks, each question, each slip, who is missing
//	remarks.csv      what the lecturer should know, and each file that was not read
//	remarks.html     on sealed sheets: remarks with both sides of what they rest on
//	by-eye.html      the texts without names, beside figures and rubric
//	by-eye.csv       texts that the lecturer reads and gives marks for
//	store/           the answers, their verdicts, and what was given to the last call
//
// All of it is for the lecturer's eyes alone (modes 0600 and 0700). No file that is written
// holds a time, a duration or a path: the same input
// gives the same bytes. Text of a notebook is never HTML in a page, and cells
// of tables that a spreadsheet would take for a formula are made harmless.
//
// # What a mark proves
//
// The numbers of a sealed sheet come from the class key (package bank), so no one without
// it can make the sheet or its right answers. The worked solutions are public, and run on
// the prompts and the recordings of a sealed sheet too: TestAttacker lists what that earns.
// A practice sheet's code is its seed. What else a mark says about a student rests on own
// recordings (Marking.Reference), texts, or a bank of the lecturer's own.
package marking

import (
	"errors"
	"fmt"
	"io/fs"
)

// An InputError is a file of the lecturer's that cannot be used.
type InputError struct {
	File string // as the caller named it
	Line int    // 0: the whole file
	What string // what is wrong, and what to do

	missing bool // there is no such file
}

func (e *InputError) Error() string {
	if e.missing {
		return "there is no " + e.File + e.What
	}
	if e.Line > 0 {
		return fmt.Sprintf("%s, line %d: %s", e.File, e.Line, e.What)
	}
	return e.File + ": " + e.What
}

// wrong makes an InputError.
func wrong(file string, line int, format string, args ...any) error {
	return &InputError{File: file, Line: line, What: fmt.Sprintf(format, args...)}
}

// notOpened makes the InputError of a file that cannot be opened. hint, if any, begins
// with its punctuation.
func notOpened(file string, err error, hint string) error {
	if errors.Is(err, fs.ErrNotExist) {
		return &InputError{File: file, What: hint, missing: true}
	}
	return wrong(file, 0, "cannot be opened: %v%s", plain(err), hint)
}

// IsInput reports whether an error is about a file of the lecturer's, not about
// the work.
func IsInput(err error) bool {
	var e *InputError
	return errors.As(err, &e)
}
