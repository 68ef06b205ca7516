package notebook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// HandedInLimit is the size in bytes above which a notebook that was
// handed in is refused unread.
const HandedInLimit = 20_000_000

// deepest is the number of levels that JSON in a notebook may have. The format
// itself has six; the rest is room for metadata and for JSON outputs.
const deepest = 100

// Options say what Read insists on. The zero value insists on the format alone.
type Options struct {
	// MaxBytes refuses larger files unread. 0 is no limit.
	MaxBytes int64
	// NeedKernel refuses a notebook that does not name its kernel.
	NeedKernel bool
}

// missing is the error of a file that is not there.
type missing string

func (m missing) Error() string { return "there is no " + string(m) }

func (m missing) Unwrap() error { return fs.ErrNotExist }

// ReadFile reads the notebook at path. A file that is not a usable notebook
// gives an *Error, a missing one an error that wraps [fs.ErrNotExist].
func ReadFile(path string, o Options) (*Notebook, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, missing(path)
	}
	if err != nil {
		return nil, fmt.Errorf("opening the notebook: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("opening the notebook: %w", err)
	}
	if info.IsDir() {
		return nil, &Error{path, []Problem{{"", "is a folder", "name a file that ends in .ipynb"}}}
	}
	var r io.Reader = f
	if o.MaxBytes > 0 {
		if info.Size() > o.MaxBytes {
			return nil, tooBig(path, info.Size(), o.MaxBytes)
		}
		r = io.LimitReader(f, o.MaxBytes+1) // it may still grow, or be a pipe
	}
	data, err := io.ReadAll(r)
	if err != nil {
		return nil, fmt.Errorf("reading the notebook: %w", err)
	}
	return Read(path, data, o)
}

// Read reads a notebook from data; name stands for the file in errors.
func Read(name string, data []byte, o Options) (*Notebook, error) {
	if o.MaxBytes > 0 && int64(len(data)) > o.MaxBytes {
		return nil, tooBig(name, int64(len(data)), o.MaxBytes)
	}
	top, p := parse(data)
	if p != nil {
		return nil, &Error{name, []Problem{*p}}
	}
	var rd reader
	nb := rd.notebook(top)
	if err := rd.problems.err(name); err != nil {
		return nil, err
	}
	nb.check(&rd.problems)
	if k, _ := nb.Kernel(); o.NeedKernel && k == "" {
		rd.problems.add("", "does not say which kernel runs it (metadata has no kernelspec)",
			"open it in Jupyter, choose a kernel and save it, or name a kernel on the command line")
	}
	if err := rd.problems.err(name); err != nil {
		return nil, err
	}
	return nb, nil
}

func tooBig(name string, size, limit int64) error {
	return &Error{name, []Problem{{"", fmt.Sprintf("is larger than %.3g MB (%d bytes at least)", float64(limit)/1e6, size),
		"clear the outputs of its cells and save it again"}}}
}

const resave = "open it in Jupyter and save it again, or take the copy that was handed out"

// parse turns data into JSON values; numbers stay as they are written.
func parse(data []byte) (map[string]any, *Problem) {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")) // a byte order mark, from some editors
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, &Problem{"", "is empty", "take the copy that was handed out"}
	}
	if i := firstInvalid(data); i >= 0 {
		return nil, &Problem{where(data, i), "is not UTF-8 text", "save it as UTF-8, or " + resave}
	}
	if i := tooDeep(data); i >= 0 {
		return nil, &Problem{where(data, i), fmt.Sprintf("is nested deeper than %d levels", deepest), "remove that output or metadata"}
	}
	if text := bytes.TrimSpace(data); text[0] != '{' && text[0] != '[' {
		return nil, &Problem{"", "is not a notebook", "name a file that Jupyter saved as .ipynb, or take the copy that was handed out"}
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	var v any
	if err := dec.Decode(&v); err != nil {
		at := len(data)
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			at = int(syntax.Offset) - 1
		}
		what := "is not JSON: " + strings.TrimPrefix(err.Error(), "json: ")
		if errors.Is(err, io.ErrUnexpectedEOF) || strings.Contains(err.Error(), "unexpected end") {
			what, at = "is not JSON: it ends too early, as a broken download does", len(data)
		}
		return nil, &Problem{where(data, at), what, resave}
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, &Problem{where(data, int(dec.InputOffset())), "is not JSON: something follows the end of the notebook", resave}
	}
	top, ok := v.(map[string]any)
	if !ok {
		return nil, &Problem{"", "is JSON, but not a notebook (the outermost value is not an object)", "name a file that Jupyter saved as .ipynb"}
	}
	return top, nil
}

// firstInvalid returns the offset of the first byte that is not UTF-8, or -1.
func firstInvalid(data []byte) int {
	if utf8.Valid(data) {
		return -1
	}
	for i := 0; i < len(data); {
		r, n := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && n == 1 {
			return i
		}
		i += n
	}
	return -1
}

// tooDeep returns the offset at which brackets are nested too deep, or -1.
func tooDeep(data []byte) int {
	depth, inString := 0, false
	for i := 0; i < len(data); i++ {
		switch c := data[i]; {
		case inString && c == '\\':
			i++
		case c == '"':
			inString = !inString
		case inString:
		case c == '{' || c == '[':
			if depth++; depth > deepest {
				return i
			}
		case c == '}' || c == ']':
			depth--
		}
	}
	return -1
}

// where names an offset as people count.
func where(data []byte, offset int) string {
	offset = max(0, min(offset, len(data)))
	line := 1 + bytes.Count(data[:offset], []byte("\n"))
	column := 1 + utf8.RuneCount(data[bytes.LastIndexByte(data[:offset], '\n')+1:offset])
	return fmt.Sprintf("line %d, column %d", line, column)
}

// A reader turns JSON values into a Notebook and collects what is wrong.
type reader struct {
	problems problems
	remarks  []string
}

func (rd *reader) remark(place, text string) {
	rd.remarks = append(rd.remarks, place+": "+text)
}

func (rd *reader) notebook(top map[string]any) *Notebook {
	if !rd.format(top) {
		return nil
	}
	rd.known("the notebook", top, "cells", "metadata", "nbformat", "nbformat_minor")
	nb := &Notebook{Metadata: rd.object("", top, "metadata")}
	cells, ok := top["cells"].([]any)
	if !ok {
		rd.problems.add("", "has no list of cells", resave)
		return nil
	}
	for i, v := range cells {
		nb.Cells = append(nb.Cells, rd.cell(i, v))
	}
	if len(rd.problems) > 0 {
		return nil
	}
	// Such keys are of the moment and are not for files.
	for _, key := range []string{"orig_nbformat", "orig_nbformat_minor", "signature"} {
		delete(nb.Metadata, key)
	}
	rd.name(nb)
	nb.Remarks = rd.remarks
	return nb
}

// format checks the version of the format before anything else, since all
// other problems follow from a wrong one.
func (rd *reader) format(top map[string]any) bool {
	major, ok := count(top["nbformat"])
	if !ok {
		rd.problems.add("", "is JSON, but not a notebook (nbformat is missing or no whole number)", "name a file that Jupyter saved as .ipynb")
		return false
	}
	if major < 4 {
		rd.problems.add("", fmt.Sprintf("is a notebook of format %d; only format 4 can be read", major),
			"open it in Jupyter and save it again, or run: jupyter nbconvert --to notebook --nbformat 4 FILE")
		return false
	}
	minor, ok := count(top["nbformat_minor"])
	if !ok {
		rd.problems.add("", "does not say its minor format (nbformat_minor is missing or no whole number)", resave)
		return false
	}
	if major > 4 || minor > 5 {
		rd.problems.add("", fmt.Sprintf("is a notebook of format %d.%d; formats 4.0 to 4.5 can be read", major, minor), "save it as format 4.5")
		return false
	}
	if minor < 5 {
		rd.remarks = append(rd.remarks, fmt.Sprintf("read as format 4.%d; it is written as 4.5", minor))
	}
	return true
}

// name gives ids to cells that have none. They depend on the place alone, so
// that the same file gives the same ids.
func (rd *reader) name(nb *Notebook) {
	taken := map[string]bool{}
	for _, c := range nb.Cells {
		taken[c.ID] = true
	}
	missing := 0
	for i, c := range nb.Cells {
		if c.ID != "" {
			continue
		}
		missing++
		id := "cell-" + strconv.Itoa(i+1)
		for taken[id] {
			id += "-"
		}
		c.ID, taken[id] = id, true
	}
	if missing > 0 {
		rd.remarks = append(rd.remarks, fmt.Sprintf("%d of %d cells had no id and were given one", missing, len(nb.Cells)))
	}
}

func (rd *reader) cell(i int, v any) *Cell {
	m, ok := v.(map[string]any)
	if !ok {
		rd.problems.add(place(i, ""), "is not an object", resave)
		return &Cell{}
	}
	id, isString := m["id"].(string)
	at := place(i, id)
	if _, there := m["id"]; there && (!isString || id == "") {
		rd.problems.add(at, "has an id that is not text", "give it an id of letters, digits, - and _, or remove the id")
	}
	c := &Cell{ID: id, Kind: Kind(rd.text(at, m, "cell_type")), Source: rd.text(at, m, "source"), Metadata: rd.object(at, m, "metadata")}
	delete(c.Metadata, "trusted")
	keys := []string{"id", "cell_type", "source", "metadata"}
	switch c.Kind {
	case Code:
		keys = append(keys, "outputs", "execution_count")
		rd.codeCell(at, c, m)
	case Markdown, Raw:
		keys = append(keys, "attachments")
		rd.attachments(at, c, m)
	default:
		if _, there := m["cell_type"].(string); there {
			rd.problems.add(at, fmt.Sprintf("has the unknown cell_type %q", c.Kind), "make it code, markdown or raw")
		}
		return c
	}
	rd.known(at, m, keys...)
	return c
}

func (rd *reader) codeCell(at string, c *Cell, m map[string]any) {
	c.Run = rd.run(at, m)
	outputs, ok := m["outputs"].([]any)
	if !ok {
		rd.problems.add(at, "has no list of outputs", `add "outputs": [] to it, or `+resave)
		return
	}
	for i, v := range outputs {
		at := fmt.Sprintf("%s, output %d", at, i+1)
		o, ok := v.(map[string]any)
		if !ok {
			rd.problems.add(at, "is not an object", "clear the outputs of the cell and save it again")
			continue
		}
		c.Outputs = append(c.Outputs, rd.output(at, o))
	}
}

func (rd *reader) output(at string, m map[string]any) *Output {
	o := &Output{Kind: OutputKind(rd.text(at, m, "output_type"))}
	keys := []string{"output_type"}
	switch o.Kind {
	case Stream:
		keys = append(keys, "name", "text")
		o.Name, o.Text = rd.text(at, m, "name"), rd.text(at, m, "text")
	case Display, Result:
		keys = append(keys, "data", "metadata", "transient")
		o.Data, o.Metadata = rd.bundle(at, m["data"]), rd.object(at, m, "metadata")
		if o.Kind == Result {
			keys = append(keys, "execution_count")
			o.Run = rd.run(at, m)
		}
	case Failure:
		keys = append(keys, "ename", "evalue", "traceback")
		o.ErrName, o.ErrValue = rd.text(at, m, "ename"), rd.text(at, m, "evalue")
		lines, ok := texts(m["traceback"])
		if !ok {
			rd.problems.add(at, "has no traceback, which is a list of text", "clear the outputs of the cell and save it again")
		}
		o.Traceback = lines
	default:
		if _, there := m["output_type"].(string); there {
			rd.problems.add(at, fmt.Sprintf("has the unknown output_type %q", o.Kind), "clear the outputs of the cell and save it again")
		}
		return o
	}
	rd.known(at, m, keys...)
	return o
}

func (rd *reader) attachments(at string, c *Cell, m map[string]any) {
	v, there := m["attachments"]
	if !there {
		return
	}
	all, ok := v.(map[string]any)
	if !ok {
		rd.problems.add(at, "has attachments that are not an object", "remove the attachments")
		return
	}
	c.Attachments = map[string]Bundle{}
	for _, name := range slices.Sorted(maps.Keys(all)) {
		c.Attachments[name] = rd.bundle(fmt.Sprintf("%s, attachment %q", at, name), all[name])
	}
}

func (rd *reader) bundle(at string, v any) Bundle {
	m, ok := v.(map[string]any)
	if !ok {
		rd.problems.add(at, "has no data by media type", "clear the outputs of the cell and save it again")
		return nil
	}
	b := Bundle{}
	for _, mime := range slices.Sorted(maps.Keys(m)) {
		if isJSON(mime) {
			b[mime] = m[mime]
			continue
		}
		s, ok := joined(m[mime])
		if !ok {
			rd.problems.add(at, fmt.Sprintf("has data of type %q that is neither text nor a list of text", mime), "clear the outputs of the cell and save it again")
			continue
		}
		b[mime] = s
	}
	return b
}

// text reads a field that must be text, whole or as a list of lines.
func (rd *reader) text(at string, m map[string]any, key string) string {
	v, there := m[key]
	s, ok := joined(v)
	switch {
	case !there:
		rd.problems.add(at, "has no "+key, fmt.Sprintf("add %q to it, or %s", key, resave))
	case !ok:
		rd.problems.add(at, "has a "+key+" that is neither text nor a list of text", resave)
	}
	return s
}

// object reads a field that must be an object.
func (rd *reader) object(at string, m map[string]any, key string) map[string]any {
	o, ok := m[key].(map[string]any)
	if !ok {
		rd.problems.add(at, "has no "+key+" (an object)", fmt.Sprintf("add %q: {} to it, or %s", key, resave))
		return map[string]any{}
	}
	return o
}

// run reads an execution count: null or a whole number from 0 up.
func (rd *reader) run(at string, m map[string]any) int {
	v, there := m["execution_count"]
	if !there {
		rd.problems.add(at, "has no execution_count", `add "execution_count": null to it, or `+resave)
		return 0
	}
	if v == nil {
		return 0
	}
	n, ok := count(v)
	if !ok {
		rd.problems.add(at, "has an execution_count that is neither null nor a whole number from 0 up", `make it null`)
	}
	return n
}

// known remarks on keys that the format does not have. They are dropped: a
// file that keeps them is invalid.
func (rd *reader) known(at string, m map[string]any, keys ...string) {
	for _, k := range slices.Sorted(maps.Keys(m)) {
		if !slices.Contains(keys, k) {
			rd.remark(at, fmt.Sprintf("the key %q is not of the format and was dropped", k))
		}
	}
}

// count returns a whole number from 0 up.
func count(v any) (int, bool) {
	n, ok := v.(json.Number)
	if !ok {
		return 0, false
	}
	i, err := strconv.Atoi(n.String())
	return i, err == nil && i >= 0
}

// joined returns text that is whole or a list of pieces. Pieces are joined
// with nothing between, as the format says.
func joined(v any) (string, bool) {
	if s, ok := v.(string); ok {
		return s, true
	}
	list, ok := texts(v)
	return strings.Join(list, ""), ok
}

func texts(v any) ([]string, bool) {
	list, ok := v.([]any)
	if !ok {
		return nil, false
	}
	out := make([]string, len(list))
	for i, item := range list {
		if out[i], ok = item.(string); !ok {
			return nil, false
		}
	}
	return out, true
}
