package marking

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
)

type entry struct {
	name string
	text string
	mode fs.FileMode
	size uint64 // claimed, if not 0
}

func archive(t testing.TB, entries ...entry) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, e := range entries {
		h := &zip.FileHeader{Name: e.name, Method: zip.Deflate}
		if e.mode != 0 {
			h.SetMode(e.mode)
		}
		if e.size > 0 {
			var packed bytes.Buffer
			f, _ := flate.NewWriter(&packed, 9) // 9 is a level
			io.WriteString(f, e.text)
			f.Close()
			h.UncompressedSize64, h.CompressedSize64 = e.size, uint64(packed.Len())
			part, err := w.CreateRaw(h)
			if err != nil {
				t.Fatal(err)
			}
			part.Write(packed.Bytes())
			continue
		}
		part, err := w.CreateHeader(h)
		if err != nil {
			t.Fatal(err)
		}
		io.WriteString(part, e.text)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// What is in folders and archives is found or refused, each with its reason.
func TestCollect(t *testing.T) {
	dir := t.TempDir()
	put := func(name string, text []byte) {
		t.Helper()
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	put("plain/a.ipynb", []byte("a"))
	put("plain/a.csv", []byte("x (m)\n1\n"))
	put("plain/notes.txt", []byte("no"))
	put(".ipynb_checkpoints/a.ipynb", []byte("copy"))
	put("out/old.ipynb", []byte("ours"))
	put("UPPER.IPYNB", []byte("b"))
	put("many.zip", archive(t,
		entry{name: "s1/one.ipynb", text: "one"}, entry{name: "s1/own.csv", text: "t (s)\n1\n"}, entry{name: "__MACOSX/s1/._one.ipynb", text: "junk"},
		entry{name: "s2/deep.zip", text: string(archive(t, entry{name: "two.ipynb", text: "two"}, entry{name: "in.zip", text: string(archive(t, entry{name: "three.ipynb", text: "three"}))}))},
		entry{name: "../../escape.ipynb", text: "out"}, entry{name: "/etc/absolute.ipynb", text: "out"}, entry{name: `..\back.ipynb`, text: "out"}, entry{name: "C:drive.ipynb", text: "out"},
		entry{name: "link.ipynb", text: "/etc/passwd", mode: fs.ModeSymlink | 0o777},
		entry{name: "bomb.ipynb", text: strings.Repeat("0", 19_000_000)},
		entry{name: "large.ipynb", text: strings.Repeat("0123456789abcdef", 100), size: 50_000_000_000},
		entry{name: "liar.ipynb", text: strings.Repeat("0", 30_000_000), size: 900_000},
	))
	put("broken.zip", []byte("PK\x03\x04 and no more"))
	put("cut.zip", archive(t, entry{name: "x.ipynb", text: "x"})[:60])
	// A directory of a hundred thousand entries in a small file.
	var flood bytes.Buffer
	for range 100_000 {
		flood.WriteString("PK\x01\x02" + strings.Repeat("\x00", 42))
	}
	put("flood.zip", append(archive(t, entry{name: "y.ipynb", text: "y"}), flood.Bytes()...))
	if runtime.GOOS != "windows" {
		for _, link := range [][2]string{{"/etc/passwd", "link.ipynb"}, {"/etc", "etc"}, {"plain", "again"}} {
			if err := os.Symlink(link[0], filepath.Join(dir, link[1])); err != nil {
				t.Fatal(err)
			}
		}
	}
	c, err := collect([]string{dir}, filepath.Join(dir, "out"))
	if err != nil {
		t.Fatal(err)
	}
	defer c.close()
	var found []string
	for _, f := range c.files {
		text, err := f.read()
		switch {
		case err != nil:
			found = append(found, f.place+": "+err.Error())
		case len(text) > 50:
			t.Errorf("%s was read: %d bytes", f.place, len(text))
		default:
			found = append(found, f.place+": "+string(text))
		}
	}
	want := []string{
		"UPPER.IPYNB: b",
		"many.zip!/liar.ipynb: is damaged: its size or its checksum does not fit",
		"many.zip!/s1/one.ipynb: one",
		"many.zip!/s2/deep.zip!/two.ipynb: two",
		"plain/a.ipynb: a",
	}
	if !slices.Equal(found, want) {
		t.Errorf("found\n%s\nwant\n%s", strings.Join(found, "\n"), strings.Join(want, "\n"))
	}
	refusals := map[string]string{
		"many.zip!/../../escape.ipynb": "leads out", "many.zip!//etc/absolute.ipynb": "leads out", `many.zip!/..\back.ipynb`: "leads out", "many.zip!/C:drive.ipynb": "leads out",
		"many.zip!/link.ipynb": "a link", "many.zip!/bomb.ipynb": "grows more than", "many.zip!/large.ipynb": "grows more than", "many.zip!/s2/deep.zip!/in.zip": "in an archive in an archive",
		"broken.zip": "no zip archive", "cut.zip": "no zip archive", "flood.zip": "more than 50000",
	}
	if runtime.GOOS != "windows" {
		refusals["link.ipynb"], refusals["etc"], refusals["again"] = "a link", "a link", "a link"
	}
	for _, r := range c.refused {
		part, ok := refusals[r.place]
		if !ok || !strings.Contains(r.why, part) {
			t.Errorf("%s is refused: %s; want %q", r.place, r.why, part)
		}
		delete(refusals, r.place)
	}
	for place := range refusals {
		t.Errorf("%s is not refused", place)
	}
	if b, _ := c.beside(c.files[2]); c.files[2].place != "many.zip!/s1/one.ipynb" || len(b) != 1 {
		t.Errorf("beside %s lie %d recordings, want own.csv", c.files[2].place, len(b))
	} else if text, err := fs.ReadFile(b, "own.csv"); err != nil || string(text) != "t (s)\n1\n" {
		t.Errorf("own.csv is %q, %v", text, err)
	}
	if _, err := collect([]string{filepath.Join(dir, "nowhere")}, ""); !IsInput(err) {
		t.Errorf("a folder that is not there: %v", err)
	}
}

// Reading many archives inside an archive keeps none of them in memory.
func TestCollectKeepsNothing(t *testing.T) {
	noise := make([]byte, 300_000) // hardly packs
	for i, x := 0, uint32(1); i < len(noise); i++ {
		x = x*1664525 + 1013904223
		noise[i] = byte(x >> 24)
	}
	var entries []entry
	for i := range 40 {
		entries = append(entries, entry{name: fmt.Sprintf("s%03d/in.zip", i), text: string(archive(t, entry{name: "a.ipynb", text: string(noise)}))})
	}
	path := filepath.Join(t.TempDir(), "all.zip")
	if err := os.WriteFile(path, archive(t, entries...), 0o600); err != nil {
		t.Fatal(err)
	}
	entries = nil
	heap := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	before := heap()
	c, err := collect([]string{path}, "")
	if err != nil {
		t.Fatal(err)
	}
	defer c.close()
	if len(c.files) != 40 {
		t.Fatalf("%d files, want 40", len(c.files))
	}
	if after := heap(); after > before+3_000_000 {
		t.Errorf("40 archives of 0.3 MB take %d bytes of memory", after-before)
	}
	if text, err := c.files[7].read(); err != nil || !bytes.Equal(text, noise) {
		t.Errorf("a file of an inner archive: %d bytes, %v", len(text), err)
	}
}

// Recordings in a folder of several notebooks are nobody's.
func TestBesideOthers(t *testing.T) {
	c := newClassroom(t, swingLab, 2)
	c.hand("a.ipynb", []byte("a"))
	c.hand("b.ipynb", []byte("b"))
	c.hand("own.csv", []byte("x (m)\n1\n"))
	all, err := collect(c.Returned, "")
	if err != nil {
		t.Fatal(err)
	}
	defer all.close()
	if b, remark := all.beside(all.files[0]); b != nil || !strings.Contains(remark, "one folder") {
		t.Errorf("beside: %v, %q", b, remark)
	}
}

func TestBelow(t *testing.T) {
	three := []string{"back/monday", "class.zip", "one.ipynb"}
	for place, want := range map[string]string{
		"0/s1/a.ipynb": "monday/s1/a.ipynb", "1/class.zip!/s1/a.ipynb": "class.zip!/s1/a.ipynb", "2/one.ipynb": "one.ipynb", "s1/a.ipynb": "s1/a.ipynb",
	} {
		if got := below(three, place); got != want {
			t.Errorf("%s is %s, want %s", place, got, want)
		}
	}
	if got := below(three[:1], "0/a.ipynb"); got != "0/a.ipynb" {
		t.Errorf("a folder that is called 0 becomes %s", got)
	}
}
