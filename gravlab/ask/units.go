package ask

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// The units that a recording of one's own may have: those of sensors that a
// student meets. Answers may have any unit that package quantity knows; this
// short list keeps a cell small.
//
// Source: the SI Brochure, 9th edition (BIPM, 2019), for units, prefixes and the
// units accepted beside them; 1 Gal = 1 cm/s² and the bar as in the 8th (2006).
// From memory.
var bases = map[string]struct {
	si     string
	factor float64
	prefix bool // takes prefixes
}{
	"1": {"", 1, false}, "%": {"", 0.01, false},
	"s": {"s", 1, true}, "min": {"s", 60, false}, "h": {"s", 3600, false}, "d": {"s", 86400, false},
	"m": {"m", 1, true}, "g": {"kg", 1e-3, true}, "t": {"kg", 1e3, false},
	"rad": {"rad", 1, true}, "deg": {"rad", math.Pi / 180, false}, "°": {"rad", math.Pi / 180, false},
	"arcmin": {"rad", math.Pi / 10800, false}, "arcsec": {"rad", math.Pi / 648000, true},
	"Hz": {"Hz", 1, true}, "N": {"N", 1, true}, "J": {"J", 1, true}, "W": {"W", 1, true},
	"Pa": {"Pa", 1, true}, "bar": {"Pa", 1e5, true},
	"A": {"A", 1, true}, "V": {"V", 1, true}, "Ω": {"Ω", 1, true}, "ohm": {"Ω", 1, true},
	"F": {"F", 1, true}, "C": {"C", 1, true}, "T": {"T", 1, true}, "K": {"K", 1, true},
	"Gal": {"m/s²", 1e-2, true},
}

var prefixes = []struct {
	text  string
	power int
}{
	{"k", 3}, {"M", 6}, {"G", 9}, {"c", -2}, {"d", -1}, {"m", -3},
	{"µ", -6}, {"μ", -6}, {"u", -6}, {"n", -9}, {"p", -12}, {"f", -15},
}

// toSI reads a unit such as "mrad", "mm/s²" or "µGal": the factor that turns
// numbers in it into SI, and the SI unit.
func toSI(unit string) (factor float64, si string, err error) {
	factor = 1
	var parts []string
	divide := false
	for i, word := range strings.FieldsFunc(strings.ReplaceAll(unit, "/", " / "), func(r rune) bool { return strings.ContainsRune(" ·*\t", r) }) {
		if word == "/" {
			if divide || i == 0 {
				return 0, "", fmt.Errorf("the unit %q is not clear; write it with one slash, like m/s²", unit)
			}
			divide = true
			continue
		}
		f, base, power, ok := oneUnit(word)
		if !ok {
			return 0, "", fmt.Errorf("the unit %q is not known; use SI units with a prefix, like mrad, mm/s², µGal, s, mV", unit)
		}
		if divide {
			power = -power
		}
		factor *= math.Pow(f, float64(power))
		if base == "" {
			continue
		}
		parts = append(parts, raised(base, power))
	}
	si = strings.Join(parts, " ")
	if si == "" {
		si = "1"
	}
	return factor, si, nil
}

// oneUnit reads a unit with its prefix and exponent: "s²", "mm", "s-1".
func oneUnit(word string) (factor float64, base string, power int, ok bool) {
	word = strings.NewReplacer("⁻", "-", "¹", "1", "²", "2", "³", "3", "^", "").Replace(word)
	power = 1
	stem := strings.TrimRight(word, "-123")
	if stem != "" && stem != word {
		var err error
		if power, err = strconv.Atoi(word[len(stem):]); err != nil {
			return 0, "", 0, false
		}
		word = stem
	}
	if b, found := bases[word]; found {
		return b.factor, b.si, power, power == 1 || !strings.Contains(b.si, "/")
	}
	for _, p := range prefixes {
		rest, found := strings.CutPrefix(word, p.text)
		if !found {
			continue
		}
		if b, found := bases[rest]; found && b.prefix && (power == 1 || !strings.Contains(b.si, "/")) {
			return b.factor * math.Pow10(p.power), b.si, power, true
		}
	}
	return 0, "", 0, false
}

var superscripts = strings.NewReplacer("-", "⁻", "1", "¹", "2", "²", "3", "³")

// raised writes a power of a unit.
func raised(base string, power int) string {
	if power == 1 {
		return base
	}
	return base + superscripts.Replace(strconv.Itoa(power))
}
