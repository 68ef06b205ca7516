package exercises

import (
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
)

// TestSaidPlainly: what a verdict or a hint says is text: no asterisks, no TeX.
func TestSaidPlainly(t *testing.T) {
	for _, lab := range Labs() {
		for _, q := range lab.Sheet(bank.NumberedCode(lab.ID, 1)).Questions {
			said := []string{q.Hints[0], q.Hints[1]}
			for _, list := range [][]bank.Slip{q.Slips, q.USlips} {
				for _, s := range list {
					said = append(said, s.Name, s.Fix)
				}
			}
			if q.Function != nil {
				for _, s := range q.Function.Slips {
					said = append(said, s.Name, s.Fix)
				}
			}
			for _, o := range q.Options {
				said = append(said, o.Idea)
			}
			for _, text := range said {
				if strings.ContainsAny(strings.ReplaceAll(text, " * ", ""), "*$`\\") {
					t.Errorf("%s says %q", lab.FullID(q.ID), text)
				}
			}
		}
	}
}
