package bank

import (
	"bytes"
	"fmt"
	"io/fs"
	"maps"
	"regexp"
	"slices"
	"strings"
	"sync"
	"text/template"
	"text/template/parse"

	"gravity.example/gravlab/internal/drawing"
	"gravity.example/gravlab/judge"
	"gravity.example/testdata"
)

// Words are the text files of a lab: one for each question, kappa.md for the question
// with the id kappa, and shared.md for what several of them share. A file is read when
// a sheet needs it.
//
// A question's file is Markdown under fixed headings:
//
//	# The title
//	The prompt.
//	## Option a: what it says             (questions of choice: one for each option, in order)
//	The idea that leads there, and what speaks against it.
//	## Option b (right): what it says
//	## Hint                               (twice)
//	## Slip half-period: what it is called
//	How to put it right, at most two lines. A last paragraph "Drawing: swing" puts a small
//	drawing beside it, one of those in package internal/drawing.
//	## Tolerance                          (why it is as large as it is)
//	## Worked                             (code between ```go and ```)
//	## Reasoning
//	## Source
//	## Stub                               (code; only where the usual stub does not do)
//
// shared.md has sections "Recording swing: its title" without a text, and "Piece reading" with
// text or code that [[template "reading" .]] puts into a question's file.
//
// Lines of a paragraph are joined, as in Markdown; a backslash at the end of a line
// keeps the break. Between double square brackets stand the numbers of the sheet, by the names
// that Fields gives them, in the syntax of package text/template:
//
//	[[.period]]              573.5      as short as it can be written
//	[[fixed .period 2]]      573.50     decimals
//	[[signed .step 0]]       −12        decimals, with the sign
//	[[tex .inertia 3]]       1.23 \times 10^{-5}     significant digits, between $ signs
//	[[lit .mass]]            9.0        in worked code: a float64 in Go, also where it is whole
//	[[lit .inertia 3]]       1.23e-5    the same with significant digits
//
// A question that has a row of testdata behind its source also has [[.source]] and
// [[.route]], the row's columns of these names.
//
// What does not fit is an error with file and line: a section that is missing or that
// no question has, a field that Go does not give or that no text uses, a slip of Go without
// a section or the other way round.
type Words struct {
	files  fs.FS
	once   sync.Once          // reads shared.md
	pieces *template.Template // of shared.md, each by its name
	titles map[string]string  // of recordings
	err    error
	mu     sync.Mutex
	texts  map[string]*textFile // by question
}

// ReadWords makes Words of the text files in a folder, usually one that go:embed put into
// the program. It reads nothing yet.
func ReadWords(files fs.FS) *Words {
	return &Words{files: files, texts: map[string]*textFile{}}
}

// A textFile is a text file, split into its sections.
type textFile struct {
	name     string
	sections []section
	tmpl     *template.Template // gives the sections' texts, each after a separator
	uses     map[string]string  // the fields that it asks for, each with a place: "kappa.md:3"
}

// A section is what stands below one heading.
type section struct {
	kind  string // "Title", "Hint", "Slip", …
	id    string // of a slip, an option, a piece or a recording
	right bool   // of an option
	title string // behind the colon, as it stands in the file
	line  int
}

// code reports whether the section holds Go code.
func (s section) code() bool { return s.kind == "Worked" || s.kind == "Stub" }

const separator = "\x00"

var (
	plainHead = regexp.MustCompile(`^## (Hint|Tolerance|Worked|Reasoning|Source|Stub)$`)
	namedHead = regexp.MustCompile(`^## (?:(Slip|Recording) ([a-z0-9-]+)|(Option) ([a-z])( \(right\))?): (.+)$`)
	pieceHead = regexp.MustCompile(`^## Piece ([a-zA-Z0-9-]+)$`)
)

var functions = template.FuncMap{"tex": tex, "fixed": fixed, "signed": signed, "lit": lit}

// readSections splits a file into sections. It returns its lines with each heading made
// into a separator and the title that stands in it, so that a template of them has the
// lines of the file.
func readSections(name, text string) ([]section, []string, error) {
	var sections []section
	var lines []string
	inCode := false
	for i, line := range strings.Split(strings.ReplaceAll(text, "\r\n", "\n"), "\n") {
		if strings.HasPrefix(line, "```") {
			inCode = !inCode
		}
		if inCode || !strings.HasPrefix(line, "#") {
			if len(sections) == 0 && strings.TrimSpace(line) != "" {
				return nil, nil, fmt.Errorf("%s:%d: a heading has to come first", name, i+1)
			}
			lines = append(lines, line)
			continue
		}
		s := section{line: i + 1}
		if m := plainHead.FindStringSubmatch(line); m != nil {
			s.kind = m[1]
		} else if m := namedHead.FindStringSubmatch(line); m != nil {
			s.kind, s.id, s.right, s.title = m[1]+m[3], m[2]+m[4], m[5] != "", m[6]
		} else if m := pieceHead.FindStringSubmatch(line); m != nil {
			s.kind, s.id = "Piece", m[1]
		} else if t, ok := strings.CutPrefix(line, "# "); ok {
			s.kind, s.title = "Title", t
		} else {
			return nil, nil, fmt.Errorf("%s:%d: no section is called %q; the sections are Option, Hint, Slip, Tolerance, Worked, Reasoning, Source and Stub, as in exercises/README.md", name, i+1, line)
		}
		sections = append(sections, s)
		lines = append(lines, separator+s.title)
	}
	if inCode {
		return nil, nil, fmt.Errorf("%s: the code that begins with ``` has no end", name)
	}
	return sections, lines, nil
}

// readText reads the file of a question.
func readText(name, text string, pieces *template.Template) (*textFile, error) {
	sections, lines, err := readSections(name, text)
	if err != nil {
		return nil, err
	}
	if len(sections) == 0 || sections[0].kind != "Title" {
		return nil, fmt.Errorf("%s:1: the title has to come first: # The title", name)
	}
	for _, s := range sections[1:] {
		if s.kind == "Title" || s.kind == "Piece" || s.kind == "Recording" {
			return nil, fmt.Errorf("%s:%d: a question has no section %q here", name, s.line, s.kind)
		}
	}
	f := &textFile{name: name, sections: sections, uses: map[string]string{}}
	t, err := template.Must(pieces.Clone()).New(name).Option("missingkey=error").Parse(strings.Join(lines, "\n") + "\n")
	if err != nil {
		return nil, plainly(err)
	}
	f.tmpl = t
	return f, f.look(name, t.Tree, t.Tree.Root)
}

// look notes the fields that a template asks for, also by way of pieces.
func (f *textFile) look(file string, tree *parse.Tree, n parse.Node) error {
	if n == nil {
		return nil
	}
	switch n := n.(type) {
	case *parse.ListNode:
		if n == nil {
			return nil
		}
		for _, c := range n.Nodes {
			if err := f.look(file, tree, c); err != nil {
				return err
			}
		}
	case *parse.ActionNode:
		return f.look(file, tree, n.Pipe)
	case *parse.PipeNode:
		for _, c := range n.Cmds {
			for _, a := range c.Args {
				if err := f.look(file, tree, a); err != nil {
					return err
				}
			}
		}
	case *parse.FieldNode:
		if f.uses[n.Ident[0]] == "" {
			place, _ := tree.ErrorContext(n) // kappa.md:3:14
			f.uses[n.Ident[0]] = file + ":" + strings.Split(place, ":")[1]
		}
	case *parse.IfNode:
		for _, c := range []parse.Node{n.Pipe, n.List, n.ElseList} {
			if err := f.look(file, tree, c); err != nil {
				return err
			}
		}
	case *parse.RangeNode:
		return fmt.Errorf("%s:%d: a text repeats nothing: give the repeated text as a field", file, n.Line)
	case *parse.WithNode:
		return fmt.Errorf("%s:%d: a text has no [[with]]", file, n.Line)
	case *parse.TemplateNode:
		piece := f.tmpl.Lookup(n.Name)
		if piece == nil || piece.Tree == nil {
			return fmt.Errorf("%s:%d: shared.md has no piece %q", file, n.Line, n.Name)
		}
		return f.look(sharedName, piece.Tree, piece.Tree.Root)
	}
	return nil
}

// plainly takes away what the template package puts before file and line.
func plainly(err error) error {
	return fmt.Errorf("%s", strings.TrimPrefix(err.Error(), "template: "))
}

// A filled section has its texts, with the numbers of a sheet.
type filled struct {
	section
	title, body string
}

// fill puts fields into the file and returns its sections.
func (f *textFile) fill(fields Fields) ([]filled, error) {
	for _, name := range slices.Sorted(maps.Keys(f.uses)) {
		if _, ok := fields[name]; !ok {
			return nil, fmt.Errorf("%s: there is no field %q; the fields are %s", f.uses[name], name, strings.Join(slices.Sorted(maps.Keys(fields)), ", "))
		}
	}
	var b strings.Builder
	if err := f.tmpl.Execute(&b, fields); err != nil {
		return nil, plainly(err)
	}
	texts := strings.Split(b.String(), separator)[1:]
	if len(texts) != len(f.sections) {
		return nil, fmt.Errorf("%s: a field holds a character that no text may hold", f.name)
	}
	out := make([]filled, len(texts))
	for i, text := range texts {
		title, body, _ := strings.Cut(text, "\n")
		out[i] = filled{f.sections[i], title, ""}
		if !out[i].code() {
			out[i].body = joined(body)
			continue
		}
		body = strings.TrimSpace(body)
		code, ok := strings.CutPrefix(body, "```go\n")
		code, closed := strings.CutSuffix(code, "\n```")
		if !ok || !closed {
			return nil, fmt.Errorf("%s:%d: %s is code, which belongs between a line ```go and a line ```", f.name, out[i].line, out[i].kind)
		}
		out[i].body = code
	}
	return out, nil
}

// joined joins the lines of each paragraph, except where code, a table or a list wants them
// apart, or where a line ends with a backslash.
func joined(text string) string {
	var b strings.Builder
	inCode, fresh := false, true // fresh: at the beginning of a line of the result
	for line := range strings.Lines(strings.TrimSpace(text)) {
		line = strings.TrimRight(line, " \t\n")
		fence := strings.HasPrefix(line, "```")
		apart := inCode || fence || line == "" || strings.HasPrefix(line, "- ") || strings.HasPrefix(line, "|")
		if apart && !fresh {
			b.WriteString("\n")
			fresh = true
		}
		if fence {
			inCode = !inCode
		}
		if !fresh {
			b.WriteString(" ")
		}
		if !inCode {
			line = strings.TrimLeft(line, " \t")
		}
		if broken, ok := strings.CutSuffix(line, `\`); ok && !inCode {
			b.WriteString(broken + "\n")
			fresh = true
			continue
		}
		b.WriteString(line)
		fresh = inCode || fence || line == ""
		if fresh {
			b.WriteString("\n")
		}
	}
	return strings.TrimSpace(b.String())
}

// read returns the text of a question.
func (w *Words) read(question string) (*textFile, error) {
	w.once.Do(w.readShared)
	if w.err != nil {
		return nil, w.err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if f, ok := w.texts[question]; ok {
		return f, nil
	}
	name := question + ".md"
	text, err := fs.ReadFile(w.files, name)
	if err != nil {
		return nil, fmt.Errorf("the words of the question %q should be in %s, which is not there (does go:embed name *.md?)", question, name)
	}
	f, err := readText(name, string(text), w.pieces)
	if err != nil {
		return nil, err
	}
	w.texts[question] = f
	return f, nil
}

const sharedName = "shared.md"

// readShared reads what the questions share, and makes a template of each piece.
func (w *Words) readShared() {
	w.pieces = template.New("").Delims("[[", "]]").Funcs(functions)
	w.titles = map[string]string{}
	text, err := fs.ReadFile(w.files, sharedName)
	if err != nil {
		return // most labs need none
	}
	sections, lines, err := readSections(sharedName, string(text))
	if err != nil {
		w.err = err
		return
	}
	for i, s := range sections {
		end := len(lines)
		if i+1 < len(sections) {
			end = sections[i+1].line - 1
		}
		body := strings.TrimSpace(strings.Join(lines[s.line:end], "\n"))
		switch {
		case s.kind == "Recording" && body == "" && !strings.Contains(s.title, "[["):
			w.titles[s.id] = s.title
		case s.kind == "Piece" && body != "":
			if code, ok := strings.CutPrefix(body, "```go\n"); ok {
				body = strings.TrimSuffix(code, "\n```")
			}
			if w.err = w.addPiece(s, body); w.err != nil {
				return
			}
		default:
			w.err = fmt.Errorf("%s:%d: this file has sections \"Recording name: title\" without a text or field, and \"Piece name\" with a text", sharedName, s.line)
			return
		}
	}
}

// addPiece makes a template of a piece; its errors name lines of shared.md.
func (w *Words) addPiece(s section, body string) error {
	// The text begins two lines below the heading.
	t, err := w.pieces.New(s.id).Option("missingkey=error").Parse(strings.Repeat("\n", s.line+1) + body)
	if err != nil {
		return fmt.Errorf("%s%s", sharedName, strings.TrimPrefix(plainly(err).Error(), s.id))
	}
	if first, ok := t.Root.Nodes[0].(*parse.TextNode); ok {
		first.Text = bytes.TrimLeft(first.Text, "\n")
	}
	return nil
}

// fill puts the words into a sheet.
func (w *Words) fill(s *Sheet) error {
	used := map[string]bool{}
	for i := range s.Questions {
		q := &s.Questions[i]
		f, err := w.read(q.ID)
		if err != nil {
			return err
		}
		fields := maps.Clone(s.Fields)
		if fields == nil {
			fields = Fields{}
		}
		if c := q.Source.Check; c != nil && f.uses["source"]+f.uses["route"] != "" {
			row := testdata.Find(c.Table, c.ID)
			fields["source"], fields["route"] = row["source"], row["route"]
		}
		for name, v := range q.Fields {
			if _, twice := fields[name]; twice {
				return fmt.Errorf("%s: the field %q is given twice", f.name, name)
			}
			if f.uses[name] == "" {
				return fmt.Errorf("%s: Go gives the field %q, which the text does not use", f.name, name)
			}
			fields[name] = v
		}
		for name := range f.uses {
			used[name] = true
		}
		sections, err := f.fill(fields)
		if err != nil {
			return err
		}
		if err := q.take(f.name, sections); err != nil {
			return err
		}
	}
	for name := range s.Fields {
		if !used[name] {
			return fmt.Errorf("the sheet has the field %q, which no text uses", name)
		}
	}
	seen := map[string]bool{}
	for i := range s.Recordings {
		r := &s.Recordings[i]
		title, ok := w.titles[r.ID]
		if !ok {
			return fmt.Errorf("%s: there is no section \"Recording %s: its title\"", sharedName, r.ID)
		}
		r.Title = title
		seen[r.ID] = true
	}
	for id := range w.titles {
		if !seen[id] {
			return fmt.Errorf("%s: the lab has no recording %q", sharedName, id)
		}
	}
	return nil
}

// take puts the sections of its file into a question. A word that Go has set stands:
// a lecturer's bank may change one word of a lab of ours.
func (q *Question) take(file string, sections []filled) error {
	hints := 0
	have := map[string]int{} // kinds of sections
	slips := map[string]filled{}
	set := func(where *string, text string) {
		if *where == "" {
			*where = text
		}
	}
	for _, s := range sections {
		have[s.kind]++
		if s.kind != "Option" && s.body == "" {
			return fmt.Errorf("%s:%d: this section is empty", file, s.line)
		}
		switch s.kind {
		case "Title":
			set(&q.Title, s.title)
			set(&q.Prompt, s.body)
		case "Option":
			if s.right == (s.body != "") {
				return fmt.Errorf("%s:%d: below a wrong option belongs the idea that leads there, below the right one nothing", file, s.line)
			}
			q.Options = append(q.Options, judge.Option{Letter: s.id, Text: s.title, Right: s.right, Idea: plain(s.body)})
		case "Hint":
			if hints++; hints <= 2 {
				set(&q.Hints[hints-1], plain(s.body))
			}
		case "Slip":
			if _, twice := slips[s.id]; twice {
				return fmt.Errorf("%s:%d: the slip %q is there twice", file, s.line, s.id)
			}
			slips[s.id] = s
		case "Tolerance":
			set(&q.Tol.Why, s.body)
		case "Worked":
			set(&q.Worked, s.body)
		case "Reasoning":
			set(&q.Reasoning, s.body)
		case "Source":
			set(&q.Source.Text, s.body)
		case "Stub":
			set(&q.Stub, s.body)
		}
	}
	for kind, want := range q.sections() {
		if n := have[kind]; n < want[0] || n > want[1] {
			return fmt.Errorf("%s: has %d sections %q; a %s question has %s", file, n, kind, q.Kind, count(want))
		}
	}
	used := map[string]bool{}
	name := func(id string, where, fix, drawn *string) error {
		s, ok := slips[id]
		if !ok {
			return fmt.Errorf("%s: there is no section \"Slip %s: …\" for the slip that Go has", file, id)
		}
		used[id] = true
		body, picture, _ := strings.Cut(s.body, "\n\nDrawing: ")
		if picture != "" && !drawing.Has(picture) {
			return fmt.Errorf("%s:%d: there is no drawing %q; there are %s", file, s.line, picture, strings.Join(drawing.Names(), ", "))
		}
		set(where, plain(s.title))
		set(fix, plain(body))
		set(drawn, picture)
		return nil
	}
	for _, list := range [][]Slip{q.Slips, q.USlips} {
		for i := range list {
			if err := name(list[i].ID, &list[i].Name, &list[i].Fix, &list[i].Drawing); err != nil {
				return err
			}
		}
	}
	if q.Function != nil {
		for i := range q.Function.Slips {
			s := &q.Function.Slips[i]
			if err := name(s.ID, &s.Name, &s.Fix, &s.Drawing); err != nil {
				return err
			}
		}
	}
	for id, s := range slips {
		if !used[id] {
			return fmt.Errorf("%s:%d: Go has no slip %q", file, s.line, id)
		}
	}
	return nil
}

// plain takes the asterisks of an emphasis out of what a verdict or a hint says: it is shown as
// text, in a terminal too.
func plain(text string) string { return emphasis.ReplaceAllString(text, "$1$2") }

var emphasis = regexp.MustCompile(`\*\*([^*\n]+)\*\*|\*([^*\s][^*\n]*)\*`)

// sections says how many sections of each kind a question has: at least and at most.
func (q *Question) sections() map[string][2]int {
	one, none := [2]int{1, 1}, [2]int{}
	m := map[string][2]int{
		"Worked": one, "Reasoning": one, "Source": one, "Stub": {0, 1},
		"Hint": {2, 2}, "Tolerance": one, "Option": none, "Slip": {0, 100},
	}
	switch q.Kind {
	case judge.KindMeasured:
		if q.Tol.Abs == 0 && q.Tol.Rel == 0 {
			m["Tolerance"] = none // the uncertainty is the yardstick
		}
	case judge.KindChoice:
		m["Hint"], m["Tolerance"], m["Slip"], m["Option"] = none, none, none, [2]int{2, 26}
	case judge.KindText:
		m["Hint"], m["Tolerance"], m["Slip"] = [2]int{0, 2}, none, none
	}
	return m
}

func count(want [2]int) string {
	switch {
	case want[1] == 0:
		return "none"
	case want[0] == want[1]:
		return fmt.Sprint(want[0])
	default:
		return fmt.Sprintf("%d to %d", want[0], want[1])
	}
}
