package compose

import (
	"regexp"
	"strings"
)

// hints say what to do about what the checker says most often.
var hints = []struct {
	pattern *regexp.Regexp
	hint    string
}{
	{regexp.MustCompile(`^declared and not used: (.*)$`), "$0: use it, or take it out"},
	{regexp.MustCompile(`^undefined: ([^.\s]+)$`), "$1 is not known here: is it spelt as where it was declared, and does that cell come before this one?"},
	{regexp.MustCompile(`^undefined: (\S+\.\S+)$`), "there is no $1"},
	{regexp.MustCompile(`^missing return$`), "this function can reach its end without a return"},
	{regexp.MustCompile(`^expected declaration, found (.*)$`), "$1 stands outside of any function: write a line %% before what is to be run"},
	{regexp.MustCompile(`^(\S+) redeclared in this block$`), "$1 is declared twice"},
	{regexp.MustCompile(`^no new variables on left side of :=$`), "this variable exists already: write = instead of :="},
	{regexp.MustCompile(`^imports must appear before other declarations$`), "imports must stand at the top of the cell"},
}

// Plain says in plain words what the parser, the checker or the compiler said.
func Plain(message string) string {
	message = strings.TrimPrefix(message, "syntax error: ")
	first, _, _ := strings.Cut(message, "\n")
	for _, h := range hints {
		if h.pattern.MatchString(first) {
			return h.pattern.ReplaceAllString(first, h.hint)
		}
	}
	return first
}
