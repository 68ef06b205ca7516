package marking

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/labserver"
)

// verdicts judges what was submitted, in its order, as the lab server does when it is
// submitted; what a verdict tells is that of a marking (judge.WithMarks).
func verdicts(p bank.Sheet, r run, refs []reference) judged {
	var out judged
	at := map[string]int{}
	for i, q := range p.Questions {
		at[q.ID] = i
		out.Verdicts = append(out.Verdicts, verdictOf{Entry: labserver.Entry{Question: q.ID, Verdict: judge.Verdict{Outcome: judge.OutcomeBlank, Of: q.Marks, Message: "No answer."}}})
	}
	history := labserver.NewHistory(p)
	for _, e := range r.Given {
		i, ok := at[e.Question]
		if !ok {
			continue // a question that the bank no longer has
		}
		v, q := &out.Verdicts[i], p.Questions[i]
		if e.Verdict.Outcome == judge.OutcomeUnreadable {
			// Never an answer; it counts where there is no other.
			if !v.Given {
				e.Verdict.Of = q.Marks
				v.Entry = e
			}
			continue
		}
		v.Entry, v.Given = e, true
		if ref, ok := find(refs, e.Question); ok {
			v.Entry.Verdict = ref.judge(q, e.Answer)
			v.Virtual = false
			if v.Entry.Verdict.Marks == 0 {
				o, failed := judgeSafely(history, q, e.Answer)
				v.Virtual = !failed && (o.Outcome == judge.OutcomeRight || o.Outcome == judge.OutcomeCarried)
			}
		} else {
			var failed bool
			if v.Entry.Verdict, failed = judgeSafely(history, q, e.Answer); failed {
				out.Notes = append(out.Notes, fmt.Sprintf("the judge failed at the answer to %s; read it yourself", q.ID))
			}
		}
		history.Take(v.Entry)
	}
	for i := range out.Verdicts {
		out.Verdicts[i].Tries = r.Tries[out.Verdicts[i].Entry.Question]
	}
	return out
}

// judgeSafely judges; a bank that panics costs the one answer.
func judgeSafely(history *labserver.History, q bank.Question, a judge.Answer) (v judge.Verdict, failed bool) {
	defer func() {
		if r := recover(); r != nil {
			v, failed = judge.Verdict{Outcome: judge.OutcomeUnreadable, Of: q.Marks, Message: "The judge failed at this answer. Your lecturer looks at it."}, true
		}
	}()
	return history.Judge(q, a, judge.WithMarks), false
}

// rulesFormat counts changes of how verdicts are made of the same bank and run.
const rulesFormat = 3

// rulesOf is a fingerprint of what verdicts on a lab rest on: the bank, as far as it
// shows on the default sheet and a numbered one, and the references.
func rulesOf(lab bank.Lab, refs []reference) string {
	h := sha256.New()
	fmt.Fprintf(h, "rules %d %d\n", runFormat, rulesFormat)
	for _, p := range samples(lab) {
		right := p.RightAnswers()
		for _, q := range p.Questions {
			fmt.Fprintf(h, "%q %q %q %d %v %q %q %q %v\n", q.ID, q.Kind, q.Text(), q.Marks, q.Tol, q.Unit, q.Uses, q.Hints, right[q.ID])
			if q.U != nil {
				fmt.Fprintln(h, q.U())
			}
			for _, s := range slices.Concat(q.Slips, q.USlips) {
				fmt.Fprintf(h, "%q %q %v\n", s.Name, s.Fix, s.Value(right))
			}
			fmt.Fprintf(h, "%+v\n", q.Options)
			if f := q.Function; f != nil {
				for _, call := range f.Calls {
					fmt.Fprint(h, f.Signature, call, f.Right(call))
					for _, s := range f.Slips {
						fmt.Fprint(h, s.Name, s.Fix, s.F(call))
					}
				}
			}
		}
	}
	text, _ := json.Marshal(refs)
	h.Write(text)
	return hex.EncodeToString(h.Sum(nil))[:32]
}
