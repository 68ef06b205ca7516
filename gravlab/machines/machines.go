// Package machines lets other computers run a class's notebooks: what is to be run goes as errands
// (package sandbox) into a queue, and what comes back is taken by marking as if it had been run
// here.
//
// The queue is NATS with JetStream, which would add 17 MB to a program. So a second program holds
// all of it, gravlab/cmd/machines, a module of its own, and this package speaks with it through a
// pipe: the program that marks has one beside it, and so has each program that lends. Neither knows
// of a network.
package machines

import (
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"golang.org/x/sync/semaphore"

	"gravity.example/gravlab/machines/pipe"
	"gravity.example/gravlab/sandbox"
)

// Build makes the carrier of a clone in a folder, and returns its path.
func Build(ctx context.Context, clone, dir string) (string, error) {
	path := filepath.Join(dir, "gravlab-machines")
	if runtime.GOOS == "windows" {
		path += ".exe"
	}
	cmd := exec.CommandContext(ctx, "go", "build", "-o", path, ".")
	cmd.Dir = filepath.Join(clone, "gravlab", "cmd", "machines")
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("building what reaches other machines: %w\n%s", err, out)
	}
	return path, nil
}

// A carrier is the program beside this one.
type carrier struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	mu  sync.Mutex
	enc *gob.Encoder
	dec *gob.Decoder
}

func startCarrier(path string, args []string) (*carrier, error) {
	cmd := exec.Command(path, args...)
	cmd.Stderr = os.Stderr
	separate(cmd)
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	return &carrier{cmd: cmd, in: in, enc: gob.NewEncoder(in), dec: gob.NewDecoder(out)}, nil
}

func (c *carrier) send(m pipe.Message) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.enc.Encode(m)
}

// close ends the carrier, which clears up when its input ends.
func (c *carrier) close() error {
	c.in.Close()
	return c.cmd.Wait()
}

// Version names what determines how a notebook runs, but for the notebook: machines of other
// versions take no errands.
func Version(ctx context.Context, clone string) (string, error) { return versionOf(ctx, clone) }

// A Pool is a sandbox.Pool, or what a test puts in its place.
type Pool interface {
	Workers() int
	Run(context.Context, sandbox.Job) (sandbox.Outcome, error)
	RunErrand(context.Context, sandbox.Errand) (sandbox.Return, error)
}

// A Queue runs jobs on the machines that take errands.
type Queue struct {
	pool    Pool
	version string
	log     func(text string)
	c       *carrier
	read    chan struct{} // closed when the carrier says no more
	// Hundreds of errands are away at once, and memory stays bounded: as many are made at a time,
	// and as many taken back, as there are cores, and room is for what is kept of those away.
	making, taking chan struct{}
	room           *semaphore.Weighted

	waiting awaited
	mu      sync.Mutex
	taken   int // errands that came back
	again   int // of those, run here too
}

// Options say how a queue or a lender reaches the others.
type Options struct {
	Carrier string   // path of the program; see Build
	Args    []string // for it
	Version string
	Log     func(text string)
}

// NewQueue starts a queue. What cannot be an errand is run by pool, and so are some that came back,
// to compare.
func NewQueue(pool Pool, o Options) (*Queue, error) {
	c, err := startCarrier(o.Carrier, append([]string{"mark", "--version", o.Version}, o.Args...))
	if err != nil {
		return nil, err
	}
	q := &Queue{pool: pool, version: o.Version, log: o.Log, c: c, read: make(chan struct{}), making: make(chan struct{}, runtime.NumCPU()), taking: make(chan struct{}, runtime.NumCPU()),
		room: semaphore.NewWeighted(roomAway)}
	go q.receive()
	return q, nil
}

// Close ends the queue. Errands that wait stay there for the next time, up to a day.
func (q *Queue) Close() error {
	err := q.c.close()
	<-q.read
	return err
}

func (q *Queue) receive() {
	defer close(q.read)
	for {
		var m pipe.Message
		err := q.c.dec.Decode(&m)
		switch {
		case err != nil:
			q.waiting.stop(errEnded)
			return
		case m.Kind == pipe.End:
			q.waiting.stop(errors.New(m.Text))
		case m.Kind == pipe.Note:
			q.log(m.Text)
		default:
			q.waiting.tell(m)
		}
	}
}

// awaited are those who wait for what the carrier says of an errand.
type awaited struct {
	mu     sync.Mutex
	by     map[string][]chan pipe.Message // by the errand's key
	failed error
}

// of is where the next message about an errand comes, or one of the kind End when nothing comes any
// more.
func (a *awaited) of(key string) (<-chan pipe.Message, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.failed != nil {
		return nil, a.failed
	}
	if a.by == nil {
		a.by = map[string][]chan pipe.Message{}
	}
	told := make(chan pipe.Message, 1)
	a.by[key] = append(a.by[key], told)
	return told, nil
}

func (a *awaited) tell(m pipe.Message) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, told := range a.by[m.Key] {
		told <- m // holds one
	}
	delete(a.by, m.Key)
}

// stop makes an error of all that waits and comes; the first one counts.
func (a *awaited) stop(err error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.failed == nil {
		a.failed = err
	}
	for _, all := range a.by {
		for _, told := range all {
			told <- pipe.Message{Kind: pipe.End}
		}
	}
	a.by = nil
}

func (a *awaited) err() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.failed
}

// errEnded says that the other machines are not reached any more.
var errEnded = errors.New("the program that reaches the other machines has ended")

const (
	// roomAway is how many bytes are kept of the errands that are away: each its notebook, its
	// recordings, which are about as long as the errand, and the rest of its sheet.
	roomAway   = 64 << 20
	restOfRoom = 16 << 10
	// leastAgain and againPart are how many of the errands that came back are run here too.
	leastAgain = 20
	againPart  = 0.02
)

// Run runs a job, as sandbox.Pool.Run does.
func (q *Queue) Run(ctx context.Context, j sandbox.Job) (sandbox.Outcome, error) {
	key, back, left, err := q.put(ctx, j)
	defer left()
	if err != nil {
		return sandbox.Outcome{}, err
	}
	if back == nil {
		return q.pool.Run(ctx, j)
	}
	r, who, err := q.wait(ctx, back)
	if err != nil {
		return sandbox.Outcome{}, err
	}
	q.taking <- struct{}{}
	out, ok, err := j.Accept(r)
	<-q.taking
	if ok && err == nil {
		q.mu.Lock()
		compare := q.again < leastAgain || rand.Float64() < againPart
		if q.taken++; compare {
			q.again++
		}
		q.mu.Unlock()
		if compare {
			e, _ := j.Errand() // again: what all who wait hold on to is the less
			here, err := q.pool.RunErrand(ctx, e)
			if err != nil {
				return out, err
			}
			if !here.Same(r) {
				err := fmt.Errorf("the machine %q says of the notebook %s what this one does not find when it runs it too: nothing that comes from there can be believed. Mark without it, and anew, into another folder (--out): some of what it said may stand in this one", who, key[:12])
				q.waiting.stop(err)
				q.c.send(pipe.Message{Kind: pipe.Distrust})
				return out, err
			}
		}
	}
	if err := q.c.send(pipe.Message{Kind: pipe.Done, Key: key}); err != nil {
		return out, err
	}
	if err == nil && !ok {
		return q.pool.Run(ctx, j)
	}
	return out, err
}

// put sends the errand of a job, and says by what it is known and where what comes back is told;
// nil if the job has to be run here. left has to be called when nothing is kept of it any more.
func (q *Queue) put(ctx context.Context, j sandbox.Job) (key string, back <-chan pipe.Message, left func(), err error) {
	left = func() {}
	q.making <- struct{}{}
	defer func() { <-q.making }()
	e, ok := j.Errand()
	if !ok {
		return "", nil, left, nil
	}
	body, err := sandbox.Encode(e)
	if err != nil {
		return "", nil, left, err
	}
	size := min(int64(len(body)+restOfRoom), roomAway)
	if err := q.room.Acquire(ctx, size); err != nil {
		return "", nil, left, context.Cause(ctx)
	}
	left = func() { q.room.Release(size) }
	key = keyOf(q.version, e)
	if back, err = q.waiting.of(key); err == nil {
		err = q.c.send(pipe.Message{Kind: pipe.Put, Key: key, Body: body})
	}
	return key, back, left, err
}

// wait waits for what comes back, and from which machine, as it says.
func (q *Queue) wait(ctx context.Context, back <-chan pipe.Message) (r sandbox.Return, who string, err error) {
	select {
	case <-ctx.Done():
		return r, "", context.Cause(ctx)
	case m := <-back:
		switch m.Kind {
		case pipe.Back:
			if r, err = sandbox.Decode[sandbox.Return](m.Body); err != nil {
				return sandbox.Return{Lacks: "a form that can be read"}, m.Text, nil
			}
			return r, m.Text, nil
		case pipe.Fault:
			return r, "", &sandbox.Fault{What: m.Text, Do: "mark again; without --machines it is run here"}
		default:
			return r, "", q.waiting.err()
		}
	}
}

// Lend takes errands and runs them, as many at once as pool has workers, until ctx ends.
func Lend(ctx context.Context, pool Pool, o Options) error {
	c, err := startCarrier(o.Carrier, append([]string{"lend", "--version", o.Version, "--places", fmt.Sprint(pool.Workers())}, o.Args...))
	if err != nil {
		return err
	}
	run, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	go func() { // a program that stands still says nothing, and its errands go elsewhere
		for t := time.Tick(time.Second); ; {
			select {
			case <-run.Done():
				c.in.Close()
				return
			case <-t:
				if c.send(pipe.Message{Kind: pipe.Beat}) != nil {
					return
				}
			}
		}
	}()
	var under sync.WaitGroup
	var why error
	for {
		var m pipe.Message
		if err := c.dec.Decode(&m); err != nil {
			break
		}
		switch m.Kind {
		case pipe.Note:
			o.Log(m.Text)
		case pipe.End:
			why = errors.New(m.Text)
		case pipe.Put:
			under.Go(func() { c.send(errand(run, pool, m)) })
		}
	}
	stop(nil)
	under.Wait()
	c.close()
	if ctx.Err() == nil && why == nil {
		why = errEnded
	}
	return why
}

func errand(ctx context.Context, pool Pool, m pipe.Message) pipe.Message {
	e, err := sandbox.Decode[sandbox.Errand](m.Body)
	if err != nil {
		return pipe.Message{Kind: pipe.Fault, Key: m.Key, Text: "what came is no errand"}
	}
	r, err := pool.RunErrand(ctx, e)
	if err != nil {
		return pipe.Message{Kind: pipe.Fault, Key: m.Key, Text: err.Error()}
	}
	body, err := sandbox.Encode(r)
	if err != nil {
		return pipe.Message{Kind: pipe.Fault, Key: m.Key, Text: err.Error()}
	}
	return pipe.Message{Kind: pipe.Back, Key: m.Key, Body: body}
}

// Taken says how many notebooks came back from other machines, and how many of those were run here
// too.
func (q *Queue) Taken() (taken, again int) {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.taken, q.again
}
