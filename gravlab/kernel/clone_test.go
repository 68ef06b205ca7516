package kernel

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestFindClone is about which folder is taken for the clone, and what is said
// about others.
func TestFindClone(t *testing.T) {
	folder := func(module string) string {
		t.Helper()
		dir := t.TempDir()
		if module != "" {
			if err := os.WriteFile(filepath.Join(dir, "go.mod"), []byte(module), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if err := os.Mkdir(filepath.Join(dir, "inside"), 0o755); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	ours := folder("module gravity.example\r\n\r\ngo 1.26\r\n") // as some editors end lines
	planted := folder("module gravity.example\n")
	other := folder("module example.com/other\n")
	nothing := folder("")
	moved := filepath.Join(nothing, "moved")
	for _, c := range []struct {
		name                  string
		asked, built, current string
		want                  string // folder
		told, err             string // contained in what is told, and in the error
	}{
		{"in the clone", "", ours, ours, ours, "", ""},
		{"inside the clone", "", ours, filepath.Join(ours, "inside"), ours, "", ""},
		{"elsewhere", "", ours, nothing, ours, "", ""},
		{"in a planted folder", "", ours, planted, ours, "another clone at " + planted, ""},
		{"below a planted folder", "", ours, filepath.Join(planted, "inside"), ours, "another clone at " + planted, ""},
		{"the other one asked for", planted, ours, planted, planted, "", ""},
		{"asked for what is none", other, ours, ours, "", "", `GRAVLAB_CLONE: ` + filepath.Join(other, "go.mod") + ` is of the module "example.com/other"`},
		{"asked for what is gone", moved, ours, ours, "", "", "if the clone has moved"},
		{"moved", "", moved, nothing, "", "", "set GRAVLAB_CLONE to the folder of your clone"},
		{"moved, and in a clone", "", moved, filepath.Join(planted, "inside"), "", "", "there is a clone at " + planted + ": if it is yours, set GRAVLAB_CLONE to it"},
		{"another module at its place", "", other, nothing, "", "", `is of the module "example.com/other"`},
		{"built with -trimpath", "", "", nothing, "", "", "-trimpath; set GRAVLAB_CLONE"},
		{"built with -trimpath, in a clone", "", "", planted, "", "", "there is a clone at " + planted},
	} {
		t.Run(c.name, func(t *testing.T) {
			told := ""
			got, err := findClone(c.asked, c.built, c.current, func(text string) { told += text })
			if got != c.want {
				t.Errorf("found %q, want %q", got, c.want)
			}
			if c.told == "" && told != "" || !strings.Contains(told, c.told) {
				t.Errorf("told %q, want %q in it", told, c.told)
			}
			if c.err != "" {
				wantError(t, err, c.err)
			} else if err != nil {
				t.Error(err)
			}
		})
	}
}

// TestBuiltFrom: this test is built in the clone.
func TestBuiltFrom(t *testing.T) {
	root, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	t.Setenv(CloneEnv, "")
	if got, err := FindClone(nil); err != nil || !same(got, root) {
		t.Errorf("found %q (%v), want %q", got, err, root)
	}
}

func wantError(t *testing.T, err error, want string) {
	t.Helper()
	if err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("error %v, want %q in it", err, want)
	}
}
