package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// The scripts run this test's own binary as gravlab.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"gravlab": main})
}

// TestScripts runs every script of testdata/script in a folder of its own, with
// the clone in $CLONE and the caches of the user who runs the tests, so that the
// kernel is not built again for each.
func TestScripts(t *testing.T) {
	clone, err := filepath.Abs("../../..")
	if err != nil {
		t.Fatal(err)
	}
	home, cache := os.Getenv("HOME"), os.Getenv("XDG_CACHE_HOME")
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("CLONE", clone)
			env.Setenv("HOME", home)
			env.Setenv("XDG_CACHE_HOME", cache)
			for _, name := range []string{"GOMODCACHE", "GOCACHE", "GOPATH", "GOPROXY"} {
				if value := os.Getenv(name); value != "" {
					env.Setenv(name, value)
				}
			}
			env.Setenv("GRAVLAB_DATA", filepath.Join(env.WorkDir, "data"))
			env.Setenv("JUPYTER_DATA_DIR", filepath.Join(env.WorkDir, "jupyter"))
			return nil
		},
	})
}
