//go:build unix

package ingest

import (
	"context"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// A pipe that nobody writes to must hold up nothing, neither when it is listed
// nor when it takes a picture's name after the listing.
func TestPipes(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 10, nil)
	if err := syscall.Mkfifo(filepath.Join(dir, "FRAM0099.JPG"), 0o666); err != nil {
		t.Fatal(err)
	}
	swapped := filepath.Join(dir, "FRAM0006.JPG")
	d, err := Scan(context.Background(), dir, oneWorker(), once(func() {
		if err := os.Remove(swapped); err != nil {
			t.Error(err)
		}
		if err := syscall.Mkfifo(swapped, 0o666); err != nil {
			t.Error(err)
		}
	}))
	if err != nil {
		t.Fatal(err)
	}
	wantUnreadable(t, d, map[string]string{"FRAM0099.JPG": "not-a-file"})
	wantDamaged(t, only(t, d), map[string]string{"FRAM0006.JPG": "not-a-file"})
}

// A shoot goes on around a file and a folder that may not be read.
func TestNoPermission(t *testing.T) {
	if os.Getuid() == 0 {
		t.Skip("root may read everything")
	}
	dir := t.TempDir()
	shoot(t, dir, 10, nil)
	still(t, dir, "locked/FRAM0500.JPG", evening, nil)
	for _, name := range []string{"FRAM0004.JPG", "locked"} {
		if err := os.Chmod(filepath.Join(dir, name), 0); err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(func() { os.Chmod(filepath.Join(dir, "locked"), 0o777) })
	d := scan(t, dir)
	wantUnreadable(t, d, map[string]string{"locked": "unreadable"})
	s := only(t, d)
	wantDamaged(t, s, map[string]string{"FRAM0004.JPG": "unreadable"})
	if len(s.Timing.Gaps) != 0 {
		t.Errorf("gaps %v: the unreadable frame has its place", s.Timing.Gaps)
	}
}

// A shoot is only read: the bytes and the times of writing stay as they were.
func TestOriginalsStayUntouched(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 6, nil)
	name := filepath.Join(dir, "FRAM0002.JPG")
	long := time.Date(2020, 1, 2, 3, 4, 5, 0, time.UTC)
	if err := os.Chtimes(name, long, long); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	scan(t, dir)
	after, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(name)
	if err != nil {
		t.Fatal(err)
	}
	if string(before) != string(after) || !info.ModTime().Equal(long) {
		t.Error("an original was changed")
	}
	if list, err := os.ReadDir(dir); err != nil || len(list) != 6 {
		t.Errorf("%d entries beside the originals (%v)", len(list), err)
	}
}
