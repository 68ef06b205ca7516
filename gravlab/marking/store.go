package marking

import (
	"encoding/json"
	"os"
	"path/filepath"

	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/sandbox"
)

// runFormat counts changes of what a stored run holds; older ones are run
// again.
const runFormat = 3

// A run is what came out when a notebook was run. It holds nothing of what that
// is worth.
type run struct {
	Format int
	Print  string // fingerprint of the notebook
	Lab    string // of the sheet that it declares
	Code   string
	Twice  bool `json:",omitempty"` // it declares another sheet too
	// Skipped says why the notebook was not run: its sheet belongs to nobody. It is
	// looked at again when the class list or the key is another.
	Skipped string `json:",omitempty"`
	Unread  string `json:",omitempty"` // why it is no notebook
	Ended   sandbox.Limit
	Given   []labserver.Entry `json:",omitempty"` // in order; see desk
	Tries   map[string]int
	Calls   map[string]string // fingerprints of the judge's calls, by question
	Foreign int               `json:",omitempty"` // answers to sheets of somebody else
	Cells   []sandbox.Cell    `json:",omitempty"` // that did not run to their end
	Remarks []sandbox.Remark  `json:",omitempty"`
	Read    []string          `json:",omitempty"` // recordings of the sheet that the program read
	Own     []string          `json:",omitempty"` // files with recordings of the student's own that it read
	// Edited are the recordings beside the notebook that are not those of its sheet.
	Edited []string `json:",omitempty"`
	// Notes are remarks of the desk: what was left out for its size.
	Notes   []string `json:",omitempty"`
	Figures int      // that were kept
	Shown   int      // that the program wanted to show
}

// A verdictOf is a question, the answer that counts and its verdict.
type verdictOf struct {
	Entry labserver.Entry
	Given bool // there was an answer
	Tries int
	// Virtual: off by the lecturer's reference, and right by the sheet's own
	// virtual recording.
	Virtual bool `json:",omitempty"`
}

// judged is a run with its verdicts.
type judged struct {
	Rules    string // fingerprint of the bank and the references
	Verdicts []verdictOf
	Notes    []string `json:",omitempty"` // for the lecturer
}

// A picture is a figure of the student's program, drawn again.
type picture struct {
	Alt, Caption string
	SVG          string
	Problem      string `json:",omitempty"` // why it could not be drawn
}

// A store is a folder of runs. Each file is written whole, the run itself last.
type store struct{ dir string }

func (s store) path(key, what string) string { return filepath.Join(s.dir, key+"."+what+".json") }

// read reads a file of the store. One that is not there or cannot be read is as good as
// none: the work is done again.
func (s store) read(key, what string, v any) bool {
	text, err := os.ReadFile(s.path(key, what))
	return err == nil && json.Unmarshal(text, v) == nil
}

func (s store) write(key, what string, v any) error {
	text, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return atomicfile.WriteFile(s.path(key, what), text, 0o600)
}

func (s store) run(key string) (run, bool) {
	var r run
	ok := s.read(key, "run", &r) && r.Format == runFormat
	return r, ok
}
