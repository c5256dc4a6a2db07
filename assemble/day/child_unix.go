//go:build unix

package day

import (
	"errors"
	"os"
	"os/exec"
	"syscall"
)

// ready keeps a task out of the terminal's reach, so that an interrupt comes to
// it once, from us, and has it hold our lock for as long as it runs.
func ready(cmd *exec.Cmd, lock *os.File) {
	cmd.SysProcAttr = childAttr()
	if lock != nil {
		cmd.ExtraFiles = []*os.File{lock}
	}
}

// alive tells whether a process is there.
func alive(pid int) bool {
	if pid <= 0 {
		return false
	}
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}
