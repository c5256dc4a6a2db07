package format

import (
	"bytes"
	"os/exec"
	"testing"
)

// ljpeg is a picture of noise over a drawn one that ffmpeg packs as lossless
// JPEG, in the samples that pixels names.
func ljpeg(t testing.TB, size, pixels string) []byte {
	t.Helper()
	cmd := exec.Command("ffmpeg", "-v", "error", "-f", "lavfi", "-i", "testsrc2=size="+size+",noise=alls=12", "-frames:v", "1", "-pix_fmt", pixels, "-c:v", "ljpeg", "-strict", "unofficial", "-f", "image2pipe", "-")
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// What ffmpeg packs is sound; with a stretch of other data in it, or with bytes
// lost or doubled, it is not.
func TestLossless(t *testing.T) {
	for _, pixels := range []string{"bgr24", "yuvj420p", "yuvj422p", "yuvj444p"} {
		whole := ljpeg(t, "640x400", pixels)
		look := func(data []byte) bool {
			all := append(make([]byte, 100), data...)
			return losslessDamage(bytes.NewReader(all), []part{{100, int64(len(data))}}) != nil
		}
		padded := append(bytes.Clone(whole), make([]byte, 5000)...)
		for _, sound := range [][]byte{whole, padded, whole[:len(whole)-2]} {
			if look(sound) {
				t.Errorf("%s: %d sound bytes of %d are none", pixels, len(sound), len(whole))
			}
		}
		other := ljpeg(t, "320x200", "bgr24")
		told, all := 0, 0
		for from := 1000; from+5000 < len(whole); from += 49831 {
			foreign := bytes.Clone(whole)
			copy(foreign[from:from+4096], other[len(other)/2:])
			lost := append(bytes.Clone(whole[:from]), whole[from+512:]...)
			double := append(bytes.Clone(whole[:from]), whole[from-512:]...)
			zeros := bytes.Clone(whole)
			clear(zeros[from : from+2048])
			for _, bad := range [][]byte{foreign, lost, double, zeros, whole[:from]} {
				all++
				if look(bad) {
					told++
				}
			}
		}
		t.Logf("%s: %d of %d told", pixels, told, all)
		if told < all*9/10 {
			t.Errorf("%s: %d of %d told", pixels, told, all)
		}
	}
}

// A picture of 24 million pixels, three samples each.
func BenchmarkLossless(b *testing.B) {
	data := ljpeg(b, "6000x4000", "bgr24")
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if d := losslessDamage(bytes.NewReader(data), []part{{0, int64(len(data))}}); d != nil {
			b.Fatal(d)
		}
	}
}
