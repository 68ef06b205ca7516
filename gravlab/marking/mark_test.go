package marking

import (
	"fmt"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/notebook"
)

// A story is what one student hands in and what it is worth.
type story struct {
	name   string
	cells  func(c *classroom, i int, p bank.Sheet) sources
	file   func(c *classroom, i int, p bank.Sheet) // instead of cells
	marks  string                                  // period g rest law mass why total
	remark string
	reply  string // what the reply says too
	slow   bool
}

const (
	full    = "2 3 4 2 1  12" // the text waits
	nothing = "0 0 0 0 0 0 0"
)

// same is a cell that gives in a number.
func gives(id, value, unit string) string {
	return fmt.Sprintf("%%%%\nsheet.Number(%q, %s, %q)", id, value, unit)
}

var stories = []story{
	{name: "worked", cells: func(c *classroom, i int, p bank.Sheet) sources { return worked(p) }, marks: full},
	{name: "blank", cells: func(c *classroom, i int, p bank.Sheet) sources { return nil }, marks: nothing},
	{name: "slipped, then carried", cells: func(c *classroom, i int, p bank.Sheet) sources {
		half := right(p, "period", 0.5)
		return worked(p).with("period", gives("period", half, "s"),
			"g", gives("g", "4*math.Pi*math.Pi*9.81*"+right(p, "period", 1)+"*"+right(p, "period", 1)+"/(4*math.Pi*math.Pi)/("+half+"*"+half+")", "m/s²"),
			"law", "func law(x float64) float64 { return math.Sqrt(x/9.81) }\n\n%%\nsheet.Function(\"law\", law)",
			"mass", chooses("mass", letter(p, "mass", false)))
	}, marks: "0 3 4 0 0  7"},
	{name: "not carried, another slip", cells: func(c *classroom, i int, p bank.Sheet) sources {
		return worked(p).with("g", gives("g", "9.81/4", "m/s²"))
	}, marks: "2 0 4 2 1  9"},
	{name: "units", cells: func(c *classroom, i int, p bank.Sheet) sources {
		return worked(p).with("period", gives("period", right(p, "period", 1), ""), "g", gives("g", "9.81", "kg"))
	}, marks: "1 1 4 2 1  9"},
	{name: "no uncertainty", cells: func(c *classroom, i int, p bank.Sheet) sources {
		return worked(p).with("rest", fmt.Sprintf("%%%%\nsheet.Measured(\"rest\", %s, 0, \"mrad\")", right(p, "rest", 1000)))
	}, marks: "2 3 2 2 1  10"},
	{name: "typed", cells: func(c *classroom, i int, p bank.Sheet) sources {
		return worked(p).with("rest", fmt.Sprintf("%%%%\nsheet.Typed(\"rest\", \"%.4f ± 0.1 mrad\")", p.RightAnswers()["rest"]*1000))
	}, marks: full},
	{name: "the last answer counts", cells: func(c *classroom, i int, p bank.Sheet) sources {
		return worked(p).with("period", "%%\nsheet.Number(\"period\", 77, \"s\")\nsheet.Number(\"period\", "+right(p, "period", 1)+", \"s\")", "mass", chooses("mass", letter(p, "mass", true))+fmt.Sprintf("\nsheet.Choice(%q, %q)", "mass", letter(p, "mass", false)))
	}, marks: "2 3 4 2 0  11"},
	{name: "cells that fail cost their own answers", cells: func(c *classroom, i int, p bank.Sheet) sources {
		return worked(p).with("period", "%%\npanic(\"no idea\")", "g", "%%\nthis is no Go", "rest", "%%\nos.Exit(3)\nsheet.Measured(\"rest\", 1, 1, \"mrad\")")
	}, marks: "0 0 0 2 1  3", remark: "no idea", reply: "may say where an answer was lost"},

	// Hostile ones.
	{name: "a loop over candidates", cells: func(c *classroom, i int, p bank.Sheet) sources {
		return worked(p).with("period", "%%\nfor i := 0; i < 40; i++ {\n\tsheet.Number(\"period\", 1+float64(i)/40, \"s\")\n}")
	}, marks: "0 3 4 2 1  10", remark: "different answers to period"},
	{name: "answers for somebody else", cells: func(c *classroom, i int, p bank.Sheet) sources {
		other := fmt.Sprintf("ask.Sheet(%q, %q)", p.Lab.ID, c.sheet((i+1)%len(c.Class.Students)).Code)
		return sources{"mass": "%%\n" + other + ".Choice(\"mass\", \"b\")\n" + other + ".Number(\"period\", 1, \"s\")"}
	}, marks: nothing, remark: "not its own"},
	{name: "stale outputs", file: func(c *classroom, i int, p bank.Sheet) {
		nb := sheet(c.t, p, nil)
		for _, q := range p.Questions {
			cell := nb.Question(p.Lab.FullID(q.ID), notebook.Answer)
			cell.Run = 1
			cell.Outputs = []*notebook.Output{{Kind: notebook.Display, Data: notebook.Bundle{"text/plain": "✓ right",
				"application/vnd.gravlab.verdict+json": map[string]any{"question": q.ID, "outcome": "right", "marks": float64(q.Marks), "of": float64(q.Marks)}}}}
		}
		text, err := nb.Bytes()
		if err != nil {
			c.t.Fatal(err)
		}
		c.hand(c.Class.Students[i].ID+"/x.ipynb", text)
	}, marks: nothing},
	{name: "markup in every field", cells: func(c *classroom, i int, p bank.Sheet) sources {
		const m = `<script>alert(1)</script><img src=x onerror=alert(2)>`
		return sources{
			"period": gives("period", "1", m), "g": "%%\nsheet.Typed(\"g\", `" + m + "`)",
			"rest": "%%\nshow.Plot(`" + m + "`, show.Axis(`" + m + "`, `" + m + "`), show.Axis(\"x\", \"m\"), show.Line(`" + m + "`, []float64{1, 2}, []float64{1, 2}), show.Caption(`" + m + "`))\nshow.HTML(`" + m + "`)\nshow.Markdown(`" + m + "`)\npanic(`" + m + "`)",
			"law":  "func law(x float64) float64 { panic(`" + m + "`) }\n\n%%\nsheet.Function(\"law\", law)",
			"mass": "%%\nsheet.Choice(\"mass\", `" + m + "`)\nfmt.Println(`" + m + "`)", "why": "%%\nsheet.Words(\"why\", `=HYPERLINK(\"x\")" + m + "`)"}
	}, marks: "0 0 0 0 0  0"},
	{name: "a function that answers differently each time", cells: func(c *classroom, i int, p bank.Sheet) sources {
		return worked(p).with("law", "var n = 0.0\n\nfunc law(x float64) float64 { n++; return n }\n\n%%\nsheet.Function(\"law\", law)")
	}, marks: "2 3 4 0 1  10"},
	{name: "a function that never returns at the judge's points", slow: true, cells: func(c *classroom, i int, p bank.Sheet) sources {
		return worked(p).with("law", "func law(x float64) float64 {\n\tfor x == 2 {\n\t}\n\treturn 2 * math.Pi * math.Sqrt(x/9.81)\n}\n\n%%\nsheet.Function(\"law\", law)")
	}, marks: "2 3 4 0 1  10", remark: "this cell was ended"},
	{name: "answers a question that is none", cells: func(c *classroom, i int, p bank.Sheet) sources {
		return worked(p).with("mass", "%%\nsheet.Choice(\"masss\", \"b\")")
	}, marks: "2 3 4 2 0  11", remark: "is not a question of the lab", reply: "is not a question of the lab"},
	{name: "exits before the end", cells: func(c *classroom, i int, p bank.Sheet) sources {
		return worked(p).with("law", "%%\nos.Exit(0)")
	}, marks: "2 3 4 0 1  10"},
	{name: "another kind of answer", cells: func(c *classroom, i int, p bank.Sheet) sources {
		return worked(p).with("mass", gives("mass", "1", "s"), "law", "%%\nsheet.Function(\"law\", func(x, y float64) float64 { return x })")
	}, marks: "2 3 4 0 0  9"},
	{name: "no answer at all, but figures", cells: func(c *classroom, i int, p bank.Sheet) sources {
		return sources{"period": "%%\nx := make([]float64, 30000)\nfor i := range x {\n\tx[i] = float64(i)\n}\nfor i := 0; i < 25; i++ {\n\tshow.Plot(\"A line\", show.Axis(\"x\", \"m\"), show.Axis(\"y\", \"m\"), show.Line(\"l\", x, x))\n}"}
	}, marks: nothing, remark: "shows 25 figures"},
	{name: "somebody else's sheet", file: func(c *classroom, i int, p bank.Sheet) {
		c.hand(c.Class.Students[i].ID+"/mine.ipynb", answered(c.t, c.sheet(0), nil))
	}, marks: "      ", reply: "It carries the code of another student's sheet."},
	{name: "two versions", file: func(c *classroom, i int, p bank.Sheet) {
		c.hand(c.Class.Students[i].ID+"/first.ipynb", answered(c.t, p, nil))
		c.hand(c.Class.Students[i].ID+"/second.ipynb", answered(c.t, p, worked(p)))
	}, marks: "      ", remark: "is one of 2 files"},
	{name: "the same file twice", file: func(c *classroom, i int, p bank.Sheet) {
		text := answered(c.t, p, worked(p))
		c.hand(c.Class.Students[i].ID+"/a.ipynb", text)
		c.hand(c.Class.Students[i].ID+"/b.ipynb", text)
	}, marks: full, remark: "was handed in 2 times with the same bytes; it counts once"},
	{name: "nothing returned", file: func(*classroom, int, bank.Sheet) {}, marks: "      "},
	{name: "200 MB", file: func(c *classroom, i int, p bank.Sheet) {
		c.hand(c.Class.Students[i].ID+"/big.ipynb", nil)
		if err := os.Truncate(filepath.Join(c.Returned[0], c.Class.Students[i].ID, "big.ipynb"), 200_000_000); err != nil {
			c.t.Fatal(err)
		}
	}, marks: "      ", reply: "It has 200000000 bytes; more than"},
	{name: "no UTF-8", file: func(c *classroom, i int, p bank.Sheet) {
		c.hand(c.Class.Students[i].ID+"/x.ipynb", append(answered(c.t, p, worked(p)), 0xff, 0xfe))
	}, marks: "      "},
	{name: "no sheet declared", file: func(c *classroom, i int, p bank.Sheet) {
		nb := sheet(c.t, p, worked(p))
		nb.Cell("sheet").Source = "var x = 1"
		text, err := nb.Bytes()
		if err != nil {
			c.t.Fatal(err)
		}
		c.hand(c.Class.Students[i].ID+"/x.ipynb", text)
	}, marks: "      "},
	{name: "a code that is nobody's", file: func(c *classroom, i int, p bank.Sheet) {
		c.hand(c.Class.Students[i].ID+"/x.ipynb", answered(c.t, p.Lab.Sheet(bank.NumberedCode(p.Lab.ID, 7)), worked(p)))
	}, marks: "      "},
}

// TestMark is a class of 30, each with a story, some more than once.
func TestMark(t *testing.T) {
	n := 30
	if testing.Short() {
		n = 9
	}
	c := newClassroom(t, swingLab, n)
	told := stories
	// Somebody hands in the sheet of student 1, whose own file counts all the same.
	expected := make([]story, n)
	for i := range n {
		s := told[i%len(told)]
		if s.slow && testing.Short() {
			s = told[0]
		}
		expected[i] = s
		p := c.sheet(i)
		if s.file != nil {
			s.file(c, i, p)
		} else {
			c.hand(c.Class.Students[i].ID+"/"+p.Lab.ID+".ipynb", answered(t, p, s.cells(c, i, p)))
		}
		if s.name == "somebody else's sheet" {
			expected[0].remark = "does not count: another file with the code of s01 lies in a folder of that name"
		}
	}
	before := listing(t, c.dir)
	s := c.mark()
	if after := listing(t, c.dir); !sameOutside(before, after) {
		t.Errorf("marking touched something outside of its folder: %v", after)
	}
	for i, e := range expected {
		id := c.Class.Students[i].ID
		t.Run(id+" "+e.name, func(t *testing.T) {
			c.t = t
			c.wantMarks(id, e.marks)
			if e.remark != "" {
				c.wantRemark(id, e.remark)
			}
			if e.reply != "" && !strings.Contains(html.UnescapeString(c.file("replies/"+id+".html")), e.reply) {
				t.Errorf("the reply does not say %q", e.reply)
			}
		})
	}
	c.t = t
	if s.Students != n || s.Marked+s.Missing+s.Unmarked+s.Unusable != n {
		t.Errorf("summary %+v", s)
	}
	for name, text := range c.books() {
		if strings.Contains(text, c.dir) || strings.Contains(text, t.TempDir()) || regexp.MustCompile(`202[0-9]-[0-9][0-9]-`).MatchString(text) {
			t.Errorf("%s holds a path or a time", name)
		}
		if name == "by-eye.html" {
			// Its own two scripts stand at its end, the first of them data; JSON has no < in it.
			shown, own, _ := strings.Cut(text, `<script type="application/json" id="rows">`)
			if strings.Count(own, "<script") > 1 {
				t.Errorf("%s holds a script that is not ours", name)
			}
			text = shown
		}
		if strings.HasSuffix(name, ".html") && (strings.Contains(text, "<script") || strings.Contains(text, "<img src=x") || strings.Contains(text, "http:") || strings.Contains(text, "https:")) {
			t.Errorf("%s holds markup or a link that is not ours", name)
		}
	}
	if !testing.Short() {
		for place, part := range map[string]string{
			"big.ipynb": "200000000 bytes", "x.ipynb": "UTF-8", "mine.ipynb": "",
		} {
			if remarks := c.file("remarks.csv"); !strings.Contains(remarks, place) || !strings.Contains(remarks, part) {
				t.Errorf("remarks.csv does not say %q of %s", part, place)
			}
		}
	}
	if look := os.Getenv("LOOK"); look != "" {
		os.CopyFS(look, os.DirFS(c.Out))
	}

	// Again: nothing is run, and the bytes are the same. So they are when the
	// verdicts are made again.
	want := c.books()
	if s := c.mark(); s.Ran != 0 {
		t.Errorf("%d files were run again", s.Ran)
	}
	sameBooks(t, "marked again", c.books(), want)
	c.JudgeAgain, c.Start = true, nil
	c.mark()
	sameBooks(t, "judged again", c.books(), want)
}

// listing is the names and sizes of all files in a folder.
func listing(t testing.TB, dir string) map[string]int64 {
	all := map[string]int64{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err == nil {
			all[path] = info.Size()
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func sameOutside(before, after map[string]int64) bool {
	for path, size := range after {
		if old, ok := before[path]; !strings.Contains(path, string(filepath.Separator)+"out"+string(filepath.Separator)) && (!ok || old != size) {
			return false
		}
	}
	return true
}
