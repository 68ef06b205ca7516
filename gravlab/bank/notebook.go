package bank

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"go/format"
	"slices"
	"strings"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/notebook"
)

// FullID is the id that is unique in the bank: "01/kappa".
func (l Lab) FullID(question string) string { return l.Number() + "/" + question }

// Text is the question as its cell shows it: Markdown.
func (q Question) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "### %s\n\n%s\n", q.Title, strings.TrimSpace(q.Prompt))
	if len(q.Options) > 0 {
		b.WriteString("\n")
		for _, o := range q.Options {
			fmt.Fprintf(&b, "- **%s** %s\n", o.Letter, o.Text)
		}
	}
	marks := "1 mark"
	if q.Marks != 1 {
		marks = fmt.Sprintf("%d marks", q.Marks)
	}
	fmt.Fprintf(&b, "\n*%s. %s.*", marks, q.how())
	return b.String()
}

// how says how a question is answered, in code and in a form alike.
func (q Question) how() string {
	unit := "its unit"
	if q.Unit == "%" {
		unit = "the unit %"
	}
	switch q.Kind {
	case judge.KindNumber:
		if q.Unit == "1" { // code names it: the stub shows how
			return "Enter a dimensionless number"
		}
		return "Enter a number with " + unit
	case judge.KindMeasured:
		if q.Unit == "1" {
			return "Enter a dimensionless number with its standard uncertainty"
		}
		return "Enter a number with its standard uncertainty and " + unit
	case judge.KindChoice:
		return "Choose one"
	case judge.KindFunction:
		return fmt.Sprintf("Submit a function `%s` of type `%s`", q.Function.Name, q.Function.Signature)
	default:
		return "Enter a few sentences, which your lecturer will read"
	}
}

// AnswerStub is what the answer cell holds before the student comes. Run as it
// is, it submits nothing: a number of exactly 0 is a blank.
func (q Question) AnswerStub() string {
	if q.Stub != "" {
		return q.Stub
	}
	unit := "in " + q.Unit
	if q.Unit == "1" {
		unit = "a plain number"
	}
	switch q.Kind {
	case judge.KindNumber:
		return fmt.Sprintf("%%%%\nresult := 0.0 // your calculation, %s\nsheet.Number(%q, result, %q)", unit, q.ID, q.Unit)
	case judge.KindMeasured:
		if q.Unit == "1" {
			unit = "plain numbers"
		}
		return fmt.Sprintf("%%%%\nresult, u := 0.0, 0.0 // your value and its standard uncertainty, %s\nsheet.Measured(%q, result, u, %q)", unit, q.ID, q.Unit)
	case judge.KindChoice:
		return fmt.Sprintf("%%%%\nsheet.Choice(%q, \"\") // a letter between the quotes", q.ID)
	case judge.KindFunction:
		return q.Function.stub() + fmt.Sprintf("\n\n%%%%\nsheet.Function(%q, %s)", q.ID, q.Function.Name)
	default:
		return fmt.Sprintf("%%%%\nsheet.Words(%q, ``) // your text between the backquotes", q.ID)
	}
}

func (f Function) stub() string {
	switch f.Signature {
	case judge.OneToOne:
		return fmt.Sprintf("func %s(x float64) float64 {\n\treturn 0 // your formula\n}", f.Name)
	case judge.TwoToOne:
		return fmt.Sprintf("func %s(x, y float64) float64 {\n\treturn 0 // your formula\n}", f.Name)
	case judge.SliceToOne:
		return fmt.Sprintf("func %s(x []float64) float64 {\n\treturn 0 // your formula\n}", f.Name)
	default:
		return fmt.Sprintf("func %s(x []float64) []float64 {\n\ty := make([]float64, len(x))\n\treturn y // your formula for each\n}", f.Name)
	}
}

// Solution is the worked solution as gofmt has it: where a comment at the end of a line stands
// depends on how long the numbers of the sheet are, so a text file cannot have it right.
func (q Question) Solution() string {
	above, below, isProgram := strings.Cut("\n"+q.Worked, "\n%%\n")
	parts := []string{strings.TrimPrefix(above, "\n"), below}
	for i, part := range parts {
		// What cannot be formatted stays: the tests of the bank find it.
		if neat, err := format.Source([]byte(part)); err == nil {
			parts[i] = string(neat)
		}
	}
	switch {
	case !isProgram:
		return parts[0]
	case parts[0] == "":
		return "%%\n" + parts[1]
	default:
		return strings.TrimRight(parts[0], "\n") + "\n\n%%\n" + parts[1]
	}
}

// Fill writes the sheet into the cells of a notebook that come from the bank:
// the sheet's declaration, the words of every question, and the answer cells
// that no one has written in. With worked it puts the worked solutions into the
// answer cells instead, whatever stands there; use it on a copy.
//
// It returns the ids of the answer cells that it left alone because someone
// had written in them. A question of the bank without a cell, or a cell of a
// question that the bank does not have, is an error, and nothing is changed.
func (s Sheet) Fill(nb *notebook.Notebook, worked bool) (kept []string, err error) {
	if s.Sealed {
		return nil, ErrSealed
	}
	seen := map[string]bool{}
	var problems []string
	for i, c := range nb.Cells {
		from, part, ok := c.Question()
		if !ok || part == notebook.Sheet {
			continue
		}
		if lab, _, _ := strings.Cut(from, "/"); lab != s.Lab.Number() {
			problems = append(problems, fmt.Sprintf("cell %d comes from %q, which is not a question of lab %s", i+1, from, s.Lab.ID))
			continue
		}
		if _, ok := s.Question(from); !ok {
			problems = append(problems, fmt.Sprintf("cell %d comes from %q, which the bank does not have", i+1, from))
		}
		seen[from+" "+string(part)] = true
	}
	for _, q := range s.Questions {
		for _, part := range []notebook.Part{notebook.QuestionText, notebook.Answer} {
			if id := s.Lab.FullID(q.ID); !seen[id+" "+string(part)] {
				problems = append(problems, fmt.Sprintf("no cell holds the %s of question %s", part, id))
			}
		}
	}
	if len(problems) > 0 {
		return nil, fmt.Errorf("the notebook and the bank of lab %s do not fit:\n  %s", s.Lab.ID, strings.Join(problems, "\n  "))
	}
	for _, c := range nb.Cells {
		from, part, ok := c.Question()
		if !ok {
			continue
		}
		q, _ := s.Question(from)
		switch {
		case part == notebook.Sheet:
			c.Source = notebook.Declare(c.Source, s.Lab.ID, string(s.Code))
		case part == notebook.QuestionText:
			c.Source = q.Text()
		case worked:
			c.Source = q.Solution()
		case untouched(c):
			c.Source = q.AnswerStub()
			setStub(c)
		default:
			kept = append(kept, from)
		}
	}
	return kept, nil
}

// AddCells puts cells into a notebook for the questions that only sealed sheets have:
// before the last cell, which shows where the sheet stands.
func (s Sheet) AddCells(nb *notebook.Notebook) {
	for _, q := range s.Questions {
		id := s.Lab.FullID(q.ID)
		if !q.SealedOnly || nb.Question(id, notebook.Answer) != nil {
			continue
		}
		text, answer := notebook.NewCell(notebook.Markdown, q.ID+"-text", ""), notebook.NewCell(notebook.Code, q.ID+"-answer", "")
		text.SetQuestion(id, notebook.QuestionText)
		answer.SetQuestion(id, notebook.Answer)
		at := len(nb.Cells)
		for at > 0 && nb.Cells[at-1].Kind == notebook.Code && strings.Contains(nb.Cells[at-1].Source, ".Done()") {
			at--
		}
		nb.Cells = slices.Insert(nb.Cells, at, text, answer)
	}
}

// An answer cell remembers a hash of the stub that it was given, so that a
// student's text is told from an older stub of ours.
const stubKey = "stub"

func stubHash(source string) string {
	sum := sha256.Sum256([]byte(strings.TrimSpace(source)))
	return hex.EncodeToString(sum[:8])
}

func setStub(c *notebook.Cell) {
	c.SetOwn(stubKey, stubHash(c.Source))
}

func untouched(c *notebook.Cell) bool {
	if strings.TrimSpace(c.Source) == "" {
		return true
	}
	return c.Own()[stubKey] == stubHash(c.Source)
}

// Declared returns the lab and the code that a notebook declares as its sheet; ok is false
// when no cell from the bank declares one.
func Declared(nb *notebook.Notebook) (lab string, code Code, ok bool, err error) {
	for i, c := range nb.Cells {
		from, part, is := c.Question()
		if !is || part != notebook.Sheet {
			continue
		}
		d := notebook.Declarations(c.Source, 1)
		if len(d) == 0 {
			return "", "", false, fmt.Errorf("cell %d should declare the sheet: var sheet = ask.Sheet(%q, \"\")", i+1, from)
		}
		code, err := ParseCode(d[0].Code)
		if err != nil {
			return "", "", false, fmt.Errorf("cell %d: %w", i+1, err)
		}
		return from, code, true, nil
	}
	return "", "", false, nil
}

// Assessed reports whether a notebook declares its sheet as one that is handed in for
// marks: then cells say what was understood, and not what it is worth.
func Assessed(nb *notebook.Notebook) bool {
	for _, c := range nb.Cells {
		if _, part, is := c.Question(); is && part == notebook.Sheet {
			d := notebook.Declarations(c.Source, 1)
			return len(d) > 0 && d[0].Assessed
		}
	}
	return false
}
