package marking

import (
	"go/scanner"
	"go/token"
	"hash/fnv"
	"slices"
	"strings"
)

// Two programs are compared by winnowing: S. Schleimer, D. S. Wilkerson and A. Aiken,
// "Winnowing: local algorithms for document fingerprinting", SIGMOD 2003, pp. 76-85. Every
// run of gram tokens is hashed, and of each window of hashes the smallest is kept (of equal
// ones the last). So a passage of gram+window-1 tokens that two programs share is met for
// certain, and none shorter than gram.
const (
	gram   = 12
	window = 8
)

// tokensOf are the tokens of a cell. Numbers are all alike, and so are the student's own
// names, unless they are kept; comments and the layout do not count. Names of packages,
// fields and methods stay.
func tokensOf(source string, named bool) []string {
	var lines []string
	for line := range strings.Lines(source) {
		if t := strings.TrimSpace(line); strings.HasPrefix(t, "%") || strings.HasPrefix(t, "!") {
			line = "\n" // a command of the kernel
		}
		lines = append(lines, line)
	}
	text := []byte(strings.Join(lines, ""))
	files := token.NewFileSet()
	var s scanner.Scanner
	s.Init(files.AddFile("", files.Base(), len(text)), text, func(token.Position, string) {}, 0)
	var out []string
	var kinds []token.Token
	for {
		_, tok, lit := s.Scan()
		if tok == token.EOF {
			break
		}
		switch {
		case tok == token.SEMICOLON:
			continue // as often as not put in by the scanner
		case tok == token.INT || tok == token.FLOAT || tok == token.IMAG || tok == token.CHAR:
			lit = "0"
		case lit == "" || tok.IsKeyword():
			lit = tok.String()
		}
		out, kinds = append(out, lit), append(kinds, tok)
	}
	if named {
		return out
	}
	// A name that stands somewhere without a dot after it is a variable; others before a
	// dot are packages.
	before := func(i int) bool { return i > 0 && kinds[i-1] == token.PERIOD }
	after := func(i int) bool { return i+1 < len(kinds) && kinds[i+1] == token.PERIOD }
	variables := map[string]bool{}
	for i, tok := range kinds {
		if tok == token.IDENT && !before(i) && !after(i) {
			variables[out[i]] = true
		}
	}
	for i, tok := range kinds {
		if tok == token.IDENT && !before(i) && variables[out[i]] {
			out[i] = "v"
		}
	}
	return out
}

// winnow is the set of fingerprints of a list of tokens.
func winnow(tokens []string) map[uint64]bool {
	var hashes []uint64
	for i := 0; i+gram <= len(tokens); i++ {
		h := fnv.New64a()
		h.Write([]byte(strings.Join(tokens[i:i+gram], "\x00")))
		hashes = append(hashes, h.Sum64())
	}
	out := map[uint64]bool{}
	for i := 0; i < len(hashes); i++ {
		part := hashes[i:min(i+window, len(hashes))]
		out[slices.Min(part)] = true
		if i+window >= len(hashes) {
			break
		}
	}
	return out
}

// printsOfCells are the fingerprints of the code of a notebook, cell by cell.
func printsOfCells(sources []string, named bool) map[uint64]bool {
	out := map[uint64]bool{}
	for _, s := range sources {
		for p := range winnow(tokensOf(s, named)) {
			out[p] = true
		}
	}
	return out
}

// alike returns how much of the smaller of two programs the other has too, apart from what
// is left out, and in how many fingerprints.
func alike(a, b, leftOut map[uint64]bool) (part float64, shared int) {
	sizes := [2]int{}
	for i, set := range []map[uint64]bool{a, b} {
		for p := range set {
			if !leftOut[p] {
				sizes[i]++
			}
		}
	}
	for p := range a {
		if b[p] && !leftOut[p] {
			shared++
		}
	}
	if least := min(sizes[0], sizes[1]); least > 0 {
		part = float64(shared) / float64(least)
	}
	return part, shared
}
