package judge

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"

	"gravity.example/gravlab/internal/clip"
)

// UnderstandChoice says which option was chosen: Recorded, Blank or Unreadable.
func UnderstandChoice(marks int, letters []string, a Answer) Verdict {
	v := Verdict{Of: marks}
	switch letter := letterOf(a); {
	case letter == "":
		v.Outcome, v.Message = OutcomeBlank, "Nothing chosen yet."
	case slices.Contains(letters, letter):
		v.Outcome, v.Understood = OutcomeRecorded, "option "+letter
	default:
		v.Outcome, v.Understood = OutcomeUnreadable, fmt.Sprintf("%q", clip.Line(a.Text, mostSaid))
		v.Message = "There is no such option. Enter one of the letters " + strings.Join(letters, ", ") + "."
	}
	return v
}

func letterOf(a Answer) string {
	return strings.ToLower(strings.TrimFunc(a.Text, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }))
}

// Choice judges the letter of an option.
func Choice(t ChoiceTask, a Answer) Verdict {
	letters := make([]string, len(t.Options))
	for i, o := range t.Options {
		letters[i] = o.Letter
	}
	v := UnderstandChoice(t.Marks, letters, a)
	if v.Outcome != OutcomeRecorded {
		return v
	}
	if o := t.Options[slices.Index(letters, letterOf(a))]; o.Right {
		v.Outcome, v.Marks = OutcomeRight, t.Marks
	} else {
		v.Outcome, v.Slip, v.Message = OutcomeSlip, "option "+o.Letter, o.Idea
	}
	return v
}

// Text leaves words to a person.
func Text(marks int, a Answer) Verdict {
	if strings.TrimSpace(a.Text) == "" {
		return Verdict{Outcome: OutcomeBlank, Of: marks, Message: "Nothing written yet."}
	}
	return Verdict{Outcome: OutcomeWaiting, Of: marks, Understood: words(len(strings.Fields(a.Text))), Message: "Kept for your lecturer to read."}
}

// UnderstandFunction reports whether a function gave a result of the length that is
// wanted at each of the calls: Recorded, Blank or Unreadable.
func UnderstandFunction(marks int, signature Signature, calls [][]float64, lengths []int, a Answer) Verdict {
	v := Verdict{Outcome: OutcomeRecorded, Of: marks, Understood: string(signature)}
	unreadable := func(format string, args ...any) Verdict {
		v.Outcome, v.Message = OutcomeUnreadable, fmt.Sprintf(format, args...)
		return v
	}
	if a.Fault != "" {
		return unreadable("Your function failed: %s.\nTry it on a number of your own first.", clip.Line(a.Fault, mostSaid))
	}
	if len(a.Values) != len(calls) {
		return unreadable("Your function gave %d results for %d calls.", len(a.Values), len(calls))
	}
	zero := true
	for i, got := range a.Values {
		if len(got) != lengths[i] {
			return unreadable("For %s your function gave %d numbers instead of %d.", signature.describe(calls[i]), len(got), lengths[i])
		}
		for _, x := range got {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return unreadable("For %s your function gave %v.\nIs there a division by zero, or the root of a negative number?", signature.describe(calls[i]), x)
			}
			zero = zero && x == 0
		}
	}
	if zero {
		v.Outcome, v.Message = OutcomeBlank, "The function returns 0 everywhere: nothing written yet."
		return v
	}
	if i, j := contradiction(calls, a.Values); i >= 0 {
		return unreadable("For %s your function gave first %.4g, then %.4g.\nThe same arguments must give the same result.", signature.describe(calls[i]), a.Values[i], a.Values[j])
	}
	return v
}

// Function judges a function by its results at the task's calls.
func Function(t FunctionTask, a Answer) Verdict {
	lengths := make([]int, len(t.Want))
	for i, want := range t.Want {
		lengths[i] = len(want)
	}
	v := UnderstandFunction(t.Marks, t.Signature, t.Calls, lengths, a)
	if v.Outcome != OutcomeRecorded {
		return v
	}
	if t.agree(a.Values, t.Want) {
		v.Outcome, v.Marks, v.Message = OutcomeRight, t.Marks, fmt.Sprintf("Agrees at all %d test points.", len(t.Calls))
		return v
	}
	v.Outcome, v.Slip, v.Drawing, v.Message = t.reason(a.Values)
	if i := t.firstMiss(a.Values); t.Telling != WithMarks && i >= 0 {
		head, rest, _ := strings.Cut(v.Message, "\n")
		got, want := numbers(a.Values[i], t.Want[i])
		v.Message = fmt.Sprintf("%s\n%s\nFor %s your function gives %s; expected is %s.", head, oneLine(rest), t.Signature.describe(t.Calls[i]), got, want)
	}
	return v
}

// reason says why a function differs: a slip of the question, one that can be made in any
// function, or neither.
func (t FunctionTask) reason(got [][]float64) (o Outcome, slip, drawing, message string) {
	for _, s := range t.Slips {
		if t.agree(got, s.Values) {
			return OutcomeSlip, s.Name, s.Drawing, capital(s.Name) + "?\n" + s.Fix
		}
	}
	if name, message, ok := t.general(got); ok {
		return OutcomeSlip, name, drawn[name], message
	}
	return OutcomeOff, "", "", fmt.Sprintf("Differs at %d of %d test points.\n%s", t.misses(got), len(t.Calls), t.Hint)
}

// firstMiss is the first call at which a result differs, -1 if there is none.
func (t FunctionTask) firstMiss(got [][]float64) int {
	return slices.IndexFunc(indices(got), func(i int) bool { return !t.near(got[i], t.Want[i]) })
}

// numbers writes two results, or of results of many numbers the first that differ most.
func numbers(got, want []float64) (string, string) {
	worst := 0
	for j := range got {
		if math.Abs(got[j]-want[j]) > math.Abs(got[worst]-want[worst]) {
			worst = j
		}
	}
	place := ""
	if len(got) > 1 {
		place = fmt.Sprintf(" at index %d", worst)
	}
	return fmt.Sprintf("%.4g%s", got[worst], place), fmt.Sprintf("%.4g", want[worst])
}

// agree compares result by result. The tolerance is relative to the largest
// wanted number of a result, so that a zero among them is no trap.
func (t FunctionTask) agree(got, want [][]float64) bool {
	return !slices.ContainsFunc(indices(got), func(i int) bool { return !t.near(got[i], want[i]) })
}

func (t FunctionTask) misses(got [][]float64) int {
	n := 0
	for i := range got {
		if !t.near(got[i], t.Want[i]) {
			n++
		}
	}
	return n
}

func (t FunctionTask) near(got, want []float64) bool {
	if len(got) != len(want) {
		return false
	}
	size := 0.0
	for _, w := range want {
		size = math.Max(size, math.Abs(w))
	}
	allowed := math.Max(t.Tol.Abs, t.Tol.Rel*size)
	for i := range got {
		if !within(got[i], want[i], allowed) {
			return false
		}
	}
	return true
}

// contradiction finds two calls with the same arguments and different results.
func contradiction(calls, values [][]float64) (int, int) {
	for i := range calls {
		for j := range i {
			if slices.Equal(calls[i], calls[j]) && !slices.Equal(values[i], values[j]) {
				return j, i
			}
		}
	}
	return -1, -1
}

func indices(s [][]float64) []int {
	n := make([]int, len(s))
	for i := range n {
		n[i] = i
	}
	return n
}

// describe names a call: its arguments, or the list that is the only one.
func (s Signature) describe(call []float64) string {
	switch {
	case s == OneToOne && len(call) == 1:
		return fmt.Sprintf("the argument %.4g", call[0])
	case s == TwoToOne && len(call) == 2:
		return fmt.Sprintf("the arguments %.4g and %.4g", call[0], call[1])
	case len(call) == 0:
		return "an empty list"
	case len(call) <= 3:
		var numbers []string
		for _, x := range call {
			numbers = append(numbers, fmt.Sprintf("%.4g", x))
		}
		return "the list " + strings.Join(numbers, ", ")
	default:
		return fmt.Sprintf("a list of %d numbers that starts with %.4g", len(call), call[0])
	}
}

// mostSaid is how much of what a student's program says is in a message.
const mostSaid = 120

// words says how many words there are.
func words(n int) string {
	if n == 1 {
		return "1 word"
	}
	return fmt.Sprintf("%d words", n)
}
