package marking

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/internal/filelock"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/sandbox"
	"gravity.example/gravlab/wire"
)

// A Runner runs a notebook confined: sandbox.Pool.Run, or what a test puts in its
// place.
type Runner func(context.Context, sandbox.Job) (sandbox.Outcome, error)

// A Marking is what is to be marked.
type Marking struct {
	Class      Class
	Key        []byte
	Returned   []string // folders, zip archives and notebooks
	Out        string   // folder of the books
	Lab        string   // id or number; empty: the one that all files are of
	Word       string   // of a resit, as it was handed out with; empty: none
	Records    string   // class key, beside which the records of the handouts lie; empty: there are none
	Adjust     string   // file; empty: adjust.csv in Out if it is there
	Reference  string   // file; may be empty
	Bank       string   // folder of the own bank that the program was built with; may be empty
	JudgeAgain bool     // judge what the store holds, and run nothing

	// Start makes the runner, when there is a notebook to run.
	Start   func(context.Context) (Runner, error)
	Workers int // notebooks at once; 0: one for each core

	Progress func(Progress) // told how far it is; may be nil
}

// A Progress is how far a marking or a handout is.
type Progress struct {
	Done, Of   int // files, or students of a handout
	Ran, ToRun int // those that are run now; the others were run before, and take no time
}

// A Summary says what came out of a marking.
type Summary struct {
	Lab                       bank.Lab
	Students, Marked, Missing int
	Unmarked                  int // several files with their code, none of which is chosen
	Unusable                  int // handed in something, but nothing that can be marked
	Files, Ran                int
	Waiting                   int // texts that are still to be read
	Remarks                   int
	// Changed are the ids of the students who have other marks for the same file than
	// when this folder was last marked, since the bank or the references are others.
	Changed []string
	// Places say of each file that a remark tells apart from others by its
	// fingerprint, or that cannot be used, where it lies among what was handed in.
	// The books do not say it: they are the same wherever the files lie.
	Places []Place
}

// A Place is where a file lies.
type Place struct {
	Student string // empty: no student's
	Print   string // fingerprint, as remarks.csv has it; empty for a file that was not read
	File    string // path below the folder or archive that was named
}

// An item is a file on its way.
type item struct {
	file     returned
	name     string
	print    string // fingerprint as the books have it
	key      string // in the store
	lab      string // id
	owner    int    // student, -1 if nobody's
	code     bank.Code
	problem  string // why it is not marked
	recorded string // remark on its recordings
	beside   int    // recordings beside it
	own      bool   // it lies in a box (see collection) of its owner
	notRun   bool   // judge-again met a file that was never run
}

// A marker is a Marking at work.
type marker struct {
	Marking
	store   store
	toRun   int
	start   func() (Runner, error)
	mu      sync.Mutex
	owners  map[string]sheets // by lab
	sealed  bool              // what is marked are sealed sheets
	anew    []remark          // handouts that had another bank, and are judged by this one all the same
	records []keptHandout     // of the handouts of the labs that were handed in
}

// sheetFor makes the sheet of a code that belongs to a student of the class.
func (k *marker) sheetFor(lab bank.Lab, code bank.Code, owner int) bank.Sheet {
	return sheetOf(lab, k.Key, k.Class.Students[owner].ID, k.Word, code)
}

// A sheetMaker is sheetFor for one notebook. It makes recordings once, for what is sent with an
// errand and for what answers the program later, and keeps nothing else of a sheet meanwhile: that
// takes less time to make again than it takes to keep hundreds of sheets.
type sheetMaker func(lab bank.Lab, code bank.Code, owner int) bank.Sheet

func (k *marker) sheetMaker() sheetMaker {
	type made func() ([][]float64, error)
	var of bank.Code
	var all map[string]made
	return func(lab bank.Lab, code bank.Code, owner int) bank.Sheet {
		s := k.sheetFor(lab, code, owner)
		if all == nil || of != code {
			of, all = code, map[string]made{}
		}
		s.Recordings = slices.Clone(s.Recordings)
		for i, r := range s.Recordings {
			if all[r.ID] == nil {
				all[r.ID] = sync.OnceValues(r.Make)
			}
			s.Recordings[i].Make = all[r.ID]
		}
		return s
	}
}

// sample is a sheet of nobody's with the questions and marks of those that are marked.
func (k *marker) sample(lab bank.Lab) bank.Sheet {
	if k.sealed {
		return sealedSample(lab)
	}
	return lab.Sheet("")
}

// Mark collects what was returned, runs what has not been run, judges, and writes the
// books. It may be stopped or killed at any time and called again. If the machine failed at
// a notebook, the others are run and stored all the same, the error is Unrun, and the books
// stay as they were.
func Mark(ctx context.Context, m Marking) (Summary, error) {
	if m.Workers <= 0 {
		m.Workers = runtime.NumCPU()
	}
	if m.Progress == nil {
		m.Progress = func(Progress) {}
	}
	k := &marker{Marking: m, store: store{filepath.Join(m.Out, "store")}, owners: map[string]sheets{}}
	k.start = sync.OnceValues(func() (Runner, error) { return m.Start(ctx) })
	if err := k.prepare(); err != nil {
		return Summary{}, err
	}
	release, err := k.claim(ctx)
	if err != nil {
		return Summary{}, err
	}
	defer release()
	atomicfile.Sweep(m.Out, k.store.dir)
	for _, form := range replyForms {
		atomicfile.Sweep(filepath.Join(m.Out, "replies", form))
	}
	files, err := collect(m.Returned, m.Out)
	if err != nil {
		return Summary{}, err
	}
	defer files.close()
	if k.toRun, err = k.before(files); err != nil {
		return Summary{}, err
	}
	items, ran, err := k.runAll(ctx, files)
	if err != nil {
		return Summary{}, err
	}
	b, err := k.assemble(items, files.refused)
	if err != nil {
		return Summary{}, err
	}
	if err := b.write(ctx); err != nil {
		return Summary{}, err
	}
	s := b.summary()
	s.Files, s.Ran = len(items), ran
	s.Places = k.places(b, files.refused)
	return s, nil
}

// places lists where the files lie that somebody has to look for.
func (k *marker) places(b *marksBook, refused []refusal) []Place {
	var all []Place
	add := func(student, print, place string) {
		all = append(all, Place{student, print, clip.Line(below(k.Returned, place), 200)})
	}
	for _, r := range refused {
		add("", "", r.place)
	}
	for _, it := range b.unused {
		add("", it.print, it.file.place)
	}
	for _, r := range b.rows {
		if len(r.items) > 1 {
			for _, it := range r.items {
				add(r.student.ID, it.print, it.file.place)
			}
		}
	}
	return all
}

// claim keeps other markings out of a folder: this user's by the path, and those of
// other users and computers by a lock in the folder. One that was killed a moment ago may
// not have let go yet.
func (k *marker) claim(ctx context.Context) (release func(), err error) {
	path := filepath.Join(k.Out, "marks.csv")
	for range 20 {
		var mine func()
		if mine, err = filelock.Claim(path); err == nil {
			var here func()
			if here, err = filelock.ClaimAt(filepath.Join(k.store.dir, "lock"), path); err == nil {
				return func() { here(); mine() }, nil
			}
			mine()
		}
		select {
		case <-ctx.Done():
			return nil, context.Cause(ctx)
		case <-time.After(250 * time.Millisecond):
		}
	}
	return nil, err
}

// prepare looks at what the lecturer gave before anything takes time.
func (k *marker) prepare() error {
	if k.Lab != "" {
		lab, err := exercises.Find(k.Lab)
		if err != nil {
			return wrong("--lab", 0, "%v", err)
		}
		k.Lab = lab.ID
	}
	if path := filepath.Join(k.Out, "adjust.csv"); k.Adjust == "" {
		if _, err := os.Stat(path); err == nil {
			k.Adjust = path
		}
	}
	for path, columns := range map[string][]string{k.Adjust: {"id", "question", "marks", "reason"}, k.Reference: {"id", "question", "value", "u", "unit"}, k.eyeFile(): byEyeHeader} {
		if path == "" {
			continue
		}
		t, err := readTable(path)
		if err != nil {
			return err
		}
		if _, err := t.columns(columns...); err != nil {
			return err
		}
	}
	dirs := []string{k.Out, k.store.dir}
	for _, form := range replyForms {
		dirs = append(dirs, filepath.Join(k.Out, "replies", form))
	}
	for _, dir := range dirs {
		if err := os.MkdirAll(dir, 0o700); err != nil {
			return err
		}
	}
	return nil
}

// eyeFile is by-eye.csv if there is one yet.
func (k *marker) eyeFile() string {
	path := filepath.Join(k.Out, byEyeName)
	if _, err := os.Stat(path); err != nil {
		return ""
	}
	return path
}

// ownersOf maps the codes of a lab's sheets to students.
func (k *marker) ownersOf(lab string) (map[bank.Code]int, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if o, ok := k.owners[lab]; ok {
		return o.owner, nil
	}
	o, err := k.Class.sheets(k.Key, lab, k.Word)
	if err != nil {
		return nil, err
	}
	k.owners[lab] = o
	return o.owner, nil
}

// runAll sees to it that the store holds a run of every file.
func (k *marker) runAll(ctx context.Context, c *collection) (items []item, ran int, err error) {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	items = make([]item, len(c.files))
	var mu sync.Mutex
	next, done, row := 0, 0, 0
	unrun := &Unrun{}
	k.Progress(Progress{0, len(items), 0, k.toRun})
	// Of two files with the same bytes, the second finds the first one's run.
	busy := map[string]*sync.Mutex{}
	var all sync.WaitGroup
	for range k.Workers {
		all.Go(func() {
			for ctx.Err() == nil {
				mu.Lock()
				i := next
				next++
				mu.Unlock()
				if i >= len(items) {
					return
				}
				lock := func(key string) func() {
					mu.Lock()
					if busy[key] == nil {
						busy[key] = &sync.Mutex{}
					}
					l := busy[key]
					mu.Unlock()
					l.Lock()
					return l.Unlock
				}
				it, now, err := k.one(ctx, c, c.files[i], lock)
				var fault machineFault
				if err != nil && !errors.As(err, &fault) {
					stop(err)
					return
				}
				mu.Lock()
				items[i] = it
				done++
				switch {
				case fault.error != nil:
					unrun.Files = append(unrun.Files, clip.Line(below(k.Returned, c.files[i].place), 200))
					unrun.Why = fault.error
					if row++; row == mostFaults {
						stop(unrun)
					}
				case now:
					ran++
					row = 0
				}
				k.Progress(Progress{done, len(items), ran, k.toRun})
				mu.Unlock()
			}
		})
	}
	all.Wait()
	slices.Sort(unrun.Files)
	unrun.Stored = done - len(unrun.Files)
	if err := context.Cause(ctx); err != nil || unrun.Why == nil {
		return items, ran, err
	}
	return items, ran, unrun
}

// mostFaults is after how many faults with no run between them the rest is not tried.
const mostFaults = 6

// Unrun says that notebooks were not run because the machine failed.
type Unrun struct {
	Files  []string // that were tried; where they lie
	Stored int      // how many others are stored
	Why    error    // the last fault, with what to do
}

func (u *Unrun) Error() string {
	files := strings.Join(quoted(u.Files[:min(len(u.Files), 10)]), ", ")
	if more := len(u.Files) - 10; more > 0 {
		files += fmt.Sprintf(" and %d more", more)
	}
	return fmt.Sprintf("not marked, because this machine failed: %s; %v. No books were written; the other notebooks that were run (%d) are stored, and the same command continues from here", files, u.Why, u.Stored)
}

// A machineFault is an error of this machine at one notebook, tried again as far as that helps.
type machineFault struct{ error }

func (f machineFault) Unwrap() error { return f.error }

// ofMachine reports whether an error in reading a file is the machine's.
func ofMachine(err error) bool {
	return slices.ContainsFunc([]error{syscall.EMFILE, syscall.ENFILE, syscall.ENOMEM, syscall.EIO}, func(e error) bool { return errors.Is(err, e) })
}

// one runs a file unless the store has its run.
func (k *marker) one(ctx context.Context, c *collection, f returned, lock func(string) func()) (it item, now bool, err error) {
	it = item{file: f, name: f.name(), owner: -1}
	text, err := f.read()
	if ofMachine(err) {
		return it, false, machineFault{fmt.Errorf("reading it failed (%w)", err)}
	}
	if err != nil {
		it.problem = plain(err).Error()
		return it, false, nil
	}
	print := fingerprint(text)
	it.print = printPrefix + print[:12]
	files, remark := c.beside(f)
	it.recorded, it.beside = remark, len(files)
	it.key = files.key(print)
	defer lock(it.key)()
	r, ok := k.store.run(it.key)
	again, err := k.again(r, ok)
	if err != nil {
		return it, false, err
	}
	switch {
	case again && k.JudgeAgain && ok && r.Skipped == "":
		return it, false, fmt.Errorf("the bank calls the functions of lab %s at other points than when %s was run; mark without --judge-again, which runs it again", r.Lab, it.name)
	case again && k.JudgeAgain:
		it.notRun = true
		return it, false, nil
	case again:
		if r, err = k.run(ctx, text, print, it.key, files); err != nil {
			return it, false, err
		}
		now = true
	}
	if err := k.identify(&it, r); err != nil {
		return it, false, err
	}
	return it, now, nil
}

// again reports whether a file has to be run.
func (k *marker) again(r run, ok bool) (bool, error) {
	if !ok {
		return true, nil
	}
	if r.Unread != "" {
		return false, nil
	}
	lab, code, problem := k.sheet(r.Lab, r.Code)
	owner := 0
	if problem == "" {
		owners, err := k.ownersOf(lab.ID)
		if err != nil {
			return false, err
		}
		var ours bool
		if owner, ours = owners[code]; !ours {
			return false, nil
		}
	}
	if r.Skipped != "" {
		return problem == "", nil
	}
	if problem != "" {
		return false, nil
	}
	calls := callsOf(k.sheetFor(lab, code, owner))
	for q, c := range calls {
		if r.Calls[q] != c {
			return true, nil
		}
	}
	return false, nil
}

// sheet finds the sheet that a notebook declares; problem says why that is none
// to be marked.
func (k *marker) sheet(declaredLab, declaredCode string) (lab bank.Lab, code bank.Code, problem string) {
	if declaredLab == "" {
		return lab, "", "declares no sheet: the cell with ask.Sheet is missing or changed"
	}
	lab, err := exercises.Find(declaredLab)
	if err != nil {
		return lab, "", fmt.Sprintf("declares a sheet of a lab %q that the bank does not have", clip.Line(declaredLab, 40))
	}
	code, err = bank.ParseCode(declaredCode)
	switch {
	case err != nil:
		return lab, "", clip.Line("declares a sheet that cannot be used: "+err.Error(), 200)
	case code == "":
		return lab, "", "carries the default sheet, which belongs to no student: it is not the notebook that was handed out"
	case k.Lab != "" && lab.ID != k.Lab:
		return lab, "", fmt.Sprintf("is a sheet of lab %s", lab.ID)
	}
	return lab, code, ""
}

var errSkip = errors.New("not a sheet of this class")

const nobody = "carries a code that belongs to no one in the class list"

// seed makes the source of random numbers the sheet's. It only has to be the
// same for the same file, so the file is not parsed for it.
func seed(text []byte) uint64 {
	h := fnv.New64a()
	for _, d := range notebook.Declarations(string(text), 1) {
		h.Write([]byte(d.Text))
	}
	return h.Sum64()
}

// mostFrames is how often a notebook may give in, ask for a recording or show something.
// Labs do so some fifty times; each time costs this process, not the worker.
const mostFrames = 1000

// run runs a notebook and stores what came out.
func (k *marker) run(ctx context.Context, text []byte, print, key string, files beside) (run, error) {
	runner, err := k.start()
	if err != nil {
		return run{}, err
	}
	r := run{Format: runFormat, Print: print}
	var d *recorder
	sheetFor := k.sheetMaker()
	job := sandbox.Job{Notebook: text, Seed: seed(text), Limits: sandbox.Limits{Frames: mostFrames}, Session: func(s sandbox.Sheet) (func([]byte) []byte, error) {
		r.Lab, r.Code, r.Twice = s.Lab, s.Code, s.Twice
		lab, code, problem := k.sheet(s.Lab, s.Code)
		if problem != "" {
			r.Skipped = problem
			return nil, errSkip
		}
		owners, err := k.ownersOf(lab.ID)
		if err != nil {
			return nil, err
		}
		owner, ours := owners[code]
		if !ours {
			r.Skipped = nobody
			return nil, errSkip
		}
		r.Lab, r.Code = lab.ID, string(code)
		sheet := sheetFor(lab, code, owner)
		if r.Edited, err = editedRecordings(sheet, files); err != nil {
			return nil, err
		}
		if d, err = deskFor(sheet, files); err != nil {
			return nil, err
		}
		return d.exchange, nil
	}, Supply: func() (sandbox.Supply, bool) { return k.supply(text, files, sheetFor) }}
	out, err := runner(ctx, job)
	if err != nil && !(errors.Is(err, errSkip) && r.Skipped != "") {
		if ctx.Err() != nil {
			return r, context.Cause(ctx)
		}
		if errors.As(err, new(*sandbox.Fault)) {
			return r, machineFault{err}
		}
		return r, fmt.Errorf("running a notebook: %w", err)
	}
	r.Ended, r.Unread = out.Ended, clip.Line(out.Unread, 500)
	r.Remarks = out.Remarks
	for _, c := range out.Cells {
		if c.State == sandbox.Ran || len(r.Cells) >= 50 {
			continue
		}
		c.Output, c.Fault = "", clip.Line(c.Fault, 300)
		r.Cells = append(r.Cells, c)
	}
	var pictures []picture
	if d != nil {
		r.Read, r.Own = d.read, d.ownFiles
		r.Given, r.Tries, r.Foreign, r.Notes, r.Shown = d.given, d.tries, d.foreign, d.notes, d.shown
		r.Calls = callsOf(d.sheet)
		pictures = d.pictures
	}
	r.Figures = len(pictures)
	if err := k.store.write(key, "figures", pictures); err != nil {
		return r, machineFault{err}
	}
	if err := k.store.write(key, "run", r); err != nil {
		return r, machineFault{err}
	}
	return r, nil
}

// supply says what the program of a notebook may ask for, by what its bytes seem to declare.
func (k *marker) supply(text []byte, files beside, sheetFor sheetMaker) (s sandbox.Supply, ok bool) {
	all := notebook.Declarations(string(text), 1)
	if len(all) == 0 {
		return s, false
	}
	declared := all[0]
	lab, code, problem := k.sheet(declared.Lab, declared.Code)
	if problem != "" {
		return s, false
	}
	owners, err := k.ownersOf(lab.ID)
	owner, ours := owners[code]
	if err != nil || !ours {
		return s, false
	}
	sheet := sheetFor(lab, code, owner)
	asked := labserver.RecordingsNamed(sheet, declared, string(text))
	add := func(h wire.Head) {
		h.Lab, h.Code = declared.Lab, declared.Code
		asked = append(asked, wire.Frame{Head: h})
	}
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if bytes.Contains(text, []byte(name)) {
			add(wire.Head{Kind: wire.File, Name: name})
		}
	}
	for _, q := range sheet.Questions {
		if q.Function != nil {
			add(wire.Head{Kind: wire.Function, Question: q.ID, Signature: string(q.Function.Signature)})
		}
	}
	d, err := deskFor(sheet, files)
	if err != nil {
		return s, false
	}
	s, err = sandbox.NewSupply(d.exchange, asked)
	return s, err == nil
}

func deskFor(sheet bank.Sheet, files beside) (*recorder, error) {
	if files == nil {
		return newDesk(sheet, nil) // no fs.FS, and not one that is nil
	}
	return newDesk(sheet, files)
}

// identify says whose a file is.
func (k *marker) identify(it *item, r run) error {
	if r.Unread != "" {
		it.problem = "is not a notebook that can be read: " + r.Unread
		return nil
	}
	lab, code, problem := k.sheet(r.Lab, r.Code)
	it.lab = lab.ID
	if problem != "" {
		it.problem = problem
		return nil
	}
	owners, err := k.ownersOf(lab.ID)
	if err != nil {
		return err
	}
	owner, ours := owners[code]
	if !ours {
		it.problem = nobody
		return nil
	}
	it.owner, it.code = owner, code
	return nil
}

// theLab is the lab that is marked.
func (k *marker) theLab(items []item) (bank.Lab, error) {
	if k.Lab != "" {
		return exercises.Find(k.Lab)
	}
	counts := map[string]int{}
	for _, it := range items {
		if it.owner >= 0 {
			counts[it.lab]++
		}
	}
	switch len(counts) {
	case 0:
		return bank.Lab{}, wrong(strings.Join(k.Returned, ", "), 0, "holds no sheet of this class: are the class list and the key those of the handout, and is its --bank given, if it had one? To write the books all the same, say which lab with --lab")
	case 1:
		for id := range counts {
			return exercises.Find(id)
		}
	}
	return bank.Lab{}, k.oneLab(counts)
}
