package report

import (
	"fmt"
	"go/scanner"
	"go/token"
	"strings"

	"gravity.example/gravlab/internal/prose"
	"gravity.example/gravlab/notebook"
)

func (p *page) cell(i int, c *notebook.Cell) {
	class := string(c.Kind)
	from, part, ok := c.Question()
	if ok {
		class += " " + map[notebook.Part]string{notebook.QuestionText: "question", notebook.Answer: "answer"}[part]
	}
	p.printf("<section class=\"cell %s\" id=\"%s\">\n", class, anchor(c.ID))
	if ok && part == notebook.Answer {
		p.printf("<p class=\"label\">your answer to <code>%s</code></p>\n", esc(from))
	}
	switch c.Kind {
	case notebook.Markdown:
		text := c.Source
		if i == p.first {
			text = p.rest
		}
		p.prose(fmt.Sprintf("cell %d", i+1), text, c.Attachments)
	case notebook.Raw:
		p.printf("<pre class=\"raw\" tabindex=\"0\">%s</pre>\n", esc(c.Source))
	case notebook.Code:
		if c.Run > 0 {
			p.printf("<span class=\"run\" title=\"this cell was run number %d\">%d</span>\n", c.Run, c.Run)
		}
		if strings.TrimSpace(c.Source) != "" {
			p.printf("<pre class=\"source\" tabindex=\"0\"><code>%s</code></pre>\n", p.source(c.Source))
		}
		for _, o := range c.Outputs {
			p.output(i, o)
		}
	}
	p.printf("</section>\n")
}

// prose writes Markdown and notes what could not be shown.
func (p *page) prose(where, text string, attached map[string]notebook.Bundle) {
	out, problems := prose.HTML(printable(text), prose.Options{Shift: p.shift, Attachment: func(name string) (string, string, bool) {
		for _, mime := range imageTypes {
			if data, ok := attached[name].Text(mime); ok {
				if mime == "image/svg+xml" {
					data = inBase64(data)
				}
				return mime, data, true
			}
		}
		return "", "", false
	}})
	for _, err := range problems {
		p.problems = append(p.problems, where+": "+err.Error())
	}
	p.body.WriteString(strings.TrimRight(out, "\n") + "\n")
}

// source colours Go; what is in another language is left as it is.
func (p *page) source(code string) string {
	if _, language := p.notebook.Kernel(); language != "go" {
		return esc(code)
	}
	if first := strings.TrimSpace(code); strings.HasPrefix(first, "%%writefile") || strings.HasPrefix(first, "%%script") || strings.HasPrefix(first, "%%bash") || strings.HasPrefix(first, "%%sh") {
		return esc(code)
	}
	src := []byte(printable(code))
	file := token.NewFileSet().AddFile("", -1, len(src))
	var s scanner.Scanner
	s.Init(file, src, func(token.Position, string) {}, scanner.ScanComments)
	var b strings.Builder
	done := 0
	for {
		pos, tok, text := s.Scan()
		if tok == token.EOF {
			break
		}
		class := ""
		switch {
		case tok == token.COMMENT:
			class = "comment"
		case tok.IsKeyword():
			class = "keyword"
		case tok == token.STRING || tok == token.CHAR:
			class = "string"
		case tok == token.INT || tok == token.FLOAT:
			class = "digits"
		}
		at := file.Offset(pos)
		if class == "" || at < done || at+len(text) > len(src) || string(src[at:at+len(text)]) != text {
			continue
		}
		b.WriteString(esc(string(src[done:at])))
		fmt.Fprintf(&b, "<span class=\"%s\">%s</span>", class, esc(text))
		done = at + len(text)
	}
	b.WriteString(esc(string(src[done:])))
	return b.String()
}
