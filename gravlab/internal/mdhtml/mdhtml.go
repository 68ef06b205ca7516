// Package mdhtml turns the text of notebooks, Markdown with TeX math, into HTML
// that needs nothing else: no script, no style sheet, no font, no network.
//
// # Text
//
// Markdown is CommonMark with tables and strikethrough (goldmark). HTML in it is
// shown as the characters it is made of, never passed on. Links may lead to http,
// https and mailto addresses and to places on the same page; other links become
// plain text. Images must be in the text itself (data: URLs) or attached to
// the cell; others become their description.
//
// # Math
//
// Math between $ and $ is set in the line, between $$ and $$ on a line of its own.
// An opening $ is followed by no blank, a closing one follows no blank and no
// digit follows it, so that "5 $ or 6 $" stays money; \$ is always a dollar sign.
//
// Math becomes MathML, the subset that W3C calls MathML Core, which current
// browsers draw by themselves. It scales with the text, follows light and dark
// colours, can be selected and is read out by screen readers. The other way
// was to draw it to images with the TeX renderer that comes with the plotting
// library (codeberg.org/go-latex/latex v0.2.0): that stops at subscripts, \left, \text,
// \mathrm and \begin, which hardly a formula of the labs does without, and an
// image offers none of the above. So package mdhtml translates the part of TeX that
// the labs use, and says where it meets something else: see Math.
package mdhtml

import (
	"bytes"
	"fmt"
	"html"
	"net/url"
	"regexp"
	"strings"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/renderer"
	"github.com/yuin/goldmark/text"
	"github.com/yuin/goldmark/util"
)

// Options change how HTML is made. The zero value suits most callers.
type Options struct {
	// Attachment returns an image attached to the text: its media type and its
	// bytes in base64. nil says that there are none.
	Attachment func(name string) (mime, base64 string, ok bool)
	// Shift makes every heading smaller by that many levels, so that a text
	// fits under the headings of its page.
	Shift int
}

// HTML renders a text. The problems say which math could not be read and which
// images and links were left out; the HTML is usable all the same, with the
// TeX of broken math shown as it was typed.
func HTML(markdown string, o Options) (string, []error) {
	r := &rules{options: o}
	md := goldmark.New(
		goldmark.WithExtensions(extension.Table, extension.Strikethrough),
		goldmark.WithParserOptions(
			parser.WithASTTransformers(util.Prioritized(r, 500)),
			parser.WithInlineParsers(util.Prioritized(inlineMath{}, 150)),
			parser.WithBlockParsers(util.Prioritized(blockMath{}, 150)),
		),
		goldmark.WithRendererOptions(renderer.WithNodeRenderers(util.Prioritized(r, 100))),
	)
	var b bytes.Buffer
	if err := md.Convert([]byte(markdown), &b); err != nil {
		// A buffer takes everything, so this is a fault of a renderer.
		return "<pre>" + html.EscapeString(markdown) + "</pre>", []error{fmt.Errorf("text: %w", err)}
	}
	return b.String(), r.problems
}

// rules is what differs from plain CommonMark: it changes the parsed text before
// it is rendered, renders math, and collects the problems.
type rules struct {
	options  Options
	problems []error
}

func (r *rules) problem(format string, args ...any) {
	r.problems = append(r.problems, fmt.Errorf(format, args...))
}

// Transform takes out links and images that lead elsewhere.
func (r *rules) Transform(doc *ast.Document, reader text.Reader, _ parser.Context) {
	source := reader.Source()
	var unwrap []ast.Node
	var texts []*ast.Text
	ast.Walk(doc, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		if !entering {
			return ast.WalkContinue, nil
		}
		switch n := n.(type) {
		case *ast.Heading:
			n.Level = max(1, min(6, n.Level+r.options.Shift))
		case *ast.Link:
			if dest := string(n.Destination); !goodLink(dest) {
				r.problem("the link to %q was left out; allowed: http, https, mailto and #place", dest)
				unwrap = append(unwrap, n)
			} else if !strings.HasPrefix(dest, "#") {
				n.SetAttributeString("rel", []byte("noopener noreferrer"))
			}
		case *ast.AutoLink:
			if dest := string(n.URL(source)); n.AutoLinkType == ast.AutoLinkURL && !goodLink(dest) {
				r.problem("the link to %q was left out; allowed: http, https, mailto and #place", dest)
				n.Parent().ReplaceChild(n.Parent(), n, ast.NewString([]byte(dest)))
			} else {
				n.SetAttributeString("rel", []byte("noopener noreferrer"))
			}
		case *ast.Image:
			r.image(n, &unwrap)
		case *mathNode:
			embrace(n, source)
		case *ast.Text:
			texts = append(texts, n)
		}
		return ast.WalkContinue, nil
	})
	for _, n := range texts {
		tie(n, source)
	}
	for _, n := range unwrap {
		parent := n.Parent()
		for c := n.FirstChild(); c != nil; {
			next := c.NextSibling()
			parent.InsertBefore(parent, n, c)
			c = next
		}
		parent.RemoveChild(parent, n)
	}
}

// dataImage are the images that may stand in the text itself.
var dataImage = regexp.MustCompile(`^data:image/(png|jpeg|gif|svg\+xml);base64,[A-Za-z0-9+/=\s]*$`)

func (r *rules) image(n *ast.Image, unwrap *[]ast.Node) {
	dest := string(n.Destination)
	if name, ok := strings.CutPrefix(dest, "attachment:"); ok && r.options.Attachment != nil {
		if plain, err := url.PathUnescape(name); err == nil {
			name = plain
		}
		if mime, data, ok := r.options.Attachment(name); ok {
			dest = "data:" + mime + ";base64," + strings.Join(strings.Fields(data), "")
		}
	}
	if !dataImage.MatchString(dest) {
		if len(dest) > 60 {
			dest = dest[:60] + "…"
		}
		r.problem("the image %q was left out; allowed: images attached to the cell", dest)
		*unwrap = append(*unwrap, n)
		return
	}
	n.Destination = []byte(dest)
}

func goodLink(dest string) bool {
	if strings.HasPrefix(dest, "#") {
		return true
	}
	u, err := url.Parse(dest)
	if err != nil {
		return false
	}
	switch u.Scheme {
	case "http", "https":
		return u.Host != ""
	case "mailto":
		return true
	}
	return false
}

// RegisterFuncs names what is rendered otherwise than usual.
func (r *rules) RegisterFuncs(reg renderer.NodeRendererFuncRegisterer) {
	reg.Register(kindMath, r.renderMath)
	reg.Register(kindMathBlock, r.renderMath)
	reg.Register(ast.KindRawHTML, renderRaw)
	reg.Register(ast.KindHTMLBlock, renderRawBlock)
	reg.Register(ast.KindImage, renderImage)
	reg.Register(ast.KindCodeBlock, renderCode)
	reg.Register(ast.KindFencedCodeBlock, renderCode)
}

// renderImage exists because the usual one refuses every data: URL with SVG. In an
// img element an SVG can neither run a script nor load anything.
func renderImage(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if entering {
		img := n.(*ast.Image)
		fmt.Fprintf(w, `<img src="%s" alt="%s">`, html.EscapeString(string(img.Destination)), html.EscapeString(plainText(n, source)))
	}
	return ast.WalkSkipChildren, nil
}

func plainText(n ast.Node, source []byte) string {
	var b strings.Builder
	ast.Walk(n, func(c ast.Node, entering bool) (ast.WalkStatus, error) {
		if entering {
			switch c := c.(type) {
			case *ast.Text:
				b.Write(c.Value(source))
			case *ast.String:
				b.Write(c.Value)
			}
		}
		return ast.WalkContinue, nil
	})
	return b.String()
}

func renderRaw(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if entering {
		writeLines(w, source, n.(*ast.RawHTML).Segments)
	}
	return ast.WalkSkipChildren, nil
}

func renderRawBlock(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if entering {
		b := n.(*ast.HTMLBlock)
		w.WriteString(`<pre tabindex="0">`)
		writeLines(w, source, b.Lines())
		if b.HasClosure() {
			w.WriteString(html.EscapeString(string(b.ClosureLine.Value(source))))
		}
		w.WriteString("</pre>\n")
	}
	return ast.WalkSkipChildren, nil
}

// renderCode renders a block of code that scrolls by keyboard too.
func renderCode(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if entering {
		class := ""
		if f, ok := n.(*ast.FencedCodeBlock); ok {
			if l := f.Language(source); len(l) > 0 {
				class = ` class="language-` + html.EscapeString(string(l)) + `"`
			}
		}
		w.WriteString(`<pre tabindex="0"><code` + class + `>`)
		writeLines(w, source, n.Lines())
		w.WriteString("</code></pre>\n")
	}
	return ast.WalkSkipChildren, nil
}

func writeLines(w util.BufWriter, source []byte, lines *text.Segments) {
	for i := range lines.Len() {
		s := lines.At(i)
		w.WriteString(html.EscapeString(string(s.Value(source))))
	}
}

func (r *rules) renderMath(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if !entering {
		return ast.WalkContinue, nil
	}
	tex, display, before, after := "", false, "", ""
	switch n := n.(type) {
	case *mathNode:
		tex, display, before, after = n.tex, n.display, n.before, n.after
	case *mathBlock:
		tex, display = n.tex(), true
	}
	out, err := Math(tex, display)
	if err != nil {
		r.problems = append(r.problems, err)
		out = fmt.Sprintf(`<code class="broken-math" title="%s">%s</code> <small>(%s)</small>`,
			html.EscapeString(err.Error()), html.EscapeString(tex), html.EscapeString(err.Error()))
	}
	if display {
		out = `<div class="math">` + out + "</div>\n"
		if _, inLine := n.(*mathNode); inLine { // a paragraph cannot hold a div
			out = strings.Replace(strings.Replace(out, "<div", "<span", 1), "</div>\n", "</span>", 1)
		}
	}
	if before != "" || after != "" {
		out = html.EscapeString(before) + out + html.EscapeString(after)
		if err == nil {
			out = `<span style="white-space:nowrap">` + out + "</span>"
		}
	}
	w.WriteString(out)
	return ast.WalkSkipChildren, nil
}
