package settings

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"stillspan/internal/playback"
	"stillspan/internal/timecode"
	"stillspan/internal/words"
)

// Rect is a part of the upright picture, in fractions from the top left. The
// zero Rect is the whole.
type Rect struct{ X, Y, W, H float64 }

func (r Rect) String() string { return fmt.Sprintf("%g,%g,%g,%g", r.X, r.Y, r.W, r.H) }

// Size is that of a picture in pixels; zero for none stated.
type Size struct{ W, H int }

func (s Size) String() string { return fmt.Sprintf("%dx%d", s.W, s.H) }

// Point is a place in a picture, in fractions from the top left.
type Point struct{ X, Y float64 }

func (p Point) String() string { return fmt.Sprintf("%g,%g", p.X, p.Y) }

// Travel is a length in millimetres, or an angle in degrees.
type Travel struct {
	Amount float64
	Unit   string // "mm" or "deg"
}

// Ends are seconds at the beginning and the end of a clip.
type Ends struct{ First, Last float64 }

func (e Ends) String() string { return fmt.Sprintf("%g,%g", e.First, e.Last) }

// maxHoldS is the longest that a frame is held.
const maxHoldS = 600

var ends = kind[Ends]{read: func(s string) (Ends, error) {
	a, b, ok := strings.Cut(s, ",")
	first, e1 := strconv.ParseFloat(strings.TrimSpace(a), 64)
	last, e2 := strconv.ParseFloat(strings.TrimSpace(b), 64)
	if !ok || errors.Join(e1, e2) != nil || !(first >= 0 && first <= maxHoldS && last >= 0 && last <= maxHoldS) {
		return Ends{}, fmt.Errorf("want seconds for first and last frame, 0 to %d, such as 1,2.5", maxHoldS)
	}
	return Ends{first, last}, nil
}}

// card is how long a slate stands, seconds.
var card = kind[float64]{read: func(s string) (float64, error) {
	v, err := words.ParseSeconds(s)
	if err == nil && !(v >= 0 && v <= 60) {
		err = errors.New("want 0 to 60 seconds")
	}
	return v, err
}}

// posterFrame counts frames of the sequence from 1; 0 is the middle of the clip.
var posterFrame = kind[int]{read: func(s string) (int, error) {
	if s == "middle" {
		return 0, nil
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 || n > 10_000_000 {
		return 0, errors.New(`want a frame of the sequence, counted from 1, or "middle"`)
	}
	return n, nil
}}

// Spot is a place on the Earth, degrees north and east.
type Spot struct{ Lat, Lon float64 }

func (s Spot) String() string { return fmt.Sprintf("%g,%g", s.Lat, s.Lon) }

var place = kind[Spot]{read: func(s string) (Spot, error) {
	a, b, ok := strings.Cut(s, ",")
	lat, e1 := strconv.ParseFloat(strings.TrimSpace(a), 64)
	lon, e2 := strconv.ParseFloat(strings.TrimSpace(b), 64)
	if !ok || errors.Join(e1, e2) != nil || !(math.Abs(lat) <= 90 && math.Abs(lon) <= 180) {
		return Spot{}, errors.New("want degrees north and east, such as 51.48,-0.01")
	}
	return Spot{lat, lon}, nil
}}

// offset is how far a clock is ahead of UTC.
var offset = kind[string]{read: func(s string) (string, error) {
	if _, err := time.Parse("-07:00", s); err != nil {
		return "", errors.New("want hours and minutes ahead of UTC, such as +02:00 or -05:30")
	}
	return s, nil
}}

func (t Travel) String() string {
	return strconv.FormatFloat(t.Amount, 'f', -1, 64) + t.Unit
}

// toggle is a switch.
var toggle = kind[bool]{read: func(s string) (bool, error) {
	v, err := strconv.ParseBool(s)
	if err != nil {
		return false, errors.New("want true or false")
	}
	return v, nil
}}

var anyText = kind[string]{read: func(s string) (string, error) { return strings.TrimSpace(s), nil }}

var path = kind[string]{file: true, read: func(s string) (string, error) { return s, nil }}

func oneOf(list ...string) kind[string] {
	return kind[string]{words: list, read: func(s string) (string, error) {
		if !slices.Contains(list, s) {
			return "", fmt.Errorf("want %s", words.Or(list))
		}
		return s, nil
	}}
}

func whole(from, to int) kind[int] {
	return kind[int]{permitted: fmt.Sprintf("%d to %d", from, to), read: func(s string) (int, error) {
		n, err := strconv.Atoi(s)
		if err != nil || n < from || n > to {
			return 0, fmt.Errorf("want a whole number from %d to %d", from, to)
		}
		return n, nil
	}}
}

func number(most float64) kind[float64] {
	return kind[float64]{read: func(s string) (float64, error) {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil || !(v > 0) || v > most {
			return 0, errors.New("want a number above 0")
		}
		return v, nil
	}}
}

var rate = kind[playback.Rate]{read: playback.ParseRate}

var seconds = kind[float64]{read: words.ParseSeconds}

// moment is by the camera's clock.
var moment = kind[time.Time]{read: func(s string) (time.Time, error) {
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02 15:04"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t, nil
		}
	}
	return time.Time{}, errors.New("want the camera's wall clock without a zone: 2026-05-01T05:40:00")
}}

// startLabel is a time code, or where it comes from.
var startLabel = kind[string]{read: func(s string) (string, error) {
	if s == "clock" || s == "off" {
		return s, nil
	}
	if err := timecode.Check(s); err != nil {
		return "", fmt.Errorf(`%w; or "clock" or "off"`, err)
	}
	return s, nil
}}

// ClipNameWords are what a pattern for names of clips may hold, in braces.
var ClipNameWords = []string{"id", "shoot", "date", "time", "camera"}

var braced = regexp.MustCompile(`\{[^{}]*\}?`)

// clipName is a pattern for names of clips.
var clipName = kind[string]{permitted: "{" + strings.Join(ClipNameWords, "}, {") + "}", read: func(s string) (string, error) {
	for _, w := range braced.FindAllString(s, -1) {
		if !slices.Contains(ClipNameWords, strings.Trim(w, "{}")) || !strings.HasSuffix(w, "}") {
			return "", fmt.Errorf("%s: in braces want %s", w, words.Or(ClipNameWords))
		}
	}
	if s == "" || strings.ContainsAny(s, `/\`) {
		return "", errors.New("want a name without folders, such as {date}_{shoot}")
	}
	return s, nil
}}

// numbers reads n numbers from 0 to 1, set apart by commas.
func numbers(s string, n int) ([]float64, bool) {
	parts := strings.Split(s, ",")
	out := make([]float64, len(parts))
	for i, p := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil || !(v >= 0 && v <= 1) {
			return nil, false
		}
		out[i] = v
	}
	return out, len(out) == n
}

var part = kind[Rect]{read: func(s string) (Rect, error) {
	n, ok := numbers(s, 4)
	if !ok || !(n[2] > 0 && n[3] > 0 && n[0]+n[2] <= 1+1e-9 && n[1]+n[3] <= 1+1e-9) {
		return Rect{}, errors.New("want x,y,width,height within the picture, as fractions of it, such as 0.1,0.5,0.8,0.4")
	}
	return Rect{n[0], n[1], n[2], n[3]}, nil
}}

// Run is frames from the first to the last of them, counted from 1.
type Run struct{ First, Last int }

// Runs are frames in order, no two runs touching.
type Runs []Run

func (r Runs) String() string {
	parts := make([]string, len(r))
	for i, run := range r {
		parts[i] = strconv.Itoa(run.First)
		if run.Last > run.First {
			parts[i] += "-" + strconv.Itoa(run.Last)
		}
	}
	return strings.Join(parts, ",")
}

// Hold tells whether frame n, counted from 1, is one of them.
func (r Runs) Hold(n int) bool {
	return slices.ContainsFunc(r, func(run Run) bool { return run.First <= n && n <= run.Last })
}

// someOf reads words of a list, set apart by commas.
func someOf(list ...string) kind[[]string] {
	one := oneOf(list...)
	return kind[[]string]{permitted: strings.Join(list, ", "), read: func(s string) (out []string, err error) {
		for _, w := range strings.Split(s, ",") {
			x, err := one.read(strings.TrimSpace(w))
			if err != nil {
				return nil, err
			}
			out = append(out, x)
		}
		return out, nil
	}}
}

// frameList reads frames and runs of them, in any order.
var frameList = kind[Runs]{read: func(s string) (Runs, error) {
	var all Runs
	for _, part := range strings.Split(s, ",") {
		a, b, isRun := strings.Cut(part, "-")
		first, e1 := strconv.Atoi(strings.TrimSpace(a))
		last, e2 := first, error(nil)
		if isRun {
			last, e2 = strconv.Atoi(strings.TrimSpace(b))
		}
		if errors.Join(e1, e2) != nil || first < 1 || last < first || last > 10_000_000 {
			return nil, errors.New("want frames counted from 1 and runs of them, such as 17,40-52")
		}
		all = append(all, Run{first, last})
	}
	slices.SortFunc(all, func(a, b Run) int { return cmp.Compare(a.First, b.First) })
	joined := all[:1]
	for _, r := range all[1:] {
		if end := &joined[len(joined)-1]; r.First <= end.Last+1 {
			end.Last = max(end.Last, r.Last)
		} else {
			joined = append(joined, r)
		}
	}
	return joined, nil
}}

var point = kind[Point]{read: func(s string) (Point, error) {
	n, ok := numbers(s, 2)
	if !ok {
		return Point{}, errors.New("want two numbers from 0 to 1, such as 0.5,0.3")
	}
	return Point{n[0], n[1]}, nil
}}

var size = kind[Size]{read: func(s string) (Size, error) {
	a, b, ok := strings.Cut(strings.ToLower(s), "x")
	w, e1 := strconv.Atoi(a)
	h, e2 := strconv.Atoi(b)
	if !ok || errors.Join(e1, e2) != nil || w < 16 || h < 16 || w > 16384 || h > 16384 || w%2 != 0 || h%2 != 0 {
		return Size{}, errors.New("want width x height in even pixels, 16 to 16384 a side, such as 1920x1080")
	}
	return Size{w, h}, nil
}}

var aspect = kind[string]{read: func(s string) (string, error) {
	a, b, ok := strings.Cut(s, ":")
	w, e1 := strconv.Atoi(a)
	h, e2 := strconv.Atoi(b)
	if s != "source" && (!ok || errors.Join(e1, e2) != nil || w < 1 || h < 1 || w > 10000 || h > 10000) {
		return "", errors.New(`want W:H such as 16:9, or "source"`)
	}
	return s, nil
}}

// suffixed reads a number with a unit, and gives it times the unit's factor.
func suffixed(s string, units []unit) (v float64, u unit, ok bool) {
	s = strings.ToLower(strings.TrimSpace(s))
	for _, u := range units {
		if n, found := strings.CutSuffix(s, u.name); found {
			v, err := strconv.ParseFloat(strings.TrimSpace(n), 64)
			return v * u.factor, u, err == nil && v > 0 && !math.IsInf(v, 0)
		}
	}
	return 0, unit{}, false
}

type unit struct {
	name   string
	factor float64
	of     string
}

var travel = kind[Travel]{read: func(s string) (Travel, error) {
	v, u, ok := suffixed(s, []unit{{"degrees", 1, "deg"}, {"degree", 1, "deg"}, {"deg", 1, "deg"}, {"°", 1, "deg"}, {"mm", 1, "mm"}, {"cm", 10, "mm"}, {"in", 25.4, "mm"}, {"ft", 304.8, "mm"}, {"m", 1000, "mm"}})
	if !ok || v > 1e12 {
		return Travel{}, errors.New("want a length or an angle with its unit: 1200mm, 1.2m, 48in or 90deg")
	}
	return Travel{v, u.of}, nil
}}

// bytes are in decimal units, as cards are sold.
var bytes = kind[float64]{unit: "b", read: func(s string) (float64, error) {
	v, _, ok := suffixed(s, []unit{{name: "tb", factor: 1e12}, {name: "gb", factor: 1e9}, {name: "mb", factor: 1e6}, {name: "kb", factor: 1e3}, {name: "b", factor: 1}})
	if !ok || v > 1e18 {
		return 0, errors.New("want a size with its unit: 25MB or 64GB")
	}
	return v, nil
}}

// text is a value of a plan file as it would be typed.
func text(v any) string {
	switch v := v.(type) {
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case []any:
		parts := make([]string, len(v))
		for i, x := range v {
			parts[i] = text(x)
		}
		return strings.Join(parts, ",")
	}
	return fmt.Sprint(v)
}
