package labserver

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/imports/wasi_snapshot_preview1"
)

// A cell compiled to WebAssembly reaches a session through the two host
// functions, and gives the same answer as a native one.
func TestConfinedCell(t *testing.T) {
	if testing.Short() {
		t.Skip("compiling for wasip1 takes some seconds the first time")
	}
	path := filepath.Join(t.TempDir(), "cell.wasm")
	build := exec.Command("go", "build", "-ldflags=-s", "-o", path, "./testdata/cell")
	build.Env = append(os.Environ(), "GOOS=wasip1", "GOARCH=wasm")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	code, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args     []string
		outcome  string
		displays int
		printed  string
	}{
		{[]string{"function"}, "right", 1, ""},
		{[]string{"panics"}, "unreadable", 1, ""},
		{[]string{"number", "fall-time", "NaN", "s"}, "unreadable", 1, ""},
		{[]string{"figure"}, "", 1, ""},
		{[]string{"record", "swng"}, "", 0, "its recordings are"},
		{[]string{"exits"}, "", 1, ""},
	} {
		d := newDesk(t, Options{InMemory: true}, SessionOptions{Confined: true})
		printed := runConfined(t, code, d.Session, c.args...)
		if len(d.shown) != c.displays || !strings.Contains(printed, c.printed) || c.printed == "" && printed != "" {
			t.Errorf("%v: %d displays, printed %q", c.args, len(d.shown), printed)
			continue
		}
		if c.outcome != "" && d.last(t)["outcome"] != c.outcome {
			t.Errorf("%v: %v, want %s", c.args, d.last(t), c.outcome)
		}
	}
}

// runConfined runs a program in the interpreter and returns what it printed.
func runConfined(t *testing.T, code []byte, s *Session, args ...string) string {
	t.Helper()
	ctx := context.Background()
	r := wazero.NewRuntimeWithConfig(ctx, wazero.NewRuntimeConfigInterpreter())
	defer r.Close(ctx)
	wasi_snapshot_preview1.MustInstantiate(ctx, r)
	var reply []byte
	_, err := r.NewHostModuleBuilder("gravlab").
		NewFunctionBuilder().WithFunc(func(_ context.Context, m api.Module, p, n uint32) uint32 {
		in, ok := m.Memory().Read(p, n)
		if !ok {
			return 0
		}
		reply = s.Exchange(bytes.Clone(in))
		return uint32(len(reply))
	}).Export("exchange").
		NewFunctionBuilder().WithFunc(func(_ context.Context, m api.Module, p, n uint32) uint32 {
		if int(n) > len(reply) || !m.Memory().Write(p, reply[:n]) {
			return 0
		}
		return n
	}).Export("take").
		Instantiate(ctx)
	if err != nil {
		t.Fatal(err)
	}
	var printed bytes.Buffer
	config := wazero.NewModuleConfig().WithArgs(append([]string{"cell"}, args...)...).WithStdout(&printed).WithStderr(&printed)
	_, err = r.InstantiateWithConfig(ctx, code, config)
	if err != nil && !strings.Contains(err.Error(), "exit_code") {
		t.Fatal(err)
	}
	return printed.String()
}
