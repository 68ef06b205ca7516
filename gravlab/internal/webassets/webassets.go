// Package webassets builds the lab page's editor and charts from npm packages,
// once, into the user's cache.
//
// The packages are named in gravlab/page/web with their versions and checksums
// (package-lock.json). They are not part of the repository and not needed:
// without npm the page has plain text areas and still figures. What is in the
// cache is served by the page or copied into a report; no page loads anything
// from another host.
package webassets

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"gravity.example/gravlab/page/web"
)

// The files of a finished build.
const (
	Editor = "editor.js"      // an ES module, see gravlab/page/web/editor.js
	Charts = "echarts.min.js" // ECharts, as its package has it
	Axe    = "axe.min.js"     // checks accessibility in the tests
	Terms  = "LICENSES.txt"   // of what is in the bundle
)

// ErrNoNPM says that nothing can be built because npm is not there.
var ErrNoNPM = errors.New("npm is not on the path")

// sources are the files that a build starts from.
var sources = []string{"package.json", "package-lock.json", ".npmrc", "editor.js"}

// Folder is where a build of these sources is, or would be, in the user's
// cache. Another lockfile or another editor.js is another folder.
func Folder() (string, error) {
	base, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("no cache folder: %w: set XDG_CACHE_HOME to a folder that can be written (on Windows LocalAppData, on macOS HOME)", err)
	}
	sum := sha256.New()
	for _, name := range sources {
		text, err := web.Files.ReadFile(name)
		if err != nil {
			return "", err
		}
		fmt.Fprintf(sum, "%s %d\n", name, len(text))
		sum.Write(text)
	}
	return filepath.Join(base, "gravlab", "web", hex.EncodeToString(sum.Sum(nil)[:8])), nil
}

// Ready returns the folder of a finished build; ok is false if there is none.
func Ready() (dir string, ok bool) {
	dir, err := Folder()
	if err != nil {
		return "", false
	}
	// A build is renamed into place, so one of its files stands for all.
	_, err = os.Stat(filepath.Join(dir, Editor))
	return dir, err == nil
}

// ECharts returns the text of ECharts from a finished build, and "" if there is
// none. It never builds anything.
func ECharts() string {
	dir, ok := Ready()
	if !ok {
		return ""
	}
	text, err := os.ReadFile(filepath.Join(dir, Charts))
	if err != nil {
		return ""
	}
	return string(text)
}

// Build returns the folder of a finished build and makes one if there is none.
// It says so through say before it begins, since npm fetches the packages from
// its registry the first time. Without npm the error is ErrNoNPM.
func Build(ctx context.Context, say func(string)) (string, error) {
	dir, err := Folder()
	if err != nil {
		return "", err
	}
	if ready, ok := Ready(); ok {
		return ready, nil
	}
	npm, err := exec.LookPath("npm")
	if err != nil {
		return "", ErrNoNPM
	}
	parent := filepath.Dir(dir)
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return "", fmt.Errorf("the cache folder cannot be made: %w", err)
	}
	removeStale(parent)
	work, err := os.MkdirTemp(parent, "build-*")
	if err != nil {
		return "", fmt.Errorf("the cache folder cannot be written: %w", err)
	}
	defer os.RemoveAll(work)
	say("building the editor and the interactive charts with npm (once, about half a minute)")
	if err := build(ctx, npm, work); err != nil {
		return "", err
	}
	// Another process may have built the same meanwhile: either will do.
	if err := os.Rename(filepath.Join(work, "out"), dir); err != nil {
		if _, ok := Ready(); !ok {
			return "", fmt.Errorf("cannot put the editor into the cache: %w", err)
		}
	}
	return dir, nil
}

// build makes work/out.
func build(ctx context.Context, npm, work string) error {
	for _, name := range sources {
		text, err := web.Files.ReadFile(name)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(work, name), text, 0o644); err != nil {
			return err
		}
	}
	out := filepath.Join(work, "out")
	if err := os.Mkdir(out, 0o755); err != nil {
		return err
	}
	if err := run(ctx, work, npm, "ci", "--ignore-scripts", "--no-audit", "--no-fund"); err != nil {
		return err
	}
	modules := filepath.Join(work, "node_modules")
	esbuild := filepath.Join(modules, ".bin", "esbuild")
	if runtime.GOOS == "windows" {
		esbuild += ".cmd"
	}
	if err := run(ctx, work, esbuild, "editor.js", "--bundle", "--minify", "--format=esm", "--target=es2020", "--legal-comments=none", "--outfile="+filepath.Join(out, Editor)); err != nil {
		return err
	}
	for to, from := range map[string]string{Charts: "echarts/dist/echarts.min.js", Axe: "axe-core/axe.min.js"} {
		text, err := os.ReadFile(filepath.Join(modules, filepath.FromSlash(from)))
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(out, to), text, 0o644); err != nil {
			return err
		}
	}
	return licences(modules, filepath.Join(out, Terms))
}

// licences puts the licence texts of all packages into one file.
func licences(modules, to string) error {
	var all bytes.Buffer
	err := filepath.WalkDir(modules, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		if name := strings.ToUpper(d.Name()); strings.HasPrefix(name, "LICEN") || strings.HasPrefix(name, "NOTICE") {
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			rel, _ := filepath.Rel(modules, path)
			fmt.Fprintf(&all, "==== %s\n\n%s\n\n", filepath.ToSlash(rel), text)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return os.WriteFile(to, all.Bytes(), 0o644)
}

// run runs a program in dir; its first words are the error.
func run(ctx context.Context, dir, program string, args ...string) error {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, program, args...)
	cmd.Dir = dir
	cmd.WaitDelay = 5 * time.Second
	text, err := cmd.CombinedOutput()
	if err == nil {
		return nil
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	return fmt.Errorf("%s: %w: %s", filepath.Base(program), err, strings.Join(lines[:min(3, len(lines))], "; "))
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
