package exercises

import (
	"regexp"
	"strings"
	"testing"
)

// fromMemory reports whether a source stands on memory alone: nobody has read it again, and
// nothing checks the number by other means.
func fromMemory(source string) bool {
	for _, by := range []string{"recomputed here", "independently computed"} {
		if strings.Contains(strings.ToLower(source), by) {
			return false
		}
	}
	return strings.Contains(source, "not re-read") || strings.Contains(source, "from memory")
}

// TestSources: at most one question in ten rests on memory alone, and none on a page that a
// referee would strike out.
func TestSources(t *testing.T) {
	weak := regexp.MustCompile(`(?i)forum|homework|stack ?exchange|wikipedia|encyclop|scribd|course ?hero|blog`)
	questions, memory := 0, []string{}
	for _, lab := range Labs() {
		for _, q := range lab.Sheet("").Questions {
			questions++
			if fromMemory(q.Source.Text) {
				memory = append(memory, lab.FullID(q.ID))
			}
			if hit := weak.FindString(q.Source.Text); hit != "" {
				t.Errorf("%s: its source names a %q: %s", lab.FullID(q.ID), hit, q.Source.Text)
			}
		}
	}
	t.Logf("from memory alone: %d of %d questions (%.1f %%): %s", len(memory), questions, 100*float64(len(memory))/float64(questions), strings.Join(memory, ", "))
	if 10*len(memory) > questions {
		t.Errorf("%d of %d questions rest on memory alone; at most one in ten may", len(memory), questions)
	}
}
