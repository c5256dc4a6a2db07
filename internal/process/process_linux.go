package process

import (
	"os/exec"
	"syscall"

	"golang.org/x/sys/unix"
)

// dieWithParent has the kernel end the process when ours is killed, so that
// no encoder goes on writing for nobody.
func dieWithParent(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
}

// bound limits the memory that a running process can make for itself: what it
// asks for beyond, it is refused. Memory that is only reserved does not count
// (setrlimit(2), RLIMIT_DATA).
func bound(cmd *exec.Cmd, bytes int64) error {
	limit := unix.Rlimit{Cur: uint64(bytes), Max: uint64(bytes)}
	return unix.Prlimit(cmd.Process.Pid, unix.RLIMIT_DATA, &limit, nil)
}
