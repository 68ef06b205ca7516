package page

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
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
		release, err := filelock.Claim(b.copy)
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
		if aside, err = putAside(b.copy, "other"); err != nil {
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

// putAside renames a notebook to a free name beside it.
func putAside(path, word string) (string, error) {
	for n := 1; ; n++ {
		to := fmt.Sprintf("%s.%s-%d.ipynb", strings.TrimSuffix(path, ".ipynb"), word, n)
		if _, err := os.Lstat(to); errors.Is(err, fs.ErrNotExist) {
			return to, os.Rename(path, to)
		}
	}
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
			refuse(w, http.StatusNotFound, fmt.Sprintf("there is no lab called “%s”", r.PathValue("name")))
			return
		}
		do(w, r, b)
	}
}

// read decodes what a request brings.
func read(w http.ResponseWriter, r *http.Request, into any) bool {
	if err := json.NewDecoder(r.Body).Decode(into); errors.Is(err, os.ErrDeadlineExceeded) {
		refuse(w, http.StatusRequestTimeout, "this request came too slowly")
		return false
	} else if err != nil {
		refuse(w, http.StatusBadRequest, "this request cannot be read: "+err.Error())
		return false
	}
	return true
}

// lapse is how long the writing tab may be silent before another takes its
// place without asking.
const lapse = 20 * time.Second

// mine reports whether a tab may write, and notes that it is there. The caller
// holds b.mu.
func (b *document) mine(tab string) bool {
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
	if err := b.load(); err != nil {
		refuse(w, http.StatusInternalServerError, err.Error())
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
	reply(w, v)
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
	reply(w, map[string]bool{"writer": mine})
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
		refuse(w, http.StatusConflict, "another tab works on this lab")
		return nil
	}
	return b.mu.Unlock
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
			refuse(w, http.StatusBadRequest, problem)
			return
		}
	}
	for id, f := range in.Drafts {
		if problem := b.draft(id, f); problem != "" {
			refuse(w, http.StatusBadRequest, problem)
			return
		}
	}
	aside, err := b.write()
	if err != nil {
		refuse(w, http.StatusInternalServerError, "it could not be saved: "+err.Error())
		return
	}
	reply(w, map[string]string{"aside": aside})
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
	reply(w, struct{}{})
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
		if aside, err = putAside(b.copy, "before"); err != nil {
			refuse(w, http.StatusInternalServerError, err.Error())
			return
		}
	}
	b.nb = nil
	reply(w, map[string]string{"aside": aside})
}
