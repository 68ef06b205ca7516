package labserver

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
)

// DataFolder is where the program keeps what belongs to the user: GRAVLAB_DATA
// if it is set, else the place that the system has for it: XDG_DATA_HOME or
// ~/.local/share (XDG Base Directory Specification), ~/Library/Application
// Support on macOS, %LOCALAPPDATA% on Windows. It may not exist yet.
func DataFolder() (string, error) {
	if d := os.Getenv("GRAVLAB_DATA"); d != "" {
		return filepath.Abs(d)
	}
	if runtime.GOOS == "windows" {
		if d := os.Getenv("LOCALAPPDATA"); d != "" {
			return filepath.Join(d, "gravlab"), nil
		}
	}
	// The specification wants a relative path ignored.
	if d := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(d) && runtime.GOOS != "darwin" {
		return filepath.Join(d, "gravlab"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", errors.New("there is no home folder to keep answers in; set GRAVLAB_DATA to a folder")
	}
	switch runtime.GOOS {
	case "darwin":
		return filepath.Join(home, "Library", "Application Support", "gravlab"), nil
	case "windows":
		return filepath.Join(home, "AppData", "Local", "gravlab"), nil
	default:
		return filepath.Join(home, ".local", "share", "gravlab"), nil
	}
}
