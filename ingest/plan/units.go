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
