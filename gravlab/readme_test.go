package gravlab_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestProgramOfYourOwn does what README.md says about a program of one's own, line
// by line, in a folder beside the clone and without a network.
func TestProgramOfYourOwn(t *testing.T) {
	readme, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, _ := strings.Cut(string(readme), "\n## The models in a program of your own\n")
	section, _, _ = strings.Cut(section, "\n## ")
	block := func(kind string) string {
		_, rest, ok := strings.Cut(section, "```"+kind+"\n")
		text, _, closed := strings.Cut(rest, "```")
		if !ok || !closed {
			t.Fatalf("the section has no block of %s", kind)
		}
		return text
	}
	clone, err := filepath.Abs("..")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	run := func(args ...string) string {
		cmd := exec.Command(args[0], args[1:]...)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "GOPROXY=off", "GOFLAGS=", "GOWORK=", "PWD="+dir)
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v\n%s", strings.Join(args, " "), err, out)
		}
		return string(out)
	}
	commands := 0
	for line := range strings.Lines(section) {
		line, indented := strings.CutPrefix(strings.TrimRight(line, "\r\n"), "    ")
		if !indented || !strings.HasPrefix(line, "go ") {
			continue
		}
		commands++
		run(strings.Fields(strings.ReplaceAll(line, "../gravlab", clone))...)
	}
	if commands != 2 {
		t.Errorf("%d commands were found, want two", commands)
	}
	if err := os.WriteFile(filepath.Join(dir, "main.go"), []byte(block("go")), 0o600); err != nil {
		t.Fatal(err)
	}
	if got, want := run("go", "run", "."), block("text"); got != want {
		t.Errorf("the program prints %q, want %q", got, want)
	}
	run("go", "vet", ".")
}
