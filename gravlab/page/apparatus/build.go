package apparatus

import (
	"context"
	_ "embed"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"

	"gravity.example/gravlab/internal/atomicfile"
)

// Script is the ES module that shows a scene: mount(element, lab, base) where
// base is the path under which ExecFile and WasmFile are served.
//
//go:embed apparatus.js
var Script []byte

// WindowScript is the script of a fit that one can touch.
//
//go:embed window.js
var WindowScript []byte

// Style is its style sheet.
//
//go:embed apparatus.css
var Style []byte

// The files that Build makes.
const (
	WasmFile = "apparatus.wasm"
	ExecFile = "wasm_exec.js"
)

// Build compiles the apparatus for the browser into dir, with the Go program and
// the clone of this module at hand; it takes some seconds the first time. ExecFile,
// which starts Go's programs in a browser, comes from the same Go.
func Build(ctx context.Context, clone, dir string) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	root, err := exec.CommandContext(ctx, "go", "env", "GOROOT").Output()
	if err != nil {
		return fmt.Errorf("asking for the folder of Go: %w", err)
	}
	starter, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(root)), "lib", "wasm", ExecFile))
	if err != nil {
		return fmt.Errorf("this Go has no %s: %w", ExecFile, err)
	}
	temp := filepath.Join(dir, fmt.Sprintf(".%s-%d", WasmFile, os.Getpid()))
	defer os.Remove(temp)
	cmd := exec.CommandContext(ctx, "go", "build", "-trimpath", "-ldflags=-s -w", "-o", temp, "./gravlab/page/apparatus/wasm")
	cmd.Dir = clone
	cmd.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm", "GOWORK=off", "GOFLAGS=")
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("building the apparatus: %w\n%s", err, out)
	}
	if err := atomicfile.WriteFile(filepath.Join(dir, ExecFile), starter, 0o644); err != nil {
		return err
	}
	if runtime.GOOS == "windows" {
		os.Remove(filepath.Join(dir, WasmFile)) // a rename does not replace there
	}
	return os.Rename(temp, filepath.Join(dir, WasmFile))
}
