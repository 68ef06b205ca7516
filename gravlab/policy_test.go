package gravlab_test

import (
	"bytes"
	"flag"
	"go/ast"
	"go/parser"
	"go/printer"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"gravity.example/gravlab/internal/refcases"
)

var update = flag.Bool("update", false, "write the exported surface to testdata/api.txt")

const module = "gravity.example/"

// floors is the layout of the module: a package may import packages of lower
// floors only, and those that it is allowed within its own floor.
var floors = map[string]int{
	"gravlab": 0, "gravlab/internal/arg": 0, "gravlab/internal/check": 0, "gravlab/internal/clip": 0, "gravlab/internal/digits": 0, "gravlab/internal/atomicfile": 0, "gravlab/internal/native": 0, "gravlab/internal/ode": 0, "gravlab/internal/panictext": 0, "gravlab/internal/usercache": 0, "gravlab/internal/filelock": 0, "gravlab/internal/door": 0, "gravlab/internal/modules": 0, "gravlab/internal/parallel": 0, "gravlab/internal/fonts": 0, "gravlab/internal/drawing": 0,
	"gravlab/quantity": 0, "gravlab/fit": 0, "gravlab/signal": 0, "gravlab/mcmc": 0, "gravlab/wire": 0, "gravlab/machines/pipe": 0, "gravlab/draw/figure": 0, "testdata": 0,
	"gravlab/torsion": 1, "gravlab/torsion/reduction": 1, "gravlab/pendulum": 1, "gravlab/buried": 1, "gravlab/equivalence": 1, "gravlab/sensor": 1,
	"gravlab/earth": 1, "gravlab/survey": 1, "gravlab/ask": 1, "gravlab/show": 1,
	"gravlab/judge": 2, "gravlab/internal/htmlpage": 2, "gravlab/notebook": 2, "gravlab/draw": 2, "gravlab/internal/mdhtml": 2, "gravlab/internal/refcases": 2, "gravlab/internal/crossbench": 2, "gravlab/page/web": 2,
	"gravlab/fieldbook": 2, "gravlab/fieldday": 3,
	"gravlab/bank": 2, "gravlab/bank/banktest": 3, "exercises/lab": 3, "exercises": 3,
	"gravlab/labserver": 4, "gravlab/report": 4, "gravlab/internal/webassets": 4,
	"gravlab/kernel": 5, "gravlab/sandbox": 5, "gravlab/internal/browsertest": 5,
	"gravlab/machines": 6, "gravlab/marking": 6, "gravlab/term": 6, "gravlab/page": 6, "gravlab/teach": 6, "gravlab/page/apparatus": 6,
	"gravlab/cmd/gravlab": 7, "notebooks": 7,
}

// sameFloor lists the imports within a floor: from, to.
var sameFloor = map[[2]string]bool{
	{"gravlab/internal/htmlpage", "gravlab/judge"}: true, {"gravlab/internal/refcases", "gravlab/internal/htmlpage"}: true,
	{"gravlab/bank", "gravlab/judge"}: true, {"gravlab/bank", "gravlab/notebook"}: true, {"exercises", "exercises/lab"}: true,
	{"gravlab/survey", "gravlab/earth"}: true, {"gravlab/survey", "gravlab/buried"}: true,
	{"gravlab/page", "gravlab/page/apparatus"}: true, {"gravlab/term", "gravlab/marking"}: true,
	{"gravlab/teach", "gravlab/page"}: true, {"gravlab/teach", "gravlab/marking"}: true,
	{"gravlab/pendulum", "gravlab/sensor"}: true, {"gravlab/torsion/reduction", "gravlab/torsion"}: true,
	{"gravlab/equivalence", "gravlab/earth"}: true, {"gravlab/equivalence", "gravlab/sensor"}: true,
}

// groups are folders whose packages share one floor.
var groups = map[string]string{"gravlab/internal/refcases/": "gravlab/internal/refcases", "exercises/lab": "exercises/lab"}

func floorOf(pkg string) (string, int, bool) {
	for prefix, group := range groups {
		if strings.HasPrefix(pkg, prefix) {
			pkg = group
		}
	}
	f, ok := floors[pkg]
	return pkg, f, ok
}

// TestImportsPointDown holds the packages to their floors.
func TestImportsPointDown(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, module+"...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	checked := 0
	for line := range strings.Lines(string(out)) {
		fields := strings.Fields(line)
		from, floor, ok := floorOf(strings.TrimPrefix(fields[0], module))
		if !ok {
			t.Errorf("%s has no floor: give it one in policy_test.go and in DEVELOPERS.md", from)
			continue
		}
		for _, imported := range fields[1:] {
			if !strings.HasPrefix(imported, module) {
				continue
			}
			checked++
			to, lower, ok := floorOf(strings.TrimPrefix(imported, module))
			switch {
			case !ok:
				t.Errorf("%s imports %s, which has no floor", from, to)
			case from == "exercises/lab" && to == from:
				t.Errorf("%s imports %s: labs share nothing but the bank and the models", fields[0], imported)
			case lower > floor, lower == floor && floor > 0 && from != to && !sameFloor[[2]string{from, to}]:
				t.Errorf("%s (floor %d) imports %s (floor %d): imports point down", from, floor, to, lower)
			}
		}
	}
	if checked < 10 {
		t.Fatalf("only %d imports were looked at", checked)
	}
}

// TestFilesOfBuried: package buried holds five subjects in files that are named for them.
// The bodies compile without the rest, and each other subject without those that it does
// not rest on.
func TestFilesOfBuried(t *testing.T) {
	all := map[string]bool{}
	for subject, groups := range map[string][]string{
		"body":    {"body*"},
		"read":    {"body*", "read*"},
		"detect":  {"body*", "regional*", "detect*"},
		"invert":  {"body*", "read*", "regional*", "invert*"},
		"vehicle": {"body*", "vehicle*"},
	} {
		var files []string
		for _, g := range groups {
			found, err := filepath.Glob(filepath.Join("buried", g+".go"))
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range found {
				if strings.HasSuffix(f, "_test.go") {
					continue
				}
				all[filepath.Base(f)] = true
				if !strings.HasSuffix(f, "_wasip1.go") { // files that are named are built on every system
					files = append(files, "./"+filepath.ToSlash(f))
				}
			}
		}
		if out, err := exec.Command("go", append([]string{"build", "-o", os.DevNull}, files...)...).CombinedOutput(); err != nil {
			t.Errorf("%s needs more than %s: %v\n%s", subject, strings.Join(groups, ", "), err, out)
		}
	}
	there, err := filepath.Glob(filepath.Join("buried", "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range there {
		if name := filepath.Base(f); !all[name] && name != "doc.go" && !strings.HasSuffix(name, "_test.go") {
			t.Errorf("buried/%s belongs to none of the groups", name)
		}
	}
}

// TestModelsAreChecked: a model without known answers is not one to teach with.
func TestModelsAreChecked(t *testing.T) {
	var checked []string
	for _, g := range refcases.All() {
		checked = append(checked, "gravlab/"+g.Model)
		if len(g.Cases) == 0 {
			t.Errorf("refcases.All has no cases for %s", g.Model)
		}
	}
	for pkg, floor := range floors {
		switch pkg {
		case "gravlab/ask", "gravlab/show": // what cells call; no models
		case "gravlab/torsion/reduction": // its cases are among those of torsion
		default:
			if floor == 1 && !slices.Contains(checked, pkg) {
				t.Errorf("%s has no known answers in refcases.All", pkg)
			}
		}
	}
}

// TestWordsStandInTextFiles: at most a tenth of the labs' Go is string constants, since what
// people read belongs in the text files beside it. A concatenation counts whole; import paths
// do not count.
func TestWordsStandInTextFiles(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "exercises", "lab*", "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	all, words := 0, 0
	for _, path := range files {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		source, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, source, 0)
		if err != nil {
			t.Fatal(err)
		}
		all += len(source)
		ast.Inspect(file, func(n ast.Node) bool {
			if _, path := n.(*ast.ImportSpec); path {
				return false
			}
			if e, ok := n.(ast.Expr); ok && concatenates(e) {
				words += int(e.End() - e.Pos())
				return false
			}
			return true
		})
	}
	if words == 0 || 10*words > all {
		t.Errorf("of %d bytes of Go in the labs, %d are string constants; at most a tenth may be, and some are needed", all, words)
	}
	t.Logf("%d of %d bytes: %.1f %%", words, all, 100*float64(words)/float64(all))
}

// concatenates reports whether e is a string constant, or a sum with one in it.
func concatenates(e ast.Expr) bool {
	switch e := e.(type) {
	case *ast.BasicLit:
		return e.Kind == token.STRING
	case *ast.ParenExpr:
		return concatenates(e.X)
	case *ast.BinaryExpr:
		return e.Op == token.ADD && (concatenates(e.X) || concatenates(e.Y))
	}
	return false
}

// TestThinCells keeps the packages that a student's cell links thin: neither
// net nor encoding/gob, no drawing.
func TestThinCells(t *testing.T) {
	for _, pkg := range []string{"gravlab/ask", "gravlab/show", "gravlab/wire"} {
		out, err := exec.Command("go", "list", "-deps", module+pkg).Output()
		if err != nil {
			t.Fatalf("go list -deps %s: %v", pkg, err)
		}
		deps := strings.Fields(string(out))
		if len(deps) < 5 {
			t.Fatalf("%s has only %d dependencies: nothing was checked", pkg, len(deps))
		}
		for _, dep := range deps {
			if dep == "net" || dep == "encoding/gob" || strings.HasPrefix(dep, "gonum.org/") || strings.HasPrefix(dep, "github.com/") {
				t.Errorf("%s links %s, which a student's cell must not", pkg, dep)
			}
		}
	}
}

// TestComments holds the comments to one width and one phrase: lines of at most 100 columns
// (a tab counts 4), but for formulas, which are set off by a tab, for the output of
// examples and for what has no space to break at; and a function "reports whether", as Go's
// own documentation says.
func TestComments(t *testing.T) {
	const width = 100
	later := []string{"sandbox/confine.go", "sandbox/sandbox.go", "sandbox/worker.go"} // to be wrapped with their next change
	seen := 0
	for _, dir := range []string{".", "../exercises", "../testdata"} {
		err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(p, ".go") || slices.Contains(later, filepath.ToSlash(p)) {
				return err
			}
			text, err := os.ReadFile(p)
			if err != nil {
				return err
			}
			output := false
			for i, line := range strings.Split(string(text), "\n") {
				comment, ok := strings.CutPrefix(strings.TrimLeft(line, "\t"), "//")
				output = ok && (output || strings.HasPrefix(strings.TrimSpace(comment), "Output:") || strings.HasPrefix(strings.TrimSpace(comment), "Unordered output:"))
				if !ok || output {
					continue
				}
				seen++
				wide := utf8.RuneCountInString(strings.ReplaceAll(line, "\t", "    ")) > width
				if wide && !strings.HasPrefix(comment, "\t") && strings.Contains(strings.TrimSpace(comment), " ") {
					t.Errorf("%s:%d: a comment of more than %d columns: wrap its paragraph", p, i+1, width)
				}
				if strings.Contains(comment, "says "+"whether") {
					t.Errorf("%s:%d: write \"reports whether\"", p, i+1)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if seen < 5000 {
		t.Fatalf("only %d lines of comments were looked at", seen)
	}
}

// TestExportedSurface compares what the packages export with a committed list,
// so that growth is seen. go test ./gravlab -update writes the list.
func TestExportedSurface(t *testing.T) {
	var list bytes.Buffer
	for _, dir := range []string{".", "../exercises"} {
		err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
			if err != nil || !d.IsDir() {
				return err
			}
			if name := d.Name(); name == "internal" || name == "testdata" || name == "cmd" {
				return filepath.SkipDir
			}
			return surface(&list, p)
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	const golden = "testdata/api.txt"
	if *update {
		if err := os.WriteFile(golden, list.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	got := strings.Split(list.String(), "\n")
	had := strings.Split(string(want), "\n")
	for _, line := range got {
		if !slices.Contains(had, line) {
			t.Errorf("new in the exported surface: %s", line)
		}
	}
	for _, line := range had {
		if !slices.Contains(got, line) {
			t.Errorf("gone from the exported surface: %s", line)
		}
	}
	if t.Failed() {
		t.Log("if that is meant: go test ./gravlab -run TestExportedSurface -update")
	}
}

// surface writes one line for each exported name of the package in dir.
func surface(w *bytes.Buffer, dir string) error {
	fset := token.NewFileSet()
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	var lines []string
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".go") || strings.HasSuffix(e.Name(), "_test.go") {
			continue
		}
		file, err := parser.ParseFile(fset, filepath.Join(dir, e.Name()), nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		pkg := path.Clean(strings.TrimPrefix(filepath.ToSlash(dir), "../"))
		for _, decl := range file.Decls {
			for _, line := range exported(fset, decl) {
				lines = append(lines, pkg+": "+line)
			}
		}
	}
	slices.Sort(lines)
	for _, line := range slices.Compact(lines) {
		w.WriteString(line + "\n")
	}
	return nil
}

func exported(fset *token.FileSet, decl ast.Decl) []string {
	var lines []string
	switch d := decl.(type) {
	case *ast.FuncDecl:
		if !d.Name.IsExported() || d.Recv != nil && !ast.IsExported(receiver(d)) {
			return nil
		}
		head := *d
		head.Body, head.Doc = nil, nil
		lines = append(lines, source(fset, &head))
	case *ast.GenDecl:
		for _, spec := range d.Specs {
			switch s := spec.(type) {
			case *ast.TypeSpec:
				if s.Name.IsExported() {
					lines = append(lines, exportedType(fset, s)...)
				}
			case *ast.ValueSpec:
				for _, name := range s.Names {
					if name.IsExported() {
						lines = append(lines, d.Tok.String()+" "+name.Name)
					}
				}
			}
		}
	}
	return lines
}

// exportedType writes the name of a type, its kind or what it is made from, and
// one line for each exported field of a struct or method of an interface.
func exportedType(fset *token.FileSet, s *ast.TypeSpec) []string {
	name := s.Name.Name
	fields := func(list *ast.FieldList) (lines []string) {
		for _, f := range list.List {
			typ := source(fset, f.Type)
			if len(f.Names) == 0 {
				// An unexported type that is embedded shows its fields all the same.
				lines = append(lines, "type "+name+" embeds "+typ)
			}
			for _, n := range f.Names {
				if !n.IsExported() {
					continue
				}
				if _, isMethod := f.Type.(*ast.FuncType); isMethod {
					if _, inInterface := s.Type.(*ast.InterfaceType); inInterface {
						lines = append(lines, "type "+name+" method "+n.Name+strings.TrimPrefix(typ, "func"))
						continue
					}
				}
				lines = append(lines, "type "+name+" field "+n.Name+" "+typ)
			}
		}
		return lines
	}
	head := "type " + name
	if s.Assign.IsValid() {
		head += " ="
	}
	switch t := s.Type.(type) {
	case *ast.StructType:
		return append([]string{head + " struct"}, fields(t.Fields)...)
	case *ast.InterfaceType:
		return append([]string{head + " interface"}, fields(t.Methods)...)
	}
	return []string{head + " " + source(fset, s.Type)}
}

// source is a node as Go source on one line.
func source(fset *token.FileSet, node ast.Node) string {
	var b bytes.Buffer
	printer.Fprint(&b, fset, node)
	return strings.Join(strings.Fields(b.String()), " ")
}

// TestExportedSurfaceShowsFields holds the list to what a caller of a type sees
// first: its fields and its methods.
func TestExportedSurfaceShowsFields(t *testing.T) {
	const text = `package p
type Curve struct {
	X, Sigma []float64 // standard uncertainties
	At func(x float64) float64
	hidden int
	sync.Mutex
}
type Body interface {
	GZ(at r3.Vec) (float64, error)
	fmt.Stringer
	sealed()
}
type Shape int
type Same = Curve
type small struct{ A int }
`
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, "p.go", text, parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, decl := range file.Decls {
		got = append(got, exported(fset, decl)...)
	}
	want := []string{
		"type Curve struct", "type Curve field X []float64", "type Curve field Sigma []float64",
		"type Curve field At func(x float64) float64", "type Curve embeds sync.Mutex",
		"type Body interface", "type Body method GZ(at r3.Vec) (float64, error)", "type Body embeds fmt.Stringer",
		"type Shape int", "type Same = Curve",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

func receiver(d *ast.FuncDecl) string {
	typ := d.Recv.List[0].Type
	for {
		switch t := typ.(type) {
		case *ast.StarExpr:
			typ = t.X
		case *ast.IndexExpr:
			typ = t.X
		case *ast.Ident:
			return t.Name
		default:
			return ""
		}
	}
}
