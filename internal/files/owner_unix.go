//go:build unix

package files

import (
	"io/fs"
	"os"
	"syscall"
)

// owned tells whether a file belongs to the user that this process runs as.
func owned(info fs.FileInfo) bool {
	st, ok := info.Sys().(*syscall.Stat_t)
	return ok && int(st.Uid) == os.Getuid()
}
