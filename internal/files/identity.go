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

// Same tells whether two looks at one path saw one state of one file. File
// systems that keep no time of change number their files anew as they please, so
// that a number only counts where one is kept.
func (id Identity) Same(other Identity) bool {
	keeps := id.Changed != id.ModTime
	return id.Size == other.Size && id.ModTime == other.ModTime && id.Changed == other.Changed && (!keeps || id.Inode == other.Inode)
}
