package page

import (
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/gravlab/notebook"
)

// An answer makes the output of those boxes old that use its function, and of no others: not where
// its name is a word of a text, or of a variable.
func TestUnusedFunctions(t *testing.T) {
	for _, n := range [][4]string{{"06", "pull-answer", "func pull(theta float64) float64 {\n\treturn math.Cos(theta)\n}\n\n%%\nsheet.Function(\"pull\", pull)", "pull-answer"}, {"08", "in-step-answer", "func inStep(x []float64) float64 {\n\treturn x[0]\n}\n\n%%\nsheet.Function(\"in-step\", inStep)", "in-step-answer code-in-step"}} {
		files, _ := filepath.Glob("../../notebooks/" + n[0] + "-*.ipynb")
		nb, err := notebook.ReadFile(files[0], notebook.Options{})
		if err != nil {
			t.Fatal(err)
		}
		before := map[string]string{}
		for i, c := range nb.Cells {
			if c.Kind == notebook.Code {
				before[c.ID] = madeOf(above(nb, i), c.Source)
			}
		}
		nb.Cell(n[1]).Source = n[2]
		var all []string
		for i, c := range nb.Cells {
			if c.Kind == notebook.Code && before[c.ID] != madeOf(above(nb, i), c.Source) {
				all = append(all, c.ID)
			}
		}
		if got := strings.Join(all, " "); got != n[3] {
			t.Errorf("lab %s: %s are old, want %s", n[0], got, n[3])
		}
	}
}
