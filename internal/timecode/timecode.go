// Package timecode counts frames by the labels of SMPTE ST 12-1, hours:minutes:
// seconds:frames since midnight, drop-frame at 29.97 and 59.94.
package timecode

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"time"

	"stillspan/internal/playback"
)

// Code is a frame's place in a day of frames.
type Code struct {
	// Frame counts from midnight, at least 0.
	Frame int
	// Rate is one that Counts knows.
	Rate playback.Rate
	// Drop is set where labels are left out so that they keep step with the
	// clock; the frame number then follows a semicolon.
	Drop bool
}

// Counts says how many frames a second of labels has, and whether labels are
// dropped at that rate by custom. ok is false for a rate that has no time code.
//
// The fractional rates count as 24, 30 and 60 a second. ST 12-1 drops labels at
// 30000/1001, two a minute; at 60000/1001 four are dropped, as ST 12-3 does
// (both standards from memory).
func Counts(r playback.Rate) (perSecond int, drop, ok bool) {
	switch r.Den {
	case 1:
		perSecond = r.Num
	case 1001:
		perSecond = r.Num / 1000
		drop = perSecond == 30 || perSecond == 60
	}
	switch perSecond {
	case 24, 25, 30, 48, 50, 60:
		return perSecond, drop, r.Den == 1 || r.Num == 1000*perSecond && perSecond%25 != 0
	}
	return 0, false, false
}

// dropped is how many labels go at the start of each minute but every tenth.
func (c Code) dropped(perSecond int) int {
	if !c.Drop {
		return 0
	}
	return perSecond / 15
}

// day is how many frames have a label of their own.
func (c Code) day() int {
	n, _, _ := Counts(c.Rate)
	return 24 * (3600*n - 54*c.dropped(n))
}

// String is the label: "05:12:04:00", or "05:12:04;02" drop-frame.
func (c Code) String() string {
	n, _, ok := Counts(c.Rate)
	if !ok {
		return ""
	}
	f := c.Frame % c.day()
	sign := ":"
	if c.Drop {
		sign = ";"
		d := c.dropped(n)
		// Of ten minutes the first has all its labels.
		minute := 60*n - d
		tens, rest := f/(10*minute+d), f%(10*minute+d)
		f += 9 * d * tens
		if rest >= minute+d {
			f += d * ((rest - d) / minute)
		}
	}
	s := f / n
	return fmt.Sprintf("%02d:%02d:%02d%s%02d", s/3600, s/60%60, s%60, sign, f%n)
}

// Add is the label n frames on, or back; after the last of a day comes midnight.
func (c Code) Add(n int) Code {
	c.Frame = ((c.Frame+n)%c.day() + c.day()) % c.day()
	return c
}

var label = regexp.MustCompile(`^([01]\d|2[0-3]):([0-5]\d):([0-5]\d)([:;])(\d\d)$`)

// Check tells whether s looks like a label, at whatever rate.
func Check(s string) error {
	if !label.MatchString(s) {
		return errors.New("want hours:minutes:seconds:frames such as 10:00:00:00, or 10:00:00;00 drop-frame")
	}
	return nil
}

// Parse reads a label at a rate. It refuses those that no frame has: a frame
// number the second does not reach, a dropped label, drop-frame at a rate that
// has none.
func Parse(s string, r playback.Rate) (Code, error) {
	c := Code{Rate: r}
	n, drop, ok := Counts(r)
	if !ok {
		return c, fmt.Errorf("there is no time code at %s frames a second: 24, 25, 30, 48, 50, 60 and the rates near them have one", r)
	}
	if err := Check(s); err != nil {
		return c, fmt.Errorf("%q: %w", s, err)
	}
	m := label.FindStringSubmatch(s)
	var at [5]int
	for i, k := range []int{1, 2, 3, 5} {
		at[i], _ = strconv.Atoi(m[k])
	}
	c.Drop = m[4] == ";"
	if c.Drop && !drop {
		return c, fmt.Errorf("%q: drop-frame is for 29.97 and 59.94, not for %s: write a colon before the frame", s, r)
	}
	if at[3] >= n {
		return c, fmt.Errorf("%q: frames count from 00 to %02d", s, n-1)
	}
	minutes := 60*at[0] + at[1]
	d := c.dropped(n)
	if at[3] < d && at[2] == 0 && at[1]%10 != 0 {
		return c, fmt.Errorf("%q is one of the labels that drop-frame leaves out: the minute begins with %02d", s, d)
	}
	c.Frame = (60*minutes+at[2])*n + at[3] - d*(minutes-minutes/10)
	return c, nil
}

// AtClock is the label of a moment by the clock that t shows, in the rate's own
// way of counting. A label that is left out gives the next there is.
func AtClock(t time.Time, r playback.Rate) (Code, bool) {
	n, drop, ok := Counts(r)
	if !ok {
		return Code{}, false
	}
	sign := ":"
	if drop {
		sign = ";"
	}
	h, m, s := t.Clock()
	frame := int(int64(t.Nanosecond()) * int64(n) / int64(time.Second))
	for {
		c, err := Parse(fmt.Sprintf("%02d:%02d:%02d%s%02d", h, m, s, sign, frame), r)
		if err == nil {
			return c, true
		}
		frame++ // never past the first four
	}
}
