//go:build unix

package kernel

import (
	"os"
	"os/exec"
	"syscall"
)

// ownGroup gives the command a process group, so that one signal reaches all
// that it starts, and none that is meant for us.
func ownGroup(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }

func interruptGroup(p *os.Process) { syscall.Kill(-p.Pid, syscall.SIGINT) }
