package assemble

import (
	"fmt"
	"image/color"
	"math"
	"path/filepath"
	"testing"

	"github.com/disintegration/imaging"
)

// Frames that are blended are the mean of their stills' light, channel by channel
// (IEC 61966-2-1: 188 has half the light of 255, and 140.1 the mean of 60 and 180),
// also in a clip that is cut into parts; what is missing lies between frames.
func TestFrameBlend(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	var src []Source
	for i, c := range []color.NRGBA{{60, 60, 60, 255}, {180, 180, 180, 255}, {255, 0, 0, 255}, {0, 0, 255, 255}, {90, 90, 90, 255}} {
		name := filepath.Join(dir, string(rune('a'+i))+".png")
		writeStill(t, name, stillW, stillH, func(int, int) color.NRGBA { return c })
		src = append(src, Source{Path: name, Format: "png", Width: stillW, Height: stillH, Orientation: 1, Joins: i == 1 || i == 3})
	}
	j := jobFor(filepath.Join(dir, "frames"), src)
	j.Codec, j.GapMode, j.Gaps, j.HoldLast = "png", GapHold, []Gap{{After: 1, Count: 1}}, 1
	clip := mustRun(t, j)
	want := [][3]float64{{137.1, 137.1, 137.1}, {137.1, 137.1, 137.1}, {187.5, 0, 187.5}, {90, 90, 90}, {90, 90, 90}}
	if clip.Frames != len(want) || clip.Filled != 1 || clip.Held != 1 || len(j.Shown()) != len(want) {
		t.Fatalf("%+v", clip)
	}
	for i, w := range want {
		m, err := imaging.Open(filepath.Join(clip.File, fmt.Sprintf("%06d.png", i+1)))
		if err != nil {
			t.Fatal(err)
		}
		r, g, b, _ := m.At(stillW/2, stillH/2).RGBA()
		for k, v := range []uint32{r, g, b} {
			if math.Abs(float64(v)/257-w[k]) > 0.8 {
				t.Errorf("frame %d, channel %d is %.2f, want %.1f", i, k, float64(v)/257, w[k])
			}
		}
	}
	if s := j.Shown()[2]; s.Source != 2 || s.Last != 3 {
		t.Errorf("frame 2 shows %+v", s)
	}
	j.Out, j.Codec, j.SegmentFrames = filepath.Join(dir, "parts.mkv"), "ffv1", 2
	if parts := Segments(j); len(parts) != 2 || len(parts[0].Sources) != 4 {
		t.Errorf("%d parts", len(parts))
	}
	if clip := mustRun(t, j); clip.Frames != len(want) {
		t.Errorf("in parts: %+v", clip)
	}
}
