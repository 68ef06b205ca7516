package kernel

import (
	"context"
	"errors"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"gravity.example/gravlab/internal/panictext"
	"gravity.example/gravlab/notebook"
)

// LiveOptions say how the kernel of a reader is run. The zero value is good.
type LiveOptions struct {
	Clone   string        // folder of the module; empty: FindClone
	Dir     string        // where cells run; empty: the current folder
	Beside  []string      // folders in which ask.OwnRecording looks besides Dir
	DataDir string        // where the answers log lies; empty: the user's data folder
	Timeout time.Duration // for one cell; 0: two minutes
	Idle    time.Duration // without a cell for so long, the kernel is stopped; 0: ten minutes
	Memory  uint64        // bytes that a cell may use, on Linux; 0: 2 GiB
	Limits  Limits        // on what is kept of a cell's output
}

// A Live is a kernel of ours for a reader who runs one cell at a time, in any
// order. It starts when it is first needed, is stopped when it is idle, and
// starts again when it is needed after that or after it has died.
//
// What was declared counts as in a notebook that is run from its top: when a
// cell runs, the kernel knows the declarations of the cells above it, as they
// are now, and no others. So it does not matter what was run before, nor whether the
// kernel is still the same.
type Live struct {
	o     LiveOptions
	turn  chan struct{} // holds one value; whoever has it uses the rest
	ended bool
	r     *runner // with a nil session while no kernel runs
	// known is what the kernel's memory holds: declarations, in the order in
	// which it was told them.
	known []string
	// lacks says what is wrong with declarations that the kernel did not take.
	lacks map[string]string
	idle  *time.Timer
}

// A LiveCell is a cell to run.
type LiveCell struct {
	Above  []string          // sources of the code cells above, in order
	Source string            // of the cell
	Tell   func(Piece)       // hears what it puts out, as it comes; not how it fails
	Log    func(text string) // hears what takes long
}

// A LiveResult is how the cell went.
type LiveResult struct {
	Outcome Outcome
	Reason  string   // what went wrong; empty if it ran
	Faults  []Fault  // what went wrong at which line; if there are any, they say more than Reason
	Above   []string // what is wrong with declarations above, if that may be why
}

// A Fault is an error at a line of the cell; 0 is none in particular.
type Fault struct {
	Line int
	Text string
}

// Available says why there is no kernel on this system; nil: there is.
func Available() error {
	if !supported {
		return errNotHere
	}
	return nil
}

// NewLive prepares a kernel; nothing is started. Close ends it.
func NewLive(o LiveOptions) (*Live, error) {
	if o.Idle == 0 {
		o.Idle = 10 * time.Minute
	}
	if o.Memory == 0 {
		o.Memory = 2 << 30
	}
	nb := &notebook.Notebook{}
	r := &runner{nb: nb, result: &Result{}, displays: displays{}, own: ServeOptions{memory: o.Memory, beside: o.Beside},
		o: RunOptions{Kernel: Name, Clone: o.Clone, Dir: o.Dir, DataDir: o.DataDir, Timeout: o.Timeout, Limits: o.Limits}}
	if err := r.prepare(); err != nil {
		return nil, err
	}
	l := &Live{o: o, r: r, turn: make(chan struct{}, 1)}
	l.idle = time.AfterFunc(o.Idle, l.rest)
	l.turn <- struct{}{}
	return l, nil
}

// rest stops a kernel that nobody uses.
func (l *Live) rest() {
	select {
	case <-l.turn:
		l.drop()
		l.turn <- struct{}{}
	default: // a cell runs; its end sets the time anew
	}
}

// Close stops the kernel. A cell that runs has to be ended by its context first.
func (l *Live) Close() {
	<-l.turn
	l.ended = true
	l.idle.Stop()
	l.drop()
	l.turn <- struct{}{}
}

// drop ends the session, if there is one.
func (l *Live) drop() {
	l.r.session.end()
	l.r.session = nil
}

// Run runs a cell and returns when it has ended. One cell runs at a time; another
// waits. The error says that the kernel could not be started, that l is closed, or that
// ctx has ended.
func (l *Live) Run(ctx context.Context, c LiveCell) (LiveResult, error) {
	select {
	case <-l.turn:
	default:
		c.Log("waiting for the cell that runs")
		select {
		case <-l.turn:
		case <-ctx.Done():
			return LiveResult{}, context.Cause(ctx)
		}
	}
	l.idle.Stop()
	defer func() {
		if !l.ended {
			l.idle.Reset(l.o.Idle)
		}
		l.turn <- struct{}{}
	}()
	if l.ended {
		return LiveResult{}, errors.New("the kernel is closed")
	}
	if why := refuse(c.Source, map[string]bool{}); why != "" {
		return LiveResult{Outcome: Refused, Reason: why}, nil
	}
	if err := l.begin(ctx, c.Log); err != nil {
		return LiveResult{}, err
	}
	c.Log("running")
	above, res, err := l.learn(ctx, c)
	if err != nil || res.Outcome != "" {
		l.known = append(l.known, unknown) // it was told, and may not have taken it in
		return res, err
	}
	// What it uses together with what it has imported above may hang it.
	if why := refuse(c.Source, l.r.uses); why != "" {
		return LiveResult{Outcome: Refused, Reason: why}, nil
	}
	out := newQuiet(c.Tell)
	cell := CellResult{Cell: notebook.NewCell(notebook.Code, "live", c.Source)}
	l.r.tell = out.hear
	err = l.r.execute(ctx, &cell, displays{})
	l.r.tell = nil
	if err != nil {
		return LiveResult{}, err
	}
	res = LiveResult{Outcome: cell.Outcome, Reason: cell.Reason}
	out.errors.End(cell.Outcome != Ran)
	own := strings.TrimSpace(declarations(c.Source))
	switch {
	case l.r.session == nil: // the next begins anew
	case cell.Outcome == Ran:
		if n := len(l.known); own != "" && (n == 0 || l.known[n-1] != own) {
			l.known = append(l.known, own)
		}
	default:
		if res.Faults = faultsOf(cell.Cell); len(res.Faults) == 0 {
			trace := out.errors.String()
			if cell.Outcome == Failed && strings.HasPrefix(trace, "SIGSEGV: ") {
				// In Go's own code: where memory is limited, it does not always find
				// that it got none.
				res.Reason = "fatal error: the Go runtime broke off, out of memory as a rule"
			}
			res.Faults = faultsOfTrace(trace, cell.Cell, res.Reason)
			if own != "" { // whether the kernel has taken them in is not known
				l.known = append(l.known, unknown)
			}
		}
		res.Above = above
	}
	switch cell.Outcome {
	case Interrupted:
		return res, context.Cause(ctx)
	case Died:
		res.Reason = l.r.result.Log
	}
	return res, nil
}

// unknown stands for declarations that the kernel may or may not know. It is
// no Go, so it equals no cell.
const unknown = "?"

// begin sees to it that a kernel runs.
func (l *Live) begin(ctx context.Context, log func(text string)) error {
	if s := l.r.session; s != nil {
		select {
		case <-s.engine.over():
			l.r.lose() // it died between two cells
		default:
			return nil
		}
	}
	log("starting the Go kernel")
	l.known, l.lacks, l.r.uses = nil, map[string]string{}, map[string]bool{}
	l.r.o.Log = log
	if err := l.r.start(ctx); err != nil {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		return err
	}
	return nil
}

// learn tells the kernel the declarations above a cell, as far as it does not
// know them, and makes it forget others. above says what is wrong with
// declarations; a result with an outcome says that the cell cannot be run.
func (l *Live) learn(ctx context.Context, c LiveCell) (above []string, res LiveResult, err error) {
	var want []string
	for _, source := range c.Above {
		if d := strings.TrimSpace(declarations(source)); d != "" {
			want = append(want, d)
		}
	}
	own := strings.TrimSpace(declarations(c.Source))
	fresh := len(want)
	switch {
	case len(l.known) <= len(want) && slices.Equal(l.known, want[:len(l.known)]):
		fresh -= len(l.known)
	case own != "" && slices.Equal(l.known, append(slices.Clone(want), own)): // it is run once more
		fresh = 0
	default:
		// The folder too, since settings such as %cd are repeated.
		l.known = []string{unknown}
		forgot, err := l.tell(ctx, "%reset\n%cd "+strconv.Quote(l.r.o.Dir))
		if err != nil {
			return nil, res, err
		}
		l.known, l.r.uses = nil, map[string]bool{}
		if forgot.Outcome != Ran { // a new one knows nothing either
			l.drop()
			if err := l.begin(ctx, c.Log); err != nil {
				return nil, res, err
			}
		}
	}
	if err := l.teach(ctx, want[len(want)-fresh:], &res); err != nil || res.Outcome != "" {
		return nil, res, err
	}
	for _, d := range want {
		if why := l.lacks[d]; why != "" {
			above = append(above, why)
		}
	}
	return above, LiveResult{}, nil
}

// teach tells the kernel declarations: all at once, or, if it does not take them,
// one by one, so that one that is wrong does not stand in the way of others.
func (l *Live) teach(ctx context.Context, all []string, res *LiveResult) error {
	var sound []string
	for _, d := range all {
		l.known = append(l.known, d)
		if why := refuse(d, l.r.uses); why != "" {
			l.lacks[d] = why
		} else if l.lacks[d] == "" {
			sound = append(sound, d)
		}
	}
	for parts := [][]string{sound}; len(parts) > 0; parts = parts[1:] {
		part := parts[0]
		if len(part) == 0 {
			continue
		}
		r, err := l.tell(ctx, strings.Join(part, "\n")+"\n%%")
		switch {
		case err != nil:
			return err
		case l.r.session == nil || r.Outcome == TimedOut:
			r.Reason = "in the declarations of the cells above: " + r.Reason
			*res = r
			return nil
		case r.Outcome == Ran:
		case len(part) == 1:
			l.lacks[part[0]] = r.Reason
			if len(r.Faults) > 0 {
				l.lacks[part[0]] = r.Faults[0].Text
			}
		default:
			for _, d := range part {
				parts = append(parts, []string{d})
			}
		}
	}
	return nil
}

// tell runs a source that the reader does not see.
func (l *Live) tell(ctx context.Context, source string) (LiveResult, error) {
	cell := CellResult{Cell: notebook.NewCell(notebook.Code, "above", source)}
	if err := l.r.execute(ctx, &cell, displays{}); err != nil {
		return LiveResult{}, err
	}
	res := LiveResult{Outcome: cell.Outcome, Reason: cell.Reason}
	if cell.Outcome == Interrupted {
		return res, context.Cause(ctx)
	}
	if cell.Outcome != Ran {
		res.Faults = faultsOf(cell.Cell)
	}
	return res, nil
}

var (
	faultPlace = regexp.MustCompile(`^Cell\[([0-9]+)\]: Line ([0-9]+)\n`)
	tracePlace = regexp.MustCompile(`\[\[ Cell \[([0-9]+)\] Line ([0-9]+) \]\]`)
	filePlace  = regexp.MustCompile(`^\t(/.*/gonb_[0-9a-f]+/main\.go):([0-9]+)`)
)

// faultsOf reads what the compiler has said of a cell. Each error comes with the
// lines around it, and ends with what is wrong.
func faultsOf(c *notebook.Cell) []Fault {
	var all []Fault
	for _, o := range c.Outputs {
		if o.Kind != notebook.Failure {
			continue
		}
		for _, part := range o.Traceback {
			part = plain(part)
			at := faultPlace.FindStringSubmatch(part)
			if at == nil {
				continue
			}
			lines := strings.Split(part, "\n")
			text := lines[len(lines)-1]
			if at[1] != strconv.Itoa(c.Run) {
				all = append(all, Fault{0, "in a cell above: " + text})
				continue
			}
			line, _ := strconv.Atoi(at[2])
			all = append(all, Fault{line, text})
		}
	}
	return all
}

// faultsOfTrace reads where a program of the cell has stopped: the innermost place
// that is in the cell itself.
func faultsOfTrace(trace string, c *notebook.Cell, reason string) []Fault {
	for line := range strings.Lines(trace) {
		n := 0
		if at := tracePlace.FindStringSubmatch(line); at != nil {
			if at[1] == strconv.Itoa(c.Run) {
				n, _ = strconv.Atoi(at[2])
			}
		} else if at := filePlace.FindStringSubmatch(line); at != nil {
			n = lineLike(at[1], at[2], c.Source)
		}
		if n > 0 {
			return []Fault{{n, reason}}
		}
	}
	return nil
}

// lineLike returns the line of the cell that reads like a line of the program
// which GoNB has made of it; 0 if there is none, or more than one. GoNB names the cell's line
// itself, unless the runtime's text reaches it in pieces.
func lineLike(file, line, source string) int {
	program, err := os.ReadFile(file)
	n, _ := strconv.Atoi(line)
	lines := strings.Split(string(program), "\n")
	if err != nil || n < 1 || n > len(lines) {
		return 0
	}
	found := 0
	for i, own := range strings.Split(source, "\n") {
		if strings.TrimSpace(own) == strings.TrimSpace(lines[n-1]) {
			if found > 0 {
				return 0
			}
			found = i + 1
		}
	}
	return found
}

// A quiet keeps from a reader what a program that fails writes at its end: the
// stack, and how it ended. It comes in the result, in words.
type quiet struct {
	tell   func(Piece)
	errors panictext.Stream
}

func newQuiet(tell func(Piece)) *quiet {
	q := &quiet{tell: tell}
	q.errors.Pass = func(text []byte) {
		q.tell(Piece{Output: &notebook.Output{Kind: notebook.Stream, Name: "stderr", Text: string(text)}})
	}
	q.errors.Also = func(line []byte) bool { // GoNB's own
		text := strings.TrimSpace(string(line))
		return exitText.MatchString(text) || text == "^C"
	}
	return q
}

func (q *quiet) hear(p Piece) {
	if p.Anew {
		q.errors = panictext.Stream{Pass: q.errors.Pass, Also: q.errors.Also}
	}
	if p.Output != nil && p.Output.Kind == notebook.Stream && p.Output.Name == "stderr" {
		q.errors.Write([]byte(p.Output.Text))
		return
	}
	q.tell(p)
}

// String is the fault in one line.
func (f Fault) String() string {
	if f.Line == 0 {
		return f.Text
	}
	return fmt.Sprintf("line %d: %s", f.Line, f.Text)
}
