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
	// The last Go code of the page changes a lab of ours; TestBankWords has the other.
	all := strings.Split(string(readme), "```go\npackage bank")
	code, _, ok := strings.Cut(all[len(all)-1], "\n```")
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

// The compiler's messages name the files where they are, however the go command shortens
// their paths: beside the clone the folder may have a name that begins with the clone's.
func TestBankMessages(t *testing.T) {
	at := func(parts ...string) string {
		return filepath.Join(append([]string{string(filepath.Separator) + "home"}, parts...)...)
	}
	dir, clone := at("gravlab-bank"), at("gravlab")
	inside := filepath.Join(clone, "gravlab", "own")
	want := filepath.Join(dir, "plumb.go") + ":3:1: undefined: x"
	for _, path := range []string{
		filepath.Join(inside, "plumb.go"), filepath.Join("gravlab", "own", "plumb.go"), filepath.Join("..", "gravlab-bank", "plumb.go"),

		filepath.Join(".-bank", "plumb.go"), filepath.Join(dir, "plumb.go"),
	} {
		if got := (Bank{Dir: dir}).explain("# bank\n"+path+":3:1: undefined: x\n", inside, clone); got != want {
			t.Errorf("%s is told as %q, want %q", path, got, want)
		}
	}
}

// The text files of a bank are compiled in as well, also those one level down, and what
// does not fit is told with file and line.
func TestBankWords(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program three times")
	}
	clone, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	const example = "../../exercises/testdata/plumb/"
	for _, c := range []struct {
		name, words string // where the text file goes
		change      func(goFile, text string) (string, string)
		want        string
	}{
		{"as it is", "period.md", func(g, m string) (string, string) { return g, m }, "91/period"},
		{"one level down", "plumb/period.md", func(g, m string) (string, string) {
			g = strings.Replace(g, "go:embed *.md", "go:embed plumb/*.md", 1)
			g = strings.Replace(g, "bank.ReadWords(files)", "bank.ReadWords(sub())", 1)
			g = strings.Replace(g, "\t\"embed\"\n", "\t\"embed\"\n\t\"io/fs\"\n", 1)
			return g + "\nfunc sub() fs.FS {\n\ts, err := fs.Sub(files, \"plumb\")\n\tif err != nil {\n\t\tpanic(err)\n\t}\n\treturn s\n}\n", m
		}, "91/period"},
		{"a misspelt field", "period.md", func(g, m string) (string, string) {
			return g, strings.Replace(m, "[[fixed .length 2]]", "[[fixed .lenght 2]]", 1)
		}, `period.md:3: there is no field "lenght"`},
	} {
		dir := t.TempDir()
		source, err := os.ReadFile(example + "plumb.go")
		if err != nil {
			t.Fatal(err)
		}
		text, err := os.ReadFile(example + "period.md")
		if err != nil {
			t.Fatal(err)
		}
		g, m := c.change(string(source), string(text))
		for name, text := range map[string]string{"plumb.go": g, c.words: m} {
			path := filepath.Join(dir, name)
			if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		b, err := ReadBank(dir)
		if err != nil {
			t.Fatal(err)
		}
		program, err := b.Program(t.Context(), clone)
		if err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(program, "questions", "--bank", dir, "91").CombinedOutput()
		if !strings.Contains(string(out), c.want) {
			t.Errorf("%s: %v\n%s", c.name, err, out)
		}
	}
}

// A folder that is no bank is refused at once, whatever is in it.
func TestHostileBankFolder(t *testing.T) {
	for what, make := range map[string]func(path string){
		"not an ordinary file": func(path string) { pipe(t, path) },
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
