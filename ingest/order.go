package ingest

import (
	"slices"
	"strings"
	"time"
)

// body is the frames of one camera.
type body struct{ frames []Frame }

// bodies tells cameras apart by serial, else by make and model. A frame whose
// header says neither joins the camera that wrote the frames around it: same
// card and name pattern.
func bodies(frames []Frame) []body {
	home := make(map[string]string) // folder and prefix -> camera
	for i := range frames {
		if k := cameraKey(&frames[i]); k != "" {
			home[place(&frames[i])] = k
		}
	}
	at := make(map[string]int)
	var list []body
	for i := range frames {
		k := cameraKey(&frames[i])
		if k == "" {
			k = home[place(&frames[i])]
		}
		if k == "" {
			k = "\x00" + place(&frames[i])
		}
		j, found := at[k]
		if !found {
			j = len(list)
			at[k] = j
			list = append(list, body{})
		}
		list[j].frames = append(list[j].frames, frames[i])
	}
	return list
}

// cameraKey is empty when the header names no camera.
func cameraKey(f *Frame) string {
	if f.Facts.Make == "" && f.Facts.Model == "" && f.Facts.Serial == "" {
		return ""
	}
	return f.Facts.Make + "\x00" + f.Facts.Model + "\x00" + f.Facts.Serial
}

func place(f *Frame) string {
	return card(f) + "/" + strings.TrimRight(copyMark.ReplaceAllString(baseName(f), ""), "0123456789")
}

// order puts a body's frames in the order taken: by time, then by number. When
// the clock was set back during the shoot the order of names is kept instead.
// Numbers come out unwrapped across 9999 -> 0001.
func (b *body) order() {
	f := b.frames
	slices.SortStableFunc(f, func(x, y Frame) int { return byName(&x, &y) })
	unwrap(f)
	if clockWasSetBack(f) {
		return
	}
	if allTimed(f) {
		slices.SortStableFunc(f, func(x, y Frame) int { return byTime(&x, &y) })
	} else {
		b.placeTimed()
	}
	unwrap(b.frames)
}

// clockWasSetBack reports whether, in the order of names, time only ever falls
// where the clock was set anew.
func clockWasSetBack(f []Frame) bool {
	shift, at := clockChanges(f)
	if len(at) == 0 {
		return false
	}
	var last time.Time
	for i := range f {
		if f[i].Facts.Taken.IsZero() {
			continue
		}
		t := f[i].Facts.Taken.Add(-shift[i])
		if t.Before(last) {
			return false
		}
		last = t
	}
	return true
}

// allTimed reports whether every frame has a time.
func allTimed(f []Frame) bool {
	for i := range f {
		if f[i].Facts.Taken.IsZero() {
			return false
		}
	}
	return true
}

// placeTimed sorts the frames that have a time among themselves and puts each
// frame without one behind the frame its name follows.
func (b *body) placeTimed() {
	var head []Frame
	var groups [][]Frame // each begins with a timed frame
	for _, f := range b.frames {
		switch n := len(groups); {
		case !f.Facts.Taken.IsZero():
			groups = append(groups, []Frame{f})
		case n == 0:
			head = append(head, f)
		default:
			groups[n-1] = append(groups[n-1], f)
		}
	}
	slices.SortStableFunc(groups, func(x, y []Frame) int { return byTime(&x[0], &y[0]) })
	b.frames = slices.Concat(append([][]Frame{head}, groups...)...)
}

// maxClockSets is how often a clock is believed to be set within the frames of
// one camera; more is something else.
const maxClockSets = 4

// clockChanges finds where the camera's clock was set anew while the numbers
// run on: time jumps by whole quarter hours of at least 30 minutes, give or take
// the step that was due, or falls by any amount, and the cadence goes on. The
// result holds what to take from each frame's time to put all on the first
// frame's clock.
func clockChanges(f []Frame) (shift []time.Duration, at []int) {
	shift = make([]time.Duration, len(f))
	step := usualStep(f)
	var sum time.Duration
	last := -1
	for i := range f {
		if f[i].Facts.Taken.IsZero() {
			shift[i] = sum
			continue
		}
		if last >= 0 && f[last].Number >= 0 && f[i].Number == f[last].Number+1 && card(&f[i]) == card(&f[last]) {
			set := clockSet(f[i].Facts.Taken.Sub(f[last].Facts.Taken), step)
			if set != 0 && goesOn(f, i, step) {
				sum += set
				at = append(at, i)
			}
		}
		shift[i] = sum
		last = i
	}
	if len(at) > maxClockSets {
		return make([]time.Duration, len(f)), nil
	}
	return shift, at
}

// goesOn reports whether the frame after i follows it by a few steps at the
// most. A single frame with a wrong stamp is no clock set anew.
func goesOn(f []Frame, i int, step time.Duration) bool {
	for j := i + 1; j < len(f); j++ {
		if !f[j].Facts.Taken.IsZero() {
			apart := f[j].Facts.Taken.Sub(f[i].Facts.Taken)
			return apart >= 0 && apart <= 3*step
		}
	}
	return false
}

// clockSet is by how much the clock was set between two frames of one counter
// that are stamped so far apart where step was due; 0 for not at all.
func clockSet(apart, step time.Duration) time.Duration {
	if step <= 0 {
		return 0
	}
	jump := apart - step
	whole := jump.Round(15 * time.Minute)
	switch off := jump - whole; {
	case whole.Abs() >= 30*time.Minute && off.Abs() <= max(2*time.Second, step/4) && step < 10*time.Minute:
		return whole
	case apart < -time.Second:
		return jump
	}
	return 0
}

// usualStep is the median time between neighbours in the order given.
func usualStep(f []Frame) time.Duration {
	var steps []time.Duration
	last := -1
	for i := range f {
		if f[i].Facts.Taken.IsZero() {
			continue
		}
		if last >= 0 {
			if d := f[i].Facts.Taken.Sub(f[last].Facts.Taken); d >= 0 {
				steps = append(steps, d)
			}
		}
		last = i
	}
	if len(steps) == 0 {
		return 0
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}
