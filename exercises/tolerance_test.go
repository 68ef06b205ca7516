package exercises

import (
	"encoding/csv"
	"fmt"
	"maps"
	"math"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/bank/banktest"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

// Findings of the searches below that are meant stand in testdata/tolerances.csv, each with its
// reason: search, question, what (* for whatever is found there), why.
const findings = "testdata/tolerances.csv"

// rowsOf reads a table of this folder, without its heads.
func rowsOf(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

// report compares what a search has found with the file of findings that are meant.
func report(t *testing.T, search string, found map[string]string) {
	t.Helper()
	meant := map[string]bool{}
	for _, row := range rowsOf(t, findings) {
		if row[0] != search {
			continue
		}
		meant[row[1]+","+row[2]] = true
		if row[3] == "" {
			t.Errorf("%s: %s %q has no reason", findings, row[1], row[2])
		}
	}
	without, used := 0, map[string]bool{}
	for _, what := range slices.Sorted(maps.Keys(found)) {
		question, _, _ := strings.Cut(what, ",")
		switch {
		case meant[what]:
			used[what] = true
		case meant[question+",*"]:
			used[question+",*"] = true
		default:
			without++
			t.Errorf("%s: %s", what, found[what])
		}
	}
	for _, what := range slices.Sorted(maps.Keys(meant)) {
		if searched() == 1000 && !used[what] {
			t.Errorf("%s has a reason in %s, and 1,000 sheets do not show it", what, findings)
		}
	}
	t.Logf("%d findings, %d of them without a reason in %s", len(found), without, findings)
}

// often is the fraction of sheets from which on a finding counts; of few sheets it has to be
// three.
const often = 0.02

// searched is how many sheets of a lab a search looks at: 20, or 1,000 with GRAVLAB_LONG=1.
func searched() int {
	if n := banktest.Sheets(); n > 100 {
		return n
	}
	return 20
}

// seen collects what is found, by question and mistake.
type seen map[string]int

// found are the findings that count.
func (s seen) found(sheets int, what string) map[string]string {
	out := map[string]string{}
	for key, n := range s {
		if n > 2 && float64(n) > often*float64(sheets) {
			out[key] = fmt.Sprintf("%s on %d of %d sheets", what, n, sheets)
		}
	}
	return out
}

// numbers calls visit for each question for a number of many sheets, with its right answer and
// what is allowed.
func numbers(visit func(lab bank.Lab, s bank.Sheet, q bank.Question, right bank.Answers, task judge.NumberTask)) {
	for _, lab := range Labs() {
		for i := range searched() {
			s := lab.Sheet(bank.NumberedCode(lab.ID, i))
			right := s.RightAnswers()
			for _, q := range s.Questions {
				if q.Solve == nil {
					continue
				}
				task := judge.NumberTask{Want: right[q.ID], Unit: q.Unit, Tol: q.Tol}
				if q.Kind == judge.KindMeasured {
					task.U = q.U()
				}
				visit(lab, s, q, right, task)
			}
		}
	}
}

// TestTolerancesDecide searches for mistakes that the tolerance hides: slips of a question, and
// mistakes that can be made in any, whose value is judged right on more than 2 % of sheets.
func TestTolerancesDecide(t *testing.T) {
	hidden := seen{}
	numbers(func(lab bank.Lab, s bank.Sheet, q bank.Question, right bank.Answers, task judge.NumberTask) {
		names := map[string]bool{}
		for _, name := range task.Nearest() {
			names[name] = true
		}
		for _, slip := range q.Slips {
			if math.Abs(slip.Value(right)-task.Want) <= task.Allowed(task.Want) {
				names[slip.ID] = true
			}
		}
		for name := range names {
			hidden[lab.FullID(q.ID)+","+name]++
		}
	})
	report(t, "hidden", hidden.found(searched(), "judged right"))
}

// printed finds a number with the unit behind it, as prompts have it.
var printed = regexp.MustCompile(`([0-9]+(?:\.[0-9]+)?)(?: |\\ \\mathrm{)([^\s,;:.$})]+)`)

// constants of textbooks that a student may know by heart.
var constants = []string{
	"6.674e-11 m³/(kg s²)", "9.81 m/s²", "9.80665 m/s²", "6371 km", "5.972e24 kg", "5514 kg/m³", "2670 kg/m³", "384400 km", "299792458 m/s",
}

// TestNothingPrintedIsMeasured: no quantity that a sheet prints and no constant of a textbook lies
// within 5 of the judge's own uncertainties of a measured truth: it would be right by copying.
func TestNothingPrintedIsMeasured(t *testing.T) {
	near := seen{}
	numbers(func(lab bank.Lab, s bank.Sheet, q bank.Question, right bank.Answers, task judge.NumberTask) {
		if q.Kind != judge.KindMeasured {
			return
		}
		want := quantity.MustUnit(q.Unit)
		hit := func(text, what string) bool {
			r, err := quantity.Parse(text, want)
			if err != nil || want.Dimension() == quantity.One && !strings.Contains(text, "%") || math.Abs(r.Value-task.Want) > 5*task.U {
				return false
			}
			near[lab.FullID(q.ID)+","+what]++
			return true
		}
		for _, other := range s.Questions {
			if slices.ContainsFunc(printed.FindAllStringSubmatch(other.Prompt, -1), func(m []string) bool { return hit(m[1]+" "+m[2], "printed") }) {
				break
			}
		}
		for _, c := range constants {
			if hit(c, "constant") {
				break
			}
		}
	})
	report(t, "copied", near.found(searched(), "within 5 u of the truth"))
}
