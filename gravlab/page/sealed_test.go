package page_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
	labpage "gravity.example/gravlab/page"
	"gravity.example/gravlab/wire"
)

// sealedOut writes a sealed sheet of lab 01 as it is handed out, with its recordings beside it.
func sealedOut(t *testing.T) (path string, sheet bank.Sheet) {
	t.Helper()
	lab, err := exercises.Find("01")
	if err != nil {
		t.Fatal(err)
	}
	key := []byte("a key for tests, of 32 bytes ...")
	code := bank.SealedCode(key, lab.ID, "s1", "")
	sheet = lab.WithKey(bank.SheetKey(key, lab.ID, "s1", "")).Sheet(code)
	nb, err := notebook.ReadFile(labs+first[4:]+".ipynb", notebook.Options{})
	if err != nil {
		t.Fatal(err)
	}
	sheet.AddCells(nb)
	if _, err := sheet.Fill(nb, false); err != nil {
		t.Fatal(err)
	}
	if err := lab.Sheet(code).Stamp(nb); err != nil {
		t.Fatal(err)
	}
	c := nb.Cell("sheet")
	c.Source = strings.Replace(c.Source, "ask.Sheet(", "ask.Assessed(", 1)
	dir := t.TempDir()
	path = filepath.Join(dir, lab.ID+".ipynb")
	if err := nb.WriteFile(path); err != nil {
		t.Fatal(err)
	}
	var names []string
	var texts [][]byte
	for _, r := range sheet.Recordings {
		text, err := r.Table()
		if err != nil {
			t.Fatal(err)
		}
		names, texts = append(names, r.ID+".csv"), append(texts, text)
		if err := os.WriteFile(filepath.Join(dir, r.ID+".csv"), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, labserver.RecordingsList), labserver.ListRecordings(code, names, texts), 0o600); err != nil {
		t.Fatal(err)
	}
	return path, sheet
}

// A reader is a runner whose boxes ask for the recording swing and print how many numbers
// came, or why none did.
type reader struct{ lab, code string }

func (r reader) RunBox(_ context.Context, b labpage.Box) (labpage.Result, error) {
	frame, err := wire.Frame{Head: wire.Head{Kind: wire.Recording, Lab: r.lab, Code: r.code, Name: "swing"}}.Append(nil)
	if err != nil {
		return labpage.Result{}, err
	}
	reply, err := wire.Decode(b.Exchange(frame))
	if err != nil {
		return labpage.Result{}, err
	}
	b.Output(fmt.Appendf(nil, "%d numbers. %s", len(reply.Numbers), reply.Text))
	return labpage.Result{}, nil
}

// A sealed sheet is read, answered and run in the page without its key; the page says that
// it is sealed.
func TestSealedSheet(t *testing.T) {
	path, sheet := sealedOut(t)
	c := call(t, labpage.Options{Labs: labs, Others: []string{path}, Runner: reader{sheet.Lab.ID, string(sheet.Code)}})
	c.enter()
	at, view := c.opened()
	if remark := fmt.Sprint(view["remark"]); !strings.HasPrefix(remark, "sealed sheet "+string(sheet.Code)) || !strings.Contains(remark, "lecturer's key") || view["fault"] != "" || view["assessed"] != true {
		t.Errorf("it is shown as %q, fault %q, assessed %v", remark, view["fault"], view["assessed"])
	}
	asks := map[string]map[string]any{}
	for _, b := range view["blocks"].([]any) {
		if a, ok := b.(map[string]any)["ask"].(map[string]any); ok {
			asks[a["question"].(string)] = a
		}
	}
	for _, q := range sheet.Questions {
		a := asks[q.ID]
		if a == nil || a["kind"] != string(q.Kind) || a["unit"] != q.Unit || a["form"] != (q.Kind != judge.KindFunction) {
			t.Errorf("%s is asked as %v", q.ID, a)
			continue
		}
		if q.Kind != judge.KindChoice {
			continue
		}
		for i, o := range a["options"].([]any) {
			if letter := o.(map[string]any)["letter"]; letter != q.Options[i].Letter {
				t.Errorf("%s: option %d has the letter %v", q.ID, i, letter)
			}
		}
	}
	right := sheet.RightAnswers()["kappa"]
	for _, v := range []float64{right, 2 * right} {
		_, _, body := c.send(request{method: "POST", path: at + "/answer", body: fmt.Sprintf(`{"tab":"a","question":"kappa","fields":{"number":"%.5e","unit":"N m/rad"}}`, v)})
		if !strings.Contains(body, `"outcome":"recorded"`) || strings.Contains(body, `"outcome":"right"`) {
			t.Errorf("%g gives %s", v, body)
		}
	}
	c.send(request{method: "POST", path: at + "/allow", body: `{"tab":"a"}`})
	run := func() string {
		_, _, body := c.send(request{method: "POST", path: at + "/run", body: `{"tab":"a","cell":"period-answer","source":"%%\nfmt.Println(1)"}`})
		return body
	}
	if body := run(); !strings.Contains(body, "numbers. \"") || strings.Contains(body, `"0 numbers`) {
		t.Errorf("the recording in a box: %s", body)
	}
	swing := filepath.Join(filepath.Dir(path), "swing.csv")
	text, err := os.ReadFile(swing)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(swing, append(text, "1,1\n"...), 0o600); err != nil {
		t.Fatal(err)
	}
	if body := run(); !strings.Contains(body, "swing.csv is not as it was handed out") {
		t.Errorf("a changed recording in a box: %s", body)
	}
	if err := os.Remove(swing); err != nil {
		t.Fatal(err)
	}
	if body := run(); !strings.Contains(body, "there is no swing.csv beside the notebook") {
		t.Errorf("a missing recording in a box: %s", body)
	}
}

// A lab of the project's own that is begun keeps what its questions were.
func TestBegunLabIsStamped(t *testing.T) {
	data := t.TempDir()
	c := call(t, labpage.Options{Labs: labs, Data: data})
	c.enter()
	at := "/api" + first
	c.send(request{path: at + "?tab=a"})
	if status, _, body := c.send(request{method: "POST", path: at + "/answer", body: `{"tab":"a","question":"kappa","fields":{"number":"1","unit":"N m/rad"}}`}); status != 200 {
		t.Fatal(status, body)
	}
	nb, err := notebook.ReadFile(filepath.Join(data, "work", first[5:]+".ipynb"), notebook.Options{})
	if err != nil {
		t.Fatal(err)
	}
	sheet, _, err := exercises.SheetOf(nb)
	if err != nil {
		t.Fatal(err)
	}
	if changed, err := sheet.Changed(nb); err != nil || len(changed) > 0 || len(bank.Stamped(nb)) != len(sheet.Questions) {
		t.Errorf("%d fingerprints, changed %v, %v", len(bank.Stamped(nb)), changed, err)
	}
}

// A notebook that was handed out, or half worked through, with another bank is told, and
// answers to what has changed are not judged.
func TestChangedQuestion(t *testing.T) {
	path, _ := handedOut(t, false)
	nb, err := notebook.ReadFile(path, notebook.Options{})
	if err != nil {
		t.Fatal(err)
	}
	sheet, _, err := exercises.SheetOf(nb)
	if err != nil {
		t.Fatal(err)
	}
	if err := sheet.Stamp(nb); err != nil {
		t.Fatal(err)
	}
	nb.Cell("sheet").Own()["prints"].(map[string]any)["kappa"] = "0123456789abcdef"
	if err := nb.WriteFile(path); err != nil {
		t.Fatal(err)
	}
	c := call(t, labpage.Options{Labs: labs, Others: []string{path}})
	c.enter()
	at, view := c.opened()
	if fault := fmt.Sprint(view["fault"]); !strings.Contains(fault, "in kappa.") || strings.Contains(fault, "theta") {
		t.Errorf("the page says %q", fault)
	}
	answer := func(question string) string {
		_, _, body := c.send(request{method: "POST", path: at + "/answer", body: `{"tab":"a","question":"` + question + `","fields":{"number":"1","unit":"N m/rad"}}`})
		return body
	}
	if body := answer("kappa"); !strings.Contains(body, "Not judged") {
		t.Errorf("an answer to the changed question: %s", body)
	}
	if body := answer("theta"); strings.Contains(body, "Not judged") {
		t.Errorf("an answer to another question: %s", body)
	}
}
