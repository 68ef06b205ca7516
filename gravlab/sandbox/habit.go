package sandbox

import "sync"

// Sheets of one lab are alike. A heavy one costs half if it is compiled from the
// start, and a thin one half if it is never compiled; what the last few of a lab
// have needed says which it will be. What comes out is the same.
type habits struct {
	mu  sync.Mutex
	lab map[string]*habit
}

type habit struct {
	heavy int // how many more of the last sheets were heavy than thin, 0 to surest
	begun int // sheets begun while it was heavy
}

const (
	surest = 3
	// looks is how often a sheet is begun with the interpreter all the same, to see
	// whether that would do by now.
	looks = 8
)

// begin reports whether a sheet of the lab should be compiled from the start.
func (h *habits) begin(lab string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	k := h.lab[lab]
	if k == nil || k.heavy == 0 {
		return false
	}
	k.begun++
	return k.begun%looks != 0
}

// dearer is how many times as long as loading a program into the interpreter
// compiling it takes: 5.2 to 7.8 times for the worked sheets of the fifteen labs.
const dearer = 6

// heavy reports whether a sheet that was begun with the interpreter would have cost
// less if it had been compiled from the start.
func (t Times) heavy() bool { return t.Compiled || t.Run-t.Exchange > dearer*t.Instantiate }

// learn is told whether a sheet that was begun with the interpreter was heavy.
func (h *habits) learn(lab string, heavy bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	k := h.lab[lab]
	if k == nil {
		if h.lab == nil || len(h.lab) > 100 { // a notebook may claim any name
			h.lab = map[string]*habit{}
		}
		k = &habit{}
		h.lab[lab] = k
	}
	if heavy {
		k.heavy = min(k.heavy+1, surest)
	} else {
		k.heavy = max(k.heavy-1, 0)
	}
}
