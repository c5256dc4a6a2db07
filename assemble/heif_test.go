package assemble

import (
	"image"
	"image/color"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// Stills deeper than 8 bits keep their depth: a ramp over twelve codes of 8 bits
// has some fifty levels at 10 bits, as libheif's own encoder wrote it, and must
// have them in the clip's frames, too.
func TestDepthOfHEIF(t *testing.T) {
	needFFmpeg(t)
	if _, err := exec.LookPath("heif-enc"); err != nil {
		t.Skip("libheif's tools are not installed (Debian: libheif-examples)")
	}
	dir := t.TempDir()
	deep, shallow := image.NewRGBA64(image.Rect(0, 0, 192, 64)), image.NewRGBA(image.Rect(0, 0, 192, 64))
	for i := range 192 * 64 {
		v := uint16(100<<8 + i%192*12*256/192)
		deep.SetRGBA64(i%192, i/192, color.RGBA64{v, v, v, 0xffff})
		shallow.Set(i%192, i/192, deep.At(i%192, i/192))
	}
	for _, c := range []struct {
		bits        string
		ramp        image.Image
		least, most int
	}{{"8", shallow, 8, 20}, {"10", deep, 40, 400}} {
		from, still := filepath.Join(dir, "ramp.png"), filepath.Join(dir, "ramp"+c.bits+".heic")
		f, err := os.Create(from)
		if err == nil {
			err = png.Encode(f, c.ramp)
			f.Close()
		}
		if err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command("heif-enc", "-q", "100", "-b", c.bits, "-o", still, from).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		j := jobFor(filepath.Join(dir, "images"+c.bits), []Source{{Path: still, Format: "heif", Width: 192, Height: 64, Orientation: 1}})
		j.Codec = "png"
		clip := mustRun(t, j)
		if got := levels(t, filepath.Join(clip.File, "000001.png")); got < c.least || got > c.most {
			t.Errorf("a still of %s bits has %d levels in the clip, want %d to %d", c.bits, got, c.least, c.most)
		}
	}
}

// levels counts the values of green in the middle row of an image.
func levels(t *testing.T, name string) int {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[uint32]bool{}
	for x := range m.Bounds().Dx() {
		_, g, _, _ := m.At(x, m.Bounds().Dy()/2).RGBA()
		seen[g] = true
	}
	return len(seen)
}
