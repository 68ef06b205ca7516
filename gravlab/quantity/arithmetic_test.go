package quantity

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// Arithmetic is worked out, with the unit behind it, and nothing else is read in another
// way than before.
func TestArithmetic(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		want       float64 // SI, from the same expression in Go
	}{
		{"sqrt(2/9.81) s", "s", math.Sqrt(2 / 9.81)},
		{"t = sqrt(2/9,81) s", "s", math.Sqrt(2 / 9.81)},
		{"√(2/9.81) s", "s", math.Sqrt(2 / 9.81)},
		{"1000*sqrt(2/9.81) ms", "s", math.Sqrt(2 / 9.81)},
		{"2*3 kg", "kg", 6},
		{"2/9.81 s^2/m", "s²/m", 2 / 9.81},
		{"(1+2)^2/3 m/s", "m/s", 3},
		{"6.674e-11*5.97e24/(6.371e6)^2 m/s²", "m/s²", 6.674e-11 * 5.97e24 / (6.371e6 * 6.371e6)},
		{"6.674·10^-11 × 5.97·10^24 / (6.371·10^6)² m/s²", "m/s²", 6.674e-11 * 5.97e24 / (6.371e6 * 6.371e6)},
		{"-2^2 m", "m", -4},
		{"2^-2 m", "m", 0.25},
		{"2^3^2 m", "m", 512},
		{"2**3 m", "m", 8},
		{"10 - 2*3 m", "m", 4},
		{"10 - 2 + 1 m", "m", 9},
		{"8/4/2 m", "m", 1},
		{"9.81*sin(30°) m/s²", "m/s²", 9.81 * 0.5},
		{"9.81*cos(60 deg) m/s²", "m/s²", 9.81 * 0.5},
		{"9.81*sin(0.5 rad) m/s²", "m/s²", 9.81 * math.Sin(0.5)},
		{"cos(pi/3)", "1", 0.5},
		{"2*pi/603.8 rad/s", "rad/s", 2 * math.Pi / 603.8},
		{"exp(-1)", "1", math.Exp(-1)},
		{"ln(2) s", "s", math.Ln2},
		{"log10(1000)", "1", 3},
		{"sqrt(4) m ± 0.1*2 m", "m", 2},
		{"1/8", "1", 0.125},
		{"100*0.7/4 %", "%", 0.175},
		{"3*4 mm", "m", 0.012},
	} {
		r, err := Parse(c.text, MustUnit(c.unit))
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
		} else if math.Abs(r.Value-c.want) > 5e-9*math.Abs(c.want) {
			t.Errorf("%q is %v, want %v", c.text, r.Value, c.want)
		} else if r.Text != c.text {
			t.Errorf("%q is kept as %q", c.text, r.Text)
		}
	}
	if r, err := Parse("sqrt(4) m ± 0.1*2 m", MustUnit("m")); err != nil || math.Abs(r.U-0.2) > 1e-15 {
		t.Errorf("an uncertainty that is worked out: %v, %v", r.U, err)
	}
	for text, kind := range map[string]error{ // nil: any refusal will do
		"sin(30)":            ErrAmbiguous, // degrees or radians
		"9.81*sin(51) m/s²":  ErrAmbiguous,
		"1/0":                ErrNotFinite,
		"sqrt(2-3) m":        ErrNotFinite,
		"2*3":                ErrNoUnit, // for a length
		"2*3 kg":             ErrDimension,
		"1,234*2 m":          nil, // thousands or a decimal comma
		"2-3 m":              nil, // a range
		"sqrt(2 m":           nil,
		"os.Exit(1)":         nil,
		"sqrt":               nil,
		"2*":                 nil,
		"log(2) m":           nil, // ln or log10
		"1e400*2 m":          nil,
		"10^400 * 10^-400 m": ErrNotFinite,
	} {
		unit := MustUnit("m")
		if strings.Contains(text, "m/s²") {
			unit = MustUnit("m/s²")
		}
		if r, err := Parse(text, unit); err == nil {
			t.Errorf("%q is read as %v", text, r)
		} else if kind != nil && !errors.Is(err, kind) {
			t.Errorf("%q: %v, want %v", text, err, kind)
		}
	}
	// What somebody types to do harm ends soon.
	for _, text := range []string{strings.Repeat("(", 190), strings.Repeat("-", 190) + "1*2", strings.Repeat("2^", 90) + "2", strings.Repeat("sqrt(", 40) + "2"} {
		Parse(text, MustUnit("1"))
	}
}
