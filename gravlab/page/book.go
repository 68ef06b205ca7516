package page

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/internal/filelock"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
)

// A book is one notebook that the page offers.
type document struct {
	server *Server
	name   string // in addresses
	source string // the notebook as it was handed out
	copy   string // the reader's working copy, which may not exist yet
	own    bool   // one of the project's own
	aside  string // the folder for working copies that are put aside; "" is that of the copy
	frames frames

	mu       sync.Mutex
	nb       *notebook.Notebook
	sheet    bank.Sheet
	hasSheet bool   // the notebook declares a sheet
	fault    string // why its declaration cannot be used
	assessed bool
	changed  []string // questions that this bank has others of than the notebook was handed out or begun with
	stamp    stamp    // of the working copy when it was last read or written
	allowed  bool     // the reader lets a notebook from elsewhere run
	release  func()
	writer   string // the tab that writes
	seen     time.Time
	running  map[string]*running // by cell
	figuring func()              // ends the working out of figures
	ahead    *ahead              // what is built while the reader types
}

// A stamp tells whether a file has changed.
type stamp struct {
	time time.Time
	size int64
}

func stampOf(path string) stamp {
	info, err := os.Stat(path)
	if err != nil {
		return stamp{}
	}
	return stamp{info.ModTime(), info.Size()}
}

var odd = regexp.MustCompile(`[^A-Za-z0-9._-]+`)

// otherName is the name of a notebook from elsewhere: what it is called, and a
// mark that keeps two of one name apart.
func otherName(path string) string {
	base := odd.ReplaceAllString(strings.TrimSuffix(filepath.Base(path), ".ipynb"), "-")
	if len(base) > 60 {
		base = base[:60]
	}
	sum := sha256.Sum256([]byte(path))
	return "from-" + strings.Trim(base, ".-") + "-" + hex.EncodeToString(sum[:4])
}

// load reads the working copy, or the notebook that it will begin as. The
// caller holds b.mu.
func (b *document) load() error {
	if b.release == nil {
		if err := os.MkdirAll(filepath.Dir(b.copy), 0o700); err != nil {
			return err
		}
		release, err := func() {}, error(nil)
		if b.server.o.Seat == nil {
			release, err = filelock.Claim(b.copy)
		}
		if err != nil {
			return fmt.Errorf("this lab is open in another gravlab, which writes to %s; end that one first", b.copy)
		}
		b.release = release
	}
	now := stampOf(b.copy)
	if b.nb != nil && now == b.stamp {
		return nil
	}
	path := b.copy
	if now == (stamp{}) {
		path = b.source
	}
	nb, err := notebook.ReadFile(path, notebook.Options{})
	if err != nil {
		return err
	}
	b.nb, b.stamp = nb, now
	b.readSheet()
	return nil
}

// readSheet finds out whose numbers the notebook has.
func (b *document) readSheet() {
	b.sheet, b.hasSheet, b.assessed, b.fault = sheetOf(b.nb)
	b.changed = nil
	if !b.hasSheet || b.fault != "" {
		return
	}
	if own := b.server.ownSheet(b.name); own != nil && (b.sheet.Lab.ID != b.name || b.sheet.Code != *own) {
		b.fault = fmt.Sprintf("the first code cell names another sheet than yours, which is ask.Sheet(%q, %q)", b.name, *own)
		return
	}
	var err error
	if b.changed, err = b.sheet.Changed(b.nb); err != nil {
		b.server.o.Log(err.Error())
	}
	if len(b.changed) > 0 {
		b.fault = "this program has other numbers or another right answer than the one that made this sheet, in " + strings.Join(b.changed, ", ") + ". Ask for the version that it was made with, or begin the lab anew"
	}
}

// sheetOf reads a notebook's declaration; fault says why it cannot be used.
func sheetOf(nb *notebook.Notebook) (sheet bank.Sheet, ok, assessed bool, fault string) {
	sheet, ok, err := exercises.SheetOf(nb)
	if err != nil {
		return bank.Sheet{}, false, false, err.Error()
	}
	return sheet, ok, bank.Assessed(nb) || sheet.Sealed, ""
}

// write writes the working copy. If another program has changed it meanwhile, that
// version is put aside first and its name returned: neither is lost.
func (b *document) write() (aside string, err error) {
	if now := stampOf(b.copy); now != b.stamp && now != (stamp{}) {
		if aside, err = b.putAside("other"); err != nil {
			return "", err
		}
	}
	if b.stamp == (stamp{}) && b.hasSheet && bank.Stamped(b.nb) == nil {
		// A working copy that is begun keeps what its questions were, so that another bank
		// is told later.
		if err := b.sheet.Stamp(b.nb); err != nil {
			b.server.o.Log(err.Error())
		}
	}
	if err := b.nb.WriteFile(b.copy); err != nil {
		return "", err
	}
	b.stamp = stampOf(b.copy)
	return aside, nil
}

// putAside renames the working copy to a free name, beside it or in the folder for that.
func (b *document) putAside(word string) (string, error) {
	path := b.copy
	if b.aside != "" {
		if err := os.MkdirAll(b.aside, 0o700); err != nil {
			return "", err
		}
		path = filepath.Join(b.aside, filepath.Base(b.copy))
	}
	to := atomicfile.FreeName(func(n int) string {
		return fmt.Sprintf("%s.%s-%d.ipynb", strings.TrimSuffix(path, ".ipynb"), word, n)
	})
	return to, os.Rename(b.copy, to)
}

// ownSheet is the code of the reader's sheet of a lab, nil if the notebook may name any.
func (s *Server) ownSheet(lab string) *bank.Code {
	if s.o.Seat == nil || s.o.Seat.Sheet == nil {
		return nil
	}
	code := s.o.Seat.Sheet(lab)
	return &code
}

// closed says why a lab cannot be opened, or changed, now.
func (b *document) closed(change bool) string {
	if seat := b.server.o.Seat; seat != nil && seat.Closed != nil {
		return seat.Closed(b.name, change)
	}
	return ""
}

func (b *document) close() {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, r := range b.running {
		r.stop()
	}
	if b.figuring != nil {
		b.figuring()
	}
	b.dropAhead()
	if b.release != nil {
		b.release()
		b.release = nil
	}
}

// summary is where the sheet stands; nil if there is none. The caller holds
// b.mu.
func (b *document) summary() *labserver.Summary {
	if !b.hasSheet {
		return nil
	}
	sum, err := b.server.bench.Summary(b.sheet.Lab.ID, string(b.sheet.Code), b.assessed)
	if err != nil {
		b.server.o.Log(err.Error())
		return nil
	}
	return &sum
}

// withBook finds the book of a request and decodes its body.
func (s *Server) withBook(do func(w http.ResponseWriter, r *http.Request, b *document)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		b := s.find(r.PathValue("name"))
		if b == nil {
			door.Refuse(w, http.StatusNotFound, fmt.Sprintf("there is no lab called “%s”", r.PathValue("name")))
			return
		}
		do(w, r, b)
	}
}

// read decodes what a request brings.
func read(w http.ResponseWriter, r *http.Request, into any) bool {
	var large *http.MaxBytesError
	if err := json.NewDecoder(r.Body).Decode(into); errors.As(err, &large) {
		door.Refuse(w, http.StatusRequestEntityTooLarge, "this is more than 8 MB; nothing of it was taken")
		return false
	} else if errors.Is(err, os.ErrDeadlineExceeded) {
		door.Refuse(w, http.StatusRequestTimeout, "this request came too slowly")
		return false
	} else if err != nil {
		door.Refuse(w, http.StatusBadRequest, "this request cannot be read: "+err.Error())
		return false
	}
	return true
}

// lapse is how long the writing tab may be silent before another takes its
// place without asking.
const lapse = 20 * time.Second

// mine reports whether a tab may write, and notes that it is there: the one that
// wrote last, or the first one to ask. The caller holds b.mu.
func (b *document) mine(tab string) bool {
	if b.writer == "" && tab != "" && b.load() == nil {
		b.writer = tab // the program has been started again, and this tab goes on
	}
	if b.writer != tab {
		return false
	}
	b.seen = time.Now()
	return true
}

// open gives a tab the whole lab.
func (s *Server) open(w http.ResponseWriter, r *http.Request, b *document) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if why := b.closed(false); why != "" {
		door.Refuse(w, http.StatusForbidden, why)
		return
	}
	if err := b.load(); err != nil {
		door.Refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	tab := r.URL.Query().Get("tab")
	if b.writer == "" || b.writer == tab || time.Since(b.seen) > lapse || r.URL.Query().Get("take") != "" {
		b.writer, b.seen = tab, time.Now()
	}
	s.desk.note(b.name, "")
	b.takeFigures()
	v := b.view()
	v.Writer = b.writer == tab
	door.Reply(w, v)
}

// here tells a tab whether it still writes, and remembers the reader's place.
func (s *Server) here(w http.ResponseWriter, r *http.Request, b *document) {
	var in struct{ Tab, Place string }
	if !read(w, r, &in) {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	mine := b.mine(in.Tab)
	if mine && in.Place != "" && b.nb != nil && b.nb.Cell(in.Place) != nil {
		s.desk.note(b.name, in.Place)
	}
	if mine && s.o.Seat != nil && s.o.Seat.Here != nil {
		s.o.Seat.Here(b.name, b.questionAt(in.Place))
	}
	door.Reply(w, map[string]bool{"writer": mine})
}

// forWriter reads what a tab wants to change and locks the book; release unlocks
// it. A tab that may not write is told so, and release is nil.
func (b *document) forWriter(w http.ResponseWriter, r *http.Request, in any, tab *string) (release func()) {
	if !read(w, r, in) {
		return nil
	}
	b.mu.Lock()
	if !b.mine(*tab) {
		b.mu.Unlock()
		door.Refuse(w, http.StatusConflict, "another tab works on this lab")
		return nil
	}
	if why := b.closed(true); why != "" {
		b.mu.Unlock()
		door.Refuse(w, http.StatusForbidden, why)
		return nil
	}
	return b.mu.Unlock
}

// questionAt is the question at or below a cell: what a reader of that cell is about to
// answer; empty if there is none. The caller holds b.mu.
func (b *document) questionAt(cell string) string {
	if b.nb == nil || !b.hasSheet {
		return ""
	}
	at := false
	for _, c := range b.nb.Cells {
		at = at || c.ID == cell
		if from, _, ok := c.Question(); at && ok {
			if q, ok := b.sheet.Question(from); ok {
				return q.ID
			}
		}
	}
	return ""
}

// save takes what was typed into code boxes, and into forms without giving it in.
func (s *Server) save(w http.ResponseWriter, r *http.Request, b *document) {
	var in struct {
		Tab    string
		Cells  map[string]string
		Drafts map[string]fields
	}
	release := b.forWriter(w, r, &in, &in.Tab)
	if release == nil {
		return
	}
	defer release()
	for id, text := range in.Cells {
		if problem := b.put(id, text); problem != "" {
			door.Refuse(w, http.StatusBadRequest, problem)
			return
		}
	}
	for id, f := range in.Drafts {
		if problem := b.draft(id, f); problem != "" {
			door.Refuse(w, http.StatusBadRequest, problem)
			return
		}
	}
	aside, err := b.write()
	if err != nil {
		b.notSaved(w, err)
		return
	}
	for id := range in.Cells {
		if len(in.Cells) == 1 { // the one that the reader types in
			b.buildAhead(id)
		}
	}
	door.Reply(w, map[string]string{"aside": b.told(aside)})
}

// told is the name of a file as the reader is told it.
func (b *document) told(path string) string {
	if b.server.o.Seat != nil && path != "" {
		return filepath.Base(path)
	}
	return path
}

// notSaved says why the working copy could not be written.
func (b *document) notSaved(w http.ResponseWriter, err error) {
	b.server.o.Log(b.copy + ": " + err.Error())
	door.Refuse(w, http.StatusInternalServerError, whyNotSaved(err))
}

func whyNotSaved(err error) string {
	if errors.Is(err, syscall.ENOSPC) {
		return "it could not be saved: the disk of the computer that keeps it is full"
	}
	return "it could not be saved: " + err.Error()
}

// Halt stops all boxes and waits until what they have put out is kept, or ctx ends.
func (s *Server) Halt(ctx context.Context) {
	for _, b := range s.books {
		for {
			b.mu.Lock()
			for _, r := range b.running {
				r.stopped = true
				r.stop()
			}
			over := len(b.running) == 0
			b.mu.Unlock()
			if over || ctx.Err() != nil {
				break
			}
			time.Sleep(10 * time.Millisecond)
		}
	}
}

// put puts a text into a code cell.
func (b *document) put(id, text string) (problem string) {
	if b.nb == nil {
		return "this lab is not open"
	}
	c := b.nb.Cell(id)
	if c == nil || c.Kind != notebook.Code {
		return "there is no such box"
	}
	c.Source = strings.ReplaceAll(text, "\r\n", "\n")
	if _, part, ok := c.Question(); ok && part == notebook.Sheet {
		b.readSheet()
	}
	return ""
}

// allow lets a notebook from elsewhere run its code, until the program ends.
func (s *Server) allow(w http.ResponseWriter, r *http.Request, b *document) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.allowed = true
	door.Reply(w, struct{}{})
}

// anew puts the working copy aside and begins again from the notebook as it
// was handed out. Answers that were submitted stay in the answers log.
func (s *Server) anew(w http.ResponseWriter, r *http.Request, b *document) {
	var in struct{ Tab string }
	release := b.forWriter(w, r, &in, &in.Tab)
	if release == nil {
		return
	}
	defer release()
	aside := ""
	if stampOf(b.copy) != (stamp{}) {
		var err error
		if aside, err = b.putAside("before"); err != nil {
			door.Refuse(w, http.StatusInternalServerError, err.Error())
			return
		}
	}
	b.dropAhead()
	b.nb = nil
	door.Reply(w, map[string]string{"aside": b.told(aside)})
}
