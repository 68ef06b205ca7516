package teach

import (
	"context"
	"encoding/json"
	"io/fs"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/page"
	"gravity.example/gravlab/sandbox"
)

// A class through the lab hour and the same class through files: the same notebooks, and the
// same books, replies and pages, byte for byte.
func TestSameAsFiles(t *testing.T) {
	if testing.Short() {
		t.Skip("marking a class takes seconds")
	}
	for name, assessed := range map[string]bool{"practice": false, "assessed": true} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			o := options(t, dir)
			o.Assessed = assessed
			o.Labs = find(t, "00")
			s := serve(t, o)
			lab := o.Labs[0]
			var answers [][2]string // whatever the lab asks for
			for _, q := range lab.Sheet("").Questions {
				switch q.Kind {
				case judge.KindFunction:
				case judge.KindChoice:
					answers = append(answers, [2]string{q.ID, `{"choice":"b"}`})
				case judge.KindText:
					answers = append(answers, [2]string{q.ID, `{"words":"because it falls"}`})
				default:
					answers = append(answers, [2]string{q.ID, `{"number":"1.25","u":"0.01","unit":"N"}`})
				}
			}
			returned := filepath.Join(dir, "returned")
			for i := range 2 { // the third has not come
				id := []string{"s1", "s2"}[i]
				b := s.come(map[string]string{"code": s.codes[i]})
				b.lab = "/api/lab/" + lab.ID
				b.ask("GET", b.lab+"?tab=a", "", nil)
				alone := openAlone(t, filepath.Join(s.class.sheets(lab.ID), id, lab.ID+".ipynb"))
				for _, a := range answers[i:] {
					b.answer(a[0], a[1])
					alone.answer(a[0], a[1])
				}
				_, _, file := alone.send("GET", alone.lab+"/notebook", "", nil)
				to := filepath.Join(returned, id)
				if err := os.MkdirAll(to, 0o700); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(to, lab.ID+".ipynb"), []byte(file), 0o600); err != nil {
					t.Fatal(err)
				}
				work, err := os.ReadFile(filepath.Join(s.class.work(lab.ID, id), lab.ID+".ipynb"))
				if err != nil || string(work) != file {
					t.Log(firstDifference(string(work), file))
					t.Errorf("%s: the working copy differs from the notebook of a page for one (%v, %d and %d bytes)", id, err, len(work), len(file))
				}
			}
			s.lecturer().ask("POST", "/api/class/take", `{}`, nil)
			mark := func(out, from string) map[string]string {
				class, err := marking.ReadClass(o.List)
				if err != nil {
					t.Fatal(err)
				}
				m := marking.Marking{Class: class, Key: s.class.key, Records: o.KeyFile, Lab: lab.ID, Returned: []string{from}, Out: filepath.Join(dir, out)}
				m.Start = func(ctx context.Context) (marking.Runner, error) {
					pool, err := sandbox.NewPool(ctx, sandbox.PoolOptions{Clone: "../.."})
					if err != nil {
						return nil, err
					}
					t.Cleanup(func() { pool.Close() })
					return pool.Run, nil
				}
				if _, err := marking.Mark(context.Background(), m); err != nil {
					t.Fatal(err)
				}
				return filesIn(t, m.Out)
			}
			files := mark("marks-files", returned)
			for name, from := range map[string]string{"the working copies": filepath.Dir(s.class.work(lab.ID, "s1")), "what was taken in": s.class.handedIn(lab.ID)} {
				hour := mark("marks-"+name, from)
				if len(hour) != len(files) || len(files) < 5 {
					t.Errorf("%s: %d files, and %d of the class that handed in files", name, len(hour), len(files))
				}
				for path, text := range files {
					if hour[path] != text {
						t.Errorf("%s: %s differs:\n%.400s\n%.400s", name, path, hour[path], text)
					}
				}
			}
		})
	}
}

// filesIn are the files of a folder, by path.
func filesIn(t *testing.T, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		text, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		files[rel] = string(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// openAlone opens a notebook in the page for one reader, as gravlab open does.
func openAlone(t *testing.T, notebook string) *browser {
	t.Helper()
	p, err := page.New(page.Options{Data: t.TempDir(), Others: []string{notebook}, Runner: echo{}})
	if err != nil {
		t.Fatal(err)
	}
	h := httptest.NewServer(p.Handler())
	t.Cleanup(func() { h.Close(); p.Close() })
	_, key, _ := strings.Cut(p.Address("x", ""), "key=")
	s := &school{TB: t, http: h}
	b := s.come(map[string]string{"key": key})
	var list struct{ Labs []struct{ Name string } }
	_, _, text := b.send("GET", "/api/labs", "", nil)
	if err := json.Unmarshal([]byte(text), &list); err != nil {
		t.Fatal(err)
	}
	b.lab = "/api/lab/" + list.Labs[len(list.Labs)-1].Name
	b.ask("GET", b.lab+"?tab=a", "", nil)
	return b
}

// firstDifference is where two texts begin to differ.
func firstDifference(a, b string) string {
	i := 0
	for i < min(len(a), len(b)) && a[i] == b[i] {
		i++
	}
	from := max(0, i-100)
	return a[from:min(len(a), i+200)] + "\n---\n" + b[from:min(len(b), i+200)]
}
