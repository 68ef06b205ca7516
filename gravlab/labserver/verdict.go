package labserver

import (
	"embed"
	"fmt"
	"html/template"
	"strings"
	"unicode"
	"unicode/utf8"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/internal/drawing"
	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/internal/mdhtml"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/wire"
)

// A View is what the display of a verdict says.
type View struct {
	Lab        string        `json:"lab"`      // "01-weighing-the-earth"
	Code       string        `json:"code"`     // the sheet's code, "" for the default variant
	Question   string        `json:"question"` // "kappa"
	Title      string        `json:"title"`    // the question's, "" if there is no such question
	Outcome    judge.Outcome `json:"outcome"`  // of an assessed sheet one of Question.Understand
	Sign       string        `json:"sign"`     // stands before the outcome: ✓ △ ✗ • – …
	Marks      int           `json:"marks"`    // 0 if it is only recorded
	Of         int           `json:"of"`
	Understood string        `json:"understood"`          // "1.23 ± 0.04 µN·m/rad", may be ""
	Message    string        `json:"message"`             // lines, may be ""
	Slip       string        `json:"slip"`                // name of the slip, "" if there is none
	Drawing    string        `json:"drawing,omitempty"`   // a drawing of it (package internal/drawing)
	Reasoning  string        `json:"reasoning,omitempty"` // the bank's, Markdown, once an answer is right
}

// viewOf is the view of a verdict on a question of a sheet.
func viewOf(p target, v judge.Verdict) View {
	reasoning := ""
	if v.Outcome == judge.OutcomeRight || v.Outcome == judge.OutcomeCarried {
		reasoning = p.question.Reasoning
		if c := p.question.Compare; c != "" {
			reasoning += "\n\n" + c + " Yours: " + v.Understood + "."
		}
	}
	return View{
		Reasoning: reasoning,
		Lab:       p.sheet.Sheet.Lab.ID, Code: string(p.sheet.Sheet.Code), Question: p.question.ID, Title: p.question.Title,
		Outcome: v.Outcome, Sign: v.Outcome.Sign(), Marks: v.Marks, Of: v.Of,
		Understood: v.Understood, Message: v.Message, Slip: v.Slip, Drawing: v.Drawing,
	}
}

// unreadable is the view of an answer to no question.
func unreadable(f wire.Frame, message string) View {
	o := judge.OutcomeUnreadable
	return View{Lab: clip.Line(f.Lab, 60), Code: clip.Line(f.Code, 60), Question: clip.Line(f.Question, 60), Outcome: o, Sign: o.Sign(), Message: sentence(message)}
}

func unreadableVerdict(q bank.Question, message string) judge.Verdict {
	return judge.Verdict{Outcome: judge.OutcomeUnreadable, Of: q.Marks, Message: message}
}

// sentence makes a sentence of an error's text.
func sentence(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	s = string(unicode.ToUpper(first)) + s[size:]
	if strings.HasSuffix(s, "?") {
		return s
	}
	return s + "."
}

// maxLines is how long a verdict may be.
const maxLines = 3

// lines are the lines of a verdict in plain text, at most three.
func (v View) lines() (head string, rest []string) {
	head = v.Sign + " " + string(v.Outcome) + ": " + v.Question
	if v.Understood != "" {
		head += ", read as " + v.Understood
	}
	if v.Outcome != judge.OutcomeRecorded && v.Of > 0 {
		head += fmt.Sprintf(" (marks %d of %d)", v.Marks, v.Of)
	}
	for l := range strings.Lines(v.Message) {
		if l = strings.TrimSpace(l); l != "" {
			rest = append(rest, l)
		}
	}
	if len(rest) > maxLines-1 {
		rest = []string{rest[0], strings.Join(rest[1:], " ")}
	}
	return head, rest
}

func (v View) plain() string {
	head, rest := v.lines()
	return strings.Join(append([]string{head}, rest...), "\n")
}

//go:embed labserver.html
var files embed.FS

var templates = htmlpage.Templates(files, "labserver.html", nil)

// html is the verdict as a piece of HTML with its style in it. The text keeps
// the colour of the page, which may be light or dark.
func (v View) html() string {
	_, rest := v.lines()
	why, _ := mdhtml.HTML(v.Reasoning, mdhtml.Options{Shift: 2}) // the bank's texts have no problems: a test reads them
	return string(htmlpage.Render(templates, "verdict", struct {
		View
		Colour template.CSS
		Marked bool
		Lines  []string
		Drawn  template.HTML
		Why    template.HTML
	}{v, htmlpage.Colour(v.Outcome), v.Outcome != judge.OutcomeRecorded && v.Of > 0, rest, drawing.HTML(v.Drawing), template.HTML(why)}))
}

// Display is the view in all its forms.
func (v View) Display() Display {
	return Display{"text/plain": v.plain(), "text/html": v.html(), judge.VerdictMIME: notebook.Object(v)}
}

// display shows the verdict on an answer and acknowledges the answer.
func (s *Session) display(v View) wire.Frame {
	var err error
	if s.o.Show != nil {
		err = s.put(v.Display())
	}
	reply := recorded()
	if s.o.Confined {
		return reply // always the same
	}
	if err != nil {
		reply.Text = v.Question + ": recorded (there is no notebook to show the verdict in)"
		if v.Outcome == judge.OutcomeUnreadable {
			reply.Text = v.plain()
		}
	}
	return reply
}
