package exercises

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"gravity.example/gravlab/notebook"
)

var (
	ofPackage = regexp.MustCompile(`(?:\b([a-z]\w*))?\.([A-Z]\w*)`) // sensor.Suspension, f.P
	fieldName = regexp.MustCompile(`\b([A-Z]\w*):`)                 // Length: 2
)

// TestNamesStandAboveTheQuestion: who works a lab from its text alone finds the
// name of every function and field of ours that the worked answer uses above the
// question.
func TestNamesStandAboveTheQuestion(t *testing.T) {
	// Here the formula stands above, and the model is only another way.
	byFormula := []string{
		"04/structural", "04/readout", "06/swings", "07/tower-1960", "10/half-width", "10/missing-mass", "10/water",
		"10/depth-bound", "10/gauss", "11/score", "14/two-loads",
	}
	// Packages of the language, and what lab 00 teaches.
	known := []string{"math", "cmplx", "fmt", "time", "sheet", "gravlab"}
	for _, lab := range Labs() {
		p := lab.Sheet("")
		var above strings.Builder
		for _, c := range readLab(t, lab).Cells {
			from, part, _ := c.Question()
			if part != notebook.Answer {
				above.WriteString(c.Source + "\n")
				continue
			}
			q, _ := p.Question(from)
			missing := map[string]bool{}
			look := func(name string) {
				if !regexp.MustCompile(`\b` + name + `\b`).MatchString(above.String()) {
					missing[name] = true
				}
			}
			for _, m := range ofPackage.FindAllStringSubmatch(q.Worked, -1) {
				if !slices.Contains(known, m[1]) {
					look(m[2])
				}
			}
			for _, m := range fieldName.FindAllStringSubmatch(q.Worked, -1) {
				look(m[1])
			}
			switch excused := slices.Contains(byFormula, from); {
			case len(missing) > 0 && !excused:
				t.Errorf("%s: its worked answer uses %s, which nothing above the question names", from, strings.Join(slices.Sorted(maps.Keys(missing)), ", "))
			case len(missing) == 0 && excused:
				t.Errorf("%s: all names stand above it now", from)
			}
		}
	}
}
