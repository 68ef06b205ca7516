package machines

import (
	"os/exec"
	"syscall"
)

// separate keeps Ctrl-C from the carrier: it ends when its input does.
func separate(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{CreationFlags: syscall.CREATE_NEW_PROCESS_GROUP}
}
