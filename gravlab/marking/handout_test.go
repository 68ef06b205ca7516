package marking

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/notebook"
)

func TestHandout(t *testing.T) {
	class, err := ReadClass(write(t, "id,name,group\ns1,Ada Bell,A\ns2,=Berg,B\n"))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	h := Handout{Class: class, Lab: swingLab, Notebook: PlainNotebook(swingLab), Key: bytes.Repeat([]byte{7}, keySize), Out: filepath.Join(dir, "a"), Assessed: true}
	if kept, err := h.Write(t.Context()); err != nil || len(kept) > 0 {
		t.Fatal(kept, err)
	}
	read := func(name string) string {
		t.Helper()
		text, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	code := bank.SealedCode(h.Key, swingLab.ID, "s1", "")
	nb, err := notebook.Read("s1", []byte(read("a/s1/90-swing.ipynb")), notebook.Options{NeedKernel: true})
	if err != nil {
		t.Fatal(err)
	}
	if want := `ask.Assessed("90-swing", "` + string(code) + `")`; !strings.Contains(nb.Cell("sheet").Source, want) {
		t.Errorf("the sheet's cell is %q, want %s in it", nb.Cell("sheet").Source, want)
	}
	p, ok, err := exercises.SheetOf(nb)
	if err != nil || !ok || p.Code != code {
		t.Errorf("the sheet is %q, %v, %v; want %s", p.Code, ok, err, code)
	}
	if got := read("a/s1/swing.csv"); !strings.HasPrefix(got, "time (s),angle (rad)\n0,0.0") || strings.Count(got, "\n") != 101 {
		t.Errorf("the recording begins %.60q and has %d lines", got, strings.Count(got, "\n"))
	}
	if got, want := read("a-codes.csv"), "id,name,code,group\ns1,Ada Bell,"+string(code)+",A\ns2,'=Berg,"; !strings.HasPrefix(got, want) {
		t.Errorf("the list is %q, want %q…", got, want)
	}
	again, err := ReadClass(filepath.Join(dir, "a-codes.csv"))
	if err != nil || again.Students[1].Name != "=Berg" {
		t.Errorf("the list as a class: %+v, %v", again, err)
	}

	// The same again, elsewhere and in the same place: the same bytes.
	for _, out := range []string{"b", "a"} {
		h.Out = filepath.Join(dir, out)
		if kept, err := h.Write(t.Context()); err != nil || len(kept) > 0 {
			t.Fatal(out, kept, err)
		}
	}
	for _, name := range []string{"s1/90-swing.ipynb", "s2/90-swing.ipynb", "s2/swing.csv"} {
		if read("a/"+name) != read("b/"+name) {
			t.Errorf("%s differs between two handouts", name)
		}
	}
	if read("a/s1/90-swing.ipynb") == read("a/s2/90-swing.ipynb") {
		t.Error("two students have the same sheet")
	}

	// What somebody has worked in stays.
	mine := filepath.Join(dir, "a", "s1", "90-swing.ipynb")
	if err := os.WriteFile(mine, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	h.Out = filepath.Join(dir, "a")
	if kept, err := h.Write(t.Context()); err != nil || len(kept) != 1 || kept[0] != "s1/90-swing.ipynb" || read("a/s1/90-swing.ipynb") != "mine" {
		t.Errorf("kept %q, %v", kept, err)
	}

	// The worked copies are the lecturer's.
	h.Out, h.Answers = filepath.Join(dir, "w"), true
	if _, err := h.Write(t.Context()); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(read("w/s2/90-swing.ipynb"), "2*math.Pi*math.Sqrt(") {
		t.Error("the worked copy has no worked answer")
	}
	if _, err := (Handout{Class: Class{Students: []Student{{ID: "a"}, {ID: "a"}}}, Lab: swingLab, Notebook: h.Notebook, Key: h.Key, Out: dir}).Write(t.Context()); err == nil {
		t.Error("two students with one code are not refused")
	}
	if _, err := (Handout{Class: class, Lab: swingLab, Notebook: notebook.New("gravlab", "Go", "go"), Key: h.Key, Out: filepath.Join(dir, "x")}).Write(t.Context()); err == nil {
		t.Error("a notebook without the lab's questions is not refused")
	}
}
