package ingest

import (
	"cmp"
	"path"
	"regexp"
	"strconv"
	"strings"
	"time"
)

var (
	fileNumber = regexp.MustCompile(`(\d+)$`)
	dcfFolder  = regexp.MustCompile(`^\d{3}[0-9A-Za-z_]{5}$`)
)

const (
	// rollover is the count of DCF file numbers: 0001 to 9999.
	rollover = 9999
	// maxRate is how many frames a second are believed to lie between two
	// frames of a shoot that was fired at intervals.
	maxRate = 10
)

func baseName(f *Frame) string {
	b := path.Base(f.Name)
	return strings.TrimSuffix(b, path.Ext(b))
}

// card is the folder that holds the frames of one card: the one above DCF
// folders such as 100STILL, which follow each other as they fill up.
func card(f *Frame) string {
	dir := path.Dir(f.Name)
	if dcfFolder.MatchString(path.Base(dir)) {
		return path.Dir(dir)
	}
	return dir
}

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

// byName orders by folder, then number, then name. 9999 comes before 0001 of
// the next folder because the folder's number comes first.
func byName(x, y *Frame) int {
	nx, dx, okx := ownNumber(x)
	ny, dy, oky := ownNumber(y)
	if okx && oky {
		if dx && dy {
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

// byTime orders by time. Of frames stamped alike 9999 comes before 0001; other
// ties are left to the order they are in.
func byTime(x, y *Frame) int {
	if c := x.Facts.Taken.Compare(y.Facts.Taken); c != 0 {
		return c
	}
	nx, dx, _ := ownNumber(x)
	ny, dy, _ := ownNumber(y)
	if d := nx - ny; dx && dy && max(d, -d) > rollover/2 {
		return cmp.Compare(ny, nx)
	}
	return 0
}

// unwrap gives the frames, in the order taken, their running numbers. These
// never fall: where the counter was reset, or another card brought its own, a
// frame gets the number of the one before, from which nothing is concluded.
func unwrap(f []Frame) {
	usual := usualStep(f)
	last, lastOwn := -1, 0
	for i := range f {
		n, dcf, ok := ownNumber(&f[i])
		if !ok {
			f[i].Number = -1
			continue
		}
		f[i].Number = n
		if last >= 0 {
			step := n - lastOwn
			if dcf && step < -rollover/2 {
				step += rollover
			}
			if step != 1 && !runsOn(f, last, i, step, usual) {
				step = 0
			}
			f[i].Number = f[last].Number + step
		}
		last, lastOwn = i, n
	}
}

// runsOn reports whether a step of the file numbers from frame i to j is one
// counter running on, so that what it leaves out can be held against the time
// that passed. Across cards nothing but the usual step accounts for numbers.
func runsOn(f []Frame, i, j, step int, usual time.Duration) bool {
	if step < 1 || fallsAfter(f, i-1) || fallsAfter(f, j) { // two counts lie mingled here
		return false
	}
	sameCard := card(&f[i]) == card(&f[j])
	if f[i].Facts.Taken.IsZero() || f[j].Facts.Taken.IsZero() {
		return sameCard
	}
	passed := f[j].Facts.Taken.Sub(f[i].Facts.Taken).Abs().Seconds()
	if sameCard {
		return float64(step) <= maxRate*(passed+1)
	}
	return usual > 0 && float64(step) <= passed/usual.Seconds()+1
}

// fallsAfter reports whether the number falls from frame i to the next, other
// than by a rollover.
func fallsAfter(f []Frame, i int) bool {
	if i < 0 || i+1 >= len(f) {
		return false
	}
	n, _, ok := ownNumber(&f[i])
	after, _, okAfter := ownNumber(&f[i+1])
	return ok && okAfter && after < n && after-n >= -rollover/2
}
