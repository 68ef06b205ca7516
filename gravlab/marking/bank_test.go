package marking

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The bank of exercises/README.md is compiled into the program, and one that does not
// compile is told by its own line.
func TestBank(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program twice")
	}
	readme, err := os.ReadFile("../../exercises/README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(readme), "```go\npackage bank")
	code, _, ok := strings.Cut(rest, "\n```")
	if !ok {
		t.Fatal("the README has no package bank")
	}
	clone, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	build := func(text string) (string, error) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, "bank.go"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		b, err := ReadBank(dir)
		if err != nil {
			t.Fatal(err)
		}
		return b.Program(t.Context(), clone)
	}
	program, err := build("package bank" + code + "\n")
	if err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(program, "questions", "01").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "01/kappa") {
		t.Errorf("the program with the bank: %v\n%s", err, out)
	}
	if _, err := build("package bank\n\nfunc Labs() int { return \"x\" }\n"); !IsInput(err) || !strings.Contains(err.Error(), filepath.Join(dir, "bank.go")+":3") {
		t.Errorf("a bank that does not compile: %v", err)
	}
	if _, err := ReadBank(t.TempDir()); !IsInput(err) {
		t.Errorf("an empty folder: %v", err)
	}
}

// A folder that is no bank is refused at once, whatever is in it.
func TestHostileBankFolder(t *testing.T) {
	for what, make := range map[string]func(path string){
		"no ordinary file": func(path string) { pipe(t, path) },
		"more than 10 MB": func(path string) {
			if err := os.WriteFile(path, nil, 0o600); err != nil {
				t.Fatal(err)
			}
			if err := os.Truncate(path, 5_000_000_000); err != nil {
				t.Fatal(err)
			}
		},
	} {
		dir := t.TempDir()
		make(filepath.Join(dir, "bank.go"))
		if _, err := ReadBank(dir); !IsInput(err) || !strings.Contains(err.Error(), what) {
			t.Errorf("%v, want %q", err, what)
		}
	}
}
