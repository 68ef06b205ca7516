package labserver

import (
	"fmt"
	"hash/fnv"
	"io"
	"io/fs"
	"math/rand/v2"
	"path"
	"slices"
	"strings"
	"sync"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/wire"
)

// SessionOptions say how a lab server treats one program.
type SessionOptions struct {
	// Confined makes every acknowledgement of an answer the same, and the calls of
	// a function come in the same order each time: same input, same bytes.
	Confined bool
	// Show receives what is to be displayed; nil drops it, and nothing is drawn
	// then. An error means that it cannot be seen.
	Show func(Display) error
	// MaxShown is how many displays there may be; 0 is 1000.
	MaxShown int
	// Files holds the files that were handed in with a notebook, for
	// ask.OwnRecording in a confined program; nil refuses.
	Files fs.FS
	// Changed are the questions of the notebook's sheet that this bank has others of than
	// the notebook was handed out or begun with: answers to them are refused.
	Changed []string
}

// A Session is one program at the lab server. It may be used from several
// goroutines.
type Session struct {
	bench *Server
	o     SessionOptions
	shelf *sheetCache

	mu      sync.Mutex
	shown   int
	random  *rand.Rand
	pending map[string]pendingCalls // by token
}

// pendingCalls are the calls of a function whose results are awaited: call k of
// the program was call order[k] of the question.
type pendingCalls struct {
	sheet    *sheet
	question string
	order    []int
}

// Session begins a session.
func (b *Server) Session(o SessionOptions) *Session {
	if o.MaxShown == 0 {
		o.MaxShown = 1000
	}
	s := &Session{bench: b, o: o, shelf: b.shelf, pending: map[string]pendingCalls{}}
	if b.o.InMemory && o.Confined {
		s.shelf = newShelf(b.o, "")
	}
	seed := rand.Uint64()
	if o.Confined {
		seed = 1
	}
	s.random = rand.New(rand.NewPCG(seed, 0))
	return s
}

// Exchange takes one encoded frame and returns the reply, encoded. It never
// fails: bytes that are no frame are refused.
func (s *Session) Exchange(in []byte) []byte {
	f, err := wire.Decode(in)
	if err != nil {
		return Encode(refuse("%v", err))
	}
	return Encode(s.Reply(f))
}

// Encode encodes a reply for the wire, or the refusal of one that is too long.
func Encode(reply wire.Frame) []byte {
	out, err := reply.Append(nil)
	if err != nil {
		out, _ = refuse("%v", err).Append(nil) // a short text always fits
	}
	return out
}

// Summaries says where the sheets stand that answers were submitted to. Sessions
// that share their answers share these too.
func (s *Session) Summaries() ([]Summary, error) { return s.shelf.summaries() }

// refuse makes a refusal; what is wrong with a figure may be a long list.
func refuse(format string, args ...any) wire.Frame {
	text := fmt.Sprintf(format, args...)
	if len(text) > 2000 {
		text = strings.ToValidUTF8(text[:2000], "") + " …"
	}
	return wire.Frame{Head: wire.Head{Kind: wire.Refused, Text: text}}
}

func recorded() wire.Frame { return wire.Frame{Head: wire.Head{Kind: wire.Recorded}} }

// Reply answers a frame, whatever is in it.
func (s *Session) Reply(f wire.Frame) (reply wire.Frame) {
	defer s.failed(f, &reply)
	switch f.Kind {
	case wire.Answer, wire.Function, wire.Values:
		reply, _ := s.Answer(f)
		return reply
	case wire.Recording:
		return s.recording(f)
	case wire.File:
		return s.file(f)
	case wire.Figure, wire.Chart, wire.Sketch, wire.Show:
		return s.show(f)
	case wire.Hint:
		return s.hint(f)
	case wire.Done:
		return s.done(f)
	default:
		return refuse("the lab server knows no frame %q", f.Kind)
	}
}

// failed, deferred, makes a reply where the lab server, or a bank of somebody's own, panics.
func (s *Session) failed(f wire.Frame, reply *wire.Frame) {
	if r := recover(); r != nil {
		s.bench.o.Log(fmt.Sprintf("the lab server failed at a frame %q about %q of %q: %v", f.Kind, f.Question, f.Lab, r))
		*reply = refuse("the lab server failed at this; please report it: %v", r)
		if s.o.Confined && isAnswer(f.Kind) {
			*reply = recorded()
		}
	}
}

func isAnswer(k wire.Kind) bool {
	return k == wire.Answer || k == wire.Function || k == wire.Values
}

// A Submission is an answer that a program or a form has submitted, and what became
// of it.
type Submission struct {
	View   View // what the display says
	Answer judge.Answer
	Kept   bool // it counts; false if there is no such question, or it wants another kind of answer
	Again  bool // it is the answer that stood already
	Tries  int  // different answers to the question so far, but for blanks

	verdict judge.Verdict
}

// Answer takes an answer: a frame of the kind Answer, Function or Values. given is
// nil where there is none yet, because the judge has named the calls of a function;
// and where the lab server failed, which the reply tells.
func (s *Session) Answer(f wire.Frame) (reply wire.Frame, given *Submission) {
	defer s.failed(f, &reply)
	given, calls := s.answer(f)
	if given == nil {
		return calls, nil
	}
	return s.display(given.View), given
}

// place is what an answer is about.
type target struct {
	sheet    *sheet
	question bank.Question
	f        wire.Frame
}

// answer takes an answer of any form, or names the calls of a function.
func (s *Session) answer(f wire.Frame) (given *Submission, calls wire.Frame) {
	none := func(v View) (*Submission, wire.Frame) { return &Submission{View: v}, wire.Frame{} }
	sh, err := s.shelf.open(f.Lab, f.Code)
	if err != nil {
		return none(unreadable(f, err.Error()))
	}
	s.shelf.use(sh)
	q, ok := sh.Sheet.Question(f.Question)
	if !ok {
		return none(unreadable(f, noQuestion(sh.Sheet, f.Question)))
	}
	p := target{sh, q, f}
	if changed := slices.Concat(s.o.Changed, sh.changed); slices.Contains(changed, q.ID) {
		return none(viewOf(p, unreadableVerdict(q, NotJudged(changed))))
	}
	var a judge.Answer
	var problem string
	switch f.Kind {
	case wire.Function:
		if calls, problem = s.calls(p); problem == "" {
			return nil, calls
		}
	case wire.Values:
		a, problem = s.values(p)
	default:
		a, problem = readAnswer(q, f)
	}
	if problem != "" {
		return none(viewOf(p, unreadableVerdict(q, problem)))
	}
	return s.give(p, a), wire.Frame{}
}

// ownNote is told with a verdict that a recording of one's own may not deserve.
const ownNote = "This cell reads a recording of your own, and the verdict compares with the virtual one: what yours is worth is judged by values for your own apparatus."

// give keeps an answer and says what the display is to say.
func (s *Session) give(p target, a judge.Answer) *Submission {
	g, err := p.sheet.give(p.question, a, p.f.Assessed || s.bench.o.Assessed || p.sheet.Sheet.Sealed)
	g.View = viewOf(p, g.verdict)
	note := func(text string) { g.View.Message = strings.TrimPrefix(g.View.Message+"\n"+text, "\n") }
	if o := g.verdict.Outcome; p.f.Own && (o == judge.OutcomeOff || o == judge.OutcomeSlip) && (p.question.Kind == judge.KindNumber || p.question.Kind == judge.KindMeasured) {
		note(ownNote)
	}
	if err != nil {
		s.bench.o.Log(err.Error())
		note("This answer is not kept beyond this session: " + err.Error())
	}
	return &g
}

func noQuestion(p bank.Sheet, id string) string {
	var ids []string
	for _, q := range p.Questions {
		ids = append(ids, q.ID)
	}
	like := near(id, ids)
	if len(like) == 0 {
		like = ids
	} else {
		return fmt.Sprintf("There is no question %q in lab %s.\nDid you mean %s?", clip.Line(id, 60), p.Lab.ID, strings.Join(like, " or "))
	}
	return fmt.Sprintf("There is no question %q in lab %s.\nIts questions are %s.", clip.Line(id, 60), p.Lab.ID, strings.Join(like, ", "))
}

// howTo says how to submit an answer of a kind.
var howTo = map[judge.Kind]string{
	judge.KindNumber:   `sheet.Number("%s", value, "unit")`,
	judge.KindMeasured: `sheet.Measured("%s", value, uncertainty, "unit")`,
	judge.KindChoice:   `sheet.Choice("%s", "a")`,
	judge.KindFunction: `sheet.Function("%s", f)`,
	judge.KindText:     `sheet.Words("%s", "...")`,
}

// readAnswer turns a frame into an answer of the question's kind; problem is
// for the student.
func readAnswer(q bank.Question, f wire.Frame) (a judge.Answer, problem string) {
	var fits bool
	switch f.Form {
	case wire.FormNumber, wire.FormMeasured:
		fits = q.Kind == judge.KindNumber || q.Kind == judge.KindMeasured
		if len(f.Numbers) != 2 {
			return a, "The answer came without its number. Run the whole cell to submit one."
		}
		a.Value, a.U, a.Unit = f.Numbers[0], f.Numbers[1], f.Unit
	case wire.FormTyped:
		fits = q.Kind == judge.KindNumber || q.Kind == judge.KindMeasured
		a.Text, a.Typed = f.Text, true
	case wire.FormChoice:
		fits = q.Kind == judge.KindChoice
		a.Text = f.Text
	case wire.FormWords:
		fits = q.Kind == judge.KindText
		a.Text = f.Text
	case wire.FormFunction: // one that is not there yet
		fits = q.Kind == judge.KindFunction
		if fits {
			for _, c := range q.Function.Calls {
				a.Values = append(a.Values, make([]float64, len(q.Function.Right(c))))
			}
		}
	}
	if !fits {
		how := howTo[q.Kind]
		return a, "This question needs another kind of answer.\nSubmit it with " + fmt.Sprintf(how, q.ID) + "."
	}
	return a, ""
}

// maxPending is how many functions may be under way in one program.
const maxPending = 16

// calls names the calls that a function is judged by: the question's, in random
// order, and some of them again. problem is for the student.
func (s *Session) calls(p target) (reply wire.Frame, problem string) {
	q := p.question
	if q.Kind != judge.KindFunction {
		_, problem := readAnswer(q, wire.Frame{Head: wire.Head{Form: wire.FormFunction}})
		return reply, problem
	}
	if p.f.Signature != string(q.Function.Signature) {
		return reply, fmt.Sprintf("Your function is a %s.\nThe question needs a %s.", clip.Line(p.f.Signature, 60), q.Function.Signature)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	random := s.random
	if s.o.Confined {
		// From the question, so that the order does not hang on what came before.
		h := fnv.New64a()
		fmt.Fprintf(h, "%s\x00%s\x00%s", p.sheet.Sheet.Lab.ID, p.sheet.Sheet.Code, q.ID)
		random = rand.New(rand.NewPCG(h.Sum64(), 0))
	}
	n := len(q.Function.Calls)
	order := random.Perm(n)
	order = append(order, random.Perm(n)[:min(3, n)]...)
	random.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
	args := make([][]float64, len(order))
	for k, i := range order {
		args[k] = q.Function.Calls[i]
	}
	if len(s.pending) >= maxPending {
		clear(s.pending)
	}
	token := fmt.Sprintf("%016x", s.random.Uint64())
	s.pending[token] = pendingCalls{p.sheet, q.ID, order}
	reply = wire.Frame{Head: wire.Head{Kind: wire.Calls, Token: token}}
	reply.Numbers, reply.Lengths = wire.Join(args)
	return reply, ""
}

// values takes what a function gave; problem is for the student.
func (s *Session) values(p target) (a judge.Answer, problem string) {
	q := p.question
	s.mu.Lock()
	want, ok := s.pending[p.f.Token]
	delete(s.pending, p.f.Token)
	s.mu.Unlock()
	if !ok || want.sheet != p.sheet || want.question != q.ID {
		return a, "These results belong to no call of the judge.\nRun the cell with " + fmt.Sprintf(howTo[q.Kind], q.ID) + " to submit the function."
	}
	if p.f.Fault != "" {
		return judge.Answer{Fault: p.f.Fault}, ""
	}
	got, ok := wire.Split(p.f.Numbers, p.f.Lengths)
	if !ok || len(got) != len(want.order) {
		return judge.Answer{Fault: fmt.Sprintf("it gave %d results for %d calls", len(p.f.Lengths), len(want.order))}, ""
	}
	a.Values = make([][]float64, len(q.Function.Calls))
	for k, i := range want.order {
		if a.Values[i] != nil && !slices.EqualFunc(a.Values[i], got[k], equal) {
			return judge.Answer{Fault: fmt.Sprintf("for the same arguments it gave first %.4g, then %.4g", a.Values[i], got[k])}, ""
		}
		a.Values[i] = append([]float64{}, got[k]...)
	}
	return a, ""
}

// maxNumbers is how many numbers travel in one reply.
const maxNumbers = 120_000

func (s *Session) recording(f wire.Frame) wire.Frame {
	sh, err := s.shelf.open(f.Lab, f.Code)
	if err != nil {
		return refuse("%v", err)
	}
	r, ok := sh.Sheet.Recording(f.Name)
	if !ok {
		var ids []string
		for _, r := range sh.Sheet.Recordings {
			ids = append(ids, r.ID)
		}
		if len(ids) == 0 {
			return refuse("lab %s has no recordings", sh.Sheet.Lab.ID)
		}
		return refuse("lab %s has no such recording; its recordings are %s", sh.Sheet.Lab.ID, strings.Join(ids, ", "))
	}
	var columns [][]float64
	if sh.Sheet.Sealed {
		if columns, err = s.sealedRecording(sh.Sheet, r); err != nil {
			return refuse("%v", err)
		}
	} else if columns, err = sh.recording(r); err != nil {
		s.bench.o.Log(err.Error())
		return refuse("the apparatus failed: %v", err)
	}
	reply := wire.Frame{Head: wire.Head{Kind: wire.Columns, Name: r.ID, At: f.At}}
	for _, c := range r.Columns {
		reply.Columns = append(reply.Columns, wire.Column{Name: c.Name, Unit: c.Unit})
	}
	at := 0
	for _, c := range columns {
		reply.Total += len(c)
		from, to := max(f.At-at, 0), min(f.At+maxNumbers-at, len(c))
		if f.At >= 0 && from < to {
			reply.Numbers = append(reply.Numbers, c[from:to]...)
		}
		at += len(c)
	}
	return reply
}

const (
	maxFile  = 5_000_000
	maxBytes = 900_000 // of a file in one reply
)

func (s *Session) file(f wire.Frame) wire.Frame {
	if s.o.Files == nil {
		return refuse("no files were handed in with this notebook")
	}
	if f.Name != path.Base(f.Name) || strings.ContainsAny(f.Name, `\:`) || !fs.ValidPath(f.Name) || f.Name == "." {
		return refuse("%q is not the name of a file beside the notebook", clip.Line(f.Name, 60))
	}
	file, err := s.o.Files.Open(f.Name)
	if err != nil {
		return refuse("there is no file %q beside the notebook", clip.Line(f.Name, 60))
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil || !info.Mode().IsRegular() {
		return refuse("%q is not a file", clip.Line(f.Name, 60))
	}
	if info.Size() > maxFile {
		return refuse("%q has %d bytes; at most 5 MB can be read", clip.Line(f.Name, 60), info.Size())
	}
	all, err := io.ReadAll(io.LimitReader(file, maxFile))
	if err != nil {
		return refuse("%q cannot be read", clip.Line(f.Name, 60))
	}
	from := max(0, min(f.At, len(all)))
	to := min(from+maxBytes, len(all))
	return wire.Frame{Head: wire.Head{Kind: wire.Chunk, Name: f.Name, At: from, Total: len(all)}, Data: all[from:to]}
}
