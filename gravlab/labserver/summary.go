package labserver

import (
	"fmt"
	"html/template"
	"strings"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/wire"
)

// done displays where the sheet stands.
func (s *Session) done(f wire.Frame) wire.Frame {
	sh, err := s.shelf.open(f.Lab, f.Code)
	if err != nil {
		return s.display(unreadable(f, err.Error()))
	}
	sum, err := sh.summary(f.Assessed || s.bench.o.Assessed)
	if err != nil {
		s.bench.o.Log(err.Error())
	}
	d := sum.Display()
	reply := recorded()
	if err := s.put(d); err != nil && !s.o.Confined {
		reply.Text = fmt.Sprint(d["text/plain"])
	}
	return reply
}

// A Summary is where a sheet stands.
type Summary struct {
	Lab       bank.Lab
	Code      bank.Code
	Sealed    bool // only its name is known here: the numbers come from the lecturer's key
	Assessed  bool // it says what was understood: no marks, and no other verdicts than those of Question.Understand
	Marks, Of int
	Standings []Standing // in the order of the sheet
}

// Summary reads the log and says where a sheet stands. The lab may be given by
// its number; assessed is how the notebook declares the sheet.
func (b *Server) Summary(lab, code string, assessed bool) (Summary, error) {
	s, err := b.shelf.open(lab, code)
	if err != nil {
		return Summary{}, err
	}
	return s.summary(assessed)
}

// Summaries says where the sheets stand that answers were submitted to since the
// bench began, in the order of their first answers.
func (b *Server) Summaries() ([]Summary, error) { return b.shelf.summaries() }

func (s *sheet) summary(assessed bool) (Summary, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	assessed = assessed || s.Sheet.Sealed
	err := s.refresh()
	sum := Summary{Lab: s.Sheet.Lab, Code: s.Sheet.Code, Sealed: s.Sheet.Sealed, Assessed: assessed, Of: s.Sheet.Marks(), Standings: s.history.standings(assessed)}
	for _, st := range sum.Standings {
		sum.Marks += st.Verdict.Marks
	}
	return sum, err
}

// Left lists the questions without an answer, or without a right one; of an
// assessed sheet those with nothing, or with something that needs another look.
func (s Summary) Left() []string {
	var left []string
	for _, st := range s.Standings {
		v := st.Verdict
		done := v.Outcome == judge.OutcomeWaiting || v.Marks == v.Of
		if s.Assessed {
			done = given(v) && v.Message == ""
		}
		if !done {
			left = append(left, st.Question.ID)
		}
	}
	return left
}

// given reports whether there is something to mark.
func given(v judge.Verdict) bool {
	return v.Outcome != judge.OutcomeBlank && v.Outcome != judge.OutcomeUnreadable
}

// Display is the summary as a table. For an assessed sheet it says what was
// understood and not what it is worth.
func (s Summary) Display() Display {
	n := 0
	for _, st := range s.Standings {
		if given(st.Verdict) {
			n++
		}
	}
	left := s.Left()
	total := fmt.Sprintf("marks %d of %d", s.Marks, s.Of)
	if s.Assessed {
		total = fmt.Sprintf("%d of %d questions answered", n, len(s.Standings))
		if s.Sealed {
			total += " (a sealed sheet: its numbers come from your lecturer's key, so that this program cannot tell whether an answer is right)"
		}
	}
	next := "Nothing is left to do."
	if len(left) > 0 {
		next = "Left to do: " + strings.Join(left, ", ") + "."
	}
	return Display{"text/plain": s.text(total, next), "text/html": s.html(total, next)}
}

func (s Summary) text(total, next string) string {
	var b strings.Builder
	width := 0
	for _, st := range s.Standings {
		width = max(width, len(st.Question.ID))
	}
	for _, st := range s.Standings {
		v := st.Verdict
		fmt.Fprintf(&b, "%-*s  %s %-10s", width, st.Question.ID, v.Outcome.Sign(), v.Outcome)
		if !s.Assessed {
			fmt.Fprintf(&b, "  %2d of %2d", v.Marks, v.Of)
		}
		if v.Understood != "" {
			b.WriteString("  " + v.Understood)
		}
		b.WriteString("\n")
	}
	return b.String() + total + "\n" + next
}

func (s Summary) html(total, next string) string {
	type row struct {
		Question   bank.Question
		Verdict    judge.Verdict
		Colour     template.CSS
		Sign, Word string
	}
	var rows []row
	for _, st := range s.Standings {
		v := st.Verdict
		word := string(v.Outcome)
		if v.Slip != "" {
			word += ": " + v.Slip
		}
		rows = append(rows, row{st.Question, v, htmlpage.Colour(v.Outcome), v.Outcome.Sign(), word})
	}
	return string(htmlpage.Render(templates, "summary", struct {
		Assessed    bool
		Rows        []row
		Total, Next string
	}{s.Assessed, rows, sentence(total), next}))
}
