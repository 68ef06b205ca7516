//go:build unix

package marking

import (
	"os"
	"syscall"
)

func pause(p *os.Process) { p.Signal(syscall.SIGSTOP) }
