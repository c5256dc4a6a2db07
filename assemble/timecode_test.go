package assemble

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stillspan/internal/playback"
)

// Time code (SMPTE ST 12-1) and the moment of taking get into every container,
// through parts that are joined too, and ffprobe reads them back; so do frames
// that hold an end.
func TestTimecode(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	src := stills(t, dir, 6)
	taken := time.Date(2026, 5, 1, 3, 12, 4, 0, time.UTC)
	for _, c := range []struct {
		ext, codec, label string
		rate              playback.Rate
		segment           int
	}{
		{".mp4", "h264", "23:59:59:23", playback.Rate{Num: 24, Den: 1}, 0},
		{".mov", "prores-hq", "05:12:00;02", playback.Rate{Num: 30000, Den: 1001}, 3},
		{".mkv", "h264", "05:12:04;00", playback.Rate{Num: 60000, Den: 1001}, 0},
		{".mp4", "h264", "10:00:00:00", playback.Rate{Num: 30000, Den: 1001}, 3},
		{".mkv", "ffv1", "10:00:00:24", playback.Rate{Num: 25, Den: 1}, 3},
	} {
		out := filepath.Join(t.TempDir(), "clip"+c.ext)
		j := jobFor(out, src)
		j.Codec, j.Rate, j.SegmentFrames, j.Timecode, j.Created = c.codec, c.rate, c.segment, c.label, taken
		j.HoldFirst, j.HoldLast = 2, 3
		clip := mustRun(t, j)
		if clip.Frames != 11 || clip.Held != 5 || clip.Filled != 0 {
			t.Errorf("%s: %d frames, %d held, %d filled", c.ext, clip.Frames, clip.Held, clip.Filled)
		}
		if clip.Timecode != c.label || !clip.Created.Equal(taken) {
			t.Errorf("%s %s: time code %q of %s, taken %s", c.ext, c.codec, clip.Timecode, c.label, clip.Created)
		}
	}
	// ffmpeg takes these with exit code 0, and writes another label or none.
	for _, label := range []string{"00:01:00;00", "00:00:00;00", "10:00:00:30"} {
		j := jobFor(filepath.Join(dir, "bad.mov"), src)
		j.Timecode = label
		if strings.HasPrefix(label, "00:01") {
			j.Rate = playback.Rate{Num: 30000, Den: 1001}
		}
		if _, err := Prepare(t.Context(), j); err == nil || !strings.Contains(err.Error(), label) {
			t.Errorf("%s: %v", label, err)
		}
	}
	// A clip without the label that was ordered is not taken.
	j := jobFor(filepath.Join(dir, "plain.mov"), src)
	mustRun(t, j)
	clip, err := Verify(t.Context(), j.Out, Expect{Timecode: "10:00:00:00", Created: taken})
	if err != nil || clip.Verified || len(clip.Problems) != 2 {
		t.Errorf("no label: %v, %v", clip.Problems, err)
	}
}
