package webassets

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/gravlab/page/web"
)

// The lockfile pins every package by its checksum and names no host, so that
// npm asks the registry that its user has set.
func TestLockfile(t *testing.T) {
	text, err := web.Files.ReadFile("package-lock.json")
	if err != nil {
		t.Fatal(err)
	}
	lock := string(text)
	if strings.Contains(lock, "http") || strings.Contains(lock, `"resolved"`) {
		t.Error("the lockfile names a host")
	}
	packages, sums := strings.Count(lock, `"node_modules/`), strings.Count(lock, `"integrity"`)
	if packages < 10 || sums != packages {
		t.Errorf("%d packages, %d checksums", packages, sums)
	}
}

// Without npm there is nothing to build with, and the caller is told which
// error it is.
func TestWithoutNPM(t *testing.T) {
	cache := t.TempDir()
	t.Setenv("XDG_CACHE_HOME", cache)
	t.Setenv("HOME", cache)
	t.Setenv("LocalAppData", cache)
	t.Setenv("PATH", t.TempDir())
	_, err := Build(context.Background(), func(string) { t.Error("it said that it builds") })
	if !errors.Is(err, ErrNoNPM) {
		t.Errorf("error %v, want ErrNoNPM", err)
	}
	if ECharts() != "" {
		t.Error("charts out of an empty cache")
	}
}

func TestBuild(t *testing.T) {
	if _, err := exec.LookPath("npm"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("npm is not on the path")
		}
		t.Skip("npm is not on the path, so neither editor nor charts can be built")
	}
	if testing.Short() {
		t.Skip("the first build fetches packages and takes half a minute")
	}
	dir, err := Build(context.Background(), func(s string) { t.Log(s) })
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{Editor: "export{", Charts: "5.6.0", Axe: "axe", Terms: "MIT"} {
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Error(err)
		} else if !strings.Contains(string(text), want) {
			t.Errorf("%s does not hold %q", name, want)
		}
	}
	if len(ECharts()) < 500_000 {
		t.Errorf("ECharts has %d bytes", len(ECharts()))
	}
	again, err := Build(context.Background(), func(string) { t.Error("it built again") })
	if err != nil || again != dir {
		t.Errorf("second build: %s, %v", again, err)
	}
}
