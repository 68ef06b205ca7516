package marking

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
)

// An honest student of the tests solves the questions of the swing lab in one of these
// ways, which were written from the questions alone, and puts in names, comments and an
// order of their own. LENGTH stands for the number in the prompt; $a to $e are names.
var honest = map[string][]string{
	"period": {
		"%%\n$a := LENGTH\n$b := 9.81\n$c := 2 * math.Pi * math.Sqrt($a/$b)\nsheet.Number(\"period\", $c, \"s\")",
		"%%\n$a := math.Sqrt(9.81 / LENGTH)\nsheet.Number(\"period\", 2*math.Pi/$a, \"s\")",
		"func $a($b float64) float64 {\n\treturn 2 * math.Pi * math.Pow($b/9.81, 0.5)\n}\n\n%%\nfmt.Println($a(LENGTH))\nsheet.Number(\"period\", $a(LENGTH), \"s\")",
		"%%\nconst $a = 9.81\nvar $b float64 = LENGTH\n$c := $b / $a\n$d := math.Sqrt($c)\n$e := $d * math.Pi * 2\nsheet.Number(\"period\", $e, \"s\")",
		"%%\n$a, $b := LENGTH, 9.81\nsheet.Number(\"period\", math.Sqrt(4*math.Pi*math.Pi*$a/$b), \"s\")",
		"%%\n$a := 1 / (2 * math.Pi) * math.Sqrt(9.81/LENGTH) // frequency\n$b := 1 / $a\nfmt.Printf(\"%.3f s\\n\", $b)\nsheet.Number(\"period\", $b, \"s\")",
	},
	"g": {
		"%%\n$a := 2 * math.Pi * math.Sqrt(LENGTH/9.81)\nsheet.Number(\"g\", LENGTH*math.Pow(2*math.Pi/$a, 2), \"m/s²\")",
		"%%\n$a := LENGTH\n$b := math.Sqrt($a/9.81) * 2 * math.Pi\n$c := $b * $b\nsheet.Number(\"g\", 4*math.Pi*math.Pi*$a/$c, \"m/s²\")",
		"func $a($b, $c float64) float64 { return 39.4784 * $b / $c / $c }\n\n%%\n$d := 2 * math.Pi * math.Sqrt(LENGTH/9.81)\nsheet.Number(\"g\", $a(LENGTH, $d), \"m/s²\")",
		"%%\n$a := 2 * math.Pi / (2 * math.Pi * math.Sqrt(LENGTH/9.81))\nsheet.Number(\"g\", $a*$a*LENGTH, \"m/s²\")",
		"%%\nvar $a, $b float64\n$a = LENGTH\n$b = 2 * math.Pi * math.Sqrt($a/9.81)\n$c := $a / ($b * $b)\n$c *= 4 * math.Pi * math.Pi\nfmt.Println($c)\nsheet.Number(\"g\", $c, \"m/s²\")",
		"%%\n$a := 1 / math.Hypot(2*math.Pi*math.Sqrt(LENGTH/9.81), 0)\n$b := 2 * math.Pi * $a\nsheet.Number(\"g\", LENGTH*$b*$b, \"m/s²\")",
	},
	"rest": {
		"%%\n$a := sheet.Recording(\"swing\").Column(\"angle\")\n$b := 0.0\nfor $c := range $a {\n\t$b = $b + $a[$c]\n}\n$b = $b / float64(len($a))\nsheet.Measured(\"rest\", 1000*$b, 0.1, \"mrad\")",
		"func $a($b []float64) (m, s float64) {\n\tfor _, v := range $b {\n\t\tm += v / float64(len($b))\n\t}\n\tfor _, v := range $b {\n\t\ts += (v - m) * (v - m)\n\t}\n\treturn m, math.Sqrt(s / float64(len($b)-1))\n}\n\n%%\n$c := sheet.Recording(\"swing\")\n$d, $e := $a($c.Column(\"angle\"))\nsheet.Measured(\"rest\", $d*1e3, $e*1e3/math.Sqrt(float64($c.Len())), \"mrad\")",
		"%%\n$a := sheet.Recording(\"swing\")\n$b, $c := 0.0, 0.0\nfor _, x := range $a.Column(\"angle\") {\n\t$b += x\n\t$c += x * x\n}\n$d := float64($a.Len())\n$b, $c = $b/$d, $c/$d\n$e := math.Sqrt(($c - $b*$b) / $d)\nfmt.Println($b, $e)\nsheet.Measured(\"rest\", $b, $e, \"rad\")",
		"%%\n$a := sheet.Recording(\"swing\")\n$b := make([]float64, 0, 200)\n$b = append($b, $a.Column(\"angle\")...)\n$c := stat.Mean($b, nil)\n$d := stat.StdErr(stat.StdDev($b, nil), float64(len($b)))\nsheet.Measured(\"rest\", $c*1000, $d*1000, \"mrad\")",
		"%%\nvar $a float64\n$b := sheet.Recording(\"swing\").Column(\"angle\")\nn := len($b)\nfor i := 0; i < n; i++ {\n\t$a += (1000*$b[i] - $a) / float64(i+1)\n}\n$c := 0.0\nfor i := 1; i < n; i++ {\n\t$c += math.Pow(1000*($b[i]-$b[i-1]), 2)\n}\nsheet.Measured(\"rest\", $a, math.Sqrt($c/2/float64(n)/float64(n)), \"mrad\")",
		"%%\n$a := sheet.Recording(\"swing\")\n$b := $a.Column(\"angle\")\nslices.Sort($b)\n$c := $b[10:90]\n$d := 0.0\nfor _, $e := range $c {\n\t$d += $e\n}\nshow.Markdown(\"trimmed mean\")\nsheet.Measured(\"rest\", $d/80*1e3, 0.12, \"mrad\")",
	},
	"law": {
		"func law(x float64) float64 {\n\treturn 2 * math.Pi * math.Sqrt(x/9.81)\n}\n\n%%\nsheet.Function(\"law\", law)",
		"func law($a float64) float64 {\n\t$b := math.Sqrt(9.81 / $a)\n\treturn 2 * math.Pi / $b\n}\n\n%%\nsheet.Function(\"law\", law)",
		"const $a = 9.81\n\nfunc law(l float64) float64 { return math.Pi * math.Sqrt(4*l/$a) }\n\n%%\nsheet.Function(\"law\", law)",
		"var law = func(x float64) float64 { return 2.0060666807 * math.Sqrt(x) }\n\n%%\nfmt.Println(law(1))\nsheet.Function(\"law\", law)",
		"func law(x float64) float64 {\n\tif x < 0 {\n\t\treturn math.NaN()\n\t}\n\t$a := x / 9.81\n\treturn 2 * math.Pi * math.Sqrt($a)\n}\n\n%%\nsheet.Function(\"law\", law)",
		"func $a(x, g float64) float64 { return math.Sqrt(x/g) * 2 * math.Pi }\n\nfunc law(x float64) float64 { return $a(x, 9.81) }\n\n%%\nsheet.Function(\"law\", law)",
	},
}

var (
	ownNames    = []string{"a", "l", "T", "g", "period", "length", "x1", "mean", "tau", "res", "data", "w", "omega", "sum", "ans", "val", "q", "aa", "tmp", "col"}
	ownComments = []string{"", "", "// see the sheet", "// as in the lecture", "// check the unit!", "// SI", "// step by step"}
)

// honestCell is one student's own cell.
func honestCell(r *rand.Rand, question string) string {
	ways := honest[question]
	text := ways[r.IntN(len(ways))]
	order := r.Perm(len(ownNames))
	for i, name := range []string{"$a", "$b", "$c", "$d", "$e"} {
		text = strings.ReplaceAll(text, name, ownNames[order[i]]+map[bool]string{true: fmt.Sprint(r.IntN(9)), false: ""}[r.IntN(3) == 0])
	}
	text = strings.ReplaceAll(text, "LENGTH", fmt.Sprintf("%.2f", 0.6+0.05*float64(r.IntN(17))))
	if c := ownComments[r.IntN(len(ownComments))]; c != "" {
		lines := strings.Split(text, "\n")
		at := len(lines) - r.IntN(2)
		text = strings.Join(append(append(append([]string{}, lines[:at]...), c), lines[at:]...), "\n")
	}
	return text
}

// honestClass are n students who worked alone.
func honestClass(t *testing.T, c *classroom, n int) []work {
	t.Helper()
	var class []work
	for i := range n {
		r := rand.New(rand.NewPCG(uint64(i), 7))
		p := c.sealed(i)
		s := sources{"mass": fmt.Sprintf("%%%%\nsheet.Choice(\"mass\", %q)", "a")}
		for _, id := range slices.Sorted(maps.Keys(honest)) {
			s[id] = honestCell(r, id)
		}
		w := work{student: c.Class.Students[i], sheet: p, nb: sheet(t, p, s), run: run{Read: []string{"swing"}}}
		for _, cell := range w.nb.Cells {
			if cell.ID == "sheet" {
				cell.Source = strings.Replace(cell.Source, "ask.Sheet(", "ask.Assessed(", 1)
			}
		}
		right := p.RightAnswers()
		for _, q := range p.Questions {
			v := verdictOf{Entry: labserver.Entry{Question: q.ID, Answer: judge.Answer{Value: right[q.ID], U: 1e-4, Unit: "rad"}, Verdict: judge.Verdict{Outcome: judge.OutcomeRight, Marks: q.Marks, Of: q.Marks}}, Given: true}
			// One in eight makes the mistake of half a swing.
			if q.ID == "period" && r.IntN(8) == 0 {
				v.Entry.Answer = judge.Answer{Value: right[q.ID] / 2, Unit: "s"}
				v.Entry.Verdict.Marks = 0
			}
			w.verdicts = append(w.verdicts, v)
		}
		class = append(class, w)
	}
	return class
}

// TestHonestClass measures false alarms on 200 honest sheets, as eight classes of 25 and as
// one of 200. In a small class two students who have found the same way are not told from
// copiers by others who have found it too.
func TestHonestClass(t *testing.T) {
	c := newClassroom(t, swingLab, 200)
	class := honestClass(t, c, 200)
	var cells []string
	for _, cell := range sheet(t, c.sealed(0), nil).Cells {
		if cell.Kind == notebook.Code {
			cells = append(cells, cell.Source)
		}
	}
	given := printsOfCells(cells, false)
	maps.Copy(given, printsOfCells(cells, true))
	for _, size := range []int{25, 200} {
		alarms := map[string]int{}
		for at := 0; at < len(class); at += size {
			for _, s := range signsIn(class[at:at+size], given) {
				alarms[s.student]++
				t.Logf("classes of %d, false alarm: %s, %s", size, s.student, s.text)
			}
		}
		t.Logf("classes of %d: %d of 200 honest students have a remark", size, len(alarms))
		if len(alarms) > 4 {
			t.Errorf("classes of %d: %d of 200 honest students have a remark; the lecturer's page says 2 in 100 at most", size, len(alarms))
		}
	}
}

// TestSigns plants what each remark is about among honest sheets.
func TestSigns(t *testing.T) {
	c := newClassroom(t, swingLab, 24)
	class := honestClass(t, c, 24)
	put := func(i int, question, source string) {
		class[i].nb.Question(swingLab.FullID(question), notebook.Answer).Source = source
	}
	wrong := func(i int, id string, a judge.Answer) {
		for k := range class[i].verdicts {
			if e := &class[i].verdicts[k].Entry; e.Question == id {
				e.Answer, e.Verdict.Marks = a, 0
			}
		}
	}
	// 1: the worked solution, with other numbers and comments.
	q, _ := class[1].sheet.Question("rest")
	put(1, "rest", strings.NewReplacer("1000", "1e3", "\n\t", " // add up\n").Replace(q.Worked)+"\n// my own")
	// 2: two answers of 3's.
	var other bank.Answers
	for k := 10; k < len(class); k++ {
		if other = class[k].sheet.RightAnswers(); !near(other["period"], class[2].sheet.RightAnswers()["period"], 0.1) {
			break
		}
	}
	wrong(2, "period", judge.Answer{Value: other["period"], Unit: "s"})
	// 4 and 5: one long program of their own, with other names.
	long := "func smooth(v []float64, n int) []float64 {\n\tout := make([]float64, len(v))\n\tfor i := range v {\n\t\tlo, hi := max(0, i-n), min(len(v), i+n+1)\n\t\tfor _, x := range v[lo:hi] {\n\t\t\tout[i] += x / float64(hi-lo)\n\t\t}\n\t}\n\treturn out\n}\n\nfunc spread(v []float64) float64 {\n\tbest := math.Inf(-1)\n\tfor i := range v {\n\t\tfor k := i + 1; k < len(v); k++ {\n\t\t\tbest = math.Max(best, math.Abs(v[i]-v[k]))\n\t\t}\n\t}\n\treturn best\n}\n\n%%\ns := smooth(sheet.Recording(\"swing\").Column(\"angle\"), 7)\nt := 0.0\nfor i, v := range s {\n\tif i%2 == 0 {\n\t\tt += v\n\t}\n}\nfmt.Println(spread(s))\nsheet.Measured(\"rest\", 2000*t/float64(len(s)), 0.1, \"mrad\")"
	put(4, "rest", long)
	put(5, "rest", strings.NewReplacer("smooth", "filter", "spread", "width", "best", "w", "out", "res", "lo", "from", "hi", "to").Replace("// my filter\n"+long))
	// 6: typed, without a look at the recording.
	class[6].run.Read = nil
	// 7: a changed declaration; 8: an edited prompt; 9: an own recording without a reference.
	class[7].nb.Cell("sheet").Source = strings.Replace(class[7].nb.Cell("sheet").Source, "Assessed", "Sheet", 1)
	class[8].nb.Question(swingLab.FullID("period"), notebook.QuestionText).Source = "### Period\n\nA bob hangs 1.00 m below its hook."
	class[9].run.Own = []string{"mine.csv"}
	found := map[string][]string{}
	for _, s := range signsIn(class, nil) {
		found[s.student] = append(found[s.student], s.short)
		if len(s.sides) < 2 {
			t.Errorf("%s: %s shows %d sides", s.student, s.short, len(s.sides))
		}
	}
	for i, want := range map[int]string{1: "worked solution: rest", 2: "right on another sheet", 4: "shared with s06", 5: "shared with s05", 6: "never read: rest", 7: "declaration", 8: "edited prompt: period", 9: "own recording without"} {
		id := class[i].student.ID
		if !strings.Contains(strings.Join(found[id], "; "), want) {
			t.Errorf("%s has the remarks %q, want %q", id, found[id], want)
		}
		delete(found, id)
	}
	for id, signs := range found {
		t.Errorf("%s did nothing and has the remarks %q", id, signs)
	}
}

// A long worked solution is known again with other names, numbers, comments and layout.
func TestWorkedSolutionRenamed(t *testing.T) {
	lab, err := exercises.Find("01")
	if err != nil {
		t.Fatal(err)
	}
	p := sealedSample(lab)
	nb := PlainNotebook(lab)
	p.AddCells(nb)
	if _, err := p.Fill(nb, false); err != nil {
		t.Fatal(err)
	}
	made := regexp.MustCompile(`(?m)^\s*(\w+)(?:, (\w+))* :=`)
	told := 0
	for _, q := range p.Questions {
		if len(tokensOf(q.Worked, false)) < manyTokens {
			continue
		}
		text := regexp.MustCompile(`//[^\n]*`).ReplaceAllString(q.Worked, "// mine")
		for _, m := range made.FindAllStringSubmatch(text, -1) {
			text = regexp.MustCompile(`(^|[^.\w"])`+m[1]+`\b`).ReplaceAllString(text, "${1}my"+m[1])
		}
		nb.Question(lab.FullID(q.ID), notebook.Answer).Source = regexp.MustCompile(`\b1\b`).ReplaceAllString(text, "2")
		w := work{student: Student{ID: "s1"}, sheet: p, nb: nb}
		signs := w.workedOut()
		if len(signs) == 0 || signs[len(signs)-1].question != q.ID {
			t.Errorf("%s is not known again:\n%s", q.ID, text)
			continue
		}
		told++
	}
	if told < 3 {
		t.Errorf("only %d solutions are long enough", told)
	}
}
