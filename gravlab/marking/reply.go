package marking

import (
	"fmt"
	"html/template"
	"path/filepath"
	"slices"
	"strings"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/sandbox"
)

// A replyView is what reply.html is filled from.
type replyView struct {
	Lab, Code, Title, Who string
	Unmarked              *unmarkedView
	Marked                *markedView
}

// An unmarkedView says why there is no marked file, and what the lecturer gave all
// the same.
type unmarkedView struct {
	Several int // files with the code, none of which is marked
	N       int // files that cannot be marked
	Files   []unusableView
	Given   []givenView
}

type (
	unusableView struct{ Name, Why string }
	givenView    struct {
		Title, Reason, Earned string
		Of                    int
	}
)

type markedView struct {
	Several     bool // files, one of which was marked
	Total       string
	Of, Waiting int
	Cells       []cellView
	MoreCells   int
	Questions   []questionView
	Figures     []figureView
	Shown       int // of figures, if more than there are here
	Legend      []legendView
	Survey      bool // the lab is about ground that somebody may dig
}

// A cellView says what happened in a cell, or in the notebook if Cell is 0.
type cellView struct {
	Cell int
	Text string
}

type optionView struct {
	Letter string
	Text   template.HTML
}

// A questionView is what was asked, given, understood and earned.
type questionView struct {
	ID, FullID, Title     string
	Prompt                template.HTML
	Options               []optionView
	Given                 template.HTML // empty if nothing was
	Understood, Reference string
	Label                 htmlpage.Label
	Slip                  string
	Read                  bool // by the lecturer, who left a comment in Lines
	WasRead, Adjusted     bool // for the table of marks
	Earned, Marks         string
	Of                    int
	Lines                 []string
	Change                *changeView
}

// A changeView is the lecturer's own decision about a question.
type changeView struct {
	Marks, Reason string
	Of            int
}

type legendView struct {
	Label htmlpage.Label
	Means string
}

var legend = []legendView{
	{htmlpage.LabelOf(judge.OutcomeRight), "within the tolerance of the question"},
	{htmlpage.LabelOf(judge.OutcomeCarried), "right, given your answer to an earlier question"},
	{htmlpage.LabelOf(judge.OutcomeSlip), "a mistake that the judge knows; it is named"},
	{htmlpage.LabelOf(judge.OutcomeUnit), "the right number with a wrong or missing unit"},
	{htmlpage.LabelOf(judge.OutcomeOff), "not recognised, or not in all its parts"},
	{htmlpage.LabelOf(judge.OutcomeUnreadable), "not a number, not an option, or a function that fails"},
	{htmlpage.LabelOf(judge.OutcomeBlank), "nothing entered"},
	{htmlpage.LabelOf(judge.OutcomeWaiting), "a text that your lecturer has still to read"},
}

// replies writes the forms of the reply to one student. Without a marked file it says why.
func (b *marksBook) replies(r *row, ran run, verdicts []verdictOf, pictures []picture) error {
	who := r.student.ID
	if r.student.Name != "" {
		who = r.student.Name + " (" + r.student.ID + ")"
	}
	view := replyView{Lab: b.lab.Number(), Code: string(r.code), Title: b.lab.Title, Who: who}
	if r.item == nil {
		view.Unmarked = b.unmarked(r)
	} else {
		view.Marked = b.markedView(r, ran, verdicts, pictures)
	}
	title := b.lab.Title + ": reply to " + who
	short := view.short(b.sheet(r).Questions, verdicts)
	for _, f := range replyForms {
		text := page(title, replyTemplates, "reply", view)
		if f != "" {
			short.Large = f == LargePrint
			text = page(title, replyTemplates, "short", short)
		}
		if err := atomicfile.WriteFile(b.replyPath(f, r.student.ID), text, 0o600); err != nil {
			return err
		}
	}
	return nil
}

// The forms of a reply: the whole one, a short one of two pages, and that in large print.
// Each is the folder of its files, below replies.
const (
	WholeReply = ""
	ShortReply = "short"
	LargePrint = "large"
)

var replyForms = []string{WholeReply, ShortReply, LargePrint}

func (b *marksBook) replyPath(form, id string) string {
	return filepath.Join(b.k.Out, "replies", form, id+".html")
}

// A shortView is what the short form is filled from: right answers have one line each, the rest
// what the student gave, the slip, and the bank's reasoning.
type shortView struct {
	replyView
	Large bool
	Right []questionView
	Rest  []restView
}

type restView struct {
	questionView
	Reasoning template.HTML
}

// mostShort is how many characters of a text the short form has; the whole reply has all.
const mostShort = 240

// short is the short form of a reply.
func (v replyView) short(questions []bank.Question, verdicts []verdictOf) shortView {
	out := shortView{replyView: v}
	if v.Marked == nil {
		return out
	}
	for i, q := range v.Marked.Questions {
		if questions[i].Kind == judge.KindText && q.Given != "" {
			q.Given = htmlpage.Render(replyTemplates, "plain", "“"+clip.Line(verdicts[i].Entry.Answer.Text, mostShort)+"”")
		}
		if q.Earned == marksText(float64(q.Of)) && q.Change == nil && !q.Read {
			out.Right = append(out.Right, q)
		} else {
			out.Rest = append(out.Rest, restView{q, paragraphs(questions[i].Reasoning)})
		}
	}
	return out
}

func (b *marksBook) unmarked(r *row) *unmarkedView {
	var view unmarkedView
	if len(r.items) > 0 {
		view.Several = r.others + 1
	}
	for _, s := range r.strays {
		if s.waits {
			continue
		}
		if view.N++; view.N <= mostCells {
			view.Files = append(view.Files, unusableView{s.file, strings.TrimPrefix(s.why, "it ")})
		}
	}
	if !r.marks().Counts() {
		return &view
	}
	for i, q := range b.questions {
		if c := r.cells[i]; c.Counts {
			view.Given = append(view.Given, givenView{q.Title, b.adjust.marks[r.student.ID][q.ID].Reason, marksText(c.Earned), q.Marks})
		}
	}
	return &view
}

func (b *marksBook) markedView(r *row, ran run, verdicts []verdictOf, pictures []picture) *markedView {
	sheet := b.sheet(r)
	view := &markedView{
		Several: r.others > 0,
		Total:   marksText(r.marks().Total()), Of: sheet.Marks(), Waiting: r.marks().Waiting(),
		Legend: legend, Survey: slices.Contains(b.lab.Tracks, bank.SurveyHire),
	}
	view.Cells, view.MoreCells = cellsOf(ran)
	for i, q := range sheet.Questions {
		view.Questions = append(view.Questions, b.question(r, q, verdicts[i], r.cells[i], len(view.Cells) > 0))
	}
	for _, pic := range pictures {
		view.Figures = append(view.Figures, viewOf(pic))
	}
	if ran.Shown > len(pictures) {
		view.Shown = ran.Shown
	}
	return view
}

// question is one question. trouble says that the reply tells of cells in which an
// answer may have been lost.
func (b *marksBook) question(r *row, q bank.Question, v verdictOf, c cell, trouble bool) questionView {
	verdict := v.Entry.Verdict
	view := questionView{
		ID: q.ID, FullID: b.lab.FullID(q.ID), Title: q.Title, Prompt: paragraphs(q.Prompt),
		Label: htmlpage.LabelOf(verdict.Outcome), Slip: verdict.Slip,
		WasRead: verdict.Outcome == judge.OutcomeWaiting && !c.Waits, Adjusted: c.Adjusted,
		Earned: marksText(c.Earned), Marks: count(q.Marks, "mark"), Of: q.Marks,
	}
	for _, o := range q.Options {
		view.Options = append(view.Options, optionView{o.Letter, inline(o.Text)})
	}
	if v.Given {
		view.Given = given(q, v)
		if q.Kind != judge.KindText && q.Kind != judge.KindChoice {
			view.Understood = verdict.Understood
		}
	}
	if ref, ok := find(b.refs.of(r.student.ID), q.ID); ok {
		view.Reference = ref.text()
	}
	message := verdict.Message
	if verdict.Outcome == judge.OutcomeBlank && !v.Given && trouble {
		message += "\nWhat happened when your notebook was run, above, may say where an answer was lost."
	}
	var eye eyeMark
	if verdict.Outcome == judge.OutcomeWaiting {
		eye, view.Read = b.eye.of(r.student.ID, q.ID, v.Entry.Answer.Text)
	}
	if view.Read {
		message = eye.comment
	} else if verdict.Slip != "" {
		// Its first line repeats the name of the slip.
		if first, rest, ok := strings.Cut(message, "\n"); ok && strings.HasSuffix(first, "?") {
			message = rest
		}
	}
	for line := range strings.Lines(message) {
		if line = strings.TrimSpace(line); line != "" {
			view.Lines = append(view.Lines, line)
		}
	}
	if a, ok := b.adjust.marks[r.student.ID][q.ID]; ok {
		view.Change = &changeView{marksText(a.Marks), a.Reason, q.Marks}
	}
	return view
}

// given is the answer as the student gave it, as HTML.
func given(q bank.Question, v verdictOf) template.HTML {
	a := v.Entry.Answer
	show := func(name string, data any) template.HTML { return htmlpage.Render(replyTemplates, name, data) }
	switch {
	case q.Kind == judge.KindText:
		return show("words", a.Text)
	case q.Kind == judge.KindChoice:
		for _, o := range q.Options {
			if v.Entry.Verdict.Understood == "option "+o.Letter {
				return show("option", optionView{o.Letter, inline(o.Text)})
			}
		}
		return show("code", clip.Line(a.Text, 100))
	case q.Kind == judge.KindFunction && a.Fault != "":
		return show("plain", "a function that failed: "+clip.Line(a.Fault, 300))
	case q.Kind == judge.KindFunction && len(a.Values) == 1:
		return show("plain", "a function, called once")
	case q.Kind == judge.KindFunction:
		return show("plain", fmt.Sprintf("a function, called at %d points", len(a.Values)))
	case a.Typed:
		return show("code", clip.Line(a.Text, 200))
	case a.U != 0 || q.Kind == judge.KindMeasured:
		return show("code", fmt.Sprintf("%.7g ± %.3g%s", a.Value, a.U, unitText(a.Unit)))
	default:
		return show("code", fmt.Sprintf("%.7g%s", a.Value, unitText(a.Unit)))
	}
}

// unitText is a unit behind its number; that of a pure number is not written.
func unitText(unit string) string {
	if unit = clip.Line(unit, 60); unit == "" || unit == "1" {
		return ""
	}
	return " " + unit
}

// mostCells is how many cells the reply lists that did not run through.
const mostCells = 20

// cellsOf says which cells did not run through, and why, and how many more there are.
func cellsOf(ran run) (lines []cellView, more int) {
	told := map[int]bool{}
	for _, m := range ran.Remarks {
		told[m.Cell] = true
		where := ""
		if m.Line > 0 {
			where = fmt.Sprintf("line %d: ", m.Line)
		}
		lines = append(lines, cellView{m.Cell, where + m.Text})
	}
	for _, c := range ran.Cells {
		if text := cellText(c); text != "" && !told[c.Index+1] {
			lines = append(lines, cellView{c.Index + 1, text})
		}
	}
	slices.SortStableFunc(lines, func(x, y cellView) int { return x.Cell - y.Cell })
	if ran.Ended != sandbox.LimitNone && len(lines) == 0 {
		lines = append(lines, cellView{0, "the notebook met a limit: " + string(ran.Ended)})
	}
	for _, note := range ran.Notes { // on answers that no question has
		lines = append(lines, cellView{0, "the notebook " + note})
	}
	for i := range lines {
		if lines[i].Cell > 0 {
			lines[i].Text = strings.TrimPrefix(lines[i].Text, "this cell ")
		}
	}
	if len(lines) > mostCells {
		lines, more = lines[:mostCells], len(lines)-mostCells
	}
	return lines, more
}
