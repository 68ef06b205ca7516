package marking

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

// classPage is the page about the class.
func (b *book) classPage() []byte {
	var p page
	s := b.summary()
	of := 0
	for _, q := range b.questions {
		of += q.Marks
	}
	p.begin(b.lab.Title + ": the class")
	p.printf("<header>\n<p class=\"label\">Lab %s · for the lecturer</p>\n<h1>%s: the class</h1>\n</header>\n", esc(b.lab.Number()), esc(b.lab.Title))
	marked, rest, _ := strings.Cut(s.Counts(), " ")
	p.printf("<p class=\"total\"><strong>%s</strong> %s</p>\n", marked, rest)
	b.attention(&p, s)
	b.spreadSection(&p, of)
	statistics := b.itemStatistics()
	b.questionsSection(&p, statistics)
	b.slipsSection(&p, statistics)
	b.missingSection(&p)
	p.WriteString(definitions)
	return p.end()
}

// attention lists what a person has to do.
func (b *book) attention(p *page, s Summary) {
	p.printf("<section aria-labelledby=\"eye\">\n<h2 id=\"eye\">For you to check</h2>\n")
	var lines []string
	if s.Waiting > 0 {
		lines = append(lines, fmt.Sprintf("%s: read them in <code>by-eye.csv</code>, fill in its column <code>marks</code>, and mark again", map[bool]string{true: "1 text waits", false: fmt.Sprintf("%d texts wait", s.Waiting)}[s.Waiting == 1]))
	}
	if s.Unmarked > 0 {
		lines = append(lines, fmt.Sprintf("%s more than one file with their code, and none of them is marked: <code>remarks.csv</code> has the fingerprints; name the one that counts in <code>adjust.csv</code>", map[bool]string{true: "1 student has", false: fmt.Sprintf("%d students have", s.Unmarked)}[s.Unmarked == 1]))
	}
	if s.Unusable > 0 {
		lines = append(lines, fmt.Sprintf("%s in something that cannot be marked: <code>remarks.csv</code> has the reasons, and so has the reply to each", map[bool]string{true: "1 student handed", false: fmt.Sprintf("%d students handed", s.Unusable)}[s.Unusable == 1]))
	}
	if n := len(b.loose); n > 0 {
		lines = append(lines, fmt.Sprintf("the first %s of <code>remarks.csv</code> %s about files that were not marked, or belong to no student of the class", map[bool]string{true: "row", false: fmt.Sprintf("%d rows", n)}[n == 1], map[bool]string{true: "is", false: "are"}[n == 1]))
	}
	if len(lines) > 0 {
		p.printf("<ul>\n")
		for _, l := range lines {
			p.printf("<li>%s</li>\n", l)
		}
		p.printf("</ul>\n")
	}
	type look struct{ who, why string }
	var looks []look
	for i := range b.rows {
		r := &b.rows[i]
		var why string
		for _, s := range slices.Compact(slices.Sorted(slices.Values(r.short))) {
			if s == "nothing returned" || strings.HasSuffix(s, "to be read by eye") {
				continue // told above and below
			}
			if why != "" {
				why += "; "
			}
			why += s
		}
		if why != "" {
			looks = append(looks, look{r.student.ID + nameOf(r.student), why})
		}
	}
	if len(looks) > 0 {
		p.printf("<table class=\"looks\">\n<thead><tr><th scope=\"col\">student</th><th scope=\"col\">remark</th></tr></thead>\n<tbody>\n")
		for i, l := range looks {
			if i == mostLooks {
				p.printf("<tr><th scope=\"row\">and %d more</th><td>see <code>marks.csv</code></td></tr>\n", len(looks)-mostLooks)
				break
			}
			p.printf("<tr><th scope=\"row\">%s</th><td>%s</td></tr>\n", esc(l.who), esc(l.why))
		}
		p.printf("</tbody>\n</table>\n")
	}
	if len(lines)+len(looks) == 0 {
		p.printf("<p>Nothing.</p>\n")
	}
	p.printf("</section>\n")
}

// mostLooks is how many students with remarks the page lists.
const mostLooks = 100

func nameOf(s Student) string {
	if s.Name == "" {
		return ""
	}
	return " " + s.Name
}

func (b *book) spreadSection(p *page, of int) {
	var totals []float64
	for i := range b.rows {
		if b.rows[i].marked() {
			totals = append(totals, b.rows[i].total())
		}
	}
	p.printf("<section aria-labelledby=\"spread\">\n<h2 id=\"spread\">Spread of the marks</h2>\n")
	if len(totals) == 0 {
		p.printf("<p>No sheet is marked yet.</p>\n</section>\n")
		return
	}
	s := spreadOf(totals, of)
	p.printf("<p>Mean %s, median %s, standard deviation %s; from %s to %s of %d marks.</p>\n", fixed(s.mean, 1), fixed(s.median, 1), fixed(s.deviation, 1), marksText(s.lowest), marksText(s.highest), of)
	if slices.ContainsFunc(b.rows, func(r row) bool { return r.waiting() > 0 }) {
		p.printf("<p>Texts that wait for you count 0 in these sums.</p>\n")
	}
	p.histogram(s)
	p.printf("</section>\n")
}

// histogram draws bars, each with its count above and its marks below.
func (p *page) histogram(s spread) {
	const height, gap, foot, top = 140, 6, 22, 20
	bar := 32
	if len(s.bins) > 0 && s.bins[0].to > s.bins[0].from {
		bar = 42 // for two numbers below it
	}
	most := 1
	for _, b := range s.bins {
		most = max(most, b.n)
	}
	width := len(s.bins)*(bar+gap) + gap
	p.printf("<figure>\n<svg class=\"histogram\" role=\"img\" aria-label=\"How many students had how many marks\" viewBox=\"0 0 %d %d\" width=\"%d\">\n", width, top+height+foot, width)
	for i, b := range s.bins {
		x := gap + i*(bar+gap)
		h := (b.n*height + most - 1) / most
		p.printf("<rect class=\"bar\" x=\"%d\" y=\"%d\" width=\"%d\" height=\"%d\"/>", x, top+height-h, bar, h)
		if b.n > 0 {
			p.printf("<text x=\"%d\" y=\"%d\">%d</text>", x+bar/2, top+height-h-4, b.n)
		}
		label := fmt.Sprintf("%g", b.from)
		if b.to > b.from {
			label = fmt.Sprintf("%g–%g", b.from, b.to)
		}
		p.printf("<text class=\"axis\" x=\"%d\" y=\"%d\">%s</text>\n", x+bar/2, top+height+14, label)
	}
	p.printf("<line x1=\"0\" y1=\"%d\" x2=\"%d\" y2=\"%d\"/>\n</svg>\n<figcaption>Students by marks.</figcaption>\n</figure>\n", top+height, width, top+height)
}

// shown are the outcomes in the order of the table.
var shown = []judge.Outcome{judge.Right, judge.Carried, judge.Slip, judge.Unit, judge.Off, judge.Unreadable, judge.Blank, judge.Waiting, readByLecturer}

// readByLecturer stands for a text that has its marks.
const readByLecturer judge.Outcome = "read"

func (b *book) questionsSection(p *page, statistics []itemStatistic) {
	// A column of which no student has anything only makes the table wide.
	shown := slices.DeleteFunc(slices.Clone(shown), func(o judge.Outcome) bool {
		return !slices.ContainsFunc(statistics, func(s itemStatistic) bool { return s.Outcomes[o] > 0 })
	})
	p.printf("<section aria-labelledby=\"questions\">\n<h2 id=\"questions\">Question by question</h2>\n<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"table of the questions\"><table class=\"items\">\n<thead><tr><th scope=\"col\">question</th><th scope=\"col\" class=\"number\">marks</th><th scope=\"col\" class=\"number\">facility</th><th scope=\"col\" class=\"number\">discrimination</th>")
	for _, o := range shown {
		p.printf("<th scope=\"col\" class=\"number\">%s</th>", o)
	}
	p.printf("</tr></thead>\n<tbody>\n")
	for i, q := range b.questions {
		s := statistics[i]
		p.printf("<tr><th scope=\"row\">%s <code>%s</code></th><td class=\"number\">%d</td><td class=\"number\">%s</td><td class=\"number\">%s</td>", esc(q.Title), esc(q.ID), q.Marks, fixed(s.Facility, 2), fixed(s.Discrimination, 2))
		for _, o := range shown {
			text := "·"
			if n := s.Outcomes[o]; n > 0 {
				text = fmt.Sprint(n)
			}
			p.printf("<td class=\"number\">%s</td>", text)
		}
		p.printf("</tr>\n")
	}
	p.printf("</tbody>\n</table></div>\n</section>\n")
}

func (b *book) slipsSection(p *page, statistics []itemStatistic) {
	p.printf("<section aria-labelledby=\"slips\">\n<h2 id=\"slips\">Slips, the most frequent first</h2>\n")
	type slip struct {
		question, name string
		n, of          int
	}
	var all []slip
	for i, s := range statistics {
		answered := 0
		for o, n := range s.Outcomes {
			if o != judge.Blank {
				answered += n
			}
		}
		for _, name := range slices.Sorted(maps.Keys(s.Slips)) {
			all = append(all, slip{b.questions[i].ID, slipName(b.questions[i], name), s.Slips[name], answered})
		}
	}
	slices.SortStableFunc(all, func(x, y slip) int { return cmp.Compare(y.n, x.n) })
	if len(all) == 0 {
		p.printf("<p>None was recognised.</p>\n</section>\n")
		return
	}
	p.printf("<table>\n<thead><tr><th scope=\"col\">slip</th><th scope=\"col\">question</th><th scope=\"col\" class=\"number\">students</th><th scope=\"col\" class=\"number\">of those who answered</th></tr></thead>\n<tbody>\n")
	for _, s := range all {
		p.printf("<tr><th scope=\"row\">%s</th><td><code>%s</code></td><td class=\"number\">%d</td><td class=\"number\">%.0f %%</td></tr>\n", s.name, esc(s.question), s.n, 100*float64(s.n)/float64(s.of))
	}
	p.printf("</tbody>\n</table>\n</section>\n")
}

// slipName is the name of a slip, for an option with its text.
func slipName(q bank.Question, name string) string {
	for _, o := range q.Options {
		if name == "option "+o.Letter {
			return inline("option **" + o.Letter + "**: " + o.Text)
		}
	}
	return esc(name)
}

func (b *book) missingSection(p *page) {
	p.printf("<section aria-labelledby=\"missing\">\n<h2 id=\"missing\">Who is missing</h2>\n")
	var missing []string
	for i := range b.rows {
		if r := &b.rows[i]; !r.returned() {
			missing = append(missing, esc(r.student.ID+nameOf(r.student)))
		}
	}
	if len(missing) == 0 {
		p.printf("<p>Nobody.</p>\n</section>\n")
		return
	}
	p.printf("<ul class=\"names\">\n")
	for _, m := range missing {
		p.printf("<li>%s</li>\n", m)
	}
	p.printf("</ul>\n</section>\n")
}

// fixed writes a number with so many decimals, a dash if there is none.
func fixed(v float64, decimals int) string {
	if math.IsNaN(v) {
		return "–"
	}
	s := fmt.Sprintf("%.*f", decimals, v)
	if v < 0 && math.Abs(v) < 0.5*math.Pow(10, -float64(decimals)) {
		return s[1:]
	}
	return s
}

const definitions = `<footer>
<h2>How to read these numbers</h2>
<p><strong>Facility</strong> is the mean mark for a question divided by its full mark; 1 means that every student got full marks. <strong>Discrimination</strong> is the correlation of a question's marks with the marks for all other questions (corrected item–total correlation): near 1 the question tells strong sheets from weak ones, near 0 it does not, below 0 look at the question again. It is left out below 5 sheets and where all marks are the same; below some 30 sheets it says little. Both are computed from the marked sheets, after your own changes, and not before all texts of a question have their marks. Common practice, no source.</p>
<p><strong>What a mark proves.</strong> The bank is public and the code of a sheet is its seed, so anyone with this program can compute the right answers. What a mark says about a student rests on recordings of their own, on functions and texts that they wrote, or on a bank of your own that you do not hand out. Many sheets with nothing but right numbers and no working deserve a conversation, not a verdict by machine.</p>
</footer>
`
