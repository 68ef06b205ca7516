// Package htmlpage is the frame and the look that the HTML files of gravlab share:
// replies, the page about a class, reports, and the list of what the models were
// checked against.
//
// A file is complete in itself. Its content security policy forbids the browser to
// load anything, and to run anything but the scripts that the page names.
//
// Pages are written by html/template, which escapes each value for the place where
// it stands. What is HTML already, such as the output of package mdhtml, goes in as
// template.HTML.
package htmlpage

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io/fs"
	"regexp"
	"strings"
	"unicode"

	"gravity.example/gravlab/internal/fonts"
	"gravity.example/gravlab/judge"
)

//go:embed page.html style.css
var files embed.FS

var shared = template.Must(template.ParseFS(files, "page.html"))

// Templates reads a file of templates, which may call those of page.html. A file
// that cannot be read is a mistake in the program, so that it panics.
func Templates(files fs.FS, name string, funcs template.FuncMap) *template.Template {
	return template.Must(template.Must(shared.Clone()).Funcs(funcs).ParseFS(files, name))
}

// Render returns what a template makes of data. It panics where the template asks for
// what data does not have.
func Render(t *template.Template, name string, data any) template.HTML {
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, name, data); err != nil {
		panic(fmt.Sprintf("htmlpage: %v", err))
	}
	return template.HTML(b.String())
}

// A Page is an HTML file.
type Page struct {
	Title string
	Style string        // of this kind of page; it follows the style that all share
	Body  template.HTML // of the element main
	// Type puts the files of type into the page, a quarter of a megabyte. Pages that are
	// written by the hundred do without.
	Type bool
	// Scripts is what follows the body, as HTML. Allowed are the texts of the
	// scripts that may run.
	Scripts template.HTML
	Allowed []string
}

// Bytes returns the file. Control characters in the title and in the body are left
// out, because HTML cannot hold them.
func (p Page) Bytes() []byte {
	style, err := files.ReadFile("style.css")
	if err != nil {
		panic(err) // it is embedded
	}
	faces := ""
	if p.Type {
		faces = fonts.Embedded()
	}
	return []byte(Render(shared, "page", struct {
		Title         string
		Type, Style   template.CSS
		Body, Scripts template.HTML
		Hashes        []string
	}{Printable(p.Title), template.CSS(faces), template.CSS(string(style) + p.Style), template.HTML(Printable(string(p.Body))), p.Scripts, hashes(p.Allowed)}))
}

func hashes(scripts []string) []string {
	var out []string
	for _, s := range scripts {
		sum := sha256.Sum256([]byte(s))
		out = append(out, base64.StdEncoding.EncodeToString(sum[:]))
	}
	return out
}

// Printable leaves out what HTML cannot hold.
func Printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' {
			return r
		}
		if unicode.IsControl(r) || r == '\ufffe' || r == '\uffff' {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
}

// Unturned is Printable, and leaves out what turns the order of letters round as well.
func Unturned(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Bidi_Control, r) {
			return -1
		}
		return r
	}, Printable(s))
}

var (
	imageType  = regexp.MustCompile(`^image/[a-z0-9.+-]+$`)
	base64Text = regexp.MustCompile(`^[A-Za-z0-9+/=]+$`)
)

// Source is the attribute src of a picture that stands in the page itself. An image
// runs and loads nothing, whatever is in it. Data are in base64.
func Source(mime, data string) (template.HTMLAttr, bool) {
	if !imageType.MatchString(mime) || !base64Text.MatchString(data) {
		return "", false
	}
	return template.HTMLAttr(`src="data:` + mime + `;base64,` + data + `"`), true
}

// A Label is the word of a verdict, with its sign and the class of its colour. The
// template "outcome" writes it.
type Label struct{ Class, Sign, Word string }

// LabelOf is the label of an outcome.
func LabelOf(o judge.Outcome) Label {
	return Label{Class: class(o), Sign: o.Sign(), Word: string(o)}
}

func class(o judge.Outcome) string {
	switch o {
	case judge.OutcomeRight, judge.OutcomeCarried, judge.OutcomeSlip, judge.OutcomeOff, judge.OutcomeRecorded:
		return string(o)
	case judge.OutcomeUnit:
		return "slip"
	case judge.OutcomeUnreadable:
		return "off"
	default:
		return "quiet"
	}
}

// colours are from a set that all kinds of colour vision can tell apart:
// M. Okabe and K. Ito, "Color universal design" (2002). They stand at the edge
// and never speak alone: the sign and the word say the same. style.css has the
// same ones.
var colours = map[string]template.CSS{
	"right": "#009e73", "carried": "#0072b2", "slip": "#e69f00", "off": "#d55e00", "recorded": "#56b4e9", "quiet": "#7f7f7f",
}

// Colour is the colour of an outcome on a white ground, for HTML that carries its
// style in itself.
func Colour(o judge.Outcome) template.CSS { return colours[class(o)] }
