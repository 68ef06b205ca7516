package mdhtml

import (
	"fmt"
	"html"
	"strings"
	"unicode/utf8"
)

// letters are the commands that stand for a letter, set italic where MathML does so.
var letters = map[string]string{
	`\alpha`: "α", `\beta`: "β", `\gamma`: "γ", `\delta`: "δ", `\epsilon`: "ϵ", `\varepsilon`: "ε",
	`\zeta`: "ζ", `\eta`: "η", `\theta`: "θ", `\vartheta`: "ϑ", `\iota`: "ι", `\kappa`: "κ",
	`\lambda`: "λ", `\mu`: "μ", `\nu`: "ν", `\xi`: "ξ", `\pi`: "π", `\varpi`: "ϖ", `\rho`: "ρ",
	`\varrho`: "ϱ", `\sigma`: "σ", `\varsigma`: "ς", `\tau`: "τ", `\upsilon`: "υ", `\phi`: "ϕ",
	`\varphi`: "φ", `\chi`: "χ", `\psi`: "ψ", `\omega`: "ω", `\ell`: "ℓ", `\partial`: "∂", `\imath`: "ı",
}

// upright are the commands that stand for a letter or sign set upright.
var upright = map[string]string{
	`\Gamma`: "Γ", `\Delta`: "Δ", `\Theta`: "Θ", `\Lambda`: "Λ", `\Xi`: "Ξ", `\Pi`: "Π", `\Sigma`: "Σ",
	`\Upsilon`: "Υ", `\Phi`: "Φ", `\Psi`: "Ψ", `\Omega`: "Ω", `\infty`: "∞", `\hbar`: "ℏ", `\nabla`: "∇",
	`\degree`: "°", `\emptyset`: "∅", `\Re`: "ℜ", `\Im`: "ℑ", `\oplus`: "⊕", `\odot`: "⊙", `\dagger`: "†",
	`\%`: "%", `\$`: "$", `\&`: "&", `\#`: "#", `\_`: "_",
}

// operators are the commands that stand for an operator, a relation or an arrow.
var operators = map[string]string{
	`\times`: "×", `\cdot`: "⋅", `\pm`: "±", `\mp`: "∓", `\div`: "÷", `\ast`: "∗", `\star`: "⋆", `\circ`: "∘", `\bullet`: "•",
	`\approx`: "≈", `\sim`: "∼", `\simeq`: "≃", `\cong`: "≅", `\equiv`: "≡", `\propto`: "∝", `\ne`: "≠", `\neq`: "≠",
	`\le`: "≤", `\leq`: "≤", `\ge`: "≥", `\geq`: "≥", `\ll`: "≪", `\gg`: "≫", `\lesssim`: "≲", `\gtrsim`: "≳",
	`\lt`: "<", `\gt`: ">", `\in`: "∈", `\notin`: "∉", `\subset`: "⊂", `\cup`: "∪", `\cap`: "∩",
	`\to`: "→", `\rightarrow`: "→", `\leftarrow`: "←", `\leftrightarrow`: "↔", `\Rightarrow`: "⇒", `\Leftarrow`: "⇐",
	`\Leftrightarrow`: "⇔", `\longrightarrow`: "⟶", `\mapsto`: "↦", `\uparrow`: "↑", `\downarrow`: "↓", `\implies`: "⟹", `\iff`: "⟺",
	`\perp`: "⊥", `\parallel`: "∥", `\mid`: "∣", `\angle`: "∠", `\forall`: "∀", `\exists`: "∃", `\neg`: "¬", `\land`: "∧", `\lor`: "∨",
	`\wedge`: "∧", `\vee`: "∨", `\otimes`: "⊗",
	`\dots`: "…", `\ldots`: "…", `\cdots`: "⋯", `\vdots`: "⋮", `\ddots`: "⋱", `\colon`: ":", `\prime`: "′",
	`\lvert`: "|", `\rvert`: "|", `\vert`: "|",
}

// large are the operators whose scripts go below and above when there is room.
var large = map[string]string{`\sum`: "∑", `\prod`: "∏", `\bigcup`: "⋃", `\bigcap`: "⋂"}

// integrals keep their scripts beside them.
var integrals = map[string]string{`\int`: "∫", `\iint`: "∬", `\iiint`: "∭", `\oint`: "∮"}

// functions are names set upright; true puts scripts below, as for lim.
var functions = map[string]bool{
	"sin": false, "cos": false, "tan": false, "cot": false, "sec": false, "csc": false, "sinh": false, "cosh": false, "tanh": false,
	"arcsin": false, "arccos": false, "arctan": false, "exp": false, "log": false, "ln": false, "lg": false, "arg": false, "deg": false,
	"dim": false, "det": true, "lim": true, "max": true, "min": true, "sup": true, "inf": true,
}

// blanks are the commands for space, in em.
var blanks = map[string]string{`\,`: "0.1667em", `\:`: "0.2222em", `\>`: "0.2222em", `\;`: "0.2778em", `\ `: "0.25em", `\quad`: "1em", `\qquad`: "2em", `\!`: "-0.1667em"}

// accents go over (true) or under a group.
var accents = map[string]struct {
	sign string
	over bool
	grow bool
}{
	`\vec`: {"→", true, false}, `\dot`: {"˙", true, false}, `\ddot`: {"¨", true, false}, `\bar`: {"¯", true, false},
	`\hat`: {"^", true, false}, `\tilde`: {"~", true, false}, `\acute`: {"´", true, false}, `\check`: {"ˇ", true, false},
	`\overline`: {"‾", true, true}, `\widehat`: {"^", true, true}, `\widetilde`: {"~", true, true}, `\overrightarrow`: {"→", true, true},
	`\underline`: {"_", false, true},
}

// sizes are the commands that make a bracket larger.
var sizes = map[string]string{`\big`: "1.2em", `\Big`: "1.8em", `\bigg`: "2.4em", `\Bigg`: "3em"}

// command translates a command that has just been taken; start is its place.
func (p *texParser) command(tok string, start int) (atom, error) {
	if s, ok := letters[tok]; ok {
		return atom{ml: "<mi>" + s + "</mi>"}, nil
	}
	if s, ok := upright[tok]; ok {
		return atom{ml: `<mi mathvariant="normal">` + html.EscapeString(s) + "</mi>"}, nil
	}
	if s, ok := operators[tok]; ok {
		if s == "|" {
			return atom{ml: fence(s, false)}, nil
		}
		return atom{ml: "<mo>" + html.EscapeString(s) + "</mo>"}, nil
	}
	if s, ok := large[tok]; ok {
		return atom{ml: `<mo movablelimits="true">` + s + "</mo>", limits: true}, nil
	}
	if s, ok := integrals[tok]; ok {
		return atom{ml: "<mo>" + s + "</mo>"}, nil
	}
	if under, ok := functions[tok[1:]]; ok {
		return atom{ml: "<mi>" + tok[1:] + "</mi>", limits: under && p.display, function: true}, nil
	}
	if w, ok := blanks[tok]; ok {
		return atom{ml: fmt.Sprintf(`<mspace width="%s"></mspace>`, w)}, nil
	}
	if _, ok := accents[tok]; ok {
		return p.accent(tok)
	}
	if s, ok := brackets[tok]; ok {
		return atom{ml: fence(s, false)}, nil
	}
	if size, ok := sizes[strings.TrimRight(tok, "lrm")]; ok {
		return p.sized(tok, size)
	}
	switch tok {
	case `\frac`, `\dfrac`, `\tfrac`, `\binom`:
		return p.fraction(tok)
	case `\sqrt`:
		return p.root()
	case `\left`:
		return p.leftRight(start)
	case `\begin`:
		return p.environment(start)
	case `\underbrace`, `\overbrace`:
		body, err := p.argument(tok)
		if err != nil {
			return atom{}, err
		}
		if tok == `\underbrace` {
			return atom{ml: "<munder>" + body + `<mo stretchy="true">⏟</mo></munder>`, limits: true}, nil
		}
		return atom{ml: "<mover>" + body + `<mo stretchy="true">⏞</mo></mover>`, limits: true}, nil
	case `\overset`, `\underset`, `\stackrel`:
		return p.stacked(tok)
	case `\text`, `\textrm`, `\mbox`, `\textit`, `\textbf`:
		return p.textual(tok)
	case `\mathrm`, `\mathbf`, `\mathit`, `\mathcal`, `\boldsymbol`, `\operatorname`:
		return p.alphabet(tok, start)
	case `\displaystyle`, `\textstyle`:
		body, err := p.list("}")
		return atom{ml: fmt.Sprintf(`<mstyle displaystyle="%t">%s</mstyle>`, tok == `\displaystyle`, body)}, err
	}
	return atom{}, p.fail(start, "%s is not known here", tok)
}

func (p *texParser) accent(tok string) (atom, error) {
	a := accents[tok]
	body, err := p.argument(tok)
	if err != nil {
		return atom{}, err
	}
	sign := fmt.Sprintf(`<mo stretchy="%t">%s</mo>`, a.grow, a.sign)
	if a.over {
		return atom{ml: `<mover accent="true">` + body + sign + "</mover>"}, nil
	}
	return atom{ml: `<munder accentunder="true">` + body + sign + "</munder>"}, nil
}

func (p *texParser) fraction(tok string) (atom, error) {
	top, err := p.argument(tok)
	if err != nil {
		return atom{}, err
	}
	bottom, err := p.argument(tok)
	if err != nil {
		return atom{}, err
	}
	switch tok {
	case `\binom`:
		return atom{ml: "<mrow>" + fence("(", true) + `<mfrac linethickness="0">` + top + bottom + "</mfrac>" + fence(")", true) + "</mrow>"}, nil
	case `\dfrac`, `\tfrac`:
		return atom{ml: fmt.Sprintf(`<mstyle displaystyle="%t"><mfrac>%s%s</mfrac></mstyle>`, tok == `\dfrac`, top, bottom)}, nil
	}
	return atom{ml: "<mfrac>" + top + bottom + "</mfrac>"}, nil
}

func (p *texParser) root() (atom, error) {
	index := ""
	if p.peek() == "[" {
		start := p.at
		p.take()
		body, err := p.list("]")
		if err != nil {
			return atom{}, err
		}
		if p.peek() != "]" {
			return atom{}, p.fail(start, "a [ without its ]")
		}
		p.take()
		index = row(body)
	}
	body, err := p.argument(`\sqrt`)
	if err != nil {
		return atom{}, err
	}
	if index != "" {
		return atom{ml: "<mroot>" + body + index + "</mroot>"}, nil
	}
	return atom{ml: "<msqrt>" + body + "</msqrt>"}, nil
}

func (p *texParser) stacked(tok string) (atom, error) {
	extra, err := p.argument(tok)
	if err != nil {
		return atom{}, err
	}
	base, err := p.argument(tok)
	if err != nil {
		return atom{}, err
	}
	if tok == `\underset` {
		return atom{ml: "<munder>" + base + extra + "</munder>"}, nil
	}
	return atom{ml: "<mover>" + base + extra + "</mover>"}, nil
}

// brackets are what \left, \right, \middle and \big take besides ( ) [ ] | / and "."
var brackets = map[string]string{
	`\{`: "{", `\}`: "}", `\lbrace`: "{", `\rbrace`: "}", `\langle`: "⟨", `\rangle`: "⟩", `\lfloor`: "⌊", `\rfloor`: "⌋",
	`\lceil`: "⌈", `\rceil`: "⌉", `\|`: "‖", `\Vert`: "‖",
}

func (p *texParser) bracket(of string) (string, error) {
	at := p.at
	tok := p.take()
	if s, ok := brackets[tok]; ok {
		return s, nil
	}
	switch tok {
	case "(", ")", "[", "]", "|", "/":
		return tok, nil
	case `\vert`, `\lvert`, `\rvert`:
		return "|", nil
	case ".":
		return "", nil
	}
	return "", p.fail(at, "%s wants a bracket or a point after it", of)
}

func (p *texParser) sized(tok, size string) (atom, error) {
	s, err := p.bracket(tok)
	if err != nil {
		return atom{}, err
	}
	return atom{ml: fmt.Sprintf(`<mo fence="true" stretchy="true" symmetric="true" minsize="%s" maxsize="%s">%s</mo>`, size, size, html.EscapeString(s))}, nil
}

func (p *texParser) leftRight(start int) (atom, error) {
	open, err := p.bracket(`\left`)
	if err != nil {
		return atom{}, err
	}
	var b strings.Builder
	b.WriteString("<mrow>")
	if open != "" {
		b.WriteString(fence(open, true))
	}
	for {
		body, err := p.list("")
		if err != nil {
			return atom{}, err
		}
		b.WriteString(body)
		switch p.peek() {
		case `\middle`, `\right`:
		default:
			return atom{}, p.fail(start, `\left without its \right`)
		}
		tok := p.take()
		s, err := p.bracket(tok)
		if err != nil {
			return atom{}, err
		}
		if s != "" {
			b.WriteString(fence(s, true))
		}
		if tok == `\right` {
			b.WriteString("</mrow>")
			return atom{ml: b.String()}, nil
		}
	}
}

func (p *texParser) textual(tok string) (atom, error) {
	s, err := p.words(tok)
	if err != nil {
		return atom{}, err
	}
	style := ""
	switch tok {
	case `\textit`:
		style = ` style="font-style:italic"`
	case `\textbf`:
		style = ` style="font-weight:bold"`
	}
	// A browser drops blanks at the ends of mtext.
	return atom{ml: "<mtext" + style + ">" + strings.ReplaceAll(html.EscapeString(s), " ", "\u00a0") + "</mtext>"}, nil
}

// alphabet sets a name or a letter in another alphabet.
func (p *texParser) alphabet(tok string, start int) (atom, error) {
	if tok == `\boldsymbol` || tok == `\mathbf` {
		body, err := p.argument(tok)
		return atom{ml: `<mrow style="font-weight:bold">` + body + "</mrow>"}, err
	}
	if tok == `\mathrm` {
		// Units stand in it with their powers, roots and fractions, so it is math.
		outer := p.upright
		p.upright = true
		body, err := p.argument(tok)
		p.upright = outer
		return atom{ml: body}, err
	}
	s, err := p.name(tok)
	if err != nil {
		return atom{}, err
	}
	switch tok {
	case `\operatorname`:
		return atom{ml: `<mi mathvariant="normal">` + html.EscapeString(s) + "</mi>", function: true}, nil
	case `\mathit`:
		return atom{ml: `<mi style="font-style:italic">` + html.EscapeString(s) + "</mi>"}, nil
	}
	script := strings.Map(func(r rune) rune { // Unicode has capitals of this alphabet
		if other, ok := scriptElsewhere[r]; ok {
			return other
		}
		if r >= 'A' && r <= 'Z' {
			return 0x1d49c + r - 'A'
		}
		return -1
	}, s)
	if utf8.RuneCountInString(script) != utf8.RuneCountInString(s) {
		return atom{}, p.fail(start, `\mathcal wants capital letters`)
	}
	return atom{ml: "<mi>" + script + "</mi>"}, nil
}

// scriptElsewhere are the script capitals that Unicode had before the others.
var scriptElsewhere = map[rune]rune{'B': 'ℬ', 'E': 'ℰ', 'F': 'ℱ', 'H': 'ℋ', 'I': 'ℐ', 'L': 'ℒ', 'M': 'ℳ', 'R': 'ℛ'}

// environment reads \begin{name} ... \end{name}.
func (p *texParser) environment(start int) (atom, error) {
	name, err := p.words(`\begin`)
	if err != nil {
		return atom{}, err
	}
	open, end, align := "", "", "center"
	switch strings.TrimSuffix(name, "*") {
	case "aligned", "align", "split":
		align = "pairs"
	case "gathered", "gather", "matrix", "equation":
	case "cases":
		open, align = "{", "left"
	case "pmatrix":
		open, end = "(", ")"
	case "bmatrix":
		open, end = "[", "]"
	case "vmatrix":
		open, end = "|", "|"
	default:
		return atom{}, p.fail(start, `\begin{%s} is not known here`, name)
	}
	var b strings.Builder
	b.WriteString("<mtable")
	if align == "pairs" || name == "gathered" {
		b.WriteString(` displaystyle="true"`)
	}
	b.WriteString("><mtr>")
	for column := 0; ; {
		body, err := p.list("")
		if err != nil {
			return atom{}, err
		}
		b.WriteString("<mtd" + cellStyle(align, column) + ">" + body + "</mtd>")
		switch at := p.at; p.take() {
		case "&":
			column++
		case `\\`:
			column = 0
			if p.peek() == `\end` { // a \\ after the last row
				continue
			}
			b.WriteString("</mtr><mtr>")
		case `\end`:
			closing, err := p.words(`\end`)
			if err != nil {
				return atom{}, err
			}
			if closing != name {
				return atom{}, p.fail(at, `\begin{%s} ended by \end{%s}`, name, closing)
			}
			table := strings.TrimSuffix(b.String(), "<mtd"+cellStyle(align, 0)+"></mtd>") + "</mtr></mtable>"
			if open != "" {
				table = fence(open, true) + table
			}
			if end != "" {
				table += fence(end, true)
			}
			if open+end != "" {
				table = "<mrow>" + table + "</mrow>"
			}
			return atom{ml: table}, nil
		default:
			return atom{}, p.fail(start, `\begin{%s} without its \end`, name)
		}
	}
}

// cellStyle aligns a cell: pairs meet at their relation sign.
func cellStyle(align string, column int) string {
	switch {
	case align == "pairs" && column%2 == 0:
		return ` style="text-align:right;padding-right:0"`
	case align == "pairs":
		return ` style="text-align:left;padding-left:0"`
	case align == "left":
		return ` style="text-align:left"`
	}
	return ""
}
