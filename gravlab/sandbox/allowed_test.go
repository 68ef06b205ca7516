package sandbox

import (
	"slices"
	"testing"

	"gravity.example/gravlab/internal/refcases"
)

// TestModelsMayBeImported: a cell may import every package that has known answers.
func TestModelsMayBeImported(t *testing.T) {
	for _, g := range refcases.All() {
		if !slices.Contains(allowed, module+"/gravlab/"+g.Model) {
			t.Errorf("cells may not import %s: put it into the list allowed", g.Model)
		}
	}
}
