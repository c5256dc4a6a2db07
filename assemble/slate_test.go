package assemble

import (
	"encoding/binary"
	"os/exec"
	"path/filepath"
	"testing"
)

// The slate stands before the first frame, in every part once, and has writing on
// black; the poster is the frame of the clip that its still went into, in sRGB even of
// a wide clip.
func TestSlateAndPoster(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	j := jobFor(filepath.Join(dir, "frames"), stills(t, dir, 5))
	j.Codec, j.Slate = "png", &Slate{Frames: 2, Title: "harbour dawn", Lines: []string{"1 May 2026", "24 frames at 24 fps"}}
	clip := mustRun(t, j)
	if clip.Frames != 7 || clip.Slate != 2 || clip.Filled != 0 || len(j.Shown()) != 7 || !j.Shown()[1].Slate || j.Shown()[2].Slate {
		t.Errorf("%+v, %v", clip, j.Shown())
	}
	v := lumas(t, clip.File)
	if v[0] != v[1] || v[0] < 2 || v[0] > 40 || v[2] < 40 {
		t.Errorf("mean codes %.1f", v)
	}
	j.Out, j.Codec, j.Space, j.SegmentFrames = filepath.Join(dir, "a.mkv"), "ffv1", "bt2020-pq", 2
	if clip := mustRun(t, j); clip.Frames != 7 || clip.Slate != 2 {
		t.Errorf("in parts: %+v", clip)
	}
	// Its writing is graphics white, 203 cd/m2, code 573 of PQ (ITU-R BT.2408), also
	// where the stills' white is brighter.
	j.Out, j.WhiteNits, j.SegmentFrames = filepath.Join(dir, "b.mkv"), 1000, 0
	mustRun(t, j)
	b, err := exec.Command("ffmpeg", "-v", "error", "-i", j.Out, "-frames:v", "1", "-vf", "format=yuv444p10le,extractplanes=y", "-f", "rawvideo", "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	top := uint16(0)
	for i := 0; i+1 < len(b); i += 2 {
		top = max(top, binary.LittleEndian.Uint16(b[i:]))
	}
	if top < 571 || top > 575 {
		t.Errorf("the slate's white has code %d", top)
	}
	for k := range 5 {
		img, err := Poster(t.Context(), j, k)
		if err != nil {
			t.Fatal(err)
		}
		b := img.Bounds()
		r, g, bl, _ := img.At(b.Dx()/2, b.Dy()/2).RGBA()
		for _, got := range []uint32{r, g, bl} {
			if d := float64(got)/257 - v[2+k]; d > 1 || d < -1 {
				t.Errorf("poster of still %d has code %.1f, its frame %.1f", k, float64(got)/257, v[2+k])
			}
		}
	}
}
