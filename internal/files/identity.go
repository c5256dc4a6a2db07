package files

import "io/fs"

// Identity tells one state of one file from every other as far as the file
// system does: which file it is, its size, and when content or attributes last
// changed. A copy has another, even one that keeps the times; so has a file
// that was written to, even where the time of its content was put back, if
// KeepsChangeTime. What changes behind the file system's back, such as on a
// failing disk, it cannot tell.
type Identity struct {
	Device, Inode    uint64
	Size             int64 // bytes
	ModTime, Changed int64 // nanoseconds since 1970
}

// IdentityOf is the identity in info. On systems that do not tell device,
// inode and time of change these are zero.
func IdentityOf(info fs.FileInfo) Identity {
	id := Identity{Size: info.Size(), ModTime: info.ModTime().UnixNano()}
	id.fill(info)
	return id
}
