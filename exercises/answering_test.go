package exercises

import (
	"strings"
	"testing"
)

// digits is what every graded lab says about rounding, in its head.
const digits = "**Answers.** Carry all digits while you calculate and round at the end only. " +
	"Enter at least four significant digits. Where an uncertainty is asked for, give two digits of it and the value to the same decimal place."

// TestHeadsSayHowToRound: banktest rounds answers as the head of each lab says.
func TestHeadsSayHowToRound(t *testing.T) {
	for _, lab := range Labs() {
		if head := readLab(t, lab).Cells[0].Source; lab.Graded && strings.Count(head, digits) != 1 {
			t.Errorf("the head of %s does not say how answers are rounded", lab.ID)
		}
	}
}
