package banktest

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/notebook"
)

// worked puts the worked solutions of 20 sheets (3 with -short) into the lab's notebook
// and expects that each notebook is a program that compiles and passes go vet, with the imports
// that the notebook has.
//
// The cells of one sheet become one package: what stands above %% in a cell are
// declarations, what stands below is the body of a function. The packages stand in a module of
// their own in a temporary folder, which has the versions of this one.
func worked(t *testing.T, lab bank.Lab) {
	root := moduleRoot(t)
	dir := t.TempDir()
	sheets := 20
	if testing.Short() {
		sheets = 3
	}
	for n := range sheets {
		code := bank.Code("")
		if n > 0 {
			code = bank.NumberedCode(lab.ID, n)
		}
		nb, err := notebook.ReadFile(filepath.Join(root, "notebooks", lab.ID+".ipynb"), notebook.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := lab.Sheet(code).Fill(nb, true); err != nil {
			t.Fatal(err)
		}
		folder := filepath.Join(dir, fmt.Sprintf("sheet%02d", n))
		if err := os.Mkdir(folder, 0o755); err != nil {
			t.Fatal(err)
		}
		var imports []*ast.ImportSpec
		for i, c := range nb.Cells {
			if c.Kind != notebook.Code {
				continue
			}
			id, _, _ := c.Question()
			name := strings.NewReplacer("/", "_", "-", "_").Replace(fmt.Sprintf("cell%d_%s_", i+1, id))
			source, seen, err := program(c.Source, fmt.Sprintf("cell%d", i+1), imports)
			if err != nil {
				t.Errorf("%s on sheet %q: cell %d %s: %v:\n%s", lab.ID, code, i+1, id, err, c.Source)
				continue
			}
			imports = append(imports, seen...)
			write(t, filepath.Join(folder, name+".go"), source)
		}
	}
	if t.Failed() {
		return
	}
	mod, err := os.ReadFile(filepath.Join(root, "go.mod"))
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(mod), "module gravity.example", "module worked.example", 1) +
		fmt.Sprintf("\nrequire gravity.example v0.0.0\n\nreplace gravity.example => %q\n", filepath.ToSlash(root))
	write(t, filepath.Join(dir, "go.mod"), []byte(text))
	sum, err := os.ReadFile(filepath.Join(root, "go.sum"))
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "go.sum"), sum)
	vet := exec.Command("go", "vet", "./...")
	vet.Dir = dir
	vet.Env = append(os.Environ(), "GOWORK=off", "GOFLAGS=-mod=mod", "GOPROXY=off")
	if out, err := vet.CombinedOutput(); err != nil {
		t.Errorf("go vet of the worked solutions of lab %s: %v\n%s", lab.ID, err, out)
	}
}

func write(t *testing.T, path string, text []byte) {
	if err := os.WriteFile(path, text, 0o644); err != nil {
		t.Fatal(err)
	}
}

// moduleRoot is the folder of the module that the test runs in.
func moduleRoot(t *testing.T) string {
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "gravity.example").Output()
	if err != nil {
		t.Fatalf("go list -m: %v", err)
	}
	return strings.TrimSpace(string(out))
}

// program makes a Go file of a cell, with those of the imports of the cells above that it
// uses, and returns the imports of its own.
func program(cell, function string, above []*ast.ImportSpec) ([]byte, []*ast.ImportSpec, error) {
	declarations, body, isProgram := strings.Cut("\n"+cell, "\n%%\n")
	source := declarations
	if isProgram {
		source += fmt.Sprintf("\nfunc %s() {\n%s\n}\n", function, body)
	}
	file, err := parser.ParseFile(token.NewFileSet(), "", "package sheet\n"+source, 0)
	if err != nil {
		return nil, nil, err
	}
	// Names that the file does not declare are packages.
	head := "package sheet\n"
	own := file.Imports
	if len(own) > 0 {
		// The cell that imports for all others uses some of them only.
		source = regexp.MustCompile(`(?s)^\s*import \(.*?\n\)`).ReplaceAllString(source, "")
	}
	for _, spec := range append(slices.Clone(above), own...) {
		imported, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			return nil, nil, err
		}
		name := path.Base(strings.TrimSuffix(imported, "/v2"))
		if slices.ContainsFunc(file.Unresolved, func(id *ast.Ident) bool { return id.Name == name }) {
			head += "import " + spec.Path.Value + "\n"
		}
	}
	return []byte(head + source), own, nil
}
