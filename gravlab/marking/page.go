package marking

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html"
	"strings"
	"unicode"

	"gravity.example/gravlab/internal/prose"
	"gravity.example/gravlab/judge"
)

//go:embed style.css
var style string

// A page is an HTML file in the making. It is complete in itself and tells the
// browser to load nothing and to run nothing.
type page struct{ bytes.Buffer }

const policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"

// begin writes the head of a page.
func (p *page) begin(title string) {
	p.printf("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n")
	p.printf("<meta http-equiv=\"Content-Security-Policy\" content=\"%s\">\n", policy)
	p.printf("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<meta name=\"color-scheme\" content=\"light dark\">\n")
	p.printf("<title>%s</title>\n<style>\n%s</style>\n</head>\n<body>\n<main>\n", esc(title), style)
}

func (p *page) end() []byte {
	p.printf("</main>\n</body>\n</html>\n")
	return p.Bytes()
}

func (p *page) printf(format string, args ...any) { fmt.Fprintf(p, format, args...) }

// prose writes Markdown of the bank.
func (p *page) prose(markdown string) {
	out, _ := prose.HTML(markdown, prose.Options{Shift: 2})
	p.WriteString(strings.TrimRight(out, "\n") + "\n")
}

// inline writes Markdown of the bank of one paragraph without its paragraph.
func inline(markdown string) string {
	out, _ := prose.HTML(markdown, prose.Options{})
	out = strings.TrimSpace(out)
	if s, ok := strings.CutPrefix(out, "<p>"); ok && strings.Count(out, "<p>") == 1 {
		return strings.TrimSuffix(s, "</p>")
	}
	return out
}

// esc makes any text harmless in a page, and drops what HTML cannot hold and what
// turns the order of letters round.
func esc(s string) string {
	return html.EscapeString(strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' {
			return r
		}
		if unicode.IsControl(r) || r == '\ufffe' || r == '\uffff' || unicode.Is(unicode.Bidi_Control, r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd")))
}

// looks are the classes of the outcomes; style.css gives each its colour.
var looks = map[judge.Outcome]string{
	judge.Right: "right", judge.Carried: "carried", judge.Slip: "slip", judge.Unit: "slip",
	judge.Off: "off", judge.Unreadable: "off",
}

// outcome is the word of a verdict with its sign and its colour.
func outcome(o judge.Outcome) string {
	class := looks[o]
	if class == "" {
		class = "quiet"
	}
	return fmt.Sprintf("<span class=\"outcome %s\"><span aria-hidden=\"true\">%s</span> %s</span>", class, o.Sign(), esc(string(o)))
}

// picture writes a figure as an image, which runs nothing whatever is in it.
func (p *page) picture(pic picture) {
	if pic.Problem != "" || pic.SVG == "" {
		p.printf("<p class=\"quiet\">A figure is not shown: %s.</p>\n", esc(orElse(pic.Problem, "it is empty")))
		return
	}
	p.printf("<figure>\n<img alt=\"%s\" src=\"data:image/svg+xml;base64,%s\">\n", esc(orElse(pic.Alt, "a figure")), base64.StdEncoding.EncodeToString([]byte(pic.SVG)))
	if pic.Caption != "" {
		p.printf("<figcaption>%s</figcaption>\n", esc(pic.Caption))
	}
	p.printf("</figure>\n")
}
