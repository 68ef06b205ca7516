package machines

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"gravity.example/gravlab/sandbox"
)

// versionOf hashes the Go of a clone, its modules, the version of Go, and the architecture: last
// digits are those of the processor.
func versionOf(ctx context.Context, clone string) (string, error) {
	h := sha256.New()
	fmt.Fprintf(h, "1 %s %s\n", runtime.Version(), runtime.GOARCH)
	err := filepath.WalkDir(clone, func(path string, d fs.DirEntry, err error) error {
		name := d.Name()
		switch {
		case err != nil:
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		case d.IsDir() && path != clone && (strings.HasPrefix(name, ".") || name == "testdata" || name == "node_modules"):
			return fs.SkipDir
		case d.IsDir(), strings.HasSuffix(name, "_test.go"), !strings.HasSuffix(name, ".go") && name != "go.mod" && name != "go.sum":
			return nil
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(clone, path)
		fmt.Fprintf(h, "%q %d\n", filepath.ToSlash(rel), len(text))
		h.Write(text)
		return err
	})
	return hex.EncodeToString(h.Sum(nil))[:16], err
}

// keyOf names an errand by all that determines what comes back.
func keyOf(version string, e sandbox.Errand) string {
	h := sha256.New()
	fmt.Fprintf(h, "%s %d %+v %q\n%d\n", version, e.Seed, e.Limits, e.Tokens, len(e.Notebook))
	h.Write(e.Notebook)
	for _, k := range slices.Sorted(maps.Keys(e.Replies)) {
		fmt.Fprintf(h, "%q %d\n", k, len(e.Replies[k]))
		h.Write(e.Replies[k])
	}
	return hex.EncodeToString(h.Sum(nil))[:32]
}
