package machines

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"sync/atomic"

	"gravity.example/gravlab/machines/pipe"
	"gravity.example/gravlab/sandbox"
)

// Boxes runs the boxes of a lab hour on machines that lend, each by a request that one of them
// answers. Nothing waits there: a box that none of them takes at once, or brings back in time, is
// the caller's to run.
type Boxes struct {
	c       *carrier
	read    chan struct{} // closed when the carrier says no more
	waiting awaited
	asked   atomic.Int64
}

// NewBoxes reaches the machines. places is told how many boxes they run at once, each time that
// this changes.
func NewBoxes(o Options, places func(n int)) (*Boxes, error) {
	c, err := startCarrier(o.Carrier, append([]string{"boxes", "--version", o.Version}, o.Args...))
	if err != nil {
		return nil, err
	}
	x := &Boxes{c: c, read: make(chan struct{})}
	go func() {
		defer close(x.read)
		x.receive(o.Log, places)
		places(0)
	}()
	return x, nil
}

// Close ends it. What is away is given up.
func (x *Boxes) Close() error {
	err := x.c.close()
	<-x.read
	return err
}

func (x *Boxes) receive(log func(text string), places func(n int)) {
	defer x.waiting.stop(errEnded)
	for {
		var m pipe.Message
		if err := x.c.dec.Decode(&m); err != nil {
			return
		}
		switch m.Kind {
		case pipe.Note:
			log(m.Text)
		case pipe.End:
			log("boxes run on this machine alone: " + m.Text)
		case pipe.Places:
			if n, err := strconv.Atoi(m.Text); err == nil {
				places(n)
			}
		default:
			x.waiting.tell(m)
		}
	}
}

// Run runs the errand of a box on another machine. An error says why none brought it back.
func (x *Boxes) Run(ctx context.Context, e sandbox.Errand) (r sandbox.Return, err error) {
	body, err := sandbox.Encode(e)
	if err != nil {
		return r, err
	}
	key := strconv.FormatInt(x.asked.Add(1), 10)
	back, err := x.waiting.of(key)
	if err != nil {
		return r, err
	}
	if err := x.c.send(pipe.Message{Kind: pipe.Box, Key: key, Body: body}); err != nil {
		return r, errEnded
	}
	select {
	case <-ctx.Done():
		return r, context.Cause(ctx) // the carrier answers in time, and so it is forgotten
	case m := <-back:
		switch m.Kind {
		case pipe.Back:
		case pipe.End:
			return r, errEnded
		default:
			return r, errors.New(m.Text)
		}
		if r, err = sandbox.Decode[sandbox.Return](m.Body); err != nil {
			return r, fmt.Errorf("what came back cannot be read: %w", err)
		}
		return r, nil
	}
}
