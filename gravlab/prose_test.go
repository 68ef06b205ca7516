package gravlab_test

import (
	"fmt"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/mdhtml"
	"gravity.example/gravlab/notebook"
)

// spelling finds what a careful editor would mend. Each pattern is tried on
// prose without code and without TeX.
var spelling = []struct {
	pattern *regexp.Regexp
	do      string
}{
	{regexp.MustCompile(`\bu(Gal|m|g|N|rad|V|T)\b`), "write µ (U+00B5), not u"},
	{regexp.MustCompile(`\x{03BC}(Gal|m|s|g|N|rad|V|T)\b`), "write the micro sign U+00B5, not the Greek letter"},
	{regexp.MustCompile(`\d(m|mm|cm|km|s|ms|kg|g|Hz|mGal|µGal|nm|rad|mrad|µrad|Pa|hPa|W|V|N)\b`), "a space belongs between number and unit"},
	{regexp.MustCompile(`(^|[\s(])-\d`), "write a minus sign (U+2212), not a hyphen"},
	{regexp.MustCompile(`(?i)\b(color|center|gray|analyze|behavior|labeled)s?\b`), "British spelling"},
	{regexp.MustCompile(`\bsecs?\b|\bmgal\b|\bKg\b|\bkhz\b`), "SI spelling of the unit"},
	{regexp.MustCompile(`\b(TO` + `DO|FIX` + `ME|lorem)\b`), "unfinished"},
}

var (
	codeSpan = regexp.MustCompile("(?s)```.*?```|`[^`]*`")
	texSpan  = regexp.MustCompile(`(?s)\$\$.*?\$\$|\$[^$\n]*\$`)
	links    = regexp.MustCompile(`\[[^\]]*\]\(([^)]*)\)`)
	italic   = regexp.MustCompile(`(\d|\\[ ,;])\s*\\?[ ,;]?(kg|mm|km|cm|mGal|µGal|Hz|mrad)\b`)
)

// TestProse reads every notebook and every question as an editor would.
func TestProse(t *testing.T) {
	read := 0
	look := func(where, text string) {
		read++
		if _, errs := mdhtml.HTML(text, mdhtml.Options{}); len(errs) > 0 {
			t.Errorf("%s: %v", where, errs)
		}
		for _, m := range links.FindAllStringSubmatch(text, -1) {
			if target := m[1]; !strings.HasPrefix(target, "http") && !strings.HasPrefix(target, "#") && !strings.HasSuffix(target, ".ipynb") {
				t.Errorf("%s: the link %q leads nowhere", where, target)
			}
		}
		if strings.Count(text, "$")%2 != 0 {
			t.Errorf("%s: an odd number of dollar signs", where)
		}
		for _, tex := range texSpan.FindAllString(text, -1) {
			plain := regexp.MustCompile(`\\(mathrm|text|mathit|operatorname)\{[^{}]*(\{[^{}]*\}[^{}]*)*\}`).ReplaceAllString(tex, "")
			if m := italic.FindString(plain); m != "" {
				t.Errorf("%s: a unit in italics in %s: use \\mathrm", where, tex)
			}
		}
		plain := links.ReplaceAllString(texSpan.ReplaceAllString(codeSpan.ReplaceAllString(text, " "), " x "), " ")
		for line := range strings.Lines(plain) {
			for _, s := range spelling {
				if m := s.pattern.FindString(line); m != "" {
					t.Errorf("%s: %q: %s, in: %s", where, strings.TrimSpace(m), s.do, strings.TrimSpace(line))
				}
			}
		}
	}
	for _, lab := range exercises.Labs() {
		nb, err := notebook.ReadFile(filepath.Join("..", "notebooks", lab.ID+".ipynb"), notebook.Options{})
		if err != nil {
			t.Error(err)
			continue
		}
		for i, c := range nb.Cells {
			if c.Kind == notebook.Markdown {
				look(fmt.Sprintf("%s, cell %d", lab.ID, i+1), c.Source)
			}
		}
		for _, q := range lab.Sheet(bank.NumberedCode(lab.ID, 3)).Questions {
			id := lab.FullID(q.ID)
			look(id+", reasoning", q.Reasoning)
			for _, h := range q.Hints {
				look(id+", hint", h)
			}
			for _, s := range append(q.Slips, q.USlips...) {
				look(id+", slip", s.Name+": "+s.Fix)
			}
			for _, o := range q.Options {
				look(id+", option "+o.Letter, o.Text+" "+o.Idea)
			}
		}
	}
	if read < 50 {
		t.Fatalf("only %d pieces of text were read", read)
	}
}
