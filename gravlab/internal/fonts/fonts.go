// Package fonts holds the type of the pages: a serif for text with the mathematics that was
// drawn for it, and a sans serif for labels that has the widths of the one that figures are
// laid out with. With them a page looks the same on every machine.
//
// The serif and the mathematics are STIX Two (version of 2021), the sans serif is Arimo (2020).
// Both have the SIL Open Font License 1.1 (LICENSE-stix, LICENSE-arimo), which allows to bundle
// and to subset them, and neither reserves a name. README.md says how the files were made.
package fonts

import (
	"embed"
	"encoding/base64"
	"fmt"
	"io/fs"
	"strings"
)

//go:embed *.woff2
var files embed.FS

// A face is a file and what it is for. A browser loads a file only when the page has a
// character in its range.
type face struct {
	family string
	weight int
	style  string
	chars  string // unicode-range
	file   string
	report bool // goes into files that must be complete in themselves
}

const (
	latin    = "U+0000-00FF,U+0131,U+0152-0153,U+02BB-02BC,U+02C6,U+02DA,U+02DC,U+2000-200F,U+2011-206F,U+20AC,U+2122,U+2212,U+2215"
	latinExt = "U+0100-0130,U+0132-0151,U+0154-024F,U+1E00-1EFF"
	greek    = "U+0370-03FF"
)

var faces = []face{
	{"gravlab serif", 400, "normal", latin, "serif-latin-400-normal.woff2", true},
	{"gravlab serif", 400, "italic", latin, "serif-latin-400-italic.woff2", true},
	{"gravlab serif", 600, "normal", latin, "serif-latin-600-normal.woff2", true},
	{"gravlab serif", 400, "normal", greek, "serif-greek-400-normal.woff2", true},
	{"gravlab serif", 400, "italic", greek, "serif-greek-400-italic.woff2", false},
	{"gravlab serif", 600, "normal", greek, "serif-greek-600-normal.woff2", false},
	{"gravlab serif", 400, "normal", latinExt, "serif-latin-ext-400-normal.woff2", false},
	{"gravlab serif", 600, "normal", latinExt, "serif-latin-ext-600-normal.woff2", false},
	{"gravlab sans", 400, "normal", latin, "sans-latin-400-normal.woff2", true},
	{"gravlab sans", 600, "normal", latin, "sans-latin-600-normal.woff2", true},
	{"gravlab sans", 400, "normal", greek, "sans-greek-400-normal.woff2", false},
	{"gravlab sans", 600, "normal", greek, "sans-greek-600-normal.woff2", false},
	{"gravlab sans", 400, "normal", latinExt, "sans-latin-ext-400-normal.woff2", false},
	{"gravlab sans", 600, "normal", latinExt, "sans-latin-ext-600-normal.woff2", false},
	{"gravlab math", 400, "normal", "U+0-10FFFF", "math-400-normal.woff2", true},
}

// File returns a file of type, which is WOFF2.
func File(name string) ([]byte, error) {
	if !strings.HasSuffix(name, ".woff2") {
		return nil, fs.ErrNotExist
	}
	return files.ReadFile(name)
}

// Linked returns the style sheet of a page whose files of type stand at an address that
// begins with dir.
func Linked(dir string) string {
	return sheet(func(f face) string { return dir + f.file })
}

// Embedded returns the style sheet of a page that is complete in itself, with the files in
// it that most texts need. Its content security policy must allow fonts from "data:".
func Embedded() string {
	return sheet(func(f face) string {
		if !f.report {
			return ""
		}
		data, err := files.ReadFile(f.file)
		if err != nil {
			panic(err) // it is embedded
		}
		return "data:font/woff2;base64," + base64.StdEncoding.EncodeToString(data)
	})
}

func sheet(source func(face) string) string {
	var b strings.Builder
	for _, f := range faces {
		if src := source(f); src != "" {
			fmt.Fprintf(&b, "@font-face{font-family:%q;font-weight:%d;font-style:%s;font-display:swap;unicode-range:%s;src:url(%q) format(\"woff2\")}\n", f.family, f.weight, f.style, f.chars, src)
		}
	}
	return b.String()
}
