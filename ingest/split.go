package ingest

import (
	"fmt"
	"math"
	"path"
	"strings"
	"time"

	"stillspan/ingest/timing"
)

// addBody splits one camera's frames into sequences, loose frames and files
// that cannot be placed, and judges each sequence.
func (d *Dump) addBody(b body, opt Options) {
	kept := b.frames[:0:0]
	for _, f := range b.frames {
		// Without a header a frame still has its place by number, unless it
		// stands alone.
		if _, _, numbered := ownNumber(&f); f.Problem != nil && f.Facts.Taken.IsZero() && (!numbered || len(b.frames) < opt.MinFrames) {
			d.Unreadable = append(d.Unreadable, f)
			continue
		}
		kept = append(kept, f)
	}
	if len(kept) == 0 {
		return
	}
	b.frames = kept
	b.order()
	shift, changed := clockChanges(b.frames)
	for _, run := range splitRuns(b.frames, shift, opt) {
		frames := b.frames[run.from:run.to:run.to]
		if len(frames) < opt.MinFrames {
			d.Loose = append(d.Loose, frames...)
			continue
		}
		s := Sequence{Frames: frames}
		s.judge(shift[run.from:run.to], opt)
		for _, at := range changed {
			if at > run.from && at < run.to {
				s.Notes = append(s.Notes, fmt.Sprintf("the camera's clock was set by %s before %s while the numbers run on; timing is judged as if it had not been", clockWords(shift[at]-shift[at-1]), path.Base(b.frames[at].Name)))
			}
		}
		d.Sequences = append(d.Sequences, s)
	}
}

func clockWords(d time.Duration) string {
	sign := "+"
	if d < 0 {
		sign = "-"
	}
	d = d.Abs()
	words := fmt.Sprintf("%s%d h %02d min", sign, int(d.Hours()), int(d.Minutes())%60)
	if s := int(d.Seconds()) % 60; s > 0 {
		words += fmt.Sprintf(" %02d s", s)
	}
	return words
}

type run struct{ from, to int }

// splitRuns cuts a body's frames where the framing changes or the cadence
// breaks off. A few frames of another framing in the midst of a run do not cut
// it. A header that could not be read has no framing and cuts nothing.
func splitRuns(f []Frame, shift []time.Duration, opt Options) []run {
	var pieces []run
	start, like := 0, -1 // like: the last frame whose framing stands
	for i := 0; i < len(f); i++ {
		if f[i].Facts.Width == 0 {
			continue
		}
		if like < 0 || sameFraming(&f[like], &f[i], opt) {
			like = i
			continue
		}
		j := i
		for j < len(f) && j-i <= opt.OddRun && (f[j].Facts.Width == 0 || !sameFraming(&f[like], &f[j], opt)) {
			j++
		}
		if j-i <= opt.OddRun && j < len(f) && sameFraming(&f[like], &f[j], opt) {
			for k := i; k < j; k++ {
				markOdd(&f[like], &f[k])
			}
			i, like = j, j
			continue
		}
		pieces = append(pieces, run{start, i})
		start, like = i, i
	}
	pieces = append(pieces, run{start, len(f)})

	var runs []run
	for _, p := range pieces {
		runs = append(runs, splitPauses(f, shift, p, opt)...)
	}
	return runs
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

func markOdd(like, f *Frame) {
	if f.Problem != nil || f.Facts.Width == 0 || sameView(&like.Facts, &f.Facts) {
		return
	}
	f.Problem = &Problem{Kind: "wrong-size",
		Text: fmt.Sprintf("it measures %d x %d pixels, its neighbours %d x %d", f.Facts.Width, f.Facts.Height, like.Facts.Width, like.Facts.Height),
		Try:  "the clip leaves it out; if it belongs there, bring a copy of it to the size of the others"}
}

// splitPauses cuts a run where the pause is far from a few missed frames. The
// interval it is held against is that of the frames since the last cut, so
// that two shoots with one camera do not blur each other.
func splitPauses(f []Frame, shift []time.Duration, r run, opt Options) []run {
	var runs []run
	start, last := r.from, -1
	for i := r.from; i < r.to; i++ {
		if f[i].Facts.Taken.IsZero() {
			continue
		}
		if last >= start {
			pause := f[i].Facts.Taken.Add(-shift[i]).Sub(f[last].Facts.Taken.Add(-shift[last]))
			if pause > opt.BreakMin && float64(pause) > opt.BreakIntervals*float64(stepBeside(f, start, i, r.to)) {
				runs = append(runs, run{start, i})
				start = i
			}
		}
		last = i
	}
	return append(runs, run{start, r.to})
}

// stepBeside is the usual step of the frames on either side of i, of up to 50
// each: the longer of the two that can be told.
func stepBeside(f []Frame, start, i, end int) time.Duration {
	return max(usualStep(f[max(start, i-50):i]), usualStep(f[i:min(end, i+50)]))
}

// judge fits the timing, lists the settings that moved and adds remarks.
func (s *Sequence) judge(shift []time.Duration, opt Options) {
	shots := make([]timing.Shot, len(s.Frames))
	var origin time.Time
	timed := 0
	for i, f := range s.Frames {
		shots[i] = timing.Shot{T: math.NaN(), Number: f.Number, ExposureS: f.Facts.ExposureS}
		if f.Facts.Taken.IsZero() {
			continue
		}
		if timed++; origin.IsZero() {
			origin = f.Facts.Taken.Truncate(time.Second)
		}
		shots[i].T = (f.Facts.Taken.Sub(origin) - (shift[i] - shift[0])).Seconds()
	}
	s.Timing = timing.Fit(shots, opt.Timing)
	if timed == 0 {
		s.Timing.Why = "no frame carries the time it was taken; the order is that of the file numbers"
	}
	s.Settings = settingChanges(s.Frames)
	s.Exposure = exposureMoves(s.Frames, s.Settings)
	s.settleOrientation()
	s.Halves, s.Apart = halves(s.Frames), apart(s.Frames)
	s.copyNotes()
	s.metadataNote()
	s.timingNotes()
	s.settingNotes()
}

func (s *Sequence) note(format string, args ...any) {
	s.Notes = append(s.Notes, fmt.Sprintf(format, args...))
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
			if g.Cause == timing.NotFired {
				pauses++
				longest = max(longest, g.GapS)
			}
		}
		if pauses > 0 {
			s.note("the camera paused %d times, for up to %.0f s; the file numbers run on, so no file was lost there", pauses, longest)
		}
	}
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

// safeName keeps letters, digits, dash and underscore.
func safeName(name string) string {
	return strings.Trim(strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_':
			return r
		}
		return '-'
	}, name), "-")
}
