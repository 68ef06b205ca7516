package quantity

import (
	"math"
	"testing"
)

// TestForms: forms in which students have written answers, each with its value and what is said
// of it.
func TestForms(t *testing.T) {
	for _, c := range []struct {
		text, want string
		value, u   float64
		understood string
	}{
		{"1.2 nanometre per second squared per root hertz", "nm/s²/√Hz", 1.2e-9, 0, "1.2 nm/(s²·√Hz)"},
		{"1.2 nm/s² per square root of hertz", "nm/s²/√Hz", 1.2e-9, 0, "1.2 nm/(s²·√Hz)"},
		{"1.2 nm per second squared per root-hertz", "nm/s²/√Hz", 1.2e-9, 0, "1.2 nm/(s²·√Hz)"},
		{"2.17 % ± 0.59 %", "%", 0.0217, 0.0059, "2.17 ± 0.59 %"},
		{"50 % ± 10 %", "1", 0.5, 0.1, "50 ± 10 %"},
		{"50 ± 10 %", "%", 0.5, 0.1, "50 ± 10 %"},
		{"2.5 ± 4 %", "1", 2.5, 0.1, "2.5 ± 0.1 (the uncertainty read as a percentage of the value)"},
		{"3.127 ± 0.0029 mrad", "mrad", 3.127e-3, 2.9e-6, "3.1270 ± 0.0029 mrad"},
		{"3.127 ± 0.20 mrad", "mrad", 3.127e-3, 2e-4, "3.1 ± 0.2 mrad"},
		{"x = 0.534 s", "s", 0.534, 0, "0.534 s"},
		{"T₀=-0.534 s", "s", -0.534, 0, "−0.534 s"},
		{"12 kgf", "N", 12 * 9.80665, 0, "12 kgf (kgf: kilogram-force, 9.80665 N)"},
		{"3 permille", "%", 0.003, 0, "3 ‰"},
		{"3 per mille", "%", 0.003, 0, "3 ‰"},
		{"5.98 Yg", "kg", 5.98e21, 0, "5.98 Yg"},
	} {
		r, err := Parse(c.text, MustUnit(c.want))
		if err != nil || math.Abs(r.Value-c.value) > 1e-12*math.Abs(c.value) || math.Abs(r.U-c.u) > 1e-12*c.u || r.Understood() != c.understood {
			t.Errorf("%q as %s: %g ± %g, %q, %v; want %g ± %g, %q", c.text, c.want, r.Value, r.U, r.Understood(), err, c.value, c.u, c.understood)
		}
	}
	for text, want := range map[string]string{"pn": "pN", "kHZ": "kHz", "khz": "kHz", "MGal": "mGal", "NN": "nN"} {
		if got := nearestCase(text); got != want {
			t.Errorf("for %q it suggests %q, want %q", text, got, want)
		}
	}
	if _, err := Parse("‑1,234 m", MustUnit("m")); err == nil || err.(*InputError).Ask != "is the comma a decimal sign or does it part thousands? Type ‑1.234 or ‑1234" {
		t.Errorf("the sign is lost: %v", err)
	}
}
