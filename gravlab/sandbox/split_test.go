package sandbox

import (
	"strings"
	"testing"
)

// No comment reaches the compiler, whatever it says and however it is broken up, and nothing
// but comments is taken out.
func TestQuieten(t *testing.T) {
	for name, c := range map[string]struct{ cell, left string }{
		"a carriage return before its end": {"x := 1 /*line a\r\r\r\r\r\r*/ + 2", "x := 1 + 2"},
		"code of the same length":          {"/*line a\r\r\r\rb*/ x()\n/**/", "x()"},
		"a directive broken up":            {"/*li\rne a:1*/ x()", "x()"},
		"another":                          {"//go:\rnoinline\r\nx()", "x()"},
		"linkname":                         {"//go:linkname x runtime.x\r\nfunc x()", "func x()"},
		"line at the first place":          {"//line a:7\nx()", "x()"},
		"in a string":                      {"s := \"//go:noinline /*line a*/\" // gone", "s := \"//go:noinline /*line a*/\""},
		"in a raw string":                  {"s := `//line a:1\n//go:x`", "s := `//line a:1\n//go:x`"},
		"a quotation mark":                 {"r := '\"' // \"\ns := '/'", "r := '\"'\ns := '/'"},
		"lines stay":                       {"/* a\nb\n*/ x()", "x()"},
		"no end":                           {"x() /* never", "x() /* never"},
	} {
		s := split(0, c.cell)
		got := strings.TrimPrefix(string(s.text), head)
		if strings.Count(got, "\n") != strings.Count(c.cell, "\n")+1 || len(got) != len(c.cell)+1 {
			t.Errorf("%s: %q has other lines or another length than %q", name, got, c.cell)
		}
		var words []string
		for line := range strings.Lines(got) {
			if line = strings.Join(strings.Fields(line), " "); line != "" {
				words = append(words, line)
			}
		}
		if left := strings.Join(words, "\n"); left != c.left {
			t.Errorf("%s: %q becomes %q, want %q", name, c.cell, left, c.left)
		}
	}
}
