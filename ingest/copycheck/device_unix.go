//go:build unix

package copycheck

import (
	"os"
	"syscall"
)

// sameDevice tells whether two folders lie on one file system; true when that
// cannot be told.
func sameDevice(a, b os.FileInfo) bool {
	x, ok := a.Sys().(*syscall.Stat_t)
	y, also := b.Sys().(*syscall.Stat_t)
	return !ok || !also || x.Dev == y.Dev
}
