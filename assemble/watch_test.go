package assemble

import (
	"fmt"
	"image/color"
	"path/filepath"
	"testing"
)

// What is shown on the way to the encoder is what ffmpeg decodes from the
// finished clip: every frame in order, filled ones and those of later segments
// too, to within what coding changes.
func TestWatchSeesTheClip(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	var src []Source
	for i := range 6 {
		name := filepath.Join(dir, fmt.Sprintf("C%d.jpg", i))
		writeStill(t, name, stillW, stillH, func(x, y int) color.NRGBA {
			return color.NRGBA{uint8(40 + x + 10*i), uint8(60 + y), uint8(200 - x), 255}
		})
		src = append(src, Source{Path: name, Format: "jpeg", Width: stillW, Height: stillH, Orientation: 1, CorrectionEV: 0.1 * float64(i%2)})
	}
	for _, preset := range []string{"delivery", "edit"} {
		job := jobFor(filepath.Join(dir, preset+".mov"), src)
		job.Preset, job.SegmentFrames, job.GapMode, job.Gaps = preset, 3, GapBlend, []Gap{{After: 1, Count: 2}}
		p, err := Prepare(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		const w, h = 12, 8
		var shown [][]byte
		p.Watch(w, h, func(i int, rgb []byte) {
			if i != len(shown) {
				t.Fatalf("frame %d shown after %d", i, len(shown))
			}
			shown = append(shown, append([]byte(nil), rgb...))
		})
		clip, err := p.Run(t.Context(), nil)
		if err != nil {
			t.Fatal(err)
		}
		if len(shown) != 8 || clip.Frames != 8 {
			t.Fatalf("%s: %d frames shown, %d in the clip, want 8", preset, len(shown), clip.Frames)
		}
		readClip(t, clip.File, w, h, func(i int, rgb []byte) {
			for k := range rgb {
				if d := int(rgb[k]) - int(shown[i][k]); d < -4 || d > 4 {
					t.Fatalf("%s: frame %d, value %d: shown %d, in the clip %d", preset, i, k, shown[i][k], rgb[k])
				}
			}
		})
	}
}
