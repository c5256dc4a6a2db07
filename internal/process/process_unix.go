//go:build unix

package process

import (
	"os"
	"syscall"
)

// stop asks a process to end.
func stop(p *os.Process) error { return p.Signal(syscall.SIGTERM) }

// Interrupt asks a process to tidy up and end.
func Interrupt(p *os.Process) error { return p.Signal(os.Interrupt) }
