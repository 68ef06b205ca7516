//go:build unix

package kernel

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestInstall(t *testing.T) {
	needGoNB(t)
	ownCache(t)
	data := t.TempDir()
	t.Setenv("JUPYTER_DATA_DIR", data)
	t.Setenv("JUPYTER_PATH", "")
	program := filepath.Join(t.TempDir(), "program")
	if err := os.WriteFile(program, []byte("#!/bin/sh\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	prefix := t.TempDir()
	for _, c := range []struct{ prefix, want string }{
		{"", filepath.Join(data, "kernels", "gravlab")},
		{prefix, filepath.Join(prefix, "share", "jupyter", "kernels", "gravlab")},
	} {
		if dir, was, err := Remove(c.prefix); err != nil || was || dir != c.want {
			t.Errorf("removing what is not there: %s %v %v, want %s", dir, was, err, c.want)
		}
		var texts []string
		for range 2 {
			dir, err := Install(t.Context(), InstallOptions{Prefix: c.prefix, Program: program})
			if err != nil {
				t.Fatal(err)
			}
			if dir != c.want {
				t.Errorf("installed in %s, want %s", dir, c.want)
			}
			entries, _ := os.ReadDir(dir)
			if len(entries) != 1 {
				t.Errorf("the folder holds %v, want %s alone", entries, specFile)
			}
			text, err := os.ReadFile(filepath.Join(dir, specFile))
			if err != nil {
				t.Fatal(err)
			}
			texts = append(texts, string(text))
		}
		if texts[0] != texts[1] {
			t.Errorf("the second installation differs:\n%s\n%s", texts[0], texts[1])
		}
		spec, err := readSpec(c.want)
		if err != nil {
			t.Fatal(err)
		}
		clone, _ := FindClone(nil)
		kept := spec.Argv[0]
		if !strings.HasPrefix(kept, os.Getenv("XDG_CACHE_HOME")) || !isProgram(kept) {
			t.Errorf("the spec starts %s, want a copy in the cache", kept)
		}
		if !slices.Equal(spec.Argv[1:], []string{"kernel", "serve", "{connection_file}"}) || spec.InterruptMode != "signal" || spec.Env[CloneEnv] != clone {
			t.Errorf("spec %+v", spec)
		}
		if c.prefix == "" {
			found, err := findSpec("GravLab")
			if err != nil || found.Dir != c.want {
				t.Errorf("found %s (%v), want %s", found.Dir, err, c.want)
			}
		}
		if _, was, err := Remove(c.prefix); err != nil || !was {
			t.Errorf("removing what is there: %v %v", was, err)
		}
		if _, err := os.Stat(c.want); !os.IsNotExist(err) {
			t.Errorf("after the removal %s is still there", c.want)
		}
	}
}

func TestFindSpecOrder(t *testing.T) {
	put := func(dir, name string) string {
		at := filepath.Join(dir, "kernels", name)
		if err := os.MkdirAll(at, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(at, specFile), []byte(`{"argv":["a","{connection_file}","{resource_dir}","{prefix}/b"],"display_name":"a","language":"a"}`), 0o644); err != nil {
			t.Fatal(err)
		}
		return at
	}
	path, user, env := t.TempDir(), t.TempDir(), t.TempDir()
	t.Setenv("JUPYTER_PATH", "/nowhere"+string(os.PathListSeparator)+path)
	t.Setenv("JUPYTER_DATA_DIR", user)
	t.Setenv("VIRTUAL_ENV", env)
	t.Setenv("JUPYTER_PREFER_ENV_PATH", "")
	share := filepath.Join(env, "share", "jupyter")
	inEnv, inUser := put(share, "both"), put(user, "both")
	put(user, "first")
	inPath := put(path, "First")
	find := func(name, want string) kernelSpec {
		t.Helper()
		s, err := findSpec(name)
		if err != nil {
			t.Fatal(err)
		}
		if s.Dir != want {
			t.Errorf("%s found in %s, want %s", name, s.Dir, want)
		}
		return s
	}
	find("first", inPath)
	find("both", inUser)
	t.Setenv("JUPYTER_PREFER_ENV_PATH", "1")
	s := find("both", inEnv)
	want := []string{"a", "FILE", inEnv, filepath.Join(env, "b")}
	if got := s.command("FILE"); !slices.Equal(got, want) {
		t.Errorf("command %q, want %q", got, want)
	}
	_, err := findSpec("third")
	wantError(t, err, "there are both, first")
}
