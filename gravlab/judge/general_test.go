package judge

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gravity.example/gravlab/internal/drawing"
	"gravity.example/gravlab/quantity"
)

// TestGeneral: mistakes that can be made in any question are told where no slip of its own
// explains the answer, and only where what is told is true.
func TestGeneral(t *testing.T) {
	number := func(want float64, unit string, rel float64) NumberTask {
		return NumberTask{Marks: 2, Want: want * quantity.MustUnit(unit).SI(), Carried: math.NaN(), Unit: unit, Tol: Tolerance{Rel: rel}, Hint: "the hint"}
	}
	length := number(1.2346, "m", 0.01)
	speed := number(21.4, "m/s", 0.01)
	period := number(1.6, "s", 0.005)
	chance := number(2.13, "%", 0.02)
	drift := number(5.1, "µGal/h", 0.01)
	ratio := number(3.72e-15, "1", 0.01)
	count := number(12, "1", 0.01)
	withSlip := length
	withSlip.Slips = []WrongValue{{"half the arm", 0.6173, math.NaN(), "The whole arm.", ""}, {"the arm in feet", 4.05, math.NaN(), "Metres.", ""}}
	shared := length
	shared.Slips = []WrongValue{{"one sphere", 0.6173, math.NaN(), "There are two.", ""}, {"full length", 0.6173, math.NaN(), "Half of it.", ""}}
	wide := length
	wide.Tol, wide.U = Tolerance{}, 0.2
	angle := length
	angle.Degrees = []float64{0.7771}
	weigh := number(6.6105, "m³/(kg s²)", 0.005)
	weigh.Want = 6.6105e-11
	for _, c := range []struct {
		task NumberTask
		text string
		slip string // in the name of the slip, "" for none
		says string
	}{
		{length, "2.469 m", "factor of 2", "Right but for a factor of 2: too large."},
		{length, "0.6173 m", "factor of 2", "too small"},
		{length, "61.73 cm", "factor of 2", "too small"},
		{length, "2.47 m", "factor of 2", ""},
		{length, "2.5 m", "", "Not recognised"}, // two digits say too little
		{length, "2.49 m", "", "Not recognised"},
		{length, "1.746 m", "√2", ""},
		{length, "0.39298 m", "factor of π", ""},
		{length, "7.757 m", "2π", ""},
		{length, "-1.2346 m", "sign", "which direction"},
		{length, "12.346 m", "power of ten", "10 times too large"},
		{length, "12.4 m", "power of ten", ""}, // within the tolerance: true
		{length, "12.6 m", "", "Not recognised"},
		{length, "1234.6 m", "", "1000 times too large"},
		{speed, "77.04 m/s", "3.6", "km/h"},
		{period, "0.625 s", "reciprocal", "upside down"},
		{period, "-1.6 s", "sign", "negative"},
		{drift, "-5.1 µGal/h", "sign", "grow or fall"},
		{speed, "-21.4 m/s", "sign", "which direction"},
		{ratio, "3.72", "power of ten", "10^15 times too large"}, // no probability
		{chance, "97.87 %", "complement", "opposite"},
		{chance, "213 %", "", "Not recognised"}, // no probability
		{chance, "0.0213 %", "", "Percentage or fraction"},
		{chance, "21.3 %", "", "Not recognised"},
		{count, "120", "power of ten", ""},
		{count, "720", "", "Not recognised"}, // seconds and minutes are no part of a count
		{withSlip, "0.6173 m", "half the arm", "The whole arm."},
		{withSlip, "2.469 m", "factor of 2", ""},
		{withSlip, "-0.6173 m", "half the arm, sign reversed", "The whole arm. The sign is reversed too."},
		{shared, "0.6173 m", "one sphere", "One sphere, or full length?\nThere are two.\nHalf of it."},
		{wide, "12.346 ± 0.2 m", "", "Not recognised"}, // 3 u are half of the value
		{wide, "2.469 ± 0.2 m", "", "Not recognised"},
		{angle, "0.777 m", "degrees", "radians"},
		{weigh, "6.674e-11 m3/kg/s2", "handbook", "What do the numbers of this question give?"},
		{weigh, "6.67430e-11 m3/kg/s2", "handbook", ""},
		{weigh, "6.7e-11 m3/kg/s2", "", "Not recognised"},
	} {
		v := Number(c.task, Answer{Text: c.text, Typed: true})
		if !strings.Contains(v.Slip, c.slip) || (c.slip == "") != (v.Slip == "") || !strings.Contains(v.Message, c.says) || v.Marks > 1 {
			t.Errorf("%s where %g %s is wanted: %s %q, %d marks, %q; want %q, %q", c.text, c.task.Want, c.task.Unit, v.Outcome, v.Slip, v.Marks, v.Message, c.slip, c.says)
		}
	}
	// A drawing goes with some of them.
	if v := Number(length, Answer{Text: "7.757 m", Typed: true}); v.Drawing != drawing.Turn {
		t.Errorf("a factor of 2π has the drawing %q", v.Drawing)
	}
}

// TestFalseReasons: of 30,000 random values within two powers of ten of the right one, at most
// one in a hundred is told a reason by accident that rests on its digits.
func TestFalseReasons(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	told := map[string]int{}
	n, all := 30_000, 0
	for i := range n {
		unit := []string{"m", "s", "%", "1", "m/s²"}[i%5]
		task := NumberTask{Marks: 2, Want: math.Exp(6*random.Float64()-3) * quantity.MustUnit(unit).SI(), Carried: math.NaN(), Unit: unit, Tol: Tolerance{Rel: 0.01}}
		switch i % 3 {
		case 0:
			task.Tol = Tolerance{Rel: 0.003}
		case 1: // measured, up to a wide tolerance
			task.Tol, task.U = Tolerance{}, task.Want*math.Pow(10, -3+2.5*random.Float64())
		}
		value := task.Want * math.Pow(10, 4*random.Float64()-2)
		v := Number(task, Answer{Value: value / quantity.MustUnit(unit).SI(), U: task.U, Unit: unit})
		switch v.Outcome {
		case OutcomeSlip, OutcomeUnit:
			told[v.Slip]++
			all++
			if task.fits(value, task.Want) {
				t.Fatalf("%g where %g is wanted: %+v", value, task.Want, v)
			}
		}
	}
	t.Logf("%d of %d (%.2f %%): %v", all, n, 100*float64(all)/float64(n), told)
	if float64(all) > 0.01*float64(n) {
		t.Errorf("%d of %d random values are told a reason: %v", all, n, told)
	}
}

// TestGeneralFunctions: what can go wrong in any function is told, and on a sheet to practise
// with one input, the student's value and the expected one, which a marking keeps to itself.
func TestGeneralFunctions(t *testing.T) {
	one := func(f func(x float64) float64) [][]float64 {
		var out [][]float64
		for _, x := range []float64{0.3, 1.2, 2.5, 0.3} {
			out = append(out, []float64{f(x)})
		}
		return out
	}
	right := func(x float64) float64 { return 3 * math.Sin(x) }
	task := FunctionTask{
		Marks: 2, Signature: OneToOne, Calls: [][]float64{{0.3}, {1.2}, {2.5}, {0.3}}, Want: one(right), Tol: Tolerance{Rel: 1e-3},
		Degrees: one(func(x float64) float64 { return right(x * math.Pi / 180) }), Hint: "the hint",
		Slips: []WrongFunction{{"half of it", one(func(x float64) float64 { return right(x) / 2 }), "All of it.", ""}},
	}
	for name, f := range map[string]func(float64) float64{
		"half of it":            func(x float64) float64 { return right(x) / 2 },
		"a factor of 2":         func(x float64) float64 { return right(x) * 2 },
		"sign reversed":         func(x float64) float64 { return -right(x) },
		"a power of ten lost":   func(x float64) float64 { return right(x) * 1000 },
		"degrees in sin or cos": func(x float64) float64 { return right(x * math.Pi / 180) },
		"":                      func(x float64) float64 { return x },
		"a factor of 180/π":     func(x float64) float64 { return right(x) * 180 / math.Pi },
	} {
		task.Telling = WithMarks
		v := Function(task, Answer{Values: one(f)})
		if v.Slip != name || v.Marks != 0 || strings.Contains(v.Message, "expected") {
			t.Errorf("%q: %+v", name, v)
		}
		task.Telling = NextPractice
		v = Function(task, Answer{Values: one(f)})
		if v.Slip != name || !strings.Contains(v.Message, "For the argument 0.3 your function gives ") || !strings.Contains(v.Message, "expected is 0.8866.") || strings.Count(v.Message, "\n") > 2 {
			t.Errorf("%q: %+v", name, v)
		}
	}
	// Rounding errors of a function that returns nothing are no power of ten.
	task.Tol.Abs = 0.002
	if v := Function(task, Answer{Values: one(func(x float64) float64 { return 1e-17 * x })}); v.Slip != "" {
		t.Errorf("a function that returns hardly anything: %+v", v)
	}
	mean := FunctionTask{Marks: 1, Signature: SliceToOne, Calls: [][]float64{{1, 2, 6}, {4, 4, 5, 9}}, Want: [][]float64{{3}, {5.5}}, Tol: Tolerance{Rel: 1e-6}}
	if v := Function(mean, Answer{Values: [][]float64{{4.5}, {22.0 / 3}}}); v.Slip != "off by one" {
		t.Errorf("divided by n - 1: %+v", v)
	}
	many := FunctionTask{Marks: 1, Signature: SliceToMany, Calls: [][]float64{{1, 2, 6, 7}}, Want: [][]float64{{1, 4, 36, 49}}, Tol: Tolerance{Rel: 1e-6}}
	if v := Function(many, Answer{Values: [][]float64{{0, 1, 4, 36}}}); v.Slip != "off by one" {
		t.Errorf("shifted: %+v", v)
	}
}

// TestRoundedOnce: whether few digits are those of the right answer is told once; after that
// an answer of few digits is asked for more, wherever it lies.
func TestRoundedOnce(t *testing.T) {
	task := NumberTask{Marks: 2, Want: 1.5223, Carried: math.NaN(), Unit: "m", Tol: Tolerance{Rel: 0.001}, Hint: "the hint", Telling: FirstPractice}
	if v := Number(task, Answer{Text: "1.52 m", Typed: true}); !strings.Contains(v.Message, "rounded too early") {
		t.Errorf("first: %q", v.Message)
	}
	task.Telling = NextPractice
	near, far := Number(task, Answer{Text: "1.52 m", Typed: true}), Number(task, Answer{Text: "1.89 m", Typed: true})
	if near.Message != far.Message || !strings.Contains(near.Message, "needs 4 significant digits.\nthe hint") {
		t.Errorf("later: %q and %q", near.Message, far.Message)
	}
	if v := Number(task, Answer{Text: "1.892 m", Typed: true}); !strings.Contains(v.Message, "the hint") {
		t.Errorf("with its digits: %q", v.Message)
	}
}

// TestCapital: a symbol or a unit keeps its letters at the beginning of a sentence.
func TestCapital(t *testing.T) {
	for in, want := range map[string]string{
		"half a period": "Half a period", "a factor of 2": "A factor of 2", "sign": "Sign", "full-length arm": "Full-length arm",
		"ω² and ω₀² added": "ω² and ω₀² added", "nm/s² taken for µGal": "nm/s² taken for µGal", "g's taken for m/s²": "g's taken for m/s²",
		"c not squared": "c not squared", "π left out": "π left out", "z for 2z": "z for 2z", "km/h taken for m/s": "km/h taken for m/s",
		"sin²φ for sin 2φ": "sin²φ for sin 2φ", "sin for cos": "sin for cos", "": "",
	} {
		if got := capital(in); got != want {
			t.Errorf("capital(%q) = %q, want %q", in, got, want)
		}
	}
}

// TestUnitOfUncertainty: a value and its uncertainty in different units are asked about.
func TestUnitOfUncertainty(t *testing.T) {
	task := NumberTask{Marks: 4, Want: 3.1273e-3, Carried: math.NaN(), Unit: "mrad", U: 2.9e-6, Hint: "the hint"}
	v := Number(task, Answer{Value: 3.1273, U: 3.0e-6, Unit: "mrad"})
	if v.Marks != 2 || !strings.Contains(v.Message, "uncertainty in another unit?") || !strings.Contains(v.Message, "1000 times too small") {
		t.Errorf("%+v", v)
	}
	if v := Number(task, Answer{Value: 3.1273, U: 1e-5, Unit: "mrad"}); !strings.Contains(v.Message, "far smaller") {
		t.Errorf("%+v", v)
	}
}

// TestQuestionsEnd: what asks back ends with a question mark or a full stop, and keeps a sign.
func TestQuestionsEnd(t *testing.T) {
	task := NumberTask{Marks: 2, Want: 1.514e-9, Carried: math.NaN(), Unit: "N", Tol: Tolerance{Rel: 0.01}}
	for text, want := range map[string]string{
		"1514 pn":    "This unit is not known: what is \"pn\"? Did you mean pN?\nEnter it in N or another unit of that kind.",
		"1.514e-9 n": "This unit is not known: what is \"n\"? Did you mean N?\nThe number is right: enter it in N or another unit of that kind.",
		"-1,514 N":   "This can be read in two ways.\nIs the comma a decimal sign or does it part thousands? Type -1.514 or -1514.",
		"1.514e-9":   "A number needs its unit.\nThe number is right: enter it in N or another unit of that kind.",
	} {
		if v := Number(task, Answer{Text: text, Typed: true}); v.Message != want {
			t.Errorf("%q: %q, want %q", text, v.Message, want)
		}
	}
}

// TestCarriedFrom: the earlier answers that need another look are named, in one sentence.
func TestCarriedFrom(t *testing.T) {
	task := NumberTask{Marks: 2, Want: 1.5223, Carried: 4.4871, From: []string{"kappa"}, Unit: "m", Tol: Tolerance{Rel: 0.01}}
	for _, c := range []struct {
		from []string
		want string
	}{
		{[]string{"kappa"}, "Right, given your answer to kappa, which needs another look."},
		{[]string{"kappa", "theta"}, "Right, given your answers to kappa and theta, which need another look."},
		{[]string{"kappa", "theta", "d"}, "Right, given your answers to kappa, theta and d, which need another look."},
	} {
		task.From = c.from
		if v := Number(task, Answer{Text: "4.49 m", Typed: true}); v.Outcome != OutcomeCarried || v.Message != c.want {
			t.Errorf("%v: %s %q", c.from, v.Outcome, v.Message)
		}
	}
}

// TestDescribe: a call is described as the student's function sees it.
func TestDescribe(t *testing.T) {
	for _, c := range []struct {
		s    Signature
		call []float64
		want string
	}{
		{OneToOne, []float64{0.3}, "the argument 0.3"},
		{TwoToOne, []float64{8.73, 10.97}, "the arguments 8.73 and 10.97"},
		{SliceToOne, []float64{8.73, 10.97}, "the list 8.73, 10.97"},
		{SliceToOne, nil, "an empty list"},
		{SliceToMany, []float64{1, 2, 3, 4}, "a list of 4 numbers that starts with 1"},
	} {
		if got := c.s.describe(c.call); got != c.want {
			t.Errorf("%s of %v: %q, want %q", c.s, c.call, got, c.want)
		}
	}
}
