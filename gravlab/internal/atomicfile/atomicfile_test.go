package atomicfile

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestWriteFileReplaces(t *testing.T) {
	path := filepath.Join(t.TempDir(), "marks.csv")
	for _, want := range []string{"first, and longer", "second"} {
		if err := WriteFile(path, []byte(want), 0o640); err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if string(got) != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if info.Mode().Perm()&0o600 != 0o600 {
		t.Errorf("mode %v, want readable and writable by the owner", info.Mode())
	}
	onlyFile(t, path)
}

func TestFailureLeavesTheOldFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "marks.csv")
	if err := WriteFile(path, []byte("old"), 0o644); err != nil {
		t.Fatal(err)
	}
	stop := errors.New("stopped half way")
	err := Write(path, 0o644, func(w io.Writer) error {
		io.WriteString(w, "ne")
		return stop
	})
	if !errors.Is(err, stop) {
		t.Fatalf("error %v, want one that wraps %v", err, stop)
	}
	if !strings.Contains(err.Error(), path) {
		t.Errorf("error %q does not name %s", err, path)
	}
	got, _ := os.ReadFile(path)
	if string(got) != "old" {
		t.Errorf("after a failure the file holds %q, want the old content", got)
	}
	onlyFile(t, path)
}

func TestMissingFolder(t *testing.T) {
	path := filepath.Join(t.TempDir(), "none", "a")
	if err := WriteFile(path, nil, 0o644); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("error %v, want one that wraps os.ErrNotExist", err)
	}
}

// onlyFile fails when the folder of path holds anything besides path.
func onlyFile(t *testing.T, path string) {
	t.Helper()
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	if len(entries) != 1 || entries[0].Name() != filepath.Base(path) {
		t.Errorf("the folder holds %v, want %s alone", entries, filepath.Base(path))
	}
}

func TestFreeName(t *testing.T) {
	dir := t.TempDir()
	name := func(n int) string { return filepath.Join(dir, strings.Repeat("a", n)) }
	if got := FreeName(name); got != name(1) {
		t.Errorf("%s in an empty folder", got)
	}
	// A link that leads nowhere is something too.
	if err := os.WriteFile(name(1), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("nowhere", name(2)); err != nil {
		t.Skipf("this system makes no symbolic links for us: %v", err)
	}
	if got := FreeName(name); got != name(3) {
		t.Errorf("%s beside a file and a link", got)
	}
}
