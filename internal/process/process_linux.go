package process

import (
	"os/exec"
	"syscall"
)

// dieWithParent has the kernel end the process when ours is killed, so that
// no encoder goes on writing for nobody.
func dieWithParent(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
}
