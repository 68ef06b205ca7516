package quantity

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"gravity.example/gravlab"
)

// A Unit is a product of powers of units with prefixes. The zero value is the
// unit one. Make others with [ParseUnit], [MustUnit] or [Dimension.Unit].
type Unit struct {
	factors []factor
}

// A factor is one unit with prefix and power.
type factor struct {
	prefix prefix
	entry  *entry
	twice  int    // twice the power
	typed  string // as typed, for remarks
}

// An entry is a named unit.
type entry struct {
	symbol   string // how it is written
	name     string // in words
	mantissa float64
	exponent int // size in SI units: mantissa × 10^exponent
	dim      Dimension
	prefixes string // prefixes that it takes, separated by spaces; "" none
	also     []string
	turns    bool // counts turns: not to be taken for rad/s
	remark   string
}

type prefix struct {
	symbol   string
	name     string
	exponent int
}

var prefixes = []prefix{
	{"da", "deca", 1}, {"h", "hecto", 2}, {"k", "kilo", 3}, {"M", "mega", 6}, {"G", "giga", 9}, {"T", "tera", 12}, {"P", "peta", 15}, {"E", "exa", 18}, {"Z", "zetta", 21}, {"Y", "yotta", 24},
	{"d", "deci", -1}, {"c", "centi", -2}, {"m", "milli", -3}, {"µ", "micro", -6}, {"u", "micro", -6}, {"n", "nano", -9}, {"p", "pico", -12},
	{"f", "femto", -15}, {"a", "atto", -18}, {"z", "zepto", -21}, {"y", "yocto", -24},
}

const (
	allPrefixes   = "da h k M G T P E Z Y d c m µ u n p f a z y"
	smallPrefixes = "m µ u n p f"
)

func dim(kg, m, s, a int) Dimension {
	return dimensionOfPowers(kg, m, s, a, 0, 0)
}

// dimensionOfPowers takes the powers of kg, m, s, A, K and rad.
func dimensionOfPowers(kg, m, s, a, k, rad int) Dimension {
	var d Dimension
	d = d.times(Mass, 2*kg).times(Length, 2*m).times(Time, 2*s).times(Angle, 2*rad)
	d = d.times(current, 2*a).times(temperature, 2*k)
	return d
}

// entries are the units known. Exact by definition unless the remark says
// otherwise; source: SI Brochure, 9th ed. (2019), tables 2 to 8; for dyne and erg
// the 8th (2006), table 9 (from memory).
var entries = []entry{
	{symbol: "m", name: "metre", mantissa: 1, dim: Length, prefixes: allPrefixes, also: []string{"metre", "meter", "metres", "meters"}},
	{symbol: "g", name: "gram", mantissa: 1, exponent: -3, dim: Mass, prefixes: allPrefixes, also: []string{"gram", "grams"}},
	{symbol: "g", name: "standard gravity", mantissa: gravlab.StandardGravity, dim: Acceleration, prefixes: smallPrefixes, also: []string{"gn", "g_n", "gₙ"}},
	{symbol: "s", name: "second", mantissa: 1, dim: Time, prefixes: allPrefixes, also: []string{"sec", "second", "seconds"}},
	{symbol: "A", name: "ampere", mantissa: 1, dim: current, prefixes: allPrefixes},
	{symbol: "K", name: "kelvin", mantissa: 1, dim: temperature, prefixes: allPrefixes},
	{symbol: "mol", name: "mole", mantissa: 1, dim: amount, prefixes: allPrefixes},

	{symbol: "rad", name: "radian", mantissa: 1, dim: Angle, prefixes: allPrefixes, also: []string{"radian", "radians"}},
	{symbol: "°", name: "degree", mantissa: math.Pi / 180, dim: Angle, also: []string{"deg", "degree", "degrees"}},
	{symbol: "arcmin", name: "minute of arc", mantissa: math.Pi / 10800, dim: Angle},
	{symbol: "arcsec", name: "second of arc", mantissa: math.Pi / 648000, dim: Angle, prefixes: "m µ u", also: []string{"asec"}},
	{symbol: "rpm", name: "turns per minute", mantissa: 2 * math.Pi / 60, dim: dimensionOfPowers(0, 0, -1, 0, 0, 1)},

	{symbol: "min", name: "minute", mantissa: 60, dim: Time, also: []string{"minute", "minutes"}},
	{symbol: "h", name: "hour", mantissa: 3600, dim: Time, also: []string{"hr", "hour", "hours"}},
	{symbol: "d", name: "day", mantissa: 86400, dim: Time, also: []string{"day", "days"}},
	{symbol: "a", name: "Julian year of 365.25 days", mantissa: 31557600, dim: Time, prefixes: "k M G", also: []string{"yr", "year", "years"}, remark: "year of 365.25 days"},
	{symbol: "Hz", name: "hertz", mantissa: 1, dim: Frequency, prefixes: allPrefixes, turns: true},

	{symbol: "N", name: "newton", mantissa: 1, dim: Force, prefixes: allPrefixes, also: []string{"newton", "newtons"}},
	{symbol: "Pa", name: "pascal", mantissa: 1, dim: dim(1, -1, -2, 0), prefixes: allPrefixes},
	{symbol: "bar", name: "bar", mantissa: 1, exponent: 5, dim: dim(1, -1, -2, 0), prefixes: "m"},
	{symbol: "J", name: "joule", mantissa: 1, dim: dim(1, 2, -2, 0), prefixes: allPrefixes},
	{symbol: "eV", name: "electronvolt", mantissa: gravlab.ElementaryCharge, dim: dim(1, 2, -2, 0), prefixes: allPrefixes},
	{symbol: "W", name: "watt", mantissa: 1, dim: dim(1, 2, -3, 0), prefixes: allPrefixes},
	{symbol: "C", name: "coulomb", mantissa: 1, dim: dim(0, 0, 1, 1), prefixes: allPrefixes},
	{symbol: "V", name: "volt", mantissa: 1, dim: dim(1, 2, -3, -1), prefixes: allPrefixes},
	{symbol: "F", name: "farad", mantissa: 1, dim: dim(-1, -2, 4, 2), prefixes: allPrefixes},
	{symbol: "Ω", name: "ohm", mantissa: 1, dim: dim(1, 2, -3, -2), prefixes: allPrefixes, also: []string{"ohm"}},
	{symbol: "S", name: "siemens", mantissa: 1, dim: dim(-1, -2, 3, 2), prefixes: allPrefixes},
	{symbol: "T", name: "tesla", mantissa: 1, dim: dim(1, 0, -2, -1), prefixes: allPrefixes},
	{symbol: "Wb", name: "weber", mantissa: 1, dim: dim(1, 2, -2, -1), prefixes: allPrefixes},
	{symbol: "H", name: "henry", mantissa: 1, dim: dim(1, 2, -2, -2), prefixes: allPrefixes},

	{symbol: "Gal", name: "gal", mantissa: 1, exponent: -2, dim: Acceleration, prefixes: "m µ u n", also: []string{"gal", "gals", "Gals"}},
	{symbol: "dyn", name: "dyne", mantissa: 1, exponent: -5, dim: Force, prefixes: "m µ u", also: []string{"dyne", "dynes"}, remark: "dyn: dyne, 10⁻⁵ N"},
	{symbol: "kgf", name: "kilogram-force", mantissa: gravlab.StandardGravity, dim: Force, also: []string{"kp"}, remark: "kgf: kilogram-force, 9.80665 N"},
	{symbol: "erg", name: "erg", mantissa: 1, exponent: -7, dim: dim(1, 2, -2, 0), also: []string{"ergs"}, remark: "erg: 10⁻⁷ J"},
	{symbol: "g.u.", name: "gravity unit", mantissa: 1, exponent: -6, dim: Acceleration, also: []string{"g.u", "gu"}, remark: "g.u.: gravity unit, 1 µm/s²"},
	{symbol: "E", name: "eotvos", mantissa: 1, exponent: -9, dim: Gradient, prefixes: "k m µ u n", also: []string{"eotvos", "Eotvos", "eötvös", "Eötvös"}, remark: "E: eotvos, 10⁻⁹ s⁻²"},

	{symbol: "t", name: "tonne", mantissa: 1, exponent: 3, dim: Mass, prefixes: "k M G", also: []string{"tonne", "tonnes"}},
	{symbol: "L", name: "litre", mantissa: 1, exponent: -3, dim: dim(0, 3, 0, 0), prefixes: "c d m µ u", also: []string{"l", "litre", "liter", "litres", "liters"}},
	{symbol: "in", name: "inch", mantissa: 254, exponent: -4, dim: Length, also: []string{"inch", "inches"}},
	{symbol: "ft", name: "foot", mantissa: 3048, exponent: -4, dim: Length, also: []string{"foot", "feet"}},
	{symbol: "kn", name: "knot", mantissa: 1852.0 / 3600, dim: dim(0, 1, -1, 0), also: []string{"knot", "knots", "kt"}},

	{symbol: "%", name: "per cent", mantissa: 1, exponent: -2, also: []string{"percent"}},
	{symbol: "‰", name: "per mille", mantissa: 1, exponent: -3, also: []string{"permille", "permil", "promille"}},
	{symbol: "ppm", name: "parts per million", mantissa: 1, exponent: -6},
	{symbol: "ppb", name: "parts per billion", mantissa: 1, exponent: -9, remark: "ppb: 10⁻⁹"},
}

// words lists, for each text that names a unit, what it can mean. It is made when it is first
// needed: most programs that link this package parse no unit.
var words = sync.OnceValue(func() map[string][]factor {
	w := map[string][]factor{}
	add := func(text string, f factor) { w[text] = append(w[text], f) }
	for i := range entries {
		e := &entries[i]
		add(e.symbol, factor{entry: e, twice: 2})
		for _, other := range e.also {
			add(other, factor{entry: e, twice: 2})
		}
	}
	plain := map[string]bool{}
	for text := range w {
		plain[text] = true
	}
	for i := range entries {
		e := &entries[i]
		taken := strings.Fields(e.prefixes)
		for _, p := range prefixes {
			if !slices.Contains(taken, p.symbol) {
				continue
			}
			for _, text := range append([]string{e.symbol}, e.also...) {
				// A unit's own name wins over prefix and unit: "min" is never a
				// milli-inch, "cd" never a centiday.
				if whole := p.symbol + text; !plain[whole] {
					canonical := p
					if canonical.symbol == "u" {
						canonical.symbol = "µ"
					}
					add(whole, factor{prefix: canonical, entry: e, twice: 2})
				}
			}
		}
	}
	return w
})

func contains(list, item string) bool { return slices.Contains(strings.Fields(list), item) }

// SI returns the size of the unit in SI units: 1e-8 for µGal.
func (u Unit) SI() float64 { return u.scale("1", 0) }

// scale returns digits × 10^exponent units in SI units. All powers of ten are
// joined in the decimal text, so that 8.4 µGal is 8.4e-8 and not the product
// of two rounded numbers. It returns ±Inf when the value does not fit.
func (u Unit) scale(digits string, exponent int) float64 {
	mantissa, twiceExponent := 1.0, 2*exponent
	for _, f := range u.factors {
		mantissa *= powerOf(f.entry.mantissa, f.twice)
		twiceExponent += (f.prefix.exponent + f.entry.exponent) * f.twice
	}
	if twiceExponent%2 != 0 { // a power of ten left over under the root
		mantissa *= math.Sqrt(10)
		twiceExponent--
	}
	v, _ := strconv.ParseFloat(digits+"e"+strconv.Itoa(twiceExponent/2), 64)
	return v * mantissa
}

func powerOf(x float64, twice int) float64 {
	switch {
	case x == 1:
		return 1
	case twice == 2:
		return x
	case twice%2 == 0:
		return math.Pow(x, float64(twice/2))
	}
	return math.Pow(x, float64(twice)/2)
}

// Dimension returns the dimension of the unit.
func (u Unit) Dimension() Dimension {
	var d Dimension
	for _, f := range u.factors {
		d = d.times(f.entry.dim, f.twice)
	}
	return d
}

// String writes the unit: "N·m/rad", "m³/(kg·s²)", "nm/(s²·√Hz)", "s⁻²", and
// "1" for the unit one.
func (u Unit) String() string {
	var above, below []string
	whole := true
	for _, f := range u.factors {
		if f.twice > 0 {
			above = append(above, f.text(f.twice))
		} else {
			below = append(below, f.text(-f.twice))
			whole = whole && f.twice%2 == 0
		}
	}
	switch {
	case len(above) == 0 && len(below) == 0:
		return "1"
	case len(above) == 0 && whole:
		for _, f := range u.factors {
			above = append(above, f.text(f.twice))
		}
		return strings.Join(above, "·")
	case len(above) == 0:
		above = []string{"1"}
	}
	text := strings.Join(above, "·")
	switch len(below) {
	case 0:
		return text
	case 1:
		return text + "/" + below[0]
	}
	return text + "/(" + strings.Join(below, "·") + ")"
}

func (f factor) text(twice int) string {
	symbol := f.prefix.symbol + f.entry.symbol
	if twice == 1 {
		return "√" + symbol
	}
	return symbol + powerText(twice)
}

// Suited returns the unit with the prefix of its first factor changed so that
// value (in SI units) becomes a number from 1 to 1000 where the prefixes in
// steps of a thousand allow it: µN·m/rad for 3e-6 N·m/rad, mrad for 0.012 rad.
// Units without prefixes, and zero, leave it as it is.
func (u Unit) Suited(value float64) Unit {
	size := math.Abs(value)
	if len(u.factors) == 0 || !(size > 0) || math.IsInf(size, 1) {
		return u
	}
	first := u.factors[0]
	if first.twice != 2 {
		return u
	}
	// Nobody writes kiloseconds or megagrams.
	largest := 3
	if d := first.entry.dim; d == Time || d == Angle {
		largest = 0
	}
	best, bestOff := u, math.Inf(1)
	for _, p := range append([]prefix{{}}, prefixes...) {
		if p.symbol == "u" || p.exponent%3 != 0 || p.exponent > largest || p.symbol != "" && !contains(first.entry.prefixes, p.symbol) {
			continue
		}
		candidate := Unit{factors: append([]factor(nil), u.factors...)}
		candidate.factors[0].prefix = p
		// How many powers of ten the number lies outside 1 to 1000.
		off := math.Log10(size / candidate.SI())
		if off >= 0 && off < 3 {
			off = 0
		} else if off >= 3 {
			off -= 3
		}
		if off = math.Abs(off); off < bestOff {
			best, bestOff = candidate, off
		}
	}
	return best
}
