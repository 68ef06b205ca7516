package page

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync/atomic"
	"time"

	"gravity.example/gravlab/sandbox"
)

// Confined runs boxes in workers of package sandbox, the ones that marking
// uses.
type Confined struct {
	ready chan struct{} // closed when pool or err is there
	pool  *sandbox.Pool
	err   error
	stop  context.CancelFunc
	said  atomic.Value // string: how far the preparation is
	o     ConfinedOptions
}

// ConfinedOptions say how boxes share a machine; the zero value is for one reader.
type ConfinedOptions struct {
	Workers int            // processes at once; 0: one for each core
	Nice    int            // by how much they give way to other processes
	Slow    bool           // a box uses one core: the second one is needed by others
	Limits  sandbox.Limits // of a box
	// Away, if not nil, runs the errand of a box on another machine; an error says why none did.
	Away func(context.Context, sandbox.Errand) (sandbox.Return, error)
}

// NewConfined prepares the packages of a clone behind the page, which takes some
// time on a new machine, and tells say so. Close ends the workers.
func NewConfined(clone string, log func(text string), o ConfinedOptions) *Confined {
	ctx, stop := context.WithCancel(context.Background())
	c := &Confined{ready: make(chan struct{}), stop: stop, o: o}
	c.said.Store("preparing the packages of the labs, once on a new machine")
	go func() {
		defer close(c.ready)
		c.pool, c.err = sandbox.NewPool(ctx, sandbox.PoolOptions{Clone: clone, Workers: o.Workers, Nice: o.Nice, Log: func(what string) {
			c.said.Store(what)
			log(what)
		}})
	}()
	return c
}

// Close ends what runs.
func (c *Confined) Close() error {
	c.stop()
	<-c.ready
	if c.err != nil {
		return nil
	}
	return c.pool.Close()
}

// Prepared waits until the packages are prepared; the error says why they cannot be.
func (c *Confined) Prepared(ctx context.Context) error {
	select {
	case <-c.ready:
		return c.err
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// RunBox waits until the packages are prepared and runs a box.
func (c *Confined) RunBox(ctx context.Context, b Box) (Result, error) {
	if err := c.wait(ctx, b.Log); err != nil {
		return Result{}, err
	}
	if c.err != nil {
		return failed(c.err)
	}
	b.Log("running")
	out, err := c.pool.RunBox(ctx, sandbox.Box{Above: b.Above, Source: b.Source, Seed: b.Seed, Exchange: b.Exchange, Output: b.Output,
		Slow: c.o.Slow, Limits: c.o.Limits, Watch: b.Watch, Hold: b.Hold})
	if err != nil {
		r, err := failed(err)
		r.Used = out.Times.Processor
		return r, err
	}
	r := result(out, len(b.Above)+1)
	r.Used = out.Times.Processor
	return r, nil
}

// awayTime is the processor time of a box on another machine, which cannot pause it while others
// wait. One that takes longer is run here.
const awayTime = 3 * time.Second

// RunAway runs a box on another machine, and tells what it puts out when it has ended. ok is false
// if it has to be run here: then rest is that box, of which nothing counts twice.
func (c *Confined) RunAway(ctx context.Context, b Box) (r Result, rest Box, ok bool) {
	if c.o.Away == nil || b.Supply == nil {
		return r, b, false
	}
	supply, err := b.Supply()
	if err != nil {
		return r, b, false
	}
	box := sandbox.Box{Above: b.Above, Source: b.Source, Seed: b.Seed, Exchange: b.Exchange, Output: b.Output, Slow: c.o.Slow, Limits: c.o.Limits}
	box.Limits.Cell = awayTime
	b.Log("running")
	back, err := c.o.Away(ctx, box.Errand(supply))
	if err != nil {
		return r, b, false
	}
	if back.Outcome.Ended == sandbox.LimitTime {
		return Result{Used: awayTime}, b, false
	}
	out, left, ok := box.Accept(back)
	if b.Exchange, b.Output = left.Exchange, left.Output; !ok {
		return Result{Used: back.Outcome.Times.Processor}, b, false
	}
	r = result(out, len(b.Above)+1)
	r.Used = out.Times.Processor
	return r, b, true
}

// wait waits until the packages are prepared and says how far that is.
func (c *Confined) wait(ctx context.Context, log func(text string)) error {
	for told := ""; ; {
		select {
		case <-c.ready:
			return nil
		default:
		}
		if now := c.said.Load().(string); now != told {
			log(now)
			told = now
		}
		select {
		case <-c.ready:
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(300 * time.Millisecond):
		}
	}
}

// limits say in plain words what ended a box.
var limits = map[sandbox.Limit]string{
	sandbox.LimitTime:     "It used more computing time than a box may have. Does a loop never end?",
	sandbox.LimitMemory:   "It needed more memory than a box may have. Does a slice grow without end?",
	sandbox.LimitOutput:   "It printed more than a box may print. Does a loop never end?",
	sandbox.LimitFrames:   "It showed or submitted more than a box may. Does a loop never end?",
	sandbox.LimitCompiler: "It is too much for the compiler. Is there a very large array or constant?",
	sandbox.LimitSize:     "There is too much code in this notebook.",
}

// result says in plain words how a box went; box is its number, counted from 1.
func result(out sandbox.Outcome, box int) Result {
	var r Result
	if out.Unread != "" {
		return Result{Trouble: []Trouble{{Text: out.Unread}}}
	}
	var last sandbox.Cell
	for _, c := range out.Cells {
		if c.Index == box-1 {
			last = c
		}
	}
	bad := last.State == sandbox.NotBuilt || last.State == sandbox.Refused
	for _, m := range out.Remarks {
		switch {
		case m.Cell == box && m.Ends: // it is told below
		case m.Cell == box && bad:
			r.Trouble = append(r.Trouble, Trouble{Line: m.Line, Text: m.Text})
		case m.Cell == box && m.Line > 0:
			r.Remarks = append(r.Remarks, fmt.Sprintf("line %d: %s", m.Line, m.Text))
		case m.Cell == box || m.Cell == 0:
			r.Remarks = append(r.Remarks, m.Text)
		case bad:
			// What a box above lacks may be what this one misses.
			r.Remarks = append(r.Remarks, "In a box above: "+m.Text)
		}
	}
	slices.SortStableFunc(r.Trouble, func(a, b Trouble) int { return a.Line - b.Line })
	switch last.State {
	case sandbox.Failed:
		r.Trouble = append(r.Trouble, Trouble{Line: last.Line, Text: last.Fault})
	case sandbox.Ended:
		r.Trouble = append(r.Trouble, Trouble{Text: ended(last.Limit)})
	case sandbox.NotRun:
		r.Trouble = append(r.Trouble, Trouble{Text: ended(out.Ended)})
	case sandbox.NotBuilt, sandbox.Refused:
		if len(r.Trouble) == 0 {
			r.Trouble = append(r.Trouble, Trouble{Text: "This cannot be run here."})
		}
	}
	return r
}

// failed tells that the machine failed and not the box.
func failed(err error) (Result, error) {
	var f *sandbox.Fault
	if !errors.As(err, &f) {
		return Result{}, err
	}
	return Result{Trouble: []Trouble{{Text: fmt.Sprintf("This machine failed, not your code: %s. What to do: %s. Your text is saved.", f.What, f.Do)}}}, nil
}

func ended(l sandbox.Limit) string {
	if text, ok := limits[l]; ok {
		return "Stopped: " + text + " Your text is saved."
	}
	return "It was not run. Your text is saved."
}
