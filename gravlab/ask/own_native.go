//go:build !wasip1

package ask

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// readFile reads a file in the program's folder, which is the notebook's. A
// reader who works on a copy of the notebook may have put the file beside that: the
// kernel names further folders in GRAVLAB_BESIDE.
func readFile(_ StudentSheet, file string) (string, error) {
	path := file
	info, err := os.Stat(path)
	for _, folder := range filepath.SplitList(os.Getenv("GRAVLAB_BESIDE")) {
		if errors.Is(err, fs.ErrNotExist) {
			path = filepath.Join(folder, file)
			info, err = os.Stat(path)
		}
	}
	if errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("there is no file %s beside the notebook; put it there, and check capital and small letters", file)
	}
	if err != nil {
		return "", fmt.Errorf("%s cannot be read: %w", file, err)
	}
	if !info.Mode().IsRegular() {
		return "", fmt.Errorf("%s is not a file", file)
	}
	if info.Size() > maxFile {
		return "", tooLong(file, info.Size())
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("%s cannot be read: %w", file, err)
	}
	return string(b), nil
}
