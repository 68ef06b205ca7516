package mdhtml

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const sample = `## The period of the balance

A fibre of constant $\kappa$ and a beam of moment of inertia $I$ swing with
$T = 2\pi\sqrt{I/\kappa}$, so that a period of 600 s gives $\kappa = 4\pi^2 I/T^2$.

$$
G = \frac{2\pi^2 L r^2 \theta}{M T^2}, \qquad
\left(\frac{u(G)}{G}\right)^2 = \sum_{i=1}^{n} \left(\frac{\partial \ln G}{\partial \ln x_i}\frac{u(x_i)}{x_i}\right)^2
$$

Inline $\sum_{i=1}^n x_i$, $\int_0^{2\pi}\sin^2\theta\,\mathrm{d}\theta = \pi$, $\bar{x} \pm u$, $\dot\theta$, $\ddot\theta$, $\vec g = \nabla U$, $g_\text{free air} \approx -3.086\times10^{-6}\,\mathrm{s}^{-2}$, $30^\circ$.

$$\begin{aligned}
I\ddot\theta &= -\kappa\theta - \beta\dot\theta + \Gamma(t) \\
\theta(t) &= \theta_0 + A\,e^{-t/\tau}\cos(\omega t + \varphi)
\end{aligned}$$

$$|x| = \begin{cases} x & \text{if } x \ge 0 \\ -x & \text{otherwise}\end{cases}, \quad
T = \begin{pmatrix} T_{xx} & T_{xy} \\ T_{yx} & T_{yy}\end{pmatrix}, \quad \lim_{r\to\infty} U = 0, \quad \oint \vec g\cdot\mathrm d\vec A = -4\pi G M_\text{inside}$$

Costs 5 $ or 6 $ in cash; \$3 too. Broken: $\nosuch{x}$. Code: ` + "`$x$`" + `.

| symbol | meaning | unit |
| --- | --- | --- |
| $\kappa$ | fibre constant | N m/rad |

Raw <script>alert(1)</script> and <b onclick="x()">bold</b>, [bad](javascript:alert(1)), [file](file:///etc/passwd), [good](https://example.org/a), ![far](https://example.org/a.png), ![dot](attachment:dot.png), [here](#place), <https://example.org/b>, <a@example.org>
`

func TestHTML(t *testing.T) {
	got, problems := HTML(sample, Options{Attachment: func(name string) (string, string, bool) {
		return "image/png", "AAAA\nBBBB", name == "dot.png"
	}})
	if out := os.Getenv("LOOK"); out != "" {
		page := `<!DOCTYPE html><meta charset="utf-8"><body style="font:17px sans-serif;max-width:44em;margin:1em">` + got
		if err := os.WriteFile(filepath.Join(out, "prose.html"), []byte(page), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{
		"<h2>The period", `<math><mi>κ</mi></math>`, `<div class="math"><math display="block"><mi>G</mi>`,
		"5 $ or 6 $ in cash; $3 too", `<code class="broken-math"`, "<code>$x$</code>", "<td>N m/rad</td>",
		`<a href="https://example.org/a" rel="noopener noreferrer">good</a>`, `<a href="#place">here</a>`,
		`<a href="https://example.org/b" rel="noopener noreferrer">`,
		`<a href="mailto:a@example.org" rel="noopener noreferrer">`,
		`<img src="data:image/png;base64,AAAABBBB" alt="dot">`, "&lt;script&gt;", "far",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("the HTML has no %s", want)
		}
	}
	for _, never := range []string{"<script", "<b onclick", "javascript:", "file:", "example.org/a.png"} {
		if strings.Contains(got, never) {
			t.Errorf("the HTML has %s", never)
		}
	}
	var all []string
	for _, p := range problems {
		all = append(all, p.Error())
	}
	if len(all) != 4 { // the math, two links, an image
		t.Errorf("%d problems, want 4:\n%s", len(all), strings.Join(all, "\n"))
	}
}

func TestMathInMarkdown(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"$a$", "<p><math><mi>a</mi></math></p>\n"},
		{"$ a$", "<p>$ a$</p>\n"},
		{"$a $", "<p>$a $</p>\n"},
		{"$a$5", "<p>$a$5</p>\n"},
		{"$", "<p>$</p>\n"},
		{"a $x_1$ b $y_1$", "<p>a <math><msub><mi>x</mi><mn>1</mn></msub></math> b <math><msub><mi>y</mi><mn>1</mn></msub></math></p>\n"},
		{"$$\na\n- b\n$$", "<div class=\"math\"><math display=\"block\"><mi>a</mi><mo>−</mo><mi>b</mi></math></div>\n"},
		{"$$a$$", "<div class=\"math\"><math display=\"block\"><mi>a</mi></math></div>\n"},
		{"so $$a$$ follows", "<p>so <span class=\"math\"><math display=\"block\"><mi>a</mi></math></span> follows</p>\n"},
		{"$$a$$ follows", "<p><span class=\"math\"><math display=\"block\"><mi>a</mi></math></span> follows</p>\n"},
		{"$a\nb$", "<p><math><mi>a</mi><mi>b</mi></math></p>\n"},
		{"- $a$\n- b", "<ul>\n<li><math><mi>a</mi></math></li>\n<li>b</li>\n</ul>\n"},
		{"text\n$$\na\n$$\nmore", "<p>text</p>\n<div class=\"math\"><math display=\"block\"><mi>a</mi></math></div>\n<p>more</p>\n"},
	} {
		got, problems := HTML(c.in, Options{})
		if got != c.want || len(problems) > 0 {
			t.Errorf("HTML(%q)\n got %q %v\nwant %q", c.in, got, problems, c.want)
		}
	}
}

// A line is not broken between a formula and what stands with it, nor between a
// number and its unit; no character is lost or changed by that.
func TestTogether(t *testing.T) {
	const a, open, end = "<math><mi>a</mi></math>", `<span style="white-space:nowrap">`, "</span>"
	for _, c := range []struct{ in, want string }{
		{"so $a$, and", "so " + open + a + "," + end + " and"},
		{"so $a$.", "so " + open + a + "." + end},
		{"($a$)\nnext", open + "(" + a + ")" + end + "\nnext"},
		{"the $a$-axis", "the " + open + a + "-axis" + end},
		{"$a$/$a$ is", open + a + "/" + end + a + " is"},
		{"*$a$*, and", "<em>" + a + "</em>, and"},
		{"$a$\\*, $a$&amp; $a$<b", a + "*, " + a + "&amp; " + a + "&lt;b"},
		{"\\($a$", "(" + a},
		{"so\n$a$; so", "so\n" + open + a + ";" + end + " so"},
		{"$a$.averyveryverylongword", open + a + "." + end + "averyveryverylongword"},
		{"287 s, 52.5 mm or 39 % of 5 kg/m³", "287\u00a0s, 52.5\u00a0mm or 39\u00a0% of 5\u00a0kg/m³"},
		{"(50 ± 2) s and 10⁻⁸ m/s²", "(50 ± 2)\u00a0s and 10⁻⁸\u00a0m/s²"},
		{"290 full swings, 2 sheets, 3 am", "290 full swings, 2 sheets, 3 am"},
		{"`5 s` and *5 s*", "<code>5 s</code> and <em>5\u00a0s</em>"},
	} {
		got, problems := HTML(c.in, Options{})
		if want := "<p>" + c.want + "</p>\n"; got != want || len(problems) > 0 {
			t.Errorf("HTML(%q)\n got %q %v\nwant %q", c.in, got, problems, want)
		}
	}
	if got, _ := HTML("(see $\\nosuch$), and", Options{}); !strings.Contains(got, "(see <code") || !strings.Contains(got, "</small>), and") {
		t.Errorf("around broken math stands %q", got)
	}
}

func FuzzHTML(f *testing.F) {
	f.Add(sample)
	f.Add("[a](java\nscript:x) ![b](data:image/png;base64,x) <a href=x>")
	f.Fuzz(func(t *testing.T, in string) {
		out, _ := HTML(in, Options{Shift: 1})
		for _, never := range []string{"<script", "<iframe", "<object", "<style", "<svg"} {
			if strings.Contains(strings.ToLower(out), never) {
				t.Errorf("%q gave %s:\n%s", in, never, out)
			}
		}
	})
}
