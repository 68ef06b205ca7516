package marking

import (
	"fmt"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/notebook"
)

var hangs = regexp.MustCompile(`hangs ([0-9.]+) m`)

// solved is an honest student's own work on a sealed sheet of the swing lab.
func solved(p bank.Sheet, i int) sources {
	r := rand.New(rand.NewPCG(uint64(i), 11))
	q, _ := p.Question("period")
	length := hangs.FindStringSubmatch(q.Prompt)[1]
	letter := ""
	choice, _ := p.Question("mass")
	for _, o := range choice.Options {
		if o.Right {
			letter = o.Letter
		}
	}
	s := sources{"mass": fmt.Sprintf("%%%%\nsheet.Choice(\"mass\", %q)", letter)}
	for _, id := range []string{"period", "g", "rest", "law"} {
		for {
			text := honestCell(r, id)
			// Leave out ways that need packages which the notebook's first cell does not
			// import.
			if strings.Contains(text, "stat.") || strings.Contains(text, "slices.") {
				continue
			}
			s[id] = regexp.MustCompile(`\b[01]\.[0-9]{2}\b`).ReplaceAllStringFunc(text, func(n string) string {
				if id == "law" || n == "0.12" {
					return n
				}
				return length
			})
			break
		}
	}
	s["why"] = "%%\nsheet.Words(\"why\", \"Heavy and inert mass are the same.\")"
	return s
}

// renamed is code with other names for the same.
func renamed(code string) string {
	return regexp.MustCompile(`\b(smooth|spread|best|out|lo|hi|s|t)\b`).ReplaceAllStringFunc(code, func(name string) string { return "my" + strings.ToUpper(name) })
}

// TestPlanted is a class of 24 with 30 things planted in what it hands in: each is found in
// the marks or told in the remarks, and who did nothing has no remark.
func TestPlanted(t *testing.T) {
	if testing.Short() {
		t.Skip("runs a class of 24")
	}
	c := sealedRoom(t, swingLab, 24)
	c.Lab = swingLab.ID
	at := func(i int, name string) string { return c.Class.Students[i-1].ID + "/" + name }
	own := func(i int) sources { return solved(c.sealed(i-1), i) }
	hand := func(i int, s sources) { c.hand(at(i, "90-swing.ipynb"), c.handedOut(i-1, s)) }
	edit := func(i int, s sources, change func(nb *notebook.Notebook)) {
		nb, err := notebook.Read("a.ipynb", c.handedOut(i-1, s), notebook.Options{})
		if err != nil {
			t.Fatal(err)
		}
		change(nb)
		text, err := nb.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		c.hand(at(i, "90-swing.ipynb"), text)
	}
	value := func(i int, id string, factor float64) string { return right(c.sealed(i-1), id, factor) }
	swing := func(i int) string { return string(c.given(i-1, "swing.csv")) }
	const all = "2 3 4 2 1  0 0 12"

	type want struct {
		id, marks, remark string
	}
	var wants []want
	planted := 0
	plant := func(i int, marks, remark string) {
		planted++
		id := ""
		if i > 0 {
			id = c.Class.Students[i-1].ID
		}
		wants = append(wants, want{id, marks, remark})
	}

	hand(1, own(1)) // honest
	plant(1, all, "")
	hand(2, own(2).with("period", gives("period", value(2, "period", 0.5), "s"))) // a slip
	plant(2, "0 3 4 2 1  0 0 10", "")
	c.hand(at(2, "swing.csv"), []byte(strings.Replace(swing(2), "0.1,", "0.1,1", 1))) // an edited recording
	plant(2, "", "swing.csv beside it is not the recording of this sheet")
	hand(3, own(3).with("period", gives("period", value(3, "period", 1.02), "s"), "g", gives("g", value(3, "g", 1/1.02/1.02), "m/s²"))) // carried
	plant(3, "0 3 4 2 1  0 0 10", "")
	c.hand(at(3, "swing.csv"), []byte(swing(1))) // another's recording
	plant(3, "", "swing.csv beside it is not the recording of this sheet")
	hand(4, own(4).with("g", gives("g", value(4, "g", 1), ""))) // no unit
	plant(4, "2 1 4 2 1  0 0 10", "")
	edit(5, own(5), func(nb *notebook.Notebook) { // two answer cells deleted
		for _, id := range []string{"g", "law"} {
			nb.Question(swingLab.FullID(id), notebook.Answer).Source = ""
		}
	})
	plant(5, "2 0 4 0 1  0 0 7", "")
	edit(6, own(6), func(nb *notebook.Notebook) { // a number in a prompt edited
		cell := nb.Question("90/period", notebook.QuestionText)
		cell.Source = hangs.ReplaceAllString(cell.Source, "hangs 2.00 m")
	})
	plant(6, all, "the text of the question period is not the one that was handed out")
	c.hand(at(7, "lab 1 FINAL (2) – kopia.ipynb"), c.handedOut(6, own(7).with("rest", fmt.Sprintf("%%%%\nsheet.Typed(\"rest\", \"%s ± 0.1 mrad\")", value(7, "rest", 1000))))) // renamed; typed, without the recording
	plant(7, all, "rests on the recording swing, which no cell of the notebook reads")
	c.hand("s08.zip", archive(t, entry{name: `..\..\evil/90-swing.ipynb`, text: string(c.handedOut(7, own(8)))})) // leads out of the archive
	plant(0, "", "has a name that leads out of the archive")
	c.hand("a/one.ipynb", c.handedOut(8, own(9))) // two versions, neither in a folder of the name
	c.hand("b/two.ipynb", c.handedOut(8, own(9).with("law", "%%\n")))
	plant(9, "        ", "is one of 2 files with the code of s09")
	c.hand(at(10, "90-swing.ipynb"), c.handedOut(0, own(1))) // another's sheet, byte for byte
	plant(1, "", "lies under the name s10")
	plant(10, "        ", "")
	c.hand(at(11, "90-swing.ipynb"), nil) // empty
	plant(0, "", "it lies under the name s11")
	c.hand(at(12, "90-swing.ipynb"), c.handedOut(11, own(12))[:2000]) // cut off
	plant(0, "", "it lies under the name s12")
	edit(13, own(13), func(nb *notebook.Notebook) { // ids and metadata gone
		for i, cell := range nb.Cells {
			cell.ID, cell.Metadata = fmt.Sprintf("c%d", i), map[string]any{}
		}
	})
	plant(13, all, "")
	hand(14, own(14).with("law", "func law(x float64) float64 {\n\tfor {\n\t}\n}\n\n%%\nsheet.Function(\"law\", law)")) // never ends
	plant(14, "2 3 4 0 1  0 0 10", "it ran for more than 10s")
	lab00, err := exercises.Find("00")
	if err != nil {
		t.Fatal(err)
	}
	first := sheetOf(lab00, c.Key, "s15", "", bank.SealedCode(c.Key, lab00.ID, "s15", ""))
	c.hand(at(15, "00-first-steps.ipynb"), answered(t, first, nil)) // of another lab
	plant(0, "", "is a sheet of lab 00-first-steps")
	c.hand(at(16, "mine.csv"), []byte("time (s),angle (rad)\n0,0.01\n1,0.02\n2,0.01\n")) // an own recording without a reference
	hand(16, own(16).with("rest", "%%\nr := sheet.OwnRecording(\"mine.csv\")\nsheet.Measured(\"rest\", r.Column(\"angle\")[0]*1000, 0.1, \"mrad\")"))
	plant(16, "2 3 0 2 1  0 0 8", "there is no reference for it")
	plant(17, "        ", "")                       // nothing
	edit(18, own(18), func(nb *notebook.Notebook) { // the declaration changed
		cell := nb.Question("90", notebook.Sheet)
		cell.Source = strings.Replace(cell.Source, "ask.Assessed", "ask.Sheet", 1)
	})
	plant(18, all, "the declaration of the sheet was changed")
	c.hand(at(19, "90-swing.ipynb"), answered(t, c.sheet(18), worked(c.sheet(18)))) // the practice sheet
	plant(19, "        ", "is the practice sheet of s19")
	long := "func smooth(v []float64, n int) []float64 {\n\tout := make([]float64, len(v))\n\tfor i := range v {\n\t\tlo, hi := max(0, i-n), min(len(v), i+n+1)\n\t\tfor _, x := range v[lo:hi] {\n\t\t\tout[i] += x / float64(hi-lo)\n\t\t}\n\t}\n\treturn out\n}\n\nfunc spread(v []float64) float64 {\n\tbest := math.Inf(-1)\n\tfor i := range v {\n\t\tfor k := i + 1; k < len(v); k++ {\n\t\t\tbest = math.Max(best, math.Abs(v[i]-v[k]))\n\t\t}\n\t}\n\treturn best\n}\n\n%%\ns := smooth(sheet.Recording(\"swing\").Column(\"angle\"), 7)\nt := 0.0\nfor i := 0; i < len(s); i++ {\n\tt += s[i]\n}\nfmt.Println(spread(s))\nsheet.Measured(\"rest\", 1000*t/float64(len(s)), 0.1, \"mrad\")"
	hand(20, own(20).with("period", "%%\nthis is no Go", "rest", long)) // does not compile; shares code
	plant(20, "0 3 4 2 1  0 0 10", "shares code with s21")
	hand(21, own(21).with("period", "%%\nexec.Command(\"true\").Run()", "rest", renamed(long))) // what is not run here
	plant(21, "0 3 4 2 1  0 0 10", "shares code with s20")
	plant(21, "", "exec")
	hand(22, own(22).with("law", "func law(x float64) float64 {\n\tb := make([]float64, 1<<28)\n\tfor i := range b {\n\t\tb[i] = x\n\t}\n\treturn b[7]\n}\n\n%%\nsheet.Function(\"law\", law)")) // 2 GiB
	plant(22, "2 3 4 0 1  0 0 10", "memory")
	hand(23, own(1).with("rest", worked(c.sealed(22))["rest"])) // another's answers; the bank's worked solution
	plant(23, "", "are off on this sheet and right on that of s01")
	plant(23, "", "is the bank's worked solution")
	hand(24, nil) // as handed out
	plant(24, "0 0 0 0 0 0 0 0 0", "")
	c.hand("somebody/a.ipynb", answered(t, swingLab.Sheet(bank.NumberedCode(swingLab.ID, 5)), nil)) // of no one
	plant(0, "", "belongs to no one in the class list")
	c.hand("somebody/readme.txt", []byte("no"))
	plant(0, "", "is not a notebook (.ipynb) or a recording")
	c.hand("somebody/default.ipynb", answered(t, swingLab.Sheet(""), nil)) // the repository's
	plant(0, "", "carries the default sheet")

	c.mark()
	found := 0
	for _, w := range wants {
		if t.Run(w.id+" "+w.remark, func(t *testing.T) {
			c := *c
			c.t = t
			if w.marks != "" {
				c.wantMarks(w.id, w.marks)
			}
			if w.remark != "" {
				c.wantRemark(w.id, w.remark)
			}
		}) {
			found++
		}
	}
	t.Logf("%d of %d planted things found", found, planted)
	if planted < 30 {
		t.Errorf("%d things are planted", planted)
	}
	for _, row := range c.rows("remarks.csv") {
		switch row[0] {
		case "s04", "s05", "s13", "s24":
			t.Errorf("%s did nothing that one has to talk about, and has the remark %q", row[0], row[6])
		}
	}
	page := c.file("remarks.html")
	for _, part := range []string{"Remarks, not verdicts", "the bank&#39;s worked solution", "code shared with s21"} {
		if !strings.Contains(page, part) {
			t.Errorf("remarks.html does not say %q", part)
		}
	}
}
