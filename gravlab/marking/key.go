package marking

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"gravity.example/gravlab/internal/atomicfile"
)

// keySize is the number of random bytes in a class key.
const keySize = 32

// ReadKey reads a class key: a text file with 64 hexadecimal digits. open says
// that others than its owner may read the file, as far as the system tells.
func ReadKey(path string) (key []byte, open bool, err error) {
	f, err := openFile(path)
	if err != nil {
		return nil, false, notOpened(path, err, "; the class key is the file that the first handout made")
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, false, wrong(path, 0, "the class key cannot be read: %v", plain(err))
	}
	if info.Size() > 1000 {
		return nil, false, wrong(path, 0, "has %d bytes, so it is not a class key; a key is 64 hexadecimal digits", info.Size())
	}
	text, err := io.ReadAll(f)
	if err != nil {
		return nil, false, wrong(path, 0, "the class key cannot be read: %v", plain(err))
	}
	key, err = hex.DecodeString(strings.TrimSpace(string(text)))
	if err != nil || len(key) != keySize {
		return nil, false, wrong(path, 0, "is not a class key; a key is 64 hexadecimal digits, as the first handout made it")
	}
	return key, runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0, nil
}

// MakeKey returns the class key of a file, and makes the file if it is not
// there: readable by its owner alone (on Windows by those who may read the folder).
func MakeKey(path string) (key []byte, made, open bool, err error) {
	if _, err := os.Lstat(path); err == nil || !errors.Is(err, fs.ErrNotExist) {
		key, open, err = ReadKey(path)
		return key, false, open, err
	}
	key = make([]byte, keySize)
	rand.Read(key) // never fails
	if err := atomicfile.WriteFile(path, []byte(hex.EncodeToString(key)+"\n"), 0o600); err != nil {
		return nil, false, false, err
	}
	return key, true, false, nil
}

// KeysIn lists the class keys that lie in a folder, by their paths.
func KeysIn(dir string) []string {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	var all []string
	for _, e := range entries {
		path := filepath.Join(dir, e.Name())
		if _, _, err := ReadKey(path); err == nil && filepath.Ext(path) == ".key" {
			all = append(all, path)
		}
	}
	return all
}
