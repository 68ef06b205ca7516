package quantity

import (
	"errors"
	"math"
	"regexp"
	"strings"
	"testing"

	"gonum.org/v1/gonum/unit"
	"pgregory.net/rapid"
)

func TestParse(t *testing.T) {
	tests := []struct {
		text, want string
		value, u   float64
		understood string // "" where it is the text
	}{
		{"8.4 µGal", "m/s²", 8.4e-8, 0, ""},
		{"8.4 μGal", "m/s²", 8.4e-8, 0, "8.4 µGal"}, // Greek mu
		{"8.4 uGal", "m/s²", 8.4e-8, 0, "8.4 µGal"},
		{"8,4e-8 m/s²", "µGal", 8.4e-8, 0, "8.4 × 10⁻⁸ m/s² (decimal comma)"},
		{"8.4×10⁻⁸ m s⁻²", "µGal", 8.4e-8, 0, "8.4 × 10⁻⁸ m/s²"},
		{"−8.4 x 10^-8 m s^-2", "µGal", -8.4e-8, 0, "−8.4 × 10⁻⁸ m/s²"},
		{"8.4*10**-8 m/s/s", "µGal", 8.4e-8, 0, "8.4 × 10⁻⁸ m/s²"},
		{"8.4×10-8 m/s2", "µGal", 8.4e-8, 0, "8.4 × 10⁻⁸ m/s² (×10-8 read as ×10⁻⁸)"},
		{"10^-8 m/s²", "µGal", 1e-8, 0, "1 × 10⁻⁸ m/s²"},
		{"12.0(3) mrad", "rad", 0.012, 0.0003, "12.0 ± 0.3 mrad"},
		{"12.5(1.2) mrad", "rad", 0.0125, 0.0012, "12.5 ± 1.2 mrad"},
		{"3.2 ± 0.1 E", "s^-2", 3.2e-9, 1e-10, "3.2 ± 0.1 E (E: eotvos, 10⁻⁹ s⁻²)"},
		{"3.2 +/- 0.1 E", "s^-2", 3.2e-9, 1e-10, "3.2 ± 0.1 E (E: eotvos, 10⁻⁹ s⁻²)"},
		{"3.2 E ± 0.1 E", "E", 3.2e-9, 1e-10, "3.2 ± 0.1 E (E: eotvos, 10⁻⁹ s⁻²)"},
		{"52 ± 4 %", "%", 0.52, 0.04, ""},
		{"(52 ± 4) %", "1", 0.52, 0.04, "52 ± 4 %"},
		{"3.2 ppm ± 5 %", "1", 3.2e-6, 0.16e-6, "3.20 ± 0.16 ppm"},
		{"3.2 E ± 5 %", "E", 3.2e-9, 1.6e-10, "3.20 ± 0.16 E (E: eotvos, 10⁻⁹ s⁻²)"},
		{"3.2 ± 0.2 E (k = 2)", "E", 3.2e-9, 1e-10, "3.2 ± 0.1 E (E: eotvos, 10⁻⁹ s⁻²; expanded uncertainty divided by k = 2)"},
		{"9.80665 m/s² ± 3 mGal", "m/s²", 9.80665, 3e-5, "9.80665 ± 0.00003 m/s²"},
		{"0.25 ng", "m/s²", 2.4516625e-9, 0, "0.25 ng (ng: nano-standard gravity, 9.80665 × 10⁻⁹ m/s²)"},
		{"0.25 ng", "kg", 2.5e-13, 0, "0.25 ng (ng: nanogram, 1 × 10⁻¹² kg)"},
		{"2.67 g/cm3", "kg/m³", 2670, 0, "2.67 g/cm³"},
		{"3e-8 N m", "N m/rad", 3e-8, 0, "3 × 10⁻⁸ N·m (N·m taken as N·m/rad, the radian being the number 1)"},
		{"(1.23 ± 0.04) × 10⁻⁸ N·m/rad", "N m/rad", 1.23e-8, 4e-10, ""},
		{"1.23(4)e-8 N m rad^-1", "N m/rad", 1.23e-8, 4e-10, "(1.23 ± 0.04) × 10⁻⁸ N·m/rad"},
		{"5 µNm/rad", "N m/rad", 5e-6, 0, "5 µN·m/rad"},
		{"12 deg", "rad", 12 * math.Pi / 180, 0, "12°"},
		{"12°", "rad", 12 * math.Pi / 180, 0, ""},
		{"30 arcsec", "rad", math.Pi / 21600, 0, ""},
		{"5 min", "s", 300, 0, ""},
		{"2 h", "s", 7200, 0, ""},
		{"14.5 g.u.", "m/s²", 1.45e-5, 0, "14.5 g.u. (g.u.: gravity unit, 1 µm/s²)"},
		{"5 nm s^-2 Hz^-1/2", "m/s²/√Hz", 5e-9, 0, "5 nm/(s²·√Hz)"},
		{"5 ng/√Hz", "m/s²/√Hz", 4.903325e-8, 0, "5 ng/√Hz"},
		{"6.674e-11 m^3/(kg s^2)", "m³/kg/s²", 6.674e-11, 0, "6.674 × 10⁻¹¹ m³/(kg·s²)"},
		{"6.674e-11 m^3/kg s^2", "m³/kg/s²", 6.674e-11, 0, "6.674 × 10⁻¹¹ m³/(kg·s²) (read as m³/(kg·s²))"},
		{"12 345.6 m", "m", 12345.6, 0, "12345.6 m"},
		{"9.806 65 m/s²", "m/s²", 9.80665, 0, "9.80665 m/s²"},
		{"1,234.5 m", "m", 1234.5, 0, `1234.5 m ("," read as thousands, "." as decimal sign)`},
		{"0,234 m", "m", 0.234, 0, "0.234 m (decimal comma)"},
		{"8 %", "1", 0.08, 0, ""},
		{"0.08", "1", 0.08, 0, ""},
		{"32 E", "E", 32e-9, 0, "32 E (E: eotvos, 10⁻⁹ s⁻²)"},
		{"3.2E1 E", "E", 32e-9, 0, "32 E (E: eotvos, 10⁻⁹ s⁻²)"},
		{"2.5 1/s", "rad/s", 2.5, 0, "2.5 s⁻¹ (s⁻¹ taken as rad/s, the radian being the number 1)"},
		{"0 m", "m", 0, 0, ""},
		// Units as people write them.
		{"3 per cent", "%", 0.03, 0, "3 %"},
		{"3 Per Cent", "1", 0.03, 0, "3 %"},
		{"3.2 E ± 5 per cent", "E", 3.2e-9, 1.6e-10, "3.20 ± 0.16 E (E: eotvos, 10⁻⁹ s⁻²)"},
		{"8.4 microGal", "m/s²", 8.4e-8, 0, "8.4 µGal"},
		{"8.4 microgal", "m/s²", 8.4e-8, 0, "8.4 µGal"},
		{"8.4 micro Gal", "m/s²", 8.4e-8, 0, "8.4 µGal"},
		{"8.4 micro-Gal", "m/s²", 8.4e-8, 0, "8.4 µGal"},
		{"8.4 microgals", "m/s²", 8.4e-8, 0, "8.4 µGal"},
		{"8.4 mGals", "m/s²", 8.4e-5, 0, "8.4 mGal"},
		{"8.4 milligal", "m/s²", 8.4e-5, 0, "8.4 mGal"},
		{"8.4 Milligals", "m/s²", 8.4e-5, 0, "8.4 mGal"},
		{"8.4 micro g", "m/s²", 8.4 * 9.80665e-6, 0, "8.4 µg (µg: micro-standard gravity, 9.80665 × 10⁻⁶ m/s²)"},
		{"8.4 nanograms", "kg", 8.4e-12, 0, "8.4 ng"},
		{"8.4 Newtons", "N", 8.4, 0, "8.4 N"},
		{"3 N-m/rad", "N m/rad", 3, 0, "3 N·m/rad (the hyphen read as ·)"},
		{"3 kg-m²-s⁻²", "J", 3, 0, "3 kg·m²/s² (the hyphen read as ·)"},
		{"3 newton metre per radian", "N m/rad", 3, 0, "3 N·m/rad"},
		{"3 micronewton-metres per radian", "N m/rad", 3e-6, 0, "3 µN·m/rad (the hyphen read as ·)"},
		{"9.8 metres per second squared", "m/s²", 9.8, 0, "9.8 m/s²"},
		{"2670 kilograms per cubic metre", "kg/m³", 2670, 0, "2670 kg/m³"},
		{"3 [N m/rad]", "N m/rad", 3, 0, "3 N·m/rad"},
		{"3 /s^2", "E", 3, 0, "3 s⁻²"},
		{"3 per second squared", "E", 3, 0, "3 s⁻²"},
		{"2.67 g/cc", "kg/m³", 2670, 0, "2.67 g/cm³"},
		{"3 dyn", "N", 3e-5, 0, "3 dyn (dyn: dyne, 10⁻⁵ N)"},
		{"3 dyn cm/rad", "N m/rad", 3e-7, 0, "3 dyn·cm/rad (dyn: dyne, 10⁻⁵ N)"},
		{"3 ergs", "J", 3e-7, 0, "3 erg (erg: 10⁻⁷ J)"},
		// A power of ten in the place of the unit.
		{"6.67 10^-11 m³/(kg s²)", "m³/(kg s²)", 6.67e-11, 0, "6.67 × 10⁻¹¹ m³/(kg·s²) (10⁻¹¹ read as × 10⁻¹¹)"},
		{"6.674 10**-11 m³/(kg s²)", "m³/(kg s²)", 6.674e-11, 0, "6.674 × 10⁻¹¹ m³/(kg·s²) (10⁻¹¹ read as × 10⁻¹¹)"},
		{"8.4 10⁻⁸ m/s² ± 0.2 10⁻⁸ m/s²", "µGal", 8.4e-8, 2e-9, "(8.4 ± 0.2) × 10⁻⁸ m/s² (10⁻⁸ read as × 10⁻⁸)"},
		{"(8.4 ± 0.2) 10^-8 m/s²", "µGal", 8.4e-8, 2e-9, "(8.4 ± 0.2) × 10⁻⁸ m/s² (10⁻⁸ read as × 10⁻⁸)"},
		{"1.57 E-7 N m/rad", "N m/rad", 1.57e-7, 0, "1.57 × 10⁻⁷ N·m/rad (E-7 read as × 10⁻⁷)"},
		{"3.2 e-9 1/s²", "E", 3.2e-9, 0, "3.2 × 10⁻⁹ s⁻² (e-9 read as × 10⁻⁹)"},
		// A pure number with its unit in a field of its own.
		{"0.80 1", "1", 0.8, 0, "0.8"},
		{"0.805 1", "1", 0.805, 0, "0.805 (the 1 at the end is the unit)"},
		{"0.000 1", "1", 0.0001, 0, "1 × 10⁻⁴"},
		{"9.806 65 1", "1", 9.80665, 0, "9.80665"},
		{"1.0002 ± 0.0001 1", "1", 1.0002, 0.0001, "1.0002 ± 0.0001"},
		{"1.0002 1 ± 0.0001 1", "1", 1.0002, 0.0001, "1.0002 ± 0.0001"},
		{"1.0002(1) 1", "1", 1.0002, 0.0001, "1.0002 ± 0.0001"},
		{"(1.0002 ± 0.0001) 1", "1", 1.0002, 0.0001, "1.0002 ± 0.0001"},
		{"1.5e-3 1", "1", 0.0015, 0, "0.0015"},
		{"0.03 1", "%", 0.03, 0, "0.03"},
		{"12 1", "1", 12, 0, "12"},
		{"0.80 -", "1", 0.8, 0, "0.8"},
		{"0.80 – ± 0.02 –", "1", 0.8, 0.02, "0.80 ± 0.02"},
		{"0.80 None", "1", 0.8, 0, "0.8"},
	}
	for _, test := range tests {
		r, err := Parse(test.text, MustUnit(test.want))
		if err != nil {
			t.Errorf("%s as %s: %v", test.text, test.want, err)
			continue
		}
		want := test.understood
		if want == "" {
			want = test.text
		}
		if math.Abs(r.Value-test.value) > 4e-16*math.Abs(test.value) || math.Abs(r.U-test.u) > 1e-14*test.u || r.Understood() != want {
			t.Errorf("%s as %s: %.17g ± %.6g, %q; want %.17g ± %.6g, %q", test.text, test.want, r.Value, r.U, r.Understood(), test.value, test.u, want)
		}
	}
}

func TestStep(t *testing.T) {
	for text, want := range map[string]float64{"3.1 m": 0.1, "3.10(2) m": 0.01, "12 345.6 mm": 1e-4, "1500 mm": 1e-3, "3,25e-7 km": 1e-6, "(8.40 ± 0.02) × 10⁻⁸ m": 1e-10, "10^-8 m": 1e-8, "0.0 m": 0.1} {
		if r, err := Parse(text, MustUnit("m")); err != nil || math.Abs(r.Step-want) > 1e-15*want {
			t.Errorf("%s: a step of %g, %v; want %g", text, r.Step, err, want)
		}
	}
}

func TestRefuse(t *testing.T) {
	tests := []struct {
		text, want string
		kind       error
		ask        string // a part of the question
	}{
		{"", "m", ErrEmpty, "1.23 m"},
		{" \t ", "1", ErrEmpty, "1.23"},
		{"8.4", "m/s²", ErrNoUnit, "8.4 m/s²"},
		{"3.2E1", "E", ErrNoUnit, "32 E"},
		{"8", "%", ErrNoUnit, "8 %"},
		{"8.4 kg", "m/s²", ErrDimension, "write it in m/s²"},
		{"3 g", "s", ErrDimension, "gram"},
		{"2.5 Hz", "rad/s", ErrDimension, "2π"},
		{"2.5 rad/s", "Hz", ErrDimension, "2π"},
		{"8.4 ms^-2", "m/s²", ErrDimension, "millisecond"},
		{"0.3 rad", "1", ErrDimension, "pure number"},
		{"0.4515 s s", "s", ErrDimension, "the unit is given twice: type s once"},
		{"3 % %", "%", ErrDimension, "the unit is given twice"},
		{"3 % 1", "%", ErrDimension, "keep one of % and 1"},
		{"3 rad rad", "mrad", ErrDimension, "the unit is given twice"},
		{"3 µN m/rad N m", "N m/rad", ErrDimension, "keep one of µN m/rad and N m"},
		{"6.67e-11 m³/(kg s²) m³/(kg s²)", "m³/(kg s²)", ErrDimension, "the unit is given twice"},
		{"41 kg/m3 g/cm3", "kg/m³", ErrDimension, "one number has two units: keep one of kg/m3 and g/cm3"},
		{"0.4515 s s ± 0.2 s s", "s", ErrDimension, "the unit is given twice"},
		{"0.4515 s ± 200 ms s", "s", ErrDimension, "the uncertainty has ms and s; give both numbers in one unit, as in 0.4515 ± 0.2 s"},
		{"0.4515 ± 200 ms s", "s", ErrDimension, "as in 0.4515 ± 0.2 s"},
		{"451.5 ms ± 0.2 s ms", "s", ErrDimension, "as in 451.5 ± 200 ms"},
		{"0.4515 s ± 0.2 s s", "s", ErrDimension, "given twice: the uncertainty has s twice; give both numbers in one unit, as in 0.4515 ± 0.2 s"},
		{"NaN", "m", ErrNotFinite, "division by zero"},
		{"-Inf m", "m", ErrNotFinite, "division by zero"},
		{"+∞ m", "m", ErrNotFinite, "division by zero"},
		{"1e400 m", "m", ErrRange, "1e300"},
		{"1e-400 m", "m", ErrRange, "1e-300"},
		{"1e99999999999 m", "m", ErrRange, "1e300"},
		{"1,234 m", "m", ErrAmbiguous, "1.234 or 1234"},
		{"1,234(5) m", "m", ErrAmbiguous, "1.234(5) or 1234(5)"},
		{"-61,452 µGal", "µGal", ErrAmbiguous, "Type -61.452 or -61452"},
		{"− 61,452(12)", "µGal", ErrAmbiguous, "Type −61.452(12) or −61452(12)"},
		{"1,570e-7 m", "m", ErrAmbiguous, "1.570e-7 or 1570e-7"},
		{"1,570 × 10⁻⁷ m", "m", ErrAmbiguous, "1.570 × 10⁻⁷ or 1570 × 10⁻⁷"},
		{"1,570(3)e-7 m", "m", ErrAmbiguous, "1.570(3)e-7 or 1570(3)e-7"},
		{"1,23,4 m", "m", ErrAmbiguous, "one point"},
		{"3.2E", "E", ErrAmbiguous, "eotvos"},
		{"3.2 E-9 1/s²", "E", ErrAmbiguous, "E-9 can be a power of ten or a power of the eotvos"},
		{"8.4e-8 10^-8 m/s²", "m/s²", ErrUnreadable, "side by side"},
		{"8.4 ± 0.2 10^-8 m/s²", "m/s²", ErrAmbiguous, "brackets"},
		{"8.4 10-8 m/s²", "m/s²", ErrUnreadable, "side by side"},
		{"6.674 10-11 m³/(kg s²)", "m³/(kg s²)", ErrUnreadable, "side by side"},
		{"8.4 micro", "m/s²", ErrUnknownUnit, "micro"},
		{"3 Ns", "N", ErrUnknownUnit, "Ns"}, // no plural of N, and no product
		{"3 [N m/rad", "N m/rad", ErrUnreadable, "bracket"},
		{"3 N-", "N", ErrUnreadable, "'-'"},
		{"12'", "rad", ErrAmbiguous, "arcmin"},
		{"12″", "rad", ErrAmbiguous, "arcsec"},
		{"1.23 ± 0.04 × 10⁻⁸ N", "N", ErrAmbiguous, "brackets"},
		{"3 foo", "m", ErrUnknownUnit, "foo"},
		{"3 KG", "kg", ErrUnknownUnit, "did you mean kg?"},
		{"3 ± 0 m", "m", ErrUncertainty, "above zero"},
		{"3 ± -1 m", "m", ErrUncertainty, "above zero"},
		{"3.0(2) ± 0.2 m", "m", ErrUncertainty, "once"},
		{"3 m (k=2)", "m", ErrUncertainty, "k belongs"},
		{"3 ± 1 m (k=99)", "m", ErrUncertainty, "0.1 to 10"},
		{"12 3 m", "m", ErrUnreadable, "side by side"},
		{"12 3", "1", ErrUnreadable, "side by side"},
		{"0.80 1.5", "1", ErrUnreadable, "side by side"},
		{"0.80 1 1", "1", ErrUnreadable, "side by side"},
		{"12 1", "m", ErrUnreadable, "side by side"},
		{"12 -", "m", ErrNoUnit, "12 m"},
		{"12 none", "%", ErrNoUnit, "12 %"},
		{"x 3 m", "m", ErrUnreadable, "start with the number"},
		{"6.67×1011 m", "m", ErrUnreadable, "10^-8"},
		{"3 m/", "m", ErrUnreadable, "missing at the end"},
		{"3 m^0", "1", ErrUnreadable, "powers"},
		{strings.Repeat("1", 300) + " m", "m", ErrUnreadable, "at most"},
		{"3 m\x00", "m", ErrUnreadable, "control"},
		{"3 \xff", "m", ErrUnreadable, "UTF-8"},
	}
	for _, test := range tests {
		r, err := Parse(test.text, MustUnit(test.want))
		var e *InputError
		if !errors.As(err, &e) || !errors.Is(err, test.kind) || !strings.Contains(err.Error(), test.ask) {
			t.Errorf("%q as %s: %v, %v; want %q asking for %q", test.text, test.want, r, err, test.kind, test.ask)
		}
	}
}

// TestRightNumber: what a verdict "right number, wrong or missing unit" needs.
func TestRightNumber(t *testing.T) {
	for _, text := range []string{"8.4", "8.4 kg", "8.4 quux", "8.4 µGal µGal", "8.4 µGal ± 0.1 nm/s² µGal"} {
		_, err := Parse(text, MustUnit("µGal"))
		var e *InputError
		if !errors.As(err, &e) || !e.HasNumber || e.Number != 8.4 {
			t.Errorf("%s: %+v", text, e)
		}
		if text == "8.4 kg" && e.Unit.Dimension() != Mass {
			t.Errorf("%s: unit %s", text, e.Unit)
		}
	}
}

func TestUnit(t *testing.T) {
	tests := []struct {
		text, written string
		si            float64
		dim           unit.Dimensions
	}{
		{"N m rad^-1", "N·m/rad", 1, unit.Dimensions{unit.MassDim: 1, unit.LengthDim: 2, unit.TimeDim: -2, unit.AngleDim: -1}},
		{"g/cm3", "g/cm³", 1000, unit.Dimensions{unit.MassDim: 1, unit.LengthDim: -3}},
		{"mGal/m", "mGal/m", 1e-5, unit.Dimensions{unit.TimeDim: -2}},
		{"km/h", "km/h", 1 / 3.6, unit.Dimensions{unit.LengthDim: 1, unit.TimeDim: -1}},
		{"1/s^2", "s⁻²", 1, unit.Dimensions{unit.TimeDim: -2}},
		{"m/m", "1", 1, unit.Dimensions{}},
		{"gn", "g", 9.80665, unit.Dimensions{unit.LengthDim: 1, unit.TimeDim: -2}},
		{"m³ kg⁻¹ s⁻²", "m³/(kg·s²)", 1, unit.Dimensions{unit.LengthDim: 3, unit.MassDim: -1, unit.TimeDim: -2}},
		{"hPa", "hPa", 100, unit.Dimensions{unit.MassDim: 1, unit.LengthDim: -1, unit.TimeDim: -2}},
		{"min", "min", 60, unit.Dimensions{unit.TimeDim: 1}},
		{"Gt/a", "Gt/a", 1e12 / 31557600, unit.Dimensions{unit.MassDim: 1, unit.TimeDim: -1}},
	}
	for _, test := range tests {
		u, err := ParseUnit(test.text)
		if err != nil {
			t.Errorf("%s: %v", test.text, err)
			continue
		}
		dims, ok := u.Dimension().Dimensions()
		if u.String() != test.written || math.Abs(u.SI()-test.si) > 3e-16*test.si || !ok || DimensionOf(unit.New(1, test.dim)) != u.Dimension() || len(dims) != len(test.dim) {
			t.Errorf("%s: %s, %.17g, %v; want %s, %.17g, %v", test.text, u, u.SI(), dims, test.written, test.si, test.dim)
		}
		again, err := ParseUnit(u.String())
		if test.written != "g" && (err != nil || again.SI() != u.SI() || again.Dimension() != u.Dimension()) {
			t.Errorf("%s is not read as what it was: %v", u, err)
		}
	}
	if _, ok := MustUnit("m/√Hz").Dimension().Dimensions(); ok {
		t.Error("gonum/unit has no half powers")
	}
	for _, text := range []string{"ng", "mg/h", "W/m K"} {
		if _, err := ParseUnit(text); !errors.Is(err, ErrAmbiguous) {
			t.Errorf("%s: %v, want a question", text, err)
		}
	}
	if u, err := Acceleration.Unit("ng"); err != nil || math.Abs(u.SI()-9.80665e-9) > 1e-24 {
		t.Errorf("ng as an acceleration: %v, %v", u.SI(), err)
	}
}

func TestFormat(t *testing.T) {
	tests := []struct {
		value, u      float64
		unit          string
		long, concise string
	}{
		{1.234e-6, 4.4e-8, "µN·m/rad", "1.23 ± 0.04 µN·m/rad", "1.23(4) µN·m/rad"},
		{1.234e-8, 4.4e-10, "N·m/rad", "(1.23 ± 0.04) × 10⁻⁸ N·m/rad", "1.23(4) × 10⁻⁸ N·m/rad"},
		{-1.234e-8, 1.27e-10, "N", "(−1.234 ± 0.013) × 10⁻⁸ N", "−1.234(13) × 10⁻⁸ N"},
		{0.0120, 0.0003, "mrad", "12.0 ± 0.3 mrad", "12.0(3) mrad"},
		{1234567, 3000, "m", "(1.235 ± 0.003) × 10⁶ m", "1.235(3) × 10⁶ m"},
		{1e6, 0, "m", "1 × 10⁶ m", "1 × 10⁶ m"},
		{9.96, 0.0962, "m", "10.0 ± 0.1 m", "10.0(1) m"},
		{0.0004, 3, "m", "0 ± 3 m", "0(3) m"},
		{99.996, 0.01, "m", "100.00 ± 0.01 m", "100.00(1) m"},
		{math.Pi / 15, math.Pi / 1800, "deg", "(12.0 ± 0.1)°", "12.0(1)°"},
		{0.5, 0, "1", "0.5", "0.5"},
		{6.6743e-11, 1.5e-15, "m³/(kg s²)", "(6.67430 ± 0.00015) × 10⁻¹¹ m³/(kg·s²)", "6.67430(15) × 10⁻¹¹ m³/(kg·s²)"},
		{12.3, 1.24, "m", "12.3 ± 1.2 m", "12.3(1.2) m"},
	}
	for _, test := range tests {
		q := Quantity{Value: test.value, U: test.u, Unit: MustUnit(test.unit)}
		if q.String() != test.long || q.Concise() != test.concise {
			t.Errorf("%g ± %g in %s: %q and %q, want %q and %q", test.value, test.u, test.unit, q.String(), q.Concise(), test.long, test.concise)
		}
		for _, text := range []string{q.String(), q.Concise()} {
			r, err := Parse(text, q.Unit)
			if err != nil || r.String() != q.String() {
				t.Errorf("%q is read as %q, %v", text, r.String(), err)
			}
		}
	}
}

func TestSuited(t *testing.T) {
	tests := []struct {
		value      float64
		unit, want string
	}{
		{3.1e-6, "N·m/rad", "µN·m/rad"}, {0.012, "rad", "mrad"}, {8e-8, "Gal", "µGal"}, {-4e-5, "µGal", "mGal"}, {2.5e-9, "m/s²", "nm/s²"},
		{3e-9, "E", "E"}, {0.05, "kg", "g"}, {12, "s", "s"}, {5, "h", "h"}, {0, "m", "m"}, {1e4, "s", "s"}, {5000, "kg", "kg"},
	}
	for _, test := range tests {
		if got := MustUnit(test.unit).Suited(test.value).String(); got != test.want {
			t.Errorf("%g in %s: suited unit %s, want %s", test.value, test.unit, got, test.want)
		}
	}
}

// FuzzParse: no panic, and what is printed is read back as the same text.
func FuzzParse(f *testing.F) {
	for _, seed := range []string{"8.4 µGal", "8,4e-8 m/s²", "12.0(3) mrad", "3.2 ± 0.1 E", "(1.23 ± 0.04) × 10⁻⁸ N·m/rad", "1,234.5 m", "9.806 65 m/s²",
		"3.2 E ± 5 % (k=2)", "12°", "5 nm s^-2 Hz^-1/2", "14.5 g.u.", "10^-8 1/s²", "0.80 1", "8.4 10⁻⁸ m/s²", "3 micro-Gal per square metre", "[N-m/rad]", "3 s s ± 1 ms s", "NaN", "3.2E", "12'", "0.25 ng", "6.674e-11 m^3/kg s^2", "−3·10⁻⁹ Nm"} {
		f.Add(seed)
	}
	wants := []Unit{{}, MustUnit("m/s²"), MustUnit("N m/rad"), MustUnit("E"), MustUnit("rad"), MustUnit("kg"), MustUnit("m/s²/√Hz"), MustUnit("%"), MustUnit("g/cm3")}
	f.Fuzz(func(t *testing.T, text string) {
		ParseUnit(text)
		for _, want := range wants {
			r, err := Parse(text, want)
			if err != nil {
				var e *InputError
				if !errors.As(err, &e) || e.Kind == nil || e.Ask == "" {
					t.Fatalf("%q: %v", text, err)
				}
				continue
			}
			if !isFinite(r.Value) || !isFinite(r.U) || r.U < 0 {
				t.Fatalf("%q: %v ± %v", text, r.Value, r.U)
			}
			for _, printed := range []string{r.String(), r.Concise()} {
				if len(r.Unit.factors) == 0 && len(want.factors) > 0 {
					printed += " 1" // where per cent are wanted
				}
				again, err := Parse(printed, want)
				if err != nil {
					t.Fatalf("%q was printed as %q: %v", text, printed, err)
				}
				if again.String() != r.String() {
					t.Fatalf("%q was printed as %q and read as %q", text, printed, again.String())
				}
			}
		}
	})
}

// TestCutCoverage holds the hand-written cut against the pattern that it stands
// for.
func TestCutCoverage(t *testing.T) {
	pattern := regexp.MustCompile(`^(.*?)\s*[,;]?\s*(\(\s*k\s*=\s*([0-9.]+)\s*\)|\bk\s*=\s*([0-9.]+))$`)
	found := 0
	rapid.Check(t, func(t *rapid.T) {
		s := strings.Join(rapid.SliceOfN(rapid.SampledFrom([]string{"3.2", " ", "E", "±", ",", ";", "(", "k", "=", "2", ".", ")", "k = 2", "(k=2.5)", "µ", "_"}), 0, 9).Draw(t, "parts"), "")
		// Few of these end in a factor by chance, and -short draws few.
		s += rapid.SampledFrom([]string{"", " k = 2", "(k=2.5)"}).Draw(t, "end")
		head, factor, ok := cutCoverage(s)
		m := pattern.FindStringSubmatch(s)
		if ok != (m != nil) || ok && (head != m[1] || factor != m[3]+m[4]) {
			t.Errorf("%q is cut into %q, %q, %v; the pattern finds %q", s, head, factor, ok, m)
		}
		if ok {
			found++
		}
	})
	if found == 0 {
		t.Error("no text held a coverage factor")
	}
}

// TestDimensions: what the models use is what gonum/unit says of the same.
func TestDimensions(t *testing.T) {
	for d, v := range map[Dimension]unit.Uniter{
		One: unit.Dimless(1), Length: unit.Length(1), Mass: unit.Mass(1), Time: unit.Time(1), Angle: unit.Angle(1),
		Frequency: unit.Frequency(1), Acceleration: unit.Acceleration(1), Force: unit.Force(1),
		Gradient: unit.New(1, unit.Dimensions{unit.TimeDim: -2}), Density: unit.New(1, unit.Dimensions{unit.MassDim: 1, unit.LengthDim: -3}),
		current: unit.Current(1), temperature: unit.Temperature(1), amount: unit.Mole(1),
	} {
		if got := DimensionOf(v); got != d {
			t.Errorf("%v is %v, gonum/unit has %v", d, got, v.Unit().Dimensions())
		}
	}
}
