package day

import (
	"os"
	"os/exec"
	"syscall"

	"golang.org/x/sys/windows"
)

// ready keeps a task out of the console's reach, so that an interrupt comes to
// it once, from us. A lock is not inherited here; the task ends with us instead.
func ready(cmd *exec.Cmd, _ *os.File) {
	cmd.SysProcAttr = &syscall.SysProcAttr{CreationFlags: windows.CREATE_NEW_PROCESS_GROUP}
}

// alive tells whether a process is there.
func alive(pid int) bool {
	h, err := windows.OpenProcess(windows.PROCESS_QUERY_LIMITED_INFORMATION, false, uint32(pid))
	if err != nil {
		return false
	}
	defer windows.CloseHandle(h)
	var code uint32
	const stillActive = 259 // STILL_ACTIVE
	return windows.GetExitCodeProcess(h, &code) == nil && code == stillActive
}
