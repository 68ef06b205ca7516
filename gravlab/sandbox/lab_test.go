package sandbox

import (
	"os"
	"path/filepath"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
)

// lab reads a notebook of the repository and fills it.
func lab(t testing.TB, number string, code bank.Code, worked bool) *notebook.Notebook {
	t.Helper()
	files, err := filepath.Glob("../../notebooks/" + number + "-*.ipynb")
	if err != nil || len(files) != 1 {
		t.Fatalf("notebook %s: %v, %v", number, files, err)
	}
	nb, err := notebook.ReadFile(files[0], notebook.Options{})
	if err != nil {
		t.Fatal(err)
	}
	l, err := exercises.Find(number)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.Sheet(code).Fill(nb, worked); err != nil {
		t.Fatal(err)
	}
	return nb
}

func bytesOf(t testing.TB, nb *notebook.Notebook) []byte {
	t.Helper()
	file, err := nb.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	return file
}

// session is a lab server for one confined program.
func session(t testing.TB) *labserver.Session {
	t.Helper()
	b, err := labserver.New(labserver.Options{InMemory: true, Log: func(m string) { t.Log(m) }})
	if err != nil {
		t.Fatal(err)
	}
	return b.Session(labserver.SessionOptions{Confined: true, Show: func(labserver.Display) error { return nil }, Files: os.DirFS("../../notebooks")})
}

func TestLabs(t *testing.T) {
	p := thePool(t)
	for _, number := range []string{"00", "01"} {
		file := bytesOf(t, lab(t, number, "", true))
		for range 3 {
			s := session(t)
			out, err := p.Run(t.Context(), Job{Notebook: file, Exchange: s.Exchange})
			if err != nil {
				t.Fatal(err)
			}
			sums, err := s.Summaries()
			if err != nil || len(sums) != 1 {
				t.Fatal(sums, err)
			}
			t.Logf("%d of %d: %+v", sums[0].Marks, sums[0].Of, out.Times)
			if sums[0].Marks != sums[0].Of || len(out.Remarks) > 0 {
				t.Errorf("%d of %d marks; %+v", sums[0].Marks, sums[0].Of, out)
			}
		}
	}
}

// checkAnswers compares what the lab server made of some answers.
func checkAnswers(t *testing.T, s *labserver.Session, want map[string]judge.Outcome) {
	t.Helper()
	sums, err := s.Summaries()
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]judge.Outcome{}
	for _, sum := range sums {
		if sum.Code != "" {
			continue
		}
		for _, st := range sum.Standings {
			got[st.Question.ID] = st.Verdict.Outcome
		}
	}
	for id, outcome := range want {
		if got[id] != outcome {
			t.Errorf("%s is %q, want %q", id, got[id], outcome)
		}
	}
}
