package gravlab_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/testdata"
)

// TestEveryTableHasASource reads every table of testdata, and looks for its
// source. (It stands here because go test ./... passes folders named testdata
// over.)
func TestEveryTableHasASource(t *testing.T) {
	sources, err := os.ReadFile("../testdata/SOURCES.md")
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob("../testdata/*.csv")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d tables, %v", len(files), err)
	}
	for _, path := range files {
		name := filepath.Base(path)
		listed := strings.Contains(string(sources), "`"+name+"`") || strings.HasPrefix(name, "nist_strd_") && strings.Contains(string(sources), "`nist_strd_*.csv`")
		if !listed {
			t.Errorf("SOURCES.md does not say where %s comes from", name)
		}
		if rows := testdata.Table(name); len(rows) == 0 {
			t.Errorf("%s is empty", name)
		}
	}
}
