package sandbox

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/scanner"
	"go/token"
	"slices"
	"strconv"
	"strings"
)

// A source is one cell, taken apart as GoNB does it: line by line, before any Go is read.
type source struct {
	index   int      // of the cell in the notebook
	text    []byte   // Go; "package main;" stands before the first line
	lines   []int    // the cell's line for each line of the text, from 1
	args    []string // of its program
	hasArgs bool
	blank   bool     // only special lines
	env     []string // name and value of each %env
	drop    []string // keys of %rm
	reset   bool
	file    *ast.File
	remarks []Remark
	refused string // why the cell is not run at all
}

const head = "package main;"

// fileName is what positions in the cell are named after.
func (s *source) fileName() string { return fileName(s.index) }

// fileName is what the compiler and a stack call a cell.
func fileName(index int) string { return fmt.Sprintf("cell-%d", index+1) }

func (s *source) remark(line int, format string, args ...any) {
	s.remarks = append(s.remarks, Remark{Cell: s.index + 1, Line: line, Text: fmt.Sprintf(format, args...)})
}

// line is the cell's line for a line of the text.
func (s *source) line(n int) int {
	if n < 1 || len(s.lines) == 0 {
		return 0
	}
	return s.lines[min(n, len(s.lines))-1]
}

// scripts are the first words of cells that are no Go at all.
var scripts = []string{"%%writefile", "%%script", "%%bash", "%%sh", "%%gx"}

// split takes a cell apart. Source: GoNB v0.11.4, specialcmd and composer.
func split(index int, cell string) *source {
	s := &source{index: index}
	lines := strings.Split(cell, "\n")
	if first := strings.Fields(trimGonb(lines[0])); len(first) > 0 && slices.Contains(scripts, first[0]) {
		s.refused = fmt.Sprintf("cells that begin with %s are not run: only Go is", first[0])
		return s
	}
	if strings.Contains(cell, mark) {
		s.refused = "this cell uses the letter " + mark + ", which is reserved here: write another"
		return s
	}
	mains := 0
	var code []string
	write := func(i int, text string) {
		code, s.lines = append(code, text), append(s.lines, i+1)
	}
	s.blank = true
	for i := 0; i < len(lines); i++ {
		line := trimGonb(lines[i])
		if len(line) <= 1 || line[0] != '%' && line[0] != '!' {
			if strings.HasPrefix(lines[i], "package") {
				continue
			}
			s.blank = s.blank && strings.TrimSpace(lines[i]) == ""
			write(i, lines[i])
			continue
		}
		begin := i
		command := line
		for strings.HasSuffix(command, `\`) && i+1 < len(lines) {
			i++
			command = command[:len(command)-1] + " " + trimGonb(lines[i])
		}
		if command[0] == '!' {
			s.remark(begin+1, "lines that begin with ! are not run")
			continue
		}
		words := splitWords(command[1:])
		if len(words) == 0 {
			s.refused = fmt.Sprintf("line %d is a lone %% with blanks after it: the kernel dies of it", begin+1)
			return s
		}
		isMain := words[0] == "%" || strings.HasPrefix(line, "%main")
		switch word := words[0]; {
		case isMain:
			mains++
			s.args, s.hasArgs = words[1:], true
			write(begin, "func main() {")
			s.blank = false
		case word == "exec":
			if len(words) < 2 {
				s.refused = fmt.Sprintf("line %d: %%exec needs the name of a function", begin+1)
				return s
			}
			s.args, s.hasArgs = words[2:], true
			write(begin, "func main() { "+words[1]+"() }")
		case word == "args":
			s.args, s.hasArgs = words[1:], true
		case word == "env":
			name, value, ok := strings.Cut(strings.Join(words[1:], " "), "=")
			if !ok {
				name, value, _ = strings.Cut(name, " ")
			}
			if name != "" && !strings.ContainsAny(name+value, "\x00") {
				s.env = append(s.env, name, value)
			}
		case word == "rm" || word == "remove":
			s.drop = append(s.drop, words[1:]...)
		case word == "reset":
			s.reset = s.reset || len(words) == 1
		case word == "test" || word == "wasm":
			s.refused = fmt.Sprintf("cells with %%%s are not run here", word)
			return s
		case slices.Contains([]string{"noautoget", "autoget", "goflags", "help", "version", "ls", "list", "track", "untrack", "goworkfix"}, word):
			// They change nothing here.
		default:
			s.remark(begin+1, "%%%s has no effect here", clip(word, 40))
		}
	}
	if mains > 1 {
		s.refused = "this cell has two lines %% (or %main): the kernel dies of it; keep one, or make two cells"
		return s
	}
	if mains == 1 {
		write(len(lines)-1, "}")
	}
	s.text = []byte(head + strings.Join(code, "\n") + "\n")
	s.quieten()
	return s
}

func trimGonb(line string) string { return strings.TrimPrefix(line, "//gonb:") }

// splitWords splits a special line as GoNB does: double quotes group, and a
// backslash escapes inside them.
func splitWords(s string) []string {
	var words []string
	var word strings.Builder
	in, quoted := false, false
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case quoted && c == '\\' && i+1 < len(s):
			i++
			switch s[i] {
			case 'n':
				word.WriteByte('\n')
			case 't':
				word.WriteByte('\t')
			default:
				word.WriteByte(s[i])
			}
		case c == '"':
			quoted, in = !quoted, true
		case !quoted && (c == ' ' || c == '\t' || c == '\r'):
			if in {
				words = append(words, word.String())
				word.Reset()
				in = false
			}
		default:
			in = true
			word.WriteByte(c)
		}
	}
	if in {
		words = append(words, word.String())
	}
	return words
}

// directives are comments that mean something to the compiler.
var directives = []string{"//go:", "//line ", "/*line ", "//export ", "//extern "}

// quieten blanks out comments: some direct the compiler, and it reads them in other words than
// the scanner here, which leaves out carriage returns.
func (s *source) quieten() {
	fset := token.NewFileSet()
	file := fset.AddFile("", -1, len(s.text))
	var scan scanner.Scanner
	scan.Init(file, s.text, func(token.Position, string) {}, scanner.ScanComments)
	blanked := slices.Clone(s.text)
	for {
		pos, tok, lit := scan.Scan()
		if tok == token.EOF {
			break
		}
		if tok != token.COMMENT {
			continue
		}
		from := file.Offset(pos)
		rest := s.text[from:]
		end := bytes.IndexByte(rest, '\n')
		if rest[1] == '*' {
			if end = bytes.Index(rest[2:], []byte("*/")); end < 0 {
				continue // it has no end, which the parser tells
			}
			end += len("/*" + "*/")
		}
		for i := range end {
			if rest[i] != '\n' {
				blanked[from+i] = ' '
			}
		}
		if !slices.ContainsFunc(directives, func(d string) bool { return strings.HasPrefix(lit, d) }) {
			continue
		}
		line := s.line(1 + bytes.Count(s.text[:from], []byte("\n")))
		s.remark(line, "comments that direct the compiler have no effect here: %s", clip(strings.SplitN(lit, "\n", 2)[0], 60))
	}
	s.text = blanked
}

// parse reads the cell's Go.
func (s *source) parse(fset *token.FileSet) error {
	var err error
	s.file, err = parser.ParseFile(fset, s.fileName(), s.text, 0)
	if err != nil {
		return err
	}
	for _, spec := range s.file.Imports {
		if _, err := strconv.Unquote(spec.Path.Value); err != nil {
			return err
		}
	}
	return nil
}
