package kernel

import (
	"os"
	"path/filepath"
	"testing"
)

// TestKeepsakeToldOnce removes what is kept while two mend it, as the monitor and
// the runner do after a cell: the runner must learn of each loss, and once.
func TestKeepsakeToldOnce(t *testing.T) {
	folder := t.TempDir()
	dir := filepath.Join(folder, "gonb_1")
	mod := filepath.Join(dir, "go.mod")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(mod, []byte("module m\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var k tempBackup
	k.take(folder)
	if k.restore(); k.restored() {
		t.Fatal("nothing was lost, yet something was put back")
	}
	for i := range 2000 {
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
		begun, monitor := make(chan struct{}), make(chan struct{})
		go func() { close(begun); k.restore(); close(monitor) }()
		<-begun
		k.restore()
		if !k.restored() {
			t.Fatalf("loss %d was mended and not told", i)
		}
		<-monitor
		if k.restored() {
			t.Fatalf("loss %d was told twice", i)
		}
	}
	if data, err := os.ReadFile(mod); err != nil || string(data) != "module m\n" {
		t.Errorf("go.mod came back as %q, %v", data, err)
	}
}
