package teach

import (
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A student takes their sheet along and brings it again; the sheet of another is refused, and what
// was taken in stays as it is.
func TestBringToClass(t *testing.T) {
	s := serve(t, options(t, t.TempDir()))
	ada, cleo := s.student(0), s.student(1)
	take := func(b *browser) string {
		t.Helper()
		b.ask("GET", b.lab+"?tab=a", "", nil)
		status, _, text := b.send("GET", b.lab+"/notebook", "", nil)
		if status != http.StatusOK {
			t.Fatalf("%d %s", status, text)
		}
		return text
	}
	bring := func(b *browser, text string) (int, string) {
		t.Helper()
		body, _ := json.Marshal(map[string]string{"tab": "a", "name": "mine.ipynb", "text": text})
		status, _, said := b.send("POST", b.lab+"/bring", string(body), nil)
		return status, said
	}
	mine, others := take(ada), take(cleo)
	if status, said := bring(ada, others); status != http.StatusBadRequest || !strings.Contains(said, "another sheet of this lab") {
		t.Errorf("the sheet of another: %d %s", status, said)
	}
	copyOf := filepath.Join(s.class.work(lab01, "s1"), lab01+".ipynb")
	worked := strings.Replace(mine, "# Weighing the Earth", "# Weighing the Earth at home", 1)
	if worked == mine {
		t.Fatal("the notebook has another heading than this test")
	}
	if status, said := bring(ada, worked); status != http.StatusOK || strings.Contains(said, s.dir) {
		t.Errorf("one's own: %d %s", status, said)
	}
	if text, err := os.ReadFile(copyOf); err != nil || !strings.Contains(string(text), "at home") {
		t.Errorf("it is not in the working copy: %v", err)
	}
	// Twice: what the first one was is kept where marking does not look.
	if status, said := bring(ada, mine); status != http.StatusOK || !strings.Contains(said, "before-1.ipynb") {
		t.Errorf("again: %d %s", status, said)
	}
	if kept, err := os.ReadFile(filepath.Join(s.class.folder("s1"), "earlier", lab01+".before-1.ipynb")); err != nil || !strings.Contains(string(kept), "at home") {
		t.Errorf("what was replaced is lost: %v", err)
	}
	s.class.freeze("", true)
	if status, said := bring(ada, worked); status != http.StatusForbidden || !strings.Contains(said, "taken in") {
		t.Errorf("after it was taken in: %d %s", status, said)
	}
}
