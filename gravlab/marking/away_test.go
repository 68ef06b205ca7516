package marking

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"

	"gravity.example/gravlab/sandbox"
)

// manySorts hands in what students hand in: all that a program may ask for, and all ways to end.
func (c *classroom) manySorts() {
	c.t.Helper()
	for i, s := range c.Class.Students {
		a := worked(c.sheet(i))
		switch i % 8 {
		case 1: // two programs, and a function that is submitted in either
			a.with("period", gives("period", "1", "s"), "g", "%%\npanic(1)",
				"mass", "func law(x float64) float64 { return x }\n\n%%\nsheet.Function(\"law\", law)\nsheet.Function(\"law\", law)")
		case 2: // outgrows the interpreter
			a.with("g", "%%\nx := 0.0\nfor i := range 40_000_000 { x += math.Sqrt(float64(i)) }\nsheet.Number(\"g\", 9.81+0*x, \"m/s²\")")
		case 3: // no such recording, no such question, a function of another kind
			a.with("rest", "%%\nr := sheet.Recording(\"swung\")\nsheet.Number(\"rest\", float64(r.Len()), \"mrad\")",
				"g", "%%\nsheet.Number(\"gg\", 1, \"m\")", "law", "%%\nsheet.Function(\"law\", func(x []float64) float64 { return 1 })")
		case 4: // the sheet of somebody else, besides
			a.with("period", "%%\nother := ask.Sheet(\"90-swing\", \""+string(c.sheet((i+1)%len(c.Class.Students)).Code)+"\")\nother.Recording(\"swing\")\nother.Number(\"period\", 1, \"s\")")
		case 5:
			a.with("mass", "%%\nos.Exit(3)", "why", "%%\nfor i := range 100_000 { fmt.Println(i, \"and on\") }")
		case 6: // more functions than an errand has tokens for
			a.with("law", "%%\nfor range 70 { sheet.Function(\"law\", func(x float64) float64 { return x }) }")
		case 7:
			c.hand(s.ID+"/a.ipynb", []byte(`{"cells": [`))
			continue
		}
		c.hand(s.ID+"/a.ipynb", answered(c.t, c.sheet(i), a))
	}
}

// away runs what it can as errands, which pass as bytes. change, if not nil, is done to what
// comes back.
func away(p *sandbox.Pool, went, here *atomic.Int32, change func(*sandbox.Return)) Runner {
	return func(ctx context.Context, j sandbox.Job) (sandbox.Outcome, error) {
		e, ok := j.Errand()
		if !ok {
			here.Add(1)
			return p.Run(ctx, j)
		}
		text, err1 := sandbox.Encode(e)
		e, err2 := sandbox.Decode[sandbox.Errand](text)
		r, err3 := p.RunErrand(ctx, e)
		text, err4 := sandbox.Encode(r)
		r, err5 := sandbox.Decode[sandbox.Return](text)
		if err := errors.Join(err1, err2, err3, err4, err5); err != nil {
			return sandbox.Outcome{}, err
		}
		if change != nil {
			change(&r)
		}
		out, ok, err := j.Accept(r)
		if !ok && err == nil {
			here.Add(1)
			return p.Run(ctx, j)
		}
		went.Add(1)
		return out, err
	}
}

// A class whose notebooks are run as errands, with no frame answered during a run, has the same
// books and the same store as one that was run here.
func TestErrands(t *testing.T) {
	p, err := pool()
	if err != nil {
		t.Fatal(err)
	}
	c := newClassroom(t, swingLab, 8)
	c.manySorts()
	c.mark()
	want := c.books()
	for _, r := range []struct {
		what       string
		went, here int32
		change     func(*sandbox.Return)
	}{
		// Run here: no such recording, a second sheet's recording, too many functions, the file
		// that is none.
		{"errands", 4, 4, nil},
		{"replies that the marker would not give", 0, 8, func(r *sandbox.Return) { r.Replies[0] ^= 1 }},
	} {
		var went, here atomic.Int32
		c.Out = t.TempDir()
		c.Start = func(context.Context) (Runner, error) { return away(p, &went, &here, r.change), nil }
		c.mark()
		sameBooks(t, r.what, c.books(), want)
		if went.Load() != r.went || here.Load() != r.here {
			t.Errorf("%s: %d were taken and %d run here, want %d and %d", r.what, went.Load(), here.Load(), r.went, r.here)
		}
	}
}
