package notebooks_test

import (
	"math"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/ask"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/quantity"
)

// Where a lab prints a unit: on an axis, in the head of a column, in an answer.
var (
	onAxis   = regexp.MustCompile(`show\.Axis\([^\n]*?, "([^"]+)"\)`)
	inAnswer = regexp.MustCompile(`sheet\.(?:Number|Measured)\([^\n]*, "([^"]+)"\)`)
	tables   = regexp.MustCompile(`show\.Table\(\[\]string\{([^}]*)\}`)
	fileHead = regexp.MustCompile("`([^`\n]+ \\([^`\n]+\\),[^`\n]+ \\([^`\n]+\\))`") // of a file to write
	column   = regexp.MustCompile(` \(([^()"]*(?:\([^()]*\))?)\)(?:"|,|$)`)
)

// Who copies a head from a lab into a file of their own must be able to read that
// file: package ask knows every unit that the labs and the bank print, and gives
// it the size that package quantity gives it.
func TestOwnFilesReadTheUnitsOfTheLabs(t *testing.T) {
	units := map[string]string{} // where first seen
	note := func(unit, where string) {
		if _, seen := units[unit]; !seen {
			units[unit] = where
		}
	}
	for _, lab := range exercises.Labs() {
		nb, err := notebook.ReadFile(lab.ID+".ipynb", notebook.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range nb.Cells {
			for _, m := range fileHead.FindAllStringSubmatch(c.Source, -1) {
				for _, u := range column.FindAllStringSubmatch(m[1], -1) {
					note(u[1], lab.ID+", the head of a file")
				}
			}
			for _, m := range onAxis.FindAllStringSubmatch(c.Source, -1) {
				note(m[1], lab.ID+", an axis")
			}
			for _, m := range inAnswer.FindAllStringSubmatch(c.Source, -1) {
				note(m[1], lab.ID+", an answer")
			}
			for _, m := range tables.FindAllStringSubmatch(c.Source, -1) {
				for _, u := range column.FindAllStringSubmatch(m[1], -1) {
					note(u[1], lab.ID+", the head of a table")
				}
			}
		}
		paper := lab.Sheet("")
		for _, q := range paper.Questions {
			if q.Unit != "" {
				note(q.Unit, lab.ID+"/"+q.ID)
			}
		}
		for _, r := range paper.Recordings {
			for _, c := range r.Columns {
				note(c.Unit, lab.ID+", recording "+r.ID)
			}
		}
	}
	for _, unit := range []string{"hPa", "µrad", "µGal", "nm/s²/√Hz", "Gt/a"} {
		if units[unit] == "" {
			t.Errorf("%s was not found in any lab: the search is broken", unit)
		}
	}
	dir := t.TempDir()
	t.Chdir(dir)
	for unit, where := range units {
		t.Run(unit, func(t *testing.T) {
			if err := os.WriteFile(filepath.Join(dir, "own.csv"), []byte("value ("+unit+")\n1\n"), 0o600); err != nil {
				t.Fatal(err)
			}
			defer func() {
				if err := recover(); err != nil {
					t.Errorf("%s: %v", where, err)
				}
			}()
			want := 1e-18 // 10⁻¹⁸ on an axis is a factor and no unit
			if unit != "10⁻¹⁸" {
				want = quantity.MustUnit(unit).SI()
			}
			if got := ask.Sheet("00-first-steps", "").OwnRecording("own.csv").Column("value")[0]; math.Abs(got/want-1) > 1e-14 {
				t.Errorf("%s: 1 %s is %v in SI, want %v", where, unit, got, want)
			}
		})
	}
}
