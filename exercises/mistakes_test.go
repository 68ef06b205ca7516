package exercises

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
)

var mistakes = flag.String("mistakes", "", "write the mistakes that the bank knows to this file, one a line: question, name, what a student reads")

// TestMistakes writes a list of all mistakes that are named, with the sentence that a student
// reads. Two such lists, of two commits, make a table by question and lab:
//
//	go test ./exercises -run TestMistakes -mistakes /tmp/now.tsv
func TestMistakes(t *testing.T) {
	var b strings.Builder
	known := 0
	for _, lab := range Labs() {
		for _, q := range lab.Sheet("").Questions {
			var lines []string
			add := func(name, fix string) {
				if line := fmt.Sprintf("%s\t%s\t%s\n", lab.FullID(q.ID), name, strings.Join(strings.Fields(fix), " ")); !slices.Contains(lines, line) {
					lines = append(lines, line)
				}
			}
			for _, s := range slices.Concat(q.Slips, q.USlips) {
				add(s.Name, s.Fix)
			}
			if q.Function != nil {
				for _, s := range q.Function.Slips {
					add(s.Name, s.Fix)
				}
			}
			if len(lines) == 0 && (q.Solve != nil || q.Function != nil) {
				t.Errorf("%s knows no mistake", lab.FullID(q.ID))
			}
			known += len(lines)
			b.WriteString(strings.Join(lines, ""))
		}
	}
	t.Logf("%d mistakes, and those that can be made in any question", known)
	if *mistakes != "" {
		if err := os.WriteFile(*mistakes, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
