package marking

import (
	"fmt"
	"slices"
	"strings"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/compose"
	"gravity.example/gravlab/judge"
)

// replyPage is the reply to one student. Without a marked file it says why.
func (b *book) replyPage(r *row, ran run, verdicts []verdictOf, pictures []picture) []byte {
	var p page
	who := r.student.ID
	if r.student.Name != "" {
		who = r.student.Name + " (" + r.student.ID + ")"
	}
	p.begin(b.lab.Title + ": reply to " + who)
	p.printf("<header>\n<p class=\"label\">Lab %s · sheet %s</p>\n<h1>%s</h1>\n<p class=\"who\">Reply to %s</p>\n</header>\n", esc(b.lab.Number()), esc(string(r.code)), esc(b.lab.Title), esc(who))
	if r.item == nil {
		b.unmarked(&p, r)
		return p.end()
	}
	if r.others > 0 {
		p.printf("<p class=\"notice\"><strong>Several files.</strong> Different files were handed in with the code of your sheet, and one of them was marked. If the marks below are not those of your work, tell your lecturer.</p>\n")
	}
	paper := b.lab.Sheet(r.code)
	b.summaryTable(&p, r, paper, verdicts)
	trouble := b.cellsSection(&p, ran)
	p.printf("<section aria-labelledby=\"answers\">\n<h2 id=\"answers\">Question by question</h2>\n")
	for i, q := range paper.Questions {
		b.question(&p, r, q, verdicts[i], i, trouble)
	}
	p.printf("</section>\n")
	if len(pictures) > 0 {
		p.printf("<section aria-labelledby=\"figures\">\n<h2 id=\"figures\">Your figures</h2>\n<p class=\"quiet\">As your program showed them, in their order")
		if ran.Shown > len(pictures) {
			p.printf("; the first %d of %d", len(pictures), ran.Shown)
		}
		p.printf(".</p>\n")
		for _, pic := range pictures {
			p.picture(pic)
		}
		p.printf("</section>\n")
	}
	p.WriteString(howMarked)
	if slices.Contains(b.lab.Tracks, bank.SurveyHire) {
		p.WriteString(caution)
	}
	p.WriteString("</footer>\n")
	return p.end()
}

// unmarked says why there is no marked file, and what the lecturer gave all the same.
func (b *book) unmarked(p *page, r *row) {
	var told []stray
	for _, s := range r.strays {
		if !s.waits {
			told = append(told, s)
		}
	}
	switch {
	case len(r.items) > 0:
		p.printf("<p class=\"notice\"><strong>Not marked yet.</strong> %d different files were handed in with the code of your sheet. Tell your lecturer which one is yours, or how that could happen.</p>\n", r.others+1)
	case len(told) > 0:
		p.printf("<p class=\"notice\"><strong>Not marked.</strong> %s under your name, and nothing of it could be marked. Ask your lecturer whether you may hand in your notebook, the .ipynb file, again.</p>\n", map[bool]string{true: "One file was handed in", false: fmt.Sprintf("%d files were handed in", len(told))}[len(told) == 1])
		p.printf("<table class=\"files\">\n<thead><tr><th scope=\"col\">file</th><th scope=\"col\">why it was not marked</th></tr></thead>\n<tbody>\n")
		for _, s := range told[:min(len(told), mostCells)] {
			p.printf("<tr><th scope=\"row\"><code>%s</code></th><td>It %s.</td></tr>\n", esc(s.file), esc(strings.TrimPrefix(s.why, "it ")))
		}
		p.printf("</tbody>\n</table>\n")
	default:
		p.printf("<p class=\"notice\"><strong>No notebook of yours was handed in.</strong></p>\n")
	}
	if !r.counts() {
		return
	}
	p.printf("<table class=\"marks\">\n<thead><tr><th scope=\"col\">question</th><th scope=\"col\">your lecturer's word</th><th scope=\"col\" class=\"number\">marks</th></tr></thead>\n<tbody>\n")
	for i, q := range b.questions {
		if c := r.cells[i]; c.counts {
			p.printf("<tr><th scope=\"row\">%s</th><td>%s</td><td class=\"number\">%s of %d</td></tr>\n", esc(q.Title), esc(b.adjust.marks[r.student.ID][q.ID].Reason), marksText(c.earned), q.Marks)
		}
	}
	p.printf("</tbody>\n</table>\n")
}

func (b *book) summaryTable(p *page, r *row, paper bank.Sheet, verdicts []verdictOf) {
	p.printf("<section class=\"overview\" aria-labelledby=\"marks\">\n<h2 id=\"marks\">Marks</h2>\n<p class=\"total\"><strong>%s</strong> of %d", marksText(r.total()), paper.Marks())
	if n := r.waiting(); n > 0 {
		p.printf(" <span class=\"quiet\">so far; %s for your lecturer</span>", map[bool]string{true: "1 text waits", false: fmt.Sprintf("%d texts wait", n)}[n == 1])
	}
	p.printf("</p>\n<table class=\"marks\">\n<thead><tr><th scope=\"col\">question</th><th scope=\"col\">verdict</th><th scope=\"col\" class=\"number\">marks</th></tr></thead>\n<tbody>\n")
	for i, q := range paper.Questions {
		v := verdicts[i].Entry.Verdict
		said := outcome(v.Outcome)
		if v.Slip != "" {
			said += " " + esc(v.Slip)
		}
		switch {
		case r.cells[i].adjusted:
			said += " <span class=\"changed\">changed by your lecturer</span>"
		case v.Outcome == judge.Waiting && !r.cells[i].waits:
			said = "<span class=\"outcome quiet\"><span aria-hidden=\"true\">•</span> read by your lecturer</span>"
		}
		p.printf("<tr><th scope=\"row\"><a href=\"#q-%s\">%s</a></th><td>%s</td><td class=\"number\">%s of %d</td></tr>\n", esc(q.ID), esc(q.Title), said, marksText(r.cells[i].earned), q.Marks)
	}
	p.printf("</tbody>\n</table>\n</section>\n")
}

// question writes one question: what was asked, given, understood and earned.
// trouble says that the reply tells of cells in which an answer may have been lost.
func (b *book) question(p *page, r *row, q bank.Question, v verdictOf, i int, trouble bool) {
	verdict, c := v.Entry.Verdict, r.cells[i]
	p.printf("<article class=\"question\" id=\"q-%s\">\n<h3>%s <code>%s</code></h3>\n", esc(q.ID), esc(q.Title), esc(b.lab.FullID(q.ID)))
	p.prose(q.Prompt)
	if len(q.Options) > 0 {
		p.printf("<ul class=\"options\">\n")
		for _, o := range q.Options {
			p.printf("<li><strong>%s</strong> %s</li>\n", esc(o.Letter), inline(o.Text))
		}
		p.printf("</ul>\n")
	}
	ref, referred := find(b.refs.of(r.student.ID), q.ID)
	if v.Given || referred {
		p.printf("<dl>\n")
	}
	if v.Given {
		p.printf("<dt>You gave</dt><dd>%s</dd>\n", given(q, v))
		if verdict.Understood != "" && q.Kind != judge.Text && q.Kind != judge.Choice {
			p.printf("<dt>Understood as</dt><dd>%s</dd>\n", esc(verdict.Understood))
		}
	}
	if referred {
		p.printf("<dt>Reference</dt><dd>%s, your lecturer's own value (k = 1)</dd>\n", esc(ref.text()))
	}
	if v.Given || referred {
		p.printf("</dl>\n")
	}
	class := looks[verdict.Outcome]
	if class == "" {
		class = "quiet"
	}
	eye, read := eyeMark{}, false
	if verdict.Outcome == judge.Waiting {
		eye, read = b.eye.of(r.student.ID, q.ID, v.Entry.Answer.Text)
	}
	p.printf("<div class=\"verdict %s\">\n<p>", class)
	if read {
		p.printf("<strong>Read by your lecturer</strong>")
	} else {
		p.WriteString(outcome(verdict.Outcome))
		if verdict.Slip != "" {
			p.printf(": %s", esc(verdict.Slip))
		}
	}
	p.printf(" <span class=\"of\">%s of %s</span></p>\n", marksText(c.earned), count(q.Marks, "mark"))
	message := verdict.Message
	if verdict.Outcome == judge.Blank && !v.Given && trouble {
		message += "\nWhat happened when your notebook was run, above, may say where an answer was lost."
	}
	if read {
		message = eye.comment
	} else if verdict.Slip != "" {
		// Its first line repeats the name of the slip.
		if first, rest, ok := strings.Cut(message, "\n"); ok && strings.HasSuffix(first, "?") {
			message = rest
		}
	}
	for line := range strings.Lines(message) {
		if line = strings.TrimSpace(line); line != "" && line != "Go on with the next." && line != "At every one of the judge's points. Go on with the next." {
			p.printf("<p>%s</p>\n", esc(line))
		}
	}
	p.printf("</div>\n")
	if a, ok := b.adjust.marks[r.student.ID][q.ID]; ok {
		p.printf("<p class=\"notice\"><strong>Changed by your lecturer</strong> to %s of %d", marksText(a.Marks), q.Marks)
		if a.Reason != "" {
			p.printf(": %s", esc(a.Reason))
		}
		p.printf("</p>\n")
	}
	p.printf("</article>\n")
}

// given is the answer as the student gave it, as HTML.
func given(q bank.Question, v verdictOf) string {
	a := v.Entry.Answer
	switch {
	case q.Kind == judge.Text:
		return "<div class=\"words\">" + esc(a.Text) + "</div>"
	case q.Kind == judge.Choice:
		for _, o := range q.Options {
			if v.Entry.Verdict.Understood == "option "+o.Letter {
				return "<strong>" + esc(o.Letter) + "</strong> " + inline(o.Text)
			}
		}
		return "<code>" + esc(clip(a.Text, 100)) + "</code>"
	case q.Kind == judge.Function && a.Fault != "":
		return "a function that failed: " + esc(clip(a.Fault, 300))
	case q.Kind == judge.Function:
		return fmt.Sprintf("a function, called %s", map[bool]string{true: "once", false: fmt.Sprintf("at %d points", len(a.Values))}[len(a.Values) == 1])
	case a.Typed:
		return "<code>" + esc(clip(a.Text, 200)) + "</code>"
	case a.U != 0 || q.Kind == judge.Measured:
		return fmt.Sprintf("<code>%.7g ± %.3g %s</code>", a.Value, a.U, esc(clip(a.Unit, 60)))
	default:
		return fmt.Sprintf("<code>%.7g %s</code>", a.Value, esc(clip(a.Unit, 60)))
	}
}

// mostCells is how many cells the reply lists that did not run through.
const mostCells = 20

// cellsSection says which cells did not run through, and why, and whether there
// was anything to say.
func (b *book) cellsSection(p *page, ran run) bool {
	type line struct {
		cell int
		text string
	}
	var lines []line
	told := map[int]bool{}
	for _, m := range ran.Remarks {
		told[m.Cell] = true
		where := ""
		if m.Line > 0 {
			where = fmt.Sprintf("line %d: ", m.Line)
		}
		lines = append(lines, line{m.Cell, where + m.Text})
	}
	for _, c := range ran.Cells {
		if text := cellText(c); text != "" && !told[c.Index+1] {
			lines = append(lines, line{c.Index + 1, text})
		}
	}
	slices.SortStableFunc(lines, func(x, y line) int { return x.cell - y.cell })
	if ran.Ended != compose.LimitNone && len(lines) == 0 {
		lines = append(lines, line{0, "the notebook met a limit: " + string(ran.Ended)})
	}
	for _, note := range ran.Notes { // on answers that no question has
		lines = append(lines, line{0, "the notebook " + note})
	}
	if len(lines) == 0 {
		return false
	}
	p.printf("<section class=\"cells\" aria-labelledby=\"cells\">\n<h2 id=\"cells\">What happened when your notebook was run</h2>\n<ul>\n")
	for i, l := range lines {
		if i == mostCells {
			p.printf("<li>and %d more</li>\n", len(lines)-mostCells)
			break
		}
		if l.cell > 0 {
			p.printf("<li>Cell %d: %s</li>\n", l.cell, esc(strings.TrimPrefix(l.text, "this cell ")))
		} else {
			p.printf("<li>%s</li>\n", esc(l.text))
		}
	}
	p.printf("</ul>\n<p class=\"quiet\">Answers in these cells may be missing. Cells are counted from the top of the notebook, texts too.</p>\n</section>\n")
	return true
}

const howMarked = `<footer>
<h2>How this was marked</h2>
<p>Your notebook was run from its first cell to its last, as “restart and run all” does. What the file held as outputs does not count; of several answers to a question the last one does. A program judged the answers; texts are read by a person.</p>
<ul class="legend">
<li><span class="outcome right"><span aria-hidden="true">✓</span> right</span> within the tolerance of the question</li>
<li><span class="outcome carried"><span aria-hidden="true">✓</span> carried</span> right, given your answer to an earlier question</li>
<li><span class="outcome slip"><span aria-hidden="true">△</span> slip</span> a mistake that the judge knows; it is named</li>
<li><span class="outcome slip"><span aria-hidden="true">△</span> unit</span> the right number with a wrong or missing unit</li>
<li><span class="outcome off"><span aria-hidden="true">✗</span> off</span> not recognised, or not in all its parts</li>
<li><span class="outcome off"><span aria-hidden="true">✗</span> unreadable</span> not a number, not an option, or a function that fails</li>
<li><span class="outcome quiet"><span aria-hidden="true">○</span> blank</span> nothing given in</li>
<li><span class="outcome quiet"><span aria-hidden="true">○</span> waiting</span> a text that your lecturer has still to read</li>
</ul>
<p class="quiet">If you think that a verdict is wrong, tell your lecturer: a person's word comes last.</p>
`

// caution stands in every reply to a survey lab, as on every report about ground.
const caution = `<p class="notice"><strong>Caution.</strong> Gravity does not clear ground for digging, driving or building. Buried services are located and voids judged by those licensed to do it under the local code. A void that gravity does not show may still be there.</p>
`
