package ingest

import (
	"fmt"
	"math"
	"path"
	"slices"
	"strings"

	"stillspan/ingest/account"
	"stillspan/internal/words"
)

// addBody gives one camera's frames the likeliest account: sequences, loose frames
// and files that cannot be placed.
func (d *Dump) addBody(frames []Frame, files []account.File, serial bool, opt Options) {
	kept, at := files[:0:0], make([]int, 0, len(files))
	for i := range frames {
		f := &frames[i]
		// Without a header a frame still has its place by number, unless it
		// stands alone.
		if f.Problem != nil && math.IsNaN(files[i].T) && (files[i].Number < 0 || len(frames) < opt.MinFrames) {
			d.Unreadable = append(d.Unreadable, *f)
			continue
		}
		kept, at = append(kept, files[i]), append(at, i)
	}
	if len(kept) == 0 {
		return
	}
	how := account.Options{MinFrames: opt.MinFrames, LateFraction: opt.LateFraction, OddRun: opt.OddRun, Bracket: opt.Bracket}
	for _, p := range opt.Planned {
		how.Planned = append(how.Planned, account.Planned{Frames: p.Frames, IntervalS: p.IntervalS})
	}
	var parts []account.Body
	if serial {
		parts = []account.Body{account.One(kept, how)}
	} else {
		parts = account.Bodies(kept, how)
	}
	for _, p := range parts {
		frame := func(k int) *Frame { return &frames[at[p.Files[k]]] }
		for _, k := range p.Account.Loose {
			if f := frame(k); f.Problem != nil {
				d.Unreadable = append(d.Unreadable, *f)
			} else {
				d.Loose = append(d.Loose, *f)
			}
		}
		for _, r := range p.Account.Doubts {
			d.Remains = append(d.Remains, Remains{frame(r.First).Name, frame(r.Last).Name, r.Count, r.IntervalS, r.Missing})
		}
		for i := range p.Account.Shoots {
			d.addShoot(&p.Account.Shoots[i], frame)
		}
	}
}

// doubtLoose takes loose stills without a time for damaged where their numbers are
// next to those of a sequence that has times: cameras do not stamp by chance.
func (d *Dump) doubtLoose() {
	type place struct {
		series         string
		folder, number int
	}
	beside := make(map[place]bool)
	for i := range d.Sequences {
		fr := d.Sequences[i].Frames
		for f, by := range map[*Frame]int{&fr[0]: -1, &fr[len(fr)-1]: 1} {
			if !f.Facts.Taken.IsZero() {
				beside[place{f.named.series, f.named.folder, f.named.number + by}] = true
			}
		}
	}
	d.Loose = slices.DeleteFunc(d.Loose, func(f Frame) bool {
		if n := f.named; !f.Facts.Taken.IsZero() || !n.stamp.IsZero() || n.number < 0 || !beside[place{n.series, n.folder, n.number}] {
			return false
		}
		f.Problem = &Problem{Kind: "no-time", Text: "it does not say when it was taken, and by its number it is next to a sequence that does",
			Try: "looking at it: it may be a damaged frame of that"}
		d.Unreadable = append(d.Unreadable, f)
		return true
	})
}

// addShoot adds the sequence of one shoot of a body.
func (d *Dump) addShoot(shoot *account.Shoot, frame func(int) *Frame) {
	s := Sequence{Frames: make([]Frame, len(shoot.Files))}
	for i, k := range shoot.Files {
		s.Frames[i] = *frame(k)
		s.Frames[i].Number = shoot.Number[i]
		if n := &s.Frames[i].named; s.Frames[i].Facts.Taken.IsZero() || s.Frames[i].Facts.Changed && !n.stamp.IsZero() {
			s.Frames[i].Facts.Taken, s.Frames[i].YearGuessed = n.stamp, n.noYear
		}
	}
	for _, k := range shoot.Unused {
		s.Exposures = append(s.Exposures, *frame(k))
	}
	shoot.Files, shoot.Number, shoot.Unused = nil, nil, nil
	s.Timing = *shoot
	s.judge()
	d.Sequences = append(d.Sequences, s)
}

// sameFraming reports whether two frames can play in one clip as they are.
func sameFraming(a, b *Frame, opt Options) bool {
	x, y := &a.Facts, &b.Facts
	return sameView(x, y) && sameFocal(x.FocalMM, y.FocalMM, opt.FocalTolerance)
}

// sameFocal reports whether two focal lengths are one framing.
func sameFocal(a, b, tolerance float64) bool {
	return a == 0 || b == 0 || math.Abs(a-b) <= tolerance*max(a, b)
}

// markOdd tells of frames that differ in size from most: the clip cannot hold them.
func (s *Sequence) markOdd() {
	count := make(map[[2]int]int)
	var most *Frame
	for i := range s.Frames {
		f := &s.Frames[i]
		if f.Facts.Width == 0 {
			continue
		}
		size := [2]int{f.Facts.Width, f.Facts.Height}
		if count[size]++; most == nil || count[size] > count[[2]int{most.Facts.Width, most.Facts.Height}] {
			most = f
		}
	}
	for i := range s.Frames {
		f := &s.Frames[i]
		if f.Problem != nil || f.Facts.Width == 0 || sameView(&most.Facts, &f.Facts) {
			continue
		}
		f.Problem = &Problem{Kind: "wrong-size",
			Text: fmt.Sprintf("it measures %d x %d pixels, its neighbours %d x %d", f.Facts.Width, f.Facts.Height, most.Facts.Width, most.Facts.Height),
			Try:  "the clip leaves it out; if it belongs there, bring a copy of it to the size of the others"}
	}
}

// judge lists the settings that moved and adds remarks.
func (s *Sequence) judge() {
	s.markOdd()
	s.Settings = settingChanges(s.Frames)
	s.Exposure = exposureMoves(s.Frames, s.Settings)
	s.settleOrientation()
	s.Halves, s.Apart = halves(s.Frames), apart(s.Frames)
	s.copyNotes()
	s.metadataNote()
	s.contradictionNote()
	s.yearNote()
	s.timingNotes()
	s.settingNotes()
}

func (s *Sequence) note(format string, args ...any) {
	s.Notes = append(s.Notes, fmt.Sprintf(format, args...))
}

// yearNote remarks on a year that no file states.
func (s *Sequence) yearNote() {
	if f := &s.Frames[0]; f.YearGuessed {
		s.note("the names leave the year out, and it is guessed from the time of the files: %d", f.Facts.Taken.Year())
	}
}

// contradictionNote remarks on times in names that the headers contradict.
func (s *Sequence) contradictionNote() {
	var first *Frame
	count := 0
	for i := range s.Frames {
		if f := &s.Frames[i]; f.contradicted {
			if count++; first == nil {
				first = f
			}
		}
	}
	if count > 0 {
		s.note("the time in the name of %s contradicts the one in the header, %s, the first is %s; the name is believed",
			words.Count(count, "frame"), first.Facts.Taken.Format("15:04:05"), path.Base(first.Name))
	}
}

func (s *Sequence) metadataNote() {
	var first *Frame
	count := 0
	for i := range s.Frames {
		if s.Frames[i].damagedMetadata {
			if count++; first == nil {
				first = &s.Frames[i]
			}
		}
	}
	if count > 0 {
		s.note("the metadata of %d frames is damaged, the first %s; their time and settings may be missing", count, path.Base(first.Name))
	}
}

func (s *Sequence) timingNotes() {
	t := &s.Timing
	if t.FreeRunning {
		s.note("the steps are uneven, each frame timed from the one before: %.2f s with a scatter of %.2f s", t.IntervalS, t.JitterRMSS)
		pauses, longest := 0, 0.0
		for _, g := range t.Gaps {
			if g.Cause == account.NotFired {
				pauses++
				longest = max(longest, g.GapS)
			}
		}
		if pauses > 0 {
			s.note("the camera paused %d times, for up to %.0f s; the file numbers run on, so no file was lost there", pauses, longest)
		}
	}
	if t.Bracket > 0 {
		s.note("brackets of %d exposures at each place of the cadence: the clip takes the %s of each", t.Bracket, ordinal(t.Chosen+1))
	}
}

func ordinal(n int) string {
	switch n {
	case 1:
		return "first"
	case 2:
		return "second"
	case 3:
		return "third"
	}
	return fmt.Sprintf("%dth", n)
}

// nameSequences gives each sequence a name: date and time of its first frame
// to the minute, and a letter where several share it. Without a time it is the
// folder and the first and last file name. The letter goes by the order of the
// sequences, so the same dump gives the same names.
func nameSequences(list []Sequence) {
	count := make(map[string]int)
	ids := make([]string, len(list))
	for i := range list {
		ids[i] = plainID(&list[i])
		count[ids[i]]++
	}
	used := make(map[string]int)
	for i := range list {
		id := ids[i]
		if count[id] > 1 {
			n := used[id]
			used[id]++
			if n < 26 {
				id += "-" + string(rune('a'+n))
			} else {
				id += fmt.Sprintf("-%d", n+1)
			}
		}
		list[i].ID = id
	}
}

func plainID(s *Sequence) string {
	for i := range s.Frames {
		if t := s.Frames[i].Facts.Taken; !t.IsZero() {
			return t.Format("2006-01-02-1504")
		}
	}
	first, last := &s.Frames[0], &s.Frames[len(s.Frames)-1]
	return safeName(path.Base(path.Dir(first.Name)) + "-" + baseName(first) + "-" + baseName(last))
}

// maxID is the longest ID, bytes: clips, pages and half-written files have it in
// their names, and no file system takes more than 255 bytes.
const maxID = 100

// safeName keeps letters, digits, dash and underscore, and of a long name both
// ends.
func safeName(name string) string {
	safe := strings.Trim(strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_':
			return r
		}
		return '-'
	}, name), "-")
	if n := len(safe); n > maxID {
		safe = safe[:maxID/2] + "--" + safe[n-maxID/2+2:]
	}
	return safe
}
