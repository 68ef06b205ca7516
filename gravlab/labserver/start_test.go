package labserver

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/gravlab/wire"
)

func TestStart(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s")
	o := Options{Socket: path, InMemory: true}
	b, err := Start(o)
	if err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("socket %v, %v; want it for its owner alone", info.Mode(), err)
	}
	if _, err := Start(o); err == nil || !strings.Contains(err.Error(), "another lab server listens") {
		t.Errorf("a second lab server: %v", err)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("the socket is left")
	}
	// A file that a killed lab server has left is no hindrance; another file is.
	if err := os.WriteFile(path, []byte("precious"), 0o600); err != nil {
		t.Fatal(err)
	}
	if b, err := Start(o); err == nil {
		b.Close()
		t.Error("a file was replaced by the socket")
	}
	if _, err := Start(Options{Socket: "/" + strings.Repeat("long/", 40), InMemory: true}); err == nil || !strings.Contains(err.Error(), "TMPDIR") {
		t.Errorf("a long path: %v", err)
	}
}

// A long TMPDIR, as some systems have, does not keep the lab server from starting,
// and nothing is left behind.
func TestLongTemporaryFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), strings.Repeat("x", 100))
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	t.Setenv("TMPDIR", dir)
	b, err := Start(Options{InMemory: true})
	if err != nil {
		t.Fatal(err)
	}
	socket := b.Socket()
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(filepath.Dir(socket)); err == nil {
		t.Error("the socket's folder is left")
	}
	if left, _ := os.ReadDir(dir); len(left) != 0 {
		t.Errorf("%d files left in TMPDIR", len(left))
	}
}

// Summaries lists the sheets that answers came in for, in order, and no others.
func TestSummaries(t *testing.T) {
	d := newDesk(t, Options{InMemory: true}, SessionOptions{})
	d.ask(t, wire.Frame{Head: wire.Head{Kind: wire.Done, Lab: "01"}})
	d.ask(t, numberFrame("01", "kappa", 0, 0, "N m/rad"))
	choose(t, d, "a")
	sums, err := d.bench.Summaries()
	if err != nil || len(sums) != 2 || sums[0].Lab.Number() != "01" || sums[1].Marks != 1 || len(sums[1].Left()) != 3 {
		t.Errorf("%+v, %v", sums, err)
	}
	// Confined programs know nothing of each other.
	other := deskOf(d.bench, SessionOptions{Confined: true})
	if sums, _ := other.Summaries(); len(sums) != 0 {
		t.Errorf("a confined session begins with %+v", sums)
	}
}
