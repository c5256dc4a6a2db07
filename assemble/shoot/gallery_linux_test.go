package shoot

import (
	"os"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"stillspan/internal/demo"
	"stillspan/internal/scene"
	"stillspan/internal/settings"
)

// A damaged still is shown as far as it goes; nobody waits for a pipe that has
// taken its place.
func TestGalleryWaitsOnNoPipe(t *testing.T) {
	s := one(t, card(t, demo.Shoot{Frames: 12, Scene: scene.Options{Seed: 5}, Truncated: []int{4, 7}}), settings.Values{})
	path := s.Sequence.Frames[7].Path
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if err := unix.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	begun := time.Now()
	if err := s.TakeGallery(t.Context()); err != nil {
		t.Fatal(err)
	}
	if took := time.Since(begun); took > 30*time.Second {
		t.Errorf("waited %s", took)
	}
	g := s.Pictures.Gallery
	if len(g) != 2 || g[0].Frame != 4 || g[0].Small == nil || g[1].Small != nil {
		t.Errorf("gallery %+v", g)
	}
}
