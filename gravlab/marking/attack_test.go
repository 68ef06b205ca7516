package marking

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
)

var numeral = regexp.MustCompile(`[0-9]+(?:\.[0-9]+)?(?:e-?[0-9]+)?`)

// known reports whether a number of the worked code is printed in a prompt, in whatever digits
// and power of ten.
func known(literal string, printed map[string]bool) bool {
	v, err := strconv.ParseFloat(literal, 64)
	if err != nil {
		return true
	}
	mantissa, _, _ := strings.Cut(strconv.FormatFloat(v, 'e', 5, 64), "e")
	return printed[mantissa]
}

// attacked is the worked code of a question as somebody without the key can have it: the
// public text with the numbers that the prompts of the sealed sheet print. Where it has a
// number that is printed nowhere, such as the moment of a knock, it keeps that of another
// sheet. hidden counts those.
func attacked(q, other bank.Question, printed map[string]bool) (code string, hidden int) {
	ours, theirs := numeral.FindAllStringIndex(q.Worked, -1), numeral.FindAllString(other.Worked, -1)
	if len(ours) != len(theirs) {
		return q.Worked, 0 // the attacker may know which form the sheet has
	}
	var b strings.Builder
	at := 0
	for i, place := range ours {
		literal := q.Worked[place[0]:place[1]]
		b.WriteString(q.Worked[at:place[0]])
		if literal != theirs[i] && !known(literal, printed) {
			literal = theirs[i]
			hidden++
		}
		b.WriteString(literal)
		at = place[1]
	}
	return b.String() + q.Worked[at:], hidden
}

// TestAttacker hands in what the public code makes of a sealed sheet, without any guard of
// the program: worked solutions, run on the prompts and the recordings that a student has.
// It says what a mark on a sealed sheet does not prove. GRAVLAB_LONG does all labs and
// prints the table that the lecturer's page has.
func TestAttacker(t *testing.T) {
	if testing.Short() {
		t.Skip("runs a whole lab")
	}
	numbers, n := []string{"01"}, 1
	if os.Getenv("GRAVLAB_LONG") != "" {
		numbers, n = nil, 3
		for _, lab := range exercises.Labs() {
			if lab.Graded && lab.Number() < "90" {
				numbers = append(numbers, lab.Number())
			}
		}
	}
	for _, labNumber := range numbers {
		lab, err := exercises.Find(labNumber)
		if err != nil {
			t.Fatal(err)
		}
		c := newClassroom(t, lab, n)
		h := c.handout()
		h.Record = ""
		if h.Notebook, err = notebook.ReadFile(filepath.Join("..", "..", "notebooks", lab.ID+".ipynb"), notebook.Options{}); err != nil {
			t.Fatal(err)
		}
		if _, err := h.Write(t.Context()); err != nil {
			t.Fatal(err)
		}
		other := lab.Sheet(bank.NumberedCode(lab.ID, 1))
		for i := range c.Class.Students {
			p := c.sealed(i)
			printed := map[string]bool{}
			for _, q := range p.Questions {
				for _, n := range numeral.FindAllString(q.Prompt, -1) {
					if v, err := strconv.ParseFloat(n, 64); err == nil {
						mantissa, _, _ := strings.Cut(strconv.FormatFloat(v, 'e', 5, 64), "e")
						printed[mantissa] = true
					}
				}
			}
			s := sources{}
			for _, q := range p.Questions {
				if q.Kind == judge.KindText {
					continue
				}
				twin, _ := other.Question(q.ID)
				s[q.ID], _ = attacked(q, twin, printed)
			}
			c.hand(c.Class.Students[i].ID+"/a.ipynb", c.handedOut(i, s))
		}
		c.mark()
		head, err := readTable(filepath.Join(c.Out, "marks.csv"))
		if err != nil {
			t.Fatal(err)
		}
		basis := lab.Bases()
		of, got := map[bank.Basis]float64{}, map[bank.Basis]float64{}
		rows := 0.0
		for _, row := range c.rows("marks.csv") {
			if !strings.HasPrefix(row[0], "s") {
				continue
			}
			rows++
			for _, q := range c.sealed(0).Questions {
				of[basis[q.ID]] += float64(q.Marks)
				if v, ok := number(row[slices.Index(head.header, q.ID)]); ok {
					got[basis[q.ID]] += v
				}
			}
		}
		line, total, all := "", 0.0, 0.0
		for _, b := range []bank.Basis{bank.Prompt, bank.Options, bank.SameForAll, bank.OwnFunction, bank.OwnRecording, bank.Text} {
			line += fmt.Sprintf(" | %.1f of %.0f", got[b]/rows, of[b]/rows)
			total, all = total+got[b]/rows, all+of[b]/rows
		}
		t.Logf("| %s%s | %.1f of %.0f (%.0f %%) |", labNumber, line, total, all, 100*total/all)
		if got[bank.Text] > 0 {
			t.Errorf("lab %s: %.0f marks for texts that nobody wrote", labNumber, got[bank.Text])
		}
	}
}
