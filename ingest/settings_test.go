package ingest

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"stillspan/ingest/meta"
	"stillspan/internal/stamp"
)

// The spelling is that of camera displays (common practice, no published
// source): 1/125 s, 0.5 s, 30 s, f/8, ISO 400.
func TestSettingChangesAreSpelled(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 20, func(i int, f *stamp.Fields) {
		f.Orientation, f.FocusM = 1, 4
		if i >= 4 {
			f.ExposureS = 0.5
		}
		if i >= 6 {
			f.FNumber = 5.6
		}
		if i >= 8 {
			f.ISO = 400
		}
		if i >= 10 {
			f.BiasEV = -1.0 / 3
		}
		if i >= 12 {
			f.WhiteBalance = "auto"
		}
		if i >= 14 {
			f.FocusM = math.Inf(1)
		}
		if i >= 16 {
			f.FocalMM = 24.5
		}
		if i >= 18 {
			f.ExposureMode, f.Program = "auto", "aperture priority"
		}
	})
	s := only(t, scan(t, dir))
	want := []SettingChange{
		{4, "shutter", "1/125 s", "0.5 s"}, {6, "aperture", "f/8", "f/5.6"}, {8, "iso", "ISO 100", "ISO 400"},
		{10, "exposure compensation", "0 EV", "-0.3 EV"}, {12, "white balance", "manual", "auto"}, {14, "focus distance", "4 m", "infinity"},
		{16, "focal length", "24 mm", "24.5 mm"}, {18, "exposure mode", "manual", "auto"}, {18, "exposure program", "manual", "aperture priority"},
	}
	if fmt.Sprint(s.Settings) != fmt.Sprint(want) {
		t.Errorf("got  %v\nwant %v", s.Settings, want)
	}
	notes := strings.Join(s.Notes, "\n")
	for _, word := range []string{"exposure mode is not manual in 2 of 20 frames", "white balance is automatic in 8 of 20 frames"} {
		if !strings.Contains(notes, word) {
			t.Errorf("notes lack %q:\n%s", word, notes)
		}
	}
}

// A value that some frames do not state has not moved.
func TestUnstatedSettingsHaveNotMoved(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 12, func(i int, f *stamp.Fields) {
		if i%3 == 1 {
			f.ExposureS, f.FNumber, f.ISO, f.WhiteBalance, f.ExposureMode, f.Program, f.FocalMM = 0, 0, 0, "", "", "", 0
		}
	})
	if s := only(t, scan(t, dir)); len(s.Settings)+len(s.Notes) != 0 {
		t.Errorf("settings %v, notes %q", s.Settings, s.Notes)
	}
}

// The stops are those of ISO 12232 and the APEX relations of CIPA DC-008, annex C:
// a doubled time or sensitivity is one stop, a doubled f-number two.
func TestExposureMoves(t *testing.T) {
	base := meta.Facts{Width: 1, ExposureS: 1.0 / 60, FNumber: 8, ISO: 100}
	start := time.Date(2026, 5, 1, 18, 0, 0, 0, time.UTC)
	type move struct {
		first, last, steps int
		net                float64
		ramp               bool
		mode               string
		lasts              time.Duration
		moved              string
	}
	for _, c := range []struct {
		name string
		edit func(i int, f *meta.Facts)
		want []move
	}{
		{"steady", func(int, *meta.Facts) {}, nil},
		{"one stop of ISO", func(i int, f *meta.Facts) {
			if i >= 20 {
				f.ISO = 200
			}
		}, []move{{20, 20, 1, 1, false, "", 5 * time.Second, "iso ISO 100 ISO 200"}}},
		{"ISO and shutter cancel at one frame", func(i int, f *meta.Facts) {
			if i >= 20 {
				f.ISO, f.ExposureS = 200, 1.0/120
			}
		}, []move{{20, 20, 1, 0, false, "", 5 * time.Second, "shutter 1/60 s 1/120 s, iso ISO 100 ISO 200"}}},
		{"and at two", func(i int, f *meta.Facts) {
			if i >= 20 {
				f.FNumber = 4
			}
			if i >= 22 {
				f.ExposureS = 1.0 / 240
			}
		}, []move{{20, 22, 1, 0, false, "", 15 * time.Second, "aperture f/8 f/4, shutter 1/60 s 1/240 s"}}},
		{"two by themselves", func(i int, f *meta.Facts) {
			if i >= 20 {
				f.ISO = 200
			}
			if i >= 40 {
				f.FNumber = 16
			}
			f.ExposureMode = "manual"
		}, []move{
			{20, 20, 1, 1, false, "manual", 5 * time.Second, "iso ISO 100 ISO 200"},
			{40, 40, 1, -2, false, "manual", 5 * time.Second, "aperture f/8 f/16"},
		}},
		{"a ramp from day to night by hand", func(i int, f *meta.Facts) {
			f.Program = "manual"
			f.ExposureS = math.Exp2(float64(min(i, 50)/10)) / 60
			if i >= 55 {
				f.ISO = 400
			}
		}, []move{{10, 55, 6, 7, true, "manual", 46 * 5 * time.Second, "shutter 1/60 s 0.5 s, iso ISO 100 ISO 400"}}},
		{"to and fro by the camera", func(i int, f *meta.Facts) {
			f.Program = "aperture priority"
			if i/10%2 == 1 {
				f.ExposureS = 1.0 / 120
			}
		}, []move{{10, 50, 5, -1, false, "aperture priority", 41 * 5 * time.Second, "shutter 1/60 s 1/120 s"}}},
	} {
		frames := make([]Frame, 60)
		for i := range frames {
			frames[i].Facts = base
			frames[i].Facts.Taken = start.Add(time.Duration(i) * 5 * time.Second)
			c.edit(i, &frames[i].Facts)
		}
		var got []move
		for _, m := range exposureMoves(frames, settingChanges(frames)) {
			var moved []string
			for _, s := range m.Settings {
				moved = append(moved, s.Field+" "+s.From+" "+s.To)
			}
			got = append(got, move{m.First, m.Last, m.Steps, math.Round(1e6*m.NetEV)/1e6 + 0, m.Ramp, m.Mode, m.Lasts, strings.Join(moved, ", ")})
		}
		if fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%s:\n got %v\nwant %v", c.name, got, c.want)
		}
	}
}

// A camera that points at the zenith flips its flag without being turned.
func TestOneOrientationHolds(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 20, func(i int, f *stamp.Fields) {
		f.Orientation = 6
		if i == 0 || i == 7 || i == 8 {
			f.Orientation = 1
		}
	})
	s := only(t, scan(t, dir))
	if s.Turned == nil || *s.Turned != (Turned{Held: 6, Count: 3, First: 0}) {
		t.Fatalf("turned: %+v", s.Turned)
	}
	for i := range s.Frames {
		if o := s.Frames[i].Facts.Orientation; o != 6 {
			t.Errorf("frame %d: orientation %d", i, o)
		}
	}
	for _, c := range s.Settings {
		t.Errorf("the flag is no setting: %v", c)
	}
}

func TestExposureLongerThanInterval(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 20, func(i int, f *stamp.Fields) {
		f.ExposureS = 4
		if i >= 15 {
			f.ExposureS = 6
		}
	})
	s := only(t, scan(t, dir))
	if fmt.Sprint(s.Timing.TooLong) != "[15 16 17 18 19]" {
		t.Errorf("too long %v", s.Timing.TooLong)
	}
}
