package ingest

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"stillspan/ingest/account"
	"stillspan/internal/stamp"
)

// shots writes n stills 5 s apart by the names given.
func shots(t *testing.T, dir string, n int, name func(i int) string) {
	t.Helper()
	for i := range n {
		still(t, dir, name(i), evening.Add(time.Duration(i)*5*time.Second), nil)
	}
}

// regular fails unless s has n frames in the order shot and nothing to say.
func regular(t *testing.T, s Sequence, n int, name func(i int) string) {
	t.Helper()
	tm := s.Timing
	if len(s.Frames) != n || len(tm.Gaps)+len(tm.Irregular)+len(tm.Delays)+len(tm.Changes)+len(s.Notes) != 0 {
		t.Errorf("%d frames of %d, gaps %v, irregular %v, delays %v, notes %q", len(s.Frames), n, tm.Gaps, tm.Irregular, tm.Delays, s.Notes)
	}
	if timed := !s.Frames[0].Facts.Taken.IsZero() || !s.Frames[n-1].Facts.Taken.IsZero(); tm.Judged != timed {
		t.Errorf("judged %v: %s", tm.Judged, tm.Why)
	}
	for i := range min(n, len(s.Frames)) {
		if s.Frames[i].Name != name(i) {
			t.Errorf("frame %d is %s, want %s", i, s.Frames[i].Name, name(i))
			return
		}
	}
}

// One counter on two cards that take turns.
func TestTwoCardsTakeTurns(t *testing.T) {
	dir := t.TempDir()
	name := func(i int) string { return fmt.Sprintf("card%d/DCIM/100STILL/FRAM%04d.JPG", i%2, i+1) }
	shots(t, dir, 40, name)
	s := only(t, scan(t, dir))
	regular(t, s, 40, name)
	if s.Frames[39].Number != 40 {
		t.Errorf("the last has number %d, want 40", s.Frames[39].Number)
	}
}

// Two cards whose own counts overlap: numbers tell nothing where they change.
func TestOverlappingCards(t *testing.T) {
	for what, name := range map[string]func(i int) string{
		"one after the other, the count starts again": func(i int) string {
			return fmt.Sprintf("card%d/DCIM/100STILL/FRAM%04d.JPG", i/20, i%20+1)
		},
		"one after the other, the second was in use": func(i int) string {
			return fmt.Sprintf("card%d/DCIM/100STILL/FRAM%04d.JPG", i/20, i%20+1+i/20*70)
		},
		"in turns, each with its own count": func(i int) string {
			return fmt.Sprintf("card%d/DCIM/100STILL/FRAM%04d.JPG", i%2, i/2+1+20*(i%2))
		},
	} {
		t.Run(what, func(t *testing.T) {
			dir := t.TempDir()
			shots(t, dir, 40, name)
			regular(t, only(t, scan(t, dir)), 40, name)
		})
	}
}

// Frames missing where the cards change are of unknown cause if the counts do
// not meet, and never fired if they do.
func TestGapAtCardChange(t *testing.T) {
	for second, want := range map[int]account.Cause{21: account.NotFired, 24: account.FileLost, 1: account.Unknown, 500: account.Unknown} {
		dir := t.TempDir()
		for i := range 40 {
			at, name := evening.Add(time.Duration(i)*5*time.Second), fmt.Sprintf("A/DCIM/100STILL/FRAM%04d.JPG", i+1)
			if i >= 20 {
				at, name = at.Add(15*time.Second), fmt.Sprintf("B/DCIM/100STILL/FRAM%04d.JPG", i-20+second)
			}
			still(t, dir, name, at, nil)
		}
		gaps := only(t, scan(t, dir)).Timing.Gaps
		if len(gaps) != 1 || gaps[0].Cause != want || gaps[0].Count != 3 || gaps[0].After != 19 {
			t.Errorf("second card from %04d: %v, want 3 frames %s", second, gaps, want)
		}
	}
}

// Two bodies of one model, shooting into one folder tree at the same time.
func TestTwoBodies(t *testing.T) {
	dir := t.TempDir()
	for i := range 30 {
		still(t, dir, fmt.Sprintf("FRAM%04d.JPG", i+1), evening.Add(time.Duration(i)*5*time.Second), nil)
		still(t, dir, fmt.Sprintf("FRAM%04d.JPG", i+101), evening.Add(time.Duration(i)*7*time.Second), func(f *stamp.Fields) { f.Serial = "2" })
	}
	d := scan(t, dir)
	if len(d.Sequences) != 2 {
		t.Fatalf("%d sequences, want 2", len(d.Sequences))
	}
	for k, interval := range []float64{5, 7} {
		s := d.Sequences[k]
		if d := s.Timing.IntervalS - interval; len(s.Frames) != 30 || d*d > 0.01 || len(s.Timing.Gaps) != 0 {
			t.Errorf("%d frames at %.3f s, want 30 at %g s; gaps %v", len(s.Frames), s.Timing.IntervalS, interval, s.Timing.Gaps)
		}
	}
}

// A counter that starts again in mid-shoot, early and late in its range.
func TestCounterReset(t *testing.T) {
	for _, last := range []int{320, 4000, 6000, 9500} {
		dir := t.TempDir()
		name := func(i int) string {
			if i < 20 {
				return fmt.Sprintf("DCIM/100STILL/FRAM%04d.JPG", last-19+i)
			}
			return fmt.Sprintf("DCIM/101STILL/FRAM%04d.JPG", i-19)
		}
		shots(t, dir, 40, name)
		regular(t, only(t, scan(t, dir)), 40, name)
	}
}

// 9999 to 0001, in a new folder and in the same one, slowly and two a second.
func TestRollover(t *testing.T) {
	for _, folders := range []int{1, 2} {
		for _, step := range []time.Duration{5 * time.Second, 500 * time.Millisecond} {
			dir := t.TempDir()
			name := func(i int) string {
				if n := 9991 + i; n <= 9999 { // 9999 and 0001 fall into one second
					return fmt.Sprintf("DCIM/100STILL/FRAM%04d.JPG", n)
				}
				return fmt.Sprintf("DCIM/%dSTILL/FRAM%04d.JPG", 99+folders, i-8)
			}
			for i := range 20 {
				still(t, dir, name(i), evening.Add(time.Duration(i)*step), nil)
			}
			s := only(t, scan(t, dir))
			regular(t, s, 20, name)
			if s.Frames[19].Number != 10010 {
				t.Errorf("the last has number %d, want 10010", s.Frames[19].Number)
			}
		}
	}
}

// Counters of five and more digits run on beyond 9999.
func TestLongNumbers(t *testing.T) {
	for _, first := range []int{9990, 99990, 1234567} {
		dir := t.TempDir()
		name := func(i int) string { return fmt.Sprintf("shot_%d.jpg", first+i) }
		shots(t, dir, 20, name)
		s := only(t, scan(t, dir))
		regular(t, s, 20, name)
		if s.Frames[19].Number != first+19 {
			t.Errorf("the last has number %d, want %d", s.Frames[19].Number, first+19)
		}
	}
}

// The hour of daylight saving, a time zone of half an hour and a clock put
// right by hand are no gap. Forwards only whole half hours can be told from a
// pause.
func TestClockSetDuringShoot(t *testing.T) {
	for _, by := range []time.Duration{time.Hour, -time.Hour, 5*time.Hour + 30*time.Minute, -7*time.Minute - 12*time.Second} {
		dir := t.TempDir()
		for i := range 40 {
			at := evening.Add(time.Duration(i) * 5 * time.Second)
			if i >= 20 {
				at = at.Add(by)
			}
			still(t, dir, fmt.Sprintf("FRAM%04d.JPG", i+1), at, nil)
		}
		s := only(t, scan(t, dir))
		tm := &s.Timing
		if len(tm.Gaps)+len(tm.Irregular)+len(tm.Delays) != 0 || len(tm.ClockSets) != 1 ||
			tm.ClockSets[0].Index != 20 || math.Abs(tm.ClockSets[0].ByS-by.Seconds()) > 1 {
			t.Errorf("by %s: gaps %v, delays %v, clock sets %v", by, tm.Gaps, tm.Delays, tm.ClockSets)
		}
	}
}

// A damaged frame among them leaves the order as it is.
func TestClockSetBackWithDamagedFrame(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 40, func(i int, f *stamp.Fields) {
		if i >= 20 {
			f.DateTimeOriginal = evening.Add(time.Duration(i)*5*time.Second - time.Hour).Format("2006:01:02 15:04:05")
		}
	})
	write(t, dir, "FRAM0007.JPG", nil)
	write(t, dir, "FRAM0030.JPG", nil)
	s := only(t, scan(t, dir))
	if len(s.Frames) != 40 || len(s.Timing.Gaps) != 0 || len(s.Timing.ClockSets) != 1 || s.Timing.Slot[39] != 39 {
		t.Errorf("%d frames, gaps %v, clock sets %v", len(s.Frames), s.Timing.Gaps, s.Timing.ClockSets)
	}
}

// One frame with a wrong stamp, and stills renamed back to front, are no clock
// that was set.
func TestStrayStampsAreNoClockSet(t *testing.T) {
	for what, at := range map[string]func(i int) time.Duration{
		"one stray": func(i int) time.Duration {
			if i == 20 {
				return -10 * time.Minute
			}
			return time.Duration(i) * 5 * time.Second
		},
		"pairs swapped": func(i int) time.Duration { return time.Duration(i^1) * 5 * time.Second },
		"back to front": func(i int) time.Duration { return time.Duration(40-i) * 5 * time.Second },
	} {
		dir := t.TempDir()
		for i := range 40 {
			still(t, dir, fmt.Sprintf("FRAM%04d.JPG", i+1), evening.Add(at(i)), nil)
		}
		d := scan(t, dir)
		for _, s := range d.Sequences {
			if len(s.Timing.ClockSets) > 0 {
				t.Errorf("%s: clock sets %v", what, s.Timing.ClockSets)
			}
		}
		if s := d.Sequences[len(d.Sequences)-1]; len(d.Sequences) != 1 || len(s.Frames) < 39 {
			t.Errorf("%s: %d sequences, the last of %d frames", what, len(d.Sequences), len(s.Frames))
		}
	}
}

// A blank date is none (EXIF 2.32: blanks where unknown); such frames keep
// their place by number.
func TestBlankDates(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 20, func(i int, f *stamp.Fields) {
		switch {
		case i < 2:
			f.DateTimeOriginal = "    :  :     :  :  "
		case i%7 == 3:
			f.DateTimeOriginal = "0000:00:00 00:00:00"
		}
	})
	s := only(t, scan(t, dir))
	regular(t, s, 20, func(i int) string { return fmt.Sprintf("FRAM%04d.JPG", i+1) })
	if !s.Timing.Judged || s.Timing.Slot[19] != 19 {
		t.Errorf("judged %v, places %v", s.Timing.Judged, s.Timing.Slot)
	}
}

// Without any time the numbers give the order, across folders too.
func TestNoTimesAcrossFolders(t *testing.T) {
	dir := t.TempDir()
	name := func(i int) string {
		if i < 6 {
			return fmt.Sprintf("DCIM/100STILL/FRAM%04d.JPG", 9994+i)
		}
		return fmt.Sprintf("DCIM/101STILL/FRAM%04d.JPG", i-5)
	}
	for i := range 12 {
		write(t, dir, name(i), plainJPEG)
	}
	s := only(t, scan(t, dir))
	regular(t, s, 12, name)
	if s.Timing.Judged || s.Frames[11].Number != 10005 {
		t.Errorf("judged %v, last number %d", s.Timing.Judged, s.Frames[11].Number)
	}
}

// Test shots before the shoot are loose, whatever their number under the limit.
func TestFewFramesAreLoose(t *testing.T) {
	dir := t.TempDir()
	for i := range 4 {
		still(t, dir, fmt.Sprintf("FRAM%04d.JPG", i+1), evening.Add(-time.Hour+time.Duration(i)*20*time.Second), nil)
	}
	for i := range 12 {
		still(t, dir, fmt.Sprintf("FRAM%04d.JPG", i+5), evening.Add(time.Duration(i)*5*time.Second), nil)
	}
	d := scan(t, dir)
	if s := only(t, d); len(s.Frames) != 12 || len(d.Loose) != 4 || d.Loose[0].Name != "FRAM0001.JPG" {
		t.Errorf("%d frames, %d loose", len(s.Frames), len(d.Loose))
	}
}

// A frame or two of another size within a run stay in it by that name; a run
// of them is a shoot of its own.
func TestOddSizes(t *testing.T) {
	dir := t.TempDir()
	shoot(t, dir, 30, nil)
	sideways := func(i int) {
		name := fmt.Sprintf("FRAM%04d.JPG", i)
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
		data, err := stamp.JPEG(grayJPEG(32, 48), stamp.Fields{DateTimeOriginal: evening.Add(time.Duration(i-1) * 5 * time.Second).Format("2006:01:02 15:04:05"), Make: "Maker", Model: "Body", Serial: "1", FocalMM: 24})
		if err != nil {
			t.Fatal(err)
		}
		write(t, dir, name, data)
	}
	sideways(9)
	sideways(17)
	sideways(18)
	s := only(t, scan(t, dir))
	wantDamaged(t, s, map[string]string{"FRAM0009.JPG": "wrong-size", "FRAM0017.JPG": "wrong-size", "FRAM0018.JPG": "wrong-size"})
	if len(s.Frames) != 30 || len(s.Timing.Gaps) != 0 {
		t.Errorf("%d frames, gaps %v", len(s.Frames), s.Timing.Gaps)
	}
	for i := 17; i <= 24; i++ {
		if i > 18 {
			sideways(i)
		}
	}
	if d := scan(t, dir); len(d.Sequences) != 3 || len(d.Sequences[1].Frames) != 8 {
		for _, s := range d.Sequences {
			t.Logf("%d frames from %s, %v", len(s.Frames), s.Frames[0].Name, s.Timing.Gaps)
		}
		t.Errorf("%d sequences, want 3, loose %d", len(d.Sequences), len(d.Loose))
	}
}
