package timecode

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stillspan/internal/playback"
)

var (
	ntsc   = playback.Rate{Num: 30000, Den: 1001}
	double = playback.Rate{Num: 60000, Den: 1001}
	film   = playback.Rate{Num: 24000, Den: 1001}
)

// The counts of frames are those of SMPTE ST 12-1 drop-frame as worked by the
// reference implementation of OpenTimelineIO 0.18.1 (to_timecode), and the
// residue of 108 labels an hour of dropframetimecode.org.
func TestLabels(t *testing.T) {
	for _, c := range []struct {
		rate  playback.Rate
		frame int
		want  string
	}{
		{ntsc, 0, "00:00:00;00"}, {ntsc, 1799, "00:00:59;29"}, {ntsc, 1800, "00:01:00;02"},
		{ntsc, 17981, "00:09:59;29"}, {ntsc, 17982, "00:10:00;00"}, {ntsc, 107892, "01:00:00;00"},
		{ntsc, 2589407, "23:59:59;29"}, {ntsc, 2589408, "00:00:00;00"},
		{double, 3599, "00:00:59;59"}, {double, 3600, "00:01:00;04"}, {double, 35964, "00:10:00;00"},
		{film, 24 * 3600, "01:00:00:00"}, {playback.Rate{Num: 25, Den: 1}, 25*86400 - 1, "23:59:59:24"},
	} {
		_, drop, _ := Counts(c.rate)
		if got := (Code{Frame: c.frame, Rate: c.rate, Drop: drop}).String(); got != c.want {
			t.Errorf("frame %d at %s is %s, want %s", c.frame, c.rate, got, c.want)
		}
		p, err := Parse(c.want, c.rate)
		if err != nil || p.Frame != c.frame && c.frame != 2589408 {
			t.Errorf("%s at %s is frame %d (%v), want %d", c.want, c.rate, p.Frame, err, c.frame)
		}
	}
}

// Each frame has a label of its own that reads back as that frame, and the day
// ends where it began.
func TestEveryFrame(t *testing.T) {
	for _, r := range []playback.Rate{ntsc, double, film} {
		_, drop, _ := Counts(r)
		c := Code{Rate: r, Drop: drop}
		before := ""
		for f := range 80_000 { // more than 20 minutes
			c.Frame = f
			s := c.String()
			if s <= before {
				t.Fatalf("%s: %s follows %s", r, s, before)
			}
			if p, err := Parse(s, r); err != nil || p != c {
				t.Fatalf("%s reads back as %+v, %v; want %+v", s, p, err, c)
			}
			before = s
		}
		c.Frame = c.day() - 1
		if c = c.Add(1); c.Frame != 0 {
			t.Errorf("after the last of the day comes %v", c)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct {
		rate playback.Rate
		in   string
	}{
		{ntsc, "00:01:00;00"}, {ntsc, "00:01:00;01"}, {double, "00:01:00;03"}, {ntsc, "00:00:00;30"},
		{playback.Rate{Num: 24, Den: 1}, "00:00:00;00"}, {playback.Rate{Num: 30, Den: 1}, "00:00:00;00"}, {film, "00:00:00:24"},
		{ntsc, "24:00:00;00"}, {ntsc, "1:00:00;00"}, {ntsc, ""}, {playback.Rate{Num: 12, Den: 1}, "00:00:00:00"},
		{playback.Rate{Num: 25000, Den: 1001}, "00:00:00:00"},
	} {
		if got, err := Parse(c.in, c.rate); err == nil {
			t.Errorf("%q at %s was read as %v", c.in, c.rate, got)
		}
	}
	if _, err := Parse("00:01:00:00", ntsc); err != nil {
		t.Errorf("non-drop at 29.97: %v", err)
	}
}

func TestAtClock(t *testing.T) {
	at := func(h, m, s, ms int) time.Time {
		return time.Date(2026, 5, 1, h, m, s, ms*1e6, time.FixedZone("", 7200))
	}
	for _, c := range []struct {
		when time.Time
		rate playback.Rate
		want string
	}{
		{at(5, 12, 4, 0), ntsc, "05:12:04;00"}, {at(5, 12, 0, 0), ntsc, "05:12:00;02"}, {at(5, 10, 0, 0), ntsc, "05:10:00;00"},
		{at(5, 12, 0, 0), double, "05:12:00;04"}, {at(23, 59, 59, 999), film, "23:59:59:23"}, {at(5, 12, 4, 500), playback.Rate{Num: 25, Den: 1}, "05:12:04:12"},
	} {
		if got, ok := AtClock(c.when, c.rate); !ok || got.String() != c.want {
			t.Errorf("%s at %s: %s, want %s", c.when, c.rate, got, c.want)
		}
	}
	if _, ok := AtClock(at(1, 2, 3, 0), playback.Rate{Num: 10, Den: 1}); ok {
		t.Error("10 frames a second have a time code")
	}
}

// ffmpeg writes the label into a QuickTime file and ffprobe reads it back, at
// each rate.
func TestAgainstFFmpeg(t *testing.T) {
	if _, err := exec.LookPath("ffmpeg"); err != nil {
		t.Skip(err)
	}
	for _, r := range playback.StandardRates() {
		c, ok := AtClock(time.Date(2026, 5, 1, 5, 41, 0, 0, time.UTC), r)
		if !ok {
			t.Fatalf("no time code at %s", r)
		}
		c = c.Add(1801)
		out := filepath.Join(t.TempDir(), "t.mov")
		if b, err := exec.Command("ffmpeg", "-v", "error", "-f", "lavfi", "-i", "color=s=32x32:r="+r.String(), "-frames:v", "2", "-c:v", "mpeg4", "-timecode", c.String(), out).CombinedOutput(); err != nil || len(b) > 0 {
			t.Errorf("%s: %v: %s", c, err, b)
		}
		b, _ := exec.Command("ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries", "stream_tags=timecode", "-of", "csv=p=0", out).Output()
		if got := strings.TrimSpace(string(b)); got != c.String() {
			t.Errorf("at %s ffprobe reads %q, want %s", r, got, c)
		}
	}
}
