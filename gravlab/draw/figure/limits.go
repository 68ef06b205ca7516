package figure

// Limits on what a figure may hold. Drawing takes time that grows faster than its
// texts, and a figure may come from a stranger's program.
const (
	MaxPoints = 2_000_000 // values in one series or map
	maxText   = 500       // bytes of a title, label, unit or name
	maxProse  = 10_000    // bytes of a caption or alt text
	maxSeries = 200       // in one panel
	maxMarks  = 2000      // in one panel
)

// A text is one of a figure's, and what it is called in messages.
type text struct{ name, text string }

// fit reports texts that are too long.
func fit(bad func(string, ...any), most int, texts ...text) {
	for _, t := range texts {
		if n := len(t.text); n > most {
			bad("the %s has %d bytes; allowed: %d", t.name, n, most)
		}
	}
}
