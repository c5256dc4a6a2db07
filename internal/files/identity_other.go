//go:build !linux && !darwin

package files

import (
	"io/fs"
	"os"
)

func (*Identity) fill(fs.FileInfo) {}

// KeepsChangeTime is false where the identity holds no time of change.
func KeepsChangeTime(*os.File) bool { return false }
