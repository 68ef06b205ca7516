package teach

import (
	"bytes"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// On a full disk a student is told, in plain words, and what was saved before stays; when
// there is room again the same page goes on.
func TestFullDisk(t *testing.T) {
	dir := t.TempDir()
	o := options(t, dir)
	if err := os.MkdirAll(o.Data, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := unix.Mount("tmpfs", o.Data, "tmpfs", 0, "size=4m"); err != nil {
		t.Skipf("a small disk needs the right to mount one: %v", err)
	}
	t.Cleanup(func() { unix.Unmount(o.Data, unix.MNT_DETACH) })
	s := serve(t, o)
	ada := s.student(0)
	ada.ask("POST", ada.lab+"/save", `{"tab":"a","cells":{"code-06":"// before"}}`, nil)
	full := filepath.Join(o.Data, "full")
	f, err := os.Create(full)
	if err != nil {
		t.Fatal(err)
	}
	for size := 1 << 16; size > 0; size /= 2 {
		for err = nil; err == nil; {
			_, err = f.Write(bytes.Repeat([]byte{1}, size))
		}
		if !errors.Is(err, unix.ENOSPC) {
			t.Fatal(err)
		}
	}
	f.Close()
	for path, body := range map[string]string{"save": `{"tab":"a","cells":{"code-06":"// after"}}`, "answer": `{"tab":"a","question":"kappa","fields":{"number":"1","unit":"N m/rad"}}`, "run": `{"tab":"a","cell":"code-06","source":"// after"}`} {
		if status, _, text := ada.send("POST", ada.lab+"/"+path, body, nil); status != http.StatusInternalServerError || !strings.Contains(text, "the disk of the computer that keeps it is full") {
			t.Errorf("%s on a full disk: %d %.300s", path, status, text)
		}
	}
	work := filepath.Join(s.class.work(lab01, "s1"), lab01+".ipynb")
	if text, err := os.ReadFile(work); err != nil || !strings.Contains(string(text), "// before") {
		t.Errorf("what was saved before is gone (%v)", err)
	}
	os.Remove(full)
	ada.ask("POST", ada.lab+"/save", `{"tab":"a","cells":{"code-06":"// after"}}`, nil)
	if text, err := os.ReadFile(work); err != nil || !strings.Contains(string(text), "// after") {
		t.Errorf("with room again nothing is saved (%v)", err)
	}
	if got := ada.answer("kappa", s.right(0, "kappa")); got != "right" {
		t.Errorf("with room again an answer is %q", got)
	}
}
