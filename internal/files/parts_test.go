package files

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

// A half-written file is removed when it is old and no process writes to it.
func TestSweepParts(t *testing.T) {
	dir := t.TempDir()
	old := time.Now().Add(-2 * writing)
	var open []*os.File
	for range 2 {
		f, err := createTemp(dir)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		open = append(open, f)
	}
	left, fresh := filepath.Join(dir, TempPrefix+"1.tmp"), filepath.Join(dir, TempPrefix+"2.tmp")
	foreign, link := filepath.Join(dir, "1.tmp"), filepath.Join(dir, TempPrefix+"3.tmp")
	for _, p := range []string{left, fresh, foreign} {
		if err := os.WriteFile(p, nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(foreign, link); err != nil {
		t.Skip(err)
	}
	for _, p := range []string{left, foreign, open[0].Name()} {
		if err := os.Chtimes(p, old, old); err != nil {
			t.Fatal(err)
		}
	}
	sweepParts(dir)
	for p, want := range map[string]bool{left: false, fresh: true, foreign: true, link: true, open[0].Name(): true, open[1].Name(): true} {
		if _, err := os.Lstat(p); (err == nil) != want {
			t.Errorf("%s is there: %v", filepath.Base(p), err == nil)
		}
	}
}
