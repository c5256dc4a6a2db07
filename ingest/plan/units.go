package plan

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// maxSeconds is the longest stretch of time a plan can name: ten years.
const maxSeconds = 10 * 366 * 24 * 3600

// ParseSeconds reads a stretch of time as a photographer writes it and
// returns seconds: "5", "2.5", "1/60", "5s", "25m", "1h30m" or "90 min".
// A bare number is seconds.
func ParseSeconds(s string) (float64, error) {
	t := strings.ReplaceAll(strings.TrimSpace(s), " ", "")
	v, err := parseSeconds(t)
	if err != nil || math.IsNaN(v) || v <= 0 || v > maxSeconds {
		return 0, fmt.Errorf("%q is no stretch of time: write seconds (5 or 1/60) or a time such as 25m or 1h30m", s)
	}
	return v, nil
}

func parseSeconds(t string) (float64, error) {
	if num, den, ok := strings.Cut(strings.TrimSuffix(t, "s"), "/"); ok {
		n, err1 := strconv.ParseFloat(num, 64)
		d, err2 := strconv.ParseFloat(den, 64)
		return n / d, errors.Join(err1, err2)
	}
	if v, err := strconv.ParseFloat(t, 64); err == nil {
		return v, nil
	}
	for _, long := range []struct{ word, unit string }{{"min", "m"}, {"hours", "h"}, {"hour", "h"}, {"sec", "s"}} {
		t = strings.ReplaceAll(t, long.word, long.unit)
	}
	d, err := time.ParseDuration(t)
	return d.Seconds(), err
}

// FormatSeconds writes a stretch of time in the largest units that fit:
// "12.5 s", "25 min", "1 h 30 min", "3 h 05 min 30 s". Times below a minute
// keep up to three significant decimals; from an hour up, seconds are whole.
func FormatSeconds(s float64) string {
	switch {
	case math.IsNaN(s) || math.IsInf(s, 0):
		return "unknown"
	case s < 0:
		return "-" + FormatSeconds(-s)
	case s < 60:
		return trimNumber(s, 3) + " s"
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

// FormatExposure writes an exposure time as cameras label it: "1/60 s" below
// a third of a second, "2.5 s" above. 0 or NaN gives the empty string.
func FormatExposure(s float64) string {
	switch {
	case !(s > 0) || math.IsInf(s, 0):
		return ""
	case s < 0.3:
		return "1/" + trimNumber(1/s, 0) + " s"
	}
	return trimNumber(s, 1) + " s"
}

// FormatBytes writes a size in decimal units, as cards are sold.
func FormatBytes(b float64) string {
	unit := []string{"B", "kB", "MB", "GB", "TB"}
	i := 0
	for b >= 1000 && i < len(unit)-1 {
		b /= 1000
		i++
	}
	return trimNumber(b, 1) + " " + unit[i]
}

// trimNumber writes v with at most the given decimals and no trailing zeros.
func trimNumber(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}
