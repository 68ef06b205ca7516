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

// TestAnyAnswer: whatever a student or a forged file gives in, the judge neither
// panics nor pays more than the question is worth, and says what to do in at most
// three lines.
func TestAnyAnswer(t *testing.T) {
	hints := [2]string{"first hint", "second hint"}
	numbers := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Inf(-1), 1e-320, 1e308, 1.5, -1.5}))
	units := rapid.SampledFrom([]string{"", "m", "mm", "km", "µGal", "m/s²", "rad", "N m/rad", "%", "<b>", "kg", "nonsense", "1"})
	rapid.Check(t, func(t *rapid.T) {
		number := NumberTask{
			Marks: rapid.IntRange(1, 5).Draw(t, "marks"), Want: rapid.Float64Range(-1e6, 1e6).Draw(t, "want"), Carried: numbers.Draw(t, "carried"),
			Unit: rapid.SampledFrom([]string{"m", "m/s²", "%", "N m/rad"}).Draw(t, "unit"), Tol: Tolerance{Rel: 0.01},
			Slips: []WrongValue{{"a slip", numbers.Draw(t, "slip"), numbers.Draw(t, "carried slip"), "a way out"}},
			Hints: hints, Tries: rapid.IntRange(0, 50).Draw(t, "tries"),
		}
		if rapid.Bool().Draw(t, "measured") {
			number.U, number.Tol = 0.1, Tolerance{}
			number.USlips = []WrongValue{{"a slip of u", numbers.Draw(t, "u slip"), math.NaN(), "a way out"}}
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
			Slips: []WrongFunction{{"a slip", [][]float64{{2}, {8}, {2}}, "a way out"}}, Hints: hints,
		}
		choice := ChoiceTask{Marks: 1, Options: []Option{{Letter: "a", Right: true}, {Letter: "b", Idea: "an idea"}}}
		for _, v := range []Verdict{JudgeNumber(number, a), JudgeFunction(function, a), JudgeChoice(choice, a), JudgeText(3, a)} {
			switch {
			case v.Outcome == "" || v.Of < 1 || v.Marks < 0 || v.Marks > v.Of:
				t.Fatalf("%+v: %+v", a, v)
			case len(written(v)) == 0:
				t.Fatalf("%+v: %+v cannot be written down", a, v)
			case v.Message == "" || strings.Count(v.Message, "\n") > 2:
				t.Fatalf("%+v: message %q", a, v.Message)
			case len([]rune(v.Understood)) > 200:
				t.Fatalf("%+v: understood as %d characters", a, len(v.Understood))
			case v.Marks == v.Of && v.Outcome != Right && v.Outcome != Carried:
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
	v := JudgeNumber(NumberTask{Marks: 2, Want: 1, Carried: math.NaN(), Unit: "m", Tol: Tolerance{Rel: 0.01}}, Answer{Value: 1e307, Unit: "km"})
	if v.Outcome != Unreadable || v.SI != 0 || len(written(v)) == 0 {
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
			}{{1.01, Right}, {0.99, Right}, {1.0101, Off}, {0.9899, Off}} {
				text := strconv.FormatFloat(want*c.part, 'g', 8, 64) + " " + unit
				if v := JudgeNumber(task, Answer{Text: text, Typed: true}); v.Outcome != c.want {
					t.Errorf("%s where %g is wanted within 1 %%: %s", text, want, v.Outcome)
				}
			}
		}
	}
	measured := NumberTask{Marks: 2, Want: 2e-6, Carried: math.NaN(), Unit: "µN·m/rad", U: 1e-7}
	for text, want := range map[string]Outcome{"2.9(3)": Right, "1.1(3)": Right, "2.12(4)": Right, "2.13(4)": Off, "2.91(30)": Off, "2.0(31)": Off} {
		if v := JudgeNumber(measured, Answer{Text: text + " µN·m/rad", Typed: true}); v.Outcome != want {
			t.Errorf("%s: %s, want %s", text, v.Outcome, want)
		}
	}
	function := FunctionTask{Marks: 2, Signature: OneToOne, Calls: [][]float64{{1}}, Want: [][]float64{{2e-6}}, Tol: Tolerance{Rel: 0.01}}
	if v := JudgeFunction(function, Answer{Values: [][]float64{{2.02e-6}}}); v.Outcome != Right {
		t.Errorf("a function at the edge: %s", v.Outcome)
	}
}

// TestPureNumber: a count has no prefix, so a thousand times too many is not half
// right; a length has one.
func TestPureNumber(t *testing.T) {
	for _, c := range []struct {
		unit, text string
		want       Outcome
	}{{"1", "12000", Slip}, {"1", "0.012", Slip}, {"%", "12000 %", Slip}, {"%", "0.12 %", Unit}, {"m", "12 mm", Unit}} {
		task := NumberTask{Marks: 2, Want: 12 * quantity.MustUnit(c.unit).SI(), Carried: math.NaN(), Unit: c.unit, Tol: Tolerance{Rel: 0.01}}
		if v := JudgeNumber(task, Answer{Text: c.text, Typed: true}); v.Outcome != c.want {
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
		{"N m/rad", "0.4515 kg", Unit, "kg is a unit of mass; wanted is N m/rad.\nThe number is right: give it in N m/rad"},
		{"N m/rad", "7 kg", Unreadable, "kg is a unit of mass; wanted is N m/rad.\nGive it in N m/rad"},
		{"N m/rad", "7 m s", Unreadable, "m·s does not fit; wanted is N m/rad."},
		{"m/s²", "7 kg", Unreadable, "wanted is acceleration"},
		{"1", "7 rad", Unreadable, "wanted is a pure number.\nGive it as a pure number"},
		{"1", "0.4515 1", Right, ""},
		{"1", "0.4515 ± 0.0001 1", Right, ""},
		{"1", "0.4515 -", Right, ""},
		{"s", "0.4515", Unit, "needs its unit.\nThe number is right: give it in s"},
		{"s", "0.4515 none", Unit, "needs its unit"},
		{"s", "0.4515 s s", Unit, "The unit stands twice.\nThe number is right: type s once."},
		{"s", "7 s s", Unreadable, "The unit stands twice.\nType s once."},
		{"s", "7 s ms", Unreadable, "Two units stand with one number.\nKeep one of s and ms."},
		{"s", "0.4515 s ± 200 ms s", Unit, "The uncertainty has ms and s"},
		{"%", "7 % %", Unreadable, "twice"},
	} {
		want := 0.4515 * quantity.MustUnit(c.unit).SI()
		got := JudgeNumber(NumberTask{Marks: 2, Want: want, Carried: math.NaN(), Unit: c.unit, Tol: Tolerance{Rel: 0.001}}, Answer{Text: c.text, Typed: true})
		if got.Outcome != c.outcome || !strings.Contains(strings.ToLower(got.Message), strings.ToLower(c.says)) {
			t.Errorf("%s where %s is wanted: %s, %q; want %s, %q", c.text, c.unit, got.Outcome, got.Message, c.outcome, c.says)
		}
	}
	given := JudgeNumber(NumberTask{Marks: 2, Want: 2, Carried: math.NaN(), Unit: "s", Tol: Tolerance{Rel: 0.001}}, Answer{Value: 7, Unit: "s s"})
	if given.Outcome != Unreadable || !strings.Contains(given.Message, "twice") {
		t.Errorf("a unit given twice from code: %s, %q", given.Outcome, given.Message)
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
		if got := Normalised(test.x, test.u, test.ref, test.uRef); math.Abs(got-test.want) > 1e-12 {
			t.Errorf("Normalised(%g, %g, %g, %g) = %g, want %g", test.x, test.u, test.ref, test.uRef, got, test.want)
		}
	}
}
