package kernel

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestSignature compares with a value from another implementation: Python 3.11
// hmac.new(b"key", b"{}" * 4, hashlib.sha256).hexdigest().
func TestSignature(t *testing.T) {
	empty := []byte("{}")
	got := string(sign("key", [][]byte{empty, empty, empty, empty}))
	if want := "ca767b02c5bc061ed184a9a029e7f93a7f2f7ed4e8fe74120fc1212f0b008fa3"; got != want {
		t.Errorf("signature %s, want %s", got, want)
	}
	if got := sign("", [][]byte{empty}); len(got) != 0 {
		t.Errorf("without a key the signature is %q, want none", got)
	}
}

func TestEncodeDecode(t *testing.T) {
	h := newHeader("session", "execute_request")
	frames, err := encode("key", h, map[string]any{"code": "α"})
	if err != nil {
		t.Fatal(err)
	}
	// A kernel puts identities or a topic before the delimiter, and may put
	// buffers behind the content.
	frames = append(append([][]byte{[]byte("topic")}, frames...), []byte("buffer"))
	m, err := decode("key", frames)
	if err != nil {
		t.Fatal(err)
	}
	if m.header != h || string(m.content) != `{"code":"α"}` {
		t.Errorf("decoded %+v %s", m.header, m.content)
	}
	for name, spoil := range map[string]func([][]byte) [][]byte{
		"another key":  func(f [][]byte) [][]byte { f[2] = sign("other", f[3:7]); return f },
		"no signature": func(f [][]byte) [][]byte { f[2] = nil; return f },
		"content":      func(f [][]byte) [][]byte { f[6] = []byte(`{"code":"β"}`); return f },
		"no delimiter": func(f [][]byte) [][]byte { f[1] = []byte("x"); return f },
		"cut off":      func(f [][]byte) [][]byte { return f[:6] },
		"nothing":      func(f [][]byte) [][]byte { return nil },
	} {
		var copied [][]byte
		for _, f := range frames {
			copied = append(copied, bytes.Clone(f))
		}
		if _, err := decode("key", spoil(copied)); err == nil {
			t.Errorf("%s: a spoilt message is taken for good", name)
		}
	}
}

func TestConnection(t *testing.T) {
	c, err := newConnection("x")
	if err != nil {
		t.Fatal(err)
	}
	ports := map[int]bool{c.ShellPort: true, c.IOPubPort: true, c.StdinPort: true, c.ControlPort: true, c.HeartbeatPort: true}
	if len(ports) != 5 || ports[0] {
		t.Errorf("the five ports are %v", ports)
	}
	name, err := c.write(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(name); err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Errorf("the file with the key can be read by others: %v %v", info.Mode(), err)
	}
	if back, err := readConnection(name); err != nil || back != c {
		t.Errorf("read back %+v (%v), want %+v", back, err, c)
	}
	for text, want := range map[string]string{
		"{":                       "connection file",
		`{"transport": "pigeon"}`: "pigeon",
		`{"transport": "tcp"}`:    "port is missing",
		strings.Replace(`{"transport":"tcp","shell_port":1,"iopub_port":1,"stdin_port":1,"control_port":1,"hb_port":1,"signature_scheme":"S"}`, "S", "rot13", 1): "rot13",
	} {
		name := filepath.Join(t.TempDir(), "kernel-1.json")
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := readConnection(name); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error %v, want %q in it", text, err, want)
		}
	}
}
