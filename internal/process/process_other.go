//go:build unix && !linux

package process

import "os/exec"

func dieWithParent(*exec.Cmd) {}

// bound does nothing where a running process cannot be limited.
func bound(*exec.Cmd, int64) error { return nil }
