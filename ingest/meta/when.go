package meta

import (
	"strings"
	"time"
)

// maxSubSecDigits is what a time.Time can hold; further digits are dropped.
const maxSubSecDigits = 9

// time joins the three tags. Without a believable date it is the zero time:
// cameras whose clock was never set write spaces or zeros.
func (s stamp) time() (t time.Time, hasOffset bool) {
	t, ok := parseDate(s.date)
	if !ok {
		return time.Time{}, false
	}
	nanos := parseSubSec(s.subSec)
	zone, hasOffset := parseOffset(s.offset)
	y, mo, d := t.Date()
	h, mi, sec := t.Clock()
	return time.Date(y, mo, d, h, mi, sec, nanos, zone), hasOffset
}

// parseDate reads "2006:01:02 15:04:05", with any signs between the numbers
// and a space for a leading zero, as cameras write it.
func parseDate(s string) (time.Time, bool) {
	const layout = "2006:01:02 15:04:05"
	if len(s) < len(layout) {
		return time.Time{}, false
	}
	var n [6]int
	for i, at := range [6][2]int{{0, 4}, {5, 7}, {8, 10}, {11, 13}, {14, 16}, {17, 19}} {
		v, ok := digits(strings.TrimLeft(s[at[0]:at[1]], " "))
		if !ok {
			return time.Time{}, false
		}
		n[i] = v
	}
	for _, at := range []int{4, 7, 10, 13, 16} {
		if s[at] >= '0' && s[at] <= '9' {
			return time.Time{}, false
		}
	}
	t := time.Date(n[0], time.Month(n[1]), n[2], n[3], n[4], n[5], 0, time.UTC)
	// time.Date turns 31 April into 1 May; such a date is not believed.
	y, mo, d := t.Date()
	h, mi, sec := t.Clock()
	if n[0] == 0 || [6]int{y, int(mo), d, h, mi, sec} != n {
		return time.Time{}, false
	}
	return t, true
}

// digits reads a number written in decimal digits alone.
func digits(s string) (v int, ok bool) {
	for _, r := range s {
		if r < '0' || r > '9' {
			return 0, false
		}
		v = 10*v + int(r-'0')
	}
	return v, s != ""
}

// parseSubSec reads sub-second digits as a decimal fraction: "5" is half a
// second, "05" a twentieth (EXIF 2.32, SubSecTime).
func parseSubSec(s string) (nanos int) {
	s = strings.TrimSpace(s)
	for i := range maxSubSecDigits {
		nanos *= 10
		if i < len(s) && s[i] >= '0' && s[i] <= '9' {
			nanos += int(s[i] - '0')
		} else {
			s = s[:min(i, len(s))]
		}
	}
	return nanos
}

// parseOffset reads "+02:00" and the like; "Z" is UTC. What is no offset is
// none, and the time stays the wall clock's.
func parseOffset(s string) (*time.Location, bool) {
	s = strings.TrimSpace(s)
	if s == "Z" {
		return time.UTC, true
	}
	if len(s) < 5 || s[0] != '+' && s[0] != '-' {
		return time.UTC, false
	}
	h, okH := digits(s[1:3])
	m, okM := digits(strings.TrimPrefix(s[3:], ":"))
	// Zones in use reach from -12:00 to +14:00.
	if !okH || !okM || h > 14 || m > 59 {
		return time.UTC, false
	}
	seconds := h*3600 + m*60
	if s[0] == '-' {
		seconds = -seconds
	}
	return time.FixedZone("", seconds), true
}
