package files_test

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"stillspan/internal/files"
)

func write(text string) func(io.Writer) error {
	return func(w io.Writer) error { _, err := io.WriteString(w, text); return err }
}

func must(t *testing.T, errs ...error) {
	t.Helper()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
}

// What is at a place survives unless this program wrote it, it is to be
// overwritten, or it is a pipe.
func TestPlace(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	must(t, os.WriteFile(at("user"), []byte("user's"), 0o600), os.WriteFile(at("ours"), []byte("head, made by us"), 0o600),
		os.WriteFile(at("late"), []byte(strings.Repeat(" ", 2000)+"made by us"), 0o600), os.WriteFile(at("empty"), nil, 0o600),
		os.Mkdir(at("folder"), 0o700), os.Symlink("user", at("link")), os.Symlink("none", at("dangling")), os.Link(at("user"), at("second name")))
	node := unix.Mknod(at("disk"), unix.S_IFBLK|0o600, int(unix.Mkdev(7, 250)))
	for name, want := range map[string]string{
		"new": "", "ours": "", os.DevNull: "", "user": files.ErrThere.Error(), "late": files.ErrThere.Error(), "empty": files.ErrThere.Error(),
		"folder": "it is a folder", "link": "it is a link", "dangling": "it is a link", "disk": "it is a device", "/dev/tty": "it is a device",
		"second name": files.ErrThere.Error(), "none/x": "no such file",
	} {
		path := name
		if !filepath.IsAbs(name) {
			path = at(name)
		}
		if _, err := os.Lstat(path); err != nil && (name == "disk" && node != nil || name == "/dev/tty") {
			continue
		}
		p := files.Place{Path: path, Mark: "made by us"}
		err := p.Write(write("made by us"))
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", name, err, want)
		}
	}
	p := files.Place{Path: at("user"), Overwrite: true}
	must(t, p.Write(write("new")))
	for name, want := range map[string]string{"new": "made by us", "ours": "made by us", "user": "new", "second name": "user's"} {
		if got, _ := os.ReadFile(at(name)); string(got) != want {
			t.Errorf("%s holds %q, want %q", name, got, want)
		}
	}
	for _, name := range []string{"link", "dangling"} {
		p := files.Place{Path: at(name), Overwrite: true}
		if err := p.Write(write("x")); err == nil {
			t.Errorf("%s: written", name)
		}
	}
	if left, _ := filepath.Glob(at(files.TempPrefix + "*")); left != nil {
		t.Errorf("left: %q", left)
	}
}

// A file that appears while a result is made survives, and so does one that is
// exchanged for ours.
func TestPlaceIsTakenMeanwhile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "page")
	for range 2 {
		p := files.Place{Path: path, Mark: "made by us"}
		err := p.Write(func(w io.Writer) error {
			must(t, os.WriteFile(path, []byte("user's"), 0o600))
			return write("made by us")(w)
		})
		if got, _ := os.ReadFile(path); !errors.Is(err, files.ErrThere) || string(got) != "user's" {
			t.Errorf("%v, %q", err, got)
		}
		must(t, os.WriteFile(path, []byte("made by us"), 0o600))
	}
}

// A pipe is written to, where somebody reads, and stays a pipe.
func TestPlaceIsAPipe(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe")
	must(t, unix.Mkfifo(pipe, 0o600))
	p := files.Place{Path: pipe}
	if err := p.Write(write("x")); err == nil || !strings.Contains(err.Error(), "nobody reads") {
		t.Errorf("without a reader: %v", err)
	}
	cmd := exec.Command("cat", pipe)
	out, err := cmd.StdoutPipe()
	must(t, err, cmd.Start())
	text := strings.Repeat("0123456789", 50000) // more than a pipe holds
	read := make(chan []byte, 1)
	go func() { b, _ := io.ReadAll(out); read <- b }()
	for err = errors.New("not yet"); err != nil && !strings.Contains(fmt.Sprint(err), "meanwhile"); {
		err = p.Write(write(text))
	}
	got := <-read
	must(t, cmd.Wait())
	if string(got) != text {
		t.Errorf("%d bytes came through, want %d", len(got), len(text))
	}
	if info, err := os.Lstat(pipe); err != nil || info.Mode()&os.ModeNamedPipe == 0 {
		t.Errorf("%v, %v", info, err)
	}
}

// A folder of work has one owner, and what a dead one left in it is removed.
func TestWork(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, strings.Repeat("x", 250)+".mp4")
	for _, path := range []string{path, filepath.Join(dir, "a b%d.mp4")} {
		w, err := files.WorkBeside(path)
		must(t, err)
		if _, err := files.WorkBeside(path); !errors.Is(err, files.ErrLocked) {
			t.Errorf("a second claim: %v", err)
		}
		must(t, os.MkdirAll(w.Path("parts/x"), 0o700), os.WriteFile(w.Path("clip"), nil, 0o600), w.Close())
		// One that was killed leaves its folder, unlocked.
		must(t, os.MkdirAll(w.Path("parts/x"), 0o700), os.WriteFile(w.Path("lock"), nil, 0o600))
		w, err = files.WorkBeside(path)
		must(t, err)
		if _, err := os.Lstat(w.Path("parts")); err == nil {
			t.Error("what a dead process left is still there")
		}
		must(t, w.Close())
	}
	// What only looks like one is neither used nor swept.
	other := t.TempDir()
	must(t, os.WriteFile(filepath.Join(other, "precious"), nil, 0o600), os.Symlink(other, filepath.Join(dir, files.TempPrefix+"clip.mp4")))
	if _, err := files.WorkBeside(filepath.Join(dir, "clip.mp4")); err == nil {
		t.Error("a link is followed")
	}
	if _, err := os.Lstat(filepath.Join(other, "precious")); err != nil {
		t.Error(err)
	}
}

// Temporary folders have names nobody foresees; those of dead processes go,
// those of living ones and of others stay.
func TestWorkInTemp(t *testing.T) {
	tmp := t.TempDir()
	t.Setenv("TMPDIR", tmp)
	living, err := files.WorkInTemp()
	must(t, err)
	dead := filepath.Join(tmp, "stillspan-dead")
	user := filepath.Join(tmp, "stillspan-user")
	must(t, os.Mkdir(dead, 0o700), os.WriteFile(filepath.Join(dead, "lock"), nil, 0o600), os.Mkdir(user, 0o700),
		os.Symlink(user, filepath.Join(tmp, "stillspan-link")))
	second, err := files.WorkInTemp()
	must(t, err)
	if _, err := os.Stat(living.Path("lock")); err != nil {
		t.Error("a living process's folder was removed")
	}
	if _, err := os.Lstat(dead); err == nil {
		t.Error("a dead process's folder stays")
	}
	if _, err := os.Lstat(user); err != nil {
		t.Error("a folder without a lock was removed")
	}
	must(t, living.Close(), second.Close())
}

// What one process sweeps is never what another is about to lock.
func TestWorkInTempByMany(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	failed := make(chan error, 8)
	for range cap(failed) {
		go func() {
			for range 300 {
				w, err := files.WorkInTemp()
				if err == nil {
					err = w.Close()
				}
				if err != nil {
					failed <- err
					return
				}
			}
			failed <- nil
		}()
	}
	for range cap(failed) {
		if err := <-failed; err != nil {
			t.Error(err)
		}
	}
}
