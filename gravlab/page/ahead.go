package page

import (
	"context"
	"slices"
	"sync"
	"time"

	"gravity.example/gravlab/notebook"
)

// longestAhead is how long a box that was built while its reader typed is kept for the run.
const longestAhead = 5 * time.Minute

// An ahead is a box that is built while its reader types. Nothing of it runs before the reader
// runs it. There is one for each notebook at most, and it ends as soon as the text is another.
type ahead struct {
	made string // madeOf of its code
	seed uint64
	stop context.CancelFunc
	hold chan struct{}
	over chan struct{} // closed when result and err are there

	result Result
	err    error

	mu  sync.Mutex
	box *Box // of the run: what it puts out goes there; nil until it is run
}

// to is where the box puts out what it puts out. Nothing comes before it is run.
func (a *ahead) to() *Box {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.box
}

// buildAhead begins to build the box of a cell that has changed, in place of the one that was
// begun before. The caller holds b.mu.
func (b *document) buildAhead(cell string) {
	b.dropAhead()
	if !b.server.o.Ahead || !b.own && !b.allowed || b.closed(true) != "" || len(b.running) > 0 {
		return
	}
	c := b.nb.Cell(cell)
	if c == nil || c.Kind != notebook.Code {
		return
	}
	box := b.box(slices.Index(b.nb.Cells, c))
	ctx, stop := context.WithTimeout(context.Background(), longestAhead)
	a := &ahead{made: madeOf(box.Above, box.Source), seed: box.Seed, stop: stop, hold: make(chan struct{}), over: make(chan struct{})}
	box.Hold, box.Log = a.hold, func(text string) {
		if to := a.to(); to != nil {
			to.Log(text)
		}
	}
	box.Exchange = func(frame []byte) []byte { return a.to().Exchange(frame) }
	box.Output = func(text []byte) { a.to().Output(text) }
	box.Show = func(o *notebook.Output) { a.to().Show(o) }
	box.Anew = func() { a.to().Anew() }
	b.ahead = a
	go func() {
		a.result, a.err = b.server.o.Runner.RunBox(ctx, box)
		close(a.over)
		stop()
	}()
}

// dropAhead ends what was begun. The caller holds b.mu.
func (b *document) dropAhead() {
	if b.ahead != nil {
		b.ahead.stop()
		b.ahead = nil
	}
}

// takeAhead is what was built for a box, which the caller runs; nil if that is of other code.
// The caller holds b.mu.
func (b *document) takeAhead(box Box) *ahead {
	a := b.ahead
	if a == nil || a.made != madeOf(box.Above, box.Source) || a.seed != box.Seed {
		b.dropAhead()
		return nil
	}
	b.ahead = nil
	return a
}

// run lets the box run, with what a reader's run has. It reports false if the box could not be
// built, and nothing of it has run: then it is built anew.
func (a *ahead) run(ctx context.Context, box Box, result *Result, err *error) bool {
	a.mu.Lock()
	a.box = &box
	a.mu.Unlock()
	ended := context.AfterFunc(ctx, a.stop)
	defer ended()
	select {
	case <-a.over: // it does not compile, or the machine failed
		if a.err != nil {
			return false
		}
	default:
		close(a.hold)
		<-a.over
	}
	*result, *err = a.result, a.err
	return true
}
