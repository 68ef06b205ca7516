package report

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"html/template"
	"regexp"
	"strings"
	"unicode/utf8"

	"gravity.example/gravlab/draw"
	"gravity.example/gravlab/internal/drawing"
	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
)

// imageTypes are the images that are shown, the sharpest first.
var imageTypes = []string{"image/svg+xml", "image/png", "image/jpeg", "image/gif"}

func (p *page) output(cell int, o *notebook.Output) {
	switch o.Kind {
	case notebook.Stream:
		name := "printed"
		if o.Name == "stderr" {
			name = "messages"
		}
		p.write(name, shorten(terminal(o.Text)))
	case notebook.Failure:
		p.failure(o)
	case notebook.Display, notebook.Result:
		p.bundle(cell, o.Data)
	}
}

// failure says in plain words that a cell did not run through.
func (p *page) failure(o *notebook.Output) {
	what := strings.TrimSpace(terminal(o.ErrValue))
	if name := strings.TrimSpace(o.ErrName); name != "" && !strings.EqualFold(name, "error") {
		what = name + ": " + what
	}
	trace := strings.TrimSpace(terminal(strings.Join(o.Traceback, "\n")))
	if trace == what {
		trace = ""
	}
	p.write("failure", struct{ What, Trace string }{shorten(what), shorten(trace)})
}

// bundle shows one thing in the best of its forms.
func (p *page) bundle(cell int, b notebook.Bundle) {
	if v, ok := readVerdict(b[judge.VerdictMIME]); ok {
		p.verdict(v)
		return
	}
	plain, _ := b.Text("text/plain")
	for _, mime := range imageTypes {
		if data, ok := b.Text(mime); ok && p.image(mime, data, plain, b[draw.ChartMIME]) {
			return
		}
	}
	if s, ok := b.Text("text/html"); ok {
		p.html(s)
		return
	}
	for _, mime := range []string{"text/markdown", "text/latex"} {
		if s, ok := b.Text(mime); ok {
			p.write("shown", "\n"+p.inside(func() { p.prose(fmt.Sprintf("an output of cell %d", cell+1), s, nil) }))
			return
		}
	}
	if plain == "" {
		if v, ok := b["application/json"]; ok {
			if text, err := json.MarshalIndent(v, "", "  "); err == nil {
				plain = string(text)
			}
		}
	}
	if plain != "" {
		p.write("printed", shorten(terminal(plain)))
		return
	}
	p.problems = append(p.problems, fmt.Sprintf("an output of cell %d has no form that a page can show", cell+1))
}

// image shows a picture. The first line of its plain form describes it for those
// who do not see it, the others are its caption.
func (p *page) image(mime, data, plain string, option any) bool {
	own := false
	if mime == "image/svg+xml" {
		ours := draw.OnPage(data)
		own = ours != data
		data = inBase64(ours)
	} else {
		data = strings.Join(strings.Fields(data), "")
	}
	source, ok := htmlpage.Source(mime, data)
	if !ok {
		return false
	}
	alt, caption, _ := strings.Cut(strings.TrimSpace(plain), "\n")
	if alt == "" {
		alt = "picture without a description"
	}
	p.write("figure", struct {
		Source       template.HTMLAttr
		Own          bool // drawn by package draw, on a ground of its own
		Alt, Caption string
		Chart        template.HTML
	}{source, own, alt, caption, p.chart(option)})
	return true
}

// chart is what stands beside a still image for its interactive chart; a script of
// the page (charts.js) turns it into a button.
func (p *page) chart(option any) template.HTML {
	if p.frames != nil && option != nil {
		return template.HTML(p.frames.Chart(option))
	}
	if option == nil || p.options.Charts == "" {
		return ""
	}
	text, err := json.Marshal(option)
	if err != nil {
		return ""
	}
	head, tail := draw.ChartPage(text)
	p.charts++
	return htmlpage.Render(templates, "chart", []string{head, tail})
}

func inBase64(s string) string { return base64.StdEncoding.EncodeToString([]byte(s)) }

// html shows HTML that came from a cell: rebuilt if it is simple, else in a
// frame that runs nothing and reaches nothing.
func (p *page) html(s string) {
	if safe, ok := simple(s); ok {
		p.write("shown", template.HTML(safe))
		return
	}
	if p.frames != nil {
		p.body.WriteString(p.frames.HTML(s))
		return
	}
	inner := `<!DOCTYPE html><meta charset="utf-8"><meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:"><style>body{font:16px sans-serif;background:#fff;color:#222;margin:.5em}</style>` + s
	p.write("foreign", inner)
}

// A verdict is what the lab server says about an answer. Fields that are not there
// stay empty.
type verdict struct {
	Question   string `json:"question"`
	Outcome    string `json:"outcome"`
	Sign       string `json:"sign"`
	Marks      int    `json:"marks"`
	Of         int    `json:"of"`
	Understood string `json:"understood"`
	Message    string `json:"message"`
	Reasoning  string `json:"reasoning"`
	Drawing    string `json:"drawing"`
}

func readVerdict(v any) (verdict, bool) {
	var out verdict
	if v == nil {
		return out, false
	}
	text, err := json.Marshal(v)
	if err != nil || json.Unmarshal(text, &out) != nil {
		return out, false
	}
	return out, out.Outcome != ""
}

func (p *page) verdict(v verdict) {
	label := htmlpage.LabelOf(judge.Outcome(v.Outcome))
	label.Sign = v.Sign
	marks := ""
	if v.Of > 0 && v.Outcome != string(judge.OutcomeRecorded) {
		marks = fmt.Sprintf("%d of %d marks", v.Marks, v.Of)
		if v.Of == 1 {
			marks = strings.TrimSuffix(marks, "s")
		}
	}
	var lines []string
	for line := range strings.Lines(v.Message) {
		if line = strings.TrimSpace(line); line != "" {
			lines = append(lines, line)
		}
	}
	p.write("verdict", struct {
		Label           htmlpage.Label
		Question, Marks string
		Understood      template.HTML
		Lines           []string
		Drawn, Why      template.HTML
	}{label, v.Question, marks, together(v.Understood), lines, drawing.HTML(v.Drawing), p.inside(func() {
		if v.Reasoning != "" {
			p.prose("the reasoning of "+v.Question, v.Reasoning, nil)
		}
	})})
}

// together is HTML that keeps a number with its uncertainty and unit on one line; a
// remark in brackets behind them may stand on the next.
func together(understood string) template.HTML {
	number, rest := understood, ""
	if at := strings.Index(understood, " ("); at > 0 {
		number, rest = understood[:at], understood[at:]
	}
	if utf8.RuneCountInString(number) > 30 { // so many fit into the narrowest window
		number, rest = "", understood
	}
	return htmlpage.Render(templates, "together", struct{ Number, Rest string }{number, rest})
}

// mostText is how much of one printed text is shown.
const mostText = 60_000

// shorten leaves out the middle of a very long text.
func shorten(s string) string {
	if len(s) <= mostText {
		return s
	}
	half := mostText / 2
	left := strings.ToValidUTF8(s[:half], "")
	right := strings.ToValidUTF8(s[len(s)-half:], "")
	return fmt.Sprintf("%s\n\n… %d bytes are left out here …\n\n%s", left, len(s)-len(left)-len(right), right)
}

// escapes are the sequences by which programs colour a terminal.
var escapes = regexp.MustCompile("\x1b\\[[0-?]*[ -/]*[@-~]|\x1b\\][^\x07\x1b]*(?:\x07|\x1b\\\\)?|\x1b[ -/]*[0-~]")

// terminal is what a terminal would show in the end: without colours, each
// line as it was last written after a carriage return.
func terminal(s string) string {
	s = escapes.ReplaceAllString(s, "")
	s = strings.ReplaceAll(s, "\r\n", "\n")
	if strings.Contains(s, "\r") {
		lines := strings.Split(s, "\n")
		for i, l := range lines {
			l = strings.TrimRight(l, "\r")
			lines[i] = l[strings.LastIndexByte(l, '\r')+1:]
		}
		s = strings.Join(lines, "\n")
	}
	return strings.TrimRight(s, "\n")
}
