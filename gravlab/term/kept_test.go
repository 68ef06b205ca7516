package term

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/marking"
)

// Files that name a student are found by id, full name and code, in names, texts and archives;
// what only looks alike is not.
func TestKept(t *testing.T) {
	dir := t.TempDir()
	list := put(t, dir, "class.csv", "id,name\n7,Ada Bell\n0042,Zoë Brûlé-Ångström\ns-003,Dan\n")
	class, err := marking.ReadClass(list)
	if err != nil {
		t.Fatal(err)
	}
	keyFile := filepath.Join(dir, "class.key")
	key, _, _, err := marking.MakeKey(keyFile)
	if err != nil {
		t.Fatal(err)
	}
	code := string(bank.SealedCode(key, "91-plumb-line", "0042", ""))
	resit := string(bank.SealedCode(key, "91-plumb-line", "7", "resit"))
	put(t, dir, "class-91-assessed-resit.handout", `{"Format":1,"Sheets":{"7":{"Code":"`+resit+`"}}}`)
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	w := tar.NewWriter(z)
	w.WriteHeader(&tar.Header{Name: "a/b.txt", Typeflag: tar.TypeReg, Size: 8, Mode: 0o600})
	w.Write([]byte("ada bell"))
	w.Close()
	z.Close()
	put(t, dir, "old/all.tar.gz", packed.String())
	inner := filepath.Join(dir, "inner.zip")
	if err := writeZip(inner, []file{{"x.ipynb", []byte("ask.Assessed(\\\"91\\\", \\\"" + code + "\\\")")}}); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(inner)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(inner); err != nil {
		t.Fatal(err)
	}
	if err := writeZip(filepath.Join(dir, "outer.zip"), []file{{"work/inner.zip", text}}); err != nil {
		t.Fatal(err)
	}
	want := map[string]string{ // path: kind and students
		"class.csv": "class list 7 0042 s-003 ours", "class.key": "class key ours", "class-91-assessed-resit.handout": "record of a handout 7 ours",
		"old/all.tar.gz": "not made by this program 7", "outer.zip": "archive with sheets or replies 0042 ours",
	}
	for path, c := range map[string]struct{ text, want string }{
		"by-id.txt":                          {"student 0042 was late", "not made by this program 0042"},
		"by-name.txt":                        {"zoë BRÛLÉ-ÅNGSTRÖM asked", "not made by this program 0042"},
		"cell.csv":                           {"x,y\n7,2\n", "not made by this program 7"},
		"0042_essay.pdf":                     {"%PDF\x00\x01", "not made by this program 0042"},
		"7/plan.txt":                         {"empty", "not made by this program 7"},
		"sheets/one.ipynb":                   {"code " + resit, "sheet 7 ours"},
		"sheets/swing.csv":                   {"time (s)\n7\n", "recording beside a sheet 7 ours"},
		"others.ipynb":                       {"code K7QF-3M2P", ""},
		"numbers.txt":                        {"10042 is not 00421, 7 swings, Dan and Ada, Bella Ada", ""},
		".hidden/by-id.txt":                  {"student 0042", ""},
		"data/answers/91/" + code + ".jsonl": {"{}", "log of answers 0042 ours"},
	} {
		put(t, dir, path, c.text)
		if c.want != "" {
			want[path] = c.want
		}
	}
	search := Search{Class: class, List: list, KeyFile: keyFile, Key: key, Places: []string{dir}, Data: filepath.Join(dir, "data")}
	traces, unread, err := Kept(search)
	if err != nil || len(unread) > 0 {
		t.Fatal(err, unread)
	}
	got := map[string]string{}
	for _, tr := range traces {
		rel, err := filepath.Rel(dir, tr.Path)
		if err != nil {
			t.Fatal(err)
		}
		slices.SortFunc(tr.Students, func(a, b string) int { return strings.Index("7 0042 s-003", a) - strings.Index("7 0042 s-003", b) })
		text := strings.Join(append([]string{tr.Kind}, tr.Students...), " ")
		if tr.Ours {
			text += " ours"
		}
		got[filepath.ToSlash(rel)] = text
	}
	for _, path := range slices.Sorted(maps.Keys(want)) {
		if got[path] != want[path] {
			t.Errorf("%s: %q, want %q", path, got[path], want[path])
		}
	}
	for path, text := range got {
		if want[path] == "" {
			t.Errorf("%s: %q, want nothing", path, text)
		}
	}

	// A removal that stops on its way is made again, and finds the rest: the list and the key
	// are there until the last.
	remove, _ := Sort(traces, nil)
	if n := len(remove); remove[0].Kind != "recording beside a sheet" || filepath.Base(remove[n-1].Path) != "class.key" || filepath.Base(remove[n-2].Path) != "class.csv" && filepath.Base(remove[n-3].Path) != "class.csv" {
		t.Errorf("the order of removal is %+v", remove)
	}
	if _, _, err := Forget(remove[:2], nil); err != nil {
		t.Fatal(err)
	}
	if traces, _, err = Kept(search); err != nil {
		t.Fatal(err)
	}
	removed, kept, err := Forget(traces, []string{filepath.Join(dir, "outer.zip")})
	if err != nil || len(removed)+2 != len(remove)-1 {
		t.Errorf("%d removed after 2 of %d, %v", len(removed), len(remove), err)
	}
	for _, k := range kept {
		if _, err := os.Stat(k.Path); err != nil {
			t.Errorf("%s was to be kept: %v", k.Path, err)
		}
	}
	for _, r := range remove {
		if _, err := os.Stat(r.Path); err == nil && filepath.Base(r.Path) != "outer.zip" {
			t.Errorf("%s is there still", r.Path)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "sheets")); err == nil {
		t.Error("an empty folder was left")
	}
	if _, _, err := Kept(Search{Class: class, List: list, Places: []string{filepath.Join(dir, "nowhere")}}); !marking.IsInput(err) {
		t.Errorf("a place that is not there: %v", err)
	}
}
