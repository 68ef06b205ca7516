package kernel

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"golang.org/x/mod/modfile"

	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/modules"
	"gravity.example/gravlab/internal/usercache"
)

const (
	gonbPackage      = "github.com/janpfeifer/gonb"
	goimportsPackage = "golang.org/x/tools/cmd/goimports"
	toolsModule      = "golang.org/x/tools"
	goplsPackage     = "golang.org/x/tools/gopls"
	// goplsVersion is not in go.mod: completion is a convenience, and its
	// requirements would be everyone's.
	goplsVersion = "v0.23.0"
)

// A toolchain is what cells are compiled and run with.
type toolchain struct {
	gonb      string // absolute path of the program
	dir       string // folder of gonb and goimports
	goroot    string // of the Go that the clone asks for
	goVersion string
}

// Prepare fetches and builds what kernels need, so that the first cell does not
// wait for it. Nothing happens if all is there.
func Prepare(ctx context.Context, clone string, log func(text string)) error {
	_, err := tools(ctx, clone, log)
	return err
}

// tools returns the programs that a kernel needs, and builds those that are not
// in the user's cache yet. One folder holds one combination of versions, so a
// change of go.mod or of Go builds anew and nothing is ever overwritten. The modules
// that cells may import are there when it returns.
func tools(ctx context.Context, clone string, log func(text string)) (toolchain, error) {
	if !supported {
		return toolchain{}, errNotHere
	}
	clone, err := checkClone(clone)
	if err != nil {
		return toolchain{}, err
	}
	t, err := goTool(ctx, clone)
	if err != nil {
		return toolchain{}, err
	}
	versions, err := pinned(clone)
	if err != nil {
		return toolchain{}, err
	}
	if err := modules.Fetch(ctx, clone, log); err != nil {
		return toolchain{}, err
	}
	key := fmt.Sprintf("gonb-%s_goimports-%s_%s_%s_%s", versions[gonbPackage], versions[toolsModule], t.goVersion, runtime.GOOS, runtime.GOARCH)
	// Only a cache that lacks the tools has to be writable.
	if base, err := os.UserCacheDir(); err == nil {
		t.dir = filepath.Join(base, "gravlab", "tools", key)
		t.gonb = filepath.Join(t.dir, "gonb")
		if isProgram(t.gonb) && isProgram(filepath.Join(t.dir, "goimports")) {
			return t, nil
		}
	}
	parent, err := usercache.Dir("tools")
	if err != nil {
		return toolchain{}, err
	}
	removeStale(parent)
	report(log, "building the Go kernel "+versions[gonbPackage]+" (once, a minute or less)")
	work, err := os.MkdirTemp(parent, "build-*")
	if err != nil {
		return toolchain{}, err
	}
	defer os.RemoveAll(work)
	if err := build(ctx, t, clone, work, log); err != nil {
		return toolchain{}, err
	}
	// Another process may have built the same meanwhile: either will do.
	if err := os.Rename(work, t.dir); err != nil && !isProgram(t.gonb) {
		return toolchain{}, fmt.Errorf("cannot put the Go kernel into the cache: %w", err)
	}
	return t, os.Chmod(t.dir, 0o755)
}

// removeStale removes what builds that were killed have left.
func removeStale(parent string) {
	dirs, _ := filepath.Glob(filepath.Join(parent, "build-*"))
	for _, dir := range dirs {
		if info, err := os.Stat(dir); err == nil && time.Since(info.ModTime()) > time.Hour {
			os.RemoveAll(dir)
		}
	}
}

// goTool finds the Go that the clone's go.mod asks for. Cells are compiled by
// that one, found by path, so that no other Go is ever fetched for them.
func goTool(ctx context.Context, clone string) (toolchain, error) {
	program, err := exec.LookPath("go")
	if err != nil {
		return toolchain{}, fmt.Errorf("there is no Go on the PATH (%w): install Go 1.26 or later, or put the folder that holds the go program on the PATH", err)
	}
	cmd := exec.CommandContext(ctx, program, "env", "GOROOT", "GOVERSION")
	cmd.Dir = clone
	cmd.Env = without(os.Environ(), "GOFLAGS", "GOWORK", "GOOS", "GOARCH")
	out, err := cmd.Output()
	if err != nil {
		return toolchain{}, fmt.Errorf("`go env` in %s: %w: %s", clone, err, stderrOf(err))
	}
	goroot, version, _ := strings.Cut(strings.TrimSpace(string(out)), "\n")
	return toolchain{goroot: strings.TrimSpace(goroot), goVersion: strings.TrimSpace(version)}, nil
}

// pinned returns the versions that go.mod requires.
func pinned(clone string) (map[string]string, error) {
	name := filepath.Join(clone, "go.mod")
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	mod, err := modfile.ParseLax(name, text, nil)
	if err != nil {
		return nil, err
	}
	versions := map[string]string{}
	for _, r := range mod.Require {
		versions[r.Mod.Path] = r.Mod.Version
	}
	for _, path := range []string{gonbPackage, toolsModule} {
		if versions[path] == "" {
			return nil, fmt.Errorf("%s does not require %s: the clone is not complete", name, path)
		}
	}
	return versions, nil
}

func build(ctx context.Context, t toolchain, clone, dir string, log func(text string)) error {
	cmd := exec.CommandContext(ctx, filepath.Join(t.goroot, "bin", "go"), "build", "-v", "-buildvcs=false", "-ldflags=-s -w", "-o", dir+string(filepath.Separator), gonbPackage, goimportsPackage)
	cmd.Dir = clone
	cmd.Env = append(without(os.Environ(), "GOFLAGS", "GOWORK", "GOOS", "GOARCH"), "GOWORK=off")
	pipe, err := cmd.StderrPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	var said bytes.Buffer
	lines := bufio.NewScanner(pipe)
	for n := 1; lines.Scan(); n++ {
		said.WriteString(lines.Text() + "\n")
		if n%10 == 0 {
			report(log, fmt.Sprintf("building the Go kernel: %d packages", n))
		}
	}
	if err := cmd.Wait(); err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return fmt.Errorf("the Go kernel does not build (%w); the last lines were:\n%s", err, lastLines(said.String(), 8))
	}
	return nil
}

// InstallGopls builds gopls, which completes and explains code in a front end,
// into the user's cache. It needs the network unless the module is already
// downloaded, and so happens only on request.
func InstallGopls(ctx context.Context, log func(text string)) (string, error) {
	dir, err := usercache.Dir("gopls-" + goplsVersion)
	if err != nil {
		return "", err
	}
	program := filepath.Join(dir, "gopls")
	if isProgram(program) {
		return program, nil
	}
	goProgram, err := exec.LookPath("go")
	if err != nil {
		return "", fmt.Errorf("there is no Go on the PATH (%w)", err)
	}
	report(log, "building gopls "+goplsVersion+" (once, a minute or less)")
	cmd := exec.CommandContext(ctx, goProgram, "install", goplsPackage+"@"+goplsVersion)
	cmd.Env = append(without(os.Environ(), "GOFLAGS", "GOBIN", "GOWORK", "GOOS", "GOARCH"), "GOBIN="+dir, "GOWORK=off")
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("gopls does not build (%w): the kernel works without it, completion does not; the last lines were:\n%s", err, lastLines(string(out), 8))
	}
	return program, nil
}

// goplsDir returns the folder of gopls: the user's own or the cache's, or "".
func goplsDir() string {
	if program, err := exec.LookPath("gopls"); err == nil {
		return filepath.Dir(program)
	}
	base, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	dir := filepath.Join(base, "gravlab", "gopls-"+goplsVersion)
	if isProgram(filepath.Join(dir, "gopls")) {
		return dir
	}
	return ""
}

// muteGopls returns a folder whose gopls does nothing. On the PATH before all
// others it keeps GoNB from starting the real one: nobody completes code in a
// run without a front end, and gopls slows its cells.
func muteGopls() (string, error) {
	if base, err := os.UserCacheDir(); err == nil {
		dir := filepath.Join(base, "gravlab", "no-completion")
		if isProgram(filepath.Join(dir, "gopls")) {
			return dir, nil
		}
	}
	dir, err := usercache.Dir("no-completion")
	if err != nil {
		return "", err
	}
	program := filepath.Join(dir, "gopls")
	return dir, atomicfile.WriteFile(program, []byte("#!/bin/sh\nexit 0\n"), 0o755)
}

func isProgram(name string) bool {
	info, err := os.Stat(name)
	return err == nil && info.Mode().IsRegular() && info.Mode()&0o111 != 0
}

// without returns the environment less the named variables. A name that ends
// in * stands for all that begin so.
func without(env []string, names ...string) []string {
	var kept []string
	for _, entry := range env {
		name, _, _ := strings.Cut(entry, "=")
		drop := false
		for _, n := range names {
			if prefix, all := strings.CutSuffix(n, "*"); n == name || all && strings.HasPrefix(name, prefix) {
				drop = true
			}
		}
		if !drop {
			kept = append(kept, entry)
		}
	}
	return kept
}

func report(log func(text string), text string) {
	if log != nil {
		log(text)
	}
}

func lastLines(text string, n int) string {
	lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
	if len(lines) > n {
		lines = lines[len(lines)-n:]
	}
	return strings.Join(lines, "\n")
}

func stderrOf(err error) string {
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return lastLines(string(exit.Stderr), 5)
	}
	return ""
}
