package judge

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"gravity.example/gravlab/quantity"
)

// TestAnyAnswer: whatever a student or a forged file submits, the judge neither
// panics nor pays more than the question is worth, and says what to do in at most
// three lines.
func TestAnyAnswer(t *testing.T) {
	numbers := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Inf(-1), 1e-320, 1e308, 1.5, -1.5}))
	units := rapid.SampledFrom([]string{"", "m", "mm", "km", "µGal", "m/s²", "rad", "N m/rad", "%", "<b>", "kg", "nonsense", "1"})
	rapid.Check(t, func(t *rapid.T) {
		number := NumberTask{
			Marks: rapid.IntRange(1, 5).Draw(t, "marks"), Want: rapid.Float64Range(-1e6, 1e6).Draw(t, "want"), Carried: numbers.Draw(t, "carried"),
			Unit: rapid.SampledFrom([]string{"m", "m/s²", "%", "N m/rad"}).Draw(t, "unit"), Tol: Tolerance{Rel: 0.01},
			Slips: []WrongValue{{"a slip", numbers.Draw(t, "slip"), numbers.Draw(t, "carried slip"), "a way out", ""}},
			Hint:  "a hint", Telling: Telling(rapid.IntRange(0, 2).Draw(t, "telling")),
		}
		if rapid.Bool().Draw(t, "measured") {
			number.U, number.Tol = 0.1, Tolerance{}
			number.USlips = []WrongValue{{"a slip of u", numbers.Draw(t, "u slip"), math.NaN(), "a way out", ""}}
		}
		a := Answer{
			Value: numbers.Draw(t, "value"), U: numbers.Draw(t, "u"), Unit: units.Draw(t, "given unit"),
			Text: rapid.String().Draw(t, "text"), Typed: rapid.Bool().Draw(t, "typed"), Fault: rapid.SampledFrom([]string{"", "panic: x"}).Draw(t, "fault"),
		}
		for range rapid.IntRange(0, 4).Draw(t, "results") {
			a.Values = append(a.Values, rapid.SliceOfN(numbers, 0, 3).Draw(t, "result"))
		}
		function := FunctionTask{
			Marks: 2, Signature: OneToOne, Calls: [][]float64{{1}, {2}, {1}}, Want: [][]float64{{1}, {4}, {1}}, Tol: Tolerance{Rel: 0.01},
			Slips: []WrongFunction{{"a slip", [][]float64{{2}, {8}, {2}}, "a way out", ""}}, Hint: "a hint",
		}
		choice := ChoiceTask{Marks: 1, Options: []Option{{Letter: "a", Right: true}, {Letter: "b", Idea: "an idea"}}}
		for _, v := range []Verdict{Number(number, a), Function(function, a), Choice(choice, a), Text(3, a)} {
			switch {
			case v.Outcome == "" || v.Of < 1 || v.Marks < 0 || v.Marks > v.Of:
				t.Fatalf("%+v: %+v", a, v)
			case len(written(v)) == 0:
				t.Fatalf("%+v: %+v cannot be written down", a, v)
			case v.Message == "" && v.Outcome != OutcomeRight || strings.Count(v.Message, "\n") > 2:
				t.Fatalf("%+v: message %q", a, v.Message)
			case len([]rune(v.Understood)) > 200:
				t.Fatalf("%+v: understood as %d characters", a, len(v.Understood))
			case v.Marks == v.Of && v.Outcome != OutcomeRight && v.Outcome != OutcomeCarried:
				t.Fatalf("%+v: full marks for %s", a, v.Outcome)
			}
		}
	})
}

// written is a verdict as a file holds it; nothing when none can.
func written(v Verdict) []byte {
	text, _ := json.Marshal(v)
	return text
}

// TestTooLarge: a number that overflows in SI units is no number to judge.
func TestTooLarge(t *testing.T) {
	v := Number(NumberTask{Marks: 2, Want: 1, Carried: math.NaN(), Unit: "m", Tol: Tolerance{Rel: 0.01}}, Answer{Value: 1e307, Unit: "km"})
	if v.Outcome != OutcomeUnreadable || v.SI != 0 || len(written(v)) == 0 {
		t.Errorf("%+v", v)
	}
}

// TestEdge: an answer at the very edge of the tolerance is within it, on both
// sides, whatever its digits become in SI units; one just beyond is not.
func TestEdge(t *testing.T) {
	for _, want := range []float64{1, 2, 3, 7, 12, 19, -5} {
		for _, unit := range []string{"m", "µGal", "mrad", "µN·m/rad", "%", "E"} {
			size := quantity.MustUnit(unit).SI()
			task := NumberTask{Marks: 2, Want: want * size, Carried: math.NaN(), Unit: unit, Tol: Tolerance{Rel: 0.01}}
			for _, c := range []struct {
				part float64
				want Outcome
			}{{1.01, OutcomeRight}, {0.99, OutcomeRight}, {1.0101, OutcomeOff}, {0.9899, OutcomeOff}} {
				text := strconv.FormatFloat(want*c.part, 'g', 8, 64) + " " + unit
				if v := Number(task, Answer{Text: text, Typed: true}); v.Outcome != c.want {
					t.Errorf("%s where %g is wanted within 1 %%: %s", text, want, v.Outcome)
				}
			}
		}
	}
	measured := NumberTask{Marks: 2, Want: 2e-6, Carried: math.NaN(), Unit: "µN·m/rad", U: 1e-7}
	for text, want := range map[string]Outcome{"2.9(3)": OutcomeRight, "1.1(3)": OutcomeRight, "2.12(4)": OutcomeRight, "2.13(4)": OutcomeOff, "2.91(30)": OutcomeOff, "2.0(31)": OutcomeOff} {
		if v := Number(measured, Answer{Text: text + " µN·m/rad", Typed: true}); v.Outcome != want {
			t.Errorf("%s: %s, want %s", text, v.Outcome, want)
		}
	}
	function := FunctionTask{Marks: 2, Signature: OneToOne, Calls: [][]float64{{1}}, Want: [][]float64{{2e-6}}, Tol: Tolerance{Rel: 0.01}}
	if v := Function(function, Answer{Values: [][]float64{{2.02e-6}}}); v.Outcome != OutcomeRight {
		t.Errorf("a function at the edge: %s", v.Outcome)
	}
}

// TestPureNumber: a count has no prefix, so a thousand times too many is not half
// right; a length has one.
func TestPureNumber(t *testing.T) {
	for _, c := range []struct {
		unit, text string
		want       Outcome
	}{{"1", "12000", OutcomeSlip}, {"1", "0.012", OutcomeSlip}, {"%", "12000 %", OutcomeOff}, {"%", "0.12 %", OutcomeUnit}, {"m", "12 mm", OutcomeUnit}} {
		task := NumberTask{Marks: 2, Want: 12 * quantity.MustUnit(c.unit).SI(), Carried: math.NaN(), Unit: c.unit, Tol: Tolerance{Rel: 0.01}}
		if v := Number(task, Answer{Text: c.text, Typed: true}); v.Outcome != c.want {
			t.Errorf("%s where 12 %s is wanted: %s (%s), want %s", c.text, c.unit, v.Outcome, v.Message, c.want)
		}
	}
}

// TestUnits: what is said about a unit that does not fit names the wanted one as
// the question has it, and says which of two units to leave out.
func TestUnits(t *testing.T) {
	for _, c := range []struct {
		unit, text string
		outcome    Outcome
		says       string
	}{
		{"N m/rad", "0.4515 kg", OutcomeUnit, "kg is a unit of mass; the question asks for N m/rad.\nThe number is right: enter it in N m/rad"},
		{"N m/rad", "7 kg", OutcomeUnreadable, "kg is a unit of mass; the question asks for N m/rad.\nEnter it in N m/rad"},
		{"N m/rad", "7 m s", OutcomeUnreadable, "m·s does not fit; the question asks for N m/rad."},
		{"m/s²", "7 kg", OutcomeUnreadable, "the question asks for acceleration"},
		{"1", "7 rad", OutcomeUnreadable, "the question asks for a dimensionless number.\nEnter it as a dimensionless number"},
		{"1", "0.4515 1", OutcomeRight, ""},
		{"1", "0.4515 ± 0.0001 1", OutcomeRight, ""},
		{"1", "0.4515 -", OutcomeRight, ""},
		{"s", "0.4515", OutcomeUnit, "needs its unit.\nThe number is right: enter it in s"},
		{"s", "0.4515 none", OutcomeUnit, "needs its unit"},
		{"s", "0.4515 s s", OutcomeUnit, "The unit is given twice.\nThe number is right: type s once."},
		{"s", "7 s s", OutcomeUnreadable, "The unit is given twice.\nType s once."},
		{"s", "7 s ms", OutcomeUnreadable, "One number has two units.\nKeep one of s and ms."},
		{"s", "0.4515 s ± 200 ms s", OutcomeUnit, "The uncertainty has ms and s"},
		{"%", "7 % %", OutcomeUnreadable, "twice"},
	} {
		want := 0.4515 * quantity.MustUnit(c.unit).SI()
		got := Number(NumberTask{Marks: 2, Want: want, Carried: math.NaN(), Unit: c.unit, Tol: Tolerance{Rel: 0.001}}, Answer{Text: c.text, Typed: true})
		if got.Outcome != c.outcome || !strings.Contains(strings.ToLower(got.Message), strings.ToLower(c.says)) {
			t.Errorf("%s where %s is wanted: %s, %q; want %s, %q", c.text, c.unit, got.Outcome, got.Message, c.outcome, c.says)
		}
	}
	given := Number(NumberTask{Marks: 2, Want: 2, Carried: math.NaN(), Unit: "s", Tol: Tolerance{Rel: 0.001}}, Answer{Value: 7, Unit: "s s"})
	if given.Outcome != OutcomeUnreadable || !strings.Contains(given.Message, "twice") {
		t.Errorf("a unit given twice from code: %s, %q", given.Outcome, given.Message)
	}
}

// TestRounding: a right or carried value that was rounded too early is said to be,
// and earns nothing; no mistake is named that the digits do not tell from it.
func TestRounding(t *testing.T) {
	const early = "rounded too early"
	number := NumberTask{Marks: 2, Want: 1.5223e-9, Carried: 4.4871e-9, From: []string{"kappa"}, Unit: "N", Tol: Tolerance{Rel: 0.01},
		Slips: []WrongValue{{"half", 0.76115e-9, math.NaN(), "a way out", ""}, {"near", 1.4981e-9, math.NaN(), "a way out", ""}, {"double", 2.004e-9, math.NaN(), "a way out", ""}, {"plain one", 1e-8, 4e-9, "a way out", ""}},
		Hint:  "the hint"}
	other := number
	other.Slips = nil
	measured := NumberTask{Marks: 3, Want: 3.127e-3, Carried: math.NaN(), Unit: "mrad", U: 0.0029e-3,
		Slips: []WrongValue{{"near", 3.097e-3, math.NaN(), "a way out", ""}, {"far", 6.254e-3, math.NaN(), "a way out", ""}},
		Hint:  "the hint"}
	whole := NumberTask{Marks: 2, Want: 1523, Carried: math.NaN(), Unit: "m", Tol: Tolerance{Rel: 0.005},
		Slips: []WrongValue{{"near", 1502, math.NaN(), "a way out", ""}}, Hint: "the hint"}
	factor := NumberTask{Marks: 2, Want: 1.0004, Carried: math.NaN(), Unit: "1", Tol: Tolerance{Abs: 1e-5},
		Slips: []WrongValue{{"left at 1", 1, math.NaN(), "a way out", ""}}, Hint: "the hint"}
	typed := func(text string) Answer { return Answer{Text: text, Typed: true} }
	for _, c := range []struct {
		task    NumberTask
		answer  Answer
		outcome Outcome
		says    string
	}{
		{number, typed("1.52 nN"), OutcomeRight, ""},
		{number, typed("1.5e-9 N"), OutcomeOff, early},
		{number, typed("1.50e-9 N"), OutcomeSlip, "Near"},
		{number, typed("0.0000000015 N"), OutcomeOff, early},
		{number, typed("2e-9 N"), OutcomeOff, early}, // to one digit
		{number, typed("2.0 nN"), OutcomeSlip, "Double"},
		{number, typed("1.6 nN"), OutcomeOff, "the hint"},
		{number, typed("0.76 nN"), OutcomeSlip, "Half"},
		{number, typed("4.5 nN"), OutcomeCarried, ""},
		{number, typed("4 nN"), OutcomeSlip, "Plain one"}, // exactly
		{other, typed("4 nN"), OutcomeOff, early + ", given your answer to kappa"},
		{number, typed("4.4 nN"), OutcomeOff, "the hint"},
		{number, typed("-1.5 nN"), OutcomeOff, "the hint"},
		{number, Answer{Value: 1.5, Unit: "nN"}, OutcomeOff, early},
		{number, Answer{Value: 1.4981, Unit: "nN"}, OutcomeSlip, "Near"},
		{number, Answer{Value: 1.5001, Unit: "nN"}, OutcomeSlip, "Near"},
		{number, Answer{Value: 1500, Unit: "pN"}, OutcomeSlip, "Near"},
		{factor, Answer{Value: 1, Unit: "1"}, OutcomeSlip, "Left at 1"},
		{factor, typed("1"), OutcomeSlip, "Left at 1"},
		{factor, typed("1.00"), OutcomeOff, early}, // as 1.0004 is rounded
		{factor, typed("1.000 1"), OutcomeOff, early},
		{whole, typed("1500 m"), OutcomeSlip, "Near"}, // to the metre
		{whole, typed("1.5 km"), OutcomeOff, early},
		{whole, Answer{Value: 1.5, Unit: "km"}, OutcomeOff, early},
		{whole, Answer{Value: 1600, Unit: "m"}, OutcomeOff, "the hint"},
		{whole, typed("2000 m"), OutcomeOff, early},
		{whole, typed("1.500e3 m"), OutcomeSlip, "Near"},
		{whole, typed("1.600e3 m"), OutcomeOff, "the hint"},
		{measured, typed("3.1 ± 0.1 mrad"), OutcomeOff, early},
		{measured, typed("3.1 ± 0.1 mrad"), OutcomeOff, "far larger"},
		{measured, typed("3.1 mrad"), OutcomeOff, "State its"},
		{measured, Answer{Value: 3.1, U: 0.1, Unit: "mrad"}, OutcomeOff, early},
		{measured, Answer{Value: 3.097, U: 0.003, Unit: "mrad"}, OutcomeSlip, "Near"},
		{measured, typed("3.10 ± 0.01 mrad"), OutcomeSlip, "Near"},
		{measured, typed("3.10 ± 0.03 mrad"), OutcomeSlip, "Near"},
		{measured, typed("6.3 ± 0.1 mrad"), OutcomeOff, "the hint"},
		{measured, typed("6.25 ± 0.01 mrad"), OutcomeSlip, "Far"},
		{other, typed("0 ± 1 nN"), OutcomeOff, "the hint"},
	} {
		v := Number(c.task, c.answer)
		if v.Outcome != c.outcome || !strings.Contains(v.Message, c.says) || c.says == early && strings.Contains(v.Message, "hint") || v.Outcome == OutcomeOff && v.Marks != 0 {
			t.Errorf("%+v: %s, %d marks, %q; want %s, %q", c.answer, v.Outcome, v.Marks, v.Message, c.outcome, c.says)
		}
		if v.Outcome != OutcomeRight && strings.Count(v.Message, "\n") > 2 {
			t.Errorf("%+v: %q has more than three lines", c.answer, v.Message)
		}
	}
}

// TestRoundedInside: whatever the digits, an answer within the tolerance is never
// said to be rounded too early, and one that is said to be rounds from the right value.
func TestRoundedInside(t *testing.T) {
	said := 0
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.Float64Range(1e-3, 1e5).Draw(t, "want")
		task := NumberTask{Marks: 2, Want: want, Carried: math.NaN(), Unit: "m", Tol: Tolerance{Rel: rapid.Float64Range(1e-4, 0.05).Draw(t, "tolerance")},
			Slips: []WrongValue{{"a slip", want * rapid.Float64Range(0.7, 1.4).Draw(t, "slip"), math.NaN(), "a way out", ""}}}
		digits := rapid.IntRange(1, 6).Draw(t, "digits")
		text := strconv.FormatFloat(want*rapid.Float64Range(0.9, 1.1).Draw(t, "off"), 'e', digits-1, 64)
		value, _ := strconv.ParseFloat(text, 64)
		exponent, _ := strconv.Atoi(text[strings.IndexByte(text, 'e')+1:])
		v := Number(task, Answer{Text: text + " m", Typed: true})
		if v.Outcome == OutcomeRight || !strings.Contains(v.Message, "too early") {
			return
		}
		said++
		if v.Outcome != OutcomeOff || v.Marks != 0 || math.Abs(value-want) <= task.Allowed(want) || math.Abs(value-want) > 0.5001*math.Pow(10, float64(exponent-digits+1)) {
			t.Fatalf("%s where %g is wanted: %+v", text, want, v)
		}
	})
	if said == 0 {
		t.Error("no answer was rounded too early")
	}
}

// TestZero: a number of exactly 0 is nothing entered, from code and typed, with a
// unit or without.
func TestZero(t *testing.T) {
	task := NumberTask{Marks: 2, Want: 0.3, Carried: math.NaN(), Unit: "s", U: 0.01, Hint: "the hint"}
	for text, want := range map[string]Outcome{
		"0": OutcomeBlank, "0 s": OutcomeBlank, "0.0 ms": OutcomeBlank, "-0": OutcomeBlank, "0,00 s": OutcomeBlank, "0 kg": OutcomeBlank, "0 foo": OutcomeBlank, "0 s s": OutcomeBlank, "0 -": OutcomeBlank, "0e5 s": OutcomeBlank,
		"0 s ± 0 s": OutcomeBlank, "0 ± 0": OutcomeBlank, "(0 ± 0) s": OutcomeUnreadable, "0 ± 0.1 s": OutcomeOff, "0 s ± 0.1 s": OutcomeOff, "0 ± 0.1": OutcomeUnreadable, "0.1 s ± 0 s": OutcomeUnreadable,
		"0.3 s ± 0 s": OutcomeUnreadable, "0 0 s": OutcomeUnreadable, "s": OutcomeUnreadable, "0.001 s": OutcomeOff, "1e-400 s": OutcomeUnreadable,
	} {
		if v := Number(task, Answer{Text: text, Typed: true}); v.Outcome != want || v.Outcome == OutcomeBlank && (v.Marks != 0 || v.Of != 2 || v.SI != 0) {
			t.Errorf("%q: %+v, want %s", text, v, want)
		}
	}
	count := NumberTask{Marks: 2, Want: 3, Carried: math.NaN(), Unit: "1", Tol: Tolerance{Abs: 0.1}}
	for _, a := range []Answer{{Unit: "1"}, {Text: "0", Typed: true}, {Text: "0 1", Typed: true}} {
		if v := Number(count, a); v.Outcome != OutcomeBlank {
			t.Errorf("%+v: %+v", a, v)
		}
	}
}

// BenchmarkTyped judges what a student types, of each kind that takes a path of
// its own: the budget of a verdict is 1 ms.
func BenchmarkTyped(b *testing.B) {
	task := NumberTask{Marks: 3, Want: 3.127e-3, Carried: math.NaN(), Unit: "mrad", U: 0.0029e-3,
		Slips: []WrongValue{{"near", 3.097e-3, math.NaN(), "a way out", ""}, {"far", 6.254e-3, math.NaN(), "a way out", ""}}}
	for _, c := range []struct{ name, text string }{
		{"right", "3.127 ± 0.003 mrad"}, {"rounded", "3.1 ± 0.1 mrad"}, {"slip", "6.254(6) mrad"}, {"name", "3.127 Milliradians"}, {"twice", "3.127 rad rad"},
		{"unknown", "3.127 furlong"}, {"zero", "0 mrad"}, {"slashes", "3 " + strings.Repeat("E/", 90)}, {"units", "3 mrad ± 1 " + strings.Repeat("rad ", 24)},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				Number(task, Answer{Text: c.text, Typed: true})
			}
		})
	}
}

// TestNormalised: the worked form of ISO 13528, 9.7 (from memory): |x-X| over
// the root of the sum of squares of both expanded uncertainties.
func TestNormalised(t *testing.T) {
	tests := []struct{ x, u, ref, uRef, want float64 }{
		{10.0, 0.3, 9.0, 0.4, 1},
		{9.0, 0.3, 10.0, 0.4, -1},
		{10.0, 0.5, 10.0, 0.1, 0},
	}
	for _, test := range tests {
		if got := NormalisedError(test.x, test.u, test.ref, test.uRef); math.Abs(got-test.want) > 1e-12 {
			t.Errorf("Normalised(%g, %g, %g, %g) = %g, want %g", test.x, test.u, test.ref, test.uRef, got, test.want)
		}
	}
}

// A number from code is told with the digits that tell whether it is right.
func TestUnderstoodDigits(t *testing.T) {
	for _, c := range []struct {
		want, allowed, value float64
		unit, understood     string
	}{
		{9.8127396, 1e-6, 981273.96, "mGal", "981273.96 mGal"}, // 0.1 mGal
		{9.8127396, 0.01, 981273.96, "mGal", "981274 mGal"},
		{2, 0.02, 2.529822128, "m", "2.52982 m"},
		{2, 1e-15, 2.529822128134704, "m", "2.52982212813 m"},
	} {
		v := Number(NumberTask{Marks: 1, Want: c.want, Carried: math.NaN(), Unit: c.unit, Tol: Tolerance{Abs: c.allowed}}, Answer{Value: c.value, Unit: c.unit})
		if v.Understood != c.understood {
			t.Errorf("%g %s within %g is understood as %q, want %q", c.value, c.unit, c.allowed, v.Understood, c.understood)
		}
	}
}

// A sign must not mean something else to a reader elsewhere: a circle means right in
// parts of the world. What is not judged has a sign of its own.
func TestSigns(t *testing.T) {
	signs := map[string]Outcome{}
	for _, o := range []Outcome{OutcomeRight, OutcomeSlip, OutcomeOff, OutcomeBlank, OutcomeWaiting, OutcomeRecorded} {
		s := o.Sign()
		if other, ok := signs[s]; ok {
			t.Errorf("%s and %s have the sign %s", o, other, s)
		}
		if strings.ContainsAny(s, "○◯〇Oo") {
			t.Errorf("%s has the sign %s", o, s)
		}
		signs[s] = o
	}
}

// A value that its uncertainty would round to 0 is told as it was given: "read as 0"
// beside "value right" would be nonsense.
func TestEchoOfSmallValue(t *testing.T) {
	task := NumberTask{Marks: 3, Want: 6.674e-11, Carried: math.NaN(), Unit: "m³/(kg s²)", Tol: Tolerance{Rel: 0.05}, U: 1e-12, Hint: "a"}
	for _, c := range []struct {
		answer Answer
		want   string
	}{
		{Answer{Text: "6.67e-11 ± 2e-9 m³/(kg s²)", Typed: true}, "6.67e-11 ± 2e-9 m³/(kg s²)"},
		{Answer{Value: 6.67e-11, U: 2e-9, Unit: "m³/(kg s²)"}, "6.67e-11 ± 2e-09 m³/(kg s²)"},
		{Answer{Text: "6.67e-11 ± 1e-12 m³/(kg s²)", Typed: true}, "(6.7 ± 0.1) × 10⁻¹¹ m³/(kg·s²)"},
	} {
		v := Number(task, c.answer)
		if v.Understood != c.want {
			t.Errorf("%+v is read as %q, want %q", c.answer, v.Understood, c.want)
		}
	}
	if v := Number(task, Answer{Text: "6.67e-11 ± 2e-9 m³/(kg s²)", Typed: true}); v.Marks != 1 || !strings.HasPrefix(v.Message, "Value right, uncertainty far larger") {
		t.Errorf("%d marks, %q", v.Marks, v.Message)
	}
	if v := Number(task, Answer{Text: "6.67e-11 m³/(kg s²)", Typed: true}); v.Marks != 1 || !strings.HasPrefix(v.Message, "Value right, uncertainty missing.") {
		t.Errorf("%d marks, %q", v.Marks, v.Message)
	}
}
