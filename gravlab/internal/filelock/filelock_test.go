package filelock

import (
	"path/filepath"
	"strings"
	"testing"
)

func TestClaim(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	t.Setenv("LocalAppData", t.TempDir())
	path := filepath.Join(t.TempDir(), "lab.ipynb")
	release, err := Claim(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Claim(path); err == nil || !strings.Contains(err.Error(), "another run") {
		t.Errorf("a second claim gives %v, want that another run is writing", err)
	}
	if other, err := Claim(path + "2"); err != nil {
		t.Errorf("another file: %v", err)
	} else {
		other()
	}
	release()
	again, err := Claim(path)
	if err != nil {
		t.Fatalf("after the release: %v", err)
	}
	again()
}
