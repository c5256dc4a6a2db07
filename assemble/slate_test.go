package assemble

import (
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
