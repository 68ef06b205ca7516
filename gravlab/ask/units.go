package ask

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// The units that a recording of your own may have: those of sensors that a
// student meets, and every unit that a lab prints in a table, on an axis or in a
// question (a test of the notebooks sees to it). Answers may have any unit that
// package quantity knows; this short list keeps a cell small.
//
// Source: the SI Brochure, 9th edition (BIPM, 2019), for units, prefixes and the
// units accepted beside them; 1 Gal = 1 cm/s² and the bar as in the 8th (2006);
// 1 ft = 0.3048 m exactly (1959). From memory.
var bases = map[string]struct {
	si       string
	factor   float64
	prefixes string // those that it takes
}{
	"1": {"", 1, ""}, "%": {"", 0.01, ""}, "ppm": {"", 1e-6, ""},
	"s": {"s", 1, all}, "min": {"s", 60, ""}, "h": {"s", 3600, ""}, "d": {"s", 86400, ""}, "a": {"s", 31557600, ""},
	"m": {"m", 1, all}, "ft": {"m", 0.3048, ""}, "g": {"kg", 1e-3, all}, "t": {"kg", 1e3, "kMG"},
	"rad": {"rad", 1, all}, "deg": {"rad", math.Pi / 180, ""}, "°": {"rad", math.Pi / 180, ""},
	"arcmin": {"rad", math.Pi / 10800, ""}, "arcsec": {"rad", math.Pi / 648000, all},
	"Hz": {"Hz", 1, all}, "N": {"N", 1, all}, "J": {"J", 1, all}, "W": {"W", 1, all},
	"Pa": {"Pa", 1, all}, "bar": {"Pa", 1e5, all},
	"A": {"A", 1, all}, "V": {"V", 1, all}, "Ω": {"Ω", 1, all}, "ohm": {"Ω", 1, all},
	"F": {"F", 1, all}, "C": {"C", 1, all}, "T": {"T", 1, all}, "K": {"K", 1, all},
	"Gal": {"m/s²", 1e-2, all}, "g.u.": {"m/s²", 1e-6, ""}, "gn": {"m/s²", 9.80665, "mµμu"},
	"E": {"s⁻²", 1e-9, "kmµμun"},
}

const all = "hkMGcdmµμunpf"

var prefixes = []struct {
	text  string
	power int
}{
	{"h", 2}, {"k", 3}, {"M", 6}, {"G", 9}, {"c", -2}, {"d", -1}, {"m", -3},
	{"µ", -6}, {"μ", -6}, {"u", -6}, {"n", -9}, {"p", -12}, {"f", -15},
}

// toSI reads a unit such as "mrad", "mm/s²", "nm/(s² hPa)", "nm/s²/√Hz" or
// "µGal": the factor that turns numbers in it into SI, and the SI unit.
func toSI(unit string) (factor float64, si string, err error) {
	unclear := fmt.Errorf("the unit %q is not clear; write it with one slash, and brackets after it where more than one unit stands below, like m/s² or m³/(kg s²)", unit)
	factor = 1
	var parts []string
	divide, open := false, false
	spaced := strings.NewReplacer("/", " / ", "(", " ( ", ")", " ) ").Replace(unit)
	words := strings.FieldsFunc(spaced, func(r rune) bool { return strings.ContainsRune(" ·*\t", r) })
	for i, word := range words {
		last := i == len(words)-1
		switch word {
		case "/":
			// A second slash may stand before a root: nm/s²/√Hz is never misread.
			if i == 0 || last || divide && (open || !strings.HasPrefix(words[i+1], "√")) {
				return 0, "", unclear
			}
			divide = true
			continue
		case "(":
			if open || i == 0 || words[i-1] != "/" {
				return 0, "", unclear
			}
			open = true
			continue
		case ")":
			if !open || !last {
				return 0, "", unclear
			}
			open = false
			continue
		}
		f, base, power, ok := oneUnit(word)
		if !ok {
			return 0, "", fmt.Errorf("the unit %q is not known; use SI units with a prefix, like mrad, mm/s², µGal, hPa, s, mV", unit)
		}
		if divide {
			power = -power
		}
		factor *= math.Pow(f, power)
		if base != "" {
			parts = append(parts, raised(base, power))
		}
	}
	if open {
		return 0, "", unclear
	}
	si = strings.Join(parts, " ")
	if si == "" {
		si = "1"
	}
	return factor, si, nil
}

// oneUnit reads a unit with its prefix and exponent: "s²", "mm", "s-1", "√Hz",
// "10⁻¹⁸". A power of one half is that of a root; there is no other fraction.
func oneUnit(word string) (factor float64, base string, power float64, ok bool) {
	word = plainDigits.Replace(word)
	if exponent, found := strings.CutPrefix(word, "10"); found {
		n, err := strconv.Atoi(exponent)
		return math.Pow10(n), "", 1, err == nil && n > -100 && n < 100
	}
	power = 1
	if under, found := strings.CutPrefix(word, "√"); found {
		word, power = under, 0.5
	}
	stem := strings.TrimRight(word, "-123")
	if stem != "" && stem != word {
		n, err := strconv.Atoi(word[len(stem):])
		if err != nil || power != 1 {
			return 0, "", 0, false
		}
		word, power = stem, float64(n)
	}
	if b, found := bases[word]; found {
		return b.factor, b.si, power, power == 1 || !compound(b.si)
	}
	for _, p := range prefixes {
		rest, found := strings.CutPrefix(word, p.text)
		if !found {
			continue
		}
		if b, found := bases[rest]; found && strings.Contains(b.prefixes, p.text) {
			return b.factor * math.Pow10(p.power), b.si, power, power == 1 || !compound(b.si)
		}
	}
	return 0, "", 0, false
}

// compound says that a unit in SI is more than a symbol, so that its powers would
// have to be worked out.
func compound(si string) bool { return strings.ContainsAny(si, "/⁻") }

var (
	superscripts = strings.NewReplacer("-", "⁻", "1", "¹", "2", "²", "3", "³")
	plainDigits  = strings.NewReplacer("⁻", "-", "⁰", "0", "¹", "1", "²", "2", "³", "3", "⁴", "4", "⁵", "5", "⁶", "6", "⁷", "7", "⁸", "8", "⁹", "9", "^", "")
)

// raised writes a power of a unit.
func raised(base string, power float64) string {
	switch {
	case power == 1:
		return base
	case power == 0.5:
		return "√" + base
	case power == -0.5:
		return "/√" + base
	case power == -1 && compound(base):
		return "/(" + base + ")"
	}
	return base + superscripts.Replace(strconv.Itoa(int(power)))
}
