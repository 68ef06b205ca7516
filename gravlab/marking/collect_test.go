package marking

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/flate"
	"compress/gzip"
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
		entry{name: "../../escape.ipynb", text: "out"}, entry{name: "/etc/absolute.ipynb", text: "out"}, entry{name: `..\back.ipynb`, text: "out"}, entry{name: `s3\in\three.ipynb`, text: "three"}, entry{name: "s3/notes.pdf", text: "no"}, entry{name: "C:drive.ipynb", text: "out"},
		entry{name: "link.ipynb", text: "/etc/passwd", mode: fs.ModeSymlink | 0o777},
		entry{name: "bomb.ipynb", text: strings.Repeat("0", 19_000_000)},
		entry{name: "large.ipynb", text: strings.Repeat("0123456789abcdef", 100), size: 50_000_000_000},
		entry{name: "liar.ipynb", text: strings.Repeat("0", 30_000_000), size: 900_000},
	))
	put("mail/lab.ipynb.txt", []byte("txt"))
	put("mail/lab.json", []byte("{}"))
	put("mail/lab.rar", []byte("Rar!"))
	put("mail/.lab.ipynb", []byte("hidden"))
	put("mail/._lab.ipynb", []byte("of a system"))
	put("lone/own.csv", []byte("t (s)\n1\n"))
	put("packed.tar.gz", packed(tarball(t, entry{name: "./s4/four.ipynb", text: "four"}, entry{name: "s4/own.csv", text: "t (s)\n1\n"}, entry{name: "s4/.git/x.ipynb", text: "junk"}, entry{name: "s4/a.txt", text: "no"},
		entry{name: "../six.ipynb", text: "out"}, entry{name: "s4/link.ipynb", mode: fs.ModeSymlink | 0o777}, entry{name: "s5/deep.tar", text: string(tarball(t, entry{name: "five.ipynb", text: "five"}, entry{name: "in.tgz", text: "x"}))})))
	put("bomb.tgz", packed(tarball(t, entry{name: "a.ipynb", text: strings.Repeat("0", 60_000_000)})))
	put("cut.tar.gz", packed(tarball(t, entry{name: "a.ipynb", text: "a"}))[:40])
	put("no.tar", []byte("no archive"))
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
		"mail/lab.ipynb.txt: txt",
		"many.zip!/liar.ipynb: is damaged: its size or its checksum does not fit",
		"many.zip!/s1/one.ipynb: one",
		"many.zip!/s2/deep.zip!/two.ipynb: two",
		"many.zip!/s3/in/three.ipynb: three",
		"packed.tar.gz!/s4/four.ipynb: four",
		"packed.tar.gz!/s5/deep.tar!/five.ipynb: five",
		"plain/a.ipynb: a",
	}
	if !slices.Equal(found, want) {
		t.Errorf("found\n%s\nwant\n%s", strings.Join(found, "\n"), strings.Join(want, "\n"))
	}
	refusals := map[string]string{
		"many.zip!/../../escape.ipynb": "leads out", "many.zip!//etc/absolute.ipynb": "leads out", "many.zip!/../back.ipynb": "leads out", "many.zip!/C:drive.ipynb": "leads out",
		"many.zip!/link.ipynb": "a link", "many.zip!/bomb.ipynb": "grows more than", "many.zip!/large.ipynb": "grows more than", "many.zip!/s2/deep.zip!/in.zip": "in an archive in an archive",
		"many.zip!/s3/notes.pdf": "not a notebook", "plain/notes.txt": "not a notebook", "mail/lab.json": "not a notebook", "mail/lab.rar": "of a kind that is not read", "mail/.lab.ipynb": "hidden", "lone/own.csv": "nothing reads it",
		"packed.tar.gz!/s4/a.txt": "not a notebook", "packed.tar.gz!/../six.ipynb": "leads out", "packed.tar.gz!/s4/link.ipynb": "a link", "packed.tar.gz!/s5/deep.tar!/in.tgz": "in an archive in an archive",
		"bomb.tgz": "it unpacks to more than", "cut.tar.gz": "not a tar archive", "no.tar": "not a tar archive",
		"broken.zip": "not a zip archive", "cut.zip": "not a zip archive", "flood.zip": "more than 50000",
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
	if b, _ := c.beside(c.files[3]); c.files[3].place != "many.zip!/s1/one.ipynb" || len(b) != 1 {
		t.Errorf("beside %s lie %d recordings, want own.csv", c.files[3].place, len(b))
	} else if text, err := fs.ReadFile(b, "own.csv"); err != nil || string(text) != "t (s)\n1\n" {
		t.Errorf("own.csv is %q, %v", text, err)
	}
	if _, err := collect([]string{filepath.Join(dir, "nowhere")}, ""); !IsInput(err) {
		t.Errorf("a folder that is not there: %v", err)
	}
}

func tarball(t testing.TB, entries ...entry) []byte {
	t.Helper()
	var b bytes.Buffer
	w := tar.NewWriter(&b)
	for _, e := range entries {
		h := &tar.Header{Name: e.name, Mode: 0o600, Size: int64(len(e.text)), Typeflag: tar.TypeReg}
		if e.mode&fs.ModeSymlink != 0 {
			h.Typeflag, h.Linkname = tar.TypeSymlink, "/etc/passwd"
		}
		if err := w.WriteHeader(h); err != nil {
			t.Fatal(err)
		}
		io.WriteString(w, e.text)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func packed(text []byte) []byte {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	w.Write(text)
	w.Close()
	return b.Bytes()
}

// A tar archive whose file is mostly holes says that it is small and reads as large.
func TestTarHoles(t *testing.T) {
	// The header of a file with one hole of 10 GB (PAX, GNU.sparse 1.0), as the standard
	// library reads it.
	sparse := "1\n10000000000\n0\n"
	var b bytes.Buffer
	w := tar.NewWriter(&b)
	record := func(k, v string) string {
		for n := len(k) + len(v) + 3; ; n++ {
			if s := fmt.Sprintf("%d %s=%s\n", n, k, v); len(s) == n {
				return s
			}
		}
	}
	pax := record("GNU.sparse.major", "1") + record("GNU.sparse.minor", "0") + record("GNU.sparse.name", "a.ipynb") + record("GNU.sparse.realsize", "10000000000")
	raw := func(name string, kind byte, text string) {
		h := make([]byte, 512)
		copy(h, name)
		copy(h[100:], "0000600\x000000000\x000000000\x00")
		copy(h[124:], fmt.Sprintf("%011o\x00", len(text)))
		copy(h[136:], "00000000000\x00        ")
		h[156] = kind
		copy(h[257:], "ustar\x0000")
		sum := 0
		for _, c := range h {
			sum += int(c)
		}
		copy(h[148:], fmt.Sprintf("%06o\x00 ", sum))
		b.Write(h)
		b.WriteString(text)
		b.Write(make([]byte, (512-len(text)%512)%512))
	}
	raw("PaxHeaders/a", 'x', pax)
	raw("a.ipynb", '0', sparse+strings.Repeat("\x00", 512-len(sparse)))
	w.Close()
	if _, err := tar.NewReader(bytes.NewReader(b.Bytes())).Next(); err != nil {
		t.Fatalf("the standard library does not take the archive: %v", err)
	}
	if _, err := openTar(bytes.NewReader(b.Bytes()), int64(b.Len()), mostInner); err == nil || !strings.Contains(err.Error(), "unpacks to more than 50 MB") {
		t.Errorf("an archive of holes: %v", err)
	}
}

// A named pipe, named or found, holds nobody up.
func TestPipes(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"x.ipynb", "x.zip", "x.tar.gz", "x.csv"} {
		path := pipe(t, filepath.Join(dir, name))
		if _, err := collect([]string{path}, ""); !IsInput(err) || !strings.Contains(err.Error(), "not an ordinary file") {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := readFile(path, 1000); err == nil {
			t.Errorf("%s was read", name)
		}
	}
	c, err := collect([]string{dir}, "")
	if err != nil || len(c.files) != 0 || len(c.refused) != 4 {
		t.Errorf("a folder of pipes: %+v, %v", c, err)
	}
}

// One box with a flood of files leaves the others' told.
func TestManyRefused(t *testing.T) {
	dir := t.TempDir()
	for i := range 120 {
		name := filepath.Join(dir, "s01", fmt.Sprintf("%03d", i), "x.txt")
		if i == 77 {
			name = filepath.Join(dir, "s02", "y.txt")
		}
		if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var flood []entry
	for i := range 500 {
		flood = append(flood, entry{name: fmt.Sprintf("s02/%d.txt", i)})
	}
	if err := os.WriteFile(filepath.Join(dir, "s01", "flood.zip"), archive(t, flood...), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := collect([]string{dir}, "")
	if err != nil {
		t.Fatal(err)
	}
	defer c.close()
	last, told := "", false
	for _, r := range c.refused {
		told = told || r.place == "s02/y.txt"
		if r.box == filepath.Base(dir)+"/s01" {
			last = r.why
		}
	}
	if !told || len(c.refused) > 140 || !strings.HasSuffix(last, "(and 480 more beside it that are not read)") {
		t.Errorf("%d refusals, that of another student told: %v; the last one of the flood says %q", len(c.refused), told, last)
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
