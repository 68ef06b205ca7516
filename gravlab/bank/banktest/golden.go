package banktest

import (
	"crypto/sha256"
	"encoding/binary"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
)

var updateGolden = flag.Bool("update-golden", false, "write the goldens of the sheets again")

// goldenSheets is how many sheets of each lab the goldens hold: the default one
// and 19 with a code.
const goldenSheets = 20

// golden holds what a student has in hand: for 20 sheets of a lab the numbers in the prompts,
// right answers, tolerances, marks, slips' values, options and recordings. The words may
// change, these may not. The golden has a hash of each question on each sheet; where one
// differs, the test prints what the lab has now. After a change that is meant:
//
//	go test ./exercises/lab01 -update-golden
//
// The hashes are of twelve digits, and of the bits of recordings, which another processor may
// round otherwise (fused multiply-add), so they are compared on the one that made them.
func golden(t *testing.T, lab bank.Lab, path string) {
	if runtime.GOARCH != "amd64" {
		t.Skip("the goldens hold the digits of amd64")
	}
	sheets := goldenSheets
	if testing.Short() && !*updateGolden {
		sheets = 3
	}
	var order []string              // the names of the facts, in the order of the first sheet
	hashes := map[string][]string{} // by name, one per sheet
	texts := map[string][]string{}
	for n := range sheets {
		code := bank.Code("")
		if n > 0 {
			code = bank.NumberedCode(lab.ID, n)
		}
		for _, f := range factsOf(lab.Sheet(code)) {
			if n == 0 {
				order = append(order, f.name)
			}
			sum := sha256.Sum256([]byte(f.text))
			hashes[f.name] = append(hashes[f.name], fmt.Sprintf("%x", sum[:3]))
			texts[f.name] = append(texts[f.name], fmt.Sprintf("sheet %q: %s", code, f.text))
		}
	}
	if *updateGolden {
		var b strings.Builder
		for _, name := range order {
			fmt.Fprintf(&b, "%s %s\n", name, strings.Join(hashes[name], " "))
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil { // a new lab has none
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	committed, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for line := range strings.Lines(string(committed)) {
		fields := strings.Fields(line)
		name, want := fields[0], fields[1:]
		names = append(names, name)
		if len(want) != goldenSheets {
			t.Fatalf("%s: %s has %d hashes", path, name, len(want))
		}
		for n, got := range hashes[name] {
			if got != want[n] {
				t.Errorf("%s is not what it was; now %s", name, texts[name][n])
			}
		}
	}
	if !slices.Equal(names, order) {
		t.Errorf("the golden has\n%q, the lab\n%q", names, order)
	}
}

// A fact is one thing that a sheet holds, without its words.
type fact struct{ name, text string }

// exactNumber finds numbers that are written to more than twelve digits.
var exactNumber = regexp.MustCompile(`\d+\.\d+(e[-+]\d+)?`)

// twelveDigits rounds: the last ones depend on the order of a sum.
func twelveDigits(number string) string {
	v, _ := strconv.ParseFloat(number, 64)
	return strconv.FormatFloat(v, 'g', 12, 64)
}

var shownNumber = regexp.MustCompile(`\d+(\.\d+)?`)

func factsOf(s bank.Sheet) []fact {
	var facts []fact
	add := func(name, format string, args ...any) {
		text := fmt.Sprintf(format, args...)
		if !strings.HasSuffix(name, ":shown") {
			text = exactNumber.ReplaceAllStringFunc(text, twelveDigits)
		}
		facts = append(facts, fact{name, text})
	}
	for _, r := range s.Recordings {
		columns, err := r.Make()
		add("recording:"+r.ID, "%v %v %s", r.Columns, err, hashOf(columns))
	}
	right := s.RightAnswers()
	for _, q := range s.Questions {
		// Words may be put in another order: the numbers are compared sorted.
		shown := shownNumber.FindAllString(q.Text(), -1)
		slices.Sort(shown)
		add(q.ID+":shown", "%v", shown)

		switch {
		case q.Solve != nil:
			u := 0.0
			if q.U != nil {
				u = q.U()
			}
			add(q.ID+":answer", "%s, %d marks, %v ± %v, unit %s, uses %v, tolerance %v %v, range %v",
				q.Kind, q.Marks, right[q.ID], u, q.Unit, q.Uses, q.Tol.Abs, q.Tol.Rel, q.Range)
			task := s.NumberTask(q, nil, 0)
			var values, ofU []float64
			for _, slip := range task.Slips {
				values = append(values, slip.Value)
			}
			for _, slip := range task.USlips {
				ofU = append(ofU, slip.Value)
			}
			add(q.ID+":slips", "%v, of the uncertainty %v", told(values), told(ofU))
		case q.Function != nil:
			task := q.FunctionTask(0)
			add(q.ID+":answer", "%s, %d marks, %s %s, tolerance %v %v, calls %v, right %v",
				q.Kind, q.Marks, q.Function.Name, task.Signature, q.Tol.Abs, q.Tol.Rel, task.Calls, task.Want)
			var slips []string
			for _, slip := range task.Slips {
				slips = append(slips, fmt.Sprint(slip.Values))
			}
			slices.Sort(slips)
			add(q.ID+":slips", "%v", slips)
		default:
			var options []string
			for _, o := range q.Options {
				options = append(options, fmt.Sprint(o.Letter, o.Right))
			}
			add(q.ID+":answer", "%s, %d marks, options %v", q.Kind, q.Marks, options)
		}
	}
	return facts
}

// told sorts values and leaves out those that lead nowhere.
func told(values []float64) []float64 {
	values = slices.DeleteFunc(values, math.IsNaN)
	slices.Sort(values)
	return values
}

func hashOf(columns [][]float64) string {
	h := sha256.New()
	for _, c := range columns {
		binary.Write(h, binary.LittleEndian, int64(len(c)))
		binary.Write(h, binary.LittleEndian, c)
	}
	return fmt.Sprintf("%x", h.Sum(nil))
}

// goldenPath is testdata/golden.txt; the labs that have no package of their own yet
// share a folder.
func goldenPath(lab bank.Lab) string {
	if lab.Words == nil {
		return filepath.Join("testdata", "golden", lab.Number()+".txt")
	}
	return filepath.Join("testdata", "golden.txt")
}
