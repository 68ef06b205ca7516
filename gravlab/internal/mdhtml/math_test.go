package mdhtml

import (
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
)

// The MathML wanted was written by hand after the MathML Core specification
// (W3C) and looked at in a browser.
var mathTests = []struct{ tex, want string }{
	{`x`, `<mi>x</mi>`},
	{`ab 12.5`, `<mi>a</mi><mi>b</mi><mn>12.5</mn>`},
	{`a-b`, `<mi>a</mi><mo>−</mo><mi>b</mi>`},
	{`a=-b`, `<mi>a</mi><mo>=</mo><mo form="prefix">−</mo><mi>b</mi>`},
	{`(a)-b`, `<mo stretchy="false">(</mo><mi>a</mi><mo stretchy="false">)</mo><mo>−</mo><mi>b</mi>`},
	{`x_i^2`, `<msubsup><mi>x</mi><mi>i</mi><mn>2</mn></msubsup>`},
	{`x^2_i`, `<msubsup><mi>x</mi><mi>i</mi><mn>2</mn></msubsup>`},
	{`x^12`, `<msup><mi>x</mi><mn>1</mn></msup><mn>2</mn>`},
	{`10^{-8}`, `<msup><mn>10</mn><mrow><mo>−</mo><mn>8</mn></mrow></msup>`},
	{`f'(x)`, `<msup><mi>f</mi><mo>′</mo></msup><mo stretchy="false">(</mo><mi>x</mi><mo stretchy="false">)</mo>`},
	{`\frac{a}{b}`, `<mfrac><mi>a</mi><mi>b</mi></mfrac>`},
	{`\frac12`, `<mfrac><mn>1</mn><mn>2</mn></mfrac>`},
	{`\sqrt{2x}`, `<msqrt><mrow><mn>2</mn><mi>x</mi></mrow></msqrt>`},
	{`\sqrt[3]{x}`, `<mroot><mi>x</mi><mn>3</mn></mroot>`},
	{`\kappa\Delta`, `<mi>κ</mi><mi mathvariant="normal">Δ</mi>`},
	{`\left(\frac{a}{b}\right)`, `<mrow><mo fence="true" stretchy="true">(</mo><mfrac><mi>a</mi><mi>b</mi></mfrac><mo fence="true" stretchy="true">)</mo></mrow>`},
	{`\left.x\right|_0`, `<msub><mrow><mi>x</mi><mo fence="true" stretchy="true">|</mo></mrow><mn>0</mn></msub>`},
	{`T_\text{free air}`, "<msub><mi>T</mi><mtext>free\u00a0air</mtext></msub>"},
	{`\mathrm{d}t`, `<mi mathvariant="normal">d</mi><mi>t</mi>`},
	{`\mathrm d`, `<mi mathvariant="normal">d</mi>`},
	{`\mathrm{kg\,m^2}`, `<mrow><mi mathvariant="normal">kg</mi><mspace width="0.1667em"></mspace><msup><mi mathvariant="normal">m</mi><mn>2</mn></msup></mrow>`},
	{`\mathrm{\sqrt{Hz}} x`, `<mrow><msqrt><mi mathvariant="normal">Hz</mi></msqrt></mrow><mi>x</mi>`},
	{`\vec g`, `<mover accent="true"><mi>g</mi><mo stretchy="false">→</mo></mover>`},
	{`\ddot{x}`, `<mover accent="true"><mi>x</mi><mo stretchy="false">¨</mo></mover>`},
	{`\overline{xy}`, `<mover accent="true"><mrow><mi>x</mi><mi>y</mi></mrow><mo stretchy="true">‾</mo></mover>`},
	{`\sum_{i=1}^n`, `<munderover><mo movablelimits="true">∑</mo><mrow><mi>i</mi><mo>=</mo><mn>1</mn></mrow><mi>n</mi></munderover>`},
	{`\int_0^1`, `<msubsup><mo>∫</mo><mn>0</mn><mn>1</mn></msubsup>`},
	{`\sin^2\theta`, `<msup><mi>sin</mi><mn>2</mn></msup><mspace width="0.1667em"></mspace><mi>θ</mi>`},
	{`\sin(x)`, `<mi>sin</mi><mo stretchy="false">(</mo><mi>x</mi><mo stretchy="false">)</mo>`},
	{`5^\circ`, `<msup><mn>5</mn><mo>∘</mo></msup>`},
	{`a < b \& c`, `<mi>a</mi><mo>&lt;</mo><mi>b</mi><mi mathvariant="normal">&amp;</mi><mi>c</mi>`},
	{`{}^{14}`, `<msup><mrow></mrow><mn>14</mn></msup>`},
	{`\begin{aligned}a&=b\\c&=d\\\end{aligned}`, `<mtable displaystyle="true"><mtr><mtd style="text-align:right;padding-right:0"><mi>a</mi></mtd><mtd style="text-align:left;padding-left:0"><mo>=</mo><mi>b</mi></mtd></mtr><mtr><mtd style="text-align:right;padding-right:0"><mi>c</mi></mtd><mtd style="text-align:left;padding-left:0"><mo>=</mo><mi>d</mi></mtd></mtr></mtable>`},
	{`\begin{pmatrix}1&0\\0&1\end{pmatrix}`, `<mrow><mo fence="true" stretchy="true">(</mo><mtable><mtr><mtd><mn>1</mn></mtd><mtd><mn>0</mn></mtd></mtr><mtr><mtd><mn>0</mn></mtd><mtd><mn>1</mn></mtd></mtr></mtable><mo fence="true" stretchy="true">)</mo></mrow>`},
	{`\mathcal{L}`, `<mi>ℒ</mi>`},
	{`a % a remark
	b`, `<mi>a</mi><mi>b</mi>`},
}

func TestMath(t *testing.T) {
	for _, c := range mathTests {
		got, err := Math(c.tex, false)
		if err != nil {
			t.Errorf("Math(%q): %v", c.tex, err)
			continue
		}
		if want := "<math>" + c.want + "</math>"; got != want {
			t.Errorf("Math(%q)\n got %s\nwant %s", c.tex, got, want)
		}
		wellFormed(t, got)
	}
}

func TestMathErrors(t *testing.T) {
	for _, c := range []struct{ tex, want string }{
		{`a + \nosuch x`, `\nosuch is not known here at character 5`},
		{`\frac{a}`, `\frac wants something after it`},
		{`{a`, `a { without its }`},
		{`a}`, `} without its beginning`},
		{`x_1_2`, `a second _`},
		{`\left( x`, `\left without its \right`},
		{`\right)`, `\right without its beginning`},
		{`a & b`, `& outside \begin and \end`},
		{`\begin{aligned}a&=b`, `without its \end`},
		{`\begin{aligned}a\end{cases}`, `ended by \end{cases}`},
		{`\begin{tabular}a\end{tabular}`, `\begin{tabular} is not known here`},
		{`\text{unclosed`, `a { without its }`},
		{strings.Repeat("{", 200), `nested deeper`},
		{strings.Repeat("x", 20_000), `more than`},
	} {
		_, err := Math(c.tex, false)
		var e *MathError
		if !errors.As(err, &e) {
			t.Errorf("Math(%.30q): error %v, want a *MathError", c.tex, err)
			continue
		}
		if !strings.Contains(err.Error(), c.want) {
			t.Errorf("Math(%.30q): error %q, want one with %q", c.tex, err, c.want)
		}
	}
}

func wellFormed(t *testing.T, s string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(s))
	for {
		if _, err := d.Token(); err == io.EOF {
			return
		} else if err != nil {
			t.Fatalf("not well formed: %v\n%s", err, s)
		}
	}
}

func FuzzMath(f *testing.F) {
	for _, c := range mathTests {
		f.Add(c.tex)
	}
	f.Fuzz(func(t *testing.T, tex string) {
		out, err := Math(tex, true)
		if err == nil {
			wellFormed(t, out)
		}
	})
}
