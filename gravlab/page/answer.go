package page

import (
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/quantity"
	"gravity.example/gravlab/wire"
)

// fields are what stands in an answer's form.
type fields struct {
	Number string `json:"number,omitempty"`
	U      string `json:"u,omitempty"`
	Unit   string `json:"unit,omitempty"`
	Choice string `json:"choice,omitempty"`
	Words  string `json:"words,omitempty"`
}

// trim takes out blanks around and limits the length.
func (f fields) trim() fields {
	for _, s := range []*string{&f.Number, &f.U, &f.Unit, &f.Choice} {
		*s = strings.Join(strings.Fields(*s), " ")
		if r := []rune(*s); len(r) > 80 {
			*s = string(r[:80])
		}
	}
	if r := []rune(f.Words); len(r) > 20_000 {
		f.Words = string(r[:20_000])
	}
	return f
}

// text is the fields as people write a number: "8.4e-6 N m/rad ± 0.2e-6 N m/rad".
// The unit stands with both numbers, so that it is clear what each belongs to.
func (f fields) text() string {
	text := f.withUnit(f.Number)
	switch {
	case f.U == "":
	// "2 %" of something is a share of the value, not of its unit.
	case strings.HasSuffix(f.U, "%") || hasUnit(f.U):
		text += " ± " + f.U
	default:
		text += " ± " + f.withUnit(f.U)
	}
	return text
}

// withUnit puts the unit behind a number, unless that is where it was typed. What
// a second unit means is the judge's to ask.
func (f fields) withUnit(number string) string {
	if f.Unit == "" || !strings.ContainsAny(number, "0123456789") {
		return number
	}
	before, ok := strings.CutSuffix(number, f.Unit)
	last, _ := utf8.DecodeLastRuneInString(before)
	if ok && !unicode.IsLetter(last) && !unicode.IsDigit(rune(f.Unit[0])) { // "3.1" ends in no unit "1"
		return number
	}
	return number + " " + f.Unit
}

// hasUnit reports whether a number was typed with a unit behind it.
func hasUnit(number string) bool {
	_, err := quantity.Parse(number, quantity.Unit{})
	return errors.Is(err, quantity.ErrDimension) || errors.Is(err, quantity.ErrUnknownUnit)
}

// source is the answer as the notebook holds it: what the reader could have
// written in code, so that the file says the same to everybody.
func (f fields) source(q bank.Question) string {
	switch q.Kind {
	case judge.KindChoice:
		return fmt.Sprintf("%%%%\nsheet.Choice(%q, %q)", q.ID, f.Choice)
	case judge.KindText:
		return fmt.Sprintf("%%%%\nsheet.Words(%q, %s)", q.ID, strconv.Quote(f.Words))
	default:
		return fmt.Sprintf("%%%%\nsheet.Typed(%q, %s)", q.ID, strconv.Quote(f.text()))
	}
}

// typedKey keeps the fields in the cell's metadata, beside what the bank keeps there.
const typedKey = "typed"

// typed returns the fields that a cell was answered with.
func typed(c *notebook.Cell) (f fields, ok bool) { return keptFields(c, typedKey) }

// drafted returns the fields that stand in a form and were not submitted.
func drafted(c *notebook.Cell) (f fields, ok bool) { return keptFields(c, draftKey) }

func keptFields(c *notebook.Cell, key string) (f fields, ok bool) {
	kept, ok := c.Own()[key].(map[string]any)
	if !ok {
		return f, false
	}
	text, err := json.Marshal(kept)
	if err != nil || json.Unmarshal(text, &f) != nil {
		return fields{}, false
	}
	return f.trim(), true
}

// formOf reports whether a question is answered in fields: not a function, and
// not where the reader has written code or wants to. A number may be worked out in code
// as well.
func (b *document) formOf(q bank.Question, c *notebook.Cell) bool {
	if q.Kind == judge.KindFunction || inCode(c) {
		return false
	}
	if f, ok := typed(c); ok {
		return c.Source == f.source(q)
	}
	return c.Source == q.AnswerStub()
}

// inCode reports whether the reader has chosen to answer in code.
func inCode(c *notebook.Cell) bool {
	chosen, _ := c.Own()[codeKey].(bool)
	return chosen
}

// Keys beside typedKey: the reader answers in code; the code that a form has
// taken the place of; what stands in the form and was not submitted.
const (
	codeKey   = "code"
	beforeKey = "before"
	draftKey  = "draft"
)

// draft keeps what stands in the form of a cell, until it is submitted.
func (b *document) draft(id string, f fields) (problem string) {
	if b.nb == nil {
		return "this lab is not open"
	}
	c := b.nb.Cell(id)
	if c == nil {
		return "there is no such form"
	}
	if _, part, ok := c.Question(); !ok || part != notebook.Answer {
		return "there is no such form"
	}
	if given, _ := typed(c); f.trim() == given {
		c.SetOwn(draftKey, nil)
	} else {
		c.SetOwn(draftKey, notebook.Object(f.trim()))
	}
	return ""
}

// form changes between fields and code.
func (s *Server) form(w http.ResponseWriter, r *http.Request, b *document) {
	var in struct {
		Tab, Question string
		Code          bool
	}
	release := b.forWriter(w, r, &in, &in.Tab)
	if release == nil {
		return
	}
	defer release()
	q, c := b.question(in.Question)
	if c == nil {
		door.Refuse(w, http.StatusBadRequest, "there is no such question")
		return
	}
	given, _ := typed(c)
	shown, changed := drafted(c)
	if !changed {
		shown = given
	}
	if in.Code {
		c.SetOwn(codeKey, true)
		code, ok := c.Own()[beforeKey].(string)
		if !ok {
			code = begun(q, shown.text())
		}
		c.Source = noted(code, shown.text())
		c.SetOwn(beforeKey, nil)
	} else {
		c.SetOwn(codeKey, nil)
		if code := noted(c.Source, ""); code != q.AnswerStub() && code != begun(q, shown.text()) {
			c.SetOwn(beforeKey, code) // nothing that was written is lost
		}
		// After the code has run its answer is the last; what was typed before
		// would have to be submitted again.
		if c.Run > 0 {
			given = fields{}
		}
		c.SetOwn(typedKey, notebook.Object(given))
		c.SetOwn(draftKey, nil)
		if shown != given {
			c.SetOwn(draftKey, notebook.Object(shown))
		}
		c.Source = given.source(q)
	}
	if _, err := b.write(); err != nil {
		b.notSaved(w, err)
		return
	}
	door.Reply(w, b.block(slices.Index(b.nb.Cells, c), c))
}

// begun is the code that an answer begins as: with the number that was typed, so that running it
// as it is puts no 0 in its place.
func begun(q bank.Question, typed string) string {
	code := q.AnswerStub()
	unit, err := quantity.ParseUnit(q.Unit)
	if err != nil {
		return code
	}
	r, err := quantity.Parse(typed, unit)
	if err != nil {
		return code
	}
	v, u := r.In(unit)
	if q.Kind == judge.KindMeasured {
		return strings.Replace(code, "result, u := 0.0, 0.0 ", "result, u := "+literal(v)+", "+literal(u)+" ", 1)
	}
	return strings.Replace(code, "result := 0.0 ", "result := "+literal(v)+" ", 1)
}

// literal writes a number as a float64 of Go.
func literal(v float64) string {
	text := strconv.FormatFloat(v, 'g', 12, 64)
	if !strings.ContainsAny(text, ".eIN") {
		text += ".0"
	}
	return text
}

var note = regexp.MustCompile(`(?m)^// typed into the form: .*\n`)

// noted is code with a comment that says what was typed into the form in place of
// it; without one if that is nothing.
func noted(code, typed string) string {
	code = note.ReplaceAllLiteralString(code, "")
	if typed == "" {
		return code
	}
	head := ""
	if rest, ok := strings.CutPrefix(code, "%%\n"); ok {
		head, code = "%%\n", rest
	}
	return head + "// typed into the form: " + typed + "\n" + code
}

// question finds a question and the cell for its answer.
func (b *document) question(id string) (bank.Question, *notebook.Cell) {
	if !b.hasSheet || b.nb == nil {
		return bank.Question{}, nil
	}
	q, ok := b.sheet.Question(id)
	if !ok {
		return q, nil
	}
	return q, b.nb.Question(b.sheet.Lab.FullID(q.ID), notebook.Answer)
}

// answer judges what was typed into a form, by the lab server, without compiling
// anything, and keeps it in the notebook.
func (s *Server) answer(w http.ResponseWriter, r *http.Request, b *document) {
	var in struct {
		Tab, Question string
		Fields        fields
	}
	release := b.forWriter(w, r, &in, &in.Tab)
	if release == nil {
		return
	}
	defer release()
	q, c := b.question(in.Question)
	if c == nil || q.Kind == judge.KindFunction {
		door.Refuse(w, http.StatusBadRequest, "there is no such question")
		return
	}
	f := in.Fields.trim()
	head := wire.Head{Kind: wire.Answer, Lab: b.sheet.Lab.ID, Code: string(b.sheet.Code), Assessed: b.assessed, Question: q.ID}
	switch q.Kind {
	case judge.KindChoice:
		head.Form, head.Text = wire.FormChoice, f.Choice
	case judge.KindText:
		head.Form, head.Text = wire.FormWords, f.Words
	default:
		head.Form, head.Text = wire.FormTyped, f.text()
	}
	failed, given := s.bench.Session(labserver.SessionOptions{Changed: b.changed}).Answer(wire.Frame{Head: head})
	if given == nil {
		door.Refuse(w, http.StatusInternalServerError, failed.Text)
		return
	}
	c.Outputs, c.Run = []*notebook.Output{display(given.View.Display())}, 0
	c.Source = f.source(q)
	c.SetOwn(typedKey, notebook.Object(f))
	c.SetOwn(codeKey, nil)
	c.SetOwn(draftKey, nil)
	c.SetOwn(ranKey, nil)
	if _, err := b.write(); err != nil {
		b.notSaved(w, err)
		return
	}
	standings, marks, of := b.standings()
	door.Reply(w, map[string]any{"output": b.outputs(slices.Index(b.nb.Cells, c), c.Outputs), "standings": standings, "marks": marks, "of": of})
}

// display is what the lab server displays, as a notebook holds it.
func display(d labserver.Display) *notebook.Output {
	o := &notebook.Output{Kind: notebook.Display, Data: notebook.Bundle{}, Metadata: map[string]any{}}
	for mime, v := range d {
		if data, ok := v.([]byte); ok {
			v = base64.StdEncoding.EncodeToString(data) + "\n"
		}
		o.Data[mime] = v
	}
	return o
}
