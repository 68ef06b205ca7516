package kernel

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"

	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/usercache"
)

// A kernelSpec is a kernelspec: how a front end starts a kernel.
type kernelSpec struct {
	Name string `json:"-"`
	Dir  string `json:"-"` // the folder that holds kernel.json

	Argv          []string          `json:"argv"`
	DisplayName   string            `json:"display_name"`
	Language      string            `json:"language"`
	InterruptMode string            `json:"interrupt_mode,omitempty"` // signal (the default) or message
	Env           map[string]string `json:"env,omitempty"`
	Metadata      map[string]any    `json:"metadata,omitempty"`
}

const specFile = "kernel.json"

var specName = regexp.MustCompile(`^[A-Za-z0-9._-]+$`)

// findSpec finds an installed kernelspec as Jupyter does: by its name in lower
// case, first match along JUPYTER_PATH, the user's data folder, the
// environment's and the system's.
func findSpec(name string) (kernelSpec, error) {
	if !specName.MatchString(name) {
		return kernelSpec{}, fmt.Errorf("kernel name %q: allowed are letters, digits, dot, dash and underscore", name)
	}
	var names []string
	for _, dir := range dataPath() {
		entries, err := os.ReadDir(filepath.Join(dir, "kernels"))
		if err != nil {
			continue
		}
		for _, e := range entries {
			at := filepath.Join(dir, "kernels", e.Name())
			if _, err := os.Stat(filepath.Join(at, specFile)); err != nil {
				continue
			}
			if strings.EqualFold(e.Name(), name) {
				return readSpec(at)
			}
			names = append(names, strings.ToLower(e.Name()))
		}
	}
	slices.Sort(names)
	names = slices.Compact(names)
	have := "there is none"
	if len(names) > 0 {
		have = "there are " + strings.Join(names, ", ")
	}
	return kernelSpec{}, fmt.Errorf("no kernel %q is installed; besides %s, which needs no installation, %s", name, Name, have)
}

func readSpec(dir string) (kernelSpec, error) {
	s := kernelSpec{Name: strings.ToLower(filepath.Base(dir)), Dir: dir}
	file := filepath.Join(dir, specFile)
	data, err := os.ReadFile(file)
	if err != nil {
		return s, err
	}
	if err := json.Unmarshal(data, &s); err != nil {
		return s, fmt.Errorf("%s: %w", file, err)
	}
	if len(s.Argv) == 0 {
		return s, fmt.Errorf("%s: argv is empty", file)
	}
	return s, nil
}

// command returns the program and arguments that start the kernel.
func (s kernelSpec) command(connectionFile string) []string {
	replace := strings.NewReplacer("{connection_file}", connectionFile, "{resource_dir}", s.Dir, "{prefix}", prefixOf(s.Dir))
	argv := make([]string, len(s.Argv))
	for i, a := range s.Argv {
		argv[i] = replace.Replace(a)
	}
	return argv
}

// prefixOf is the installation prefix of PREFIX/share/jupyter/kernels/NAME.
func prefixOf(dir string) string {
	up := filepath.Dir(filepath.Dir(filepath.Dir(filepath.Dir(dir))))
	return up
}

// dataPath lists Jupyter's data folders in the order of search.
func dataPath() []string {
	var dirs []string
	add := func(dir string) {
		if dir != "" && !slices.Contains(dirs, dir) {
			dirs = append(dirs, dir)
		}
	}
	for _, dir := range filepath.SplitList(os.Getenv("JUPYTER_PATH")) {
		add(dir)
	}
	user, _ := userData()
	var environment string
	for _, name := range []string{"VIRTUAL_ENV", "CONDA_PREFIX"} {
		if dir := os.Getenv(name); dir != "" && environment == "" {
			environment = filepath.Join(dir, "share", "jupyter")
		}
	}
	if prefer := strings.ToLower(os.Getenv("JUPYTER_PREFER_ENV_PATH")); prefer != "" && !slices.Contains([]string{"no", "n", "false", "off", "0", "0.0"}, prefer) {
		add(environment)
		add(user)
	} else {
		add(user)
		add(environment)
	}
	if runtime.GOOS == "windows" {
		if dir := os.Getenv("PROGRAMDATA"); dir != "" {
			add(filepath.Join(dir, "jupyter"))
		}
	} else {
		add("/usr/local/share/jupyter")
		add("/usr/share/jupyter")
	}
	return dirs
}

// userData is Jupyter's data folder of the user.
func userData() (string, error) {
	if dir := os.Getenv("JUPYTER_DATA_DIR"); dir != "" {
		return dir, nil
	}
	switch runtime.GOOS {
	case "windows":
		if dir := os.Getenv("APPDATA"); dir != "" {
			return filepath.Join(dir, "jupyter"), nil
		}
		return "", errors.New("APPDATA is not set")
	case "darwin":
		home, err := os.UserHomeDir()
		return filepath.Join(home, "Library", "Jupyter"), err
	}
	if dir := os.Getenv("XDG_DATA_HOME"); dir != "" {
		return filepath.Join(dir, "jupyter"), nil
	}
	home, err := os.UserHomeDir()
	return filepath.Join(home, ".local", "share", "jupyter"), err
}

// SpecDir is the folder of our kernelspec: PREFIX/share/jupyter/kernels/gravlab,
// or without a prefix kernels/gravlab in the user's Jupyter data folder.
func SpecDir(prefix string) (string, error) {
	data := filepath.Join(prefix, "share", "jupyter")
	if prefix == "" {
		var err error
		if data, err = userData(); err != nil {
			return "", fmt.Errorf("no Jupyter data folder: %w: set JUPYTER_DATA_DIR", err)
		}
	}
	return filepath.Abs(filepath.Join(data, "kernels", Name))
}

// InstallOptions says how our kernel is installed. The zero value is good.
type InstallOptions struct {
	Prefix  string            // see SpecDir
	Clone   string            // folder of the module; empty: FindClone
	Program string            // the program that serves the kernel; empty: this one
	Log     func(text string) // told what takes long; may be nil
}

// Install makes our kernel known to Jupyter and returns the folder of its
// kernelspec. It builds what the kernel needs and copies the program into the
// user's cache, since `go run` deletes its own. Doing it again is harmless, and
// the cure when the clone has moved.
func Install(ctx context.Context, o InstallOptions) (string, error) {
	if !supported {
		return "", errNotHere
	}
	var err error
	if o.Clone == "" {
		if o.Clone, err = FindClone(o.Log); err != nil {
			return "", err
		}
	}
	clone, err := checkClone(o.Clone)
	if err != nil {
		return "", err
	}
	if _, err := tools(ctx, clone, o.Log); err != nil {
		return "", err
	}
	if o.Program == "" {
		if o.Program, err = os.Executable(); err != nil {
			return "", err
		}
	}
	program, err := keepProgram(o.Program)
	if err != nil {
		return "", err
	}
	dir, err := SpecDir(o.Prefix)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", fmt.Errorf("the kernelspec cannot be written: %w: give --prefix or JUPYTER_DATA_DIR a folder that can be", err)
	}
	spec := kernelSpec{
		Argv:        []string{program, "kernel", "serve", "{connection_file}"},
		DisplayName: "Go (gravlab)", Language: "go",
		// With "message" the interrupt would go past the supervisor, to GoNB,
		// which loses it while a cell is compiled.
		InterruptMode: "signal",
		Env:           map[string]string{CloneEnv: clone},
	}
	data, err := json.MarshalIndent(spec, "", " ")
	if err != nil {
		return "", err
	}
	if err := atomicfile.WriteFile(filepath.Join(dir, specFile), append(data, '\n'), 0o644); err != nil {
		return "", err
	}
	return dir, nil
}

// keepProgram copies a program into the cache. A kernel that runs goes on with
// the file it was started from, since the copy is a new one.
func keepProgram(from string) (string, error) {
	dir, err := usercache.Dir("bin")
	if err != nil {
		return "", err
	}
	to := filepath.Join(dir, Name)
	if same(from, to) {
		return to, nil
	}
	in, err := os.Open(from)
	if err != nil {
		return "", err
	}
	defer in.Close()
	return to, atomicfile.Write(to, 0o755, func(w io.Writer) error {
		_, err := io.Copy(w, in)
		return err
	})
}

func same(a, b string) bool {
	x, err1 := os.Stat(a)
	y, err2 := os.Stat(b)
	return err1 == nil && err2 == nil && os.SameFile(x, y)
}

// Remove takes our kernelspec away and reports whether there was one. The cache
// stays: other installations may use it.
func Remove(prefix string) (dir string, was bool, err error) {
	dir, err = SpecDir(prefix)
	if err != nil {
		return "", false, err
	}
	if _, err := os.Stat(filepath.Join(dir, specFile)); err != nil {
		return dir, false, nil
	}
	return dir, true, os.RemoveAll(dir)
}
