package files

import (
	"io/fs"
	"os"
	"syscall"

	"golang.org/x/sys/unix"
)

func (id *Identity) fill(info fs.FileInfo) {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		id.Device, id.Inode, id.Changed = uint64(st.Dev), st.Ino, st.Ctimespec.Nano()
	}
}

// KeepsChangeTime tells whether the file system that an open file lies on keeps
// a time of change that no program can put back.
func KeepsChangeTime(f *os.File) bool {
	var st unix.Statfs_t
	if unix.Fstatfs(int(f.Fd()), &st) != nil {
		return false
	}
	switch unix.ByteSliceToString(st.Fstypename[:]) {
	case "apfs", "hfs", "nfs", "smbfs":
		return true
	}
	return false
}
