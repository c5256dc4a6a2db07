package files_test

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"

	"stillspan/internal/files"
)

func TestInside(t *testing.T) {
	dir := t.TempDir()
	card, other := filepath.Join(dir, "card"), filepath.Join(dir, "card2")
	for _, err := range []error{
		os.MkdirAll(filepath.Join(card, "DCIM"), 0o777), os.Mkdir(other, 0o777),
		os.Symlink(card, filepath.Join(other, "way")),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(card)
	for path, want := range map[string]bool{
		card: true, filepath.Join(card, "DCIM", "new", "page.html"): true, "page.html": true,
		filepath.Join(other, "way", "DCIM", "x"): true, filepath.Join(card, "..", "x"): false,
		other: false, dir: false, "..": false, filepath.Join(card, "..x"): true,
	} {
		if got, err := files.Inside(path, card); got != want || err != nil {
			t.Errorf("%s: %v, %v", path, got, err)
		}
	}
	if got, err := files.Inside(card, filepath.Join(dir, "none")); got || err != nil {
		t.Errorf("inside a folder that is not there: %v, %v", got, err)
	}
}

func TestOpenTakesNothingButFiles(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe")
	if err := unix.Mkfifo(pipe, 0o600); err != nil {
		t.Skip("no pipes here:", err)
	}
	for _, path := range []string{pipe, dir} {
		if _, _, err := files.Open(path); err != files.ErrNotRegular {
			t.Errorf("%s: %v", path, err)
		}
	}
	if _, _, err := files.Open(filepath.Join(dir, "none")); !errors.Is(err, fs.ErrNotExist) || files.Cause(err).Error() != "no such file or directory" {
		t.Error(err)
	}
}

// What fails leaves the old file whole and nothing half-written.
func TestWriteWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "record")
	if err := files.WriteBytes(path, []byte("old")); err != nil {
		t.Fatal(err)
	}
	failed := errors.New("failed")
	err := files.Write(path, func(w io.Writer) error { w.Write([]byte("half")); return failed })
	if !errors.Is(err, failed) {
		t.Error(err)
	}
	holdsOnly(t, dir, path, 3)
	info, _ := os.Stat(path)
	if info.Mode().Perm() != 0o644 {
		t.Error(info.Mode())
	}
}

func TestWriteOnFullDisk(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("mounting a small file system needs root")
	}
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=64k"); err != nil {
		t.Skip("mounting is not permitted here:", err)
	}
	defer unix.Unmount(dir, 0)
	path := filepath.Join(dir, "record")
	if err := files.WriteBytes(path, make([]byte, 10)); err != nil {
		t.Fatal(err)
	}
	if err := files.WriteBytes(path, make([]byte, 200<<10)); !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("got %v", err)
	}
	holdsOnly(t, dir, path, 10)
}

func holdsOnly(t *testing.T, dir, path string, size int64) {
	t.Helper()
	entries, _ := os.ReadDir(dir)
	if info, err := os.Stat(path); err != nil || info.Size() != size || len(entries) != 1 {
		t.Errorf("%v, %d files in the folder", err, len(entries))
	}
}
