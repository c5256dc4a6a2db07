package plan

import (
	"cmp"
	"math"
	"path"
	"slices"
	"strings"
	"time"

	"stillspan/ingest"
)

// How tells by what a sequence was found to answer to a planned shoot.
type How string

// Evidence, strongest first.
const (
	ByName   How = "name"
	ByFolder How = "folder"
	ByWindow How = "start window"
	ByFit    How = "count and interval"
)

// Limits of a match by best fit alone: how far frames and interval may be
// from the plan, as a factor either way.
const (
	fitFrames   = 2.0
	fitInterval = 1.25
)

// Matching says which sequence answers to which shoot.
type Matching struct {
	Shoot    []int // by sequence: index into the plan's shoots, or -1
	How      []How // by sequence: evidence; "" where Shoot is -1
	NotFound []int // shoots no sequence answers to, in the plan's order
}

type pair struct {
	seq, shoot int
	rank       int     // of the evidence, 0 strongest
	cost       float64 // distance in count and interval
}

// Match pairs planned shoots with sequences, each at most once. A folder or a
// start window that a shoot states must hold. Pairs with the stronger
// evidence are settled first; among equals, the closer fit of count and
// interval, then the plan's order. f may be nil: nothing is planned then.
func Match(f *File, seqs []ingest.Sequence) Matching {
	m := Matching{Shoot: make([]int, len(seqs)), How: make([]How, len(seqs))}
	for i := range m.Shoot {
		m.Shoot[i] = -1
	}
	if f == nil {
		return m
	}
	var pairs []pair
	for i := range seqs {
		for j := range f.Shoots {
			if p, ok := weigh(&f.Shoots[j], &seqs[i]); ok {
				p.seq, p.shoot = i, j
				pairs = append(pairs, p)
			}
		}
	}
	slices.SortStableFunc(pairs, func(a, b pair) int {
		return cmp.Or(cmp.Compare(a.rank, b.rank), cmp.Compare(a.cost, b.cost),
			cmp.Compare(a.shoot, b.shoot), cmp.Compare(a.seq, b.seq))
	})
	how := []How{ByName, ByFolder, ByWindow, ByFit}
	taken := make([]bool, len(f.Shoots))
	for _, p := range pairs {
		if m.Shoot[p.seq] >= 0 || taken[p.shoot] {
			continue
		}
		m.Shoot[p.seq], m.How[p.seq] = p.shoot, how[p.rank]
		taken[p.shoot] = true
	}
	for j, t := range taken {
		if !t {
			m.NotFound = append(m.NotFound, j)
		}
	}
	return m
}

// weigh says whether the sequence can be the shoot and how well it fits.
func weigh(s *Shoot, seq *ingest.Sequence) (pair, bool) {
	if len(seq.Frames) == 0 {
		return pair{}, false
	}
	dirs := folders(seq)
	if s.Folder != "" && !slices.ContainsFunc(dirs, func(d string) bool { return within(d, s.Folder) }) {
		return pair{}, false
	}
	start := wallClock(firstTaken(seq))
	windowed := !s.From.IsZero() || !s.To.IsZero()
	if windowed && !start.IsZero() {
		if !s.From.IsZero() && start.Before(s.From) || !s.To.IsZero() && start.After(s.To) {
			return pair{}, false
		}
	}
	frames := ratio(float64(len(seq.Frames)), float64(s.Frames))
	interval := 0.0
	if seq.Timing.Judged {
		interval = ratio(seq.Timing.IntervalS, s.IntervalS)
	}
	p := pair{cost: frames + 4*interval}
	switch {
	case fold(s.Name) == fold(seq.ID) || slices.ContainsFunc(dirs, func(d string) bool { return hasPart(d, s.Name) }):
		p.rank = 0
	case s.Folder != "":
		p.rank = 1
	case windowed && !start.IsZero():
		p.rank = 2
	default:
		p.rank = 3
		return p, frames <= math.Log(fitFrames) && interval <= math.Log(fitInterval)
	}
	return p, true
}

// ratio is |ln(a/b)|, or 0 when either is not known.
func ratio(a, b float64) float64 {
	if !(a > 0) || !(b > 0) {
		return 0
	}
	return math.Abs(math.Log(a / b))
}

// folders lists the folders a sequence's frames lie in.
func folders(seq *ingest.Sequence) []string {
	var out []string
	last := "\x00"
	for i := range seq.Frames {
		if d := path.Dir(seq.Frames[i].Name); d != last && !slices.Contains(out, d) {
			out = append(out, d)
			last = d
		}
	}
	return out
}

// within tells whether folder d is want, lies below it, or below a folder
// whose path ends in want; case does not count.
func within(d, want string) bool {
	d, want = "/"+strings.ToLower(d)+"/", "/"+strings.ToLower(want)+"/"
	return strings.Contains(d, want)
}

// hasPart tells whether one part of the folder's path is the name.
func hasPart(d, name string) bool {
	return slices.ContainsFunc(strings.Split(d, "/"), func(p string) bool { return fold(p) == fold(name) })
}

// fold makes names that differ only in case, spaces, dashes and underscores
// equal: "Harbour Dawn" is the folder harbour-dawn.
func fold(s string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case ' ', '-', '_', '.':
			return -1
		}
		return r
	}, strings.ToLower(s))
}

func firstTaken(seq *ingest.Sequence) time.Time {
	for i := range seq.Frames {
		if t := seq.Frames[i].Facts.Taken; !t.IsZero() {
			return t
		}
	}
	return time.Time{}
}

// wallClock is what the camera's clock showed, held in UTC, whatever zone the
// file states: a plan is written in the time of the place.
func wallClock(t time.Time) time.Time {
	if t.IsZero() {
		return t
	}
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), time.UTC)
}
