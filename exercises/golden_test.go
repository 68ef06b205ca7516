package exercises

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
	"strings"
	"testing"
)

var updateGolden = flag.Bool("update-golden", false, "write the goldens of the sheets again")

// goldenSheets is how many sheets of each lab the goldens hold: the default one
// and 19 with a code.
const goldenSheets = 20

// TestGolden holds what a student has in hand: for 20 sheets of each lab the
// numbers in the prompts, right answers, tolerances, marks, slips' values, options and
// recordings. The words may change, these may not. A golden holds a hash of each
// question on each sheet; where one differs, the test prints what the bank has now.
//
// The hashes are of all digits, which another processor may round otherwise
// (fused multiply-add), so they are compared on the one that made them.
func TestGolden(t *testing.T) {
	if runtime.GOARCH != "amd64" {
		t.Skip("the goldens hold the digits of amd64")
	}
	sheets := goldenSheets
	if testing.Short() && !*updateGolden {
		sheets = 3
	}
	for _, lab := range Labs() {
		t.Run(lab.Number(), func(t *testing.T) {
			t.Parallel()
			path := filepath.Join("testdata", "golden", lab.Number()+".txt")
			var order []string              // what is told, in the order of the first sheet
			hashes := map[string][]string{} // by what is told, one a sheet
			texts := map[string][]string{}
			for n := range sheets {
				code := Code("")
				if n > 0 {
					code = NumberedCode(lab.ID, n)
				}
				for _, f := range factsOf(lab.Paper(code)) {
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
				if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			golden, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			var names []string
			for line := range strings.Lines(string(golden)) {
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
				t.Errorf("the golden has\n%q, the bank\n%q", names, order)
			}
		})
	}
}

// A fact is one thing that a sheet holds, without its words.
type fact struct{ name, text string }

var shownNumber = regexp.MustCompile(`\d+(\.\d+)?`)

func factsOf(p Paper) []fact {
	var facts []fact
	add := func(name, format string, args ...any) {
		facts = append(facts, fact{name, fmt.Sprintf(format, args...)})
	}
	for _, r := range p.Recordings {
		columns, err := r.Make()
		add("recording:"+r.ID, "%v %v %s", r.Columns, err, hashOf(columns))
	}
	right := p.RightAnswers()
	for _, q := range p.Questions {
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
			task := p.numberTask(q, nil, 0)
			var values, ofU []float64
			for _, s := range task.Slips {
				values = append(values, s.Value)
			}
			for _, s := range task.USlips {
				ofU = append(ofU, s.Value)
			}
			add(q.ID+":slips", "%v, of the uncertainty %v", told(values), told(ofU))
		case q.Function != nil:
			task := q.functionTask(0)
			add(q.ID+":answer", "%s, %d marks, %s %s, tolerance %v %v, calls %v, right %v",
				q.Kind, q.Marks, q.Function.Name, task.Signature, q.Tol.Abs, q.Tol.Rel, task.Calls, task.Want)
			var slips []string
			for _, s := range task.Slips {
				slips = append(slips, fmt.Sprint(s.Values))
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
