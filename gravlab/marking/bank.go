package marking

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
)

// A Bank is a folder with a lecturer's own labs: Go files of a package bank with
//
//	func Labs() []bank.Lab
//
// and the text files of their questions. It is compiled into the program, since the numbers
// of a question are code; it need not lie in the module, and students need not have it.
// Notebooks of its labs may lie beside the files.
type Bank struct {
	Dir   string
	Print string // of the files
	files []string
}

// ReadBank looks at a bank's folder.
func ReadBank(dir string) (Bank, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return Bank{}, err
	}
	if _, err := os.ReadDir(abs); err != nil {
		return Bank{}, notOpened(dir, err, "; a bank is a folder of Go files and text files")
	}
	// Go files in the folder itself; text files there or one level down.
	var names []string
	for _, pattern := range []string{"*.go", "*.md", "*/*.md"} {
		paths, err := filepath.Glob(filepath.Join(globQuoted(abs), pattern))
		if err != nil {
			return Bank{}, err
		}
		for _, path := range paths {
			name, err := filepath.Rel(abs, path)
			if err != nil {
				return Bank{}, err
			}
			names = append(names, name)
		}
	}
	b := Bank{Dir: abs}
	h := sha256.New()
	holdsGo := false
	for _, name := range names {
		if info, err := os.Stat(filepath.Join(abs, name)); err == nil && info.IsDir() || strings.HasSuffix(name, "_test.go") {
			continue
		}
		text, err := readBankFile(filepath.Join(abs, name))
		if err != nil {
			return Bank{}, wrong(dir, 0, "%s cannot be read: %v", name, plain(err))
		}
		fmt.Fprintf(h, "%q %d\n%s", name, len(text), text)
		b.files = append(b.files, name)
		holdsGo = holdsGo || strings.HasSuffix(name, ".go")
	}
	if !holdsGo {
		return Bank{}, wrong(dir, 0, "holds no Go files; a bank is a folder of Go files with package bank and func Labs() []bank.Lab")
	}
	b.Print = hex.EncodeToString(h.Sum(nil))[:16]
	return b, nil
}

// globQuoted is a path with no character that a pattern takes for something else.
func globQuoted(path string) string {
	if runtime.GOOS == "windows" {
		return path // a backslash separates folders there, and cannot quote
	}
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "?", `\?`, "[", `\[`).Replace(path)
}

// mostBankFile is the most bytes of a file of a bank; the largest lab has 40 kB.
const mostBankFile = 10_000_000

func readBankFile(path string) ([]byte, error) {
	f, err := openFile(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	return readMost(f, info.Size(), mostBankFile)
}

// glue is the file that joins a bank to the program.
const glue = `package main

import own "gravity.example/gravlab/internal/ownbank"

func init() { addOwn(own.Labs) }
`

// Program builds this program with the bank in it and returns the path of what was built.
// clone is the folder of the module. The files of the bank and a few lines that join it are
// laid over the module for the build (go build -overlay); nothing is written into the
// clone. Building again what has not changed takes a second.
func (b Bank) Program(ctx context.Context, clone string) (string, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("there is no cache folder to build in: %w", err)
	}
	// One folder for each bank, not for each state of it: programs are large.
	banks := filepath.Join(cache, "gravlab", "banks")
	forgetBanks(banks)
	dir := filepath.Join(banks, fingerprint([]byte(b.Dir))[:16])
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", err
	}
	joint := filepath.Join(dir, "joint.go")
	over := map[string]string{filepath.Join(clone, "gravlab", "cmd", "gravlab", "own_bank_joint.go"): joint}
	inside := filepath.Join(clone, "gravlab", "internal", "ownbank")
	for _, name := range b.files {
		over[filepath.Join(inside, name)] = filepath.Join(b.Dir, name)
	}
	overlay, err := json.Marshal(map[string]any{"Replace": over})
	if err != nil {
		return "", err
	}
	for path, text := range map[string][]byte{joint: []byte(glue), filepath.Join(dir, "overlay.json"): overlay, filepath.Join(dir, bankPlace): []byte(b.Dir)} {
		// The build looks at the times of files, so what is right is left as it is.
		if old, err := os.ReadFile(path); err == nil && bytes.Equal(old, text) {
			continue
		}
		if err := os.WriteFile(path, text, 0o600); err != nil {
			return "", err
		}
	}
	program := filepath.Join(dir, "gravlab")
	if runtime.GOOS == "windows" {
		program += ".exe"
	}
	build := exec.CommandContext(ctx, "go", "build", "-o", program, "-overlay", filepath.Join(dir, "overlay.json"),
		"-ldflags", "-X main.ownBank="+b.Print, "gravity.example/gravlab/cmd/gravlab")
	build.Dir = clone
	build.Env = append(os.Environ(), "GOWORK=off")
	out, err := build.CombinedOutput()
	if err == nil {
		return program, nil
	}
	if ctx.Err() != nil {
		return "", context.Cause(ctx)
	}
	if errors.Is(err, exec.ErrNotFound) {
		return "", errors.New("building the program with your bank needs the go command, and there is none on the path")
	}
	return "", wrong(b.Dir, 0, "the bank does not compile:\n%s", b.explain(string(out), inside, clone))
}

// bankPlace is the file that says which bank a program was built with.
const bankPlace = "bank.txt"

// forgetBanks removes programs whose bank is gone.
func forgetBanks(banks string) {
	places, err := filepath.Glob(filepath.Join(banks, "*", bankPlace))
	if err != nil {
		return
	}
	for _, place := range places {
		dir, err := os.ReadFile(place)
		if err != nil {
			continue
		}
		if _, err := os.Stat(string(dir)); errors.Is(err, fs.ErrNotExist) {
			os.RemoveAll(filepath.Dir(place))
		}
	}
}

// explain puts the bank's own folder into the compiler's messages.
func (b Bank) explain(out, inside, clone string) string {
	rel, err := filepath.Rel(clone, inside)
	if err != nil {
		rel = inside
	}
	for _, as := range []string{inside + string(filepath.Separator), rel + string(filepath.Separator), filepath.ToSlash(rel) + "/"} {
		out = strings.ReplaceAll(out, as, b.Dir+string(filepath.Separator))
	}
	lines := slices.DeleteFunc(strings.Split(strings.TrimSpace(out), "\n"), func(l string) bool { return strings.HasPrefix(l, "# ") })
	// The go command shortens a path to one from where it runs, if that is shorter, and writes
	// a dot for the folder in which it runs, also where another folder's name begins like it.
	var short []string
	if from, err := filepath.Rel(clone, b.Dir); err == nil {
		short = append(short, from)
	}
	if rest, ok := strings.CutPrefix(b.Dir, clone); ok {
		short = append(short, "."+rest)
	}
	for i, l := range lines {
		for _, from := range short {
			if rest, ok := strings.CutPrefix(l, from+string(filepath.Separator)); ok {
				lines[i] = filepath.Join(b.Dir, rest)
			}
		}
	}
	if len(lines) > 12 {
		lines = append(lines[:12], "…")
	}
	return strings.Join(lines, "\n")
}
