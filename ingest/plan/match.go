package plan

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"slices"
	"strings"
	"time"

	"stillspan/ingest"
	"stillspan/internal/words"
)

// How tells by what a sequence was found to answer to a planned shoot.
type How string

// Evidence, strongest first. The last two are taken only where one shoot and
// one sequence are left that could be each other.
const (
	ByName     How = "name"
	ByFolder   How = "folder"
	ByWindow   How = "start window"
	ByFit      How = "count and interval"
	ByCount    How = "count"
	ByInterval How = "interval"
)

// How far the count of frames and the interval may be from the plan, as a
// factor either way, for a sequence to be the shoot. One of them has to hold;
// where nothing but that one speaks for the match, the other has to be within
// the far limits.
const (
	fitFrames   = 2.0
	fitInterval = 1.25
	farFrames   = 10.0
	farInterval = 4.0
)

// Matching says which sequence answers to which shoot.
type Matching struct {
	Shoot    []int     // by sequence: index into the plan's shoots, or -1
	How      []How     // by sequence: the strongest evidence; "" where Shoot is -1
	Reason   []string  // by sequence: all the evidence in words; "" where Shoot is -1
	NotFound []int     // shoots no sequence answers to, in the plan's order
	Refused  []Refusal // what looks like a match and is none
}

// Refusal is a shoot that was not found and a sequence without a plan that
// something points to each other, and that cannot be the same.
type Refusal struct {
	Seq, Shoot int
	Looks      string // what points there: "its folder is named so"
	Why        string // what speaks against it: "its interval is 30 s, planned 5 s"
}

// Match pairs planned shoots with sequences, each at most once. A folder or a
// start window that a shoot states must hold, and the count or the interval
// must be near the plan's. Pairs with the stronger evidence are settled first;
// among equals, the closer fit, then the plan's order. f may be nil: nothing is
// planned then.
func Match(f *File, seqs []ingest.Sequence) Matching {
	m := Matching{Shoot: make([]int, len(seqs)), How: make([]How, len(seqs)), Reason: make([]string, len(seqs))}
	for i := range m.Shoot {
		m.Shoot[i] = -1
	}
	if f == nil {
		return m
	}
	var pairs []pair
	for i := range seqs {
		dirs := folders(&seqs[i])
		for j := range f.Shoots {
			pairs = append(pairs, weigh(&f.Shoots[j], &seqs[i], dirs, i, j))
		}
	}
	m.settle(f, pairs)
	m.inOrder(f)
	for j := range f.Shoots {
		if !slices.Contains(m.Shoot, j) {
			m.NotFound = append(m.NotFound, j)
		}
	}
	for _, p := range pairs {
		if m.Shoot[p.seq] == p.shoot {
			m.Reason[p.seq] = strings.Join(p.reasons(m.How[p.seq]), ", ")
		} else if looks := p.looks(); looks != "" && m.Shoot[p.seq] < 0 && slices.Contains(m.NotFound, p.shoot) {
			m.Refused = append(m.Refused, Refusal{p.seq, p.shoot, looks, strings.Join(p.against(), ", and ")})
		}
	}
	return m
}

// settle takes the pairs by their evidence. Count alone and interval alone are
// believed only where neither the shoot nor the sequence has another left.
func (m *Matching) settle(f *File, pairs []pair) {
	slices.SortStableFunc(pairs, func(a, b pair) int {
		return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(a.shoot, b.shoot), cmp.Compare(a.seq, b.seq))
	})
	taken := make([]bool, len(f.Shoots))
	free := func(p pair) bool { return m.Shoot[p.seq] < 0 && !taken[p.shoot] }
	take := func(p pair, how How) {
		m.Shoot[p.seq], m.How[p.seq] = p.shoot, how
		taken[p.shoot] = true
	}
	for _, how := range []How{ByName, ByFolder, ByWindow, ByFit} {
		for _, p := range pairs {
			if free(p) && p.how() == how {
				take(p, how)
			}
		}
	}
	var left []pair
	for _, p := range pairs {
		if how := p.how(); free(p) && (how == ByCount || how == ByInterval) {
			left = append(left, p)
		}
	}
	for i, p := range left {
		alone := !slices.ContainsFunc(left, func(q pair) bool {
			return (q.seq == p.seq) != (q.shoot == p.shoot)
		})
		if alone {
			take(left[i], p.how())
		}
	}
}

// inOrder gives shoots that are planned alike the sequences found for them in
// the order of time: whichever fits better by a frame says nothing.
func (m *Matching) inOrder(f *File) {
	alike := func(a, b *Shoot) bool {
		return a.Frames == b.Frames && a.IntervalS == b.IntervalS && a.From.Equal(b.From) && a.To.Equal(b.To) &&
			strings.EqualFold(a.Folder, b.Folder)
	}
	for i, j := range m.Shoot {
		for k := i + 1; k < len(m.Shoot); k++ {
			l := m.Shoot[k]
			if j > l && l >= 0 && m.How[i] == m.How[k] && m.How[i] != ByName && alike(&f.Shoots[j], &f.Shoots[l]) {
				m.Shoot[i], m.Shoot[k] = l, j
				j = l
			}
		}
	}
}

// Hints is what the plan tells the reading of a dump: where the clock alone
// sees one shoot, the plan may name two. f may be nil.
func (f *File) Hints() []ingest.Planned {
	if f == nil {
		return nil
	}
	out := make([]ingest.Planned, len(f.Shoots))
	for j := range f.Shoots {
		s := &f.Shoots[j]
		out[j] = ingest.Planned{Folder: s.Folder, Frames: s.Frames, IntervalS: s.IntervalS}
		out[j].From, out[j].To = s.window()
	}
	return out
}

// Only keeps the sequences of these indexes; what the others answer to stays
// found.
func (m Matching) Only(seqs []int) Matching {
	out := Matching{NotFound: m.NotFound}
	for k, i := range seqs {
		out.Shoot, out.How, out.Reason = append(out.Shoot, m.Shoot[i]), append(out.How, m.How[i]), append(out.Reason, m.Reason[i])
		for _, r := range m.Refused {
			if r.Seq == i {
				r.Seq = k
				out.Refused = append(out.Refused, r)
			}
		}
	}
	return out
}

// Find returns the indexes of the sequences that a word names: their ID, the
// name of the planned shoot they answer to, or their folder, as a path or one
// part of it. Case, spaces, dashes, dots and underscores do not count. ID goes
// before name and name before folder; it is empty where nothing answers.
func Find(word string, f *File, m Matching, seqs []ingest.Sequence) []int {
	var ids, names, dirs []int
	for i := range seqs {
		switch {
		case fold(seqs[i].ID) == fold(word):
			ids = append(ids, i)
		case f != nil && m.Shoot[i] >= 0 && fold(f.Shoots[m.Shoot[i]].Name) == fold(word):
			names = append(names, i)
		case slices.ContainsFunc(folders(&seqs[i]), func(d string) bool { return hasPart(d, word) || within(d, cleanFolder(word)) }):
			dirs = append(dirs, i)
		}
	}
	for _, list := range [][]int{ids, names} {
		if len(list) > 0 {
			return list
		}
	}
	return dirs
}

// holds is what one point of a plan says about a sequence.
type holds int

const (
	unstated holds = iota // by the plan, or not known of the sequence
	yes
	no
)

func holdsIf(b bool) holds {
	if b {
		return yes
	}
	return no
}

// pair is a sequence held against a shoot.
type pair struct {
	seq, shoot                            int
	name, folder, window, count, interval holds
	cost                                  float64 // distance in count and interval, and from the window's start
	planned                               *Shoot
	start, from, to                       time.Time // wall clocks
	frames                                int       // of the sequence, as near to the plan as it may be counted
	intervalS                             float64
}

// weigh holds sequence i, whose frames lie in dirs, against shoot j.
func weigh(s *Shoot, seq *ingest.Sequence, dirs []string, i, j int) pair {
	p := pair{seq: i, shoot: j, planned: s, start: wallClock(firstTaken(seq))}
	if fold(s.Name) == fold(seq.ID) || slices.ContainsFunc(dirs, func(d string) bool { return hasPart(d, s.Name) }) {
		p.name = yes
	}
	if s.Folder != "" {
		p.folder = holdsIf(slices.ContainsFunc(dirs, func(d string) bool { return within(d, s.Folder) }))
	}
	p.from, p.to = s.window()
	if (!p.from.IsZero() || !p.to.IsZero()) && !p.start.IsZero() {
		if seq.Frames[0].YearGuessed {
			bound := p.from
			if bound.IsZero() {
				bound = p.to
			}
			p.start = p.start.AddDate(bound.Year()-p.start.Year(), 0, 0)
		}
		grain := time.Duration(seq.Timing.TickS * float64(time.Second)) // the stamp is floored to it
		p.window = holdsIf(!p.start.Add(grain).Before(p.from) && (p.to.IsZero() || !p.start.After(p.to.Add(s.before(seq)))))
		if !p.from.IsZero() && s.ShootingS > 0 {
			p.cost = math.Abs(p.start.Sub(p.from).Seconds()) / s.ShootingS
		}
	}
	p.frames = nearest(s.Frames, counts(seq))
	if s.Frames > 0 {
		off := ratio(float64(p.frames), float64(s.Frames))
		p.count = holdsIf(off <= math.Log(fitFrames))
		p.cost += off
	}
	if p.intervalS = nearest(s.IntervalS, intervals(seq)); s.IntervalS > 0 && p.intervalS > 0 {
		off := ratio(p.intervalS, s.IntervalS)
		p.interval = holdsIf(off <= math.Log(fitInterval))
		p.cost += 4 * off
	}
	return p
}

// window bounds the moment of the first frame. One that states no end closes
// after the planned shooting time: what begins later is not this shoot.
func (s *Shoot) window() (from, to time.Time) {
	if s.To.IsZero() && !s.From.IsZero() && s.ShootingS > 0 {
		return s.From, s.From.Add(time.Duration(s.ShootingS * float64(time.Second)))
	}
	return s.From, s.To
}

// before is how long before the sequence's first frame the shoot may have begun,
// if all frames that it lacks are missing there and its window has an end.
func (s *Shoot) before(seq *ingest.Sequence) time.Duration {
	missing := s.Frames - nearest(s.Frames, counts(seq))
	if intervalS := nearest(s.IntervalS, intervals(seq)); missing > 0 && 2*missing < s.Frames && !s.To.IsZero() &&
		s.IntervalS > 0 && intervalS > 0 && ratio(intervalS, s.IntervalS) < math.Log(fitInterval) {
		return time.Duration((float64(missing) + 0.5) * intervalS * float64(time.Second))
	}
	return 0
}

// how is the strongest evidence that the sequence is the shoot; "" where it
// cannot be.
func (p *pair) how() How {
	labelled := p.name == yes || p.folder == yes
	switch {
	case p.folder == no || p.window == no:
		return ""
	case p.count == no && p.interval != yes && !(labelled && p.interval == unstated):
		return ""
	case p.interval == no && p.count != yes:
		return ""
	case p.name == yes:
		return ByName
	case p.folder == yes:
		return ByFolder
	case p.window == yes:
		return ByWindow
	case p.interval == no && ratio(p.intervalS, p.planned.IntervalS) <= math.Log(farInterval):
		return ByCount
	case p.count == no && ratio(float64(p.frames), float64(p.planned.Frames)) <= math.Log(farFrames):
		return ByInterval
	case p.count != no && p.interval != no && p.count+p.interval > unstated:
		return ByFit
	}
	return ""
}

// reasons is the evidence in words.
func (p *pair) reasons(how How) []string {
	var out []string
	if p.name == yes {
		out = append(out, "its folder or ID is named so")
	}
	if p.folder == yes {
		out = append(out, fmt.Sprintf("it lies in %q", p.planned.Folder))
	}
	if p.window == yes {
		out = append(out, fmt.Sprintf("it starts at %s, %s", clock(p.start), p.windowWords()))
	}
	frames := fmt.Sprintf("%d frames of %d", p.frames, p.planned.Frames)
	interval := fmt.Sprintf("%s of %s", words.Seconds(p.intervalS), words.Seconds(p.planned.IntervalS))
	switch how {
	case ByFit:
		if p.count == yes {
			out = append(out, frames)
		}
		if p.interval == yes {
			out = append(out, "interval "+interval)
		}
	case ByCount:
		out = append(out, frames+" alone: no other is left")
	case ByInterval:
		out = append(out, "interval "+interval+" alone: no other is left")
	}
	return out
}

// looks says what points to the shoot, if the sequence cannot be it.
func (p *pair) looks() string {
	switch {
	case p.how() != "":
		return ""
	case p.name == yes:
		return "its folder or ID is named so"
	case p.folder == yes:
		return "it lies in the planned folder"
	case p.window == yes:
		return "it starts in the planned window"
	case p.count == yes && p.interval == yes:
		return "count and interval are near the plan"
	}
	return ""
}

// against is what speaks against the sequence being the shoot.
func (p *pair) against() []string {
	var out []string
	if p.folder == no {
		out = append(out, fmt.Sprintf("it does not lie in folder %q", p.planned.Folder))
	}
	if p.window == no {
		out = append(out, fmt.Sprintf("it starts at %s, not %s", p.start.Format("2006-01-02 15:04:05"), p.windowWords()))
	}
	if p.interval == no {
		out = append(out, fmt.Sprintf("its interval is %s, planned %s", words.Seconds(p.intervalS), words.Seconds(p.planned.IntervalS)))
	}
	if p.count == no {
		out = append(out, fmt.Sprintf("it has %d frames, planned %d", p.frames, p.planned.Frames))
	}
	return out
}

func (p *pair) windowWords() string {
	switch {
	case p.to.IsZero():
		return "after " + clock(p.from)
	case p.from.IsZero():
		return "before " + clock(p.to)
	case p.from.YearDay() != p.to.YearDay() || p.from.Year() != p.to.Year():
		return fmt.Sprintf("between %s and %s", p.from.Format("2006-01-02 15:04:05"), p.to.Format("2006-01-02 15:04:05"))
	}
	return fmt.Sprintf("between %s and %s", clock(p.from), clock(p.to))
}

func clock(t time.Time) string { return t.Format("15:04:05") }

// counts are the frames on disk, and those with the missing ones among them.
func counts(seq *ingest.Sequence) []int {
	out := []int{len(seq.Frames)}
	if n := len(seq.Timing.Slot); seq.Timing.Judged && n > 0 {
		out = append(out, seq.Timing.Slot[n-1]+1)
	}
	return out
}

// intervals are those that held in the sequence; none where it is not known.
func intervals(seq *ingest.Sequence) []float64 {
	if !seq.Timing.Judged {
		return nil
	}
	out := []float64{seq.Timing.IntervalS}
	for _, c := range seq.Timing.Changes {
		out = append(out, c.FromS, c.ToS)
	}
	return out
}

// nearest is the one of list nearest to want as a factor; zero for none.
func nearest[T int | float64](want T, list []T) (best T) {
	for i, v := range list {
		if i == 0 || ratio(float64(v), float64(want)) < ratio(float64(best), float64(want)) {
			best = v
		}
	}
	return best
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
