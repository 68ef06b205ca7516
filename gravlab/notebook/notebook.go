// Package notebook reads, checks, edits and writes notebook files (.ipynb).
//
// Most callers need two calls: ReadFile, and WriteFile of what was read.
//
// # What is promised
//
// The format is nbformat 4.5, as its published JSON schema says. Files of
// format 4.0 to 4.5 are read, files of 4.5 are written. What is written is the
// same, byte for byte, for the same content: one space of indent, sorted keys,
// text split after each line feed, a line feed at the end. Metadata that this
// package knows nothing of is kept, numbers in it digit by digit.
//
// Reading never runs anything and is safe on files from elsewhere: size and
// depth are limited, text must be UTF-8. What cannot be read is refused with an
// *Error that lists each problem with its place and what to do. What can be
// repaired without touching the writer's text (a missing id, a key that the
// format does not have) is repaired, and listed in Notebook.Remarks.
//
// Source of the format: Jupyter, "The Notebook file format", schema
// nbformat.v4.5.schema.json, and JEP 62 for the cell ids.
package notebook

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Notebook is a notebook in memory.
type Notebook struct {
	Metadata map[string]any // of the whole notebook; JSON values
	Cells    []*Cell
	Remarks  []string // what Read repaired; not written
}

// Kind tells the three kinds of cell apart.
type Kind string

// The kinds of cell.
const (
	Code     Kind = "code"
	Markdown Kind = "markdown"
	Raw      Kind = "raw"
)

// Cell is one cell.
type Cell struct {
	ID       string // 1 to 64 of A-Z a-z 0-9 - _, unique in the notebook
	Kind     Kind
	Source   string         // with line feeds between lines, none wanted at the end
	Metadata map[string]any // JSON values

	// Attachments of a Markdown or raw cell, by name.
	Attachments map[string]Bundle

	// Outputs and Run belong to code cells. Run is the execution count; 0 says
	// that the cell has not been run.
	Outputs []*Output
	Run     int
}

// OutputKind tells the four kinds of output apart.
type OutputKind string

// The kinds of output.
const (
	Stream  OutputKind = "stream"
	Display OutputKind = "display_data"
	Result  OutputKind = "execute_result"
	Failure OutputKind = "error"
)

// Output is one output of a code cell. Which fields count depends on Kind.
type Output struct {
	Kind OutputKind

	Name string // Stream: stdout or stderr
	Text string // Stream

	Data     Bundle         // Display, Result
	Metadata map[string]any // Display, Result
	Run      int            // Result: the execution count; 0 is none

	ErrName   string   // Failure
	ErrValue  string   // Failure
	Traceback []string // Failure
}

// Bundle holds one thing in several forms, by media type. The value is a string
// (images as base64), but for application/json and application/*+json, where
// it is any JSON value.
type Bundle map[string]any

// Text returns the form of the given media type if it is there and is text.
func (b Bundle) Text(mime string) (string, bool) {
	s, ok := b[mime].(string)
	return s, ok
}

// Part says what a cell made from the bank of questions holds.
type Part string

// The parts.
const (
	QuestionText Part = "text"   // a question's words, rendered from the bank
	Answer       Part = "answer" // the student's own
	Sheet        Part = "sheet"  // the declaration of the sheet; from is the lab's number
)

// New returns an empty notebook for the kernel of that name.
func New(kernel, display, language string) *Notebook {
	nb := &Notebook{Metadata: map[string]any{}}
	nb.SetKernel(kernel, display, language)
	return nb
}

// NewCell returns a cell without outputs.
func NewCell(kind Kind, id, source string) *Cell {
	return &Cell{ID: id, Kind: kind, Source: source, Metadata: map[string]any{}}
}

// Kernel returns the name of the kernel and of the language that the notebook
// asks for; both are empty if it does not say.
func (nb *Notebook) Kernel() (name, language string) {
	spec, _ := nb.Metadata["kernelspec"].(map[string]any)
	name, _ = spec["name"].(string)
	language, _ = spec["language"].(string)
	if info, _ := nb.Metadata["language_info"].(map[string]any); language == "" {
		language, _ = info["name"].(string)
	}
	return name, language
}

// SetKernel makes the notebook ask for a kernel.
func (nb *Notebook) SetKernel(name, display, language string) {
	if nb.Metadata == nil {
		nb.Metadata = map[string]any{}
	}
	nb.Metadata["kernelspec"] = map[string]any{"name": name, "display_name": display, "language": language}
	nb.Metadata["language_info"] = map[string]any{"name": language}
}

// Cell returns the cell with that id, or nil.
func (nb *Notebook) Cell(id string) *Cell {
	for _, c := range nb.Cells {
		if c.ID == id {
			return c
		}
	}
	return nil
}

// Question returns the cell that holds the given part of a question such as
// "01/kappa", or nil.
func (nb *Notebook) Question(from string, part Part) *Cell {
	for _, c := range nb.Cells {
		if f, p, ok := c.Question(); ok && f == from && p == part {
			return c
		}
	}
	return nil
}

// Clear removes all outputs and execution counts.
func (nb *Notebook) Clear() {
	for _, c := range nb.Cells {
		c.Outputs, c.Run = nil, 0
	}
}

// Clone returns a copy that shares nothing with nb.
func (nb *Notebook) Clone() *Notebook {
	out := &Notebook{Metadata: cloneMap(nb.Metadata), Remarks: slices.Clone(nb.Remarks)}
	for _, c := range nb.Cells {
		out.Cells = append(out.Cells, c.Clone())
	}
	return out
}

// Clone returns a copy that shares nothing with c.
func (c *Cell) Clone() *Cell {
	d := *c
	d.Metadata = cloneMap(c.Metadata)
	if c.Attachments != nil {
		d.Attachments = map[string]Bundle{}
		for name, b := range c.Attachments {
			d.Attachments[name] = cloneMap(b)
		}
	}
	d.Outputs = nil
	for _, o := range c.Outputs {
		p := *o
		p.Data, p.Metadata, p.Traceback = cloneMap(o.Data), cloneMap(o.Metadata), slices.Clone(o.Traceback)
		d.Outputs = append(d.Outputs, &p)
	}
	return &d
}

// Question tells which part of which question, or of which lab, of the bank a cell holds; ok is
// false for any other cell. It is kept in the cell's metadata:
// {"gravlab": {"from": "01/kappa", "part": "answer"}}.
func (c *Cell) Question() (from string, part Part, ok bool) {
	own := c.Own()
	from, _ = own["from"].(string)
	p, _ := own["part"].(string)
	part = Part(p)
	if from == "" || part != QuestionText && part != Answer && part != Sheet {
		return "", "", false
	}
	return from, part, true
}

// SetQuestion marks the cell as a part of a question. Other keys under
// "gravlab" stay.
func (c *Cell) SetQuestion(from string, part Part) {
	c.SetOwn("from", from)
	c.SetOwn("part", string(part))
}

// Own returns what gravlab keeps in the cell's metadata. It is for reading, and nil if
// there is nothing; SetOwn writes.
func (c *Cell) Own() map[string]any {
	own, _ := c.Metadata["gravlab"].(map[string]any)
	return own
}

// SetOwn keeps a value in the cell's metadata, under gravlab's name; nil removes it.
// v is what JSON decodes to: a struct goes through Object.
func (c *Cell) SetOwn(key string, v any) {
	own := c.Own()
	if v == nil {
		delete(own, key)
		return
	}
	if own == nil {
		own = map[string]any{}
		if c.Metadata == nil {
			c.Metadata = map[string]any{}
		}
		c.Metadata["gravlab"] = own
	}
	own[key] = v
}

// Object returns a struct as metadata and outputs hold it: maps of plain values, as JSON
// decodes to. It is empty for what JSON cannot write.
func Object(v any) map[string]any {
	m := map[string]any{}
	if text, err := json.Marshal(v); err == nil {
		json.Unmarshal(text, &m) // of what json.Marshal wrote
	}
	return m
}

// Print adds text to the cell's outputs, on the stream of that name (stdout or
// stderr). Text that follows text of the same stream is joined to it.
func (c *Cell) Print(stream, text string) {
	if n := len(c.Outputs); n > 0 && c.Outputs[n-1].Kind == Stream && c.Outputs[n-1].Name == stream {
		c.Outputs[n-1].Text += text
		return
	}
	c.Outputs = append(c.Outputs, &Output{Kind: Stream, Name: stream, Text: text})
}

// place names a cell for people: its number as they count and its id.
func place(i int, id string) string {
	if id == "" {
		return fmt.Sprintf("cell %d", i+1)
	}
	return fmt.Sprintf("cell %d (id %q)", i+1, id)
}

func cloneMap[M ~map[string]any](m M) M {
	if m == nil {
		return nil
	}
	out := maps.Clone(m)
	for k, v := range out {
		out[k] = cloneValue(v)
	}
	return out
}

func cloneValue(v any) any {
	switch v := v.(type) {
	case map[string]any:
		return cloneMap(v)
	case []any:
		out := slices.Clone(v)
		for i := range out {
			out[i] = cloneValue(out[i])
		}
		return out
	case []string:
		return slices.Clone(v)
	}
	return v
}

// isJSON reports whether a form of that media type is a JSON value, not text.
func isJSON(mime string) bool {
	return mime == "application/json" || strings.HasPrefix(mime, "application/") && strings.HasSuffix(mime, "+json")
}
