package kernel

import (
	"fmt"
	"go/parser"
	"go/scanner"
	"go/token"
	"strconv"
	"strings"
)

// refuse looks for what would kill or hang GoNB v0.11.4 and says what to do
// instead; "" lets the cell pass. uses says which packages earlier cells have
// imported and is brought up to date: GoNB remembers imports.
//
// The patterns were found by trying. Under another front end the kernel itself
// meets them: those of the first kind end it, and the front end starts it again.
func refuse(source string, uses map[string]bool) string {
	lines := strings.Split(source, "\n")
	first := strings.Fields(trimPrefix(lines[0]))
	if len(first) > 0 {
		switch first[0] {
		case "%%script":
			if len(first) == 1 {
				return "%%script needs the name of a program after it, for example `%%script python3`: without one the kernel dies"
			}
			return ""
		case "%%writefile", "%%bash", "%%sh":
			if first[0] == "%%writefile" && len(first) > 1 && first[len(first)-1] == `""` {
				return "%%writefile needs the name of a file after it: with an empty one the kernel dies"
			}
			return ""
		}
	}
	var code []string
	mains, joined := 0, false
	for i, line := range lines {
		trimmed := trimPrefix(line)
		special := joined || len(trimmed) > 1 && (trimmed[0] == '%' || trimmed[0] == '!')
		if !special {
			code = append(code, line)
			continue
		}
		code = append(code, "")
		start := !joined
		joined = strings.HasSuffix(trimmed, `\`)
		if !start {
			continue
		}
		words := strings.Fields(trimmed[1:])
		if len(words) == 0 || len(words) == 1 && words[0] == `\` && restBlank(lines[i+1:]) {
			return fmt.Sprintf("line %d is a lone %q with blanks after it: the kernel dies of it; remove the line or write a command after the sign", i+1, trimmed[:1])
		}
		if trimmed[0] == '!' {
			continue
		}
		switch words[0] {
		case "%", "main":
			mains++
		case "cd", "capture":
			if last := words[len(words)-1]; len(words) > 1 && (last == `""` || last == `"`) {
				return fmt.Sprintf("line %d: %%%s with an empty name: the kernel dies of it; write the name", i+1, words[0])
			}
		case "with_inputs", "with_password":
			return fmt.Sprintf("line %d asks for input, and a run without a front end has no one to type it: give the value in the code, or open the notebook in Jupyter", i+1)
		}
	}
	if mains > 1 {
		return "this cell has two lines `%%` (or %main): the kernel dies of it; keep one, or make two cells"
	}
	imports, prints := importsOf(strings.Join(code, "\n"))
	for path := range imports {
		uses[path] = true
	}
	uses = both(uses, prints)
	var gonbui string
	ours := false
	for path := range uses {
		if isGonbui(path) {
			gonbui = path
		}
		ours = ours || path == modulePath+"/gravlab/ask" || path == modulePath+"/gravlab/show"
	}
	// A memorised import does no harm until a cell uses both.
	if gonbui != "" && ours && usesName(code, "gonbui", "dom", "widgets", "comms") && usesName(code, "ask", "show", "sheet") {
		return "this cell uses gonbui beside ask or show: two writers on one pipe would hang it until it is interrupted; use show.HTML, show.Markdown or show.PNG instead of gonbui"
	}
	return ""
}

func both(a, b map[string]bool) map[string]bool {
	m := map[string]bool{}
	for k := range a {
		m[k] = true
	}
	for k := range b {
		m[k] = true
	}
	return m
}

func isGonbui(path string) bool {
	return path == gonbPackage+"/gonbui" || strings.HasPrefix(path, gonbPackage+"/gonbui/")
}

func trimPrefix(line string) string { return strings.TrimPrefix(line, "//gonb:") }

// restBlank reports whether a joined command goes on with nothing.
func restBlank(rest []string) bool {
	return len(rest) == 0 || strings.TrimSpace(rest[0]) == ""
}

// importsOf returns what the cell imports. A name such as gonbui that no import
// explains is found by goimports, so it counts as imported too.
func importsOf(code string) (imports, guessed map[string]bool) {
	imports, guessed = map[string]bool{}, map[string]bool{}
	file, _ := parser.ParseFile(token.NewFileSet(), "", "package main\n"+importLines(code), parser.ImportsOnly)
	if file != nil {
		for _, spec := range file.Imports {
			if path, err := strconv.Unquote(spec.Path.Value); err == nil {
				imports[path] = true
			}
		}
	}
	lines := strings.Split(code, "\n")
	if usesName(lines, "gonbui") {
		guessed[gonbPackage+"/gonbui"] = true
	}
	if usesName(lines, "ask") {
		guessed[modulePath+"/gravlab/ask"] = true
	}
	if usesName(lines, "show") {
		guessed[modulePath+"/gravlab/show"] = true
	}
	return imports, guessed
}

// importLines keeps the import declarations alone: a cell may have them after
// others, where Go would not allow them.
func importLines(code string) string {
	var out strings.Builder
	open := false
	for line := range strings.Lines(code) {
		word := strings.TrimSpace(line)
		switch {
		case open:
			out.WriteString(line)
			open = !strings.HasPrefix(word, ")")
		case strings.HasPrefix(word, "import"):
			out.WriteString(line)
			open = strings.Contains(word, "(") && !strings.Contains(word, ")")
		}
	}
	return out.String() + "\n"
}

// usesName reports whether the code uses one of the names before a dot, outside
// comments and strings.
func usesName(lines []string, names ...string) bool {
	src := []byte(strings.Join(lines, "\n"))
	var s scanner.Scanner
	fset := token.NewFileSet()
	s.Init(fset.AddFile("", fset.Base(), len(src)), src, func(token.Position, string) {}, 0)
	last := ""
	for {
		_, tok, lit := s.Scan()
		switch {
		case tok == token.EOF:
			return false
		case tok == token.PERIOD && last != "":
			for _, name := range names {
				if last == name {
					return true
				}
			}
		}
		last = ""
		if tok == token.IDENT {
			last = lit
		}
	}
}
