package teach

import (
	"cmp"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/labserver"
)

// A standing is where a student stands with a question, as the lecturer sees it.
type standing struct {
	outcome judge.Outcome
	slip    string
	remedy  string
	choice  bool // the slip is an option
	half    bool // a part of the marks is earned
	when    time.Time
	tries   int    // different answers in a row that were not right
	last    string // the answer, to tell another one from the same again
}

// A tally is where a student stands with all questions, by lab and question.
type tally map[string]map[string]*standing

// take counts an answer.
func (t tally) take(lab string, e labserver.Entry) {
	if t[lab] == nil {
		t[lab] = map[string]*standing{}
	}
	s := t[lab][e.Question]
	if s == nil {
		s = &standing{}
		t[lab][e.Question] = s
	}
	text, _ := json.Marshal(e.Answer) // of an entry that was read or written as JSON
	v := e.Verdict
	switch {
	case v.Outcome == judge.OutcomeRight || v.Outcome == judge.OutcomeCarried:
		s.tries = 0
	case v.Outcome != judge.OutcomeBlank && string(text) != s.last:
		s.tries++
	}
	s.last = string(text)
	s.half = v.Marks > 0 && v.Marks < v.Of
	s.outcome, s.slip, s.when = v.Outcome, v.Slip, e.Time
	s.remedy, s.choice = strings.TrimSpace(v.Message), strings.HasPrefix(v.Slip, "option ")
}

// readTally counts what the answers logs of a student's folder hold.
func readTally(dir string, sheet func(lab string) string, labs []string) tally {
	t := tally{}
	for _, lab := range labs {
		entries, _, err := labserver.ReadLog(filepath.Join(dir, "answers", lab, sheet(lab)+".jsonl"), 0)
		if err != nil && !os.IsNotExist(err) {
			continue // what cannot be read is told where it is needed: when the student answers
		}
		for _, e := range entries {
			t.take(lab, e)
		}
	}
	return t
}

// ofLate is how old an answer may be whose slip goes round now.
const ofLate = 20 * time.Minute

// A round is a slip that goes round, with its remedy.
type round struct {
	Lab      string `json:"lab"`
	Question string `json:"question"`
	Title    string `json:"title"`
	Slip     string `json:"slip"`
	Remedy   string `json:"remedy"`
	Students int    `json:"students"`
	names    []string
}

// roundsOf lists the slips that stand now and were made of late, the most frequent first.
func roundsOf(tallies map[string]tally, now time.Time) []round {
	type key struct{ lab, question, slip, remedy string }
	found := map[key]*round{}
	for who, t := range tallies {
		for lab, questions := range t {
			for q, s := range questions {
				if s.slip == "" || s.outcome != judge.OutcomeSlip || now.Sub(s.when) > ofLate {
					continue
				}
				k := key{lab, q, s.slip, ""}
				if s.choice {
					// Its letter differs from sheet to sheet; the remedy tells the idea.
					k.slip, k.remedy = "a wrong option", s.remedy
				}
				if found[k] == nil {
					found[k] = &round{Lab: lab, Question: q, Slip: k.slip}
				}
				found[k].Students++
				if r := found[k]; len(s.remedy) > len(r.Remedy) || len(s.remedy) == len(r.Remedy) && s.remedy < r.Remedy {
					r.Remedy = s.remedy
				}
				found[k].names = append(found[k].names, who)
			}
		}
	}
	all := []round{}
	for _, r := range found {
		all = append(all, *r)
	}
	slices.SortFunc(all, func(a, b round) int {
		return cmp.Or(b.Students-a.Students, cmp.Compare(a.Lab, b.Lab), cmp.Compare(a.Question, b.Question), cmp.Compare(a.Slip, b.Slip))
	})
	return all
}
