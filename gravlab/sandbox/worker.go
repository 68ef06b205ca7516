package sandbox

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"go/scanner"
	"go/token"
	"io"
	"os"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/tetratelabs/wazero/sys"

	"gravity.example/gravlab/notebook"
)

const (
	// patience is how long the interpreter runs before the run is compiled, in
	// processor time over all cells, as a multiple of what it took the interpreter to
	// load and start the program, a measure of the program's size and of the machine. The compiler takes some
	// five times that (1 s for 3.5 MB). A shorter patience was tried (0.4 s): lab 01, whose few fits are just
	// longer than that, then took twice as long. With this one a heavy notebook costs at most 2.6 times
	// what the better choice would have.
	patience = 8
	// maxCells and maxText bound what is looked at.
	maxCells = 1000
	maxText  = 1_000_000
	// maxRebuilds is how often a program is made again without a cell that the compiler refused.
	maxRebuilds = 12
	// maxPrograms is how many programs a notebook may need, since cells declare again what earlier ones
	// used. Each costs a compilation and a link, some 0.3 s.
	maxPrograms = 80
)

// A crew is a worker process from the inside.
type workerProcess struct {
	in      chan message
	mu      sync.Mutex // of out
	out     io.Writer
	builder builder
	library *library
}

// work is the life of a worker process.
func work(in io.Reader, out io.Writer) {
	// A type checker or parser that recurses without end must not take all
	// memory for its stack.
	debug.SetMaxStack(128 << 20)
	debug.SetMemoryLimit(400 << 20)
	// A fifth of a thin box went into collecting garbage that the end of the process throws away.
	debug.SetGCPercent(300)
	runtime.GOMAXPROCS(2)
	c := &workerProcess{in: make(chan message), out: out}
	go func() {
		for {
			kind, body, err := receive(in, notebook.HandedInLimit+1<<20)
			if err != nil {
				os.Exit(0) // the parent has ended, or does not need this worker any more
			}
			c.in <- message{kind, body}
		}
	}()
	m := <-c.in
	var s setup
	if m.kind != msgSetup || json.Unmarshal(m.body, &s) != nil {
		return
	}
	var used time.Duration
	c.builder, c.library = builder{s, func(more time.Duration) {
		if more > 0 {
			used += more
			c.say(msgUsed, binary.LittleEndian.AppendUint64(nil, uint64(used)))
		}
	}}, newLibrary(s.Packages)
	c.say(msgReady, nil)
	m = <-c.in
	var j job
	if m.kind != msgJob || json.Unmarshal(m.body, &j) != nil {
		return
	}
	var file []byte
	if j.Cells == nil {
		file = (<-c.in).body
	}
	t := &jobRun{workerProcess: c, job: j, cells: map[int]*Cell{}, impatient: j.Eager}
	t.do(file)
	if f := t.fault; f != nil {
		c.say(msgFault, faultOfJob{f.What, f.Do, f.crash})
		return
	}
	c.say(msgDone, t.done)
}

// say sends a message; v is bytes or becomes JSON. A parent that is gone shows when the input ends.
func (c *workerProcess) say(kind byte, v any) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if body, ok := v.([]byte); ok || v == nil {
		_ = send(c.out, kind, body)
		return
	}
	_ = sendJSON(c.out, kind, v)
}

// A turnout is one job, from the inside.
type jobRun struct {
	*workerProcess
	job   job
	done  done
	cells map[int]*Cell
	fset  *token.FileSet
	host  *host
	spent time.Duration // of patience
	// impatient says that a program of this job outgrew the interpreter already.
	impatient bool
	fault     *Fault // the machine's; the job ends

	buffer  []byte // printed and not yet sent
	bufMu   sync.Mutex
	flusher *time.Timer
}

func (t *jobRun) stage(what string, cell int) { t.say(msgStage, stage{what, cell}) }

func (t *jobRun) remark(cell, line int, text string) {
	t.say(msgRemark, Remark{Cell: cell + 1, Line: line, Text: text})
}

func (t *jobRun) over(index int, state State, limit Limit, fault string) {
	t.say(msgCell, Cell{Index: index, State: state, Limit: limit, Fault: fault, Frames: t.framesOf(index)})
}

func (t *jobRun) framesOf(index int) int {
	if t.host != nil && t.host.cell == index {
		return t.host.frames
	}
	return 0
}

// cell is a code cell that is not blank.
type cell struct {
	index  int
	source string
}

func (t *jobRun) do(file []byte) {
	t.stage(stageRead, 0)
	begun := time.Now()
	var cells []cell
	if t.job.Cells != nil {
		for i, s := range t.job.Cells {
			cells = append(cells, cell{i, s})
		}
	} else {
		nb, err := notebook.Read("the notebook", file, notebook.Options{MaxBytes: notebook.HandedInLimit})
		if err != nil {
			t.done.Unread = clip(err.Error(), 1000)
			return
		}
		var sheet Sheet
		sheet, cells = look(nb)
		t.say(msgSheet, sheet)
		m := <-t.in
		if m.kind != msgReply || string(m.body) == replyStop {
			return
		}
	}
	text := 0
	for _, c := range cells {
		text += len(c.source)
	}
	if len(cells) > maxCells || text > maxText {
		t.done.Ended = LimitSize
		t.remark(-1, 0, fmt.Sprintf("the notebook has %d code cells with %d bytes of text; more than %d cells or %d bytes are not run", len(cells), text, maxCells, maxText))
		return
	}
	for _, c := range cells {
		t.over(c.index, NotRun, LimitNone, "")
	}
	t.done.Times.Merge += time.Since(begun)
	t.host = &host{limits: t.job.Limits, exchange: t.exchange, print: t.print, seed: t.job.Seed, cell: -1}
	for n := 0; !t.all(cells); n++ {
		if n == maxRebuilds {
			t.remark(-1, 0, fmt.Sprintf("the compiler refused cells %d times; the rest of the notebook was not run", n))
			break
		}
	}
	t.stage(stageEnd, 0)
}

// exchange passes a frame to the parent.
func (t *jobRun) exchange(f []byte) ([]byte, error) {
	t.flush()
	t.say(msgFrame, f)
	m := <-t.in
	if m.kind != msgReply {
		return nil, errors.New("the parent did not reply")
	}
	return m.body, nil
}

// print sends what a cell prints, in pieces of some size.
func (t *jobRun) print(text []byte) {
	t.bufMu.Lock()
	defer t.bufMu.Unlock()
	t.buffer = append(t.buffer, text...)
	if len(t.buffer) >= 4<<10 {
		t.flushLocked()
	} else if t.flusher == nil {
		t.flusher = time.AfterFunc(30*time.Millisecond, t.flush)
	}
}

func (t *jobRun) flush() {
	t.bufMu.Lock()
	defer t.bufMu.Unlock()
	t.flushLocked()
}

func (t *jobRun) flushLocked() {
	if t.flusher != nil {
		t.flusher.Stop()
		t.flusher = nil
	}
	for len(t.buffer) > 0 {
		n := min(len(t.buffer), 64<<10)
		t.say(msgOutput, t.buffer[:n:n])
		t.buffer = t.buffer[n:]
	}
	t.buffer = nil
}

// all merges the cells and runs them. It returns false if a cell turned out to be one that
// cannot be compiled: then it has to be done again without that cell.
func (t *jobRun) all(cells []cell) bool {
	begun := time.Now()
	units := t.merge(cells)
	if t.job.Last {
		n := len(units)
		if n == 0 || units[n-1].cell.index != cells[len(cells)-1].index {
			return true
		}
		units = units[n-1:]
	}
	if t.fault != nil {
		return true
	}
	programs := group(units)
	t.done.Times.Merge += time.Since(begun)
	for i, p := range programs {
		if i == maxPrograms {
			t.done.Ended = LimitPrograms
			t.remark(-1, 0, fmt.Sprintf("cells declare again what earlier ones used, so the notebook is %d programs; more than %d are not run. Give each function a name of its own", len(programs), maxPrograms))
			break
		}
		var todo []*unit
		for _, u := range p.units {
			switch {
			case t.job.Over[u.cell.index]:
			case u.main == nil && !u.loud():
				t.over(u.cell.index, Ran, LimitNone, "")
				t.job.Over[u.cell.index] = true
			default:
				todo = append(todo, u)
			}
		}
		if len(todo) == 0 {
			continue
		}
		module, err := t.build(p)
		if err != nil {
			if t.refuse(p, todo, err) {
				return false
			}
		} else {
			t.run(module, todo)
		}
		if t.host.broken != nil || t.fault != nil {
			return true
		}
	}
	return true
}

// merge checks each cell against those before it.
func (t *jobRun) merge(cells []cell) []*unit {
	t.fset = token.NewFileSet()
	if t.job.Skip == nil {
		t.job.Skip = map[int]bool{}
	}
	if t.job.Over == nil {
		t.job.Over = map[int]bool{}
	}
	memory := newMemory()
	var units []*unit
	var env, args []string
	for _, c := range cells {
		if t.job.Skip[c.index] {
			continue
		}
		t.stage(stageCheck, c.index)
		s := split(c.index, c.source)
		for _, r := range s.remarks {
			t.say(msgRemark, r)
		}
		if s.refused != "" {
			t.remark(c.index, 0, s.refused)
			t.over(c.index, Refused, LimitNone, "")
			continue
		}
		if s.reset {
			memory = newMemory()
		}
		if len(s.drop) > 0 {
			memory = memory.clone()
			for _, key := range s.drop {
				memory.drop(key)
			}
		}
		env = append(env, s.env...)
		if s.hasArgs {
			args = s.args
		}
		if s.blank {
			t.over(c.index, Ran, LimitNone, "")
			continue
		}
		s.args, args = args, nil // given for the next cell that is compiled
		if err := s.parse(t.fset); err != nil {
			t.unparsed(s, err)
			continue
		}
		next := memory.clone()
		main := next.declare(s)
		u, problems := t.library.unit(t.fset, s, next, main)
		if t.fault = t.library.fault; t.fault != nil {
			return nil
		}
		if problems != nil {
			for _, p := range problems {
				t.problem(s, p)
			}
			t.over(c.index, NotBuilt, LimitNone, "")
			continue
		}
		u.env = slices.Clone(env)
		memory = next
		units = append(units, u)
	}
	return units
}

// problem reports what the checker found.
func (t *jobRun) problem(s *source, p problem) {
	line := 0
	if p.pos.IsValid() {
		pos := t.fset.PositionFor(p.pos, false)
		if pos.Filename != s.fileName() {
			// A declaration of an earlier cell that this one breaks.
			t.remark(s.index, 0, fmt.Sprintf("with this cell, something in cell %s does not compile any more: %s", strings.TrimPrefix(pos.Filename, "cell-"), p.text))
			return
		}
		line = s.line(pos.Line)
	}
	t.remark(s.index, line, p.text)
}

func (t *jobRun) unparsed(s *source, err error) {
	var list scanner.ErrorList
	if errors.As(err, &list) {
		// What a parser says after its first complaint comes from that one as a rule.
		t.remark(s.index, s.line(list[0].Pos.Line), Plain(list[0].Msg))
	} else {
		t.remark(s.index, 0, Plain(err.Error()))
	}
	t.over(s.index, NotBuilt, LimitNone, "")
}

// build makes the module of a program.
func (t *jobRun) build(p *program) ([]byte, error) {
	t.stage(stageBuild, 0)
	begun := time.Now()
	source := p.source(t.fset)
	t.done.Times.Merge += time.Since(begun)
	begun = time.Now()
	err := t.builder.compile(source, compilerTime)
	t.done.Times.Compile += time.Since(begun)
	if err != nil {
		return nil, err
	}
	begun = time.Now()
	module, err := t.builder.link()
	t.done.Times.Link += time.Since(begun)
	if err != nil {
		return nil, err
	}
	t.done.Times.Programs++
	return module, nil
}

// refuse deals with a program that was not built. It returns true if the job is to
// be done again without the cells to blame.
func (t *jobRun) refuse(p *program, todo []*unit, err error) bool {
	if t.faulty(err) {
		return false
	}
	var e *buildError
	if errors.As(err, &e) {
		if e.limit {
			index, err := t.blame(p)
			if t.faulty(err) {
				return false
			}
			t.remark(index, 0, "compiling this cell took too much time or memory; it is left out")
			t.over(index, Ended, LimitCompiler, "")
			t.job.Skip[index] = true
			return true
		}
		again := false
		for _, c := range e.complaints {
			if !slices.ContainsFunc(p.units, func(u *unit) bool { return u.cell.index == c.cell }) && !t.earlier(p, c.cell) {
				continue
			}
			t.remark(c.cell, c.line, Plain(c.text))
			if !t.job.Skip[c.cell] {
				t.over(c.cell, NotBuilt, LimitNone, "")
			}
			t.job.Skip[c.cell] = true
			again = true
		}
		if again {
			return true
		}
	}
	for _, u := range todo {
		t.remark(u.cell.index, 0, "this cell was not run; please report it: "+clip(err.Error(), 300))
		t.over(u.cell.index, NotBuilt, LimitNone, "")
	}
	return false
}

// earlier says whether a cell of an earlier program left a declaration in this one.
func (t *jobRun) earlier(p *program, index int) bool {
	for k := range p.memory {
		for _, d := range p.memory[k] {
			if d.cell.index == index {
				return true
			}
		}
	}
	return false
}

// faulty says whether an error is a fault of the machine, and ends the job then.
func (t *jobRun) faulty(err error) bool {
	var f *Fault
	if !errors.As(err, &f) || f.crash && f.What == t.job.Believe {
		return false
	}
	t.fault = f
	return true
}

// blame finds the cell with which a program is too much for the compiler or the linker, and without
// which it is not: both have been tried. The error is a Fault.
func (t *jobRun) blame(p *program) (index int, err error) {
	heavy := func(n int) (bool, error) {
		part := group(p.units[:n])
		err := t.builder.compile(part[len(part)-1].source(t.fset), compilerTime/2)
		if err == nil {
			_, err = t.builder.link()
		}
		var e *buildError
		if errors.As(err, &e) {
			return e.limit, nil
		}
		if !t.faulty(err) { // or one that was met before
			return false, nil
		}
		return false, err
	}
	lo, hi := 0, len(p.units) // light with lo units, heavy with hi
	switch again, err := heavy(hi); {
	case err != nil:
		return 0, err
	case !again:
		return 0, &Fault{What: "building a program took very much more time or memory than the same program took when it was tried again", Do: "try again when the machine is less busy"}
	}
	for hi-lo > 1 {
		mid := (lo + hi) / 2
		yes, err := heavy(mid)
		switch {
		case err != nil:
			return 0, err
		case yes:
			hi = mid
		default:
			lo = mid
		}
	}
	return p.units[hi-1].cell.index, nil
}

// A runner runs the cells of one program: interpreted, and compiled once that takes long.
type runner struct {
	*jobRun
	module  []byte
	left    time.Duration // of patience
	machine *machine
	ready   chan *machine // the compiled machine, prepared beside the interpreted one
}

func (t *jobRun) run(module []byte, todo []*unit) {
	r := &runner{jobRun: t, module: module}
	defer func() {
		r.machine.close()
		if ready := r.ready; ready != nil { // it was not needed
			go func() { (<-ready).close() }()
		}
	}()
	begun := ProcessorTime()
	err := r.open(t.impatient)
	r.left = patience*(ProcessorTime()-begun) - t.spent
	if t.job.Fast {
		r.left /= patience
	}
	for i, u := range todo {
		if err != nil {
			r.unstarted(todo[i:], err)
			return
		}
		err = r.cell(u)
		if t.host.broken != nil {
			return
		}
	}
}

// prepare makes the compiled machine on another core.
func (r *runner) prepare() {
	r.ready = make(chan *machine, 1)
	ready, module, h := r.ready, r.module, r.host
	go func() {
		m, err := newMachine(h, module, true, 2)
		if err != nil {
			m = nil
		}
		ready <- m
	}()
}

// open makes the machine and starts it.
func (r *runner) open(compiler bool) error {
	r.stage(stageStart, 0)
	begun := time.Now()
	defer func() { r.done.Times.Instantiate += time.Since(begun) }()
	r.machine.close()
	var err error
	r.machine = nil
	r.host.keep = !compiler
	if compiler {
		r.done.Times.Compiled = true
		if r.ready != nil {
			r.machine = <-r.ready
			r.ready = nil
		}
	}
	if r.machine == nil {
		if r.machine, err = newMachine(r.host, r.module, compiler, 1); err != nil {
			return err
		}
	}
	if r.job.Held {
		r.job.Held = false
		r.stage(stageHeld, 0)
		r.say(msgHeld, nil)
		<-r.in
		r.stage(stageStart, 0)
	}
	return r.machine.start()
}

// unstarted reports cells whose program could not be started.
func (r *runner) unstarted(rest []*unit, err error) {
	if r.faulty(err) {
		return
	}
	for _, u := range rest {
		if errors.Is(err, errNoMemory) {
			r.say(msgRemark, Remark{Cell: u.cell.index + 1, Text: ended(LimitMemory, r.job.Limits), Ends: true})
			r.over(u.cell.index, Ended, LimitMemory, "")
			continue
		}
		fault := "the program did not start: " + clip(err.Error(), 200)
		r.say(msgRemark, Remark{Cell: u.cell.index + 1, Text: fault, Ends: true})
		r.over(u.cell.index, Failed, LimitNone, fault)
	}
}

// cell runs one cell.
func (r *runner) cell(u *unit) error {
	index := u.cell.index
	if r.machine.instance.IsClosed() { // its time was up as the last cell ended
		if err := r.open(true); err != nil {
			return err
		}
	}
	if err := r.machine.restore(); err != nil {
		return err
	}
	r.host.begin(index)
	r.stage(stageRun, index)
	begun := time.Now()
	waited := r.host.waited
	dropped, err := r.attempt(index)
	r.done.Times.Run += time.Since(begun)
	// The interpreter's calls nest far less deep than compiled ones, and how many frames it remembers is
	// bounded: neither may decide what becomes of a cell.
	if dropped || r.host.full || r.host.keep && tooDeep(err) {
		r.impatient = true
		keep := *r.host
		if err := r.open(true); err != nil {
			return err
		}
		*r.host = keep
		r.host.keep = false
		r.host.again()
		r.stage(stageRun, index)
		begun = time.Now()
		_, err = r.attempt(index)
		r.done.Times.Run += time.Since(begun)
	}
	r.done.Times.Exchange += r.host.waited - waited
	if r.host.broken != nil {
		return nil
	}
	state, limit, fault, line := r.machine.verdict(err)
	r.flush()
	switch state {
	case Ended:
		r.say(msgRemark, Remark{Cell: index + 1, Text: ended(limit, r.job.Limits), Ends: true})
	case Failed:
		r.say(msgRemark, Remark{Cell: index + 1, Line: line, Text: "this cell failed: " + fault, Ends: true})
	}
	r.say(msgCell, Cell{Index: index, State: state, Limit: limit, Fault: fault, Line: line, Frames: r.host.frames})
	r.job.Over[index] = true
	return nil
}

// attempt runs the cell in the machine that there is. dropped says that the interpreter's
// time was up.
func (r *runner) attempt(index int) (dropped bool, err error) {
	if !r.host.keep {
		r.host.pause = nil
		return false, r.machine.run(r.machine.ctx, index)
	}
	ctx, cancel := context.WithCancel(r.machine.ctx)
	defer cancel()
	up := make(chan struct{}, 1)
	var clock patienceClock
	clock.start(r.left, func() {
		select {
		case up <- struct{}{}:
		default:
		}
	})
	r.host.pause = clock.pause
	stop := make(chan struct{})
	var waits sync.WaitGroup
	waits.Go(func() {
		select {
		case <-up:
		case <-stop:
			return
		}
		if r.job.Fast {
			// The other machine takes over as soon as it is there.
			if r.ready == nil {
				r.prepare()
			}
			select {
			case m := <-r.ready:
				r.ready <- m
				if m == nil {
					return
				}
			case <-stop:
				return
			}
		}
		cancel()
	})
	err = r.machine.run(ctx, index)
	close(stop)
	waits.Wait()
	used := clock.stop()
	r.left -= used
	r.spent += used
	// A program may exit with this very status, so both are looked at.
	var exit *sys.ExitError
	return ctx.Err() != nil && errors.As(err, &exit) && exit.ExitCode() == sys.ExitCodeContextCanceled && r.host.ended == LimitNone, err
}

// patienceClock runs down while a cell runs, and stands still while it waits for a
// reply. It counts processor time: on a busy machine a cell is no longer than elsewhere.
type patienceClock struct {
	mu     sync.Mutex
	timer  *time.Timer
	over   func()
	left   time.Duration
	spent  time.Duration // before the last pause
	begun  time.Duration // processor time at its end
	paused bool
}

func (c *patienceClock) start(left time.Duration, over func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.left, c.over, c.begun = max(left, 0), over, ProcessorTime()
	c.timer = time.AfterFunc(c.left, c.look)
}

// look is called when the time may be up.
func (c *patienceClock) look() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.paused {
		return
	}
	if rest := c.left - c.used(); rest > 0 {
		c.timer.Reset(max(rest, 10*time.Millisecond))
		return
	}
	c.over()
}

func (c *patienceClock) used() time.Duration { return c.spent + ProcessorTime() - c.begun }

func (c *patienceClock) pause(waiting bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.paused = waiting
	if waiting {
		c.spent = c.used()
		c.timer.Stop()
		return
	}
	c.begun = ProcessorTime()
	c.timer.Reset(max(c.left-c.spent, 0))
}

func (c *patienceClock) stop() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.timer.Stop()
	c.paused = true
	return c.used()
}

var born = time.Now()

// ProcessorTime is what this process has used, or the time that has passed where the system does
// not tell.
func ProcessorTime() time.Duration {
	if cpu, ok := ownTime(); ok {
		return cpu
	}
	return time.Since(born)
}

// look says what a notebook says about itself, and lists its code cells.
func look(nb *notebook.Notebook) (Sheet, []cell) {
	s := Sheet{Cells: len(nb.Cells)}
	var cells []cell
	first := true
	declare := func(c *notebook.Cell) {
		for _, d := range notebook.Declarations(c.Source, 10) {
			if first {
				first = false
				s.Lab, s.Code, s.Assessed = d.Lab, d.Code, d.Assessed
			} else if d.Lab != s.Lab || d.Code != s.Code {
				s.Twice = true
			}
		}
	}
	// The cell that the bank made for the declaration counts before others.
	for _, c := range nb.Cells {
		if _, part, ok := c.Question(); ok && part == notebook.Sheet && c.Kind == notebook.Code {
			declare(c)
		}
	}
	for i, c := range nb.Cells {
		if c.Kind != notebook.Code || strings.TrimSpace(c.Source) == "" {
			continue
		}
		cells = append(cells, cell{i, c.Source})
		declare(c)
		if from, part, ok := c.Question(); ok && part == notebook.Answer && len(s.Answers) < maxCells {
			s.Answers = append(s.Answers, AnswerCell{Index: i, Question: clip(from, 100)})
		}
	}
	s.CodeCells = len(cells)
	return s, cells
}
