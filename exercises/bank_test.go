package exercises

import (
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/gravlab/notebook"
)

// TestNotebooksCarryTheBank renders the question cells of the repository's
// notebooks again: nothing may change.
func TestNotebooksCarryTheBank(t *testing.T) {
	for _, lab := range Labs() {
		path := filepath.Join("..", "notebooks", lab.ID+".ipynb")
		nb, err := notebook.ReadFile(path, notebook.Options{NeedKernel: true})
		if err != nil {
			t.Error(err)
			continue
		}
		before, err := nb.Bytes()
		if err != nil {
			t.Error(err)
			continue
		}
		kept, err := lab.Sheet("").Fill(nb, false)
		if err != nil {
			t.Error(err)
			continue
		}
		after, err := nb.Bytes()
		if err != nil {
			t.Error(err)
		}
		if len(kept) > 0 {
			t.Errorf("%s: the answer cells of %s hold something else than the stub", path, strings.Join(kept, ", "))
		}
		if string(before) != string(after) {
			t.Errorf("%s does not carry the bank's questions; run: go run ./gravlab/cmd/gravlab questions --into notebooks/%s.ipynb", path, lab.ID)
		}
		for i, c := range nb.Cells {
			if len(c.Outputs) > 0 || c.Run != 0 {
				t.Errorf("%s: cell %d holds outputs", path, i+1)
			}
		}
	}
}
