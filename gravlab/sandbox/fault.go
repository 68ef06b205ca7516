package sandbox

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
)

// A Fault says that a run ended for a reason that is not in the notebook: the
// machine had no room, ended a process, stood still. Nothing that came out of such a
// run counts. The pool has tried again before it returns one.
type Fault struct {
	What string // what happened
	Do   string // what to do about it
	// crash says that no reason of the machine is known. What happens twice in the
	// same words is the notebook's doing after all.
	crash bool
}

func (f *Fault) Error() string { return f.What + ": " + f.Do }

const closeOthers = "end other programs that need much memory, then try again"

func killedFault(what, how string) *Fault {
	return &Fault{What: fmt.Sprintf("%s was ended from outside (%s), as the system does when memory is short", what, how), Do: closeOthers}
}

func refusedFault(what string) *Fault {
	return &Fault{What: "the system refused " + what + " memory", Do: closeOthers}
}

func stalledFault(what string) *Fault {
	return &Fault{What: what + " stood still for a long time, as it does when the machine is suspended or very busy", Do: "try again when the machine is less busy"}
}

func roomFault(dir string) *Fault {
	return &Fault{What: "there is no room left for temporary files in " + dir, Do: "make room there, or name another folder in the environment variable " + tempVariable + ", then try again"}
}

// fileFault is a fault with the pool's own files.
func fileFault(dir string, err error) *Fault {
	switch {
	case noRoom(err.Error()):
		return roomFault(filepath.Dir(dir))
	case errors.Is(err, fs.ErrNotExist):
		return &Fault{What: fmt.Sprintf("a file of the workers has been removed (%v)", err), Do: "let the temporary files of a running program be, then start it again"}
	case errors.Is(err, syscall.ENOMEM):
		return refusedFault("a worker")
	}
	return &Fault{What: fmt.Sprintf("a file of the workers failed (%v)", err), Do: "look at the disk, then try again"}
}

var noRoomTexts = []string{syscall.ENOSPC.Error(), syscall.EDQUOT.Error(), "not enough space on the disk", "disk is full"}

// noRoom reports whether an error tells of a full disk, a used-up quota, or a disk without a
// free entry for a new file.
func noRoom(text string) bool {
	for _, t := range noRoomTexts {
		if strings.Contains(text, t) {
			return true
		}
	}
	return false
}

// roomNeeded is what building a program takes, with something to spare.
const roomNeeded = 24 << 20

// lacksRoom tries whether there is room for what a build writes.
func lacksRoom(dir string) bool {
	f, err := os.CreateTemp(dir, "room-")
	if err != nil {
		return true
	}
	defer os.Remove(f.Name())
	piece := make([]byte, 1<<20)
	for range roomNeeded / len(piece) {
		if _, err := f.Write(piece); err != nil {
			f.Close()
			return true
		}
	}
	return f.Close() != nil
}

// What Go's runtime says as it ends for want of memory. Source: Go 1.26, runtime/malloc.go and
// runtime/mem_linux.go.
var (
	askedFor  = regexp.MustCompile(`out of memory: cannot allocate (\d+)-byte block \((\d+) in use\)`)
	noMemory  = regexp.MustCompile(`(?m)^(runtime: )?(fatal error: )?(runtime: )?(out of memory|cannot allocate memory)|failed to create new OS thread|` + regexp.QuoteMeta(syscall.ENOMEM.Error()))
	deepStack = regexp.MustCompile(`stack overflow|goroutine stack exceeds`)
)

// wantOfMemory looks at the last words of a process that ended by itself. own says that it
// met a limit of ours: its stack's, or it asked for more than most in all. refused says
// that the system refused it what it might have had.
func wantOfMemory(said string, most int64) (own, refused bool) {
	if deepStack.MatchString(said) {
		return true, false
	}
	if m := askedFor.FindStringSubmatch(said); m != nil {
		asked, _ := strconv.ParseUint(m[1], 10, 64)
		used, _ := strconv.ParseUint(m[2], 10, 64)
		own = asked > uint64(most) || used > uint64(most) || asked+used > uint64(most)
		return own, !own
	}
	return false, noMemory.MatchString(said)
}
