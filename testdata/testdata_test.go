package testdata

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestEveryFileHasASource holds the folder to its word, and reads every table.
func TestEveryFileHasASource(t *testing.T) {
	sources, err := os.ReadFile("SOURCES.md")
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob("*.csv")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d tables, %v", len(files), err)
	}
	for _, name := range files {
		listed := strings.Contains(string(sources), "`"+name+"`") || strings.HasPrefix(name, "nist_strd_") && strings.Contains(string(sources), "`nist_strd_*.csv`")
		if !listed {
			t.Errorf("SOURCES.md does not say where %s comes from", name)
		}
		if rows := Table(name); len(rows) == 0 {
			t.Errorf("%s is empty", name)
		}
	}
}
