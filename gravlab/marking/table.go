package marking

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	unicode16 "golang.org/x/text/encoding/unicode"

	"gravity.example/gravlab/internal/atomicfile"
)

// A table is a CSV file (RFC 4180) with a header and a column id.
type table struct {
	file   string // as named by the caller
	header []string
	head   int // line of the header
	rows   [][]string
	lines  []int  // of each row in the file
	note   string // what was guessed; empty if nothing was

	dialect Dialect
}

// A Dialect is how a spreadsheet writes a table. The tables about a class are written in
// that of its class list, so that the same spreadsheet opens them. The zero value has
// commas and decimal points.
type Dialect struct {
	Separator    rune // 0: a comma
	DecimalComma bool
	Mark         bool // a byte order mark stands in front
}

// dialectOf is the dialect of a table. Where it has no number with a decimal sign,
// semicolons say that the comma is one.
func dialectOf(t *table, sep rune, mark bool) Dialect {
	d := Dialect{Separator: sep, DecimalComma: sep == ';', Mark: mark}
	points, commas := 0, 0
	for _, row := range t.rows {
		for _, cell := range row {
			if decimal.MatchString(cell) {
				if strings.Contains(cell, ",") {
					commas++
				} else {
					points++
				}
			}
		}
	}
	if points != commas {
		d.DecimalComma = commas > points && sep != ','
	}
	return d
}

var decimal = regexp.MustCompile(`^[+-]?[0-9]+[.,][0-9]+$`)

// number writes the text of a number with the decimal sign of the dialect.
func (d Dialect) number(text string) string {
	if d.DecimalComma {
		return strings.Replace(text, ".", ",", 1)
	}
	return text
}

// line is a row of a table. An id is text: one of digits alone stands between quotation
// marks, from which spreadsheets can know it when they import the table. What takes off its
// zeros all the same does no harm (see folded).
func (d Dialect) line(cells []string, id int) string {
	sep := string(cmp.Or(d.Separator, ','))
	out := make([]string, len(cells))
	for i, cell := range cells {
		// The rules of RFC 4180; a space in front and \. are what some readers stumble over.
		if strings.ContainsAny(cell, sep+"\"\r\n") || strings.HasPrefix(cell, " ") || cell == `\.` || i == id && digits.MatchString(cell) {
			cell = `"` + strings.ReplaceAll(cell, `"`, `""`) + `"`
		}
		out[i] = cell
	}
	return strings.Join(out, sep) + "\n"
}

// maxTable is the most bytes of a table: a class of 100,000 fits.
const maxTable = 20_000_000

// readTable reads a CSV file as spreadsheets and student offices write them: in
// UTF-8, UTF-16 or Windows-1252, with commas, semicolons or tabs between the cells,
// lines that end in any way, a first line that names the separator (sep=;), and
// titles above the header. The header is the first line with a column id. Rows
// without any text are left out.
func readTable(path string) (*table, error) {
	f, err := openFile(path)
	if err != nil {
		return nil, notOpened(path, err, "")
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

// openFile opens an ordinary file. Opening never waits: a named pipe without a
// writer is refused like anything else that is no file.
func openFile(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, plain(err)
	}
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		f.Close()
		if err == nil {
			err = errors.New("is not an ordinary file")
		}
		return nil, plain(err)
	}
	return f, nil
}

func parseTable(file string, raw []byte) (*table, error) {
	text, note, err := decode(file, raw)
	if err != nil {
		return nil, err
	}
	separators := []rune{separator(text), ',', ';', '\t'}
	line, rest, _ := strings.Cut(text, "\n")
	if sign, ok := strings.CutPrefix(strings.ToLower(strings.Trim(line, `" `)), "sep="); ok {
		if sign == "" || !strings.ContainsRune(",;\t|:", rune(sign[0])) {
			return nil, wrong(file, 1, "names a separator that cannot be used; a comma, a semicolon, a tab, | and : can")
		}
		separators, text = []rune{rune(sign[0])}, "\n"+rest // the lines keep their numbers
	}
	var best *table
	var bestErr error
	bestSep := ','
	for i, sep := range separators {
		t, err := parseCells(file, text, sep)
		if i == 0 || t.head > 0 && (best.head == 0 || len(t.header) > len(best.header)) {
			best, bestErr, bestSep = t, err, sep
		}
	}
	if bestErr != nil {
		return nil, bestErr
	}
	if best.header == nil {
		return nil, wrong(file, 0, "is empty; one of its first lines names the columns")
	}
	best.note = note
	marked := slices.ContainsFunc([]string{"\ufeff", "\xff\xfe", "\xfe\xff"}, func(mark string) bool { return bytes.HasPrefix(raw, []byte(mark)) })
	best.dialect = dialectOf(best, bestSep, marked)
	return best, nil
}

// mostTitles is how many lines may stand above the header.
const mostTitles = 20

// parseCells parses with one separator. The table holds what was read before an
// error; without a column id the first line is the header and head is 0.
func parseCells(file, text string, sep rune) (*table, error) {
	t := &table{file: file}
	in := csv.NewReader(strings.NewReader(text))
	in.Comma = sep
	in.FieldsPerRecord = -1
	in.TrimLeadingSpace = sep != '\t' // a tab is a space too, and an empty cell would vanish
	var failed error
	for {
		row, err := in.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			var at *csv.ParseError
			failed = wrong(file, 0, "%v", err)
			if errors.As(err, &at) {
				// A cell in quotation marks may begin lines above where it goes wrong.
				failed = wrong(file, at.StartLine, "has a quotation mark in the wrong place: a cell that begins with one ends with one, and a mark inside it is written twice (%v)", at.Err)
			}
			break
		}
		line, _ := in.FieldPos(0)
		empty := true
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
			empty = empty && row[i] == ""
		}
		if empty {
			continue
		}
		if t.head == 0 && len(t.rows) < mostTitles && slices.ContainsFunc(row, isID) {
			*t = table{file: file, header: row, head: line}
			continue
		}
		if t.header == nil {
			t.header = row
			continue
		}
		t.rows, t.lines = append(t.rows, row), append(t.lines, line)
	}
	for len(t.header) > 1 && t.header[len(t.header)-1] == "" && !slices.ContainsFunc(t.rows, func(row []string) bool { return len(row) >= len(t.header) && row[len(t.header)-1] != "" }) {
		t.header = t.header[:len(t.header)-1] // a column without a name and without a cell
	}
	n := len(t.header)
	for k, row := range t.rows {
		if len(row) > n && strings.Join(row[n:], "") != "" {
			if failed == nil || t.lines[k] < failed.(*InputError).Line {
				failed = wrong(file, t.lines[k], "has %d cells and the header %d; put a cell that holds a %q between quotation marks", len(row), n, sep)
			}
			break
		}
		for len(row) < n {
			row = append(row, "")
		}
		t.rows[k] = row[:n]
	}
	return t, failed
}

// decode is the text of a table with lines that end in one way. note says what
// was guessed.
func decode(file string, raw []byte) (text, note string, err error) {
	for _, mark := range []string{"PK\x03\x04", "\xd0\xcf\x11\xe0"} {
		if bytes.HasPrefix(raw, []byte(mark)) {
			return "", "", wrong(file, 0, "is a spreadsheet or an archive and no CSV file; open it in the spreadsheet and save it as CSV UTF-8")
		}
	}
	var wide encoding.Encoding
	switch {
	case bytes.HasPrefix(raw, []byte("\xff\xfe")), len(raw) >= 4 && raw[0] != 0 && raw[1] == 0 && raw[2] != 0 && raw[3] == 0:
		wide = unicode16.UTF16(unicode16.LittleEndian, unicode16.UseBOM)
	case bytes.HasPrefix(raw, []byte("\xfe\xff")), len(raw) >= 4 && raw[0] == 0 && raw[1] != 0 && raw[2] == 0 && raw[3] != 0:
		wide = unicode16.UTF16(unicode16.BigEndian, unicode16.UseBOM)
	}
	switch {
	case wide != nil:
		if len(raw)%2 == 1 {
			return "", "", wrong(file, 0, "ends in the middle of a character (UTF-16), so it was cut off; save it again in the spreadsheet as CSV UTF-8")
		}
		if raw, err = wide.NewDecoder().Bytes(raw); err != nil {
			return "", "", wrong(file, 0, "cannot be read as UTF-16 (%v); save it in the spreadsheet as CSV UTF-8", err)
		}
	case !utf8.Valid(raw):
		if bytes.IndexByte(raw, 0) >= 0 || slices.ContainsFunc(raw, func(b byte) bool { return slices.Contains([]byte{0x81, 0x8d, 0x8f, 0x90, 0x9d}, b) }) {
			return "", "", wrong(file, 0, "is neither UTF-8 nor Windows-1252 text; save it in the spreadsheet as CSV UTF-8")
		}
		if raw, err = charmap.Windows1252.NewDecoder().Bytes(raw); err != nil {
			return "", "", wrong(file, 0, "is neither UTF-8 nor Windows-1252 text; save it in the spreadsheet as CSV UTF-8")
		}
		note = "is not UTF-8 and was read as Windows-1252; if letters with accents come out wrong, save it in the spreadsheet as CSV UTF-8"
	}
	raw = bytes.TrimPrefix(raw, []byte("\ufeff"))
	if bytes.IndexByte(raw, 0) >= 0 {
		return "", "", wrong(file, 0, "holds zero bytes, so it is not a CSV file; save it in the spreadsheet as CSV UTF-8")
	}
	return strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(string(raw)), note, nil
}

// separator is what seems to stand between the cells of the first line.
func separator(text string) rune {
	line, _, _ := strings.Cut(strings.TrimSpace(text), "\n")
	for _, c := range ";\t" {
		if strings.ContainsRune(line, c) && !strings.Contains(line, ",") {
			return c
		}
	}
	return ','
}

// otherNames are what student offices call a column.
var otherNames = map[string][]string{
	"id":         {"id number", "student id", "student number", "student id number", "id no", "student no"},
	"name":       {"full name", "student name"},
	"first name": {"given name", "given names", "first names", "forename", "forenames"},
	"last name":  {"surname", "family name"},
}

// columnName is the name of a column without capitals and signs.
func columnName(s string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return strings.ContainsRune(" _-.", r) }), " ")
}

func isID(cell string) bool {
	name := columnName(cell)
	return name == "id" || slices.Contains(otherNames["id"], name)
}

// column finds a column by its name, in small letters or capitals, or by another
// name that it may have; -1 if there is none.
func (t *table) column(name string) (int, error) {
	for _, names := range [][]string{{name}, otherNames[name]} {
		found := -1
		for i, h := range t.header {
			if !slices.Contains(names, columnName(h)) {
				continue
			}
			if found >= 0 && columnName(t.header[found]) == columnName(h) {
				return -1, wrong(t.file, t.head, "has two columns %q", name)
			}
			if found >= 0 {
				return -1, wrong(t.file, t.head, "has the columns %q and %q; call the one that counts %q", t.header[found], h, name)
			}
			found = i
		}
		if found >= 0 {
			return found, nil
		}
	}
	return -1, nil
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
			return nil, wrong(t.file, max(t.head, 1), "has no column %q; its columns are %s", name, strings.Join(quoted(t.header), ", "))
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

// WriteTable writes a CSV file whole, for its owner alone: every table names
// students. A column id holds text (see Dialect). Numbers among the cells have decimal
// points; they get the dialect's sign if their column is among the numbers.
func (d Dialect) WriteTable(path string, header []string, numbers []string, rows func(write func(cells ...string) error) error) error {
	return atomicfile.Write(path, 0o600, func(w io.Writer) error {
		out := bufio.NewWriter(w)
		if d.Mark {
			out.WriteString("\ufeff")
		}
		id := slices.Index(header, "id")
		out.WriteString(d.line(header, id))
		err := rows(func(cells ...string) error {
			for i := range cells {
				if slices.Contains(numbers, header[i]) && isNumber(cells[i]) {
					cells[i] = d.number(cells[i])
				}
				cells[i] = harmless(cells[i])
			}
			_, err := out.WriteString(d.line(cells, id))
			return err
		})
		return errors.Join(err, out.Flush())
	})
}

// harmless makes a cell text for every spreadsheet: what begins like a formula
// gets an apostrophe, and what no cell can hold is dropped. Numbers stay. A spreadsheet that
// takes another sign for the separator cuts a cell in pieces, and each of them
// may be a formula; so the rule holds for every piece.
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
	if isNumber(s) {
		return s
	}
	return pieces(s, func(piece string) string {
		if isFormula(piece) && !isNumber(strings.TrimSpace(piece)) {
			return "'" + piece
		}
		return piece
	})
}

// harmed undoes the apostrophes of harmless.
func harmed(s string) string {
	plain := pieces(s, func(piece string) string {
		if rest, ok := strings.CutPrefix(piece, "'"); ok && isFormula(rest) {
			return rest
		}
		return piece
	})
	if harmless(plain) == s {
		return plain
	}
	return s
}

// pieces changes each piece of a cell as other separators would cut it.
func pieces(s string, change func(string) string) string {
	var out strings.Builder
	for s != "" {
		end := strings.IndexAny(s, ";\t\n") // those that a cell holds without quotation marks, or that end a line
		if end < 0 {
			end = len(s)
		}
		out.WriteString(change(s[:end]))
		if end < len(s) {
			out.WriteByte(s[end])
			end++
		}
		s = s[end:]
	}
	return out.String()
}

// isFormula reports whether a spreadsheet may take a piece of text for a formula.
func isFormula(piece string) bool {
	piece = strings.TrimLeftFunc(piece, func(r rune) bool { return unicode.IsSpace(r) || r == '"' })
	return piece != "" && strings.ContainsRune("=+-@＝＋－＠", []rune(piece)[0])
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
