package notebook

import (
	"fmt"
	"strings"
)

// Problem is one thing that is wrong with a notebook.
type Problem struct {
	Place string // e.g. `cell 3 (id "kappa")`; empty for the whole file
	What  string // what is wrong
	Do    string // what to do about it
}

func (p Problem) String() string {
	s := p.What
	if p.Place != "" {
		s = p.Place + ": " + s
	}
	if p.Do != "" {
		s += "; " + p.Do
	}
	return s
}

// Error says why a file is not a notebook that can be used.
type Error struct {
	File     string // as the caller named it
	Problems []Problem
}

// shown is how many problems the text of an error lists; a file that is wrong
// throughout should not fill the screen.
const shown = 5

func (e *Error) Error() string {
	var b strings.Builder
	for i, p := range e.Problems {
		if i == shown {
			fmt.Fprintf(&b, "\n%s: and %d more", e.File, len(e.Problems)-shown)
			break
		}
		if i > 0 {
			b.WriteByte('\n')
		}
		fmt.Fprintf(&b, "%s: %s", e.File, p)
	}
	return b.String()
}

// problems collects what is wrong.
type problems []Problem

func (ps *problems) add(place, what, do string) {
	*ps = append(*ps, Problem{place, what, do})
}

// err returns an *Error if there is any problem.
func (ps problems) err(file string) error {
	if len(ps) == 0 {
		return nil
	}
	return &Error{File: file, Problems: ps}
}
