package assemble

import (
	"os"

	"golang.org/x/sys/windows"
)

func widen(*os.File) {}

// freeBytes is the space left for this user on the disk that holds dir.
func freeBytes(dir string) (uint64, error) {
	name, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return 0, err
	}
	var free uint64
	err = windows.GetDiskFreeSpaceEx(name, &free, nil, nil)
	return free, err
}
