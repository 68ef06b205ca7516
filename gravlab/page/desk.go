package page

import (
	"encoding/json"
	"os"
	"path/filepath"
	"sync"

	"gravity.example/gravlab/internal/atomicfile"
)

// A desk remembers where the reader was.
type bookmarks struct {
	path string
	mu   sync.Mutex
}

// places is the file of a desk.
type places struct {
	Last  string            `json:"last"`  // the lab
	Cells map[string]string `json:"cells"` // the cell in each lab
}

func (d *bookmarks) read() places {
	var p places
	if text, err := os.ReadFile(d.path); err == nil {
		json.Unmarshal(text, &p) // a file that cannot be read is no place
	}
	if p.Cells == nil {
		p.Cells = map[string]string{}
	}
	return p
}

func (d *bookmarks) get() places {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.read()
}

// note remembers a place. A place that cannot be kept is no loss.
func (d *bookmarks) note(lab, cell string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	p := d.read()
	if p.Last == lab && (cell == "" || p.Cells[lab] == cell) {
		return
	}
	p.Last = lab
	if cell != "" {
		p.Cells[lab] = cell
	}
	text, err := json.MarshalIndent(p, "", " ")
	if err != nil || os.MkdirAll(filepath.Dir(d.path), 0o700) != nil {
		return
	}
	atomicfile.WriteFile(d.path, append(text, '\n'), 0o600)
}
