package show

import (
	"os/exec"
	"strings"
	"testing"
)

// What every cell links stays thin: the linker is most of the time that a cell
// takes. What of the standard library is too heavy, package sandbox says.
func TestCellsStayThin(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "gravity.example/gravlab/ask", "gravity.example/gravlab/show").Output()
	if err != nil {
		t.Fatal(err)
	}
	ours := 0
	for _, p := range strings.Fields(string(out)) {
		switch {
		case strings.HasPrefix(p, "gravity.example/"):
			ours++
		case strings.Contains(strings.Split(p, "/")[0], "."):
			t.Errorf("a cell links %s, which is not of the standard library", p)
		}
	}
	if ours != 4 { // ask, show, frame, figure
		t.Errorf("a cell links %d packages of this module, want 4", ours)
	}
}
