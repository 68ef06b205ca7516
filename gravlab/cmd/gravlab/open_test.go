package main

import (
	"path/filepath"
	"strings"
	"testing"
)

// A page that has lost the program names the command that its reader typed, with
// the port at which their tabs look for it.
func TestStartAgain(t *testing.T) {
	clone, err := filepath.Abs("../../..")
	if err != nil {
		t.Fatal(err)
	}
	// What `go run` makes lies in a folder go-build…, as a test's program does; its
	// reader is in this folder.
	const again = "go run ."
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"gravlab", "open"}, again + " open --port 7"},
		{[]string{"gravlab", "open", "--kernel", "my lab.ipynb"}, again + ` open --kernel "my lab.ipynb" --port 7`},
		{[]string{"gravlab", "open", "-port=9"}, again + " open -port=9"},
		{[]string{"gravlab", "open", "--port", "9"}, again + " open --port 9"},
	} {
		if got := startAgain(c.args, clone, 7); got != c.want {
			t.Errorf("%q is started again by %q, want %q", c.args, got, c.want)
		}
	}
	t.Chdir(clone)
	if got, want := startAgain([]string{"gravlab", "open"}, clone, 7), "go run ./gravlab/cmd/gravlab open --port 7"; filepath.ToSlash(got) != want {
		t.Errorf("in the clone it is %q, want %q", got, want)
	}
	t.Chdir(t.TempDir())
	if got := startAgain([]string{"gravlab", "open"}, clone, 7); !strings.Contains(got, "gravlab") {
		t.Errorf("elsewhere it is %q", got)
	}
}
