//go:build unix

package day

import (
	"errors"
	"syscall"
)

// alive tells whether a process is there.
func alive(pid int) bool {
	if pid <= 0 {
		return false
	}
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}
