// Package usercache has the folder that the project keeps in the user's cache.
package usercache

import (
	"fmt"
	"os"
	"path/filepath"
)

// Dir returns a folder in the user's cache, made if need be.
func Dir(parts ...string) (string, error) {
	const hint = "set XDG_CACHE_HOME to a folder that can be written (on Windows LocalAppData, on macOS HOME)"
	base, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("no cache folder: %w: %s", err, hint)
	}
	dir := filepath.Join(append([]string{base, "gravlab"}, parts...)...)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", fmt.Errorf("the cache folder cannot be made: %w: %s", err, hint)
	}
	probe, err := os.CreateTemp(dir, "probe-*")
	if err != nil {
		return "", fmt.Errorf("the cache folder cannot be written: %w: %s", err, hint)
	}
	probe.Close()
	os.Remove(probe.Name())
	return dir, nil
}
