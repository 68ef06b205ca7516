package notebook

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// small is a whole notebook of 4.5 in the bytes that this package writes.
const small = `{
 "cells": [
  {
   "cell_type": "markdown",
   "id": "title",
   "metadata": {},
   "source": [
    "# Weighing\n",
    "a line with é, <b> & \u2028"
   ]
  },
  {
   "cell_type": "code",
   "execution_count": 3,
   "id": "kappa",
   "metadata": {
    "gravlab": {
     "from": "01/kappa",
     "part": "answer"
    },
    "mine": {
     "large": 12345678901234567890,
     "small": 1e-07
    }
   },
   "outputs": [
    {
     "name": "stdout",
     "output_type": "stream",
     "text": [
      "one\n",
      "two"
     ]
    },
    {
     "data": {
      "application/json": [
       "a",
       "b"
      ],
      "image/png": "iVBORw0KGgo=",
      "text/plain": [
       "a picture"
      ]
     },
     "metadata": {},
     "output_type": "display_data"
    },
    {
     "ename": "ERROR",
     "evalue": "exit status 2",
     "output_type": "error",
     "traceback": []
    }
   ],
   "source": []
  }
 ],
 "metadata": {
  "kernelspec": {
   "display_name": "Go",
   "language": "go",
   "name": "gravlab"
  }
 },
 "nbformat": 4,
 "nbformat_minor": 5
}
`

func read(t *testing.T, data string) *Notebook {
	t.Helper()
	nb, err := Read("test.ipynb", []byte(data), Options{})
	if err != nil {
		t.Fatal(err)
	}
	return nb
}

func TestRoundTripKeepsEveryByte(t *testing.T) {
	want := strings.ReplaceAll(small, `\u2028`, "\u2028") // others write it as it is
	nb := read(t, want)
	got, err := nb.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Errorf("the bytes changed:\n%s", got)
	}
	if len(nb.Remarks) != 0 {
		t.Errorf("remarks %q on a notebook that needs none", nb.Remarks)
	}
}

func TestRead(t *testing.T) {
	nb := read(t, small)
	c := nb.Cell("kappa")
	if c == nil || c.Kind != Code || c.Run != 3 || c.Source != "" {
		t.Fatalf("the code cell is %+v", c)
	}
	if from, part, ok := c.Question(); from != "01/kappa" || part != Answer || !ok {
		t.Errorf("Question() = %q, %q, %v", from, part, ok)
	}
	if nb.Question("01/kappa", Answer) != c || nb.Question("01/kappa", QuestionText) != nil {
		t.Error("the notebook does not find the cell of its question")
	}
	if o := c.Outputs[0]; o.Text != "one\ntwo" {
		t.Errorf("the stream holds %q", o.Text)
	}
	if list, ok := c.Outputs[1].Data["application/json"].([]any); !ok || len(list) != 2 {
		t.Error("a list of JSON was joined as if it were text")
	}
	if name, language := nb.Kernel(); name != "gravlab" || language != "go" {
		t.Errorf("Kernel() = %q, %q", name, language)
	}
}

func TestCloneSharesNothing(t *testing.T) {
	nb := read(t, small)
	before, err := nb.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	c := nb.Clone()
	c.Cells[1].Metadata["mine"].(map[string]any)["small"] = "changed"
	c.Cells[1].Outputs[0].Text = "changed"
	c.Cells[1].Outputs[1].Data["application/json"].([]any)[0] = "changed"
	c.Cells[1].SetQuestion("02/q", QuestionText)
	c.SetKernel("other", "Other", "go")
	c.Clear()
	after, err := nb.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(before, after) {
		t.Error("a change of the copy changed the original")
	}
}

func TestPrintJoins(t *testing.T) {
	c := NewCell(Code, "a", "")
	c.Print("stdout", "1")
	c.Print("stdout", "2")
	c.Print("stderr", "3")
	c.Print("stdout", "4")
	if len(c.Outputs) != 3 || c.Outputs[0].Text != "12" {
		t.Errorf("outputs %+v, want 12, 3, 4", c.Outputs)
	}
}

func TestOlderFormats(t *testing.T) {
	nb := read(t, `{"nbformat":4,"nbformat_minor":2,"metadata":{"orig_nbformat":2},"cells":[
		{"cell_type":"markdown","metadata":{"trusted":true},"source":"a"},
		{"cell_type":"code","metadata":{},"source":"b","outputs":[],"execution_count":null,"extra":1}]}`)
	if nb.Cells[0].ID != "cell-1" || nb.Cells[1].ID != "cell-2" {
		t.Errorf("ids %q and %q, want cell-1 and cell-2", nb.Cells[0].ID, nb.Cells[1].ID)
	}
	if len(nb.Remarks) != 3 { // the format, the ids, the extra key
		t.Errorf("remarks %q, want three", nb.Remarks)
	}
	out, err := nb.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	for _, gone := range []string{"orig_nbformat", "trusted", "extra"} {
		if bytes.Contains(out, []byte(gone)) {
			t.Errorf("%s was written", gone)
		}
	}
}

// inNotebook puts cell into a notebook of 4.5.
func inNotebook(cells string) string {
	return `{"nbformat":4,"nbformat_minor":5,"metadata":{},"cells":[` + cells + `]}`
}

func TestRefused(t *testing.T) {
	const code = `"cell_type":"code","metadata":{},"source":"","outputs":[],"execution_count":null`
	for _, c := range []struct {
		name, data string
		want       []string // what the message says
	}{
		{"empty", " \n", []string{"is empty", "take the copy"}},
		{"no JSON", "package main", []string{"is not a notebook", "take the copy"}},
		{"broken JSON", "{package", []string{"line 1, column 2", "is not JSON", "save it again"}},
		{"cut off", small[:200], []string{"ends too early", "line 14"}},
		{"more after it", small + "{}", []string{"something follows"}},
		{"a list", "[]", []string{"not a notebook"}},
		{"other JSON", `{"a":1}`, []string{"not a notebook", "nbformat"}},
		{"format 3", `{"nbformat":3,"nbformat_minor":0,"metadata":{},"worksheets":[]}`, []string{"format 3", "save it again"}},
		{"format 5", `{"nbformat":5,"nbformat_minor":0,"metadata":{},"cells":[]}`, []string{"format 5.0", "4.0 to 4.5"}},
		{"no minor", `{"nbformat":4,"metadata":{},"cells":[]}`, []string{"nbformat_minor"}},
		{"no cells", `{"nbformat":4,"nbformat_minor":5,"metadata":{}}`, []string{"no list of cells"}},
		{"no metadata", `{"nbformat":4,"nbformat_minor":5,"cells":[]}`, []string{"no metadata"}},
		{"same ids", inNotebook(`{"id":"a",` + code + `},{"id":"a",` + code + `}`), []string{`cell 2 (id "a")`, "same id as cell 1", "another id"}},
		{"bad id", inNotebook(`{"id":"a b",` + code + `}`), []string{`cell 1 (id "a b")`, "not allowed", "letters, digits"}},
		{"id a number", inNotebook(`{"id":5,` + code + `}`), []string{"cell 1", "id that is not text"}},
		{"no source", inNotebook(`{"id":"a","cell_type":"markdown","metadata":{}}`), []string{`cell 1 (id "a")`, "no source", `add "source"`}},
		{"no outputs", inNotebook(`{"id":"a","cell_type":"code","metadata":{},"source":"","execution_count":null}`), []string{"no list of outputs"}},
		{"no count", inNotebook(`{"id":"a","cell_type":"code","metadata":{},"source":"","outputs":[]}`), []string{"no execution_count"}},
		{"bad count", inNotebook(`{"id":"a","cell_type":"code","metadata":{},"source":"","outputs":[],"execution_count":-1}`), []string{"execution_count that is neither"}},
		{"other type", inNotebook(`{"id":"a","cell_type":"heading","metadata":{},"source":""}`), []string{`unknown cell_type "heading"`}},
		{"bad output", inNotebook(`{"id":"a","cell_type":"code","metadata":{},"source":"","execution_count":null,"outputs":[{"output_type":"pyout"}]}`), []string{"output 1", `"pyout"`, "clear the outputs"}},
		{"number as text", inNotebook(`{"id":"a","cell_type":"markdown","metadata":{},"source":[1]}`), []string{"neither text nor a list"}},
		{"attachment", inNotebook(`{"id":"a","cell_type":"markdown","metadata":{},"source":"","attachments":{"x.png":{"image/png":5}}}`), []string{`attachment "x.png"`, "image/png"}},
		{"tags", inNotebook(`{"id":"a","cell_type":"markdown","metadata":{"tags":["a,b"]},"source":""}`), []string{"tags", "without commas"}},
		{"not UTF-8", "{\"nbformat\":\n\"\xff\"}", []string{"line 2, column 2", "not UTF-8"}},
		{"deep", strings.Repeat("[", 200_000), []string{"nested deeper than 100"}},
	} {
		_, err := Read("lab.ipynb", []byte(c.data), Options{})
		var e *Error
		if !errors.As(err, &e) {
			t.Errorf("%s: error %v, want an *Error", c.name, err)
			continue
		}
		for _, want := range append(c.want, "lab.ipynb: ") {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%s: the message %q does not say %q", c.name, err, want)
			}
		}
		for _, p := range e.Problems {
			if p.Do == "" {
				t.Errorf("%s: %q does not say what to do", c.name, p)
			}
		}
	}
}

func TestOptions(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.ipynb")
	data := inNotebook("")
	if err := os.WriteFile(path, []byte(data), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadFile(path, Options{MaxBytes: int64(len(data))}); err != nil {
		t.Errorf("a file as large as allowed: %v", err)
	}
	if _, err := ReadFile(path, Options{MaxBytes: int64(len(data)) - 1}); err == nil || !strings.Contains(err.Error(), "larger than") {
		t.Errorf("a file a byte too large: error %v", err)
	}
	if _, err := ReadFile(path, Options{NeedKernel: true}); err == nil || !strings.Contains(err.Error(), "kernelspec") {
		t.Errorf("without a kernel: error %v", err)
	}
	if _, err := ReadFile(path+"x", Options{}); !errors.Is(err, os.ErrNotExist) || err.Error() != "there is no "+path+"x" {
		t.Errorf("a missing file: error %v", err)
	}
	if _, err := ReadFile(filepath.Dir(path), Options{}); err == nil || !strings.Contains(err.Error(), "is a folder") {
		t.Errorf("a folder: error %v", err)
	}
}

func TestValidate(t *testing.T) {
	ok := func() *Notebook {
		nb := New("gravlab", "Go with gravlab", "go")
		nb.Cells = []*Cell{NewCell(Code, "a", "1"), NewCell(Markdown, "b", "2")}
		return nb
	}
	if err := ok().Validate(); err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(nb *Notebook){
		"outputs of text":     func(nb *Notebook) { nb.Cells[1].Print("stdout", "x") },
		"attachments of code": func(nb *Notebook) { nb.Cells[0].Attachments = map[string]Bundle{} },
		"same ids":            func(nb *Notebook) { nb.Cells[1].ID = "a" },
		"no id":               func(nb *Notebook) { nb.Cells[1].ID = "" },
		"a nil cell":          func(nb *Notebook) { nb.Cells[1] = nil },
		"no kind":             func(nb *Notebook) { nb.Cells[1].Kind = "" },
		"a display without data": func(nb *Notebook) {
			nb.Cells[0].Outputs = []*Output{{Kind: Display}}
		},
		"bytes for text": func(nb *Notebook) {
			nb.Cells[0].Outputs = []*Output{{Kind: Display, Data: Bundle{"image/png": []byte{1}}}}
		},
		"a kernel without a name": func(nb *Notebook) { nb.Metadata["kernelspec"] = map[string]any{} },
	} {
		nb := ok()
		spoil(nb)
		if err := nb.Validate(); err == nil {
			t.Errorf("%s: no error", name)
		}
		if _, err := nb.Bytes(); err == nil {
			t.Errorf("%s: written all the same", name)
		}
	}
	nb := ok()
	nb.Metadata["mine"] = struct{}{}
	if _, err := nb.Bytes(); err == nil {
		t.Error("a struct in the metadata was written")
	}
}

func TestWriteFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.ipynb")
	nb := read(t, small)
	if err := nb.WriteFile(path); err != nil {
		t.Fatal(err)
	}
	again, err := ReadFile(path, Options{NeedKernel: true})
	if err != nil {
		t.Fatal(err)
	}
	a, _ := nb.Bytes()
	b, _ := again.Bytes()
	if !bytes.Equal(a, b) {
		t.Error("the file holds something else")
	}
}

// python is Debian's, which has the reference implementation of the format
// (package python3-nbformat).
const python = "/usr/bin/python3"

// TestReferenceImplementation has what is written here checked by the reference
// implementation of the format, and compares byte for byte with what that writes.
func TestReferenceImplementation(t *testing.T) {
	if out, err := exec.Command(python, "-c", "import nbformat").CombinedOutput(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("python3-nbformat is not installed: %v\n%s", err, out)
		}
		t.Skip("python3-nbformat is not installed, so the reference implementation cannot check what is written")
	}
	folder := t.TempDir()
	made := New("gravlab", "Go with gravlab", "go")
	c := NewCell(Code, "odd", "a := \"\\t\u007f\u2029\"\n\n")
	c.Metadata["tags"] = []string{"x", "y"}
	c.Print("stdout", "\x1b[31mred\x1b[0m\r\n\x00")
	c.Outputs = append(c.Outputs, &Output{Kind: Result, Run: 2, Data: Bundle{"text/html": "<b>x</b>\n", "application/vnd.gravlab.verdict+json": map[string]any{"marks": 2, "x": 0.5, "s": []any{nil, true}}}},
		&Output{Kind: Failure, ErrName: "E", Traceback: []string{"a", "b\n"}})
	made.Cells = []*Cell{c, NewCell(Raw, "r", "raw"), NewCell(Markdown, "m", "")}
	made.Cells[2].Attachments = map[string]Bundle{"a.png": {"image/png": "AAAA"}}
	var files []string
	for name, nb := range map[string]*Notebook{"small": read(t, small), "made": made, "empty": New("k", "K", "go")} {
		path := filepath.Join(folder, name+".ipynb")
		if err := nb.WriteFile(path); err != nil {
			t.Fatal(err)
		}
		files = append(files, path)
	}
	const script = `
import sys, nbformat
for path in sys.argv[1:]:
    with open(path, encoding="utf-8", newline="") as f:
        text = f.read()
    nb = nbformat.reads(text, as_version=4)
    nbformat.validate(nb)
    again = nbformat.writes(nb) + "\n"
    if "made" not in path and again != text:
        sys.exit("%s is written otherwise by nbformat:\n%s" % (path, again))
`
	out, err := exec.Command(python, append([]string{"-W", "error", "-c", script}, files...)...).CombinedOutput()
	if err != nil {
		t.Errorf("the reference implementation refuses: %v\n%s", err, out)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(small))
	f.Add([]byte(inNotebook(`{"id":"a","cell_type":"raw","metadata":{"tags":["x"]},"source":["a","b"],"attachments":{"n":{"text/plain":["\ud800"]}}}`)))
	f.Add([]byte(`{"nbformat":4,"nbformat_minor":0,"metadata":{"kernelspec":{"name":"k","display_name":"K"}},"cells":[{"cell_type":"code","metadata":{},"source":"","execution_count":-0,"outputs":[{"output_type":"execute_result","execution_count":1,"data":{"application/json":{"a":[1e999]}},"metadata":{},"transient":{}}]}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		nb, err := Read("fuzz", data, Options{MaxBytes: 1 << 20})
		if err != nil {
			var e *Error
			if !errors.As(err, &e) || len(e.Problems) == 0 {
				t.Fatalf("error %v, want an *Error with problems", err)
			}
			return
		}
		first, err := nb.Bytes()
		if err != nil {
			t.Fatalf("read but not written: %v", err)
		}
		again, err := Read("fuzz", first, Options{})
		if err != nil {
			t.Fatalf("written but not read: %v", err)
		}
		second, err := again.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(first, second) {
			t.Fatalf("not a fixed point:\n%s\n%s", first, second)
		}
	})
}
