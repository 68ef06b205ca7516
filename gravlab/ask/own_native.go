//go:build !wasip1

package ask

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// readFile reads a file in the program's folder, which is the notebook's.
func readFile(_ Copy, file string) (string, error) {
	info, err := os.Stat(file)
	if errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("there is no file %s beside the notebook; put it there, and mind small and capital letters", file)
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
	b, err := os.ReadFile(file)
	if err != nil {
		return "", fmt.Errorf("%s cannot be read: %w", file, err)
	}
	return string(b), nil
}
