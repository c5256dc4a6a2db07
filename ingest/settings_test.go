package ingest

import (
	"fmt"
	"math"
	"strings"
	"testing"

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

func TestAutomaticExposureIsNoted(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 20, func(i int, f *stamp.Fields) { f.ExposureS = 1 / float64(100+i) })
	if s := only(t, scan(t, dir)); len(s.Notes) != 1 || s.Notes[0] != "shutter moved 19 times in 20 frames: exposure was automatic" {
		t.Errorf("notes %q", s.Notes)
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
	if fmt.Sprint(s.Timing.TooLong) != "[15 16 17 18 19]" || !strings.Contains(strings.Join(s.Notes, "\n"), "exposure is longer than the interval in 5 frames") {
		t.Errorf("too long %v, notes %q", s.Timing.TooLong, s.Notes)
	}
}

func TestShutterWords(t *testing.T) {
	for s, want := range map[float64]string{
		1.0 / 8000: "1/8000 s", 1.0 / 125: "1/125 s", 0.25: "1/4 s", 1.0 / 3: "0.3 s", 0.4: "0.4 s", 0.5: "0.5 s", 1: "1 s", 1.3: "1.3 s", 30: "30 s", 120: "120 s",
		0: "", -1: "", math.Inf(1): "", math.NaN(): "",
	} {
		if got := shutterWord(s); got != want {
			t.Errorf("%g s is spelled %q, want %q", s, got, want)
		}
	}
}
