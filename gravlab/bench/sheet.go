package bench

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

// sheetKey tells sheets apart.
type sheetKey struct {
	lab  string
	code bank.Code
}

// A sheet is a paper and the answers to it so far.
type sheet struct {
	paper bank.Sheet
	log   string // path, "" for memory only

	mu         sync.Mutex
	read       int64 // how far the log is read
	standing   map[string]*Standing
	recordings map[string][][]float64
}

// A Standing is where a sheet stands with one question.
type Standing struct {
	Question bank.Question
	Answered bool // something was given in, a blank too
	Answer   judge.Answer
	Verdict  judge.Verdict // of the last answer; Blank if there is none
	Tries    int           // answers that were no blanks and no repetitions of the one before
}

// maxTries is how many answers to one question pass without a remark.
const maxTries = 20

// Remark says what a person should know about the answers to the question; as
// a rule nothing.
func (s Standing) Remark() string {
	if s.Tries <= maxTries {
		return ""
	}
	return fmt.Sprintf("%d different answers were given in to %s", s.Tries, s.Question.ID)
}

// A shelf holds sheets that are in use.
type shelf struct {
	find func(id string) (bank.Lab, error)
	data string // folder of the logs, "" for memory only

	mu     sync.Mutex
	sheets map[sheetKey]*sheet
	used   []sheetKey // that answers were given in to, in order
}

func newShelf(find func(id string) (bank.Lab, error), data string) *shelf {
	return &shelf{find: find, data: data, sheets: map[sheetKey]*sheet{}}
}

// A shelf with logs forgets its sheets when it has this many: it costs a log
// read later and no answer. One without takes no more.
const maxSheets = 64

// open finds a sheet by what a cell says of it. The error is for the student.
func (h *shelf) open(lab, code string) (*sheet, error) {
	l, err := h.find(lab)
	if err != nil {
		return nil, err
	}
	c, err := bank.ParseCode(code)
	if err != nil {
		return nil, err
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
	s := &sheet{paper: l.Sheet(c), recordings: map[string][][]float64{}}
	if h.data != "" {
		s.log = LogFile(h.data, l.ID, c)
	}
	s.clear()
	h.sheets[key] = s
	return s, nil
}

// use notes that an answer was given in to a sheet.
func (h *shelf) use(s *sheet) {
	key := sheetKey{s.paper.Lab.ID, s.paper.Code}
	h.mu.Lock()
	defer h.mu.Unlock()
	// A hostile program may name any number of sheets.
	if len(h.used) < maxSheets && !slices.Contains(h.used, key) {
		h.used = append(h.used, key)
	}
}

// summaries says where the used sheets stand.
func (h *shelf) summaries() ([]Summary, error) {
	h.mu.Lock()
	used := slices.Clone(h.used)
	h.mu.Unlock()
	var all []Summary
	for _, k := range used {
		s, err := h.open(k.lab, string(k.code))
		if err != nil {
			return all, err
		}
		sum, err := s.summary()
		if err != nil {
			return all, err
		}
		all = append(all, sum)
	}
	return all, nil
}

// clear makes every question unanswered.
func (s *sheet) clear() {
	s.standing = map[string]*Standing{}
	for _, q := range s.paper.Questions {
		s.standing[q.ID] = &Standing{Question: q, Verdict: judge.Verdict{Outcome: judge.Blank, Of: q.Marks}}
	}
}

// refresh takes in what other kernels have appended to the log.
func (s *sheet) refresh() error {
	if s.log == "" {
		return nil
	}
	entries, next, err := ReadLog(s.log, s.read)
	if next < s.read { // the log was put away: begin again
		s.clear()
	}
	s.read = next
	for _, e := range entries {
		s.take(e)
	}
	return err
}

// take makes an entry the last answer to its question.
func (s *sheet) take(e Entry) {
	st := s.standing[e.Question]
	if st == nil {
		return // a question that the bank no longer has
	}
	if e.Verdict.Outcome != judge.Blank && !(st.Answered && same(e.Answer, st.Answer)) {
		st.Tries++
	}
	st.Answered, st.Answer, st.Verdict = true, e.Answer, e.Verdict
}

// same says whether two answers are the same, as when a cell is run again.
func same(a, b judge.Answer) bool {
	return a.Unit == b.Unit && a.Text == b.Text && a.Typed == b.Typed && a.Fault == b.Fault &&
		equal(a.Value, b.Value) && equal(a.U, b.U) &&
		slices.EqualFunc(a.Values, b.Values, func(x, y []float64) bool { return slices.EqualFunc(x, y, equal) })
}

// equal holds a NaN equal to another.
func equal(a, b float64) bool { return a == b || a != a && b != b }

// give judges an answer and keeps it. The error says that it could not be kept
// beyond the life of this bench; the verdict stands all the same.
func (s *sheet) give(q bank.Question, a judge.Answer) (judge.Verdict, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.refresh()
	own := bank.Answers{}
	for id, st := range s.standing {
		// 0 stands for no number.
		if v := st.Verdict.SI; v != 0 && !math.IsNaN(v) && !math.IsInf(v, 0) {
			own[id] = v
		}
	}
	st := s.standing[q.ID]
	tries := st.Tries
	if st.Answered && st.Verdict.Outcome != judge.Blank && same(a, st.Answer) {
		tries-- // the same answer again earns no further hint
	}
	v := s.paper.Judge(q, a, own, tries)
	e := Entry{Time: time.Now().UTC().Truncate(time.Second), Question: q.ID, Answer: a, Verdict: v}
	if s.log == "" {
		s.take(e)
		return v, nil
	}
	if failed := appendLog(s.log, e); failed != nil {
		s.take(e)
		return v, failed
	}
	if failed := s.refresh(); failed != nil { // reads the entry back, with those of other kernels
		return v, failed
	}
	return v, err
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

// A Summary is where a sheet stands.
type Summary struct {
	Lab       bank.Lab
	Code      bank.Code
	Marks, Of int
	Standings []Standing // in the order of the paper
}

// Summary reads the log and says where a sheet stands. The lab may be given by
// its number.
func (b *Bench) Summary(lab, code string) (Summary, error) {
	s, err := b.shelf.open(lab, code)
	if err != nil {
		return Summary{}, err
	}
	return s.summary()
}

// Summaries says where the sheets stand that answers were given in to since the
// bench began, in the order of their first answers.
func (b *Bench) Summaries() ([]Summary, error) { return b.shelf.summaries() }

func (s *sheet) summary() (Summary, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.refresh()
	sum := Summary{Lab: s.paper.Lab, Code: s.paper.Code, Of: s.paper.Marks()}
	for _, q := range s.paper.Questions {
		st := *s.standing[q.ID]
		sum.Standings = append(sum.Standings, st)
		sum.Marks += st.Verdict.Marks
	}
	return sum, err
}

// Left lists the questions that nothing, or nothing right, was given in to.
func (s Summary) Left() []string {
	var left []string
	for _, st := range s.Standings {
		if st.Verdict.Outcome != judge.Waiting && st.Verdict.Marks < st.Verdict.Of {
			left = append(left, st.Question.ID)
		}
	}
	return left
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
