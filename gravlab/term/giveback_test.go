package term

import (
	"archive/zip"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gravity.example/gravlab/marking"
)

// listed are the files of an archive with the beginnings of their texts.
func listed(t testing.TB, path string) []string {
	t.Helper()
	z, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	var all []string
	for _, f := range z.File {
		in, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(in)
		if err != nil {
			t.Fatal(err)
		}
		in.Close()
		all = append(all, f.Name+": "+string(text))
	}
	return all
}

// The replies go back in folders named as they came, in one archive or in one for each student.
func TestGiveBack(t *testing.T) {
	dir := t.TempDir()
	book(t, dir, "m1", "01-one", sheet{id: "s1", a: 6, b: 4}, sheet{id: "s2", a: 1, b: 1}, sheet{id: "s3", a: 1, b: 1},
		sheet{id: "s4", state: marking.Missing}, sheet{id: "g5", members: []string{"s5", "s6"}})
	b, err := marking.ReadBook(filepath.Join(dir, "m1"))
	if err != nil {
		t.Fatal(err)
	}
	for i, folder := range []string{"Zoë Brûlé_441_file", "lab", "LAB", "", "group 5"} {
		b.Rows[i].Folder = folder
	}
	for _, form := range []string{"", "short", "large"} {
		for _, id := range []string{"s1", "s2", "s3", "g5"} {
			put(t, dir, "m1/replies/"+form+"/"+id+".html", id+form)
		}
	}
	put(t, dir, "term/pages/s1.html", "the term of s1")
	put(t, dir, "term/pages/s6.html", "the term of s6")
	g := GiveBack{Book: b, Forms: []string{marking.WholeReply, marking.ShortReply}, Large: map[string]bool{"s2": true}, Pages: filepath.Join(dir, "term"), Out: filepath.Join(dir, "all.zip")}
	write := func() {
		t.Helper()
		if given, none, err := g.Write(); err != nil || given != 4 || none != 1 {
			t.Fatalf("%d given, %d not, %v", given, none, err)
		}
	}
	write()
	want := []string{
		"Zoë Brûlé_441_file/reply-01.html: s1", "Zoë Brûlé_441_file/reply-01-short.html: s1short", "Zoë Brûlé_441_file/term-s1.html: the term of s1",
		"s2/reply-01.html: s2", "s2/reply-01-short.html: s2short", "s2/reply-01-large.html: s2large",
		"s3/reply-01.html: s3", "s3/reply-01-short.html: s3short",
		"group 5/reply-01.html: g5", "group 5/reply-01-short.html: g5short", "group 5/term-s6.html: the term of s6",
	}
	if got := listed(t, g.Out); !slices.Equal(got, want) {
		t.Errorf("the archive has\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	once, err := os.ReadFile(g.Out)
	if err != nil {
		t.Fatal(err)
	}
	write()
	if again, err := os.ReadFile(g.Out); err != nil || string(again) != string(once) {
		t.Error("the same replies give other bytes")
	}
	g.Each, g.Out = true, filepath.Join(dir, "each")
	write()
	names, err := filepath.Glob(filepath.Join(g.Out, "*"))
	if err != nil {
		t.Fatal(err)
	}
	for i := range names {
		names[i] = filepath.Base(names[i])
	}
	if want := []string{"Zoë Brûlé_441_file.zip", "s2.zip", "s3.zip", "s5.zip", "s6.zip"}; !slices.Equal(names, want) {
		t.Errorf("the archives are %q, want %q", names, want)
	}
	if err := os.Remove(filepath.Join(dir, "m1", "replies", "short", "s3.html")); err != nil {
		t.Fatal(err)
	}
	if _, _, err := g.Write(); !marking.IsInput(err) || !strings.Contains(err.Error(), "has lost a reply to s3") {
		t.Errorf("a reply that is lost: %v", err)
	}
}
