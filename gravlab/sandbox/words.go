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
	{regexp.MustCompile(`^declared and not used: err$`), "$0: it says whether the call before went well. Put gravlab.Must(…) around that call, which stops with the error, and take err out"},
	{regexp.MustCompile(`^declared and not used: (.*)$`), "$0: use it, or take it out"},
	{regexp.MustCompile(`^undefined: (G|UG|BoltzmannK|SpeedOfLight|StandardGravity|ElementaryCharge|VacuumPermittivity|LeadDensity|Gal|MilliGal|MicroGal|Eotvos|Degree)$`), "$1 is in package gravlab: write gravlab.$1"},
	{regexp.MustCompile(`^undefined: (Print|Printf|Println|Sprintf|Sprint)$`), "$1 is in package fmt: write fmt.$1"},
	{regexp.MustCompile(`^undefined: (Math|Fmt)$`), "a package begins with a small letter and what it offers with a capital one, as in math.Sin or fmt.Println"},
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
	{regexp.MustCompile(`^\S+ undefined \(type (\S+) has no field or method (\S+), but does have unexported (?:field|method) \S+\)$`), "$1 has no field or method $2"},
	{regexp.MustCompile(`^\S+ undefined \(type (\S+) has no field or method (\S+)\)$`), "$1 has no field or method $2"},
	{regexp.MustCompile(`^invalid operation: (\w+) [-+*/]= .* \(mismatched types int and float64\)$`), "$1 is a whole number (an int), and what is added to it is not: begin it with a point, as in $1 := 0.0"},
	{regexp.MustCompile(`^invalid operation: (.*) \(mismatched types (int and float64|float64 and int)\)$`), "$1 mixes $2: turn the int into a float64 first, as in float64(n)"},
	{regexp.MustCompile(`^cannot use (\S+) \((?:untyped float )?constant.*\) as int value in .*\(truncated\)$`), "$1 is not a whole number, and an int is needed here"},
	{regexp.MustCompile(`^(.*) \(untyped float constant.*\) truncated to int$`), "$1 is not a whole number, but a variable beside it is (an int): write that one's value with a point, as in m := 51.0, or make a float64 of it, as in float64(i)"},
	{regexp.MustCompile(`^cannot use (.*) \((?:variable|value) of type int\) as float64 value in .*$`), "$1 is a whole number (an int), and a number with a point (a float64) is needed here: write float64($1)"},
	{regexp.MustCompile(`^not enough arguments in call to (\S+)$`), "something is missing between the brackets of $1"},
	{regexp.MustCompile(`^too many arguments in call to (\S+)$`), "there is too much between the brackets of $1"},
	{regexp.MustCompile(`^assignment mismatch: 1 variable but 2 values$`), "there are two values for one name: in Go a number has a point, not a comma"},
	{regexp.MustCompile(`^expected boolean expression, found assignment .*$`), "= gives a value; to compare, write =="},
	{regexp.MustCompile(`^expected '\{', found in$`), "a loop is written for i := range n in Go"},
	{regexp.MustCompile(`^expected '\(', found (\S+)$`), "a } is missing above this line: a function or a loop is not closed"},
	{regexp.MustCompile(`^(?:unexpected semicolon or newline before \{|expected '\{', found newline|unexpected newline, expecting \{ after .*)$`), "a { has to stand on the same line as what it belongs to, at its end"},
	{regexp.MustCompile(`^illegal character U\+[0-9A-F]+(?: '(.*)')?$`), "$1 does not belong in Go code; a text needs quotes around it"},
	{regexp.MustCompile(`^(?:illegal rune literal|more than one character in rune literal)$`), "a text stands between double quotes"},
	{regexp.MustCompile(`^string literal not terminated$`), "a text is not closed: its second quote is missing"},
	{regexp.MustCompile(`^expected statement, found '\)'$`), "there is one ) too many"},
	{regexp.MustCompile(`^expected operand, found (\S+)$`), "a value is missing before $1"},
	{regexp.MustCompile(`^expected ';', found (\S+)$`), "something is missing before $1: a sign such as * or +, a comma, or a new line"},
	{regexp.MustCompile(`^assignment mismatch: 1 variable but (\S+) returns 2 values$`), "$1 gives two results, the second as a rule an error: write x, err := …, or put gravlab.Must(…) around the call"},
	{regexp.MustCompile(`^(?:expected '}', found 'EOF'|unexpected EOF, expect(?:ed|ing) })$`), "a { is not closed: one } is missing"},
	{regexp.MustCompile(`^missing ',' before newline in (.*)$`), "the line ends inside the $1: a bracket is not closed, or a comma is missing at its end"},
	{regexp.MustCompile(`^imports must appear before other declarations$`), "imports must be at the top of the cell"},
}

// mathName is what the checker says of a function of package math without the package.
var mathName = regexp.MustCompile(`^undefined: ((?:[Ss]qrt|[Ss]in|[Cc]os|[Tt]an|[Aa]sin|[Aa]cos|[Aa]tan|[Aa]tan2|[Ee]xp|[Ll]og|[Ll]og10|[Pp]ow|[Aa]bs|[Hh]ypot|[Pp]i))$`)

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
	if m := mathName.FindStringSubmatch(first); m != nil {
		return m[1] + " is in package math: write math." + strings.ToUpper(m[1][:1]) + m[1][1:]
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
