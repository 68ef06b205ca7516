package labserver

import (
	"fmt"
	"math"
	"slices"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

// A History plays the answers to a sheet in their order: where they leave each
// question, and what the next one builds on. The lab server takes them from its log, and
// marking from what a program submitted.
type History struct {
	sheet    bank.Sheet
	standing map[string]*Standing
}

// A Standing is where a sheet stands with one question.
type Standing struct {
	Question bank.Question
	Answered bool // something was submitted, a blank too
	Answer   judge.Answer
	Verdict  judge.Verdict // of the last answer; Blank if there is none
	Tries    int           // answers that were no blanks and no repetitions of the one before

	known bank.Answers // what an answer that was only recorded builds on
}

// maxTries is how many answers to one question pass without a remark.
const maxTries = 20

// Remark says what a person should know about the answers to the question; as
// a rule nothing.
func (s Standing) Remark() string {
	if s.Tries <= maxTries {
		return ""
	}
	return fmt.Sprintf("%d different answers were submitted to %s", s.Tries, s.Question.ID)
}

// NewHistory begins with no answers to a sheet.
func NewHistory(p bank.Sheet) *History {
	h := &History{sheet: p, standing: map[string]*Standing{}}
	for _, q := range p.Questions {
		h.standing[q.ID] = &Standing{Question: q, Verdict: judge.Verdict{Outcome: judge.OutcomeBlank, Of: q.Marks}}
	}
	return h
}

// Judge judges an answer with those that stand to the questions that it builds on;
// telling says how much the verdict tells.
func (h *History) Judge(q bank.Question, given judge.Answer, telling judge.Telling) judge.Verdict {
	return h.sheet.Judge(q, given, h.known(), telling)
}

// known are the standing answers that others may build on.
func (h *History) known() bank.Answers {
	known := bank.Answers{}
	for id, st := range h.standing {
		// 0 stands for no number.
		if v := st.Verdict.SI; v != 0 && !math.IsNaN(v) && !math.IsInf(v, 0) {
			known[id] = v
		}
	}
	return known
}

// Take makes an entry the last answer to its question. One to a question that the
// bank no longer has is left out.
func (h *History) Take(e Entry) {
	st := h.standing[e.Question]
	if st == nil {
		return
	}
	if e.Verdict.Outcome != judge.OutcomeBlank && !h.again(e.Question, e.Answer) {
		st.Tries++
	}
	st.known = nil
	if e.Verdict.Outcome == judge.OutcomeRecorded {
		st.known = h.known()
		e.Verdict.SI = st.Question.Understand(e.Answer).SI
	}
	st.Answered, st.Answer, st.Verdict = true, e.Answer, e.Verdict
}

// again reports whether an answer is the one that stands, as when a cell is run
// again.
func (h *History) again(question string, given judge.Answer) bool {
	st := h.standing[question]
	return st.Answered && same(given, st.Answer)
}

// tries is how many different answers to a question came before an answer. The
// same answer again is no other one.
func (h *History) tries(question string, given judge.Answer) int {
	st := h.standing[question]
	if st.Verdict.Outcome != judge.OutcomeBlank && h.again(question, given) {
		return st.Tries - 1
	}
	return st.Tries
}

// settle judges the answers that were only recorded, each with what stood when it
// was submitted.
func (h *History) settle() {
	for _, st := range h.standing {
		if st.Verdict.Outcome == judge.OutcomeRecorded {
			st.Verdict = h.sheet.Judge(st.Question, st.Answer, st.known, judge.Practice(st.Tries-1))
		}
	}
}

// standings are where the questions stand, in the order of the sheet. Of an assessed
// sheet they say what was understood.
func (h *History) standings(assessed bool) []Standing {
	if !assessed {
		h.settle()
	}
	var all []Standing
	for _, q := range h.sheet.Questions {
		st := *h.standing[q.ID]
		if assessed && st.Answered {
			st.Verdict = q.Understand(st.Answer)
		}
		st.known = nil
		all = append(all, st)
	}
	return all
}

// same reports whether two answers are the same.
func same(a, b judge.Answer) bool {
	return a.Unit == b.Unit && a.Text == b.Text && a.Typed == b.Typed && a.Fault == b.Fault &&
		equal(a.Value, b.Value) && equal(a.U, b.U) &&
		slices.EqualFunc(a.Values, b.Values, func(x, y []float64) bool { return slices.EqualFunc(x, y, equal) })
}

// equal takes two NaN for equal.
func equal(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
