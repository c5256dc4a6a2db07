package hostile

import (
	"bytes"
	"image"
	_ "image/jpeg"
	_ "image/png"
	"testing"

	_ "golang.org/x/image/tiff"
)

// The bombs are what they say: pictures that others read, of the size they
// state, and not large themselves.
func TestBombs(t *testing.T) {
	for _, b := range Bombs {
		data, err := Bomb(b.Name)
		if err != nil || len(data) > 1<<20 {
			t.Errorf("%s: %d bytes, %v", b.Name, len(data), err)
			continue
		}
		if b.Ext == ".dng" {
			continue // of no kind that package image reads
		}
		if c, _, err := image.DecodeConfig(bytes.NewReader(data)); err != nil || c.Width < 320 {
			t.Errorf("%s: %+v, %v", b.Name, c, err)
		}
	}
	if _, err := Bomb("x"); err == nil {
		t.Error("a bomb of no name")
	}
}
