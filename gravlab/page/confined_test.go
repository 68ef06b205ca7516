package page

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"gravity.example/gravlab/sandbox"
)

// However a box ends, the reader is told in plain words, at its line where there
// is one, and what concerns other boxes does not pass for an error of this one.
func TestResult(t *testing.T) {
	const box = 3 // two boxes above
	cell := func(c sandbox.Cell, remarks ...sandbox.Remark) sandbox.Outcome {
		c.Index = box - 1
		return sandbox.Outcome{Cells: []sandbox.Cell{{Index: 0, State: sandbox.NotRun}, c}, Remarks: remarks, Ended: c.Limit}
	}
	for name, c := range map[string]struct {
		out     sandbox.Outcome
		line    int
		trouble string // "" for none
		remark  string
	}{
		"ran":            {out: cell(sandbox.Cell{State: sandbox.Ran})},
		"remark":         {out: cell(sandbox.Cell{State: sandbox.Ran}, sandbox.Remark{Cell: box, Line: 2, Text: "not so here"}), remark: "line 2: not so here"},
		"remark above":   {out: cell(sandbox.Cell{State: sandbox.Ran}, sandbox.Remark{Cell: 1, Line: 2, Text: "not built"})},
		"not built":      {out: cell(sandbox.Cell{State: sandbox.NotBuilt}, sandbox.Remark{Cell: box, Line: 4, Text: "x is not known"}), line: 4, trouble: "x is not known"},
		"above misses":   {out: cell(sandbox.Cell{State: sandbox.NotBuilt}, sandbox.Remark{Cell: 2, Line: 1, Text: "y is wrong"}, sandbox.Remark{Cell: box, Line: 1, Text: "f is not known"}), line: 1, trouble: "f is not known", remark: "In a box above: y is wrong"},
		"panic":          {out: cell(sandbox.Cell{State: sandbox.Failed, Fault: "panic: index out of range"}), trouble: "panic: index out of range"},
		"time":           {out: cell(sandbox.Cell{State: sandbox.Ended, Limit: sandbox.LimitTime}), trouble: "Does a loop never end? Your text is saved."},
		"memory":         {out: cell(sandbox.Cell{State: sandbox.Ended, Limit: sandbox.LimitMemory}), trouble: "more memory"},
		"output":         {out: cell(sandbox.Cell{State: sandbox.Ended, Limit: sandbox.LimitOutput}), trouble: "printed more"},
		"frames":         {out: cell(sandbox.Cell{State: sandbox.Ended, Limit: sandbox.LimitFrames}), trouble: "showed or submitted more"},
		"compiler":       {out: cell(sandbox.Cell{State: sandbox.Ended, Limit: sandbox.LimitCompiler}), trouble: "too much for the compiler"},
		"ended before":   {out: sandbox.Outcome{Cells: []sandbox.Cell{{Index: box - 1, State: sandbox.NotRun}}, Ended: sandbox.LimitSize}, trouble: "too much code"},
		"not Go":         {out: cell(sandbox.Cell{State: sandbox.Refused}), trouble: "cannot be run here"},
		"cannot be read": {out: sandbox.Outcome{Unread: "it is no notebook"}, trouble: "it is no notebook"},
	} {
		r := result(c.out, box)
		switch {
		case c.trouble == "" && len(r.Trouble) > 0, c.trouble != "" && len(r.Trouble) != 1:
			t.Errorf("%s: %v", name, r.Trouble)
		case c.trouble != "" && (!strings.Contains(r.Trouble[0].Text, c.trouble) || r.Trouble[0].Line != c.line):
			t.Errorf("%s: line %d: %s", name, r.Trouble[0].Line, r.Trouble[0].Text)
		}
		if got := strings.Join(r.Remarks, "|"); got != c.remark {
			t.Errorf("%s: remarks %q, want %q", name, got, c.remark)
		}
	}
}

// A fault of the machine is told as one, with what to do, and is no error of the box.
func TestMachineFault(t *testing.T) {
	r, err := failed(fmt.Errorf("a box: %w", &sandbox.Fault{What: "there is no room", Do: "make room"}))
	if err != nil || len(r.Trouble) != 1 || r.Trouble[0].Text != "This machine failed, not your code: there is no room. What to do: make room. Your text is saved." {
		t.Errorf("%+v, %v", r, err)
	}
	if _, err := failed(errors.New("other")); err == nil {
		t.Error("another error is lost")
	}
}
