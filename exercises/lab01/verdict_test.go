package lab01

import (
	"math"
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

// TestVerdicts gives answers to lab 01's default sheet as students do, and says
// which verdict each must get. The right values of that sheet, to four digits:
// kappa 1.570e-7 N m/rad, theta 3.125 mrad, G 6.791e-11 by the simple formula and
// 6.66(6)e-11 from the swing, far spheres 3.05 %, period 578.03(8) s, deflection
// 3.1270(29) mrad, budget 1.830 %, Earth 5.98e24 kg, mean 5.448(41) and one
// experiment 5.230 g/cm³.
func TestVerdicts(t *testing.T) {
	number := func(v float64, unit string) judge.Answer { return judge.Answer{Value: v, Unit: unit} }
	measured := func(v, u float64, unit string) judge.Answer { return judge.Answer{Value: v, U: u, Unit: unit} }
	typed := func(text string) judge.Answer { return judge.Answer{Text: text, Typed: true} }
	option := func(text string) judge.Answer { return judge.Answer{Text: text} }
	nan, inf := math.NaN(), math.Inf(1)

	type row struct {
		question string
		answer   judge.Answer
		own      bank.Answers // the student's earlier answers
		outcome  judge.Outcome
		marks    int
		says     string // part of the message or of what was understood
	}
	rows := []row{
		// Right: rounded, in other units, typed in every way.
		{"kappa", number(1.5697e-7, "N m/rad"), nil, judge.OutcomeRight, 2, ""},
		{"kappa", number(1.57e-7, "N·m/rad"), nil, judge.OutcomeRight, 2, ""},
		{"kappa", number(1.6e-7, "N m/rad"), nil, judge.OutcomeOff, 0, "rounded too early"},
		{"kappa", number(0.157, "µN m/rad"), nil, judge.OutcomeRight, 2, ""},
		{"kappa", number(157, "nN m/rad"), nil, judge.OutcomeRight, 2, "157"},
		{"kappa", number(1.57e-7, "J/rad"), nil, judge.OutcomeRight, 2, ""},
		{"kappa", number(1.57e-7, "N m"), nil, judge.OutcomeRight, 2, ""},
		{"kappa", number(1.57e-7, "kg m²/s²"), nil, judge.OutcomeRight, 2, ""},
		{"kappa", typed("1.57e-7 N m/rad"), nil, judge.OutcomeRight, 2, ""},
		{"kappa", typed("1,57e-7 N·m/rad"), nil, judge.OutcomeRight, 2, "comma"},
		{"kappa", typed("1.57 × 10⁻⁷ N·m·rad⁻¹"), nil, judge.OutcomeRight, 2, ""},
		{"kappa", typed("1.57*10^-7 N m rad^-1"), nil, judge.OutcomeRight, 2, ""},
		{"kappa", typed("0.1570(12) µN·m/rad"), nil, judge.OutcomeRight, 2, "0.0012"},
		{"kappa", typed("157 ± 2 nN·m/rad"), nil, judge.OutcomeRight, 2, "157"},
		{"theta", number(3.125, "mrad"), nil, judge.OutcomeRight, 2, ""},
		{"theta", number(0.17905, "deg"), nil, judge.OutcomeRight, 2, ""},
		{"theta", number(10.743, "arcmin"), nil, judge.OutcomeRight, 2, ""},
		{"theta", number(644.6, "arcsec"), nil, judge.OutcomeRight, 2, ""},
		{"far-spheres", number(3.05, "%"), nil, judge.OutcomeRight, 2, ""},
		{"far-spheres", number(0.0305, "1"), nil, judge.OutcomeRight, 2, ""},
		{"far-spheres", typed("3.05 %"), nil, judge.OutcomeRight, 2, ""},
		{"earth-mass", number(5.98e24, "kg"), nil, judge.OutcomeRight, 2, ""},
		{"earth-mass", number(5.98e21, "t"), nil, judge.OutcomeRight, 2, ""},
		{"earth-mass", number(5.98e27, "g"), nil, judge.OutcomeRight, 2, ""},
		{"experiment-1798", number(5.23, "g/cm³"), nil, judge.OutcomeRight, 2, ""},
		{"experiment-1798", number(5230, "kg/m³"), nil, judge.OutcomeRight, 2, ""},

		// Each slip by its value.
		{"kappa", number(6.279e-7, "N m/rad"), nil, judge.OutcomeSlip, 0, "turning point"},
		{"kappa", number(2.498e-8, "N m/rad"), nil, judge.OutcomeSlip, 0, "2π"},
		{"kappa", number(3.976e-9, "N m/rad"), nil, judge.OutcomeSlip, 0, "ω = 2π/T"},
		{"kappa", number(1.506e-7, "N m/rad"), nil, judge.OutcomeSlip, 0, "add I₀"},
		{"kappa", number(8.168e-8, "N m/rad"), nil, judge.OutcomeSlip, 0, "both ends"},
		{"theta", number(6.25, "mrad"), nil, judge.OutcomeSlip, 0, "Two halvings"},
		{"theta", number(12.5, "mrad"), nil, judge.OutcomeSlip, 0, "mirror"},
		{"theta", number(1.5625, "mrad"), nil, judge.OutcomeSlip, 0, "not three"},
		{"theta", number(0.17905, "rad"), nil, judge.OutcomeSlip, 0, "radians"},
		{"big-g", number(1.358e-10, "m³/(kg s²)"), nil, judge.OutcomeSlip, 0, "Both pairs"},
		{"big-g", number(3.395e-11, "m³/(kg s²)"), nil, judge.OutcomeSlip, 0, "halved twice"},
		{"big-g", number(5.757e-12, "m³/(kg s²)"), nil, judge.OutcomeSlip, 0, "centre to centre"},
		{"big-g", number(9.302e-10, "m³/(kg s²)"), nil, judge.OutcomeSlip, 0, "square of the distance"},
		{"far-spheres", number(9.76, "%"), nil, judge.OutcomeSlip, 0, "across the beam"},
		{"far-spheres", number(16.59, "%"), nil, judge.OutcomeSlip, 0, "not b"},
		{"far-spheres", number(96.95, "%"), nil, judge.OutcomeSlip, 0, "cancelled"},
		{"budget", number(2.507, "%"), nil, judge.OutcomeSlip, 0, "counts twice"},
		{"budget", number(3.351, "%"), nil, judge.OutcomeSlip, 0, "is the whole"},
		{"budget", number(2.7, "%"), nil, judge.OutcomeSlip, 0, "used up"},
		{"earth-mass", number(5.98e18, "kg"), nil, judge.OutcomeSlip, 0, "in metres"},
		{"earth-mass", number(2.393e25, "kg"), nil, judge.OutcomeSlip, 0, "from the centre"},
		{"earth-mass", number(9.390e17, "kg"), nil, judge.OutcomeSlip, 0, "square"},
		{"experiment-1798", number(2.615, "g/cm³"), nil, judge.OutcomeSlip, 0, "from the middle"},
		{"experiment-1798", number(20.92, "g/cm³"), nil, judge.OutcomeSlip, 0, "his vibration"},
		{"experiment-1798", number(5.735, "g/cm³"), nil, judge.OutcomeSlip, 0, "421 s"},
		{"theta", number(-3.125, "mrad"), nil, judge.OutcomeSlip, 0, "sign"},
		{"theta", number(0.03125, "rad"), nil, judge.OutcomeSlip, 0, "power of ten"},

		// Unit missing, of another dimension, or with another prefix.
		{"kappa", number(1.57e-7, ""), nil, judge.OutcomeUnit, 1, "The number is right"},
		{"kappa", typed("1.57e-7"), nil, judge.OutcomeUnit, 1, "The number is right"},
		{"kappa", number(1.57e-7, "N/m"), nil, judge.OutcomeUnit, 1, "The number is right"},
		{"kappa", typed("1.57e-7 kg"), nil, judge.OutcomeUnit, 1, "mass"},
		{"kappa", number(0.157, "mN m/rad"), nil, judge.OutcomeUnit, 1, "prefix"},
		{"theta", number(3.125, "rad"), nil, judge.OutcomeUnit, 1, "prefix"},
		{"far-spheres", number(0.0305, "%"), nil, judge.OutcomeUnit, 1, "Percentage or fraction"},
		{"kappa", number(9.9e-7, ""), nil, judge.OutcomeUnreadable, 0, "needs its unit"},
		{"kappa", number(9.9e-7, "kg"), nil, judge.OutcomeUnreadable, 0, "mass"},

		// Carried: right, given a wrong earlier answer.
		{"big-g", number(2.716e-10, "m³/(kg s²)"), bank.Answers{"kappa": 6.279e-7}, judge.OutcomeCarried, 3, "kappa"},
		{"big-g", number(1.358e-10, "m³/(kg s²)"), bank.Answers{"theta": 0.00625}, judge.OutcomeCarried, 3, "theta"},
		{"big-g", number(1.358e-10, "m³/(kg s²)"), bank.Answers{"kappa": 1.5698e-7, "theta": 0.00625}, judge.OutcomeCarried, 3, "your answer to theta, which"}, // kappa is right
		{"big-g", number(6.79e-11, "m³/(kg s²)"), bank.Answers{"kappa": 6.279e-7}, judge.OutcomeRight, 3, ""},
		{"big-g", number(5.432e-10, "m³/(kg s²)"), bank.Answers{"kappa": 6.279e-7}, judge.OutcomeSlip, 0, "Both pairs"},
		{"earth-mass", number(5.43e24, "kg"), bank.Answers{"g-swing": 7.333e-11}, judge.OutcomeCarried, 2, "g-swing"},

		// Measured: value and uncertainty.
		{"period", measured(578.04, 0.08, "s"), nil, judge.OutcomeRight, 3, ""},
		{"period", measured(578.2, 0.1, "s"), nil, judge.OutcomeRight, 3, ""},
		{"period", measured(9.634, 0.0013, "min"), nil, judge.OutcomeRight, 3, ""},
		{"period", measured(578.04, 0, "s"), nil, judge.OutcomeOff, 1, "State its standard uncertainty"},
		{"period", measured(578.04, 2, "s"), nil, judge.OutcomeOff, 1, "far larger"},
		{"period", measured(578.04, 0.001, "s"), nil, judge.OutcomeOff, 1, "far smaller"},
		{"period", measured(578.04, -0.08, "s"), nil, judge.OutcomeOff, 1, "positive"},
		{"period", measured(578.17, 0.03, "s"), nil, judge.OutcomeOff, 1, "three of your uncertainties"},
		{"period", measured(289.02, 0.04, "s"), nil, judge.OutcomeSlip, 0, "there and back"},
		{"period", measured(600.6, 0.5, "s"), nil, judge.OutcomeSlip, 0, "residuals"},
		{"period", measured(577.66, 0.08, "s"), nil, judge.OutcomeSlip, 0, "without it"},
		{"period", measured(589.91, 0.3, "s"), nil, judge.OutcomeSlip, 0, "must end before it"},
		{"period", measured(583, 0.1, "s"), nil, judge.OutcomeOff, 0, "Plot the recording"},
		{"deflection", typed("3.1270(29) mrad"), nil, judge.OutcomeRight, 3, ""},
		{"deflection", typed("3.127 ± 0.003 mrad"), nil, judge.OutcomeRight, 3, ""},
		{"deflection", typed("6.254(6) mrad"), nil, judge.OutcomeSlip, 0, "Two halvings"},
		{"deflection", typed("3.1 ± 0.1 mrad"), nil, judge.OutcomeOff, 0, "rounded too early"}, // no slip, though one leads to 3.097
		{"mean-1798", measured(5.448, 0.041, "g/cm³"), nil, judge.OutcomeRight, 3, ""},
		{"mean-1798", measured(5.45, 0.04, "g/cm3"), nil, judge.OutcomeRight, 3, ""},
		{"mean-1798", measured(5.448, 0.221, "g/cm³"), nil, judge.OutcomeSlip, 1, "divide by √n"},
		{"mean-1798", measured(5.482, 0.04, "g/cm³"), nil, judge.OutcomeSlip, 0, "as they are printed"},
		{"g-swing", measured(6.61e-11, 0.06e-11, "m³/(kg s²)"), nil, judge.OutcomeRight, 4, ""},
		{"g-swing", measured(6.61e-11, 0.006e-11, "m³/(kg s²)"), nil, judge.OutcomeSlip, 2, "ruler"},

		// Choices.
		{"why-lead", option("b"), nil, judge.OutcomeRight, 1, ""},
		{"why-lead", option(" B) "), nil, judge.OutcomeRight, 1, ""},
		{"why-lead", option("a"), nil, judge.OutcomeSlip, 0, "kilogram"},
		{"why-lead", option("e"), nil, judge.OutcomeUnreadable, 0, "a, b, c, d"},
		{"why-lead", option(""), nil, judge.OutcomeBlank, 0, ""},

		// Blank and nonsense.
		{"kappa", number(0, "N m/rad"), nil, judge.OutcomeBlank, 0, ""},
		{"kappa", typed("  "), nil, judge.OutcomeBlank, 0, ""},
		{"kappa", number(nan, "N m/rad"), nil, judge.OutcomeUnreadable, 0, "NaN"},
		{"kappa", number(inf, "N m/rad"), nil, judge.OutcomeUnreadable, 0, "Inf"},
		{"kappa", number(1.57e-7, "furlong"), nil, judge.OutcomeUnit, 1, "furlong"},
		{"kappa", typed("about a seventh"), nil, judge.OutcomeUnreadable, 0, ""},
		{"kappa", typed("NaN N m/rad"), nil, judge.OutcomeUnreadable, 0, ""},
		{"kappa", typed("1e400 N m/rad"), nil, judge.OutcomeUnreadable, 0, ""},
		{"earth-mass", typed("1,234 kg"), nil, judge.OutcomeUnreadable, 0, ""},
		{"kappa", number(42, "N m/rad"), nil, judge.OutcomeOff, 0, "Not recognised"},
	}
	if len(rows) < 80 {
		t.Fatalf("only %d answers", len(rows))
	}
	p := Lab.Sheet("")
	for _, r := range rows {
		q, ok := p.Question(r.question)
		if !ok {
			t.Fatalf("there is no question %q", r.question)
		}
		v := p.Judge(q, r.answer, r.own, 0)
		if v.Outcome != r.outcome || v.Marks != r.marks || !strings.Contains(v.Message+" "+v.Understood, r.says) {
			t.Errorf("%s, answer %+v, own %v:\n got %s, %d marks, %q, understood %q\nwant %s, %d marks, with %q",
				r.question, r.answer, r.own, v.Outcome, v.Marks, v.Message, v.Understood, r.outcome, r.marks, r.says)
		}
		if strings.Count(v.Message, "\n") > 2 {
			t.Errorf("%s, answer %+v: the message has more than three lines: %q", r.question, r.answer, v.Message)
		}
		if v.Of != q.Marks {
			t.Errorf("%s: of %d marks, want %d", r.question, v.Of, q.Marks)
		}
	}
}

// TestHints: a wrong answer gets no hint on a sheet to practise with, where one can be asked
// for, and the first one with the marks.
func TestHints(t *testing.T) {
	p := Lab.Sheet("")
	q, _ := p.Question("kappa")
	wrong := judge.Answer{Value: 42, Unit: "N m/rad"}
	for telling, says := range map[judge.Telling]string{judge.WithMarks: q.Hints[0], judge.FirstPractice: `sheet.Hint("kappa")`, judge.NextPractice: `sheet.Hint("kappa")`} {
		if v := p.Judge(q, wrong, nil, telling); !strings.HasSuffix(v.Message, says) {
			t.Errorf("the message is %q, want %q", v.Message, says)
		}
	}
}

// TestFunctionVerdicts calls a few functions as students write them.
func TestFunctionVerdicts(t *testing.T) {
	p := Lab.Sheet("")
	q, _ := p.Question("torque")
	results := func(f func(float64) float64) judge.Answer {
		var a judge.Answer
		for _, c := range q.Function.Calls {
			a.Values = append(a.Values, []float64{f(c[0])})
		}
		return a
	}
	right := func(theta float64) float64 { return q.Function.Right([]float64{theta})[0] }
	calls := 0
	tests := []struct {
		name    string
		answer  judge.Answer
		outcome judge.Outcome
		says    string
	}{
		{"right", results(right), judge.OutcomeRight, "at all 11 test points"},
		{"G of a book", results(func(x float64) float64 { return right(x) * 6.67 / 6.6743 }), judge.OutcomeRight, ""},
		{"one end", results(func(x float64) float64 { return right(x) / 2 }), judge.OutcomeSlip, "twice the torque"},
		{"sign", results(func(x float64) float64 { return -right(x) }), judge.OutcomeSlip, "positive"},
		{"constant", results(func(float64) float64 { return right(0) }), judge.OutcomeSlip, "work them out"},
		{"stub", results(func(float64) float64 { return 0 }), judge.OutcomeBlank, ""},
		{"NaN", results(func(float64) float64 { return math.NaN() }), judge.OutcomeUnreadable, "NaN"},
		{"off", results(func(x float64) float64 { return right(x) + 1e-9*x }), judge.OutcomeOff, "Differs at"},
		{"changes its mind", results(func(x float64) float64 { calls++; return right(x) * (1 + 1e-4*float64(calls)) }), judge.OutcomeUnreadable, "same result"},
		{"panics", judge.Answer{Fault: "panic: index out of range"}, judge.OutcomeUnreadable, "index out of range"},
		{"too few", judge.Answer{Values: [][]float64{{1}}}, judge.OutcomeUnreadable, "1 results"},
	}
	for _, test := range tests {
		if v := p.Judge(q, test.answer, nil, 0); v.Outcome != test.outcome || !strings.Contains(v.Message, test.says) {
			t.Errorf("%s: %s, %q; want %s with %q", test.name, v.Outcome, v.Message, test.outcome, test.says)
		}
	}
}
