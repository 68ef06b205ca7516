package sandbox

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"time"

	"gravity.example/gravlab/internal/modules"
)

// module is the path of ours.
const module = "gravity.example"

// allowed lists the packages that cells may import. What is not here cannot be compiled
// against, whatever a cell says: the compiler is told of these files alone. The list leaves
// out what reaches the machine (os/exec, net, syscall, plugin), what undoes types (unsafe),
// and what has no use in a lab and makes programs long. Package os is here for os.Args,
// os.Exit and os.Stderr: there are no files to open.
var allowed = []string{
	"bufio", "bytes", "cmp", "container/heap", "container/list", "container/ring", "context",
	"crypto/rand", "encoding/base64", "encoding/binary", "encoding/csv", "encoding/hex", "encoding/json",
	"errors", "flag", "fmt", "hash/crc32", "hash/fnv", "image", "image/color", "image/png", "io", "iter", "log",
	"maps", "math", "math/big", "math/bits", "math/cmplx", "math/rand", "math/rand/v2", "os", "path",
	"reflect", "regexp", "runtime", "slices", "sort", "strconv", "strings", "sync", "sync/atomic",
	"text/tabwriter", "text/template", "time", "unicode", "unicode/utf8",

	"gonum.org/v1/gonum/diff/fd", "gonum.org/v1/gonum/dsp/fourier", "gonum.org/v1/gonum/floats",
	"gonum.org/v1/gonum/floats/scalar", "gonum.org/v1/gonum/integrate", "gonum.org/v1/gonum/integrate/quad",
	"gonum.org/v1/gonum/interp", "gonum.org/v1/gonum/mat", "gonum.org/v1/gonum/optimize",
	"gonum.org/v1/gonum/spatial/r2", "gonum.org/v1/gonum/spatial/r3", "gonum.org/v1/gonum/stat", "gonum.org/v1/gonum/stat/distuv",

	module + "/gravlab", module + "/gravlab/ask", module + "/gravlab/show", module + "/gravlab/draw/figure",
	module + "/gravlab/quantity", module + "/gravlab/fit", module + "/gravlab/signal", module + "/gravlab/mcmc",
	module + "/gravlab/torsion", module + "/gravlab/torsion/reduction", module + "/gravlab/pendulum",
	module + "/gravlab/buried", module + "/gravlab/equivalence", module + "/gravlab/sensor",
	module + "/gravlab/earth", module + "/gravlab/survey",
}

// prepare compiles the packages for WebAssembly, unless Go's cache has them, copies them
// and writes the two lists of their files. The pool has copies of its own because the cache
// may be cleaned while it works.
func prepare(ctx context.Context, clone, dir string, log func(text string)) (setup, error) {
	var s setup
	if err := modules.Fetch(ctx, clone, log); err != nil {
		return s, err
	}
	program, err := exec.LookPath("go")
	if err != nil {
		return s, err
	}
	run := func(args ...string) *exec.Cmd {
		cmd := exec.CommandContext(ctx, program, args...)
		cmd.Dir = clone
		cmd.Env = append(os.Environ(), "GOOS=wasip1", "GOARCH=wasm", "CGO_ENABLED=0", "GOFLAGS=-buildvcs=false", "GOWORK=off")
		return cmd
	}
	tools, err := run("env", "GOROOT", "GOHOSTOS", "GOHOSTARCH").Output()
	if err != nil {
		return s, fmt.Errorf("`go env` in %s: %w: %s", clone, err, lastWords(err))
	}
	lines := strings.Split(strings.TrimSpace(string(tools)), "\n")
	if len(lines) != 3 {
		return s, fmt.Errorf("`go env` said %q", tools)
	}
	folder := filepath.Join(strings.TrimSpace(lines[0]), "pkg", "tool", strings.TrimSpace(lines[1])+"_"+strings.TrimSpace(lines[2]))
	exe := ""
	if runtime.GOOS == "windows" {
		exe = ".exe"
	}
	s.Compile, s.Link = filepath.Join(folder, "compile"+exe), filepath.Join(folder, "link"+exe)
	for _, tool := range []string{s.Compile, s.Link} {
		if _, err := os.Stat(tool); err != nil {
			return s, fmt.Errorf("this Go has no %s (%w): install Go whole", filepath.Base(tool), err)
		}
	}
	files, err := list(run, log)
	if err != nil {
		if ctx.Err() != nil {
			return s, context.Cause(ctx)
		}
		return s, fmt.Errorf("compiling the packages for WebAssembly in %s: %w", clone, err)
	}
	var some, all bytes.Buffer
	for i, f := range files {
		copied := filepath.Join(dir, fmt.Sprintf("package-%d.a", i))
		if err := copyPackage(f.Export, copied); err != nil {
			return s, err
		}
		f.Export = copied
		fmt.Fprintf(&all, "packagefile %s=%s\n", f.Path, f.Export)
		if slices.Contains(allowed, f.Path) {
			s.Packages = append(s.Packages, f)
			fmt.Fprintf(&some, "packagefile %s=%s\n", f.Path, f.Export)
		}
	}
	for _, path := range allowed {
		if !slices.ContainsFunc(s.Packages, func(p pkg) bool { return p.Path == path }) {
			return s, fmt.Errorf("there is no package %s in %s: the clone is not complete", path, clone)
		}
	}
	s.ImportConfig, s.LinkConfig = filepath.Join(dir, "import.cfg"), filepath.Join(dir, "link.cfg")
	if err := os.WriteFile(s.ImportConfig, some.Bytes(), 0o600); err != nil {
		return s, fileFault(dir, err)
	}
	if err := os.WriteFile(s.LinkConfig, all.Bytes(), 0o600); err != nil {
		return s, fileFault(dir, err)
	}
	return s, nil
}

// cacheName is what Go's build cache calls a file: the SHA-256 of what is in it. Source: Go
// 1.26, cmd/go/internal/cache.
var cacheName = regexp.MustCompile(`^([0-9a-f]{64})-d$`)

// copyPackage copies a compiled package. A copy that is not what its name in the cache says
// is an error.
func copyPackage(from, to string) error {
	text, err := os.ReadFile(from)
	if err != nil {
		return &Fault{What: fmt.Sprintf("Go's build cache has lost a file while it was read (%v)", err), Do: "try again, and do not clean the cache meanwhile"}
	}
	sum := sha256.Sum256(text)
	if m := cacheName.FindStringSubmatch(filepath.Base(from)); m != nil && m[1] != hex.EncodeToString(sum[:]) {
		return &Fault{What: "a file of Go's build cache is damaged: " + from, Do: "empty the cache with `go clean -cache`, then try again"}
	}
	if err := os.WriteFile(to, text, 0o600); err != nil {
		return fileFault(filepath.Dir(to), err)
	}
	return nil
}

// list has Go compile the packages and names their files.
func list(run func(...string) *exec.Cmd, log func(text string)) ([]pkg, error) {
	// go list says nothing while it compiles, so go build goes first, if it
	// takes long: it names each package that the cache does not have.
	build := run(append([]string{"build", "-v"}, allowed...)...)
	words, err := build.StderrPipe()
	if err != nil {
		return nil, err
	}
	if err := build.Start(); err != nil {
		return nil, err
	}
	begun := time.Now()
	said := &tail{}
	n := 0
	for lines := bufio.NewScanner(io.TeeReader(words, said)); lines.Scan(); {
		if n++; n%10 == 1 && time.Since(begun) > time.Second {
			log(fmt.Sprintf("compiling the packages for confined runs (once): %d done, now %s", n, lines.Text()))
		}
	}
	if err := build.Wait(); err != nil {
		return nil, fmt.Errorf("%w; the last lines were:\n%s", err, said)
	}
	out, err := run(append([]string{"list", "-export", "-deps", "-json=ImportPath,Name,Export"}, allowed...)...).Output()
	if err != nil {
		return nil, fmt.Errorf("%w: %s", err, lastWords(err))
	}
	var files []pkg
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p struct{ ImportPath, Name, Export string }
		if err := dec.Decode(&p); err == io.EOF {
			return files, nil
		} else if err != nil {
			return nil, err
		}
		if p.Export != "" {
			files = append(files, pkg{p.ImportPath, p.Name, p.Export})
		}
	}
}

func lastWords(err error) string {
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return strings.TrimSpace(string(exit.Stderr))
	}
	return ""
}
