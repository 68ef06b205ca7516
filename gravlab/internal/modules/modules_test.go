package modules_test

import (
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gravity.example/gravlab/internal/modules"
)

// emptyCache gives the test a module cache without a module, and the one that
// there was as the place to fetch from.
func emptyCache(t *testing.T) (clone string) {
	t.Helper()
	clone, err := filepath.Abs("../../..")
	if err != nil {
		t.Fatal(err)
	}
	// What is not there of the real one would be missed below.
	if err := modules.Fetch(t.Context(), clone, func(what string) { t.Log(what) }); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("go", "env", "GOMODCACHE").Output()
	if err != nil {
		t.Fatal(err)
	}
	real := filepath.ToSlash(strings.TrimSpace(string(out)))
	if !strings.HasPrefix(real, "/") {
		real = "/" + real
	}
	t.Setenv("GOMODCACHE", t.TempDir())
	t.Setenv("GOFLAGS", "-modcacherw") // so that the test can remove it
	t.Setenv("GOPROXY", "file://"+real+"/cache/download")
	return clone
}

// TestFetch fetches into an empty cache, and then everything that a cell may
// import is there, in a workspace like that of the kernel.
func TestFetch(t *testing.T) {
	clone := emptyCache(t)
	workspace := t.TempDir()
	run := func(args ...string) error {
		cmd := exec.Command("go", args...)
		cmd.Dir = workspace
		cmd.Env = append(os.Environ(), "GOPROXY=off", "GOFLAGS=", "GOWORK=")
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Logf("go %s: %s", strings.Join(args, " "), out)
		}
		return err
	}
	for _, args := range [][]string{{"mod", "init", "cells"}, {"work", "init"}, {"work", "use", ".", clone}} {
		if err := run(args...); err != nil {
			t.Fatal(err)
		}
	}
	list := append([]string{"list", "-deps", "-f", "", "gravity.example/gravlab/..."}, cellImports(t, clone)...)
	if run(list...) == nil {
		t.Fatal("the cache is not empty: nothing is tested")
	}
	var said []string
	if err := modules.Fetch(t.Context(), clone, func(what string) { said = append(said, what) }); err != nil {
		t.Fatal(err)
	}
	if len(said) == 0 || !strings.Contains(said[0], "once") {
		t.Errorf("before it fetched it said %q", said)
	}
	if err := run(list...); err != nil {
		t.Errorf("after that a cell still lacks something: %v", err)
	}
	if err := modules.Fetch(t.Context(), clone, func(what string) { t.Errorf("with all modules there it said %q", what) }); err != nil {
		t.Error(err)
	}
}

// TestMissing: what cannot be fetched is told in words, once.
func TestMissing(t *testing.T) {
	clone := emptyCache(t)
	t.Setenv("GOPROXY", "off")
	said := 0
	err := modules.Fetch(t.Context(), clone, func(string) { said++ })
	if _, ok := err.(*modules.MissingError); !ok || !strings.Contains(err.Error(), "connect it to the network") || strings.Count(err.Error(), "GOPROXY=off") != 1 {
		t.Errorf("the error is %v", err)
	}
	if said != 1 {
		t.Errorf("it said %d things before, want 1", said)
	}
}

// cellImports are the packages that gravlab/kernel/imports.go names.
func cellImports(t *testing.T, clone string) []string {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(clone, "gravlab", "kernel", "imports.go"), nil, parser.ImportsOnly)
	if err != nil {
		t.Fatal(err)
	}
	var paths []string
	for _, spec := range file.Imports {
		path, _ := strconv.Unquote(spec.Path.Value)
		paths = append(paths, path)
	}
	if len(paths) < 4 {
		t.Fatalf("only %q", paths)
	}
	return paths
}
