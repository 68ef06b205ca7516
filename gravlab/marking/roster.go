package marking

import (
	"path"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// A roster finds students by what a folder or a file is called.
type roster struct {
	ids   map[string]int
	names map[string]int // -1: two students have it
}

func rosterOf(class Class) roster {
	r := roster{map[string]int{}, map[string]int{}}
	for i, s := range class.Students {
		r.ids[strings.ToLower(s.ID)] = i
		words := strings.Fields(letters(s.Name))
		if len(words) < 2 { // Ada alone may be anybody
			continue
		}
		for k := range words { // the last name may stand first, and have several words
			name := strings.Join(append(slices.Clone(words[k:]), words[:k]...), " ")
			if j, had := r.names[name]; had && j != i {
				r.names[name] = -1
			} else {
				r.names[name] = i
			}
		}
	}
	return r
}

// whose finds the student whom a path names, in its outermost part that names one: by
// the id, or by the whole name. -1 if there is none.
func (r roster) whose(place string) int {
	for _, part := range strings.FieldsFunc(place, func(c rune) bool { return strings.ContainsRune(`/\!`, c) }) {
		part = strings.TrimSuffix(part, path.Ext(part))
		if i, ok := r.ids[strings.ToLower(part)]; ok {
			return i
		}
		for _, word := range strings.FieldsFunc(part, func(c rune) bool { return strings.ContainsRune("_ -", c) }) {
			// 90 in 90-swing.ipynb is no student.
			if i, ok := r.ids[strings.ToLower(word)]; ok && len(word) >= 4 {
				return i
			}
		}
		found := -1
		plain := " " + letters(part) + " "
		for name, i := range r.names {
			if !strings.Contains(plain, " "+name+" ") {
				continue
			}
			if i < 0 || found >= 0 && found != i {
				found = -1
				break
			}
			found = i
		}
		if found >= 0 {
			return found
		}
	}
	return -1
}

// letters are the words of a name without capitals and accents, which systems
// write in several ways.
func letters(s string) string {
	s = strings.Map(func(c rune) rune {
		switch {
		case unicode.Is(unicode.Mn, c):
			return -1
		case unicode.IsLetter(c) || unicode.IsDigit(c):
			return unicode.ToLower(c)
		}
		return ' '
	}, norm.NFD.String(s))
	return strings.Join(strings.Fields(s), " ")
}
