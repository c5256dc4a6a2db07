package ingest

import (
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"stillspan/ingest/account"
	"stillspan/internal/photographs"
)

// An aerial survey, 4 to 5 s by a script, 24 long pauses and no hole in the
// numbers: one shoot, nothing lost.
func TestSurveyByScript(t *testing.T) {
	d := scan(t, photographs.Folder(t, "seneca-reduced"))
	s := only(t, d)
	if len(s.Frames) != 167 || len(d.Loose)+len(d.Unreadable) != 0 {
		t.Fatalf("%d frames, %d loose, %d unreadable; want 167 frames", len(s.Frames), len(d.Loose), len(d.Unreadable))
	}
	wantDamaged(t, s, map[string]string{})
	// Every other step is another length, up to 73 s: no interval explains them,
	// and nothing is said to be missing.
	if len(s.Timing.Gaps) != 0 || !s.Timing.Judged && s.Timing.Why == "" {
		t.Errorf("judged %v (%s), gaps %v", s.Timing.Judged, s.Timing.Why, s.Timing.Gaps)
	}
	if len(s.Settings) == 0 {
		t.Error("the exposure jumps and nothing is said of it")
	}
}

// A drone at 7 s with three late starts, every frame another shutter time.
func TestSurveyByDrone(t *testing.T) {
	d := scan(t, photographs.Folder(t, "brighton-reduced"))
	s := only(t, d)
	if len(s.Frames) != 18 || !s.Timing.Judged || len(s.Timing.Gaps) != 0 {
		t.Errorf("%d frames, judged %v, gaps %v", len(s.Frames), s.Timing.Judged, s.Timing.Gaps)
	}
	if s.Timing.IntervalS < 6.9 || s.Timing.IntervalS > 7.3 {
		t.Errorf("interval %.3f s, want about 7 s", s.Timing.IntervalS)
	}
	moved := 0
	for _, c := range s.Settings {
		if c.Field == "shutter" {
			moved++
		}
	}
	if moved != 17 || !strings.Contains(strings.Join(s.Notes, "\n"), "exposure mode is not manual in 18 of 18 frames") {
		t.Errorf("shutter moved %d times, want 17; notes %q", moved, s.Notes)
	}
}

// Fired by hand: kept together, no interval made up.
func TestFiredByHand(t *testing.T) {
	d := scan(t, photographs.Folder(t, "banana-reduced"))
	s := only(t, d)
	if len(s.Frames) != 16 || s.Timing.Judged || !strings.Contains(s.Timing.Why, "no steady interval") {
		t.Errorf("%d frames, judged %v, why %q", len(s.Frames), s.Timing.Judged, s.Timing.Why)
	}
}

// Sets by fixed and moving cameras: frames by sequence and files missing, as their
// numbers and stamps have it.
func TestIntervalSets(t *testing.T) {
	for set, want := range map[string]struct {
		frames    []int
		lost      int
		intervalS float64 // 0 where no time is told
	}{
		"gopro_chamber":          {[]int{24, 32}, 61, 5}, // the numbers of a group of their own
		"gopro_chamber/133GOPRO": {[]int{24}, 0, 5},
		"gopro_chamber/134GOPRO": {[]int{32}, 61, 5},
		"snowpole_forest_w9a":    {[]int{60}, 40, 0},
		"argus_pier":             {[]int{16, 16}, 0, 1800}, // the time is in the names
		"iss_window":             {[]int{60}, 0, 0},
	} {
		d := scan(t, photographs.Folder(t, set))
		var frames []int
		lost := 0
		for _, s := range d.Sequences {
			frames = append(frames, len(s.Frames))
			for _, g := range s.Timing.Gaps {
				if g.Cause == account.FileLost {
					lost += g.Count
				} else {
					t.Errorf("%s: %d frames missing, %s", set, g.Count, g.Cause)
				}
			}
			if s.Timing.Judged != (want.intervalS > 0) || s.Timing.Judged && math.Abs(s.Timing.IntervalS-want.intervalS) > 3*s.Timing.UncertaintyS {
				t.Errorf("%s: interval %.4f s, judged %v", set, s.Timing.IntervalS, s.Timing.Judged)
			}
		}
		if !slices.Equal(frames, want.frames) || lost != want.lost {
			t.Errorf("%s: %v frames, %d lost; want %v, %d", set, frames, lost, want.frames, want.lost)
		}
	}
}

// The time of every frame is the one exiftool, an independent reader, finds.
func TestRealTimesAgreeWithExiftool(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed")
	}
	args := []string{"-json", "-DateTimeOriginal", "-SubSecTimeOriginal#"}
	got := make(map[string]time.Time)
	for _, set := range []string{"seneca-reduced", "brighton-reduced", "banana-reduced"} {
		dir := photographs.Folder(t, set)
		args = append(args, dir)
		for _, f := range only(t, scan(t, dir)).Frames {
			got[filepath.ToSlash(f.Path)] = f.Facts.Taken
		}
	}
	out, err := exec.Command(tool, args...).Output()
	if err != nil {
		t.Fatal(err)
	}
	var rows []struct {
		SourceFile, DateTimeOriginal string
		SubSecTimeOriginal           json.RawMessage // "05" in quotes, 50 without
	}
	if err := json.Unmarshal(out, &rows); err != nil {
		t.Fatal(err)
	}
	if len(rows) != len(got) {
		t.Errorf("exiftool reads %d frames, Scan %d", len(rows), len(got))
	}
	for _, r := range rows {
		word := r.DateTimeOriginal
		if digits := strings.Trim(string(r.SubSecTimeOriginal), `"`); digits != "" {
			word += "." + digits
		}
		want, err := time.Parse("2006:01:02 15:04:05", word)
		if taken, found := got[r.SourceFile]; err != nil || !found || !taken.Equal(want) {
			t.Errorf("%s: %v, exiftool %s (%v)", r.SourceFile, taken, word, err)
		}
	}
}

// Every file of all sets, sample stubs and damaged ones among them, turns up
// once: as a frame, the raw half of one, or counted as left alone.
func TestEveryFileIsAccountedFor(t *testing.T) {
	dir := photographs.Folder(t, ".")
	files := 0
	err := filepath.WalkDir(dir, func(path string, entry os.DirEntry, err error) error {
		if err == nil && !entry.IsDir() {
			files++
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	d := scan(t, dir)
	seen := make(map[string]bool)
	told := 0
	count := func(frames []Frame) {
		for _, f := range frames {
			if seen[f.Name] {
				t.Errorf("%s turns up twice", f.Name)
			}
			seen[f.Name] = true
			told++
		}
	}
	for _, s := range d.Sequences {
		count(s.Frames)
	}
	count(d.Loose)
	count(d.Unreadable)
	for _, g := range d.Ignored {
		told += g.Count
	}
	if told != files {
		t.Errorf("%d files, %d told of: %v", files, told, d.Ignored)
	}
}
