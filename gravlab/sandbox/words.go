package sandbox

import (
	"path"
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
	{noName, "there is no $1"},
	{regexp.MustCompile(`^missing return$`), "this function can reach its end without a return"},
	{regexp.MustCompile(`^expected declaration, found (.*)$`), "$1 is outside any function: write a line %% before what is to be run"},
	{regexp.MustCompile(`^(\S+) redeclared in this block$`), "$1 is declared twice"},
	{regexp.MustCompile(`^no new variables on left side of :=$`), "this variable exists already: write = instead of :="},
	{regexp.MustCompile(`^invalid operation: operator \^ not defined on .*$`), "^ is not a power in Go: write math.Pow(x, y), or x*x for a square"},
	{regexp.MustCompile(`^invalid operation: cannot indirect \S+ \(untyped (?:int|float) constant.*$`), "** is not a power in Go: write math.Pow(x, y), or x*x for a square"},
	{regexp.MustCompile(`^invalid operation: cannot call (\S+) \(untyped (?:int|float) constant.*$`), "there is a number before a bracket: a product needs its sign, $1*(…)"},
	{regexp.MustCompile(`^name (\S+) not exported by package (\S+)$`), "there is no $2.$1: what a package offers begins with a capital letter"},
	{regexp.MustCompile(`^\S+ undefined \(type (\S+) has no field or method (\S+), but does have (field|method) (\S+)\)$`), "$1 has no $2, but it has the $3 $4"},
	{regexp.MustCompile(`^\S+ undefined \(type (\S+) has no field or method (\S+)\)$`), "$1 has no field or method $2"},
	{regexp.MustCompile(`^invalid operation: (.*) \(mismatched types (int and float64|float64 and int)\)$`), "$1 mixes $2: turn the int into a float64 first, as in float64(n)"},
	{regexp.MustCompile(`^cannot use (\S+) \((?:untyped float )?constant.*\) as int value in .*\(truncated\)$`), "$1 is not a whole number, and an int is needed here"},
	{regexp.MustCompile(`^assignment mismatch: 1 variable but (\S+) returns 2 values$`), "$1 gives two results, the second as a rule an error: write x, err := …, or put gravlab.Must(…) around the call"},
	{regexp.MustCompile(`^(?:expected '}', found 'EOF'|unexpected EOF, expect(?:ed|ing) })$`), "a { is not closed: one } is missing"},
	{regexp.MustCompile(`^missing ',' before newline in (.*)$`), "the line ends inside the $1: a bracket is not closed, or a comma is missing at its end"},
	{regexp.MustCompile(`^imports must appear before other declarations$`), "imports must be at the top of the cell"},
}

// andMore is what a parser adds that tells its first error alone.
var andMore = regexp.MustCompile(` \(and \d+ more errors\)$`)

// Plain says in plain words what the parser, the checker or the compiler said.
func Plain(message string) string {
	message = strings.TrimPrefix(message, "syntax error: ")
	first, _, _ := strings.Cut(message, "\n")
	first = andMore.ReplaceAllString(first, "")
	if was, now := newName(first); now != "" {
		return was + " is now called " + now
	}
	for _, h := range hints {
		if h.pattern.MatchString(first) {
			return h.pattern.ReplaceAllString(first, h.hint)
		}
	}
	return first
}

// noName, noKey and noMember are what the checker says of a name that its package does not
// have, and of a field or method that its type does not have.
var (
	noName   = regexp.MustCompile(`^undefined: (\S+\.\S+)$`)
	noKey    = regexp.MustCompile(`^unknown field (\w+) in struct literal of type (\S+)$`)
	noMember = regexp.MustCompile(`\(type \*?(\S+) has no field or method (\w+)`)
)

// newName returns a name that a message misses and what it is called now, or nothing where
// no name has changed. A type may stand with the whole path of its package.
func newName(message string) (was, now string) {
	if m := noName.FindStringSubmatch(message); m != nil {
		was = m[1]
	} else if m := noMember.FindStringSubmatch(message); m != nil {
		was = path.Base(m[1]) + "." + m[2]
	} else if m := noKey.FindStringSubmatch(message); m != nil {
		was = path.Base(m[2]) + "." + m[1]
	}
	return was, renamed[was]
}
