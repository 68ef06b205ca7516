package kernel

import (
	"errors"
	"fmt"
	"io"
)

// ServeOptions says how a kernel is run. The zero value is good.
type ServeOptions struct {
	Clone    string       // folder of the module; empty: FindClone
	Dir      string       // where cells run; empty: the current folder
	DataDir  string       // where the answers log lies; empty: the user's data folder
	Progress func(string) // told what takes long; nil: the error output
	Log      io.Writer    // gets all of GoNB's own log; may be nil

	mute   bool     // no gopls: nobody completes code in a run without a front end
	memory uint64   // bytes that each of its programs may use, where the system can hold it to that; 0: no limit
	beside []string // folders in which a recording of one's own may lie besides Dir
}

// markEnv names the environment variable by which all processes of one kernel
// are known, whatever group or session they have moved to. Its value is the
// kernel's temporary folder.
const markEnv = "GRAVLAB_KERNEL"

var (
	errGone    = errors.New("the kernel has ended")
	errNotHere = errors.New("the Go kernel does not run on this system: GoNB needs the named pipes of Linux or macOS; open labs in the browser page of this program, or use a Linux machine, a container or WSL")
)

// A deathError says how a kernel died, with its last words.
type deathError struct {
	state string
	words string
}

func (e *deathError) Error() string {
	if e.words == "" {
		return fmt.Sprintf("the kernel died (%s)", e.state)
	}
	return fmt.Sprintf("the kernel died (%s); its last words:\n%s", e.state, e.words)
}

func (e *deathError) Unwrap() error { return errGone }
