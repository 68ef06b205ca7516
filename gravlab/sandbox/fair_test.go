//go:build unix

package sandbox_test

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/sandbox"
)

// A trial is an edited notebook: cells after the one that declares the sheet.
type trial struct {
	name  string
	cells []string
}

// start is the first cell of every trial.
const start = `import (
	"fmt"
	"math"

	"gravity.example/gravlab/ask"
)

var sheet = ask.Sheet("00-first-steps", CODE)`

var trials = []trial{
	{"untouched", []string{"%%\nresult := 0.0\nsheet.Number(\"fall-time\", result, \"s\")"}},
	{"answers", []string{"%%\nsheet.Number(\"fall-time\", 0.7, \"s\")", "%%\nsheet.Number(\"pull\", 1e-9, \"N\")", "%%\nsheet.Choice(\"brackets\", \"a\")"}},
	{"function declared again", []string{"func f() float64 { return 0.5 }", "%%\nsheet.Number(\"fall-time\", f(), \"s\")", "func f() float64 { return 7 }\n%%\nsheet.Number(\"pull\", f(), \"N\")"}},
	{"function declared again, used by another", []string{"func f() float64 { return 0.5 }\nfunc g() float64 { return 2 * f() }", "%%\nsheet.Number(\"fall-time\", g(), \"s\")", "func f() float64 { return 7 }", "%%\nsheet.Number(\"pull\", g(), \"N\")"}},
	{"function declared again in the same words", []string{"func f() float64 { return 0.5 }", "%%\nsheet.Number(\"fall-time\", f(), \"s\")", "func f() float64 { return 0.5 }", "%%\nsheet.Number(\"pull\", f(), \"N\")"}},
	{"type declared again", []string{"type T struct{ a float64 }\nfunc (t T) get() float64 { return t.a }", "%%\nsheet.Number(\"fall-time\", T{0.5}.get(), \"s\")", "type T struct{ a, b float64 }", "%%\nsheet.Number(\"pull\", T{1, 2}.get(), \"N\")\nfmt.Println(T{1, 2})"}},
	{"type declared again, old method breaks", []string{"type T struct{ a float64 }\nfunc (t T) get() float64 { return t.a }", "type T struct{ c float64 }", "%%\nsheet.Number(\"fall-time\", T{0.5}.get(), \"s\")"}},
	{"method added later", []string{"type T float64", "%%\nfmt.Println(T(1))", "func (t T) String() string { return \"a T\" }", "%%\nfmt.Println(T(1))"}},
	{"method declared again", []string{"type T float64\nfunc (t T) x() float64 { return 1 }", "%%\nsheet.Number(\"fall-time\", T(1).x(), \"s\")", "func (t T) x() float64 { return 2 }", "%%\nsheet.Number(\"pull\", T(1).x(), \"N\")"}},
	{"pointer method", []string{"type C struct{ n int }\nfunc (c *C) up() { c.n++ }\nvar c C", "%%\nc.up()\nc.up()\nfmt.Println(c.n)", "%%\nc.up()\nfmt.Println(c.n)\nsheet.Number(\"fall-time\", float64(c.n), \"s\")"}},
	{"variable changed", []string{"var x = 1.0", "%%\nx = 5\nfmt.Println(x)", "%%\nfmt.Println(x)\nsheet.Number(\"fall-time\", x, \"s\")"}},
	{"slice changed", []string{"var x = []float64{1, 2, 3}", "%%\nx[0] = 9\nx = append(x, 4)\nfmt.Println(x)", "%%\nfmt.Println(x)"}},
	{"map changed", []string{"var m = map[string]float64{\"a\": 1}", "%%\nm[\"b\"] = 2\nfmt.Println(len(m))", "%%\nfmt.Println(len(m))\nsheet.Number(\"fall-time\", m[\"a\"], \"s\")"}},
	{"variable declared again", []string{"var x = 1.0", "%%\nsheet.Number(\"fall-time\", x, \"s\")", "var x = 2.0", "%%\nsheet.Number(\"pull\", x, \"N\")"}},
	{"variable declared again with another type", []string{"var x = 1", "%%\nfmt.Println(x / 2)", "var x = 1.0", "%%\nfmt.Println(x / 2)"}},
	{"variable made by a call", []string{"func load() []float64 { return []float64{1, 2, 3} }\nvar data = load()", "%%\ndata[0] = 10\nfmt.Println(data)", "%%\nfmt.Println(data)\nsheet.Number(\"fall-time\", data[1], \"s\")"}},
	{"variable that depends on a later one", []string{"var a = b + 1\nvar b = f()\nfunc f() int { return 41 }", "%%\nfmt.Println(a, b)"}},
	{"variables in alphabetical order", []string{"var z = say(\"z\")\nvar y = say(\"y\")\nfunc say(s string) int { fmt.Println(s); return 1 }", "%%\nfmt.Println(\"body\")"}},
	{"two values of one call", []string{"func two() (float64, error) { return 0.7, nil }\nvar v, err = two()", "%%\nsheet.Number(\"fall-time\", v, \"s\")\nfmt.Println(err)", "var err = fmt.Errorf(\"no\")", "%%\nfmt.Println(err)"}},
	{"first of two values declared again", []string{"func two() (int, int) { return 1, 2 }\nvar v, w = two()", "var v = 3", "%%\nfmt.Println(v, w)", "%%\nfmt.Println(v)"}},
	{"list of variables", []string{"var a, b = 1.0, 2.0", "%%\nfmt.Println(a, b)", "var b = 5.0", "%%\nfmt.Println(a, b)\nsheet.Number(\"fall-time\", a/b, \"s\")"}},
	{"constants", []string{"const (\n\tA = iota + 1\n\tB\n\tC\n)", "%%\nfmt.Println(A, B, C)", "const (\n\tA = iota + 10\n\tB\n\tC\n)", "%%\nfmt.Println(A, B, C)"}},
	{"one constant of a block again", []string{"const (\n\tA = 1\n\tB = 2\n)", "const B = 3", "%%\nfmt.Println(A, B)"}},
	{"head of a block again", []string{"const (\n\tA = 1\n\tB = 2\n)", "const A = 3", "%%\nfmt.Println(A)", "%%\nfmt.Println(B)"}},
	{"name as a variable, then as a function", []string{"var f = 1.0", "func f() {}", "%%\nsheet.Number(\"fall-time\", f, \"s\")"}},
	{"local names", []string{"var x = 1.0", "%%\nx := 0.7\n{\n\tx := 3.0\n\tfmt.Println(x)\n}\nsheet.Number(\"fall-time\", x, \"s\")", "%%\nfmt.Println(x)"}},
	{"own name for a builtin", []string{"%%\nfmt.Println(max(1, 2))", "func max(a, b int) int { return 100 }", "%%\nfmt.Println(max(1, 2))"}},
	{"own name for a package", []string{"%%\nfmt.Println(strings.ToUpper(\"a\"))", "var strings = struct{ A int }{7}", "%%\nfmt.Println(strings.A)"}},
	{"name of a remembered package", []string{"import \"sort\"", "%%\nx := []int{2, 1}\nsort.Ints(x)\nfmt.Println(x)", "func sort(x []int) {}", "%%\nsort(nil)\nfmt.Println(\"own\")"}},
	{"import under another name", []string{"import m \"math\"\nimport . \"strings\"\n%%\nfmt.Println(m.Sqrt(4), ToUpper(\"a\"))", "%%\nfmt.Println(m.Pi, ToLower(\"B\"))"}},
	{"import under two names", []string{"import a \"math\"\nimport b \"math\"\n%%\nfmt.Println(a.Sqrt(b.Sqrt(16)))"}},
	{"alias that changes", []string{"import r \"strings\"\n%%\nfmt.Println(r.ToUpper(\"a\"))", "import r \"math\"\n%%\nfmt.Println(r.Sqrt(9))"}},
	{"import that is not used", []string{"import (\n\t\"os\"\n\t\"sort\"\n)\n%%\nfmt.Println(1)", "%%\nfmt.Fprintln(os.Stderr, 2)"}},
	{"imports that nobody wrote", []string{"%%\nx := []float64{3, 1, 2}\nsort.Float64s(x)\nfmt.Println(x, strings.Repeat(\"a\", 3), strconv.Itoa(7))", "%%\nfmt.Println(stat.Mean([]float64{1, 2}, nil))"}},
	{"random numbers", []string{"%%\nr := rand.New(rand.NewPCG(1, 2))\nfmt.Println(r.IntN(1000), r.IntN(1000))"}},
	{"old random numbers", []string{"import \"math/rand\"\n%%\nr := rand.New(rand.NewSource(1))\nfmt.Println(r.Intn(1000))"}},
	{"unused variable", []string{"%%\nx := 1.0", "%%\nsheet.Number(\"fall-time\", 0.7, \"s\")"}},
	{"unused import in a cell that fails", []string{"import \"slices\"\n%%\nundeclared()", "%%\nfmt.Println(slices.Max([]int{1, 3}))"}},
	{"syntax error", []string{"%%\nfor {", "func broken( {", "%%\nsheet.Number(\"fall-time\", 0.7, \"s\")"}},
	{"cell that fails leaves no trace", []string{"func f() float64 { return 0.5 }", "func f() float64 { return undeclared }", "%%\nsheet.Number(\"fall-time\", f(), \"s\")"}},
	{"cell that panics leaves its declarations", []string{"func f() float64 { return 0.6 }\n%%\npanic(\"stop\")", "%%\nsheet.Number(\"fall-time\", f(), \"s\")"}},
	{"panic after an answer", []string{"%%\nsheet.Number(\"fall-time\", 0.7, \"s\")\nvar p *int\n*p = 1\nsheet.Number(\"pull\", 1, \"N\")", "%%\nsheet.Choice(\"brackets\", \"a\")"}},
	{"exit after an answer", []string{"%%\nsheet.Number(\"fall-time\", 0.7, \"s\")\nos.Exit(1)\nsheet.Number(\"pull\", 1, \"N\")", "%%\nlog.Fatal(\"enough\")", "%%\nsheet.Choice(\"brackets\", \"a\")"}},
	{"exit 0", []string{"%%\nos.Exit(0)\nsheet.Number(\"pull\", 1, \"N\")"}},
	{"deadlock", []string{"%%\nselect {}", "%%\nsheet.Choice(\"brackets\", \"a\")"}},
	{"goroutines", []string{"%%\nvar wg sync.WaitGroup\nsum := make([]int, 10)\nfor i := range sum {\n\twg.Go(func() { sum[i] = i * i })\n}\nwg.Wait()\nfmt.Println(sum)"}},
	{"channels", []string{"func numbers(n int) <-chan int {\n\tc := make(chan int)\n\tgo func() {\n\t\tdefer close(c)\n\t\tfor i := range n {\n\t\t\tc <- i\n\t\t}\n\t}()\n\treturn c\n}", "%%\ns := 0\nfor v := range numbers(10) {\n\ts += v\n}\nfmt.Println(s)"}},
	{"recovered panic", []string{"func try(f func()) (err any) {\n\tdefer func() { err = recover() }()\n\tf()\n\treturn nil\n}", "%%\nfmt.Println(try(func() { panic(\"caught\") }))\ndefer fmt.Println(\"deferred\")\nfmt.Println(\"first\")"}},
	{"return in a main", []string{"%%\nfmt.Println(1)\nif true {\n\treturn\n}\nfmt.Println(2)"}},
	{"init functions", []string{"func init_b() { fmt.Println(\"b\") }\nfunc init_a() { fmt.Println(\"a\") }", "%%\nfmt.Println(\"body\")", "func init() { fmt.Println(\"plain\") }", "%%\nfmt.Println(\"body\")"}},
	{"init declared again", []string{"func init() { fmt.Println(\"one\") }", "func init() { fmt.Println(\"two\") }", "%%\nfmt.Println(\"body\")"}},
	{"init called by name", []string{"func init_x() { fmt.Println(\"x\") }\n%%\ninit_x()", "%%\nfmt.Println(\"body\")"}},
	{"init that gives an answer", []string{"func init_x() { sheet.Number(\"fall-time\", 0.7, \"s\") }", "%%\nfmt.Println(\"body\")"}},
	{"generic function", []string{"func sum[T int | float64](x ...T) (s T) {\n\tfor _, v := range x {\n\t\ts += v\n\t}\n\treturn s\n}", "%%\nfmt.Println(sum(1, 2, 3))\nsheet.Number(\"fall-time\", sum(0.5, 0.25), \"s\")"}},
	{"generic type", []string{"type stack[T any] struct{ all []T }\nfunc (s *stack[T]) push(v T) { s.all = append(s.all, v) }\nfunc (s stack[T]) size() int { return len(s.all) }\nvar s stack[int]", "%%\ns.push(1)\ns.push(2)\nfmt.Println(s.size())"}},
	{"methods of two generic types", []string{"type a[T any] struct{ v T }\nfunc (x a[T]) get() T { return x.v }", "type b[T any] struct{ v T }\nfunc (x b[T]) get() T { return x.v }", "%%\nfmt.Println(b[int]{2}.get())", "%%\nfmt.Println(a[int]{1}.get())"}},
	{"interface", []string{"type shape interface{ area() float64 }\ntype square float64\nfunc (s square) area() float64 { return float64(s * s) }", "%%\nvar s shape = square(3)\nfmt.Println(s.area())", "type circle float64\nfunc (c circle) area() float64 { return 3 * float64(c*c) }", "%%\nfor _, s := range []shape{square(1), circle(1)} {\n\tfmt.Println(s.area())\n}"}},
	{"embedding", []string{"type base struct{ n int }\nfunc (b base) twice() int { return 2 * b.n }\ntype outer struct{ base }", "%%\nfmt.Println(outer{base{4}}.twice())"}},
	{"function as a value", []string{"var f = func(x float64) float64 { return x * x }\nvar table = map[string]func(float64) float64{\"sqrt\": math.Sqrt, \"f\": f}", "%%\nfmt.Println(table[\"f\"](3), table[\"sqrt\"](4))"}},
	{"closure with a state", []string{"var next = counter()\nfunc counter() func() int {\n\tn := 0\n\treturn func() int { n++; return n }\n}", "%%\nfmt.Println(next(), next())", "%%\nfmt.Println(next())"}},
	{"flags", []string{"var n = flag.Int(\"n\", 3, \"a number\")", "%% -n 7 rest\nfmt.Println(*n, flag.Args())", "%%\nfmt.Println(*n, flag.NArg())", "%% -unknown\nfmt.Println(\"never\")"}},
	{"arguments", []string{"%% one \"two three\"\nfmt.Println(os.Args[1:])", "%args four", "%%\nfmt.Println(len(os.Args))", "%main five\nfmt.Println(os.Args[1:])"}},
	{"exec", []string{"func hello() { fmt.Println(\"hello\") }\n%exec hello", "%exec hello"}},
	{"a main of its own", []string{"func main() { fmt.Println(\"mine\") }", "func helper() int { return 3 }\nfunc main() {\n\tfmt.Println(helper())\n}", "%%\nfmt.Println(helper())"}},
	{"main between declarations", []string{"func a() int { return b() }\nfunc main() { fmt.Println(a()) }\nfunc b() int { return 2 }"}},
	{"cells moved", []string{"%%\nsheet.Number(\"fall-time\", late(), \"s\")", "func late() float64 { return 0.7 }", "%%\nsheet.Number(\"pull\", late(), \"N\")"}},
	{"cell twice", []string{"func f() float64 { return 0.7 }\n%%\nsheet.Number(\"fall-time\", f(), \"s\")", "func f() float64 { return 0.7 }\n%%\nsheet.Number(\"fall-time\", f(), \"s\")"}},
	{"answer given twice", []string{"%%\nsheet.Number(\"fall-time\", 5, \"s\")", "%%\nsheet.Number(\"fall-time\", 0.7, \"s\")"}},
	{"sheet declared again", []string{"%%\nsheet.Number(\"fall-time\", 0.7, \"s\")", "var sheet = ask.Sheet(\"00-first-steps\", CODE)", "%%\nsheet.Choice(\"brackets\", \"b\")"}},
	{"function answers", []string{"func mean(x []float64) float64 {\n\ts := 0.0\n\tfor _, v := range x {\n\t\ts += v\n\t}\n\treturn s / float64(len(x))\n}\n%%\nsheet.Function(\"mean\", mean)"}},
	{"function answer that panics", []string{"%%\nsheet.Function(\"mean\", func(x []float64) float64 { return x[1000] })\nfmt.Println(\"on\")"}},
	{"function answer of another kind", []string{"%%\nsheet.Function(\"mean\", func(x float64) float64 { return x })"}},
	{"function answer that changes", []string{"var calls float64\nfunc mean(x []float64) float64 { calls++; return calls }\n%%\nsheet.Function(\"mean\", mean)"}},
	{"typed answers", []string{"%%\nsheet.Typed(\"fall-time\", \"0.70(5) s\")", "%%\nsheet.Typed(\"pull\", \"a lot\")", "%%\nsheet.Number(\"pull\", math.NaN(), \"N\")"}},
	{"wrong unit", []string{"%%\nsheet.Number(\"fall-time\", 700, \"ms\")", "%%\nsheet.Number(\"pull\", 1, \"kg\")"}},
	{"comment only", []string{"// nothing but words", "/* and\nmore */\n%%\nfmt.Println(1)"}},
	{"special lines only", []string{"%noautoget", "%%", "%%\n// words"}},
	{"percent in a string", []string{"%%\nfmt.Printf(\"%d%%\\n\", 5)\ns := `\n a\n`\nfmt.Println(len(s))"}},
	{"sign in a raw string", []string{"%%\ns := `a\n!true\nb`\nfmt.Println(len(s))"}},
	{"gonb comments", []string{"//gonb:%%\nfmt.Println(\"prefixed\")"}},
	{"line that begins with package", []string{"package main\n\nfunc f() int { return 5 }\n%%\nfmt.Println(f())"}},
	{"import after a declaration", []string{"func f() int { return 5 }\nimport \"sort\"", "%%\nfmt.Println(f())"}},
	{"forgotten and reset", []string{"var x = 1", "%rm x", "%%\nfmt.Println(x)"}},
	{"labels and goto", []string{"%%\ni := 0\nagain:\ni++\nif i < 3 {\n\tgoto again\n}\nouter:\nfor {\n\tfor {\n\t\tbreak outer\n\t}\n}\nfmt.Println(i)"}},
	{"iterators", []string{"func upto(n int) iter.Seq[int] {\n\treturn func(yield func(int) bool) {\n\t\tfor i := range n {\n\t\t\tif !yield(i) {\n\t\t\t\treturn\n\t\t\t}\n\t\t}\n\t}\n}", "%%\nfmt.Println(slices.Collect(upto(4)))"}},
	{"two programs in one", []string{"func unit() string { return \"m\" }", "%%\nfmt.Println(unit())", "func unit() string { return \"mm\" }", "%%\nfmt.Println(unit())", "func unit() string { return \"m\" }", "%%\nfmt.Println(unit())"}},
	{"standard error", []string{"%%\nfmt.Fprintln(os.Stderr, \"aside\")\nfmt.Println(\"main\")"}},
	{"array and struct values", []string{"type point struct{ X, Y float64 }\nvar grid = [2][2]point{{{1, 2}, {3, 4}}, {{5, 6}, {7, 8}}}\nvar origin = &point{}", "%%\ngrid[0][0].X = 100\norigin.X = 5\nfmt.Println(grid, *origin)", "%%\nfmt.Println(grid, *origin)"}},
	{"runs out of bounds", []string{"var x = []int{1, 2}\nvar y = x[5]", "%%\nfmt.Println(\"never\")", "%rm y", "%%\nfmt.Println(x)"}},
}

// TestFair holds the confined run against the kernel, on every notebook of the
// repository and on edited ones: the same verdicts, values that agree to 1e-9,
// cells that end alike and print alike.
func TestFair(t *testing.T) {
	if testing.Short() {
		t.Skip("replaying through the kernel takes two minutes")
	}
	if len(trials) < 60 {
		t.Fatalf("%d trials", len(trials))
	}
	pool, err := sandbox.NewPool(t.Context(), sandbox.PoolOptions{Workers: 2, Clone: "../.."})
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	t.Run("group", func(t *testing.T) {
		for _, number := range []string{"00", "01"} {
			for _, worked := range []bool{false, true} {
				t.Run(fmt.Sprintf("lab %s, worked %v", number, worked), func(t *testing.T) {
					t.Parallel()
					compare(t, pool, labs(t, number, worked))
				})
			}
		}
		for i, tr := range trials {
			t.Run(tr.name, func(t *testing.T) {
				t.Parallel()
				code := fmt.Sprintf("%q", bank.NumberedCode("00-first-steps", i))
				nb := notebook.New(kernel.Name, "gravlab", "go")
				for k, source := range append([]string{start}, tr.cells...) {
					nb.Cells = append(nb.Cells, notebook.NewCell(notebook.Code, fmt.Sprintf("c%d", k), strings.ReplaceAll(source, "CODE", code)))
				}
				compare(t, pool, nb)
			})
		}
	})
}

// labs reads a notebook of the repository.
func labs(t *testing.T, number string, worked bool) *notebook.Notebook {
	t.Helper()
	l, err := exercises.Find(number)
	if err != nil {
		t.Fatal(err)
	}
	nb, err := notebook.ReadFile("../../notebooks/"+l.ID+".ipynb", notebook.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if worked {
		if _, err := l.Sheet("").Fill(nb, true); err != nil {
			t.Fatal(err)
		}
	}
	nb.SetKernel(kernel.Name, "gravlab", "go")
	return nb
}

// compare runs a notebook both ways.
func compare(t *testing.T, pool *sandbox.Pool, nb *notebook.Notebook) {
	file, err := nb.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	b, err := labserver.New(labserver.Options{InMemory: true})
	if err != nil {
		t.Fatal(err)
	}
	s := b.Session(labserver.SessionOptions{Confined: true, Files: os.DirFS("../../notebooks")})
	out, err := pool.Run(t.Context(), sandbox.Job{Notebook: file, Exchange: s.Exchange, Limits: sandbox.Limits{Sheet: 2 * time.Minute}})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("confined: %+v", out.Times)
	data := t.TempDir()
	begun := time.Now()
	result, err := kernel.Run(t.Context(), nb, kernel.RunOptions{DataDir: data, Dir: "../../notebooks", Timeout: time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("kernel: %v for %d cells", time.Since(begun).Round(time.Millisecond), len(result.Cells))
	if len(result.Cells) != len(out.Cells) {
		t.Fatalf("%d cells under the kernel, %d confined", len(result.Cells), len(out.Cells))
	}
	for i, k := range result.Cells {
		c := out.Cells[i]
		if k.Index != c.Index || alike(k.Outcome) != alikeConfined(c.State) {
			t.Errorf("cell %d: %s under the kernel (%s), %s confined (%s); %v\n%s", k.Index+1, k.Outcome, k.Reason, c.State, c.Fault, remarksOf(out, k.Index), k.Cell.Source)
			continue
		}
		// What %rm prints is the kernel's own.
		if got, want := lines(c.Output), lines(printed(k.Cell)); k.Outcome == kernel.Ran && got != want && !strings.HasPrefix(k.Cell.Source, "%rm") {
			t.Errorf("cell %d: printed %q under the kernel, %q confined\n%s", k.Index+1, want, got, k.Cell.Source)
		}
	}
	held, err := labserver.New(labserver.Options{Data: data})
	if err != nil {
		t.Fatal(err)
	}
	sums, err := s.Summaries()
	if err != nil {
		t.Fatal(err)
	}
	for _, confined := range sums {
		kept, err := held.Summary(confined.Lab.ID, string(confined.Code), false)
		if err != nil {
			t.Fatal(err)
		}
		for i, a := range kept.Standings {
			b := confined.Standings[i]
			if a.Answered != b.Answered || a.Verdict.Outcome != b.Verdict.Outcome || a.Verdict.Marks != b.Verdict.Marks || (a.Answer.Fault == "") != (b.Answer.Fault == "") || a.Answer.Unit != b.Answer.Unit || a.Answer.Text != b.Answer.Text {
				t.Errorf("%s of sheet %q: under the kernel %+v %+v, confined %+v %+v", a.Question.ID, confined.Code, a.Answer, a.Verdict, b.Answer, b.Verdict)
			}
			same(t, a.Question.ID, []float64{a.Answer.Value, a.Answer.U}, []float64{b.Answer.Value, b.Answer.U})
			if len(a.Answer.Values) != len(b.Answer.Values) {
				t.Errorf("%s: %d and %d values", a.Question.ID, len(a.Answer.Values), len(b.Answer.Values))
				continue
			}
			for k := range a.Answer.Values {
				same(t, a.Question.ID, a.Answer.Values[k], b.Answer.Values[k])
			}
		}
	}
}

func same(t *testing.T, what string, a, b []float64) {
	t.Helper()
	if len(a) != len(b) {
		t.Errorf("%s: %v and %v", what, a, b)
		return
	}
	for i := range a {
		if math.IsNaN(a[i]) != math.IsNaN(b[i]) || math.Abs(a[i]-b[i]) > 1e-9*math.Abs(a[i]) {
			t.Errorf("%s: %v under the kernel, %v confined", what, a[i], b[i])
		}
	}
}

// alike names what a cell came to; the kernel does not tell a program that failed from one
// that was not built.
func alike(o kernel.Outcome) string {
	switch o {
	case kernel.Ran:
		return "ran"
	case kernel.Failed:
		return "failed"
	}
	return string(o)
}

func alikeConfined(s sandbox.State) string {
	switch s {
	case sandbox.Ran:
		return "ran"
	case sandbox.Failed, sandbox.NotBuilt:
		return "failed"
	}
	return string(s)
}

func remarksOf(out sandbox.Outcome, index int) (texts []string) {
	for _, r := range out.Remarks {
		if r.Cell == index+1 {
			texts = append(texts, r.Text)
		}
	}
	return texts
}

// lines sorts lines: the kernel keeps no order between the two streams.
func lines(s string) string {
	all := strings.SplitAfter(s, "\n")
	slices.Sort(all)
	return strings.Join(all, "")
}

// printed is what a cell printed, on both streams.
func printed(c *notebook.Cell) string {
	var text string
	for _, o := range c.Outputs {
		if o.Kind == notebook.Stream {
			text += o.Text
		}
	}
	return text
}
