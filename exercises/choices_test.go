package exercises

import (
	"testing"
	"unicode/utf8"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

// TestChoices: neither the length of an option nor its place tells that it is the right one. A
// student who takes the longest option, or always one letter, does as well as one who guesses.
func TestChoices(t *testing.T) {
	places, asked := map[string]int{}, 0
	longest, questions, guesses := 0, 0, 0.0
	for _, lab := range Labs() {
		for n := range 20 {
			for _, q := range lab.Sheet(bank.NumberedCode(lab.ID, n)).Questions {
				if q.Kind != judge.KindChoice {
					continue
				}
				right, wrong := 0, 0
				for _, o := range q.Options {
					if size := utf8.RuneCountInString(o.Text); o.Right {
						right = size
						places[o.Letter]++
						asked++
					} else {
						wrong = max(wrong, size)
					}
				}
				if n > 0 {
					continue
				}
				questions++
				guesses += 1 / float64(len(q.Options))
				if right > wrong {
					longest++
				}
				if float64(right) > 1.3*float64(wrong) {
					t.Errorf("%s: the right option has %d characters, the longest wrong one %d", lab.FullID(q.ID), right, wrong)
				}
			}
		}
	}
	t.Logf("the right option is the longest in %d of %d questions (%.1f by guessing); its places on %d sheets: %v", longest, questions, guesses, asked, places)
	if float64(longest) > 1.5*guesses {
		t.Errorf("the right option is the longest in %d of %d questions; guessing gives %.1f", longest, questions, guesses)
	}
	for _, letter := range []string{"a", "b", "c"} {
		if part := float64(places[letter]) / float64(asked); part < 0.15 || part > 0.35 {
			t.Errorf("option %s is right in %.0f %% of the choices", letter, 100*part)
		}
	}
}
