package bank

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/fstest"

	"gravity.example/gravlab/judge"
)

const plainText = `# A plumb line swings

A bob hangs [[fixed .length 2]] m below its hook. [[template "period" .]]
Take $g = 9.81\ \mathrm{m/s^2}$.

## Hint

First.

## Hint

Second.

## Slip half: half a swing

There
and\
back, [[.length]] m.

## Tolerance

digits

## Worked

` + "```go" + `
%%
T := math.Sqrt([[lit .length]]) // # no heading
` + "```" + `

## Reasoning

- one
- two
  goes on

Then more.

## Source

none
`

const sharedText = `## Recording swing: The light spot

## Piece period

How long
is a swing?
`

func wordsLab(files map[string]string, change func(q *Question)) Lab {
	fsys := fstest.MapFS{}
	for name, text := range files {
		fsys[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return Lab{ID: "91-own", Words: ReadWords(fsys), Build: func(*Draw) Sheet {
		q := Question{
			ID: "period", Kind: judge.KindNumber, Marks: 2, Unit: "s", Tol: judge.Tolerance{Rel: 0.01}, Fields: Fields{"length": 2.0},
			Solve: Always(2), Slips: []Slip{{ID: "half", Value: Always(1)}}, Range: [2]float64{1, 3},
		}
		if change != nil {
			change(&q)
		}
		return Sheet{Questions: []Question{q}, Recordings: []Recording{{ID: "swing"}}}
	}}
}

// sheetOf returns the sheet or the words' error.
func sheetOf(lab Lab) (s Sheet, err error) {
	defer func() {
		if r := recover(); r != nil {
			var words WordsError
			err = r.(error)
			if !errors.As(err, &words) {
				panic(r)
			}
		}
	}()
	return lab.Sheet(""), nil
}

func TestWords(t *testing.T) {
	lab := wordsLab(map[string]string{"period.md": plainText, "shared.md": sharedText}, nil)
	s, err := sheetOf(lab)
	if err != nil {
		t.Fatal(err)
	}
	q := s.Questions[0]
	for _, c := range [][2]string{
		{q.Title, "A plumb line swings"},
		{q.Prompt, `A bob hangs 2.00 m below its hook. How long is a swing? Take $g = 9.81\ \mathrm{m/s^2}$.`},
		{q.Hints[0] + q.Hints[1], "First.Second."},
		{q.Slips[0].Name, "half a swing"},
		{q.Slips[0].Fix, "There and\nback, 2 m."},
		{q.Tol.Why, "digits"},
		{q.Worked, "%%\nT := math.Sqrt(2.0) // # no heading"},
		{q.Reasoning, "- one\n- two goes on\n\nThen more."},
		{q.Source.Text, "none"},
		{s.Recordings[0].Title, "The light spot"},
	} {
		if c[0] != c[1] {
			t.Errorf("%q, want %q", c[0], c[1])
		}
	}
	// Line ends of another system are the same text.
	crlf := wordsLab(map[string]string{"period.md": strings.ReplaceAll(plainText, "\n", "\r\n"), "shared.md": sharedText}, nil)
	if other, err := sheetOf(crlf); err != nil || fmt.Sprint(other.Questions[0].Prompt, other.Questions[0].Worked) != fmt.Sprint(q.Prompt, q.Worked) {
		t.Errorf("with CRLF: %v, %q", err, other.Questions[0].Prompt)
	}
	// A word that Go sets stands.
	own := wordsLab(map[string]string{"period.md": plainText, "shared.md": sharedText}, func(q *Question) { q.Tol.Why = "by hand" })
	if s, err := sheetOf(own); err != nil || s.Questions[0].Tol.Why != "by hand" {
		t.Errorf("%v, %q", err, s.Questions[0].Tol.Why)
	}
}

// What does not fit is an error that names file and place.
func TestWordsThatDoNotFit(t *testing.T) {
	replace := func(old, new string) func(map[string]string) {
		return func(f map[string]string) { f["period.md"] = strings.Replace(f["period.md"], old, new, 1) }
	}
	shared := func(old, new string) func(map[string]string) {
		return func(f map[string]string) { f["shared.md"] = strings.Replace(f["shared.md"], old, new, 1) }
	}
	for _, c := range []struct {
		files  func(map[string]string)
		change func(*Question)
		want   string
	}{
		{func(f map[string]string) { delete(f, "period.md") }, nil, `should be in period.md`},
		{replace("# A plumb", "A plumb"), nil, "period.md:1: a heading has to come first"},
		{replace("# A plumb line swings", "## Hint"), nil, "period.md:1: the title has to come first"},
		{replace("## Reasoning", "## Reason"), nil, `period.md:31: no section is called "## Reason"`},
		{replace("## Reasoning", "### Reasoning"), nil, `period.md:31: no section is called`},
		{replace("## Source\n\nnone\n", ""), nil, `period.md: has 0 sections "Source"; a number question has 1`},
		{replace("## Hint\n\nFirst.", ""), nil, `period.md: has 1 sections "Hint"; a number question has 2`},
		{replace("digits", ""), nil, `period.md:20: this section is empty`},
		{replace(".length 2", ".lenght 2"), nil, `period.md:3: there is no field "lenght"`},
		{replace("[[.length]]", "[[.length"), nil, `period.md:18: function "m" not defined`},
		{replace("fixed .length 2", "fixed .length"), nil, `period.md:3:`},
		{replace(`"period"`, `"periods"`), nil, `period.md:3: shared.md has no piece "periods"`},
		{replace("## Slip half:", "## Slip halve:"), nil, `there is no section "Slip half: …"`},
		{replace("## Tolerance", "## Slip other: x\n\ny\n\n## Tolerance"), nil, `period.md:20: Go has no slip "other"`},
		{replace("## Tolerance", "## Slip half: x\n\ny\n\n## Tolerance"), nil, `period.md:20: the slip "half" is there twice`},
		{replace("## Tolerance", "## Option a: x\n\ny\n\n## Tolerance"), nil, `has 1 sections "Option"; a number question has none`},
		{replace("```go\n", ""), nil, "period.md: the code that begins with ``` has no end"},
		{replace("```go\n", "text\n```go\n"), nil, "period.md:24: Worked is code"},
		{nil, func(q *Question) { q.Fields["more"] = 1 }, `period.md: Go gives the field "more", which the text does not use`},
		{nil, func(q *Question) { q.Fields = nil }, `there is no field "length"`},
		{nil, func(q *Question) { q.Slips = append(q.Slips, Slip{ID: "new", Value: Always(1.5)}) }, `there is no section "Slip new: …"`},
		{shared("swing:", "swings:"), nil, `shared.md: there is no section "Recording swing: its title"`},
		{shared("## Piece", "## Recording other: x\n\n## Piece"), nil, `shared.md: the lab has no recording "other"`},
		{shared("How long", "How [[.long]]"), nil, `shared.md:5: there is no field "long"`},
		{shared("How long", "How [[.long"), nil, `shared.md:6: `},
		{shared("## Piece period", "## Hint"), nil, `shared.md:3: this file has sections`},
	} {
		files := map[string]string{"period.md": plainText, "shared.md": sharedText}
		if c.files != nil {
			c.files(files)
		}
		lab := wordsLab(files, c.change)
		if _, err := sheetOf(lab); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
		if faults := lab.Faults(2); len(faults) == 0 || !strings.Contains(faults[0], c.want) {
			t.Errorf("Faults says %q, want %q", faults, c.want)
		}
	}
}

// BenchmarkSheet makes a sheet of one question with its words.
func BenchmarkSheet(b *testing.B) {
	lab := wordsLab(map[string]string{"period.md": plainText, "shared.md": sharedText}, nil)
	for b.Loop() {
		lab.Sheet("")
	}
}
