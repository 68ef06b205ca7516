package marking

import (
	"embed"
	"encoding/base64"
	"html/template"
	"strings"

	"gravity.example/gravlab/draw"
	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/internal/mdhtml"
)

//go:embed style.css
var style string

//go:embed reply.html class.html remarks.html byeye.html
var files embed.FS

var (
	replyTemplates = htmlpage.Templates(files, "reply.html", nil)
	signTemplates  = htmlpage.Templates(files, "remarks.html", nil)
	classTemplates = htmlpage.Templates(files, "class.html", nil)
)

// page is an HTML file whose main part a template writes. What turns the order of
// letters round is left out, since names and answers come from anybody.
func page(title string, t *template.Template, name string, data any) []byte {
	body := htmlpage.Unturned(string(htmlpage.Render(t, name, data)))
	return htmlpage.Page{Title: htmlpage.Unturned(title), Style: style + shortStyle[name], Type: name == "class", Body: template.HTML(body)}.Bytes()
}

// shortStyle is the paper of the short form, by template.
var shortStyle = map[string]string{"short": "@media print { @page { margin: 12mm 13mm; } }\n"}

// paragraphs is Markdown of the bank as HTML.
func paragraphs(markdown string) template.HTML {
	out, _ := mdhtml.HTML(markdown, mdhtml.Options{Shift: 2})
	return template.HTML(strings.TrimRight(out, "\n") + "\n")
}

// inline is Markdown of the bank of one paragraph without its paragraph.
func inline(markdown string) template.HTML {
	out, _ := mdhtml.HTML(markdown, mdhtml.Options{})
	out = strings.TrimSpace(out)
	if s, ok := strings.CutPrefix(out, "<p>"); ok && strings.Count(out, "<p>") == 1 {
		out = strings.TrimSuffix(s, "</p>")
	}
	return template.HTML(out)
}

// A figureView is a figure as an image, which runs nothing whatever is in it.
type figureView struct {
	Problem, Alt, Caption string
	Source                template.HTMLAttr
}

func viewOf(pic picture) figureView {
	source, ok := htmlpage.Source("image/svg+xml", base64.StdEncoding.EncodeToString([]byte(draw.OnPage(pic.SVG))))
	if pic.Problem != "" || !ok {
		return figureView{Problem: orElse(pic.Problem, "it is empty")}
	}
	return figureView{Alt: orElse(pic.Alt, "a figure"), Caption: pic.Caption, Source: source}
}
