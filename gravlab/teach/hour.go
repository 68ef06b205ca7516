package teach

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"gravity.example/gravlab/internal/atomicfile"
)

// An hour is what the lecturer has decided, and who asks for help. It is written at each
// change, so that it outlives the program.
type hour struct {
	Closed map[string]bool      `json:"closed"` // labs
	Note   string               `json:"note"`
	Ends   time.Time            `json:"ends"`   // zero: open
	Extra  map[string]int       `json:"extra"`  // minutes, by student
	Frozen map[string]string    `json:"frozen"` // students whose work cannot be changed: byTime or byHand
	Help   map[string]time.Time `json:"help"`   // since when
}

// A student whose time has passed stays so, also when the clock is set back.
const byTime, byHand = "time", "hand"

func readHour(path string) (hour, error) {
	h := hour{}
	text, err := os.ReadFile(path)
	if err == nil && json.Unmarshal(text, &h) != nil {
		return h, fmt.Errorf("%s is not what this program wrote: put back a copy, or delete it, and all labs are open, without a note and without an end", path)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return h, err
	}
	if h.Closed == nil {
		h.Closed = map[string]bool{}
	}
	if h.Extra == nil {
		h.Extra = map[string]int{}
	}
	if h.Frozen == nil {
		h.Frozen = map[string]string{}
	}
	if h.Help == nil {
		h.Help = map[string]time.Time{}
	}
	return h, nil
}

func (h hour) write(path string) error {
	text, err := json.MarshalIndent(h, "", " ")
	if err != nil {
		return err
	}
	return atomicfile.WriteFile(path, append(text, '\n'), 0o600)
}

// end is when a student's time ends; zero if it does not.
func (h hour) end(id string) time.Time {
	if h.Ends.IsZero() {
		return time.Time{}
	}
	return h.Ends.Add(time.Duration(h.Extra[id]) * time.Minute)
}

// pass freezes the students whose time has passed and reports whether there were any.
func (h hour) pass(ids []string, now time.Time) bool {
	some := false
	for _, id := range ids {
		if end := h.end(id); !end.IsZero() && !now.Before(end) && h.Frozen[id] == "" {
			h.Frozen[id], some = byTime, true
		}
	}
	return some
}

// longer lets those go on whose time has been made longer.
func (h hour) longer(now time.Time) {
	for id, why := range h.Frozen {
		if end := h.end(id); why == byTime && (end.IsZero() || now.Before(end)) {
			delete(h.Frozen, id)
		}
	}
}
