package sandbox

import (
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	gotypes "go/types"
	"strings"
	"testing"
)

// TestPlain: what people new to Go get wrong most often, told by the parser or
// the checker that is used and put into words.
func TestPlain(t *testing.T) {
	files := token.NewFileSet()
	packages := importer.ForCompiler(files, "source", nil) // reads each package once
	for line, want := range map[string]string{
		"x := 2.0^3.0; _ = x":                     "^ is not a power in Go",
		"x := math.Pi^2; _ = x":                   "^ is not a power in Go",
		"x := 5 ** 2; _ = x":                      "** is not a power in Go",
		"x := 2(3+4); _ = x":                      "a product needs its sign, 2*(…)",
		"x := math.sqrt(2); _ = x":                "there is no math.sqrt: what a package offers begins with a capital letter",
		"x := math.Squareroot(2); _ = x":          "there is no math.Squareroot",
		"var b B; _ = b.arm":                      "has no arm, but it has the field Arm",
		"var b B; _ = b.Leg":                      "has no field or method Leg",
		"n, y := 3, 2.5; _ = n*y":                 "n * y mixes int and float64",
		"var n int = 2.5; _ = n":                  "2.5 is not a whole number",
		"x := two(); _ = x":                       "two gives two results",
		"speed = 3":                               "speed is not known here",
		"x := 3":                                  "declared and not used: x: use it, or take it out",
		"if true {":                               "one } is missing",
		"fmt.Println(1":                           "the line ends inside the argument list",
		"_ = []float64{1, 2":                      "the line ends inside the composite literal",
		"x := 1; x := 2; _ = x":                   "write = instead of :=",
		"fmt.Println(one(1)":                      "the line ends inside the argument list",
		"s := 0; v := 1.5; s += v":                "begin it with a point, as in s := 0.0",
		"m := 51; _ = 2 * 6.674e-11 * m":          "write that one's value with a point, as in m := 51.0",
		"for i := 0; i < 3; i++ {\n}\nfunc g() {": "a } is missing above this line",
		"for i := 0; i < 3; i++\n{\n}":            "a { has to stand on the same line",
		"if true\n{\n}":                           "a { has to stand on the same line",
		"fmt.Println(\\alpha)":                    "a text needs quotes around it",
		"fmt.Println('abc')":                      "a text stands between double quotes",
		"fmt.Println(\"abc)":                      "its second quote is missing",
		"x := (1+2)); _ = x":                      "one ) too many",
		"x := 2 y":                                "something is missing before y",
		"_ = G":                                   "write gravlab.G",
		"_ = sqrt(2)":                             "write math.Sqrt",
		"_ = Sin(2)":                              "write math.Sin",
		"Println(2)":                              "write fmt.Println",
		"fmt.Println(f(\"a\"))":                   "cannot use \"a\"",
		"var b B; fmt.Println(b.Arm.Length)":      "has no field or method Length",
	} {
		if got := firstFault(files, packages, "package main\nimport (\"fmt\"; \"math\")\nvar _ = math.Pi\nvar _ = fmt.Sprint\ntype B struct{Arm float64}\nfunc f(x float64) float64 { return x }\nfunc two() (float64, error) { return 1, nil }\nfunc main() {\n"+line+"\n}\n"); !strings.Contains(Plain(got), want) {
			t.Errorf("%s: %q becomes %q, want %q in it", line, got, Plain(got), want)
		}
	}
}

// firstFault is what Go says first of a source.
func firstFault(files *token.FileSet, packages gotypes.Importer, source string) string {
	f, err := parser.ParseFile(files, "", source, parser.SkipObjectResolution)
	if err != nil {
		_, text, _ := strings.Cut(err.Error(), ": ")
		text, _, _ = strings.Cut(text, " (and ")
		return text
	}
	first := ""
	check := gotypes.Config{Importer: packages, Error: func(err error) {
		if first == "" {
			first = err.(gotypes.Error).Msg
		}
	}}
	check.Check("main", files, []*ast.File{f}, nil)
	return first
}

// TestRenamed: a name of an earlier version leads to the present one, which exists.
func TestRenamed(t *testing.T) {
	for message, want := range map[string]string{
		"undefined: survey.Ladder": "survey.Ladder is now called survey.Profile",
		// The arguments stood the other way round.
		"undefined: buried.SNRForDetection": "is now called signal.NeededSNR(falseAlarm, detection)",
		"plan.Smallest undefined (type gravity.example/gravlab/survey.LoopPlan has no field or method Smallest)": "survey.LoopPlan.MDB",
		"unknown field Caught in struct literal of type buried.MassEstimate":                                     "buried.MassEstimate.Integral",
		"guess.Alike undefined (type *gravity.example/gravlab/survey.TareGuess has no field or method Alike)":    "survey.TareGuess.Candidates",
	} {
		if got := Plain(message); !strings.HasSuffix(got, want) {
			t.Errorf("%q becomes %q, want %q", message, got, want)
		}
	}
	packages := importer.ForCompiler(token.NewFileSet(), "source", nil)
	for was, now := range renamed {
		if has(t, packages, was) || !has(t, packages, now) {
			t.Errorf("%s is to be called %s now: the first has to be gone and the second there", was, now)
		}
	}
}

// has reports whether a package of ours has a name, as in survey.Report, survey.Report.Datum
// or, with the names of its parameters, signal.NeededSNR(falseAlarm, detection).
func has(t *testing.T, packages gotypes.Importer, name string) bool {
	name, parameters, called := strings.Cut(strings.TrimSuffix(name, ")"), "(")
	parts := strings.Split(name, ".")
	p, err := packages.Import("gravity.example/gravlab/" + parts[0])
	if err != nil {
		t.Fatal(err)
	}
	o := p.Scope().Lookup(parts[1])
	if called {
		f, ok := o.(*gotypes.Func)
		if !ok {
			return false
		}
		var names []string
		for v := range f.Signature().Params().Variables() {
			names = append(names, v.Name())
		}
		return strings.Join(names, ", ") == parameters
	}
	if o == nil || len(parts) == 2 {
		return o != nil
	}
	member, _, _ := gotypes.LookupFieldOrMethod(o.Type(), true, p, parts[2])
	return member != nil
}
