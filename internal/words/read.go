package words

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"time"
)

// maxSeconds is the longest stretch of time that is read: ten years.
const maxSeconds = 10 * 366 * 24 * 3600

// ParseSeconds reads a stretch of time as a photographer writes it and
// returns seconds: "5", "2.5", "1/60", "5s", "25m", "1h30m" or "90 min".
// A bare number is seconds.
func ParseSeconds(s string) (float64, error) {
	t := strings.ReplaceAll(strings.TrimSpace(s), " ", "")
	v, err := parseSeconds(t)
	if err != nil || math.IsNaN(v) || v <= 0 || v > maxSeconds {
		return 0, errors.New("want seconds (5 or 1/60) or a time such as 25m, 1h30m, 25:00 or 14d")
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
	if strings.Contains(t, ":") {
		return parseClock(t)
	}
	for _, long := range []struct{ word, unit string }{{"min", "m"}, {"hours", "h"}, {"hour", "h"}, {"sec", "s"}, {"days", "d"}, {"day", "d"}} {
		t = strings.ReplaceAll(t, long.word, long.unit)
	}
	days := 0.0
	if n, rest, ok := strings.Cut(t, "d"); ok {
		v, err := strconv.ParseFloat(n, 64)
		if err != nil || rest == "" {
			return v * 86400, err
		}
		days, t = v, rest
	}
	d, err := time.ParseDuration(t)
	return 86400*days + d.Seconds(), err
}

// parseClock reads minutes and seconds, or hours before them: 25:00, 1:30:00.
func parseClock(t string) (float64, error) {
	parts := strings.Split(t, ":")
	if len(parts) > 3 {
		return 0, errors.New("too many colons")
	}
	sum := 0.0
	for i, p := range parts {
		v, err := strconv.ParseFloat(p, 64)
		if err != nil || v < 0 || i > 0 && v >= 60 {
			return 0, errors.New("want minutes:seconds")
		}
		sum = 60*sum + v
	}
	return sum, nil
}

// Or lists alternatives: "leave, hold or blend".
func Or(list []string) string {
	return listed(list, "or")
}

// And lists things: "check, render and day".
func And(list []string) string {
	return listed(list, "and")
}

func listed(list []string, last string) string {
	if n := len(list); n > 1 {
		return strings.Join(list[:n-1], ", ") + " " + last + " " + list[n-1]
	}
	return strings.Join(list, "")
}

// Nearest returns the known word closest to one that may be mistyped, or ""
// when none is close.
func Nearest(word string, known []string) string {
	best, bestD := "", len(word)/3+2
	for _, k := range known {
		d := editDistance(strings.ToLower(word), k)
		if strings.HasPrefix(k, strings.ToLower(word)+"_") {
			d = 1
		}
		if d < bestD {
			best, bestD = k, d
		}
	}
	return best
}

// editDistance is the least number of single-byte insertions, deletions and
// replacements that turn a into b.
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diag := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			diag, row[j] = row[j], min(row[j]+1, row[j-1]+1, diag+cost)
		}
	}
	return row[len(b)]
}
