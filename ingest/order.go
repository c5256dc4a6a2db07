package ingest

import (
	"cmp"
	"math"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// body is the frames of one camera.
type body struct{ frames []Frame }

// bodies tells cameras apart by serial, else by make and model. A frame whose
// header says neither joins the camera that wrote the frames around it: same
// folder and name pattern.
func bodies(frames []Frame) []body {
	key := func(f *Frame) string {
		if f.Facts.Make == "" && f.Facts.Model == "" && f.Facts.Serial == "" {
			return ""
		}
		return f.Facts.Make + "\x00" + f.Facts.Model + "\x00" + f.Facts.Serial
	}
	home := make(map[string]string) // folder and prefix -> camera
	for i := range frames {
		if k := key(&frames[i]); k != "" {
			home[place(&frames[i])] = k
		}
	}
	at := make(map[string]int)
	var list []body
	for i := range frames {
		k := key(&frames[i])
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

func place(f *Frame) string {
	return path.Dir(f.Name) + "/" + strings.TrimRight(baseName(f), "0123456789")
}

func baseName(f *Frame) string {
	b := path.Base(f.Name)
	return strings.TrimSuffix(b, path.Ext(b))
}

var fileNumber = regexp.MustCompile(`(\d+)$`)

// rollover is the count of DCF file numbers: 0001 to 9999.
const rollover = 9999

// ownNumber is the number at the end of the name; ok is false for none, and for
// stamps of date and time that are longer than a counter.
func ownNumber(f *Frame) (n int, dcf, ok bool) {
	digits := fileNumber.FindString(copyMark.ReplaceAllString(baseName(f), ""))
	if digits == "" || len(digits) > 8 {
		return 0, false, false
	}
	n, err := strconv.Atoi(digits)
	return n, len(digits) == 4, err == nil
}

// order puts a body's frames in the order taken: by time, then by number. When
// the clock was set back during the shoot the order of names is kept instead.
// Numbers come out unwrapped across 9999 -> 0001.
func (b *body) order() {
	f := b.frames
	slices.SortStableFunc(f, func(x, y Frame) int { return byName(&x, &y) })
	if timesOrder(f) {
		unwrap(f)
		if clockWasSetBack(f) {
			return
		}
		slices.SortStableFunc(f, func(x, y Frame) int { return x.Facts.Taken.Compare(y.Facts.Taken) })
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
	for i := 1; i < len(f); i++ {
		if f[i].Facts.Taken.Add(-shift[i]).Before(f[i-1].Facts.Taken.Add(-shift[i-1])) {
			return false
		}
	}
	return true
}

// timesOrder reports whether every frame has a time, so that sorting by time
// is a strict order.
func timesOrder(f []Frame) bool {
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
	type group struct{ frames []Frame }
	var head []Frame
	var groups []group
	for _, f := range b.frames {
		switch {
		case !f.Facts.Taken.IsZero():
			groups = append(groups, group{[]Frame{f}})
		case len(groups) == 0:
			head = append(head, f)
		default:
			g := &groups[len(groups)-1]
			g.frames = append(g.frames, f)
		}
	}
	slices.SortStableFunc(groups, func(x, y group) int {
		return x.frames[0].Facts.Taken.Compare(y.frames[0].Facts.Taken)
	})
	b.frames = head
	for _, g := range groups {
		b.frames = append(b.frames, g.frames...)
	}
}

// byName orders by folder, then number, then name. 9999 comes before 0001 of
// the next folder because the folder's number comes first.
func byName(x, y *Frame) int {
	nx, dx, okx := ownNumber(x)
	ny, dy, oky := ownNumber(y)
	if okx && oky {
		if dx && dy {
			// Same second on both sides of a rollover: 9999 is the older.
			if c := cmp.Compare(path.Dir(x.Name), path.Dir(y.Name)); c != 0 {
				return c
			}
		}
		if c := cmp.Compare(nx, ny); c != 0 {
			return c
		}
	}
	return cmp.Compare(x.Name, y.Name)
}

// unwrap gives each frame its running number. A fall of nearly the whole range
// is the counter's rollover; any other fall is a counter that was reset, and
// leaves a number no larger than the one before so that it tells nothing.
func unwrap(f []Frame) {
	base, last := 0, -1
	for i := range f {
		n, dcf, ok := ownNumber(&f[i])
		if !ok {
			f[i].Number = -1
			continue
		}
		if last >= 0 {
			switch {
			case dcf && n+base < last-rollover/2:
				base += rollover
			case dcf && n+base > last+rollover/2 && base >= rollover:
				base -= rollover
			}
		}
		f[i].Number = n + base
		last = n + base
	}
}

// clockChanges finds where the camera's clock was set anew: the numbers run on
// and the time jumps by whole quarter hours of at least 30 minutes, give or
// take the step that was due. The result holds what to take from each frame's
// time to put all on the first frame's clock.
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
		if last >= 0 && step > 0 && f[last].Number >= 0 && f[i].Number == f[last].Number+1 {
			jump := f[i].Facts.Taken.Sub(f[last].Facts.Taken) - step
			whole := jump.Round(15 * time.Minute)
			if off := jump - whole; whole.Abs() >= 30*time.Minute && off.Abs() <= max(2*time.Second, step/4) && step < 10*time.Minute {
				sum += whole
				at = append(at, i)
			}
		}
		shift[i] = sum
		last = i
	}
	return shift, at
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

// sameFocal reports whether two focal lengths are one framing.
func sameFocal(a, b, tolerance float64) bool {
	return a == 0 || b == 0 || math.Abs(a-b) <= tolerance*max(a, b)
}
