package main

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
)

// TestReadmeCode does with every block of Go in the READMEs what its reader would: a bank
// is handed out and marked, a function that makes a lab becomes a bank, and lines of
// a cell are compiled. The program in README.md is run by TestProgramOfYourOwn of the
// root package, and the commands by .ci/fresh.
func TestReadmeCode(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program with banks, and marks with it")
	}
	clone, err := filepath.Abs("../../..")
	if err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(t.TempDir(), "gravlab")
	succeed(t, clone, "go", "build", "-o", program, "./gravlab/cmd/gravlab")
	kinds := map[string]int{}
	for _, name := range []string{"README.md", "exercises/README.md", "notebooks/README.md"} {
		readme, err := os.ReadFile(filepath.Join(clone, filepath.FromSlash(name)))
		if err != nil {
			t.Fatal(err)
		}
		rest, texts := textFiles(string(readme))
		for i, block := range blocks(t, name, rest) {
			kind := "cell"
			switch maker := regexp.MustCompile(`(?m)^func (\w+)\(\) bank\.Lab `).FindStringSubmatch(block); {
			case strings.Contains(block, "package main"):
				kind = "program"
			case strings.HasPrefix(block, "\t"):
				kind = "example" // the body of one that is run: fieldday's TestReadmeShowsExample
			case strings.HasPrefix(block, "package bank"):
				kind = "bank"
			case maker != nil:
				kind = "bank"
				block = "package bank\n\n" + imports(clone, block+" bank.Lab") + block + "\n\nfunc Labs() []bank.Lab { return []bank.Lab{" + maker[1] + "()} }\n"
			}
			kinds[kind]++
			t.Run(fmt.Sprintf("%s block %d %s", strings.ReplaceAll(name, "/", " "), i+1, kind), func(t *testing.T) {
				switch kind {
				case "bank":
					files := map[string]string{"bank.go": block}
					if strings.Contains(block, "//go:embed") {
						maps.Copy(files, texts)
					}
					tryBank(t, program, clone, files)
				case "cell":
					compiles(t, clone, "package cell\n\n"+imports(clone, block)+block+"\n")
				}
			})
		}
	}
	if kinds["bank"] < 2 || kinds["cell"] < 1 || kinds["program"] > 1 {
		t.Errorf("the READMEs have blocks of these kinds: %v", kinds)
	}
}

// textFiles takes the text files of a bank out of a README: blocks of Markdown, each below
// a line that begins with its name.
func textFiles(readme string) (rest string, texts map[string]string) {
	texts = map[string]string{}
	file := regexp.MustCompile("(?ms)^`([a-z0-9-]+\\.md)`[^\n]*\n\n````markdown\n(.*?)^````$")
	for _, m := range file.FindAllStringSubmatch(readme, -1) {
		texts[m[1]] = m[2]
	}
	return file.ReplaceAllString(readme, ""), texts
}

// blocks are the fenced blocks of Go in a README. Others have to be of a kind that is known
// to be tried elsewhere.
func blocks(t *testing.T, name, readme string) []string {
	t.Helper()
	var all []string
	for _, m := range regexp.MustCompile("(?ms)^```(\\w*)\n(.*?)^```$").FindAllStringSubmatch(readme, -1) {
		switch m[1] {
		case "go":
			all = append(all, strings.TrimRight(m[2], "\n"))
		case "text": // what a program prints
		case "csv": // a table of rules, see TestReadmeTerm
		default:
			t.Errorf("%s has a block of %q that no test tries: %.40q", name, m[1], m[2])
		}
	}
	return all
}

// imports is the import declaration that code needs.
func imports(clone, code string) string {
	var all []string
	for _, m := range regexp.MustCompile(`\b([a-z]+)\.[A-Z]`).FindAllStringSubmatch(code, -1) {
		path := m[1]
		if _, err := os.Stat(filepath.Join(clone, "gravlab", path)); err == nil {
			path = "gravity.example/gravlab/" + path
		} else if path == "exercises" {
			path = "gravity.example/" + path
		} else if !slices.Contains([]string{"fmt", "math", "os", "slices", "sort", "strings", "sync"}, path) {
			continue // a variable
		}
		if line := fmt.Sprintf("import %q\n", path); !slices.Contains(all, line) {
			all = append(all, line)
		}
	}
	return strings.Join(all, "") + "\n"
}

// compiles lays a file over the module as a package of its own and builds it.
func compiles(t *testing.T, clone, code string) {
	t.Helper()
	dir := t.TempDir()
	file, overlay := filepath.Join(dir, "block.go"), filepath.Join(dir, "overlay.json")
	inside := filepath.Join(clone, "gravlab", "internal", "readmeblock", "block.go")
	for path, text := range map[string]string{file: code, overlay: fmt.Sprintf(`{"Replace": {%q: %q}}`, inside, file)} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	succeed(t, clone, "go", "build", "-overlay", overlay, "gravity.example/gravlab/internal/readmeblock")
}

// tryBank hands out each lab that a bank names to two students, with the answers, and marks
// what was handed out: both get full marks.
func tryBank(t *testing.T, program, clone string, files map[string]string) {
	t.Helper()
	dir := t.TempDir()
	write := func(name, text string) string {
		t.Helper()
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	code, ours := files["bank.go"], filepath.Join(dir, "ours")
	for name, text := range files {
		write("ours/"+name, text)
	}
	class := write("class.csv", "id,name\ns1,Ada Bell\ns2,Cleo Berg\n")
	labs := regexp.MustCompile(`(?:ID:\s+"|Find\(")(\d\d)(?:-[a-z-]+)?"`).FindAllStringSubmatch(code, -1)
	if len(labs) == 0 {
		t.Fatal("no lab is named in the bank")
	}
	for _, lab := range labs {
		out, books := filepath.Join(dir, "out-"+lab[1]), filepath.Join(dir, "marks-"+lab[1])
		succeed(t, clone, program, "questions", "--bank", ours, lab[1])
		succeed(t, clone, program, "handout", "--class", class, "--lab", lab[1], "--out", out, "--answers", "--bank", ours)
		succeed(t, clone, program, "mark", "--class", class, "--out", books, "--bank", ours, out)
		for _, id := range []string{"s1", "s2"} {
			reply, err := os.ReadFile(filepath.Join(books, "replies", id+".html"))
			if err != nil {
				t.Fatal(err)
			}
			if m := regexp.MustCompile(`<strong>(\d+)</strong> of (\d+)`).FindStringSubmatch(string(reply)); m == nil || m[1] != m[2] || m[1] == "0" {
				t.Errorf("lab %s: the worked copy of %s has the marks %q", lab[1], id, m)
			}
		}
	}
}

// succeed runs a command in the clone; it has to succeed.
func succeed(t *testing.T, clone, name string, args ...string) {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Dir = clone
	cmd.Env = append(os.Environ(), "GRAVLAB_CLONE="+clone, "GRAVLAB_DATA="+filepath.Join(t.TempDir(), "data"))
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%s %s: %v\n%s", filepath.Base(name), strings.Join(args, " "), err, out)
	}
}

// TestReadmeTerm does what README.md says about a term, command by command, with the tables
// that it shows, for a class of three, of whom one has handed in a file that is no notebook.
func TestReadmeTerm(t *testing.T) {
	clone, err := filepath.Abs("../../..")
	if err != nil {
		t.Fatal(err)
	}
	readme, err := os.ReadFile(filepath.Join(clone, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	t.Setenv("GRAVLAB_CLONE", clone)
	t.Setenv("GRAVLAB_DATA", t.TempDir())
	t.Chdir(t.TempDir())
	_, section, _ := strings.Cut(string(readme), "\n## A term\n")
	section, _, _ = strings.Cut(section, "\n## ")
	_, rules, ok := strings.Cut(section, "```csv\n")
	rules, _, _ = strings.Cut(rules, "```")
	if !ok {
		t.Fatal("the section has no rules")
	}
	for name, text := range map[string]string{"class.csv": "id,name\ns1,Ada Bell\ns2,Cleo Berg\ns3,Dan Eck\n", "rules.csv": rules} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, id := range []string{"s1", "0001"} {
		if err := os.MkdirAll(filepath.Join("returned", id), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join("returned", id, "notes.txt"), []byte("my notes"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	run := func(command string) string {
		t.Helper()
		var out, errOut bytes.Buffer
		if code := program(strings.Fields(command), &out, &errOut); code != fine {
			t.Fatalf("gravlab %s: code %d\n%s%s", command, code, out.String(), errOut.String())
		}
		return out.String()
	}
	for _, lab := range []string{"01", "02"} {
		run("handout --class class.csv --lab " + lab + " --out handout-" + lab + " --assessed")
		run("mark --class class.csv --lab " + lab + " --out marks-" + lab + " returned")
	}
	// A OneRoster set of the same three, and rules with the dates that results need.
	set := filepath.Join(clone, "gravlab", "cmd", "gravlab", "testdata", "script", "roster.txt")
	archive, err := txtar.ParseFile(set)
	if err != nil {
		t.Fatal(err)
	}
	roster, err := os.Create("roster.zip")
	if err != nil {
		t.Fatal(err)
	}
	z := zip.NewWriter(roster)
	for _, f := range archive.Files {
		if name, ok := strings.CutPrefix(f.Name, "set/"); ok {
			w, err := z.Create(name)
			if err != nil {
				t.Fatal(err)
			}
			w.Write(f.Data)
		}
	}
	if err := errors.Join(z.Close(), roster.Close()); err != nil {
		t.Fatal(err)
	}
	dated := "rule,lab,id,value,reason\nbook,01,,marks-2a,\nassigned,01,,2026-10-20,\ndue,01,,2026-11-03T18:00+01:00,\nresults,,,2026-12-14,\n"
	if err := os.WriteFile("rules-2a.csv", []byte(dated), 0o600); err != nil {
		t.Fatal(err)
	}
	commands := 0
	for line := range strings.Lines(section) {
		if command, ok := strings.CutPrefix(strings.TrimRight(line, "\n"), "    gravlab "); ok {
			commands++
			run(command)
			if strings.HasPrefix(command, "roster ") {
				run("handout --class class-2a.csv --lab 01 --out handout-2a --assessed --new-key")
				run("mark --class class-2a.csv --lab 01 --out marks-2a returned")
			}
		}
	}
	if commands < 7 {
		t.Error("the section has no commands")
	}
	for _, m := range regexp.MustCompile("`gravlab (help [a-z]+)`").FindAllStringSubmatch(section, -1) {
		run(m[1])
	}
	if text, err := os.ReadFile(filepath.Join("term", "total.csv")); err != nil || !strings.Contains(string(text), "\ns3,Dan Eck,0,excused,0,final,") {
		t.Errorf("the total is\n%s%v", text, err)
	}
}

// TestClassIsIgnored: what README.md has a lecturer write into the clone is not offered to
// git, and nothing that belongs to the project is.
func TestClassIsIgnored(t *testing.T) {
	if err := exec.Command("git", "-C", "../../..", "rev-parse", "--is-inside-work-tree").Run(); err != nil {
		t.Skip("needs git, and a clone: ", err)
	}
	for _, name := range []string{"class.csv", "class-b.csv", "class.key", "handout-01-codes.csv", "handout-01/s1/01-weighing-the-earth.ipynb", "returned/s1.ipynb", "marks-01/marks.csv", "rules.csv", "term/total.csv"} {
		if err := exec.Command("git", "-C", "../../..", "check-ignore", "-q", name).Run(); err != nil {
			t.Errorf("git does not ignore %s: %v", name, err)
		}
	}
	out, err := exec.Command("git", "-C", "../../..", "ls-files", "-i", "-c", "--exclude-standard").Output()
	if err != nil || len(out) > 0 {
		t.Errorf("git ignores files of the project, %v:\n%s", err, out)
	}
}
