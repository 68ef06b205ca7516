package exercises_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/quantity"
)

// sealedSheets are sealed sheets of a lab, as who has the key knows them.
func sealedSheets(lab bank.Lab, n int) []bank.Sheet {
	key := []byte("a key for tests, of 32 bytes ...")
	var all []bank.Sheet
	for i := range n {
		id := fmt.Sprintf("s%03d", i)
		all = append(all, lab.WithKey(bank.SheetKey(key, lab.ID, id, "")).Sheet(bank.SealedCode(key, lab.ID, id, "")))
	}
	return all
}

// TestSharedRecordings: the bank says which recordings all sheets have.
func TestSharedRecordings(t *testing.T) {
	for _, lab := range exercises.Labs() {
		s := sealedSheets(lab, 2)
		for i, r := range s[0].Recordings {
			a, err := r.Table()
			if err != nil {
				t.Fatal(err)
			}
			b, err := s[1].Recordings[i].Table()
			if err != nil {
				t.Fatal(err)
			}
			if same := bytes.Equal(a, b); same != r.Shared {
				t.Errorf("%s, recording %s: the same on two sheets: %v, and its Shared is %v", lab.ID, r.ID, same, r.Shared)
			}
		}
	}
}

// A lazySheet is what the best constants earn on a lab.
type lazyLab struct {
	of                              int
	protected, constants, functions float64
	won                             []string // question: share
}

// lazy searches for the answers that, given on all sheets alike, earn most: for a number
// the right answers of other sheets and what follows from the constants chosen before (a
// carried answer is right too), each with the judge's uncertainties of other sheets; for a
// choice every letter.
func lazy(lab bank.Lab, sheets []bank.Sheet) lazyLab {
	var out lazyLab
	basis := lab.Bases()
	own := bank.Answers{}
	earned := map[string]float64{} // by question, averaged
	for k, q0 := range sheets[0].Questions {
		out.of += q0.Marks
		if basis[q0.ID].Protected() {
			out.protected += float64(q0.Marks)
		}
		n := float64(len(sheets))
		best, bestValue := 0.0, 0.0
		switch q0.Kind {
		case judge.KindNumber, judge.KindMeasured:
			unit, err := quantity.ParseUnit(q0.Unit)
			if err != nil {
				panic(err)
			}
			var tasks []judge.NumberTask
			for _, s := range sheets {
				tasks = append(tasks, s.NumberTask(s.Questions[k], own, 0))
			}
			var values, us []float64
			for i, task := range tasks {
				if i%(1+len(tasks)/60) == 0 {
					values = append(values, task.Want)
				}
				if i < 8 && !math.IsNaN(task.Carried) {
					values = append(values, task.Carried)
				}
				us = append(us, task.U)
			}
			slices.Sort(us)
			us = []float64{us[len(us)/4], us[len(us)/2], us[len(us)*3/4], us[len(us)-1]}
			if q0.Kind == judge.KindNumber {
				us = []float64{0}
			}
			for _, v := range values {
				for _, u := range us {
					sum := 0.0
					for _, task := range tasks {
						sum += float64(judge.Number(task, judge.Answer{Value: v / unit.SI(), U: u / unit.SI(), Unit: q0.Unit}).Marks)
					}
					if sum > best {
						best, bestValue = sum, v
					}
				}
			}
			if best > 0 {
				own[q0.ID] = bestValue
			}
		case judge.KindChoice:
			for _, o := range q0.Options {
				sum := 0.0
				for _, s := range sheets {
					sum += float64(s.Judge(s.Questions[k], judge.Answer{Text: o.Letter}, bank.Answers{}, 0).Marks)
				}
				best = max(best, sum)
			}
		case judge.KindFunction:
			if basis[q0.ID] == bank.SameForAll {
				out.functions += float64(q0.Marks)
			}
		}
		earned[q0.ID] = best / n
		out.constants += best / n
		if share := best / n / float64(q0.Marks); share > 0.15 {
			out.won = append(out.won, fmt.Sprintf("%s %.0f %% of %d", q0.ID, 100*share, q0.Marks))
		}
	}
	return out
}

// TestConstants: what earns marks on every sheet alike, without a look at its numbers.
// GRAVLAB_LONG takes 200 sheets of each lab and prints the table.
func TestConstants(t *testing.T) {
	n, long := 12, os.Getenv("GRAVLAB_LONG") != ""
	if long {
		n = 200
	}
	for _, lab := range exercises.Labs() {
		if lab.Number() == "00" {
			continue
		}
		l := lazy(lab, sealedSheets(lab, n))
		if 2*l.protected < float64(l.of) {
			t.Errorf("%s: %.0f of %d marks rest on what a seal protects; at least half have to", lab.ID, l.protected, l.of)
		}
		if share := l.constants / float64(l.of); long && share > 0.1 {
			t.Errorf("%s: the best constants earn %.1f %% of the marks; a tenth is the most", lab.ID, 100*share)
		}
		if long {
			fmt.Printf("%s: %d marks, %.0f protected (%.0f %%), constants %.1f (%.1f %%), functions that all sheets share %.0f; %s\n", lab.Number(), l.of, l.protected, 100*l.protected/float64(l.of), l.constants, 100*l.constants/float64(l.of), l.functions, strings.Join(l.won, ", "))
		}
	}
}
