package marking

import (
	"cmp"
	"fmt"
	"html/template"
	"maps"
	"math"
	"slices"
	"strings"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/judge"
)

// A classView is what class.html is filled from.
type classView struct {
	Lab, Title, Marked, Counts string
	ToDo                       []template.HTML
	Remarks                    []remarkView
	MoreRemarks                int
	Spread                     *spreadView // nil if no sheet is marked
	Talk                       []talkView
	Grid                       *gridView // nil if no sheet is marked
	Outcomes                   []judge.Outcome
	Questions                  []itemView
	Slips                      []slipView
	Missing                    []string
}

type remarkView struct{ Who, Why string }

type spreadView struct {
	Mean, Median, Deviation, Lowest, Highest string
	Of                                       int
	Waiting                                  bool
	Histogram                                histogramView
}

type itemView struct {
	Title, ID                 string
	Marks                     int
	MeanFraction, FollowsRest string
	Outcomes                  []string
}

type slipView struct {
	Name     template.HTML
	Question string
	N        int // students
	Percent  string
	answered int
	fix      string
	title    string // of the question
}

// A talkView is a slip worth some minutes at the board.
type talkView struct {
	Name, Fix   template.HTML
	Title       string
	N, Answered int // students
}

// A gridView is the class at a glance: students by questions, the best first.
type gridView struct {
	Columns []columnView
	Of      int
	Rows    []gridRowView
	Marked  int
}

type columnView struct {
	Number  int
	Title   string
	Percent int // of the marks to be had; -1 where a text still waits
}

// A bar stands on the lower edge of a drawing 24 high.
func (c columnView) Bar() string   { return fmt.Sprintf("%.2f", 0.24*float64(c.Percent)) }
func (c columnView) Above() string { return fmt.Sprintf("%.2f", 24-0.24*float64(c.Percent)) }

type gridRowView struct {
	Who, Reply string
	Cells      []signView
	Total      string
}

type signView struct {
	Title       string
	Class, Sign string
	Word        string
}

// classPage is the page about the class.
func (b *marksBook) classPage() []byte {
	s := b.summary()
	of := 0
	for _, q := range b.questions {
		of += q.Marks
	}
	view := classView{Lab: b.lab.Number(), Title: b.lab.Title, ToDo: b.toDo(s), Spread: b.spreadView(of)}
	view.Marked, view.Counts, _ = strings.Cut(s.Counts(), " ")
	view.Remarks, view.MoreRemarks = b.remarkViews()
	statistics := b.itemStatistics()
	view.Outcomes, view.Questions = b.itemViews(statistics)
	view.Slips = b.slipViews(statistics)
	view.Talk = talkViews(view.Slips)
	view.Grid = b.gridView(statistics, of)
	for i := range b.rows {
		if r := &b.rows[i]; !r.returned() {
			view.Missing = append(view.Missing, r.student.ID+nameOf(r.student))
		}
	}
	return page(b.lab.Title+": the class", classTemplates, "class", view)
}

// gridView is nil where no sheet is marked.
func (b *marksBook) gridView(statistics []itemStatistic, of int) *gridView {
	view := &gridView{Of: of}
	for i, q := range b.questions {
		percent := -1
		if f := statistics[i].MeanFraction; !math.IsNaN(f) {
			percent = int(math.Round(100 * f))
		}
		view.Columns = append(view.Columns, columnView{i + 1, q.Title, percent})
	}
	var marked []*row
	for i := range b.rows {
		if b.rows[i].marked() {
			marked = append(marked, &b.rows[i])
		}
	}
	if len(marked) == 0 {
		return nil
	}
	view.Marked = len(marked)
	slices.SortStableFunc(marked, func(x, y *row) int { return cmp.Compare(y.marks().Total(), x.marks().Total()) })
	for _, r := range marked {
		line := gridRowView{Who: orElse(r.student.Name, r.student.ID), Reply: "replies/" + r.student.ID + ".html", Total: marksText(r.marks().Total())}
		for i, c := range r.cells {
			line.Cells = append(line.Cells, signOf(c, b.questions[i]))
		}
		view.Rows = append(view.Rows, line)
	}
	return view
}

// signOf is a question of a student as the page in the browser shows it: half marks have a
// sign of their own.
func signOf(c cell, q bank.Question) signView {
	o := c.outcome
	if o == judge.OutcomeWaiting && !c.Waits {
		o = readByLecturer
	}
	label := htmlpage.LabelOf(o)
	view := signView{Title: q.Title, Class: label.Class, Sign: label.Sign, Word: label.Word}
	switch {
	case c.Counts && !c.Waits && c.Earned > 0 && c.Earned < float64(q.Marks):
		view.Sign, view.Word = "◐", marksText(c.Earned)+" of "+fmt.Sprint(q.Marks)
	case o == readByLecturer && c.Earned >= float64(q.Marks):
		view.Sign, view.Class = judge.OutcomeRight.Sign(), "right"
	}
	return view
}

// mostTalk is how many slips the page puts first: what fits into the beginning of an hour.
const mostTalk = 3

// talkViews are the slips that most students share. One student's slip is no subject for all.
func talkViews(slips []slipView) []talkView {
	var out []talkView
	for _, s := range slips {
		if len(out) == mostTalk || s.N < 2 {
			break
		}
		out = append(out, talkView{Name: s.Name, Fix: inline(s.fix), Title: s.title, N: s.N, Answered: s.answered})
	}
	return out
}

// toDo lists what a person has to do.
func (b *marksBook) toDo(s Summary) []template.HTML {
	var lines []template.HTML
	for _, l := range []struct {
		name string
		n    int
	}{{"waiting", s.Waiting}, {"several", s.Unmarked}, {"unusable", s.Unusable}, {"loose", len(b.loose)}} {
		if l.n > 0 {
			lines = append(lines, htmlpage.Render(classTemplates, l.name, l.n))
		}
	}
	return lines
}

// mostLooks is how many students with remarks the page lists.
const mostLooks = 100

// remarkViews are the students to look at, and how many more there are.
func (b *marksBook) remarkViews() (looks []remarkView, more int) {
	for i := range b.rows {
		r := &b.rows[i]
		var why []string
		for _, s := range slices.Compact(slices.Sorted(slices.Values(r.short))) {
			if s == "nothing returned" || strings.HasSuffix(s, "for you to read") {
				continue // told above and below
			}
			why = append(why, s)
		}
		if len(why) > 0 {
			looks = append(looks, remarkView{r.student.ID + nameOf(r.student), strings.Join(why, "; ")})
		}
	}
	if len(looks) > mostLooks {
		looks, more = looks[:mostLooks], len(looks)-mostLooks
	}
	return looks, more
}

func nameOf(s Student) string {
	if s.Name == "" {
		return ""
	}
	return " " + s.Name
}

func (b *marksBook) spreadView(of int) *spreadView {
	var totals []float64
	for i := range b.rows {
		if b.rows[i].marked() {
			totals = append(totals, b.rows[i].marks().Total())
		}
	}
	if len(totals) == 0 {
		return nil
	}
	s := spreadOf(totals, of)
	return &spreadView{
		Mean: fixed(s.mean, 1), Median: fixed(s.median, 1), Deviation: fixed(s.deviation, 1),
		Lowest: marksText(s.lowest), Highest: marksText(s.highest), Of: of,
		Waiting:   slices.ContainsFunc(b.rows, func(r row) bool { return r.marks().Waiting() > 0 }),
		Histogram: histogramOf(s),
	}
}

// A histogramView has bars, each with its count above and its marks below, in the
// units of the drawing.
type histogramView struct {
	Width, Height, Base, Below int
	Bars                       []barView
}

type barView struct {
	X, Y, Width, Height, Middle, Above, N int
	Label                                 string
}

func histogramOf(s spread) histogramView {
	const height, gap, foot, top = 140, 6, 22, 20
	width := 32
	if len(s.bins) > 0 && s.bins[0].to > s.bins[0].from {
		width = 42 // for two numbers below it
	}
	most := 1
	for _, b := range s.bins {
		most = max(most, b.n)
	}
	view := histogramView{Width: len(s.bins)*(width+gap) + gap, Height: top + height + foot, Base: top + height, Below: top + height + 14}
	for i, b := range s.bins {
		x := gap + i*(width+gap)
		h := (b.n*height + most - 1) / most
		label := fmt.Sprintf("%g", b.from)
		if b.to > b.from {
			label = fmt.Sprintf("%g–%g", b.from, b.to)
		}
		view.Bars = append(view.Bars, barView{x, top + height - h, width, h, x + width/2, top + height - h - 4, b.n, label})
	}
	return view
}

// shown are the outcomes in the order of the table.
var shown = []judge.Outcome{judge.OutcomeRight, judge.OutcomeCarried, judge.OutcomeSlip, judge.OutcomeUnit, judge.OutcomeOff, judge.OutcomeUnreadable, judge.OutcomeBlank, judge.OutcomeWaiting, readByLecturer}

// readByLecturer stands for a text that has its marks.
const readByLecturer judge.Outcome = "read"

func (b *marksBook) itemViews(statistics []itemStatistic) ([]judge.Outcome, []itemView) {
	// A column of which no student has anything only makes the table wide.
	shown := slices.DeleteFunc(slices.Clone(shown), func(o judge.Outcome) bool {
		return !slices.ContainsFunc(statistics, func(s itemStatistic) bool { return s.Outcomes[o] > 0 })
	})
	var items []itemView
	for i, q := range b.questions {
		s := statistics[i]
		item := itemView{Title: q.Title, ID: q.ID, Marks: q.Marks, MeanFraction: fixed(s.MeanFraction, 2), FollowsRest: fixed(s.FollowsRest, 2)}
		for _, o := range shown {
			text := "·"
			if n := s.Outcomes[o]; n > 0 {
				text = fmt.Sprint(n)
			}
			item.Outcomes = append(item.Outcomes, text)
		}
		items = append(items, item)
	}
	return shown, items
}

func (b *marksBook) slipViews(statistics []itemStatistic) []slipView {
	var all []slipView
	for i, s := range statistics {
		answered := 0
		for o, n := range s.Outcomes {
			if o != judge.OutcomeBlank {
				answered += n
			}
		}
		for _, name := range slices.Sorted(maps.Keys(s.Slips)) {
			n := s.Slips[name]
			q := b.questions[i]
			all = append(all, slipView{
				Name: slipName(q, name), Question: q.ID, N: n, Percent: fmt.Sprintf("%.0f", 100*float64(n)/float64(answered)),
				answered: answered, fix: fixOf(q, name), title: q.Title,
			})
		}
	}
	slices.SortStableFunc(all, func(x, y slipView) int { return cmp.Compare(y.N, x.N) })
	return all
}

// slipName is the name of a slip, for an option with its text.
func slipName(q bank.Question, name string) template.HTML {
	for _, o := range q.Options {
		if name == "option "+o.Letter {
			return inline("option **" + o.Letter + "**: " + o.Text)
		}
	}
	return htmlpage.Render(classTemplates, "slip", name)
}

// fixOf is how to put a slip right; empty for one that the judge knows in any question.
func fixOf(q bank.Question, name string) string {
	for _, list := range [][]bank.Slip{q.Slips, q.USlips} {
		for _, s := range list {
			if s.Name == name {
				return s.Fix
			}
		}
	}
	if q.Function != nil {
		for _, s := range q.Function.Slips {
			if s.Name == name {
				return s.Fix
			}
		}
	}
	for _, o := range q.Options {
		if name == "option "+o.Letter {
			return o.Idea
		}
	}
	return ""
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
