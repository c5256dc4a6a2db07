// Package photographs finds real photographs for tests. They were made by
// others and are never part of this repository.
package photographs

import (
	"os"
	"path/filepath"
	"testing"
)

// Folder is the set of that name in the folder that STILLSPAN_DATA names; ""
// is that folder itself. Where there is none, the test is skipped.
func Folder(tb testing.TB, set string) string {
	tb.Helper()
	root := os.Getenv("STILLSPAN_DATA")
	if root == "" {
		tb.Skip("set STILLSPAN_DATA to a folder of real photographs")
	}
	dir := filepath.Join(root, set)
	if _, err := os.Stat(dir); err != nil {
		tb.Skip(err)
	}
	return dir
}
