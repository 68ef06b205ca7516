package sandbox

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"gravity.example/gravlab/notebook"
)

// PoolOptions say how a pool works. Clone is needed.
type PoolOptions struct {
	Workers int               // processes; 0: one for each core
	Nice    int               // by how much workers give way to other processes: 0, or up to 19
	Clone   string            // folder of the module
	Log     func(text string) // told what takes long before the first job; may be nil
}

// Pool runs jobs in workers. Its methods may be used from several goroutines;
// jobs beyond the number of workers wait.
type Pool struct {
	setup setup
	slots chan struct{} // as many as may work at once
	dir   string
	nice  int
	eager bool // programs are compiled from the start: tests compare the engines
}

// NewPool prepares the packages, which takes some 20 s the first time, and
// makes a pool. Workers are started when they are needed.
func NewPool(ctx context.Context, o PoolOptions) (*Pool, error) {
	if o.Workers <= 0 {
		o.Workers = runtime.NumCPU()
	}
	if o.Log == nil {
		o.Log = func(string) {}
	}
	if o.Clone == "" {
		return nil, errors.New("sandbox: PoolOptions.Clone is empty: give the folder of the module")
	}
	clone, err := filepath.Abs(o.Clone)
	if err != nil {
		return nil, err
	}
	sweep()
	dir, err := os.MkdirTemp("", fmt.Sprintf("%s%d-", folderPrefix, os.Getpid()))
	if err != nil {
		return nil, fileFault(filepath.Join(os.TempDir(), folderPrefix), err)
	}
	p := &Pool{dir: dir, nice: o.Nice, slots: make(chan struct{}, o.Workers)}
	if p.setup, err = prepare(ctx, clone, dir, o.Log); err != nil {
		os.RemoveAll(dir)
		return nil, err
	}
	p.setup.Still = int(maxStill / pollEvery)
	return p, nil
}

// Workers is how many jobs run at once.
func (p *Pool) Workers() int { return cap(p.slots) }

// Packages lists what cells may import.
func (p *Pool) Packages() []string {
	var paths []string
	for _, k := range p.setup.Packages {
		paths = append(paths, k.Path)
	}
	return paths
}

// Close waits for the jobs that run. The pool is of no use afterwards.
func (p *Pool) Close() error {
	for range cap(p.slots) {
		p.slots <- struct{}{}
	}
	return os.RemoveAll(p.dir)
}

// Look reads a notebook and says what it says about itself; unread says why it
// is none.
func (p *Pool) Look(ctx context.Context, file []byte) (sheet Sheet, unread string, err error) {
	out, err := p.do(ctx, Job{Notebook: file}, job{LookOnly: true})
	return out.Sheet, out.Unread, err
}

// Run runs a notebook. An error says that the machine failed (a Fault), that ctx ended,
// or what Job.Session said; whatever is wrong with the notebook is in the outcome.
func (p *Pool) Run(ctx context.Context, j Job) (Outcome, error) {
	return p.do(ctx, j, job{})
}

// RunBox runs one code box: the last of the outcome's cells.
func (p *Pool) RunBox(ctx context.Context, b Box) (Outcome, error) {
	j := Job{Seed: b.Seed, Exchange: b.Exchange, Limits: b.Limits, watch: b.Watch, hold: b.Hold}
	if b.Output != nil {
		j.Output = func(_ int, text []byte) { b.Output(text) }
	}
	return p.do(ctx, j, job{Cells: append(slices.Clone(b.Above), b.Source), Last: true, Fast: !b.Slow, Held: b.Hold != nil})
}

const (
	// maxDeaths is how many workers one notebook may cost.
	maxDeaths = 8
	// maxTries is how often a job is tried that ends by a fault of the machine, with a pause
	// before the last time.
	maxTries   = 3
	triesPause = time.Second
	// kept is how much of what all cells print is kept.
	kept = 1 << 20
)

// A task is a job under way.
type task struct {
	Job
	job     job
	limits  Limits
	out     Outcome
	cells   map[int]*Cell
	kept    int
	cpu     time.Duration // of workers that are done with
	asked   bool          // Session was called
	touched bool          // frames were exchanged, or Output was told something
	failed  error         // what Session said
	still   int           // see setup
	pause   func() error  // gives the place up until the box may run
}

func (p *Pool) do(ctx context.Context, j Job, w job) (Outcome, error) {
	if len(j.Notebook) > notebook.HandedInLimit {
		return Outcome{Ended: LimitSize, Unread: fmt.Sprintf("the file has %d bytes; more than 20 MB are not read", len(j.Notebook))}, nil
	}
	select {
	case p.slots <- struct{}{}:
	case <-ctx.Done():
		return Outcome{}, context.Cause(ctx)
	}
	own := true // the slot is this job's
	defer func() {
		if own {
			<-p.slots
		}
	}()
	w.Seed, w.Limits, w.Eager = j.Seed, j.Limits.orDefault(), p.eager
	for try := 1; ; try++ {
		t := &task{Job: j, job: w, limits: w.Limits, cells: map[int]*Cell{}, still: p.setup.Still}
		t.job.Skip, t.job.Over = map[int]bool{}, map[int]bool{}
		t.pause = func() error {
			own = false
			<-p.slots
			select {
			case <-j.hold:
			case <-ctx.Done():
				return context.Cause(ctx)
			}
			select {
			case p.slots <- struct{}{}:
				own = true
				return nil
			case <-ctx.Done():
				return context.Cause(ctx)
			}
		}
		out, err := p.whole(ctx, t)
		var f *Fault
		if !errors.As(err, &f) {
			return out, err
		}
		if try == maxTries || t.touched && t.Session == nil {
			return Outcome{}, err
		}
		if f.crash {
			w.Believe = f.What
		}
		if try == maxTries-1 {
			select {
			case <-time.After(triesPause):
			case <-ctx.Done():
			}
		}
	}
}

// whole does a job, with as many workers as that takes.
func (p *Pool) whole(ctx context.Context, t *task) (Outcome, error) {
	for deaths := 0; ; deaths++ {
		if ctx.Err() != nil {
			return t.out, context.Cause(ctx)
		}
		if deaths == maxDeaths {
			t.remark(Remark{Text: fmt.Sprintf("%d cells met limits; the rest of the notebook was not run", deaths)})
			return t.finish(), nil
		}
		w, err := p.start()
		if err != nil {
			return t.out, err
		}
		over, err := t.attempt(ctx, w)
		w.kill()
		if over || err != nil {
			return t.finish(), errors.Join(err, t.failed)
		}
	}
}

func (l Limits) orDefault() Limits {
	if l.Cell <= 0 {
		l.Cell = 10 * time.Second
	}
	if l.Sheet <= 0 {
		l.Sheet = 60 * time.Second
	}
	if l.Output <= 0 {
		l.Output = 1 << 20
	}
	if l.Frames <= 0 {
		l.Frames = 2_000
	}
	return l
}

func (t *task) finish() Outcome {
	for _, c := range t.cells {
		c.Output = strings.ToValidUTF8(c.Output, "\uFFFD")
		t.out.Cells = append(t.out.Cells, *c)
	}
	slices.SortFunc(t.out.Cells, func(a, b Cell) int { return a.Index - b.Index })
	return t.out
}

// attempt gives the job to a worker and follows it. over is false if the
// worker had to be killed, or died; then the job may be tried again.
func (t *task) attempt(ctx context.Context, w *worker) (over bool, err error) {
	body, err := json.Marshal(t.job)
	if err != nil {
		return false, err
	}
	w.send(msgJob, body)
	if t.job.Cells == nil {
		w.send(msgFile, t.Notebook)
	}
	watch := newWatch(w, t.limits, t.cpu)
	defer func() {
		used := watch.used()
		t.cpu += used
		t.out.Times.Processor += used
	}()
	tick := time.NewTicker(pollEvery)
	defer tick.Stop()
	stop := ctx.Done()
	for {
		select {
		case <-stop:
			return false, context.Cause(ctx)
		case <-tick.C:
			if limit, sheet := watch.exceeded(); limit != LimitNone {
				return t.killed(watch, limit, sheet), nil
			}
			if t.watch != nil && watch.turn(t.watch(watch.before+watch.seen)) {
				return t.stopped(), nil
			}
			if watch.still > t.still {
				return false, stalledFault("a worker")
			}
		case m, ok := <-w.messages:
			if !ok {
				limit, fault := watch.death()
				if fault != nil && !(fault.crash && fault.What == t.job.Believe) {
					return false, fault
				}
				return t.killed(watch, limit, false), nil
			}
			over, err := t.message(w, watch, m)
			if over || err != nil {
				return over, err
			}
		}
	}
}

// message takes a message of the worker.
func (t *task) message(w *worker, watch *watch, m message) (over bool, err error) {
	switch m.kind {
	case msgSheet:
		var s Sheet
		if err := json.Unmarshal(m.body, &s); err != nil {
			return false, err
		}
		t.out.Sheet = s
		if t.Session != nil && !t.asked {
			t.asked = true
			if t.Exchange, t.failed = t.Session(s); t.failed != nil {
				w.send(msgReply, []byte(replyStop))
				return false, nil
			}
		}
		if t.job.LookOnly {
			w.send(msgReply, []byte(replyStop))
			return false, nil
		}
		w.send(msgReply, nil)
	case msgHeld:
		if t.hold == nil {
			return false, errors.New("a worker waits, and was not asked to")
		}
		if err := t.pause(); err != nil {
			return false, err
		}
		watch.still = 0
		w.send(msgReply, nil)
	case msgUsed:
		if len(m.body) == 8 {
			watch.tools = max(watch.tools, time.Duration(binary.LittleEndian.Uint64(m.body)))
		}
	case msgFault:
		var f faultOfJob
		if err := json.Unmarshal(m.body, &f); err != nil {
			return false, err
		}
		return false, &Fault{What: clip(f.What, 1000), Do: clip(f.Do, 500), crash: f.Crash}
	case msgStage:
		var s stage
		if err := json.Unmarshal(m.body, &s); err != nil {
			return false, err
		}
		watch.begin(s)
	case msgRemark:
		var r Remark
		if err := json.Unmarshal(m.body, &r); err != nil {
			return false, err
		}
		t.remark(r)
	case msgCell:
		var c Cell
		if err := json.Unmarshal(m.body, &c); err != nil {
			return false, err
		}
		if old := t.cells[c.Index]; old != nil {
			// An earlier worker met it. Declarations alone count as run until the compiler
			// has seen them.
			if old.State == Ended || c.State == NotRun || t.job.Over[c.Index] && c.State != NotBuilt {
				break
			}
			c.Output = old.Output
		}
		t.cells[c.Index] = &c
		if c.State == Ended && t.out.Ended == LimitNone {
			t.out.Ended = c.Limit
		}
		if c.State != NotRun && c.State != NotBuilt && c.State != Refused {
			t.job.Over[c.Index] = true
		}
	case msgOutput:
		if c := t.cells[watch.stage.Cell]; c != nil && t.kept < kept {
			text := m.body[:min(len(m.body), kept-t.kept)]
			c.Output += string(text)
			t.kept += len(text)
		}
		if t.Output != nil {
			t.touched = true
			t.Output(watch.stage.Cell, m.body)
		}
	case msgFrame:
		var reply []byte
		if t.Exchange != nil {
			t.touched = true
			reply = t.Exchange(bytes.Clone(m.body))
		}
		w.send(msgReply, reply)
	case msgDone:
		var d done
		if err := json.Unmarshal(m.body, &d); err != nil {
			return false, err
		}
		t.out.Unread = d.Unread
		if t.out.Ended == LimitNone {
			t.out.Ended = d.Ended
		}
		t.out.Times.add(d.Times)
		return true, nil
	default:
		return false, fmt.Errorf("a worker sent a message %q", m.kind)
	}
	return false, nil
}

func (t *Times) add(u Times) {
	t.Merge += u.Merge
	t.Compile += u.Compile
	t.Link += u.Link
	t.Instantiate += u.Instantiate
	t.Run += u.Run
	t.Exchange += u.Exchange
	t.Processor += u.Processor
	t.Programs += u.Programs
	t.Compiled = t.Compiled || u.Compiled
}

// maxRemarks bounds what a notebook can make us say.
const maxRemarks = 500

func (t *task) remark(r Remark) {
	r.Text = clip(r.Text, 500)
	if len(t.out.Remarks) < maxRemarks && !slices.Contains(t.out.Remarks, r) {
		t.out.Remarks = append(t.out.Remarks, r)
	}
}

// clip shortens text from a notebook and makes it valid.
func clip(s string, n int) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	if len(s) <= n {
		return s
	}
	s = s[:n]
	for !utf8.ValidString(s) {
		s = s[:len(s)-1]
	}
	return s + " …"
}

// killed notes which limit a worker was lost by, and what the next one is to leave out.
// sheet says that it is the limit of the whole notebook, none that the step in hand has
// met. A limit of none is a worker that breaks off again and again. over says that nothing
// is left to do.
func (t *task) killed(watch *watch, limit Limit, sheet bool) (over bool) {
	s := watch.stage
	if limit == LimitNone && s.What == stageRun {
		c := t.cell(s.Cell)
		c.State, c.Fault = Failed, "this cell ends the program that runs it"
		t.job.Over[s.Cell] = true
		t.remark(Remark{Cell: s.Cell + 1, Text: "this cell failed: " + c.Fault, Ends: true})
		return false
	}
	if limit == LimitNone {
		limit = LimitCompiler
	}
	if t.out.Ended == LimitNone {
		t.out.Ended = limit
	}
	if sheet {
		if s.What == stageRun {
			t.ended(s.Cell, limit)
		}
		t.remark(Remark{Text: fmt.Sprintf("the notebook used its %v of processor time; the rest was not run", t.limits.Sheet)})
		return true
	}
	switch s.What {
	case stageCheck:
		t.ended(s.Cell, limit)
		t.job.Skip[s.Cell] = true
		t.remark(Remark{Cell: s.Cell + 1, Text: "checking this cell took too much time or memory; it is left out"})
	case stageRun:
		t.ended(s.Cell, limit)
		t.job.Over[s.Cell] = true
		t.remark(Remark{Cell: s.Cell + 1, Text: ended(limit, t.limits), Ends: true})
	case stageRead:
		t.out.Unread = "reading the file took too much time or memory"
		t.out.Ended = LimitSize
		return true
	default:
		t.remark(Remark{Text: fmt.Sprintf("the notebook met a limit (%s) when its program was built or started; it was not run further", limit)})
		return true
	}
	return false
}

// stopped notes that a box was ended from outside, wherever it was.
func (t *task) stopped() (over bool) {
	t.out.Ended = LimitTime
	t.ended(len(t.job.Cells)-1, LimitTime)
	return true
}

// ended notes that a cell was ended by a limit.
func (t *task) ended(index int, limit Limit) {
	c := t.cell(index)
	c.State, c.Limit = Ended, limit
}

func (t *task) cell(index int) *Cell {
	if t.cells[index] == nil {
		t.cells[index] = &Cell{Index: index}
	}
	return t.cells[index]
}

func ended(l Limit, limits Limits) string {
	switch l {
	case LimitTime:
		return fmt.Sprintf("this cell was ended: it ran for more than %v of processor time", limits.Cell)
	case LimitMemory:
		return "this cell was ended: it used more memory than there is (256 MiB)"
	case LimitOutput:
		return fmt.Sprintf("this cell was ended: it printed more than %d bytes", limits.Output)
	case LimitFrames:
		return fmt.Sprintf("this cell was ended: it submitted or showed something more than %d times", limits.Frames)
	}
	return "this cell was ended by the limit " + string(l)
}

const folderPrefix = "gravlab-work-"

// sweep removes the folders of pools whose process was killed.
func sweep() {
	old, err := filepath.Glob(filepath.Join(os.TempDir(), folderPrefix+"*"))
	if err != nil {
		return
	}
	for _, dir := range old {
		var pid int
		if _, err := fmt.Sscanf(strings.TrimPrefix(filepath.Base(dir), folderPrefix), "%d-", &pid); err == nil && pid != os.Getpid() && !alive(pid) {
			os.RemoveAll(dir)
		}
	}
}
