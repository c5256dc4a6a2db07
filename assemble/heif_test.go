package assemble

import (
	"image"
	"image/color"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/disintegration/imaging"
)

// Stills deeper than 8 bits keep their depth: a ramp over twelve codes of 8 bits
// has some fifty levels at 10 bits, as libheif's own encoder wrote it, as many as
// pixels at 16, and must have them in the clip's frames, too.
func TestDepth(t *testing.T) {
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
		ext, format string
		ramp        image.Image
		make        string // what makes OUT of IN, a PNG; empty for that itself
		least, most int
	}{
		{"8.heic", "heif", shallow, "heif-enc -q 100 -b 8 -o OUT IN", 8, 20},
		{"10.heic", "heif", deep, "heif-enc -q 100 -b 10 -o OUT IN", 40, 400},
		{"10.avif", "avif", deep, "ffmpeg -v error -i IN -c:v libaom-av1 -still-picture 1 -cpu-used 8 -crf 2 -pix_fmt yuv420p10le OUT", 40, 400},
		{"16.png", "png", deep, "", 150, 400},
		{"16.tif", "tiff", deep, "ffmpeg -v error -i IN OUT", 150, 400},
	} {
		from, still := filepath.Join(dir, c.ext+".ramp.png"), filepath.Join(dir, c.ext)
		if err := imaging.Save(c.ramp, from); err != nil {
			t.Fatal(err)
		}
		if c.make == "" {
			still = from
		} else {
			args := strings.Fields(strings.NewReplacer("IN", from, "OUT", still).Replace(c.make))
			if out, err := exec.Command(args[0], args[1:]...).CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, out)
			}
		}
		j := jobFor(filepath.Join(dir, "images"+c.ext), []Source{{Path: still, Format: c.format, Width: 192, Height: 64, Orientation: 1}})
		j.Codec = "png"
		clip := mustRun(t, j)
		if got := levels(t, filepath.Join(clip.File, "000001.png")); got < c.least || got > c.most {
			t.Errorf("%s has %d levels in the clip, want %d to %d", c.ext, got, c.least, c.most)
		}
	}
}

// levels counts the values of green in the middle row of an image.
func levels(t *testing.T, name string) int {
	t.Helper()
	m, err := imaging.Open(name)
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
