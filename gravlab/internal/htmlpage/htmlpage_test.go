package htmlpage

import (
	"html"
	"html/template"
	"os"
	"strings"
	"testing"

	"gravity.example/gravlab/judge"
)

// The colours of verdicts stand in style.css for files, in the page's own style, and in
// Colour for HTML that carries its style in itself.
func TestColoursAgree(t *testing.T) {
	for _, file := range []string{"style.css", "../../page/assets/style.css"} {
		style, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for class, colour := range colours {
			if want := "--" + class + ": " + string(colour) + ";"; !strings.Contains(string(style), want) {
				t.Errorf("%s does not have %s", file, want)
			}
		}
	}
	for _, o := range []judge.Outcome{judge.OutcomeRight, judge.OutcomeCarried, judge.OutcomeSlip, judge.OutcomeUnit, judge.OutcomeOff, judge.OutcomeUnreadable, judge.OutcomeBlank, judge.OutcomeWaiting, judge.OutcomeRecorded, "unknown"} {
		if Colour(o) == "" {
			t.Errorf("no colour for %s", o)
		}
	}
}

func TestPage(t *testing.T) {
	p := Page{Title: "a\x00 <b>", Style: "p { margin: 0 }\n", Body: template.HTML("<p>\x1bx\ufffe</p>\n")}
	got := string(p.Bytes())
	for _, want := range []string{"<title>a &lt;b&gt;</title>", "p { margin: 0 }", "<main>\n<p>x</p>\n</main>", "form-action 'none'\">"} {
		if !strings.Contains(got, want) {
			t.Errorf("not there: %s", want)
		}
	}
	p.Allowed = []string{"alert(1)"}
	// The hash by another program: printf 'alert(1)' | openssl dgst -sha256 -binary | base64.
	if got := html.UnescapeString(string(p.Bytes())); !strings.Contains(got, "; script-src 'sha256-bhHHL3z2vDgxUt0W3dWQOrprscmda2Y5pLsLg4GF+pI='\">") {
		t.Error("the script is not allowed")
	}
}

func TestSource(t *testing.T) {
	if got, ok := Source("image/png", "cG5n+/=="); !ok || got != `src="data:image/png;base64,cG5n+/=="` {
		t.Errorf("%q, %v", got, ok)
	}
	for _, bad := range [][2]string{{"image/png", `"><script>`}, {"image/png", ""}, {`image/png" onerror="x`, "cG5n"}, {"text/html", "cG5n"}, {"image/png", "cG5n\n"}} {
		if got, ok := Source(bad[0], bad[1]); ok {
			t.Errorf("%q became %q", bad, got)
		}
	}
}

func TestPrintable(t *testing.T) {
	if got := Printable("a\x00b\nc\u0085\xff"); got != "ab\nc\ufffd" {
		t.Errorf("%q", got)
	}
	if got := Unturned("a\u202eb"); got != "ab" {
		t.Errorf("%q", got)
	}
}
