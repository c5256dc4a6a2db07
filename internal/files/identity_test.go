package files_test

import (
	"os"
	"path/filepath"
	"testing"

	"stillspan/internal/files"
)

func TestIdentity(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "a")
	if err := os.WriteFile(name, []byte("content"), 0o600); err != nil {
		t.Fatal(err)
	}
	of := func(name string) files.Identity {
		t.Helper()
		info, err := os.Stat(name)
		if err != nil {
			t.Fatal(err)
		}
		return files.IdentityOf(info)
	}
	before := of(name)
	if before != of(name) || before.Size != 7 {
		t.Errorf("identity %+v, then %+v", before, of(name))
	}
	info, err := os.Stat(name)
	if err != nil {
		t.Fatal(err)
	}
	// A copy with the times kept.
	twin := filepath.Join(dir, "b")
	if err := os.WriteFile(twin, []byte("content"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(twin, info.ModTime(), info.ModTime()); err != nil {
		t.Fatal(err)
	}
	if of(twin) == before {
		t.Error("a copy passes for the file")
	}
	// Other content, with the times put back.
	if err := os.WriteFile(name, []byte("CONTENT"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(name, info.ModTime(), info.ModTime()); err != nil {
		t.Fatal(err)
	}
	if of(name) == before {
		t.Error("other content passes for the same")
	}
}
