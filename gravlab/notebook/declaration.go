package notebook

import (
	"fmt"
	"regexp"
)

// A Declaration is what a notebook says about its sheet: var sheet = ask.Sheet(LAB, CODE).
type Declaration struct {
	Lab, Code string
	Assessed  bool   // ask.Assessed: the sheet is handed in for marks
	Text      string // as it stands there, without the last bracket
}

// Quotes are escaped where the bytes of a file are searched.
var declaration = regexp.MustCompile(`ask\.(Sheet|Assessed)\(\\?"([^"\\]{0,100})\\?",\s*\\?"([^"\\]{0,100})\\?"`)

// Declarations returns the first n declarations in the source of a cell, or in the
// bytes of a notebook's file.
func Declarations(text string, n int) []Declaration {
	var all []Declaration
	for _, m := range declaration.FindAllStringSubmatch(text, n) {
		all = append(all, Declaration{Text: m[0], Assessed: m[1] == "Assessed", Lab: m[2], Code: m[3]})
	}
	return all
}

// Declare puts lab and code into the declaration in the source of a cell. The rest of
// the source stays.
func Declare(source, lab, code string) string {
	return declaration.ReplaceAllString(source, fmt.Sprintf("ask.$1(%q, %q", lab, code))
}
