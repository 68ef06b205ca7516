package page

import (
	"context"
	"encoding/json"
	"fmt"
	"hash/fnv"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/sandbox"
	"gravity.example/gravlab/wire"
)

// A Runner runs code boxes: Confined or Kernels.
type Runner interface {
	// RunBox runs a box and returns when it has ended. The error says that the
	// machine failed or that ctx ended; what is wrong with the code is in the
	// result.
	RunBox(ctx context.Context, box Box) (Result, error)
}

// A Box is one code box to run.
type Box struct {
	Above    []string // sources of the boxes above: their declarations count, nothing of them is run
	Source   string
	Seed     uint64                    // of random numbers
	Exchange func(frame []byte) []byte // answers a frame, as labserver.Session.Exchange does
	Output   func(text []byte)         // is told what it prints, as it comes
	Log      func(text string)         // is told what takes long
	Idle     bool                      // the reader does not wait for it
	// Hold, if not nil, has the box built, and nothing of it run until it is closed; see
	// sandbox.Box. A runner that does not know it is not given one (Options.Ahead).
	Hold <-chan struct{}
	// Watch, if not nil, says again and again what is to become of it; see sandbox.Box.
	Watch func(used time.Duration) sandbox.Next

	// Supply, if not nil, says what it may ask for, so that it can be run on another machine
	// (Confined.RunAway).
	Supply func() (sandbox.Supply, error)

	// What follows is for a runner with a lab server of its own.

	Notebook string                   // its name, which tells notebooks apart
	Folders  []string                 // of the notebook and of the reader's copy
	Show     func(o *notebook.Output) // is told what it shows, as it comes
	Anew     func()                   // is told that all it has put out is void
}

// A Result is how a box went.
type Result struct {
	Used time.Duration // processor time, where the runner knows it
	// Trouble says in plain words what went wrong, each with its line in the box
	// (0: no line in particular). None: it ran to its end.
	Trouble []Trouble
	// Remarks say what a reader should know all the same.
	Remarks []string
}

// Trouble is one thing that went wrong.
type Trouble struct {
	Line int    `json:"line"`
	Text string `json:"text"`
}

// running is a box that runs.
type running struct {
	stop    context.CancelFunc
	stopped bool // by the reader
}

// An event is one line of what a run sends to the page.
type event struct {
	Anew    bool      `json:"anew,omitempty"`    // what came before is void
	Text    string    `json:"text,omitempty"`    // printed
	HTML    string    `json:"html,omitempty"`    // shown
	Say     string    `json:"say,omitempty"`     // what takes long
	Trouble []Trouble `json:"trouble,omitempty"` // lines to mark
	End     bool      `json:"end,omitempty"`
	OK      bool      `json:"ok,omitempty"`

	Standings []standingView `json:"standings,omitempty"`
	Marks     int            `json:"marks"`
	Of        int            `json:"of"`
}

// mostPrinted is how much of what a box prints the page and the notebook keep.
const mostPrinted = 200_000

// run saves a box, runs it and sends what it puts out as it comes.
func (s *Server) run(w http.ResponseWriter, r *http.Request, b *document) {
	var in struct {
		Tab, Cell, Source string
		Unchanged         bool // a box whose outcome cannot be another one need not be run
	}
	if !read(w, r, &in) {
		return
	}
	job, status, problem := b.begin(r.Context(), in.Tab, in.Cell, in.Source)
	if problem != "" {
		door.Refuse(w, status, problem)
		return
	}
	defer job.stop()
	w.Header().Set("Content-Type", "application/x-ndjson")
	flush, _ := w.(http.Flusher)
	lines := json.NewEncoder(w)
	var sending sync.Mutex
	job.send = func(e event) {
		sending.Lock()
		defer sending.Unlock()
		lines.Encode(e)
		if flush != nil {
			flush.Flush()
		}
	}
	job.send(event{}) // the page knows now that it runs
	if in.Unchanged && job.shown() {
		return
	}
	job.do()
}

// A job is one run of a box.
type job struct {
	book  *document
	index int
	cell  string
	box   Box
	ctx   context.Context
	stop  func()
	ahead *ahead // not nil: it was built while the reader typed
	mark  *running
	send  func(event)

	mu       sync.Mutex
	outputs  notebook.Cell // holds what was put out
	printed  int
	unsteady bool // another run may put out something else
}

// steadyKey keeps with a cell that its outcome depends on its code, its sheet and the program
// alone, and on which program.
const steadyKey = "steady"

// steadyFrames are the frames of a box with such an outcome. An answer depends on those before, and
// a file of the reader's may change.
var steadyFrames = []wire.Kind{wire.Recording, wire.Figure, wire.Chart, wire.Sketch, wire.Show}

// steadily passes a frame on and notes whether it makes the outcome depend on more.
func (j *job) steadily(exchange func([]byte) []byte) func([]byte) []byte {
	return func(frame []byte) []byte {
		if f, err := wire.Decode(frame); err != nil || !slices.Contains(steadyFrames, f.Kind) {
			j.mu.Lock()
			j.unsteady = true
			j.mu.Unlock()
		}
		return exchange(frame)
	}
}

// shown shows the outcome that there is, if another run cannot have another one, and reports
// whether it did.
func (j *job) shown() bool {
	b := j.book
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.nb == nil || b.server.o.Unconfined {
		return false
	}
	c := b.nb.Cell(j.cell)
	if c == nil || c.Own()[ranKey] != madeOf(j.box.Above, j.box.Source) || c.Own()[steadyKey] != thisProgram() || thisProgram() == "" {
		return false
	}
	for _, o := range c.Outputs {
		j.send(event{HTML: b.output(j.index, o)})
	}
	e := event{End: true, OK: true}
	e.Standings, e.Marks, e.Of = b.standings()
	j.send(e)
	return true
}

// begin takes the text of a box, saves it, and prepares its run.
func (b *document) begin(ctx context.Context, tab, cell, source string) (j *job, status int, problem string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case !b.mine(tab):
		return nil, http.StatusConflict, "another tab works on this lab"
	case !b.own && !b.allowed:
		return nil, http.StatusForbidden, "this notebook comes from elsewhere; nothing in it runs until you allow it"
	case b.closed(true) != "":
		return nil, http.StatusForbidden, b.closed(true)
	case b.running[cell] != nil:
		return nil, http.StatusConflict, "this box runs already"
	}
	if problem := b.put(cell, source); problem != "" {
		return nil, http.StatusBadRequest, problem
	}
	if _, err := b.write(); err != nil {
		return nil, http.StatusInternalServerError, whyNotSaved(err)
	}
	c := b.nb.Cell(cell)
	j = &job{book: b, index: slices.Index(b.nb.Cells, c), cell: cell, mark: &running{}}
	j.box = b.box(j.index)
	j.ahead = b.takeAhead(j.box)
	j.box.Output, j.box.Log, j.box.Show, j.box.Anew = j.print, func(what string) { j.send(event{Say: what}) }, j.put, j.anew
	session := b.server.bench.Session(labserver.SessionOptions{Confined: true, Show: j.show, MaxShown: 200, Files: filesBeside(b.copy, b.source), Changed: b.changed})
	j.box.Exchange = j.steadily(session.Exchange)
	j.box.Supply = b.supply(j.box)
	var cancel context.CancelFunc
	j.ctx, cancel = context.WithCancel(ctx)
	j.mark.stop = cancel
	if b.running == nil {
		b.running = map[string]*running{}
	}
	b.running[cell] = j.mark
	j.stop = func() {
		cancel()
		b.mu.Lock()
		defer b.mu.Unlock()
		if b.running[cell] == j.mark {
			delete(b.running, cell)
		}
	}
	return j, 0, ""
}

// box is a cell as a runner gets it; what it puts out goes nowhere yet.
func (b *document) box(index int) Box {
	return Box{
		Above: above(b.nb, index), Source: b.nb.Cells[index].Source, Seed: seed(b),
		Notebook: b.name, Folders: []string{filepath.Dir(b.source), filepath.Dir(b.copy)},
	}
}

// supply says what a box may ask for: the recordings of its sheet that its text names. It is nil
// for a box that has to run here, since it submits a function, whose calls have a token of the
// session, or reads a recording of one's own. The caller holds b.mu.
func (b *document) supply(box Box) func() (sandbox.Supply, error) {
	text := strings.Join(append(slices.Clone(box.Above), box.Source), "\n")
	declared := notebook.Declarations(text, 1)
	if !b.hasSheet || len(declared) == 0 || strings.Contains(box.Source, ".Function(") || strings.Contains(text, ".OwnRecording(") {
		return nil
	}
	sheet, bench := b.sheet, b.server.bench
	return func() (sandbox.Supply, error) {
		session := bench.Session(labserver.SessionOptions{Confined: true, Show: func(labserver.Display) error { return nil }})
		return sandbox.NewSupply(session.Exchange, labserver.RecordingsNamed(sheet, declared[0], text))
	}
}

// folders are searched for a file one after the other.
type folders []string

// Open opens a file of the folders. They stay closed until then, since a box may wait long
// for its turn. A link that leads out of them is not followed: they may have been
// packed by someone else.
func (f folders) Open(name string) (fs.File, error) {
	if fs.ValidPath(name) {
		for _, folder := range f {
			if file, err := os.OpenInRoot(folder, name); err == nil {
				return file, nil
			}
		}
	}
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
}

// filesBeside holds the files beside the working copy and beside the notebook
// that it began as, for recordings of one's own.
func filesBeside(notebooks ...string) folders {
	var f folders
	for _, path := range notebooks {
		f = append(f, filepath.Dir(path))
	}
	return f
}

// seed is the sheet's, so that marking runs the same.
func seed(b *document) uint64 {
	h := fnv.New64a()
	if b.hasSheet {
		fmt.Fprintf(h, "%s\x00%s", b.sheet.Lab.ID, b.sheet.Code)
	}
	return h.Sum64()
}

// print takes what the box prints.
func (j *job) print(text []byte) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.printed > mostPrinted {
		return
	}
	s := strings.ToValidUTF8(string(text), "\ufffd")
	if j.printed += len(s); j.printed > mostPrinted {
		s += "\n… the rest of the output is omitted\n"
	}
	j.outputs.Print("stdout", s)
	j.send(event{Text: s})
}

// show takes what the lab server shows of the box.
func (j *job) show(d labserver.Display) error {
	j.put(display(d))
	return nil
}

// put takes what the box shows.
func (j *job) put(o *notebook.Output) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.outputs.Outputs = append(j.outputs.Outputs, o)
	j.send(event{HTML: j.book.output(j.index, o)})
}

// anew forgets what the box has put out.
func (j *job) anew() {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.outputs.Outputs, j.printed = nil, 0
	j.send(event{Anew: true})
}

// do runs the box and keeps what it put out in the notebook.
func (j *job) do() {
	b := j.book
	var result Result
	var err error
	if j.ahead == nil || !j.ahead.run(j.ctx, j.box, &result, &err) {
		result, err = b.server.o.Runner.RunBox(j.ctx, j.box)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	j.mu.Lock()
	defer j.mu.Unlock()
	stopped := "" // no error of the box
	switch {
	case err == nil:
	case j.mark.stopped:
		stopped = "Stopped. Your text is saved."
	case j.ctx.Err() != nil:
		stopped = "Stopped, because the page was left. Your text is saved."
	default:
		result.Trouble = append(result.Trouble, Trouble{Text: "The program that runs the boxes failed: " + err.Error() + ". Your text is saved; try again."})
	}
	for _, r := range result.Remarks {
		o := &notebook.Output{Kind: notebook.Stream, Name: "stderr", Text: r + "\n"}
		j.outputs.Outputs = append(j.outputs.Outputs, o)
		j.send(event{HTML: b.output(j.index, o)})
	}
	if stopped != "" {
		o := &notebook.Output{Kind: notebook.Display, Data: notebook.Bundle{"text/plain": stopped, "text/markdown": stopped}, Metadata: map[string]any{}}
		j.outputs.Outputs = append(j.outputs.Outputs, o)
		j.send(event{HTML: b.output(j.index, o)})
	}
	if len(result.Trouble) > 0 {
		o := failure(result.Trouble)
		j.outputs.Outputs = append(j.outputs.Outputs, o)
		j.send(event{HTML: b.output(j.index, o), Trouble: result.Trouble})
	}
	// The notebook may have been begun anew meanwhile.
	if b.nb != nil {
		if c := b.nb.Cell(j.cell); c != nil && c.Kind == notebook.Code {
			c.Outputs = j.outputs.Outputs
			c.SetOwn(ranKey, madeOf(j.box.Above, j.box.Source))
			var steady any
			if err == nil && len(result.Trouble) == 0 && !j.unsteady {
				steady = thisProgram()
			}
			c.SetOwn(steadyKey, steady)
			last := 0
			for _, other := range b.nb.Cells {
				last = max(last, other.Run)
			}
			c.Run = last + 1
			if _, err := b.write(); err != nil {
				b.server.o.Log(err.Error())
			}
		}
	}
	e := event{End: true, OK: stopped == "" && len(result.Trouble) == 0}
	if b.nb != nil {
		e.Standings, e.Marks, e.Of = b.standings()
	}
	j.send(e)
}

// failure is what went wrong, as a notebook holds it.
func failure(all []Trouble) *notebook.Output {
	var lines []string
	for _, t := range all {
		if t.Line > 0 {
			lines = append(lines, fmt.Sprintf("line %d: %s", t.Line, t.Text))
		} else {
			lines = append(lines, t.Text)
		}
	}
	return &notebook.Output{Kind: notebook.Failure, ErrName: "error", ErrValue: strings.Join(lines, "\n"), Traceback: []string{}}
}

// stop ends a box that runs.
func (s *Server) stop(w http.ResponseWriter, r *http.Request, b *document) {
	var in struct{ Tab, Cell string }
	if !read(w, r, &in) {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if run := b.running[in.Cell]; run != nil {
		run.stopped = true
		run.stop()
	}
	door.Reply(w, struct{}{})
}
