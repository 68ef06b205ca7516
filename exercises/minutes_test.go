package exercises

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
)

// How long a second-year student takes, in minutes.
//
// Reading: 175 words a minute, the lower end of what most adults read of non-fiction in English
// (175 to 300, mean 238: M. Brysbaert, How many words do we read per minute?, J. Mem. Lang. 109
// (2019) 104047, abstract read). The other rates are common practice, no source: half a minute
// for a formula that stands alone; for a cell a minute and a half, to run it, look at the figure,
// change a number and look again; and what a question asks for, on top of its text.
const (
	wordsPerMinute = 175
	perFormula     = 0.5
	perCell        = 1.5
	perChoice      = 1.0
	perRecording   = 5.0 // a value from a recording, with its uncertainty
)

// perAsked is for questions for a number, by testdata/asks.csv; a function takes longer.
var perAsked = map[string]float64{"formula": 2, "interpretation": 3, "derivation": 4, "design": 4, "data": 4, "program": 5}

const (
	perFunction = 2.0 // on top
	perUnknown  = 4.0 // what is not in the table: lab 00, whose readers meet the language
)

var (
	display  = regexp.MustCompile(`(?s)\$\$.*?\$\$`)
	inline   = regexp.MustCompile(`\$[^$\n]*\$`)
	fenced   = regexp.MustCompile("(?s)```.*?```")
	word     = regexp.MustCompile(`[\p{L}\p{N}][^\s|]*`)
	optional = regexp.MustCompile(`(?m)^#+ .*\(optional\)\s*$`)
	section  = regexp.MustCompile(`(?m)^## `)
)

// aTime is what a lab takes, minutes, by what takes it.
type aTime struct{ words, cells, questions, reading, running, answering float64 }

func (a aTime) total() float64 { return a.reading + a.running + a.answering }

// timeOf counts a lab's notebook without its sources, and without what is optional.
func timeOf(lab bank.Lab, nb *notebook.Notebook, table map[string]string) (a aTime) {
	sheet := lab.Sheet("")
	skip := false
	for _, c := range nb.Cells {
		if _, part, ok := c.Question(); ok && part == notebook.Answer {
			continue
		}
		if c.Kind != notebook.Markdown {
			if !skip && !strings.Contains(c.Source, "ask.Sheet(") && !strings.Contains(c.Source, "sheet.Done()") {
				a.cells++
			}
			continue
		}
		text := c.Source
		// A cell may end a section and begin another.
		for _, part := range splitSections(text) {
			switch {
			case optional.MatchString(part):
				skip = true
			case heading.MatchString(part) || strings.HasPrefix(part, "**Further reading"):
				skip = strings.HasPrefix(part, "## Sources") || strings.HasPrefix(part, "**Further reading")
			}
			if skip {
				continue
			}
			a.reading += perFormula * float64(len(display.FindAllString(part, -1)))
			part = inline.ReplaceAllString(fenced.ReplaceAllString(display.ReplaceAllString(part, ""), ""), "x")
			a.words += float64(len(word.FindAllString(part, -1)))
		}
	}
	a.reading += a.words / wordsPerMinute
	a.running = perCell * a.cells
	for _, q := range sheet.Questions {
		a.questions++
		switch q.Kind {
		case judge.KindChoice:
			a.answering += perChoice
		case judge.KindMeasured:
			a.answering += perRecording
		default:
			asked, known := perAsked[table[lab.FullID(q.ID)]]
			if !known {
				asked = perUnknown
			}
			a.answering += asked
			if q.Kind == judge.KindFunction {
				a.answering += perFunction
			}
		}
	}
	return a
}

func splitSections(text string) []string {
	var parts []string
	for {
		at := section.FindAllStringIndex(text, 2)
		cut := -1
		for _, i := range at {
			if i[0] > 0 {
				cut = i[0]
				break
			}
		}
		if cut < 0 {
			return append(parts, text)
		}
		parts, text = append(parts, text[:cut]), text[cut:]
	}
}

// askedFor reads testdata/asks.csv.
func askedFor(t *testing.T) map[string]string {
	t.Helper()
	table := map[string]string{}
	for _, row := range rowsOf(t, "testdata/asks.csv") {
		table[row[0]] = row[1]
	}
	return table
}

// TestMinutes: a lab takes 40 to 90 minutes (lab 00 less), and says so to five minutes.
func TestMinutes(t *testing.T) {
	table := askedFor(t)
	t.Log("lab  words  cells  questions   reading + running + answering = minutes, says")
	for _, lab := range Labs() {
		a := timeOf(lab, readLab(t, lab), table)
		t.Logf("%s   %5.0f  %5.0f  %9.0f   %7.0f + %7.0f + %9.0f = %7.0f, %4d", lab.Number(), a.words, a.cells, a.questions, a.reading, a.running, a.answering, a.total(), lab.Minutes)
		if lab.Graded && (a.total() < 40 || a.total() > 90) {
			t.Errorf("lab %s takes %.0f minutes; 40 to 90 is what a class has", lab.Number(), a.total())
		}
		if math.Abs(float64(lab.Minutes)-a.total()) > 5 {
			t.Errorf("lab %s says that it takes %d minutes; by its words, cells and questions it takes %.0f", lab.Number(), lab.Minutes, a.total())
		}
	}
}
