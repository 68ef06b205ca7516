package bench

import (
	"fmt"
	"html"
	"strings"

	"gravity.example/gravlab/frame"
	"gravity.example/gravlab/judge"
)

// done displays where the sheet stands.
func (s *Session) done(f frame.Frame) frame.Frame {
	sh, err := s.shelf.open(f.Lab, f.Code)
	if err != nil {
		return s.display(f, unreadable(f, err.Error()))
	}
	sum, err := sh.summary()
	if err != nil {
		s.bench.o.Complain(err.Error())
	}
	d := sum.Display(f.Assessed || s.bench.o.Assessed)
	reply := recorded()
	if err := s.put(d); err != nil && !s.o.Confined {
		reply.Text = fmt.Sprint(d["text/plain"])
	}
	return reply
}

// Display is the summary as a table. For an assessed sheet it says what was
// understood and not what it is worth.
func (s Summary) Display(assessed bool) Display {
	rows := make([]View, len(s.Standings))
	var left []string
	for i, st := range s.Standings {
		v := View{
			Question: st.Question.ID, Title: st.Question.Title, Outcome: st.Verdict.Outcome, Sign: st.Verdict.Outcome.Sign(),
			Marks: st.Verdict.Marks, Of: st.Verdict.Of, Understood: st.Verdict.Understood, Slip: st.Verdict.Slip,
		}
		if assessed {
			v = v.assessed()
		}
		if v.Outcome == judge.Blank || v.Outcome == judge.Unreadable {
			left = append(left, v.Question)
		}
		rows[i] = v
	}
	if !assessed {
		left = s.Left()
	}
	total := fmt.Sprintf("marks %d of %d", s.Marks, s.Of)
	if assessed {
		total = fmt.Sprintf("%d of %d questions given in", len(rows)-len(left), len(rows))
	}
	next := "Nothing is left to do."
	if len(left) > 0 {
		next = "Left to do: " + strings.Join(left, ", ") + "."
	}
	return Display{"text/plain": summaryText(rows, assessed, total, next), "text/html": summaryHTML(rows, assessed, total, next)}
}

func summaryText(rows []View, assessed bool, total, next string) string {
	var b strings.Builder
	width := 0
	for _, v := range rows {
		width = max(width, len(v.Question))
	}
	for _, v := range rows {
		fmt.Fprintf(&b, "%-*s  %s %-10s", width, v.Question, v.Sign, v.Outcome)
		if !assessed {
			fmt.Fprintf(&b, "  %2d of %2d", v.Marks, v.Of)
		}
		if v.Understood != "" {
			b.WriteString("  " + v.Understood)
		}
		b.WriteString("\n")
	}
	return b.String() + total + "\n" + next
}

func summaryHTML(rows []View, assessed bool, total, next string) string {
	var b strings.Builder
	esc := html.EscapeString
	b.WriteString(`<table class="gravlab-summary"><thead><tr><th style="text-align:left">question</th><th style="text-align:left">answer as understood</th><th style="text-align:left">verdict</th>`)
	if !assessed {
		b.WriteString("<th>marks</th>")
	}
	b.WriteString("</tr></thead><tbody>")
	for _, v := range rows {
		word := string(v.Outcome)
		if v.Slip != "" {
			word += ": " + v.Slip
		}
		fmt.Fprintf(&b, `<tr><td style="text-align:left">%s <code>%s</code></td><td style="text-align:left">%s</td><td style="text-align:left"><span aria-hidden="true" style="color:%s">%s</span> %s</td>`,
			esc(v.Title), esc(v.Question), esc(v.Understood), colours[v.Outcome], v.Sign, esc(word))
		if !assessed {
			fmt.Fprintf(&b, "<td>%d of %d</td>", v.Marks, v.Of)
		}
		b.WriteString("</tr>")
	}
	fmt.Fprintf(&b, "</tbody></table><p><strong>%s</strong> %s</p>", esc(sentence(total)), esc(next))
	return b.String()
}
