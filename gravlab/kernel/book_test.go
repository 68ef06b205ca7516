package kernel

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/gravlab/notebook"
)

// book makes a notebook of code cells.
func book(kernel, language string, cells ...string) *notebook.Notebook {
	nb := notebook.New(kernel, kernel, language)
	for i, source := range cells {
		nb.Cells = append(nb.Cells, notebook.NewCell(notebook.Code, fmt.Sprintf("cell-%d", i+1), source))
	}
	return nb
}

// printed returns what a cell wrote to its standard output.
func printed(c *notebook.Cell) string {
	var text strings.Builder
	for _, o := range c.Outputs {
		if o.Kind == notebook.Stream && o.Name == "stdout" {
			text.WriteString(o.Text)
		}
	}
	return text.String()
}

// needGoNB skips the test where no kernel can run.
func needGoNB(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("starts real kernels, which takes seconds: not run with -short")
	}
	clone, err := FindClone(nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tools(t.Context(), clone, nil); err != nil {
		t.Fatal(err)
	}
}

// ownCache gives the test a cache in which it may install, with the tools that
// are built already.
func ownCache(t *testing.T) {
	t.Helper()
	base, err := os.UserCacheDir()
	if err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("go", "env", "GOCACHE").Output()
	if err != nil {
		t.Fatal(err)
	}
	t.Setenv("GOCACHE", strings.TrimSpace(string(out)))
	own := t.TempDir()
	t.Setenv("XDG_CACHE_HOME", own)
	if err := os.MkdirAll(filepath.Join(own, "gravlab"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"tools", "gopls-" + goplsVersion} {
		if _, err := os.Stat(filepath.Join(base, "gravlab", name)); err != nil {
			continue
		}
		if err := os.Symlink(filepath.Join(base, "gravlab", name), filepath.Join(own, "gravlab", name)); err != nil {
			t.Fatal(err)
		}
	}
}
