// Package words writes numbers, times, sizes and names as people read them,
// and reads what they type.
package words

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Number writes v with at most the given decimals and no trailing zeros.
func Number(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// Seconds writes a stretch of time in the largest units that fit: "12.5 s",
// "25 min", "1 h 30 min", "3 h 05 min 30 s", "30 days 14 h". Times below a
// minute keep up to three decimals; from an hour up, seconds are whole, and
// from two days up hours.
func Seconds(s float64) string {
	switch {
	case math.IsNaN(s) || math.IsInf(s, 0):
		return "unknown"
	case s < 0:
		return "-" + Seconds(-s)
	case s < 60:
		return Number(s, 3) + " s"
	}
	if s >= 48*3600 {
		hours := math.Round(s / 3600)
		days := math.Floor(hours / 24)
		if hours -= 24 * days; hours > 0 {
			return fmt.Sprintf("%.0f days %.0f h", days, hours)
		}
		return fmt.Sprintf("%.0f days", days)
	}
	whole := math.Round(s)
	h := math.Floor(whole / 3600)
	m := math.Floor((whole - h*3600) / 60)
	sec := whole - h*3600 - m*60
	switch {
	case h == 0 && sec == 0:
		return fmt.Sprintf("%.0f min", m)
	case h == 0:
		return fmt.Sprintf("%.0f min %.0f s", m, sec)
	case m == 0 && sec == 0:
		return fmt.Sprintf("%.0f h", h)
	case sec == 0:
		return fmt.Sprintf("%.0f h %02.0f min", h, m)
	}
	return fmt.Sprintf("%.0f h %02.0f min %02.0f s", h, m, sec)
}

// Exposure writes an exposure time as cameras label it: "1/60 s" below a
// third of a second, "2.5 s" above. What is no time gives the empty string.
func Exposure(s float64) string {
	switch {
	case !(s > 0) || math.IsInf(s, 0):
		return ""
	case s < 0.3:
		return "1/" + Number(1/s, 0) + " s"
	}
	return Number(s, 1) + " s"
}

// Distance writes a distance of focus in metres; what is none gives the empty
// string.
func Distance(m float64) string {
	switch {
	case math.IsInf(m, 1):
		return "infinity"
	case !(m > 0):
		return ""
	}
	return Number(m, 2) + " m"
}

// Bytes writes a size in decimal units, as cards are sold.
func Bytes[N int64 | float64](n N) string {
	unit := []string{"B", "kB", "MB", "GB", "TB"}
	b, i := float64(n), 0
	for b >= 1000 && i < len(unit)-1 {
		b /= 1000
		i++
	}
	return Number(b, 1) + " " + unit[i]
}

// Count writes how many there are of what one is called: "1 frame", "2 frames",
// "3 entries".
func Count(n int, one string) string {
	stem, y := strings.CutSuffix(one, "y")
	switch {
	case n == 1:
		return "1 " + one
	case y:
		return fmt.Sprintf("%d %sies", n, stem)
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// OneLine spells out as Go does what a file's name may hold and no reader sees:
// control characters, which terminals take as commands, \n for a line's end;
// characters that turn the direction of what follows them; and bytes that are
// no UTF-8.
func OneLine(s string) string {
	if utf8.ValidString(s) && strings.IndexFunc(s, unseen) < 0 {
		return s
	}
	var b strings.Builder
	for len(s) > 0 {
		r, n := utf8.DecodeRuneInString(s)
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, `\x%02x`, s[0])
		case unseen(r):
			b.WriteString(strings.Trim(strconv.QuoteRune(r), "'"))
		default:
			b.WriteString(s[:n])
		}
		s = s[n:]
	}
	return b.String()
}

// unseen tells control and format characters, and ends of lines and paragraphs;
// the two joiners, which several scripts write with, are none of them.
func unseen(r rune) bool {
	const zeroWidthNonJoiner, zeroWidthJoiner = '\u200c', '\u200d'
	return r != zeroWidthNonJoiner && r != zeroWidthJoiner && unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp)
}
