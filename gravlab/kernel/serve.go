package kernel

import (
	"errors"
	"fmt"
	"io"
)

// ServeOptions says how a kernel is run. The zero value is good.
type ServeOptions struct {
	Clone     string            // folder of the module; empty: FindClone
	Dir       string            // where cells run; empty: the current folder
	DataDir   string            // where the answers log lies; empty: the user's data folder
	Log       func(text string) // told what takes long; nil: the error output
	KernelLog io.Writer         // gets all of GoNB's own log; may be nil

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
	state  string
	words  string
	forged bool // by a message that no front end of its own has sent
}

// forgedMessage is what a user can do about one. The kernel is not started again
// here: the front end would wait for ever for the end of the cell that ran, and
// the declarations of the others would be gone without a word. A front end that
// sees its kernel end says so, and starts it anew.
const forgedMessage = "the kernel was ended by a message that its front end has not sent: malformed, or not signed with its key. " +
	"Another program or user of this machine can reach its ports. Nothing of the message was run. " +
	"If your front end does not start the kernel again by itself, do that, and run the cells from the first one. " +
	"On a machine that others use, start Jupyter with --KernelManager.transport=ipc, which opens no ports"

func (e *deathError) Error() string {
	if e.forged {
		return forgedMessage
	}
	if e.words == "" {
		return fmt.Sprintf("the kernel died (%s)", e.state)
	}
	return fmt.Sprintf("the kernel died (%s); its last words:\n%s", e.state, e.words)
}

func (e *deathError) Unwrap() error { return errGone }
