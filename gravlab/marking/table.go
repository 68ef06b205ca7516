package marking

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"unicode"
	"unicode/utf8"

	"gravity.example/gravlab/internal/whole"
)

// A table is a CSV file (RFC 4180) with a header.
type table struct {
	file   string // as named by the caller
	header []string
	rows   [][]string
	lines  []int // of each row in the file
}

// maxTable is the most bytes of a table: a class of 100,000 fits.
const maxTable = 20_000_000

// readTable reads a CSV file as spreadsheets write them: with a byte order mark or
// without, with commas, semicolons or tabs between the cells. Rows without any
// text are left out.
func readTable(path string) (*table, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, wrong(path, 0, "cannot be opened: %v", plain(err))
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxTable+1))
	if err != nil {
		return nil, wrong(path, 0, "cannot be read: %v", plain(err))
	}
	if len(text) > maxTable {
		return nil, wrong(path, 0, "has more than %d bytes; is it the right file?", maxTable)
	}
	return parseTable(path, text)
}

func parseTable(file string, text []byte) (*table, error) {
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if !utf8.Valid(text) {
		return nil, wrong(file, 0, "is not UTF-8 text; save it in the spreadsheet as CSV UTF-8")
	}
	if bytes.IndexByte(text, 0) >= 0 {
		return nil, wrong(file, 0, "holds zero bytes, so it is no CSV file; save it in the spreadsheet as CSV UTF-8")
	}
	t := &table{file: file}
	in := csv.NewReader(bytes.NewReader(text))
	in.Comma = separator(text)
	in.FieldsPerRecord = -1
	in.TrimLeadingSpace = true
	for {
		row, err := in.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			var at *csv.ParseError
			if errors.As(err, &at) {
				// A cell in quotation marks may begin lines above where it goes wrong.
				return nil, wrong(file, at.StartLine, "has a quotation mark in the wrong place: a cell that begins with one ends with one, and a mark inside it is written twice (%v)", at.Err)
			}
			return nil, wrong(file, 0, "%v", err)
		}
		line, _ := in.FieldPos(0)
		empty := true
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
			empty = empty && row[i] == ""
		}
		switch {
		case empty:
		case t.header == nil:
			t.header = row
		case len(row) > len(t.header) && strings.Join(row[len(t.header):], "") != "":
			return nil, wrong(file, line, "has %d cells and the header %d; put a cell that holds a %q between quotation marks", len(row), len(t.header), in.Comma)
		default:
			for len(row) < len(t.header) {
				row = append(row, "")
			}
			t.rows, t.lines = append(t.rows, row[:len(t.header)]), append(t.lines, line)
		}
	}
	if t.header == nil {
		return nil, wrong(file, 0, "is empty; its first line names the columns")
	}
	return t, nil
}

// separator is what stands between the cells of the first line.
func separator(text []byte) rune {
	line, _, _ := bytes.Cut(bytes.TrimSpace(text), []byte("\n"))
	for _, c := range []byte{';', '\t'} {
		if bytes.IndexByte(line, c) >= 0 && bytes.IndexByte(line, ',') < 0 {
			return rune(c)
		}
	}
	return ','
}

// column finds a column by its name, in small letters or capitals; -1 if there
// is none.
func (t *table) column(name string) (int, error) {
	found := -1
	for i, h := range t.header {
		if !strings.EqualFold(h, name) {
			continue
		}
		if found >= 0 {
			return -1, wrong(t.file, 1, "has two columns %q", name)
		}
		found = i
	}
	return found, nil
}

// columns finds columns that have to be there.
func (t *table) columns(names ...string) ([]int, error) {
	var at []int
	for _, name := range names {
		i, err := t.column(name)
		if err != nil {
			return nil, err
		}
		if i < 0 {
			return nil, wrong(t.file, 1, "has no column %q; its columns are %s", name, strings.Join(quoted(t.header), ", "))
		}
		at = append(at, i)
	}
	return at, nil
}

func quoted(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = `"` + s + `"`
	}
	return out
}

// writeTable writes a CSV file whole.
func writeTable(path string, header []string, rows func(write func(cells ...string) error) error) error {
	return whole.Write(path, 0o644, func(w io.Writer) error {
		out := csv.NewWriter(w)
		if err := out.Write(header); err != nil {
			return err
		}
		err := rows(func(cells ...string) error {
			for i := range cells {
				cells[i] = harmless(cells[i])
			}
			return out.Write(cells)
		})
		out.Flush()
		return errors.Join(err, out.Error())
	})
}

// harmless makes a cell text for every spreadsheet: one that begins like a
// formula gets an apostrophe, and what no cell can hold is dropped. Numbers
// stay.
func harmless(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return r
		case r == '\r':
			return '\n'
		case unicode.IsControl(r) || r == '\ufffe' || r == '\uffff' || unicode.Is(unicode.Bidi_Control, r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(strings.ReplaceAll(s, "\r\n", "\n"), "\ufffd"))
	if s != "" && strings.ContainsRune("=+-@\t\n＝＋－＠", []rune(s)[0]) && !isNumber(s) {
		return "'" + s
	}
	return s
}

// harmed undoes the apostrophe of harmless.
func harmed(s string) string {
	if rest, ok := strings.CutPrefix(s, "'"); ok && harmless(rest) == s {
		return rest
	}
	return s
}

func isNumber(s string) bool {
	_, ok := number(s)
	return ok
}

// plain is an error without the path in it, which the caller has named.
func plain(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// base is the last part of a name in a folder or an archive.
func base(name string) string { return filepath.Base(filepath.FromSlash(name)) }
