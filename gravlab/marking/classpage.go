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
	for i := range b.rows {
		if r := &b.rows[i]; !r.returned() {
			view.Missing = append(view.Missing, r.student.ID+nameOf(r.student))
		}
	}
	return page(b.lab.Title+": the class", classTemplates, "class", view)
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
			all = append(all, slipView{slipName(b.questions[i], name), b.questions[i].ID, n, fmt.Sprintf("%.0f", 100*float64(n)/float64(answered))})
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
