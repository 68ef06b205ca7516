package quantity

import (
	"fmt"
	"strings"
	"unicode"
)

// inSigns writes a unit that is spelled out with signs: "newton metre per
// radian" becomes "newton metre / radian", "m per second squared" "m / second^2",
// "micro Gal" "microGal". It turns square brackets into round ones, sets a 1
// above a line that begins the unit, and a product sign in the place of a hyphen
// between symbols, which it remarks on.
func inSigns(s string) (signs string, remarks []string) {
	s = strings.ReplaceAll(strings.ReplaceAll(s, "[", "("), "]", ")")
	var out []string
	before := "" // what belongs to the next word without a space
	behind := "" // what belongs behind it
	words := strings.Fields(s)
	for i := 0; i < len(words); i++ {
		w := words[i]
		last := i+1 == len(words)
		switch low := strings.ToLower(w); {
		case low == "per" && !last && strings.EqualFold(words[i+1], "cent"):
			w = "%"
			i++
		case low == "per" && !last && (strings.EqualFold(words[i+1], "mille") || strings.EqualFold(words[i+1], "mil")):
			w = "‰"
			i++
		case low == "square" && !last && strings.EqualFold(words[i+1], "root"):
			continue // its root follows
		case low == "root" && !last:
			if strings.EqualFold(words[i+1], "of") && i+2 < len(words) {
				i++
			}
			before = "√"
			continue
		case strings.HasPrefix(low, "root-") && len(w) > len("root-"):
			w = "√" + w[len("root-"):]
		case low == "per":
			w = "/"
		case (low == "squared" || low == "cubed") && len(out) > 0:
			out[len(out)-1] += map[string]string{"squared": "^2", "cubed": "^3"}[low]
			continue
		case low == "square" && !last:
			behind = "^2"
			continue
		case low == "cubic" && !last:
			behind = "^3"
			continue
		case isPrefixName(w) && !last:
			before = w
			continue
		}
		out = append(out, before+w+behind)
		before, behind = "", ""
	}
	signs = strings.Join(out, " ")
	if strings.HasPrefix(signs, "/") {
		signs = "1" + signs
	}
	if !strings.Contains(signs, "-") {
		return signs, nil
	}
	var b strings.Builder
	letters := []rune(signs)
	word := 0 // where the word begins that is being written
	for i, r := range letters {
		if r == '-' && i > 0 && i+1 < len(letters) && unicode.IsLetter(letters[i+1]) && joins(letters[i-1]) {
			if !isPrefixName(string(letters[word:i])) { // micro-Gal
				b.WriteRune('·')
				remarks = []string{"the hyphen read as ·"}
			}
			word = i + 1
			continue
		}
		if !unicode.IsLetter(r) {
			word = i + 1
		}
		b.WriteRune(r)
	}
	return b.String(), remarks
}

// joins reports whether a hyphen behind r can join two units.
func joins(r rune) bool {
	return unicode.IsLetter(r) || unicode.IsDigit(r) || r == ')' || strings.ContainsRune("¹²³°%", r)
}

func isPrefixName(word string) bool {
	for _, p := range prefixes {
		if strings.EqualFold(word, p.name) {
			return true
		}
	}
	return false
}

// byName returns the meanings of a unit that is spelled out, in small or capital
// letters, with a prefix that is spelled out or without: "microGal", "Newtons".
// The list of words holds what is common; this looks through the units in turn.
func byName(word string) []factor {
	if fs := plainName(word); len(fs) > 0 {
		return fs
	}
	for _, p := range prefixes {
		if p.symbol == "u" || len(word) <= len(p.name) || !strings.EqualFold(word[:len(p.name)], p.name) {
			continue
		}
		rest := word[len(p.name):]
		var out []factor
		for _, f := range append(plainName(rest), words()[rest]...) {
			if f.prefix.symbol == "" && contains(f.entry.prefixes, p.symbol) && (len(out) == 0 || out[0].entry != f.entry) {
				f.prefix = p
				out = append(out, f)
			}
		}
		if len(out) > 0 {
			return out
		}
	}
	return nil
}

// plainName returns the unit of a name without a prefix. Symbols have their
// case, and no plural.
func plainName(word string) []factor {
	for i := range entries {
		e := &entries[i]
		for _, name := range append([]string{e.name}, e.also...) {
			if len(name) > 2 && (strings.EqualFold(word, name) || strings.EqualFold(word, name+"s")) {
				return []factor{{entry: e, twice: 2}}
			}
		}
	}
	return nil
}

// lookUp returns the meanings of a unit's name.
func lookUp(word string) ([][]factor, error) {
	if fs, ok := words()[word]; ok {
		out := make([][]factor, len(fs))
		for i, f := range fs {
			f.typed = word
			out[i] = []factor{f}
		}
		return out, nil
	}
	// Newton metre without a separator is common: Nm, mNm, µNm.
	if head, ok := strings.CutSuffix(word, "Nm"); ok {
		if newton, ok := words()[head+"N"]; ok {
			n, m := newton[0], words()["m"][0]
			n.typed, m.typed = head+"N", "m"
			return [][]factor{{n, m}}, nil
		}
	}
	if word == "cc" {
		cube := words()["cm"][0]
		cube.twice, cube.typed = 6, "cm"
		return [][]factor{{cube}}, nil
	}
	if fs := byName(word); len(fs) > 0 {
		out := make([][]factor, len(fs))
		for i, f := range fs {
			f.typed = f.prefix.symbol + f.entry.symbol
			out[i] = []factor{f}
		}
		return out, nil
	}
	hint := "look at the spelling; units are joined with a space or ·"
	if known := nearestCase(word); known != "" {
		hint = fmt.Sprintf("did you mean %s?", known)
	}
	return nil, fmt.Errorf("%w: what is %q? %s", ErrUnknownUnit, word, hint)
}

// nearestCase returns the known name that differs from word in upper and lower case alone, and
// in the fewest letters; of two, the one whose first letter stays: pN for pn, not PN. It is empty
// if there is none.
func nearestCase(word string) string {
	best, bestOff := "", 0
	for known := range words() {
		if !strings.EqualFold(known, word) {
			continue
		}
		off := 0
		for i, r := range []rune(known) {
			if r != []rune(word)[i] {
				off += 2
				if i == 0 {
					off++
				}
			}
		}
		if best == "" || off < bestOff || off == bestOff && known < best {
			best, bestOff = known, off
		}
	}
	return best
}
