// Package report writes an executed notebook as one HTML file to read, print and
// keep.
//
// The file is complete in itself: styles, figures, math (MathML, see package prose)
// and charts are in it, and it loads nothing from anywhere. It says so to the
// browser too, by a content security policy that forbids everything but its
// own style and images inside the file.
//
// A notebook may come from anybody, so nothing of it is trusted: text is
// escaped, SVG is shown as an image, HTML is rebuilt from a few harmless elements or,
// if it holds more, shown in a frame that runs no script and reaches nothing. The only
// scripts are those that start the charts; each is allowed by its hash, and the
// charts run in frames of their own.
//
// The same notebook and options give the same bytes.
package report

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html"
	"io"
	"strings"

	"gravity.example/gravlab/draw"
	"gravity.example/gravlab/internal/prose"
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
	p.tail()
	_, err := w.Write(p.body.Bytes())
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

func (p *page) printf(format string, args ...any) { fmt.Fprintf(&p.body, format, args...) }

// esc escapes text for HTML and drops what HTML cannot hold.
func esc(s string) string { return html.EscapeString(printable(s)) }

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
	p.printf("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n")
	p.printf("<meta http-equiv=\"Content-Security-Policy\" content=\"%s\">\n", p.policy())
	p.printf("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<meta name=\"color-scheme\" content=\"light dark\">\n")
	p.printf("<title>%s</title>\n<style>\n%s</style>\n</head>\n<body>\n<main>\n", esc(p.title), style)
	if p.shift == 0 { // it may hold math
		heading, _ := prose.HTML("# "+printable(p.title), prose.Options{})
		p.body.WriteString(heading)
	} else {
		p.printf("<h1>%s</h1>\n", esc(p.title))
	}
	if p.options.Remark != "" {
		p.printf("<p class=\"remark\">%s</p>\n", esc(p.options.Remark))
	}
}

// policy forbids all loading. With charts it allows three scripts, by their
// hashes: this page's, ECharts and the one that starts a chart.
func (p *page) policy() string {
	policy := "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
	if p.charts == 0 {
		return policy
	}
	policy += "; script-src"
	for _, script := range []string{openCharts, draw.ScriptText(p.options.Charts), draw.StartScript} {
		sum := sha256.Sum256([]byte(script))
		policy += " 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	}
	return policy
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
	p.printf("<section class=\"marks\" aria-labelledby=\"marks\">\n<h2 id=\"marks\">Questions and marks</h2>\n")
	p.printf("<p class=\"total\">marks <strong>%d</strong> of %d</p>\n", marks, of)
	p.printf("<table>\n<thead><tr><th scope=\"col\">question</th><th scope=\"col\">answer as understood</th><th scope=\"col\">verdict</th><th scope=\"col\" class=\"number\">marks</th></tr></thead>\n<tbody>\n")
	for _, r := range rows {
		name := esc(r.Title)
		if name == "" {
			name = esc(r.From)
		}
		if c := p.notebook.Question(r.From, notebook.Answer); c != nil {
			name = fmt.Sprintf("<a href=\"#%s\">%s</a>", anchor(c.ID), name)
		}
		answer := esc(r.Understood)
		if answer == "" {
			answer = "<span class=\"quiet\">none</span>"
		}
		p.printf("<tr><th scope=\"row\">%s</th><td>%s</td><td>%s</td><td class=\"number\">%d of %d</td></tr>\n",
			name, answer, outcome(string(r.Outcome), r.Outcome.Sign(), r.Slip), r.Marks, r.Of)
	}
	p.printf("</tbody>\n</table>\n</section>\n")
}

// outcome is the word of a verdict with its sign; the colour comes from its
// class.
func outcome(word, sign, slip string) string {
	class, ok := looks[judge.Outcome(word)]
	if !ok {
		class = "quiet"
	}
	s := fmt.Sprintf("<span class=\"outcome %s\"><span aria-hidden=\"true\">%s</span> %s</span>", class, esc(sign), esc(word))
	if slip != "" {
		s += ": " + esc(slip)
	}
	return s
}

// looks are the classes of the outcomes; style.css gives each its colour.
var looks = map[judge.Outcome]string{
	judge.Right: "right", judge.Carried: "carried", judge.Slip: "slip", judge.Unit: "slip",
	judge.Off: "off", judge.Unreadable: "off", judge.Blank: "quiet", judge.Waiting: "quiet",
	judge.Recorded: "recorded",
}

func (p *page) tail() {
	if len(p.problems) > 0 {
		p.printf("<section class=\"problems\" aria-labelledby=\"problems\">\n<h2 id=\"problems\">What this report could not show</h2>\n<ul>\n")
		for _, s := range p.problems {
			p.printf("<li>%s</li>\n", esc(s))
		}
		p.printf("</ul>\n</section>\n")
	}
	p.printf("</main>\n")
	if p.charts > 0 {
		p.printf("<script type=\"text/plain\" id=\"echarts\">%s</script>\n<script>%s</script>\n", draw.ScriptText(p.options.Charts), openCharts)
	}
	p.printf("</body>\n</html>\n")
}

// anchor is the name of a cell's place in the page. The prefix keeps it apart
// from the page's own.
func anchor(id string) string { return "cell-" + esc(id) }
