//go:build unix

package assemble

import (
	"context"
	"errors"
	"fmt"
	"image/color"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"stillspan/internal/files"
)

// A still that is no longer the file that was measured is refused by name, and
// no clip is left: another in its place with the times put back, one that grew,
// one that is gone, and a pipe, at which the decoder would wait for ever.
func TestChangedInputs(t *testing.T) {
	needFFmpeg(t)
	for name, change := range map[string]func(path string) error{
		"exchanged": func(path string) error {
			info, err := os.Stat(path)
			other := strings.ReplaceAll(path, "05.jpg", "06.jpg")
			return errors.Join(err, os.Rename(other, path), os.Chtimes(path, info.ModTime(), info.ModTime()))
		},
		"grown": func(path string) error {
			f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
			if err != nil {
				return err
			}
			_, err = f.Write([]byte("more"))
			return errors.Join(err, f.Close())
		},
		"gone": os.Remove,
		"a pipe": func(path string) error {
			return errors.Join(os.Remove(path), unix.Mkfifo(path, 0o600))
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			var s []Source
			for i := range 7 {
				path := filepath.Join(dir, fmt.Sprintf("%02d.jpg", i))
				writeStill(t, path, stillW, stillH, func(x, y int) color.NRGBA { return color.NRGBA{uint8(40 * i), uint8(x), uint8(y), 255} })
				info, err := os.Stat(path)
				if err != nil {
					t.Fatal(err)
				}
				s = append(s, Source{Path: path, Format: "jpeg", Width: stillW, Height: stillH, Orientation: 1, Was: files.IdentityOf(info)})
			}
			s = s[:6]
			if err := change(s[5].Path); err != nil {
				t.Fatal(err)
			}
			out := filepath.Join(t.TempDir(), "clip.mp4")
			p, err := Prepare(t.Context(), jobFor(out, s))
			if err != nil {
				t.Fatal(err)
			}
			if _, err = p.Run(t.Context(), nil); err == nil || !strings.Contains(err.Error(), `05.jpg" changed while the clip was made`) {
				t.Errorf("error %v", err)
			}
			if left, _ := os.ReadDir(filepath.Dir(out)); len(left) > 0 {
				t.Errorf("left: %v", left)
			}
		})
	}
}

// Two runs do not make one clip; a killed run's parts go with the next; what
// appears in the clip's place meanwhile survives.
func TestOneClipOneRun(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	still := filepath.Join(dir, "a.jpg")
	writeStill(t, still, stillW, stillH, func(x, y int) color.NRGBA { return color.NRGBA{uint8(x), uint8(y), 9, 255} })
	out := filepath.Join(t.TempDir(), "100%d.mp4")
	job := jobFor(out, []Source{{Path: still, Format: "jpeg", Width: stillW, Height: stillH, Orientation: 1}})
	p, err := Prepare(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	w, err := files.WorkBeside(out)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Run(t.Context(), nil); err == nil || !strings.Contains(err.Error(), "another run is making") {
		t.Errorf("a second run: %v", err)
	}
	w.Close()
	// A killed run leaves its folder without its lock.
	if err := errors.Join(os.MkdirAll(w.Path("x"), 0o700), os.WriteFile(w.Path("clip.mp4"), []byte("half"), 0o600)); err != nil {
		t.Fatal(err)
	}
	t.Setenv("TMPDIR", filepath.Join(dir, "tmp %d%08d"))
	if err := os.Mkdir(os.Getenv("TMPDIR"), 0o700); err != nil {
		t.Fatal(err)
	}
	p.Accept = func(_ context.Context, c Clip) error { return os.WriteFile(out, []byte("user's"), 0o600) }
	if _, err := p.Run(t.Context(), nil); err == nil || !strings.Contains(err.Error(), "is there already") {
		t.Errorf("a file in its place: %v", err)
	}
	if b, _ := os.ReadFile(out); string(b) != "user's" {
		t.Errorf("it holds %q", b)
	}
	os.Remove(out)
	p.Accept = nil
	if _, err := p.Run(t.Context(), nil); err != nil {
		t.Error(err)
	}
	if left, _ := os.ReadDir(filepath.Dir(out)); len(left) != 1 {
		t.Errorf("left: %v", left)
	}
}

// Only images of an earlier run are replaced.
func TestImagesAreReplaced(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	still := filepath.Join(dir, "a.jpg")
	writeStill(t, still, stillW, stillH, func(x, y int) color.NRGBA { return color.NRGBA{uint8(x), uint8(y), 9, 255} })
	out := filepath.Join(dir, "frames")
	job := jobFor(out, []Source{{Path: still, Format: "jpeg", Width: stillW, Height: stillH, Orientation: 1}})
	job.Codec, job.Overwrite = "png", true
	run := func() error {
		p, err := Prepare(t.Context(), job)
		if err == nil {
			_, err = p.Run(t.Context(), nil)
		}
		return err
	}
	if err := errors.Join(os.Mkdir(out, 0o755), os.WriteFile(filepath.Join(out, "000001.png"), []byte("user's"), 0o600)); err != nil {
		t.Fatal(err)
	}
	if err := run(); err == nil || !strings.Contains(err.Error(), `"000001.png", which no earlier run wrote`) {
		t.Errorf("over a user's images: %v", err)
	}
	os.RemoveAll(out)
	for range 2 {
		if err := run(); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(out, "mask.png"), []byte("user's"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := run(); err == nil || !strings.Contains(err.Error(), "mask.png") {
		t.Errorf("with a user's file among them: %v", err)
	}
	if b, _ := os.ReadFile(filepath.Join(out, "mask.png")); string(b) != "user's" {
		t.Errorf("it holds %q", b)
	}
}
