package report

import (
	"fmt"
	"go/scanner"
	"go/token"
	"html/template"
	"strings"

	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/internal/mdhtml"
	"gravity.example/gravlab/notebook"
)

func (p *page) cell(i int, c *notebook.Cell) {
	class := string(c.Kind)
	from, part, ok := c.Question()
	if ok {
		class += " " + map[notebook.Part]string{notebook.QuestionText: "question", notebook.Answer: "answer"}[part]
	}
	var answers string
	if ok && part == notebook.Answer {
		answers = from
	}
	p.write("cell", struct {
		Class, Anchor, Answers string
		Inside                 template.HTML
	}{class, anchor(c.ID), answers, p.inside(func() { p.content(i, c) })})
}

// content writes what stands in a cell.
func (p *page) content(i int, c *notebook.Cell) {
	switch c.Kind {
	case notebook.Markdown:
		text := c.Source
		if i == p.first {
			text = p.rest
		}
		p.prose(fmt.Sprintf("cell %d", i+1), text, c.Attachments)
	case notebook.Raw:
		p.write("raw", c.Source)
	case notebook.Code:
		if c.Run > 0 {
			p.write("run", c.Run)
		}
		if strings.TrimSpace(c.Source) != "" {
			p.write("source", p.source(c.Source))
		}
		for _, o := range c.Outputs {
			p.output(i, o)
		}
	}
}

// prose writes Markdown and notes what could not be shown.
func (p *page) prose(where, text string, attached map[string]notebook.Bundle) {
	out, problems := mdhtml.HTML(htmlpage.Printable(text), mdhtml.Options{Shift: p.shift, Attachment: func(name string) (string, string, bool) {
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

// A piece is a part of a source in the colour of its class, if it has one.
type piece struct{ Class, Text string }

// source colours Go; what is in another language is left as it is.
func (p *page) source(code string) []piece {
	if _, language := p.notebook.Kernel(); language != "go" {
		return []piece{{"", code}}
	}
	if first := strings.TrimSpace(code); strings.HasPrefix(first, "%%writefile") || strings.HasPrefix(first, "%%script") || strings.HasPrefix(first, "%%bash") || strings.HasPrefix(first, "%%sh") {
		return []piece{{"", code}}
	}
	src := []byte(htmlpage.Printable(code))
	file := token.NewFileSet().AddFile("", -1, len(src))
	var s scanner.Scanner
	s.Init(file, src, func(token.Position, string) {}, scanner.ScanComments)
	var pieces []piece
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
		pieces = append(pieces, piece{"", string(src[done:at])}, piece{class, text})
		done = at + len(text)
	}
	return append(pieces, piece{"", string(src[done:])})
}
