package marking

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/sandbox"
)

// The tests have a lab of their own, with one question of each kind and one that
// builds on another, whose cells are quick to run.
var swingLab = bank.Lab{ID: "90-swing", Title: "The swing", Minutes: 10, Graded: true, Build: buildSwing}

func buildSwing(d *bank.Draw) bank.Sheet {
	length := d.Between("length", 0.6, 1.4, 0.05) // m
	period := func(l float64) float64 { return 2 * math.Pi * math.Sqrt(l/9.81) }
	recording := sync.OnceValue(func() [][]float64 {
		r := d.Rand("swing")
		var t, x []float64
		for i := range 100 {
			t = append(t, float64(i)/10)
			x = append(x, 0.012+math.Round(r.NormFloat64()*100)*1e-5)
		}
		return [][]float64{t, x}
	})
	average := func() float64 { return mean(recording()[1]) }
	return bank.Sheet{
		Recordings: []bank.Recording{{ID: "swing", Title: "A record", Columns: []bank.Column{{Name: "time", Unit: "s"}, {Name: "angle", Unit: "rad"}},
			Make: func() ([][]float64, error) { return recording(), nil }}},
		Questions: []bank.Question{
			{ID: "period", Kind: judge.KindNumber, Marks: 2, Title: "Period", Prompt: fmt.Sprintf("A bob hangs %.2f m below its hook. How long is a swing? Take $g = 9.81\\ \\mathrm{m/s^2}$.", length), Unit: "s",
				Tol: judge.Tolerance{Rel: 0.005, Why: "digits"}, Solve: func(bank.Answers) float64 { return period(length) },
				Slips:  []bank.Slip{{Name: "half a swing", Value: func(bank.Answers) float64 { return period(length) / 2 }, Fix: "A full swing is there and back."}},
				Hints:  [2]string{"A root.", "2π times a root."},
				Worked: fmt.Sprintf("%%%%\nsheet.Number(\"period\", 2*math.Pi*math.Sqrt(%g/9.81), \"s\")", length)},
			{ID: "g", Kind: judge.KindNumber, Marks: 3, Title: "Gravity from the period", Prompt: "And back: what is $g$?", Unit: "m/s²", Uses: []string{"period"},
				Tol: judge.Tolerance{Rel: 0.01, Why: "digits"}, Solve: func(k bank.Answers) float64 { return 4 * math.Pi * math.Pi * length / (k["period"] * k["period"]) },
				Slips:  []bank.Slip{{Name: "4 left out", Value: func(k bank.Answers) float64 { return math.Pi * math.Pi * length / (k["period"] * k["period"]) }, Fix: "2π squared has a 4."}},
				Hints:  [2]string{"Turn the formula round.", "T squared below."},
				Worked: fmt.Sprintf("%%%%\nT := 2 * math.Pi * math.Sqrt(%g/9.81)\nsheet.Number(\"g\", 4*math.Pi*math.Pi*%g/(T*T), \"m/s²\")", length, length)},
			{ID: "rest", Kind: judge.KindMeasured, Marks: 4, Title: "Where it rests", Prompt: "Take the mean angle of the record.", Unit: "mrad",
				Solve: func(bank.Answers) float64 { return average() }, U: func() float64 { return 1e-4 },
				Hints:  [2]string{"Average.", "Divide the scatter by the root of the count."},
				Worked: "%%\nr := sheet.Recording(\"swing\")\nsum := 0.0\nfor _, v := range r.Column(\"angle\") {\n\tsum += v\n}\nsheet.Measured(\"rest\", sum/float64(r.Len())*1000, 0.1, \"mrad\")"},
			{ID: "law", Kind: judge.KindFunction, Marks: 2, Title: "A law", Prompt: "Write a function for the period.", Tol: judge.Tolerance{Rel: 1e-9, Why: "rounding"},
				Function: &bank.Function{Name: "law", Signature: judge.OneToOne, Calls: [][]float64{{0.5}, {1}, {2}, {1}},
					Right: func(x []float64) []float64 { return []float64{period(x[0])} },
					Slips: []bank.FunctionSlip{{Name: "without 2π", F: func(x []float64) []float64 { return []float64{math.Sqrt(x[0] / 9.81)} }, Fix: "A turn has 2π."}}},
				Hints:  [2]string{"A root.", "2π times a root."},
				Worked: "func law(x float64) float64 { return 2 * math.Pi * math.Sqrt(x/9.81) }\n\n%%\nsheet.Function(\"law\", law)"},
			{ID: "mass", Kind: judge.KindChoice, Marks: 1, Title: "Mass", Prompt: "Does a heavier bob swing faster?",
				Options: []judge.Option{{Letter: "a", Text: "no", Right: true}, {Letter: "b", Text: "yes", Idea: "The pull grows with the mass, and so does the inertia."}},
				Worked:  "%%\nsheet.Choice(\"mass\", \"a\")"},
			{ID: "why", Kind: judge.KindText, Marks: 3, Title: "Why", Prompt: "Say why, in a sentence.", Worked: "%%\nsheet.Words(\"why\", \"Heavy and inert mass are the same.\")"},
		},
	}
}

// sources are answer cells, by question.
type sources map[string]string

func worked(p bank.Sheet) sources {
	s := sources{}
	for _, q := range p.Questions {
		s[q.ID] = q.Worked
	}
	return s
}

// with puts one answer in the place of another.
func (s sources) with(pairs ...string) sources {
	for i := 0; i < len(pairs); i += 2 {
		s[pairs[i]] = pairs[i+1]
	}
	return s
}

// answered is a sheet with answers in its cells.
func answered(t testing.TB, p bank.Sheet, s sources) []byte {
	t.Helper()
	nb := sheet(t, p, s)
	text, err := nb.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func sheet(t testing.TB, p bank.Sheet, s sources) *notebook.Notebook {
	t.Helper()
	nb := PlainNotebook(p.Lab)
	p.AddCells(nb)
	if _, err := p.Fill(nb, false); err != nil {
		t.Fatal(err)
	}
	for id, source := range s {
		nb.Question(p.Lab.FullID(id), notebook.Answer).Source = source
	}
	return nb
}

var pool = sync.OnceValues(func() (*sandbox.Pool, error) {
	return sandbox.NewPool(context.Background(), sandbox.PoolOptions{Workers: 2, Clone: "../.."})
})

// roles are what this test's program does instead of testing, by the variable that says so.
var roles = map[string]func(string){victim: beMarked, lender: beLent}

func TestMain(m *testing.M) {
	if err := exercises.Add(swingLab); err != nil {
		panic(err)
	}
	for name, be := range roles {
		if text := os.Getenv(name); text != "" {
			be(text)
			return
		}
	}
	code := m.Run()
	if p, err := pool(); err == nil {
		p.Close()
	}
	os.Exit(code)
}

// start gives the shared workers.
func start(context.Context) (Runner, error) {
	p, err := pool()
	if err != nil {
		return nil, err
	}
	return p.Run, nil
}

// A classroom is a class, its key, and a folder with what comes in and goes out.
type classroom struct {
	Marking
	t   testing.TB
	dir string
	lab bank.Lab
}

func newClassroom(t testing.TB, lab bank.Lab, n int) *classroom {
	t.Helper()
	c := &classroom{t: t, dir: t.TempDir(), lab: lab}
	for i := range n {
		c.Class.Students = append(c.Class.Students, Student{ID: fmt.Sprintf("s%02d", i+1), Name: names[i%len(names)]})
	}
	c.Key = []byte("a key for tests, of 32 bytes ...")
	c.Returned, c.Out = []string{filepath.Join(c.dir, "in")}, filepath.Join(c.dir, "out")
	c.Start, c.Workers = start, 2
	if err := os.Mkdir(c.Returned[0], 0o700); err != nil {
		t.Fatal(err)
	}
	return c
}

var names = []string{"Ada Bell", "Cleo Berg", "Dan Eck", "Eve Fox", "Gus Hale", "Ina Jung", "Kim Lund", "Max Noor", "Ole Pine", "Rae Stone"}

func (c *classroom) sheet(i int) bank.Sheet {
	return c.lab.Sheet(bank.StudentCode(c.Key, c.lab.ID, c.Class.Students[i].ID, ""))
}

// hand puts a file into the folder of what came in.
func (c *classroom) hand(name string, text []byte) {
	c.t.Helper()
	path := filepath.Join(c.Returned[0], filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		c.t.Fatal(err)
	}
	if err := os.WriteFile(path, text, 0o600); err != nil {
		c.t.Fatal(err)
	}
}

func (c *classroom) mark() Summary {
	c.t.Helper()
	s, err := Mark(c.t.Context(), c.Marking)
	if err != nil {
		c.t.Fatal(err)
	}
	return s
}

// rows reads a book, without its header.
func (c *classroom) rows(name string) [][]string {
	c.t.Helper()
	t, err := readTable(filepath.Join(c.Out, name))
	if err != nil {
		c.t.Fatal(err)
	}
	return t.rows
}

func (c *classroom) file(name string) string {
	c.t.Helper()
	text, err := os.ReadFile(filepath.Join(c.Out, filepath.FromSlash(name)))
	if err != nil {
		c.t.Fatal(err)
	}
	return string(text)
}

// wantMarks compares a student's row of marks.csv: marks and total, "" where
// there are none.
func (c *classroom) wantMarks(id, want string) {
	c.t.Helper()
	for _, row := range c.rows("marks.csv") {
		if row[0] != id {
			continue
		}
		if got := strings.Join(row[2:len(row)-1], " "); got != want {
			c.t.Errorf("%s: marks %q, want %q (remarks: %s)", id, got, want, row[len(row)-1])
		}
		return
	}
	c.t.Errorf("marks.csv has no row for %s", id)
}

// wantRemark looks for a remark in remarks.csv.
func (c *classroom) wantRemark(id, part string) {
	c.t.Helper()
	var all []string
	for _, row := range c.rows("remarks.csv") {
		if row[0] == id && strings.Contains(row[6], part) {
			return
		}
		if row[0] == id {
			all = append(all, row[6])
		}
	}
	c.t.Errorf("no remark on %q says %q; there are %q", id, part, all)
}

// books are the bytes of everything that was written for people.
func (c *classroom) books() map[string]string {
	c.t.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(c.Out, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(c.Out, path)
		if err != nil {
			return err
		}
		text, err := os.ReadFile(path)
		all[filepath.ToSlash(rel)] = string(text)
		return err
	})
	if err != nil {
		c.t.Fatal(err)
	}
	return all
}

func sameBooks(t testing.TB, what string, got, want map[string]string) {
	t.Helper()
	for name, text := range want {
		if got[name] != text {
			t.Errorf("%s: %s differs", what, name)
		}
	}
	for name := range got {
		if _, ok := want[name]; !ok {
			t.Errorf("%s: there is %s too", what, name)
		}
	}
}

// letter is a right or a wrong option of a question, whose order is the sheet's own.
func letter(p bank.Sheet, id string, right bool) string {
	q, _ := p.Question(id)
	for _, o := range q.Options {
		if o.Right == right {
			return o.Letter
		}
	}
	panic("no such option of " + id)
}

func chooses(id, letter string) string { return fmt.Sprintf("%%%%\nsheet.Choice(%q, %q)", id, letter) }

// right is the right answer to a question with a number, in SI units, as Go
// writes it.
func right(p bank.Sheet, id string, factor float64) string {
	return strconv.FormatFloat(p.RightAnswers()[id]*factor, 'g', -1, 64)
}
