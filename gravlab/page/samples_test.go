package page_test

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/quantity"
	"gravity.example/gravlab/sandbox"
)

// The list shows lecturers a reply to a student and the page about a class: lab 01 of
// twelve invented students, handed out and marked as by the two commands. With -update the two
// pages are made.
func TestSamples(t *testing.T) {
	if os.Getenv("GRAVLAB_LONG") == "" && !*update {
		t.Skip("the words of every verdict stand in these pages; with GRAVLAB_LONG=1 they are made and compared")
	}
	made := samples(t)
	for name, page := range made {
		path := filepath.Join("assets", name)
		if *update {
			if err := os.WriteFile(path, page, 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if kept, err := os.ReadFile(path); err != nil || !bytes.Equal(kept, page) {
			t.Errorf("%s is not what marking writes now: go test ./gravlab/page -run TestSamples -update", path)
		}
	}
}

func samples(t *testing.T) map[string][]byte {
	t.Helper()
	dir := t.TempDir()
	names := []string{"Ada Holm", "Bram Kerr", "Cleo Dahl", "Dora Finch", "Emil Stroud", "Fay Lund", "Gil Marsh", "Hana Reeve", "Ivo Thorne", "Joan Pike", "Karl Wynn", "Lena Voss"}
	list := "id,name\n"
	for i, name := range names {
		list += fmt.Sprintf("sk%02d,%s\n", i+1, name)
	}
	if err := os.WriteFile(filepath.Join(dir, "class.csv"), []byte(list), 0o600); err != nil {
		t.Fatal(err)
	}
	class, err := marking.ReadClass(filepath.Join(dir, "class.csv"))
	if err != nil {
		t.Fatal(err)
	}
	lab, err := exercises.Find("01")
	if err != nil {
		t.Fatal(err)
	}
	nb, err := notebook.ReadFile(filepath.Join(labs, lab.ID+".ipynb"), notebook.Options{NeedKernel: true})
	if err != nil {
		t.Fatal(err)
	}
	key := []byte("the key of a class that is invented and has no secrets")
	returned := filepath.Join(dir, "returned")
	if _, err := (marking.Handout{Class: class, Lab: lab, Notebook: nb, Key: key, Out: returned, Answers: true}).Write(t.Context()); err != nil {
		t.Fatal(err)
	}
	draw := rand.New(rand.NewPCG(1798, 1))
	for i := range names {
		path := filepath.Join(returned, fmt.Sprintf("sk%02d", i+1), lab.ID+".ipynb")
		if i == len(names)-1 {
			os.RemoveAll(filepath.Dir(path)) // handed in nothing
			continue
		}
		err := answerAs(path, 0.12+0.05*float64(i%6), draw)
		if err != nil {
			t.Fatal(err)
		}
	}
	clone, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	pool, err := sandbox.NewPool(t.Context(), sandbox.PoolOptions{Clone: clone})
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	out := filepath.Join(dir, "marks")
	s, err := marking.Mark(t.Context(), marking.Marking{Class: class, Key: key, Returned: []string{returned}, Out: out,
		Start: func(context.Context) (marking.Runner, error) { return pool.Run, nil }})
	if err != nil || s.Marked != len(names)-1 {
		t.Fatalf("marked %+v: %v", s, err)
	}
	pages := map[string][]byte{}
	for name, from := range map[string]string{"sample-class.html": "class.html", "sample-reply.html": "replies/sk06.html"} {
		if pages[name], err = os.ReadFile(filepath.Join(out, from)); err != nil {
			t.Fatal(err)
		}
	}
	return pages
}

// answerAs makes a worked sheet that of a student who errs in a share of the questions: mostly with
// a mistake that the bank knows, now and then with a number of no meaning or with none.
func answerAs(path string, share float64, draw *rand.Rand) error {
	nb, err := notebook.ReadFile(path, notebook.Options{NeedKernel: true})
	if err != nil {
		return err
	}
	sheet, _, err := exercises.SheetOf(nb)
	if err != nil {
		return err
	}
	right := sheet.RightAnswers()
	for _, q := range sheet.Questions {
		c := nb.Question(sheet.Lab.FullID(q.ID), notebook.Answer)
		if c == nil || draw.Float64() > share {
			continue
		}
		how := draw.Float64()
		switch {
		case how < 0.15:
			c.Source = q.AnswerStub()
		case q.Kind == judge.KindChoice:
			c.Source = fmt.Sprintf("%%%%\nsheet.Choice(%q, %q)", q.ID, q.Options[draw.IntN(len(q.Options))].Letter)
		case q.Kind == judge.KindNumber && len(q.Slips) > 0:
			v := q.Slips[draw.IntN(min(3, len(q.Slips)))].Value(right)
			if how > 0.9 {
				v = 1.37 * right[q.ID]
			}
			unit := strings.TrimPrefix(q.Unit, "1")
			c.Source = fmt.Sprintf("%%%%\nsheet.Typed(%q, %q)", q.ID, strings.TrimSpace(fmt.Sprintf("%.5g %s", v/quantity.MustUnit(q.Unit).SI(), unit)))
		}
	}
	return nb.WriteFile(path)
}
