package kernel

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"gravity.example/gravlab/internal/panictext"
	"gravity.example/gravlab/notebook"
)

// Name is the name of our kernel among the kernelspecs.
const Name = "gravlab"

// RunOptions says how a notebook is run. The zero value is good.
type RunOptions struct {
	Kernel  string        // a kernelspec's name; empty: the one that the notebook asks for
	Dir     string        // where cells run; empty: the current folder
	Clone   string        // folder of the module; empty: FindClone
	DataDir string        // where the answers log lies; empty: the user's data folder
	Timeout time.Duration // for one cell; 0: two minutes
	Stop    bool          // end at the first cell that fails; else go on with the next
	Limits  Limits        // on what is kept of a cell's output

	Progress func(Progress)    // told before and after each cell; may be nil
	Log      func(text string) // told what takes long before the first cell; may be nil
}

// A Progress is one step of a run.
type Progress struct {
	Done, Of int         // code cells
	Now      *CellResult // the cell in hand, or the one that has just ended
	Ended    bool        // it has ended
}

// Outcome says how a cell ended.
type Outcome string

// The outcomes of a cell.
const (
	Ran         Outcome = "ran"
	Failed      Outcome = "failed"      // an error, a panic, os.Exit
	TimedOut    Outcome = "timed out"   // interrupted after Timeout
	Interrupted Outcome = "interrupted" // the context ended
	Died        Outcome = "died"        // the kernel died in it
	Refused     Outcome = "refused"     // not run, because it would kill or hang the kernel
	NotRun      Outcome = "not run"     // an earlier cell ended the run
)

// A CellResult is how one code cell went.
type CellResult struct {
	Cell    *notebook.Cell
	Index   int // of the cell in the notebook, from 0
	Outcome Outcome
	Reason  string // what went wrong and what to do; empty if it ran
	Took    time.Duration
}

// A Result is how a notebook went. Its outputs are in the notebook itself.
type Result struct {
	Cells    []CellResult // code cells that are not blank, in order
	Restarts int          // of a kernel that had died or did not end
	Log      string       // the last words of a kernel that died
}

// Failed returns the cells that did not run to their end.
func (r *Result) Failed() []CellResult {
	var bad []CellResult
	for _, c := range r.Cells {
		if c.Outcome != Ran {
			bad = append(bad, c)
		}
	}
	return bad
}

const (
	defaultTimeout = 2 * time.Minute
	maxRestarts    = 3
	// endLimit is how long an interrupted cell has before its kernel is killed.
	// GoNB kills a program that ignores the interrupt after 5 s.
	endLimit = 9 * time.Second
	// endLimitHurried is the same when a person waits for the whole run to end.
	endLimitHurried = 2 * time.Second
)

// An engine is a kernel process of either kind: ours with its supervisor, or
// that of any kernelspec.
type engine interface {
	interrupt()
	settle() string // after a cell; says what had to be put right
	stop()
	over() <-chan struct{} // closed when the kernel has ended
	death() error          // how it ended; nil if it was asked to
}

// A session is one kernel and the connection to it.
type session struct {
	engine engine
	client *client
	lang   language
}

// end asks the kernel to shut down, and ends it.
func (s *session) end() {
	if s == nil {
		return
	}
	if _, err := s.client.send(controlChannel, "shutdown_request", map[string]any{"restart": false}); err == nil {
		for asked := time.After(time.Second); ; {
			select {
			case <-s.client.in:
				continue // what it still has to say blocks nobody
			case <-s.engine.over():
			case <-asked:
			}
			break
		}
	}
	s.kill()
}

// kill ends a kernel that may not listen any more.
func (s *session) kill() {
	s.client.close()
	s.engine.stop()
}

// interrupt interrupts the cell that runs.
func (s *session) interrupt(mode string) {
	if mode == "message" {
		s.client.send(controlChannel, "interrupt_request", map[string]any{})
		return
	}
	s.engine.interrupt()
}

// Run executes the notebook's code cells in order and puts the outputs into nb.
// A cell that fails is no error of Run: see Result. An error says that the
// kernel could not be started (nb is then as it was, and the result has no
// cells) or died too often, or that ctx has ended; what was run until then is in
// nb and in the result, which is never nil.
func Run(ctx context.Context, nb *notebook.Notebook, o RunOptions) (*Result, error) {
	r := &runner{nb: nb, o: o, result: &Result{}, displays: displays{}, uses: map[string]bool{}}
	if err := r.prepare(); err != nil {
		return r.result, err
	}
	defer func() { r.session.end() }() // the session of that time
	if err := r.start(ctx); err != nil {
		return r.result, err
	}
	r.lay()
	return r.result, r.all(ctx)
}

type runner struct {
	nb       *notebook.Notebook
	o        RunOptions
	spec     *kernelSpec // nil: our own kernel
	result   *Result
	session  *session
	displays displays
	uses     map[string]bool // packages imported so far
	own      ServeOptions    // of our own kernel, beyond what o says
	tell     func(Piece)     // hears what cells put out; may be nil
}

func (r *runner) prepare() error {
	if r.o.Timeout == 0 {
		r.o.Timeout = defaultTimeout
	}
	r.o.Limits = r.o.Limits.orDefault()
	name := r.o.Kernel
	if name == "" {
		if name, _ = r.nb.Kernel(); name == "" {
			return errors.New("the notebook does not say which kernel it is for: open it in Jupyter, choose one and save it, or say --kernel gravlab")
		}
	}
	dir, err := filepath.Abs(r.o.Dir) // empty is the current folder
	if err != nil {
		return err
	}
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return fmt.Errorf("the folder in which the cells shall run, %s, is not there", dir)
	}
	r.o.Dir = dir
	if strings.EqualFold(name, Name) {
		if !supported {
			return errNotHere
		}
		if r.o.Clone == "" {
			if r.o.Clone, err = FindClone(r.o.Log); err != nil {
				return err
			}
		}
	} else {
		spec, err := findSpec(name)
		if err != nil {
			return err
		}
		r.spec = &spec
	}
	return nil
}

// lay lists the cells to run and takes the old outputs away.
func (r *runner) lay() {
	if r.nb.Metadata == nil {
		r.nb.Metadata = map[string]any{}
	}
	r.nb.Metadata["language_info"] = r.session.lang.metadata()
	for i, c := range r.nb.Cells {
		if c.Kind != notebook.Code {
			continue
		}
		c.Outputs, c.Run = nil, 0
		if strings.TrimSpace(c.Source) != "" {
			r.result.Cells = append(r.result.Cells, CellResult{Cell: c, Index: i, Outcome: NotRun})
		}
	}
}

func (r *runner) goCode() bool { return r.spec == nil || strings.EqualFold(r.session.lang.Name, "go") }

// start starts the kernel. The ports of one of another kernelspec may be taken
// by another program before it binds them, so a kernel that dies at once is tried again.
func (r *runner) start(ctx context.Context) error {
	var err error
	for range 3 {
		if r.session, err = r.startOnce(ctx); err == nil {
			return nil
		}
		if !errors.Is(err, errGone) || ctx.Err() != nil {
			return err
		}
	}
	return err
}

func (r *runner) startOnce(ctx context.Context) (*session, error) {
	ctx, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()
	var e engine
	var conn connection
	var err error
	if r.spec == nil {
		own := r.own
		own.Clone, own.Dir, own.DataDir, own.Log, own.mute = r.o.Clone, r.o.Dir, r.o.DataDir, r.o.Log, true
		e, conn, err = startOwn(ctx, own)
	} else {
		e, conn, err = startSpec(*r.spec, r.o.Dir)
	}
	if err != nil {
		return nil, err
	}
	s := &session{engine: e}
	s.client, err = dial(ctx, conn, e.over(), iopubChannel, shellChannel, stdinChannel, controlChannel)
	if err == nil {
		if s.lang, err = s.client.ready(ctx, e.over()); err == nil {
			return s, nil
		}
		s.client.close()
	}
	select {
	case <-e.over():
		if death := e.death(); death != nil {
			err = death
		}
	default:
	}
	e.stop()
	return nil, err
}

func (r *runner) all(ctx context.Context) error {
	cells := r.result.Cells
	for i := range cells {
		c := &cells[i]
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		r.progress(Progress{Done: i, Of: len(cells), Now: c})
		begun := time.Now()
		err := r.cell(ctx, c)
		c.Took = time.Since(begun)
		r.progress(Progress{Done: i + 1, Of: len(cells), Now: c, Ended: true})
		if err != nil {
			return err
		}
		if c.Outcome == Interrupted {
			return context.Cause(ctx)
		}
		if c.Outcome != Ran && r.o.Stop {
			return nil
		}
		if r.session == nil && i+1 < len(cells) {
			if err := r.again(ctx, cells[:i+1]); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r *runner) progress(p Progress) {
	if r.o.Progress != nil {
		r.o.Progress(p)
	}
}

// again starts a new kernel after one that has died, and tells it the
// declarations of the cells before.
func (r *runner) again(ctx context.Context, before []CellResult) error {
	if r.result.Restarts++; r.result.Restarts > maxRestarts {
		return fmt.Errorf("the kernel died or had to be killed %d times: run the cells that are named above one by one in a front end; its last words were:\n%s", r.result.Restarts, r.result.Log)
	}
	if err := r.start(ctx); err != nil {
		return fmt.Errorf("starting the kernel again: %w", err)
	}
	if !r.goCode() {
		return nil // values are lost, as when a person restarts a kernel
	}
	for _, c := range before {
		if c.Outcome != Ran {
			continue
		}
		code := declarations(c.Cell.Source)
		if strings.TrimSpace(code) == "" {
			continue
		}
		// A main of the cell's own is not to run once more: the last one counts.
		scratch := CellResult{Cell: notebook.NewCell(notebook.Code, "again", code+"\n%%")}
		if err := r.execute(ctx, &scratch, displays{}); err != nil || scratch.Outcome == Interrupted {
			return err
		}
		if r.session == nil {
			return fmt.Errorf("the kernel died again when the declarations of cell %d were repeated: %s", c.Index+1, scratch.Reason)
		}
	}
	return nil
}

var mainLine = regexp.MustCompile(`(?m)^(//gonb:)?%(%\s|%$|main)`)

// declarations returns what a cell leaves behind in the kernel: its declarations
// and settings, without its main and its shell lines.
func declarations(source string) string {
	if strings.HasPrefix(source, "%%") && len(strings.Fields(source)[0]) > 2 {
		return "" // %%bash, %%writefile
	}
	if at := mainLine.FindStringIndex(source); at != nil {
		source = source[:at[0]]
	}
	var kept []string
	skip := false
	for line := range strings.Lines(source) {
		joined := skip
		skip = (joined || strings.HasPrefix(line, "!")) && strings.HasSuffix(strings.TrimRight(line, "\n"), `\`)
		if joined || strings.HasPrefix(line, "!") && len(strings.TrimSpace(line)) > 1 {
			continue
		}
		kept = append(kept, line)
	}
	return strings.Join(kept, "")
}

// cell runs one cell, or refuses it.
func (r *runner) cell(ctx context.Context, c *CellResult) error {
	if r.goCode() {
		if why := refuse(c.Cell.Source, r.uses); why != "" {
			c.Outcome, c.Reason = Refused, why
			c.Cell.Outputs = []*notebook.Output{{Kind: notebook.Failure, ErrName: "refused", ErrValue: why, Traceback: []string{"gravlab: not run: " + why}}}
			return nil
		}
	}
	return r.execute(ctx, c, r.displays)
}

// execute sends a cell to the kernel and follows it to its end. The session is
// nil afterwards if the kernel has ended.
func (r *runner) execute(ctx context.Context, c *CellResult, shown displays) error {
	s := r.session
	out := &collector{cell: c.Cell, limit: r.o.Limits, displays: shown, tell: r.tell}
	id, err := s.client.send(shellChannel, "execute_request", executeRequest(c.Cell.Source, false))
	if err != nil {
		return err
	}
	var reply struct {
		Status string `json:"status"`
		Count  int    `json:"execution_count"`
		Name   string `json:"ename"`
		Value  string `json:"evalue"`
	}
	var (
		replied, idle bool
		timeout       = time.NewTimer(r.o.Timeout)
		cancelled     = ctx.Done()
		again         <-chan time.Time // repeats the interrupt
		limit         <-chan time.Time // kills what the interrupt did not end
	)
	defer timeout.Stop()
	mode := ""
	if r.spec != nil {
		mode = r.spec.InterruptMode
	}
	begin := func(outcome Outcome, reason string, grace time.Duration) {
		if c.Outcome == outcome || c.Outcome == TimedOut || c.Outcome == Interrupted {
			return
		}
		c.Outcome, c.Reason = outcome, reason
		go s.interrupt(mode)
		again, limit = time.Tick(time.Second), time.After(grace)
	}
	c.Outcome = ""
	gone := s.engine.over()
	for !replied || !idle {
		select {
		case m := <-s.client.in:
			if m.channel == stdinChannel && m.header.MsgType == "input_request" {
				begin(Failed, "the cell asks for input, and a run without a front end has no one to type it: give the value in the code, or open the notebook in Jupyter", endLimit)
				continue
			}
			if m.parent.MsgID != id {
				continue
			}
			switch {
			case m.header.MsgType == "execute_reply":
				m.into(&reply)
				replied = true
			case isIdle(m):
				idle = true
			case m.channel == iopubChannel:
				out.take(m)
			}
		case <-timeout.C:
			begin(TimedOut, fmt.Sprintf("the cell did not end within %v and was interrupted: look for an endless loop or a wait for input, or allow more with --timeout", r.o.Timeout), endLimit)
		case <-cancelled:
			cancelled = nil
			begin(Interrupted, "interrupted", endLimitHurried)
		case <-again:
			go s.interrupt(mode)
		case <-limit:
			out.finish()
			r.lose()
			c.Reason += "; it did not end even so, and its kernel was killed and started again"
			out.fail(string(c.Outcome), c.Reason, []string{"gravlab: " + c.Reason})
			return nil
		case <-gone:
			// What it said before it died may still be on its way.
			r.drain(id, out)
			out.finish()
			death := s.engine.death()
			if death == nil {
				death = errors.New("the kernel ended by itself")
			}
			r.result.Log = death.Error()
			r.lose()
			if c.Outcome == "" {
				c.Outcome = Died
				c.Reason = death.Error() + "\nThe kernel was started again for the cells that follow; run this cell alone in a front end to find what kills it."
			}
			out.fail("kernel died", death.Error(), strings.Split("gravlab: "+c.Reason, "\n"))
			return nil
		}
	}
	c.Cell.Run = reply.Count
	r.judge(c, out, reply.Status, reply.Name, reply.Value)
	out.finish()
	if c.Outcome == Failed {
		// At the lines of the cell, not of the program that GoNB made of it.
		var lines []string
		for _, f := range faultsOf(c.Cell) {
			lines = append(lines, f.String())
		}
		if len(lines) > 0 {
			c.Reason = strings.Join(lines, "; ")
			out.failure.ErrValue = strings.Join(lines, "\n")
		}
	}
	if note := s.engine.settle(); note != "" {
		out.print("stderr", "\n[gravlab: "+note+"]\n")
	}
	return nil
}

// judge decides how a cell went that came to its end.
func (r *runner) judge(c *CellResult, out *collector, status, name, value string) {
	if c.Outcome != "" { // timed out, interrupted, asked for input
		if out.failure == nil || c.Outcome == Failed {
			out.fail(string(c.Outcome), c.Reason, []string{"gravlab: " + c.Reason})
		}
		return
	}
	c.Outcome = Ran
	if status != "ok" {
		c.Outcome, c.Reason = Failed, plain(value)
		if exitText.MatchString(c.Reason) {
			c.Reason = exitReason(c.Cell, c.Reason)
		} else if name != "" && name != "ERROR" {
			c.Reason = name + ": " + c.Reason
		}
		if c.Reason == "" {
			c.Reason = "the kernel answers " + status
		}
		if out.failure == nil {
			out.fail(name, value, []string{value})
		}
		return
	}
	// Whatever the kernel answers: before GoNB v0.11.4 a panic was "ok", and
	// told only by the last line of the error output. So is still a shell line
	// that fails, which is not a failure of the cell.
	if r.goCode() && !hasShell(c.Cell.Source) {
		if how := exitLine(c.Cell); how != "" {
			c.Outcome, c.Reason = Failed, exitReason(c.Cell, how)
		}
	}
}

var (
	shellLine   = regexp.MustCompile(`(?m)^(//gonb:)?(!|%%(bash|sh|script))`)
	exitText    = regexp.MustCompile(`^(exit status [0-9]+|signal: .+)$`)
	colourCodes = regexp.MustCompile("\x1b\\[[0-9;]*m")
)

func hasShell(source string) bool { return shellLine.MatchString(source) }

// exitLine returns the last line of the cell's error output if it tells of a
// program that failed.
func exitLine(c *notebook.Cell) string {
	for i := len(c.Outputs) - 1; i >= 0; i-- {
		o := c.Outputs[i]
		if o.Kind != notebook.Stream || o.Name != "stderr" {
			continue
		}
		lines := strings.Split(strings.TrimRight(o.Text, "\n"), "\n")
		if last := lines[len(lines)-1]; exitText.MatchString(last) {
			return last
		}
		return ""
	}
	return ""
}

// exitReason says why a program ended as how says: by its panic, if there was
// one.
func exitReason(c *notebook.Cell, how string) string {
	for i := len(c.Outputs) - 1; i >= 0; i-- {
		o := c.Outputs[i]
		if o.Kind != notebook.Stream || o.Name != "stderr" {
			continue
		}
		if reason := panictext.Reason(o.Text); reason != "" {
			return plain(reason) + " (" + how + ")"
		}
	}
	return "the cell's program ended with " + how
}

// plain takes the colours out of a message.
func plain(text string) string { return strings.TrimSpace(colourCodes.ReplaceAllString(text, "")) }

// drain takes what has already come from a kernel that is gone.
func (r *runner) drain(id string, out *collector) {
	for {
		select {
		case m := <-r.session.client.in:
			if m.parent.MsgID == id && m.channel == iopubChannel {
				out.take(m)
			}
		case <-time.After(50 * time.Millisecond):
			return
		}
	}
}

// lose ends the session. A kernel that hangs is killed with all it has started.
func (r *runner) lose() {
	r.session.kill()
	r.session = nil
}

func (l language) metadata() map[string]any {
	m := map[string]any{"name": l.Name}
	for key, value := range map[string]string{"version": l.Version, "mimetype": l.MIMEType, "file_extension": l.FileExtension} {
		if value != "" {
			m[key] = value
		}
	}
	if l.Name == "" {
		m["name"] = "unknown"
	}
	return m
}
