package report

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"gravity.example/gravlab/draw"
	"gravity.example/gravlab/draw/figure"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
)

// swing is a figure for the sample; its data are computed here.
func swing() *figure.Figure {
	f := &figure.Figure{
		Title:   "The beam comes to rest off zero",
		Caption: "Deflection of the beam after the spheres were turned. The dashed line is where it settles.",
		X:       figure.Axis{Label: "time", Unit: "min"},
		Y:       figure.Axis{Label: "deflection", Unit: "mrad"},
		Marks:   []figure.Mark{{Kind: figure.Horizontal, Y: 1.2, Text: "rest"}},
	}
	s := figure.Series{Name: "beam", Kind: figure.Line}
	for i := range 240 {
		t := float64(i) / 3
		s.X = append(s.X, t)
		s.Y = append(s.Y, 1.2+5*math.Exp(-t/30)*math.Cos(2*math.Pi*t/14))
	}
	f.Series = []figure.Series{s}
	return f
}

// sample is an executed notebook with an output of every kind.
func sample(t *testing.T) *notebook.Notebook {
	t.Helper()
	nb := notebook.New("gravlab", "Go with gravlab", "go")
	id := 0
	add := func(kind notebook.Kind, source string, outputs ...*notebook.Output) *notebook.Cell {
		id++
		c := notebook.NewCell(kind, "c"+string(rune('a'+id-1)), source)
		if kind == notebook.Code {
			c.Run = id
			c.Outputs = outputs
		}
		nb.Cells = append(nb.Cells, c)
		return c
	}
	f := swing()
	svg, err := draw.SVG(f)
	if err != nil {
		t.Fatal(err)
	}
	text, _, err := draw.ChartOption(f)
	if err != nil {
		t.Fatal(err)
	}
	var option any
	if err := json.Unmarshal(text, &option); err != nil {
		t.Fatal(err)
	}
	add(notebook.Markdown, "# Weighing the Earth\n\nA laboratory class in the basement of Skelmire College. You will need about an hour.\n\n**Caution.** The large spheres are lead: lift with both hands, wear gloves, wash your hands afterwards.")
	add(notebook.Markdown, "## The fibre\n\nThe beam swings with the period $T = 2\\pi\\sqrt{I/\\kappa}$, where $I$ is its moment of inertia in kg m² and $\\kappa$ the constant of the fibre in N m/rad. So\n\n$$\\kappa = \\frac{4\\pi^2 I}{T^2}, \\qquad \\left(\\frac{u(\\kappa)}{\\kappa}\\right)^2 = \\left(\\frac{u(I)}{I}\\right)^2 + \\left(\\frac{2u(T)}{T}\\right)^2.$$\n\n| quantity | value |\n| --- | --- |\n| moment of inertia $I$ | $1.44\\times10^{-4}$ kg m² |\n| period $T$ | 598.2 s ± 0.4 s |")
	add(notebook.Code, "// The swing as it was recorded.\nswing := sheet.Recording(\"swing\")\nshow.Plot(\"The beam comes to rest off zero\", show.Axis(\"time\", \"min\"), show.Axis(\"deflection\", \"mrad\"))\nfmt.Println(len(swing.T), 0.5, 'x')",
		&notebook.Output{Kind: notebook.Stream, Name: "stdout", Text: "\x1b[32m240 points\x1b[0m\n  0%\r100%\n"},
		&notebook.Output{Kind: notebook.Display, Data: notebook.Bundle{"image/svg+xml": string(svg), draw.ChartMIME: option, "text/plain": f.AltText() + "\n" + f.Caption}})
	q := add(notebook.Markdown, "**Question `kappa`** (2 marks). What is the constant of the fibre?")
	q.SetQuestion("01/kappa", notebook.QuestionText)
	box := func(v map[string]any) *notebook.Output {
		return &notebook.Output{Kind: notebook.Display, Data: notebook.Bundle{judge.VerdictMIME: v, "text/plain": "verdict", "text/html": "<div>verdict</div>"}}
	}
	a := add(notebook.Code, "sheet.Number(\"kappa\", 4*math.Pi*math.Pi*1.44e-4/(598.2*598.2), \"N m/rad\")",
		box(map[string]any{"question": "kappa", "title": "constant of the fibre", "outcome": "right", "sign": "✓", "marks": 2, "of": 2, "understood": "1.589e-8 N m/rad", "message": "Next: what does the beam do when the spheres are turned?"}))
	a.SetQuestion("01/kappa", notebook.Answer)
	add(notebook.Code, "sheet.Number(\"theta\", 2.4e-3, \"rad\")",
		box(map[string]any{"question": "theta", "title": "deflection", "outcome": "slip", "sign": "△", "marks": 0, "of": 2, "understood": "2.4 mrad", "message": "This is the full swing from one side to the other.\nThe deflection counts from the middle."}))
	add(notebook.Code, "sheet.Number(\"G\", 9, \"kg\")",
		box(map[string]any{"question": "G", "outcome": "off", "sign": "✗", "marks": 0, "of": 3, "understood": "9 kg", "message": "Look at the unit first."}))
	add(notebook.Code, "sheet.Done()", &notebook.Output{Kind: notebook.Display, Data: notebook.Bundle{
		"text/html": `<table class="x"><thead><tr><th style="text-align:left">question</th><th>marks</th></tr></thead><tbody><tr><td>kappa</td><td>2 of 2</td></tr></tbody></table><p><strong>Marks 2 of 7.</strong> Left to do: theta, G.</p>`}})
	add(notebook.Code, "panic(\"the fibre broke\")",
		&notebook.Output{Kind: notebook.Stream, Name: "stderr", Text: "panic: the fibre broke\n\ngoroutine 1 [running]:\nmain.main()\n"},
		&notebook.Output{Kind: notebook.Failure, ErrName: "ERROR", ErrValue: "failed to run: exit status 2", Traceback: []string{"\x1b[31mCell[9]: Line 1\x1b[0m", "panic(\"the fibre broke\")"}})
	add(notebook.Code, "show.HTML(foreign)", &notebook.Output{Kind: notebook.Display, Data: notebook.Bundle{
		"text/html": `<h3 onclick="evil()">Foreign</h3><script>document.title = "evil"</script><img src="https://host.example/a.png"><p style="background:url(https://host.example/b.png)">text</p>`}})
	add(notebook.Code, "", &notebook.Output{Kind: notebook.Display, Data: notebook.Bundle{
		"image/svg+xml": `<svg xmlns="http://www.w3.org/2000/svg" width="60" height="20"><script>alert(1)</script><image href="https://host.example/c.png"/><circle cx="10" cy="10" r="8"/></svg>`}})
	add(notebook.Raw, "raw <text>")
	add(notebook.Markdown, "See [a source](https://doi.org/10.1103/RevModPhys.93.025010), ![far](https://host.example/d.png) and $\\broken$. <iframe src=\"https://host.example\"></iframe>")
	return nb
}

var rows = []QuestionRow{
	{From: "01/kappa", Title: "constant of the fibre", Understood: "1.589e-8 N m/rad", Outcome: judge.OutcomeRight, Marks: 2, Of: 2},
	{From: "01/theta", Title: "deflection", Understood: "2.4 mrad", Outcome: judge.OutcomeSlip, Slip: "full swing", Of: 2},
	{From: "01/G", Title: "constant of gravitation", Understood: "9 kg", Outcome: judge.OutcomeOff, Of: 3},
	{From: "01/density", Title: "density of the Earth", Understood: "5480 kg/m³", Outcome: judge.OutcomeCarried, Marks: 2, Of: 2},
	{From: "01/mass", Title: "mass of the Earth", Outcome: judge.OutcomeBlank, Of: 2},
}

func render(t *testing.T, o Options) string {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, sample(t), o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestStructure(t *testing.T) {
	got := render(t, Options{Questions: rows, Remark: "Sheet K7QF-3M2P, <default>"})
	// In this order:
	for _, want := range []string{
		`<html lang="en">`, `default-src 'none'`, "<title>Weighing the Earth</title>", "<h1>Weighing the Earth</h1>",
		"Sheet K7QF-3M2P, &lt;default&gt;",
		"marks <strong>4</strong> of 11", `<a href="#cell-ce">constant of the fibre</a>`, "full swing", "carried", `<span class="quiet">none</span>`,
		"A laboratory class", "<h2>The fibre</h2>", `<math display="block"><mi>κ</mi>`, "<table>",
		`<span class="comment">// The swing as it was recorded.</span>`, `<span class="string">&#34;swing&#34;</span>`,
		"240 points\n100%</pre>", "<figure>\n<img src=\"data:image/svg+xml;base64,", `alt="The beam comes to rest off zero.`, "<figcaption>Deflection of the beam",
		"question", "your answer to <code>01/kappa</code>", `<div class="verdict right">`, "2 of 2 marks", "Next: what does",
		`<div class="verdict slip">`, "full swing from one side", `<div class="verdict off">`,
		"<strong>Marks 2 of 7.</strong>",
		"messages of the program", "This cell stopped with an error.", "failed to run: exit status 2", "where it happened", "Cell[9]: Line 1\n",
		`<iframe class="foreign" sandbox="" title="output of this cell" srcdoc="`,
		"raw &lt;text&gt;", `<a href="https://doi.org/10.1103/RevModPhys.93.025010"`, `<code class="broken-math"`,
		"What this report could not show", "cell 13: the image",
	} {
		i := strings.Index(got, want)
		if i < 0 {
			t.Errorf("not there, or not in its place: %s", want)
			continue
		}
		got = got[i+len(want):]
	}
	if n := strings.Count(render(t, Options{}), "<h1"); n != 1 {
		t.Errorf("%d headings of the first level, want 1", n)
	}
}

func TestSameBytes(t *testing.T) {
	o := Options{Questions: rows, Charts: "var echarts"}
	if first, second := render(t, o), render(t, o); first != second {
		t.Error("the same notebook gave other bytes the second time")
	}
}

// TestLoadsNothing looks at every attribute that makes a browser load something.
func TestLoadsNothing(t *testing.T) {
	for _, o := range []Options{{}, {Charts: "var echarts", Questions: rows}} {
		got := render(t, o)
		// What stands in a frame's srcdoc is under the policy of the page, and
		// its quotes are escaped, so the patterns below see the page itself.
		for _, m := range regexp.MustCompile(`(?i)\s(src|href|srcset|data|poster|action|xlink:href|background)\s*=\s*"([^"]*)"`).FindAllStringSubmatch(got, -1) {
			name, value := strings.ToLower(m[1]), m[2]
			switch {
			case name == "src" && strings.HasPrefix(value, "data:image/"):
			case name == "href" && (strings.HasPrefix(value, "#") || strings.HasPrefix(value, "https://doi.org/")): // a link, followed by the reader
			default:
				t.Errorf("%s=%.80q", name, value)
			}
		}
		page := regexp.MustCompile(`srcdoc="[^"]*"`).ReplaceAllString(got, "")
		page = strings.ReplaceAll(page, `url("data:font/woff2;base64,`, "") // stands in the page itself
		for _, never := range []string{"url(", "@import", "<link", "<object", "<embed", "<base", "http-equiv=\"refresh", "onclick", "javascript:", "<svg", "host.example/a", "host.example/b", "host.example/c"} {
			if strings.Contains(page, never) {
				t.Errorf("the page holds %s", never)
			}
		}
		if o.Charts == "" && strings.Contains(page, "<script") {
			t.Error("a report without charts holds a script")
		}
		if n := strings.Count(page, "default-src 'none'"); n != 1 {
			t.Errorf("%d content security policies, want 1", n)
		}
	}
}

func TestSimple(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{`<p>a &amp; b<br>c</p>`, `<p>a &amp; b<br>c</p>`},
		{`<TD style="text-align: right; color:red" class=x colspan="2">1</TD>`, `<td style="text-align:right" colspan="2">1</td>`},
		{`<b>&lt;script&gt;</b>`, `<b>&lt;script&gt;</b>`},
		{`<!-- x --><i>y</i>`, `<i>y</i>`},
		{`<td style="background:url(x)">1</td>`, `<td>1</td>`},
	} {
		if got, ok := simple(c.in); got != c.want || !ok {
			t.Errorf("simple(%q) = %q, %v, want %q", c.in, got, ok, c.want)
		}
	}
	for _, bad := range []string{`<script>x</script>`, `<a href="x">y</a>`, `<img src=x>`, `<p onclick="x">y</p>`, `<svg><p>x</p></svg>`, `<p`, `</p>`, `<x:p>y</x:p>`, `<?xml?>`, `<!DOCTYPE html>`} {
		if got, ok := simple(bad); ok {
			t.Errorf("simple(%q) = %q, want it refused", bad, got)
		}
	}
}

func FuzzSimple(f *testing.F) {
	f.Add(`<p style="text-align:left">a<br>b</p>`)
	f.Add(`<P <script>`)
	allowed := regexp.MustCompile(`^(</?[a-z0-9]+( (colspan|rowspan)="[0-9]{1,3}"| scope="(row|col)"| style="text-align:(left|right|center)")*>|[^<>"'])*$`)
	f.Fuzz(func(t *testing.T, s string) {
		if out, ok := simple(s); ok && !allowed.MatchString(out) {
			t.Errorf("%q was rebuilt as %q", s, out)
		}
	})
}

func TestTerminal(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"\x1b[1;31mred\x1b[0m", "red"},
		{"a\r\nb\r\n", "a\nb"},
		{"10%\r20%\r30%\ndone", "30%\ndone"},
		{"\x1b]0;title\x07x", "x"},
		{"50%\r", "50%"},
	} {
		if got := terminal(c.in); got != c.want {
			t.Errorf("terminal(%q) = %q, want %q", c.in, got, c.want)
		}
	}
	long := strings.Repeat("é", mostText)
	if s := shorten(long); len(s) > mostText+200 || !strings.Contains(s, "bytes are left out here") || strings.ContainsRune(s, '\ufffd') {
		t.Errorf("a long text was shortened to %d bytes", len(s))
	}
}

func TestPythonNotebook(t *testing.T) {
	nb := notebook.New("python3", "Python 3", "python")
	c := notebook.NewCell(notebook.Code, "a", "x = 'it''s' # func")
	c.Outputs = []*notebook.Output{
		{Kind: notebook.Result, Run: 1, Data: notebook.Bundle{"text/latex": "$x^2$"}},
		{Kind: notebook.Result, Run: 1, Data: notebook.Bundle{"application/json": map[string]any{"a": 1.5}}},
		{Kind: notebook.Result, Run: 1, Data: notebook.Bundle{"image/png": base64.StdEncoding.EncodeToString([]byte("png")) + "\n"}},
		{Kind: notebook.Result, Run: 1, Data: notebook.Bundle{"image/png": `"><script>`, "text/plain": "instead"}},
		{Kind: notebook.Result, Run: 1, Data: notebook.Bundle{"application/pdf": "x"}},
	}
	nb.Cells = []*notebook.Cell{c}
	var b bytes.Buffer
	if err := Write(&b, nb, Options{Title: "T & U"}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"<h1>T &amp; U</h1>", "x = &#39;it&#39;&#39;s&#39; # func", "<msup><mi>x</mi>", "&#34;a&#34;: 1.5", "data:image/png;base64,cG5n\"", "instead", "no form that a page can show"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("not there: %s", want)
		}
	}
}

// TestLook writes the sample to the folder LOOK, with the ECharts of the file
// ECHARTS if there is one, for people to look at.
func TestLook(t *testing.T) {
	folder := os.Getenv("LOOK")
	if folder == "" {
		t.Skip("writes the sample to look at; set LOOK to a folder")
	}
	o := Options{Questions: rows, Remark: "Sheet K7QF-3M2P"}
	if file := os.Getenv("ECHARTS"); file != "" {
		js, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		o.Charts = string(js)
	}
	if err := os.WriteFile(filepath.Join(folder, "report.html"), []byte(render(t, o)), 0o644); err != nil {
		t.Fatal(err)
	}
}

// A number stays on one line with its uncertainty and unit; long words and remarks
// may wrap.
func TestTogether(t *testing.T) {
	for in, want := range map[string]string{
		"1.57 × 10⁻⁷ N·m/rad":       `<span class="together">1.57 × 10⁻⁷ N·m/rad</span>`,
		"(5.8 ± 0.2) × 10² s":       `<span class="together">(5.8 ± 0.2) × 10² s</span>`,
		"3 µGal (decimal comma)":    `<span class="together">3 µGal</span> (decimal comma)`,
		"<b>":                       `<span class="together">&lt;b&gt;</span>`,
		strings.Repeat("long ", 20): strings.Repeat("long ", 20),
	} {
		if got := string(together(in)); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
}
