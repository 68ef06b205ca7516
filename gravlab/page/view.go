package page

import (
	"path/filepath"
	"strings"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/mdhtml"
	"gravity.example/gravlab/notebook"
)

// A view is a lab as the page shows it.
type view struct {
	Name      string         `json:"name"`
	Title     string         `json:"title"`
	Remark    string         `json:"remark"` // whose numbers it has
	Minutes   int            `json:"minutes"`
	Number    string         `json:"number"` // of the lab, "" if it is none
	Copy      string         `json:"copy"`   // path of the working copy
	Foreign   bool           `json:"foreign"`
	Allowed   bool           `json:"allowed"`
	Confined  bool           `json:"confined"` // its code reaches nothing of this machine
	Writer    bool           `json:"writer"`
	Place     string         `json:"place"`
	Blocks    []block        `json:"blocks"`
	Standings []standingView `json:"standings"`
	Marks     int            `json:"marks"`
	Of        int            `json:"of"`
	Assessed  bool           `json:"assessed"`
	Fault     string         `json:"fault"`
	Ride      *rideView      `json:"ride,omitempty"` // what the reader may record with their device
	Beside    []string       `json:"beside"`         // recordings of the reader's own beside the working copy
}

type rideView struct {
	After    string   `json:"after"` // a question
	Does     string   `json:"does"`
	Cautions []string `json:"cautions"`
}

// A block is one cell.
type block struct {
	ID     string `json:"id"`
	Kind   string `json:"kind"` // text, code, raw
	HTML   string `json:"html"` // of text
	Source string `json:"source"`
	Output string `json:"output"` // HTML
	Sheet  bool   `json:"sheet"`  // declares the sheet
	Draws  bool   `json:"draws"`  // all it puts out is what it shows
	Awaits bool   `json:"awaits"` // what it shows is worked out when the lab is opened
	Older  bool   `json:"older"`  // its output is older than its code
	Of     string `json:"of"`     // the question that a text belongs to: "kappa"
	Ask    *ask   `json:"ask"`
	Window bool   `json:"window"` // a fit to a part of a recording can be tried beside it
}

// An ask is how a question is answered.
type ask struct {
	Question string   `json:"question"`
	Title    string   `json:"title"`
	Kind     string   `json:"kind"`            // a judge.Kind
	Form     bool     `json:"form"`            // answered in fields, not in code
	Unit     string   `json:"unit"`            // that the field suggests
	Fields   fields   `json:"fields"`          // as they were submitted
	Draft    *fields  `json:"draft,omitempty"` // as they were typed since
	Options  []option `json:"options"`
	Hints    []string `json:"hints,omitempty"` // shown when asked for; none on a sheet for marks
}

type option struct {
	Letter string `json:"letter"`
	HTML   string `json:"html"`
}

// A standingView is where the reader stands with a question.
type standingView struct {
	Question string `json:"question"`
	Title    string `json:"title"`
	Kind     string `json:"kind"` // a judge.Kind
	Cell     string `json:"cell"`
	Read     string `json:"read"` // what was understood
	Sign     string `json:"sign"`
	Outcome  string `json:"outcome"`
	Marks    int    `json:"marks"`
	Of       int    `json:"of"`
}

// view builds the view. The caller holds b.mu.
func (b *document) view() view {
	v := view{
		Name: b.name, Copy: b.copy, Foreign: !b.own, Allowed: b.own || b.allowed, Confined: !b.server.o.Unconfined, Fault: b.fault, Assessed: b.assessed,
		Place: b.server.desk.get().Cells[b.name],
	}
	if b.server.o.Seat != nil {
		v.Copy = filepath.Base(b.copy) // where this computer keeps it is not the reader's business
	}
	if b.hasSheet {
		v.Title, v.Minutes, v.Number = b.sheet.Lab.Title, b.sheet.Lab.Minutes, b.sheet.Lab.Number()
		v.Remark = "default sheet"
		if b.sheet.Code != "" {
			v.Remark = "sheet " + string(b.sheet.Code)
		}
		if b.sheet.Sealed {
			v.Remark = "sealed sheet " + string(b.sheet.Code) + ": its numbers come from your lecturer's key, so that nothing here can tell whether an answer is right"
		}
	}
	if ride := b.sheet.Lab.Ride; b.hasSheet && ride.File != "" {
		v.Ride = &rideView{ride.After, ride.Does, ride.Cautions}
	}
	v.Beside = b.beside()
	for i, c := range b.nb.Cells {
		v.Blocks = append(v.Blocks, b.block(i, c))
	}
	if v.Title == "" {
		v.Title = firstHeading(b.nb)
	}
	v.Standings, v.Marks, v.Of = b.standings()
	return v
}

func firstHeading(nb *notebook.Notebook) string {
	for _, c := range nb.Cells {
		if c.Kind == notebook.Markdown {
			if line, _, _ := strings.Cut(strings.TrimSpace(c.Source), "\n"); strings.HasPrefix(line, "# ") {
				return strings.TrimSpace(line[2:])
			}
		}
	}
	return "Notebook"
}

// standings lists where the reader stands.
func (b *document) standings() (list []standingView, marks, of int) {
	sum := b.summary()
	if sum == nil {
		return []standingView{}, 0, 0
	}
	for _, st := range sum.Standings {
		v := standingView{Question: st.Question.ID, Title: st.Question.Title, Kind: string(st.Question.Kind), Read: st.Verdict.Understood, Sign: st.Verdict.Outcome.Sign(), Outcome: string(st.Verdict.Outcome), Marks: st.Verdict.Marks, Of: st.Verdict.Of}
		if b.assessed {
			v.Read = "" // it stands in the cell; here it would be a result
		}
		if c := b.nb.Question(b.sheet.Lab.FullID(st.Question.ID), notebook.Answer); c != nil {
			v.Cell = c.ID
		}
		list = append(list, v)
	}
	return list, sum.Marks, sum.Of
}

// block is one cell.
func (b *document) block(i int, c *notebook.Cell) block {
	out := block{ID: c.ID, Kind: "code", Source: c.Source}
	q, isQuestion := bank.Question{}, false
	from, part, marked := c.Question()
	if marked && b.hasSheet {
		q, isQuestion = b.sheet.Question(from)
	}
	switch {
	case c.Kind == notebook.Markdown && isQuestion && part == notebook.QuestionText:
		out.Kind, out.Source, out.Of = "text", "", q.ID
		text := c.Source
		// The options stand in the form, where they are chosen.
		if answer := b.nb.Question(from, notebook.Answer); text == q.Text() && len(q.Options) > 0 && answer != nil && b.formOf(q, answer) {
			bare := q
			bare.Options = nil
			text = bare.Text()
		}
		out.HTML = b.prose(text, c)
	case c.Kind == notebook.Markdown:
		out.Kind, out.Source, out.HTML = "text", "", b.prose(c.Source, c)
	case c.Kind == notebook.Raw:
		out.Kind = "raw"
	default:
		out.Output = b.outputs(i, c.Outputs)
		out.Draws, out.Awaits, out.Older = drawsOnly(c), b.awaits(c), b.older(i, c)
		if of, ok := windowIn(c); ok && b.hasSheet && b.server.o.Apparatus != nil {
			_, out.Window = b.sheet.Recording(of.recording)
		}
		out.Sheet = marked && part == notebook.Sheet
		if isQuestion && part == notebook.Answer {
			out.Ask = b.ask(q, c)
		}
	}
	return out
}

// ask says how a question is answered.
func (b *document) ask(q bank.Question, c *notebook.Cell) *ask {
	a := &ask{Question: q.ID, Title: q.Title, Kind: string(q.Kind), Form: b.formOf(q, c), Unit: q.Unit}
	a.Fields, _ = typed(c)
	if f, ok := drafted(c); ok {
		a.Draft = &f
	}
	if !b.assessed && !b.sheet.Sealed && q.Hints[0] != "" {
		a.Hints = q.Hints[:]
	}
	for _, o := range q.Options {
		text := strings.TrimSpace(b.prose(o.Text, c))
		text = strings.TrimSuffix(strings.TrimPrefix(text, "<p>"), "</p>")
		a.Options = append(a.Options, option{o.Letter, text})
	}
	return a
}

// prose renders Markdown, with what was attached to its cell.
func (b *document) prose(text string, c *notebook.Cell) string {
	html, problems := mdhtml.HTML(text, mdhtml.Options{Attachment: func(name string) (string, string, bool) {
		for _, mime := range []string{"image/png", "image/jpeg", "image/gif"} {
			if data, ok := c.Attachments[name].Text(mime); ok {
				return mime, data, true
			}
		}
		return "", "", false
	}})
	for _, p := range problems {
		b.server.o.Log(b.name + ", " + c.ID + ": " + p.Error())
	}
	return html
}
