package labserver

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"sync"
	"time"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/wire"
)

// sheetKey tells sheets apart.
type sheetKey struct {
	lab  string
	code bank.Code
}

// A sheet is one of the bank and the answers to it so far.
type sheet struct {
	bank.Sheet
	log   string // path, "" for memory only
	given func(lab string, e Entry)

	changed []string // questions that are others than the notebook was handed out with (see differing)

	mu         sync.Mutex
	read       int64 // how far the log is read
	history    *History
	recordings map[string][][]float64
	hints      map[string]int // the hint that is shown next, by question
}

// A shelf holds sheets that are in use.
type sheetCache struct {
	find  func(id string) (bank.Lab, error)
	sheet func(bank.Lab, bank.Code) bank.Sheet
	data  string // folder of the logs, "" for memory only
	files fs.FS  // beside the notebook; may be nil
	own   func(lab string) bank.Code
	given func(lab string, e Entry)

	mu     sync.Mutex
	sheets map[sheetKey]*sheet
	used   []sheetKey // that answers were submitted to, in order
}

func newShelf(o Options, data string) *sheetCache {
	return &sheetCache{find: o.Find, sheet: o.Sheet, data: data, files: o.Files, own: o.Own, given: o.Given, sheets: map[sheetKey]*sheet{}}
}

// A shelf with logs forgets its sheets when it has this many: it costs a log
// read later and no answer. One without takes no more.
const maxSheets = 64

// open finds a sheet by what a cell says of it. The error is for the student.
func (h *sheetCache) open(lab, code string) (*sheet, error) {
	l, err := h.find(lab)
	if err != nil {
		return nil, err
	}
	c, err := bank.ParseCode(code)
	if err != nil {
		return nil, err
	}
	if h.own != nil && h.own(l.ID) != c {
		return nil, errors.New("this is not your sheet; yours is the one that the first code cell names as the lab was handed out")
	}
	key := sheetKey{l.ID, c}
	h.mu.Lock()
	defer h.mu.Unlock()
	if s := h.sheets[key]; s != nil {
		return s, nil
	}
	if len(h.sheets) >= maxSheets {
		if h.data == "" {
			return nil, fmt.Errorf("this notebook uses more than %d sheets", maxSheets)
		}
		clear(h.sheets)
	}
	s := &sheet{Sheet: h.sheet(l, c), given: h.given, recordings: map[string][][]float64{}, hints: map[string]int{}}
	s.history = NewHistory(s.Sheet)
	s.changed = differing(h.files, s.Sheet)
	if h.data != "" {
		s.log = LogFile(h.data, l.ID, c)
	}
	h.sheets[key] = s
	return s, nil
}

// use notes that an answer was submitted to a sheet.
func (h *sheetCache) use(s *sheet) {
	key := sheetKey{s.Sheet.Lab.ID, s.Sheet.Code}
	h.mu.Lock()
	defer h.mu.Unlock()
	// A hostile program may name any number of sheets.
	if len(h.used) < maxSheets && !slices.Contains(h.used, key) {
		h.used = append(h.used, key)
	}
}

// summaries says where the used sheets stand.
func (h *sheetCache) summaries() ([]Summary, error) {
	h.mu.Lock()
	used := slices.Clone(h.used)
	h.mu.Unlock()
	var all []Summary
	for _, k := range used {
		s, err := h.open(k.lab, string(k.code))
		if err != nil {
			return all, err
		}
		sum, err := s.summary(false)
		if err != nil {
			return all, err
		}
		all = append(all, sum)
	}
	return all, nil
}

// refresh takes in what other kernels have appended to the log.
func (s *sheet) refresh() error {
	if s.log == "" {
		return nil
	}
	entries, next, err := ReadLog(s.log, s.read)
	if next < s.read { // the log was put away: begin again
		s.history = NewHistory(s.Sheet)
	}
	s.read = next
	for _, e := range entries {
		s.history.Take(e)
	}
	return err
}

// give keeps an answer, judged, or only recorded where the sheet is assessed. The
// error says that it could not be kept beyond the life of this lab server; the verdict
// stands all the same.
func (s *sheet) give(q bank.Question, a judge.Answer, assessed bool) (Submission, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.refresh()
	g := Submission{Answer: a, Kept: true, Again: s.history.again(q.ID, a)}
	e := Entry{Time: time.Now().UTC().Truncate(time.Second), Question: q.ID, Answer: a}
	if assessed {
		v := q.Understand(a)
		g.verdict = v
		e.Verdict = judge.Verdict{Outcome: v.Outcome, Of: v.Of, Understood: v.Understood}
	} else {
		s.history.settle()
		g.verdict = s.history.Judge(q, a, judge.Practice(s.history.tries(q.ID, a)))
		e.Verdict = g.verdict
	}
	if s.log == "" {
		s.history.Take(e)
	} else if failed := appendLog(s.log, e); failed != nil {
		s.history.Take(e)
		err = failed
	} else if failed := s.refresh(); failed != nil { // reads the entry back, with those of other kernels
		err = failed
	}
	g.Tries = s.history.standing[q.ID].Tries
	if s.given != nil && err == nil {
		s.given(s.Sheet.Lab.ID, e)
	}
	return g, err
}

// recording makes a recording once.
func (s *sheet) recording(r bank.Recording) ([][]float64, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if columns, ok := s.recordings[r.ID]; ok {
		return columns, nil
	}
	columns, err := r.Make()
	if err != nil {
		return nil, err
	}
	if len(columns) != len(r.Columns) {
		return nil, fmt.Errorf("recording %s has %d columns and names %d", r.ID, len(columns), len(r.Columns))
	}
	for _, c := range columns {
		if len(c) != len(columns[0]) {
			return nil, fmt.Errorf("recording %s has columns of %d and %d samples", r.ID, len(columns[0]), len(c))
		}
	}
	s.recordings[r.ID] = columns
	return columns, nil
}

// near lists those of the words that are like a mistyped one, the nearest
// first.
func near(word string, words []string) []string {
	type match struct {
		word string
		d    int
	}
	var found []match
	for _, w := range words {
		d := distance(strings.ToLower(word), strings.ToLower(w))
		if d <= 1+len(w)/4 {
			found = append(found, match{w, d})
		}
	}
	slices.SortStableFunc(found, func(a, b match) int { return a.d - b.d })
	var out []string
	for _, m := range found {
		out = append(out, m.word)
	}
	return out[:min(len(out), 3)]
}

// distance is how many characters have to be put in, taken out or replaced to
// turn a into b.
func distance(a, b string) int {
	if len(a) > 60 {
		return len(a)
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		last := row[0]
		row[0] = i + 1
		for j := range len(b) {
			replace := last
			if a[i] != b[j] {
				replace++
			}
			last = row[j+1]
			row[j+1] = min(replace, row[j]+1, last+1)
		}
	}
	return row[len(b)]
}

// RecordingsNamed are the frames with which a program asks for the recordings of a sheet that its
// text names. declared is how the text declares the sheet.
func RecordingsNamed(sheet bank.Sheet, declared notebook.Declaration, text string) (asked []wire.Frame) {
	for _, r := range sheet.Recordings {
		if strings.Contains(text, r.ID) {
			asked = append(asked, wire.Frame{Head: wire.Head{Kind: wire.Recording, Lab: declared.Lab, Code: declared.Code, Name: r.ID}})
		}
	}
	return asked
}
