package labserver

import (
	"math"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/wire"
)

// sealedFiles is what is handed out beside a sealed notebook of a lab.
func sealedFiles(t *testing.T, s bank.Sheet) fstest.MapFS {
	t.Helper()
	files := fstest.MapFS{}
	var names []string
	var texts [][]byte
	for _, r := range s.Recordings {
		text, err := r.Table()
		if err != nil {
			t.Fatal(err)
		}
		names, texts = append(names, r.ID+".csv"), append(texts, text)
		files[r.ID+".csv"] = &fstest.MapFile{Data: text}
	}
	files[RecordingsList] = &fstest.MapFile{Data: ListRecordings(s.Code, names, texts)}
	return files
}

func sealedSheet(t *testing.T, lab, student string) bank.Sheet {
	t.Helper()
	l, err := exercises.Find(lab)
	if err != nil {
		t.Fatal(err)
	}
	key := []byte("a key for tests, of 32 bytes ...")
	return l.WithKey(bank.SheetKey(key, l.ID, student, "")).Sheet(bank.SealedCode(key, l.ID, student, ""))
}

// TestSealedRecordings reads the recordings of sealed sheets of all labs from their files:
// they are those of the model, bit by bit.
func TestSealedRecordings(t *testing.T) {
	n := 0
	for _, lab := range exercises.Labs() {
		s := sealedSheet(t, lab.ID, "s01")
		b, err := New(Options{Data: t.TempDir(), Files: sealedFiles(t, s)})
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		session := b.Session(SessionOptions{})
		for _, r := range s.Recordings {
			want, err := r.Make()
			if err != nil {
				t.Fatal(err)
			}
			var got []float64
			for {
				reply := session.Reply(wire.Frame{Head: wire.Head{Kind: wire.Recording, Lab: lab.ID, Code: string(s.Code), Name: r.ID, At: len(got)}})
				if reply.Kind != wire.Columns {
					t.Fatalf("%s/%s: %s", lab.ID, r.ID, reply.Text)
				}
				if got = append(got, reply.Numbers...); len(got) >= reply.Total {
					break
				}
			}
			if !slices.EqualFunc(got, slices.Concat(want...), func(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) }) {
				t.Errorf("%s/%s: read from its file it is another recording", lab.ID, r.ID)
			}
			n++
		}
	}
	if n < 20 {
		t.Errorf("only %d recordings were read", n)
	}
}

// A file that is missing, changed or somebody else's is told, with what to do.
func TestSealedRecordingTold(t *testing.T) {
	s, other := sealedSheet(t, "01", "s01"), sealedSheet(t, "01", "s02")
	ask := func(files fstest.MapFS) string {
		o := Options{Data: t.TempDir()}
		if files != nil {
			o.Files = files
		}
		b, err := New(o)
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		reply := b.Session(SessionOptions{}).Reply(wire.Frame{Head: wire.Head{Kind: wire.Recording, Lab: s.Lab.ID, Code: string(s.Code), Name: "swing"}})
		if reply.Kind != wire.Refused {
			return "had"
		}
		return reply.Text
	}
	good := sealedFiles(t, s)
	if got := ask(good); got != "had" {
		t.Fatal(got)
	}
	changed := func(name string, data []byte) fstest.MapFS {
		files := fstest.MapFS{}
		for n, f := range good {
			if n != name {
				files[n] = f
			} else if data != nil {
				files[n] = &fstest.MapFile{Data: data}
			}
		}
		return files
	}
	theirs := sealedFiles(t, other)
	for what, c := range map[string]struct {
		files fstest.MapFS
		want  string
	}{
		"no files":             {nil, "sealed"},
		"no recording":         {changed("swing.csv", nil), "there is no swing.csv beside the notebook"},
		"no list":              {changed(RecordingsList, nil), "there is no recordings.sha256"},
		"an edited recording":  {changed("swing.csv", []byte(strings.Replace(string(good["swing.csv"].Data), "0,", "1,", 1))), "swing.csv is not as it was handed out"},
		"another's recording":  {changed("swing.csv", theirs["swing.csv"].Data), "comes from another sheet"},
		"all files of another": {theirs, "those of the sheet " + string(other.Code)},
	} {
		if got := ask(c.files); !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", what, got, c.want)
		}
	}
}

// TestSealedAnswers: without the key nothing tells right from wrong, in display, reply, log
// and summary.
func TestSealedAnswers(t *testing.T) {
	s := sealedSheet(t, "01", "s01")
	right := s.RightAnswers()["kappa"]
	say := func(value float64, unit string, assessed bool) (string, judge.Outcome) {
		data := t.TempDir()
		b, err := New(Options{Data: data, Files: sealedFiles(t, s)})
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		shown := ""
		session := b.Session(SessionOptions{Show: func(d Display) error { shown += d["text/plain"].(string); return nil }})
		session.Reply(wire.Frame{Head: wire.Head{Kind: wire.Answer, Form: wire.FormNumber, Lab: s.Lab.ID, Code: string(s.Code), Assessed: assessed, Question: "kappa", Unit: unit}, Numbers: []float64{value, 0}})
		sum, err := b.Summary(s.Lab.ID, string(s.Code), assessed)
		if err != nil {
			t.Fatal(err)
		}
		if !sum.Sealed || !sum.Assessed || sum.Marks != 0 || !strings.Contains(sum.Display()["text/plain"].(string), "sealed sheet") {
			t.Errorf("the summary is %+v", sum)
		}
		entries, _, err := ReadLog(LogFile(data, s.Lab.ID, s.Code), 0)
		if err != nil || len(entries) != 1 {
			t.Fatal(entries, err)
		}
		if v := entries[0].Verdict; v.Marks != 0 || v.Slip != "" || v.Message != "" {
			t.Errorf("the log holds the verdict %+v", v)
		}
		return strings.ReplaceAll(shown, sum.Standings[0].Verdict.Understood, ""), entries[0].Verdict.Outcome
	}
	for _, assessed := range []bool{true, false} { // however the cell declares it
		_, o := say(right, "N m/rad", assessed)
		_, wrong := say(2.5*right, "N m/rad", assessed)
		_, bare := say(right, "", assessed)
		_, bareWrong := say(2.5*right, "", assessed)
		if o != judge.OutcomeRecorded || wrong != o || bare != bareWrong {
			t.Errorf("right %s, wrong %s; without a unit %s and %s", o, wrong, bare, bareWrong)
		}
	}
}

// TestAnotherBank: under Jupyter too, a question that is another than the notebook beside
// was handed out with is not judged.
func TestAnotherBank(t *testing.T) {
	lab, err := exercises.Find("01")
	if err != nil {
		t.Fatal(err)
	}
	s := lab.Sheet(bank.NumberedCode(lab.ID, 3))
	nb := notebook.New("gravlab", "Go (gravlab)", "go")
	cell := notebook.NewCell(notebook.Code, "sheet", `var sheet = ask.Sheet("`+lab.ID+`", "`+string(s.Code)+`")`)
	cell.SetQuestion(lab.Number(), notebook.Sheet)
	nb.Cells = append(nb.Cells, cell)
	if err := s.Stamp(nb); err != nil {
		t.Fatal(err)
	}
	judged := func() map[string]bool {
		text, err := nb.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		b, err := New(Options{Data: t.TempDir(), Files: fstest.MapFS{lab.ID + ".ipynb": &fstest.MapFile{Data: text}}})
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		out := map[string]bool{}
		for _, id := range []string{"kappa", "theta"} {
			_, given := b.Session(SessionOptions{}).Answer(wire.Frame{Head: wire.Head{Kind: wire.Answer, Form: wire.FormNumber, Lab: lab.ID, Code: string(s.Code), Question: id, Unit: "1"}, Numbers: []float64{1, 0}})
			out[id] = !strings.HasPrefix(given.View.Message, "Not judged")
		}
		return out
	}
	if got := judged(); !got["kappa"] || !got["theta"] {
		t.Errorf("with the same bank: judged %v", got)
	}
	cell.Own()["prints"].(map[string]any)["kappa"] = "0123456789abcdef"
	if got := judged(); got["kappa"] || !got["theta"] {
		t.Errorf("with another kappa: judged %v", got)
	}
}
