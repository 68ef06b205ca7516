// Package report writes an executed notebook as one HTML file to read, print and
// keep.
//
// The file is complete in itself: styles, figures, math (MathML, see package mdhtml)
// and charts are in it, and it loads nothing from anywhere. It says so to the
// browser too, by a content security policy that forbids everything but its
// own style and images inside the file.
//
// A notebook may come from anyone, so nothing of it is trusted: text is
// escaped, SVG is shown as an image, HTML is rebuilt from a few harmless elements or,
// if it holds more, shown in a frame that runs no script and reaches nothing. The only
// scripts are those that start the charts; each is allowed by its hash, and the
// charts run in frames of their own.
//
// The same notebook and options give the same bytes.
package report

import (
	"bytes"
	"embed"
	"html/template"
	"io"
	"strings"

	"gravity.example/gravlab/draw"
	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/internal/mdhtml"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
)

// Options say what stands in a report besides the notebook. The zero value is
// a report without marks and with still images only.
type Options struct {
	// Title names the page. If it is empty the first heading does.
	Title string
	// Questions are the rows of the table of marks, in their order; with none
	// there is no table.
	Questions []QuestionRow
	// Remark is a line under the title, for example whose sheet it is.
	Remark string
	// Charts is the text of ECharts 5 (dist/echarts.min.js of the npm package). With it
	// the charts can be opened; without it their still images stand alone.
	Charts string
}

// QuestionRow is a question and what was answered.
type QuestionRow struct {
	From       string // the question as cells name it: "01/kappa"; links to the answer
	Title      string
	Understood string // the answer as it was understood; empty if there is none
	Outcome    judge.Outcome
	Slip       string // the name of the slip, if it is one
	Marks, Of  int
}

//go:embed style.css
var style string

//go:embed charts.js
var openCharts string

//go:embed report.html
var files embed.FS

var templates = htmlpage.Templates(files, "report.html", nil)

// Write writes the report on nb to w.
func Write(w io.Writer, nb *notebook.Notebook, o Options) error {
	p := &page{options: o, notebook: nb, shift: 1, first: -1}
	p.findTitle()
	for i, c := range nb.Cells {
		p.cell(i, c)
	}
	body := p.body.String()
	p.body.Reset()
	p.head()
	p.marks()
	p.body.WriteString(body)
	if len(p.problems) > 0 {
		p.write("problems", p.problems)
	}
	scripts, allowed := p.scripts()
	out := htmlpage.Page{Title: p.title, Style: style, Type: true, Body: template.HTML(p.body.String()), Scripts: scripts, Allowed: allowed}
	_, err := w.Write(out.Bytes())
	return err
}

// A page is a report in the making.
type page struct {
	options  Options
	notebook *notebook.Notebook
	title    string
	shift    int     // of headings: 0 if the page's title is the notebook's own
	first    int     // the cell that the title was taken from, -1 if none
	rest     string  // of that cell, without the title
	charts   int     // that can be opened
	frames   *Frames // not nil: a fragment for another page
	problems []string
	body     bytes.Buffer
}

// write adds what a template makes of data.
func (p *page) write(name string, data any) {
	p.body.WriteString(string(htmlpage.Render(templates, name, data)))
}

// inside returns what do adds, instead of adding it.
func (p *page) inside(do func()) template.HTML {
	outer := p.body
	p.body = bytes.Buffer{}
	do()
	inner := p.body.String()
	p.body = outer
	return template.HTML(inner)
}

// findTitle takes the title from the options or from the first heading. A
// notebook that begins with a first-level heading of its own needs no other: it
// becomes the page's, and is left out of its cell.
func (p *page) findTitle() {
	p.title = p.options.Title
	for i, c := range p.notebook.Cells {
		if c.Kind != notebook.Markdown {
			continue
		}
		heading, rest, _ := strings.Cut(strings.TrimSpace(c.Source), "\n")
		heading, ok := strings.CutPrefix(heading, "# ")
		heading = strings.TrimSpace(heading)
		if ok && (p.title == "" || p.title == heading) {
			p.title, p.shift = heading, 0
			p.first, p.rest = i, rest
		}
		break
	}
	if p.title == "" {
		p.title = "Notebook"
	}
}

func (p *page) head() {
	if p.shift == 0 { // it may hold math
		heading, _ := mdhtml.HTML("# "+htmlpage.Printable(p.title), mdhtml.Options{})
		p.body.WriteString(heading)
	} else {
		p.write("title", p.title)
	}
	if p.options.Remark != "" {
		p.write("remark", p.options.Remark)
	}
}

// marks writes the table of questions.
func (p *page) marks() {
	rows := p.options.Questions
	if len(rows) == 0 {
		return
	}
	marks, of := 0, 0
	for _, r := range rows {
		marks += r.Marks
		of += r.Of
	}
	type row struct {
		QuestionRow
		Name, Anchor string
		Label        htmlpage.Label
	}
	var out []row
	for _, r := range rows {
		name := r.Title
		if name == "" {
			name = r.From
		}
		o := row{QuestionRow: r, Name: name, Label: htmlpage.LabelOf(r.Outcome)}
		if c := p.notebook.Question(r.From, notebook.Answer); c != nil {
			o.Anchor = anchor(c.ID)
		}
		out = append(out, o)
	}
	p.write("marks", struct {
		Marks, Of int
		Rows      []row
	}{marks, of, out})
}

// scripts are those that open the charts, and the texts of all that may run: this
// page's, ECharts and the one that starts a chart.
func (p *page) scripts() (scripts template.HTML, allowed []string) {
	if p.charts == 0 {
		return "", nil
	}
	charts := draw.ScriptText(p.options.Charts)
	scripts = htmlpage.Render(templates, "scripts", struct {
		Charts template.HTML // not run as it stands, and safe inside an element script
		Open   template.JS
	}{template.HTML(charts), template.JS(openCharts)})
	return scripts, []string{openCharts, charts, draw.StartScript}
}

// anchor is the name of a cell's place in the page. The prefix keeps it apart
// from the page's own.
func anchor(id string) string { return "cell-" + id }
