// Package playback holds exact playback rates.
package playback

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Rate is a playback rate in frames per second, exact.
type Rate struct{ Num, Den int }

// FPS returns the rate as frames per second.
func (r Rate) FPS() float64 {
	if r.Den == 0 {
		return 0
	}
	return float64(r.Num) / float64(r.Den)
}

// The slowest and the fastest playback rate that are taken for meant.
const (
	minFPS = 0.01
	maxFPS = 1000
)

// StandardRates are the playback rates of film, television and the web. The
// fractional ones are exact: 24, 30 and 60 times 1000/1001 (SMPTE ST 12-1).
func StandardRates() []Rate {
	return []Rate{{24000, 1001}, {24, 1}, {25, 1}, {30000, 1001}, {30, 1}, {48, 1}, {50, 1}, {60000, 1001}, {60, 1}}
}

// ParseRate reads a playback rate: a whole number, a fraction such as
// 24000/1001, or a decimal. A decimal within 0.005 of one of StandardRates, as
// 23.976, 23.98, 29.97 and 59.94 are, means that rate exactly.
func ParseRate(s string) (Rate, error) {
	bad := func() (Rate, error) {
		return Rate{}, fmt.Errorf("want frames per second from %g to %d, such as 24, 23.976 or 24000/1001", minFPS, maxFPS)
	}
	t := strings.TrimSpace(s)
	if a, b, ok := strings.Cut(t, "/"); ok {
		n, err1 := strconv.Atoi(a)
		d, err2 := strconv.Atoi(b)
		if err1 != nil || err2 != nil || n <= 0 || d <= 0 || n > 1e9 || d > 1e9 || n > maxFPS*d || float64(n) < minFPS*float64(d) {
			return bad()
		}
		return Rate{n, d}.reduced(), nil
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil || !(v >= minFPS) || v > maxFPS {
		return bad()
	}
	if v != math.Trunc(v) {
		for _, r := range StandardRates() {
			if r.Den != 1 && math.Abs(r.FPS()-v) < 0.005 {
				return r, nil
			}
		}
	}
	return Rate{int(math.Round(v * 1e6)), 1e6}.reduced(), nil
}

func (r Rate) reduced() Rate {
	a, b := r.Num, r.Den
	for b != 0 {
		a, b = b, a%b
	}
	return Rate{r.Num / a, r.Den / a}
}

// String is the rate as ffmpeg reads it: "24" or "24000/1001".
func (r Rate) String() string {
	if r.Den == 1 {
		return strconv.Itoa(r.Num)
	}
	return fmt.Sprintf("%d/%d", r.Num, r.Den)
}
