//go:build !unix

package copycheck

import "os"

// sameDevice is not told apart here: one reader at a time is never wrong.
func sameDevice(_, _ os.FileInfo) bool { return true }
