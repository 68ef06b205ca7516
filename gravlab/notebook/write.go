package notebook

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"gravity.example/gravlab/internal/atomicfile"
)

// WriteFile checks nb and writes it to path, whole (package atomicfile). A file that
// is there already is replaced.
func (nb *Notebook) WriteFile(path string) error {
	data, err := nb.Bytes()
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	mode := os.FileMode(0o644)
	if info, err := os.Stat(path); err == nil {
		mode = info.Mode().Perm()
	}
	return atomicfile.WriteFile(path, data, mode)
}

// Bytes checks nb and returns the file's content, format 4.5. Same notebook,
// same bytes.
func (nb *Notebook) Bytes() ([]byte, error) {
	if err := nb.Validate(); err != nil {
		return nil, err
	}
	cells := make([]any, len(nb.Cells))
	for i, c := range nb.Cells {
		cells[i] = c.value()
	}
	var e encoder
	err := e.value(map[string]any{
		"cells":          cells,
		"metadata":       orEmpty(nb.Metadata),
		"nbformat":       4,
		"nbformat_minor": 5,
	}, 0)
	if err != nil {
		return nil, err
	}
	e.WriteByte('\n')
	return e.Bytes(), nil
}

// value returns the cell as JSON values.
func (c *Cell) value() map[string]any {
	m := map[string]any{
		"cell_type": string(c.Kind),
		"id":        c.ID,
		"metadata":  orEmpty(c.Metadata),
		"source":    lines(c.Source),
	}
	if c.Kind == Code {
		outputs := make([]any, len(c.Outputs))
		for i, o := range c.Outputs {
			outputs[i] = o.value()
		}
		m["outputs"], m["execution_count"] = outputs, run(c.Run)
	} else if c.Attachments != nil {
		all := map[string]any{}
		for name, b := range c.Attachments {
			all[name] = b.value()
		}
		m["attachments"] = all
	}
	return m
}

func (o *Output) value() map[string]any {
	m := map[string]any{"output_type": string(o.Kind)}
	switch o.Kind {
	case Stream:
		m["name"], m["text"] = o.Name, lines(o.Text)
	case Display, Result:
		m["data"], m["metadata"] = o.Data.value(), orEmpty(o.Metadata)
		if o.Kind == Result {
			m["execution_count"] = run(o.Run)
		}
	case Failure:
		m["ename"], m["evalue"], m["traceback"] = o.ErrName, o.ErrValue, append([]string{}, o.Traceback...)
	}
	return m
}

func (b Bundle) value() map[string]any {
	m := map[string]any{}
	for mime, v := range b {
		s, isText := v.(string)
		if isText && !isJSON(mime) && (strings.HasPrefix(mime, "text/") || mime == "image/svg+xml" || mime == "application/javascript") {
			m[mime] = lines(s)
		} else {
			m[mime] = v
		}
	}
	return m
}

func orEmpty(m map[string]any) map[string]any {
	if m == nil {
		return map[string]any{}
	}
	return m
}

// run is an execution count as the format wants it.
func run(n int) any {
	if n == 0 {
		return nil
	}
	return n
}

// lines splits text after each line feed.
func lines(s string) []string {
	if s == "" {
		return []string{}
	}
	list := strings.SplitAfter(s, "\n")
	if list[len(list)-1] == "" {
		list = list[:len(list)-1]
	}
	return list
}

// An encoder writes JSON as the writers of notebooks by convention do. It is not
// encoding/json because that escapes U+2028 and U+2029, which others do not, so
// that a notebook which goes back and forth would change.
type encoder struct{ bytes.Buffer }

func (e *encoder) value(v any, depth int) error {
	if depth > deepest {
		return fmt.Errorf("a notebook cannot be nested deeper than %d levels", deepest)
	}
	switch v := v.(type) {
	case nil:
		e.WriteString("null")
	case bool:
		e.WriteString(strconv.FormatBool(v))
	case string:
		e.text(v)
	case json.Number:
		e.WriteString(v.String())
	case int:
		e.WriteString(strconv.Itoa(v))
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("a notebook cannot hold the number %v", v)
		}
		b, err := json.Marshal(v)
		if err != nil {
			return err
		}
		e.Write(b)
	case []string:
		return list(e, v, depth)
	case []any:
		return list(e, v, depth)
	case Bundle:
		return e.value(map[string]any(v), depth)
	case map[string]any:
		if len(v) == 0 {
			e.WriteString("{}")
			return nil
		}
		e.WriteByte('{')
		for i, k := range slices.Sorted(maps.Keys(v)) {
			e.next(i, depth+1)
			e.text(k)
			e.WriteString(": ")
			if err := e.value(v[k], depth+1); err != nil {
				return err
			}
		}
		e.line(depth)
		e.WriteByte('}')
	default:
		return fmt.Errorf("a notebook cannot hold a %T: use JSON values (nil, bool, string, int, float64, []any, map[string]any)", v)
	}
	return nil
}

func list[T any](e *encoder, items []T, depth int) error {
	if len(items) == 0 {
		e.WriteString("[]")
		return nil
	}
	e.WriteByte('[')
	for i, item := range items {
		e.next(i, depth+1)
		if err := e.value(item, depth+1); err != nil {
			return err
		}
	}
	e.line(depth)
	e.WriteByte(']')
	return nil
}

func (e *encoder) next(i, depth int) {
	if i > 0 {
		e.WriteByte(',')
	}
	e.line(depth)
}

func (e *encoder) line(depth int) {
	e.WriteByte('\n')
	for range depth {
		e.WriteByte(' ')
	}
}

// short are the characters that JSON has a short escape for.
var short = map[rune]string{'"': `\"`, '\\': `\\`, '\n': `\n`, '\r': `\r`, '\t': `\t`, '\b': `\b`, '\f': `\f`}

func (e *encoder) text(s string) {
	e.WriteByte('"')
	start := 0
	for i, r := range s { // an invalid byte comes as utf8.RuneError
		esc, plain := short[r], r >= 0x20 && r != '"' && r != '\\' && r != utf8.RuneError
		if plain {
			continue
		}
		n := 1
		if r == utf8.RuneError {
			esc = string(utf8.RuneError)
			_, n = utf8.DecodeRuneInString(s[i:])
		} else if esc == "" {
			esc = fmt.Sprintf(`\u%04x`, r)
		}
		e.WriteString(s[start:i])
		e.WriteString(esc)
		start = i + n
	}
	e.WriteString(s[start:])
	e.WriteByte('"')
}
