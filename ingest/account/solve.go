package account

import (
	"fmt"
	"math"
	"slices"
)

// Options are the thresholds of Solve.
type Options struct {
	// MinFrames is the shortest run called a shoot; shorter runs are loose.
	MinFrames int
	// LateFraction is the least departure from the cadence, as a fraction of
	// the interval, that is called late, early or a delay. Never less than the
	// clock's grain counts: a whole-second clock cannot show a frame that is
	// 0.3 s late. Default 0.2, from which on the jump in motion begins to show
	// (common practice, no published source).
	LateFraction float64
	// OddRun is the longest run of pictures of another class within a shoot.
	OddRun int
	// Bracket is the exposure wanted of each bracket, in the order fired from 1;
	// 0 for the middle one.
	Bracket int
	// Planned are the planned shoots that File.Planned counts.
	Planned []Planned
}

// Planned is what is known of a shoot beforehand; 0 for not stated.
type Planned struct {
	Frames    int
	IntervalS float64 // seconds
}

// Solve finds the likeliest account of one body's files.
func Solve(files []File, opt Options) Account {
	if len(files) == 0 {
		return Account{}
	}
	var best Account
	for k, rows := range orders(files) {
		a := account(files, rows, opt)
		switch {
		case k == 0:
			best = a
		case a.Bits < best.Bits:
			a.rival(&best)
			best = a
		default:
			best.rival(&a)
		}
	}
	return best
}

// rival remembers the account of another order if that costs little more.
func (a *Account) rival(b *Account) {
	bits := b.Bits - a.Bits
	if bits > bitsNearOrder || len(a.Shoots) == 0 || a.total == b.total && len(a.Shoots) == len(b.Shoots) {
		return
	}
	first := &a.Shoots[0]
	first.Others = append(first.Others, Other{
		First: 0, Last: len(first.Files) - 1, Shoots: len(b.Shoots) - len(a.Shoots),
		Missing: b.total.minus(a.total).byCause(), Bits: bits,
	})
}

// account finds the likeliest account of files in one order.
func account(files []File, rows []row, opt Options) Account {
	markOthers(files, rows, opt.OddRun)
	b := brackets(files, rows, opt.Bracket)
	if b == nil {
		return ofRows(files, rows, opt)
	}
	a := ofRows(files, b.unitRows(files, rows), opt)
	var loose []int
	for _, f := range a.Loose {
		loose = append(loose, b.files(rows, f)...)
	}
	a.Loose = loose
	for i := range a.Shoots {
		b.expand(&a.Shoots[i], rows)
	}
	return a
}

// ofRows finds the likeliest account of rows of one frame each.
func ofRows(files []File, rows []row, opt Options) Account {
	s, path := solveRows(rows, opt.Planned)
	a := s.read(files, path, opt)
	a.Bits, a.total = path[len(path)-1].cost, path[len(path)-1].total
	for j := range rows {
		a.Bits += rows[j].reset
		if j > 0 && !rows[j].other && files[rows[j].file].Class != files[rows[j-1].file].Class && files[rows[j].file].Class >= 0 {
			a.Bits += bitsOtherClass
		}
	}
	return a
}

// solveRows finds the cheapest path through rows, in two passes: the second with
// the intervals that the first fitted; planned as Options.Planned.
func solveRows(rows []row, planned []Planned) (*solver, []node) {
	s := &solver{rows: rows, planned: planned}
	s.cadences = cadences(rows)
	if c, ok := rampOf(rows); ok && len(s.cadences) > 0 {
		s.cadences = append(s.cadences, c)
	}
	usual := usualStep(rows)
	s.cadences = append(s.cadences, cadence{kind: hand, interval: usual}, cadence{kind: tests, interval: usual})
	s.rest = rests(rows, s.cadences[0].interval)
	s.moved, s.leapt = movedBits(rows), leapBits(rows, usual)
	path := s.solve()
	if s.refine(path) {
		path = s.solve()
	}
	s.alternatives = s.others(s.end)
	return s, path
}

// movedBits is what it costs that settings change within a shoot: the more, the
// rarer they change.
func movedBits(rows []row) float64 {
	n := 0.5
	for j := range rows {
		if rows[j].changed {
			n++
		}
	}
	return max(0, math.Log2(float64(len(rows)+1)/n))
}

// Light leaps by so many EV, or by so many for each usual step that passed.
const leapEV, leapRateEV = 1.0, 0.3

// leapBits is the same of settings that leap, and marks the rows where they do. Only
// frames that keep time tell how often those of a shoot do.
func leapBits(rows []row, usual float64) float64 {
	n, leaps := 1.0, 0.5
	for j := 1; j < len(rows); j++ {
		dt := rows[j].t - rows[j-1].t
		rows[j].leaps = rows[j].leap >= leapEV && !(rows[j].leap < leapRateEV*dt/usual)
		if math.Abs(dt-usual) <= rows[j].g+nearShare*usual {
			if n++; rows[j].leaps {
				leaps++
			}
		}
	}
	return min(bitsLeap, max(0, math.Log2(n/leaps)))
}

// markOthers marks the rows at which the class of pictures changes for longer
// than oddRun frames.
func markOthers(files []File, rows []row, oddRun int) {
	class := -1
	for j := range rows {
		c := files[rows[j].file].Class
		if c < 0 || c == class {
			continue
		}
		if class >= 0 {
			last := j
			for last < len(rows) && last-j <= oddRun && files[rows[last].file].Class != class {
				last++
			}
			if last-j <= oddRun {
				continue
			}
			rows[j].other = true
		}
		class = c
	}
}

// refine fits the intervals of a first account to the frames it lays on them,
// and drops those it has no use for. It reports whether another pass is due.
func (s *solver) refine(path []node) bool {
	used := make([]*grid, len(s.cadences))
	steps := make([][]step, len(s.cadences))
	count := make([]int, len(s.cadences))
	for a := 0; a < len(path); {
		b := a + 1
		for b < len(path) && path[b].events&(evChange|evShoot) == 0 {
			b++
		}
		k := path[a].cadence
		if s.cadences[k].kind == steady && b-a > count[k] {
			used[k], count[k] = s.gridOf(path, a, b), b-a
			steps[k] = timedSteps(s.rows[a:b])
		}
		a = b
	}
	moved := false
	for k := range s.cadences {
		c := &s.cadences[k]
		if c.kind != steady || count[k] < 4 {
			continue
		}
		if p := used[k].p; p > 0 && math.Abs(p-c.interval) < 0.05*c.interval {
			sigma, walk := scatter(steps[k], p)
			sigma = max(sigma, s.strayed(path, int8(k))/3)
			again := newCadence(p, sigma, max(walkShare*p+2.5*walk, c.walk-math.Abs(p-c.interval)), used[k].tick)
			moved = moved || math.Abs(p-c.interval) > 1e-5*p || math.Abs(again.slack-c.slack) > 0.01*p
			*c = again
		}
	}
	return moved
}

// strayed is by how much frames lie off their places, and the next on them, where
// that is no rare event but the cadence's own scatter, which the clock's grain may
// hide; 0 where it is rare.
func (s *solver) strayed(path []node, k int8) float64 {
	var off []float64
	n := 0
	for i := range path {
		if path[i].cadence != k {
			continue
		}
		n++
		if path[i].step == 1 && path[i].events&(evLate|evAnew) != 0 {
			off = append(off, math.Abs(path[i].off))
		}
	}
	if len(off) < 4 || strayShare*len(off) < n {
		return 0
	}
	slices.Sort(off)
	return off[len(off)/2]
}

const strayShare = 25 // one frame in so many

func usualStep(rows []row) float64 {
	var v []float64
	for _, x := range timedSteps(rows) {
		v = append(v, x.dt/x.n)
	}
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return v[len(v)/2]
}

const (
	day         = 24 * hour
	leastRest   = hour     // a pause below is no rest of the day
	lonelyRest  = 6 * hour // nor is a shorter one that comes but once
	restTimes   = 8        // nor one of fewer intervals
	sameHourS   = 120      // by how much two mornings may differ, or 1.5 intervals
	mostRestDay = 6        // a rest over a weekend and some days more
)

// rests marks the rows before which a camera rested by its daily hours: after a
// long pause it goes on at the time of day at which it did the day before.
func rests(rows []row, interval float64) []bool {
	out := make([]bool, len(rows))
	if !(interval > 0) {
		return out
	}
	tolerance := max(sameHourS, 1.5*interval)
	last, morning := math.NaN(), math.NaN()
	found, short := 0, -1 // the rests, and one that is short
	for j := range rows {
		t := rows[j].t
		if !timed(t) {
			continue
		}
		if !timed(last) {
			morning = t
		} else if dt := t - last; dt > max(leastRest, restTimes*interval) && dt < mostRestDay*day {
			since := t - morning
			if off := since - day*math.Round(since/day); math.Abs(off) <= tolerance && since > day/2 && last-morning < day {
				out[j] = true
				if found++; dt < lonelyRest {
					short = j
				}
			}
			morning = t
		}
		last = t
	}
	if found == 1 && short >= 0 {
		out[short] = false
	}
	return out
}

// read turns a path into shoots.
func (s *solver) read(files []File, path []node, opt Options) Account {
	var a Account
	sections, doubts := s.secondLook(s.sections(path, opt.MinFrames), opt.MinFrames)
	var pending tally
	for _, x := range sections {
		if x.loose {
			for j := x.from; j < x.to; j++ {
				a.Loose = append(a.Loose, s.rows[j].file)
				// Numbers that nobody has may be of the shoot; what never fired is not.
				pending = pending.plus(tally{lost: path[j].missing.lost, spare: path[j].missing.spare})
			}
			continue
		}
		missing := path[x.from].missing.plus(pending)
		pending = tally{}
		of, part, at := s, path[x.from:x.to], x.from
		if x.kept != nil {
			of, part, at = &x.kept.solver, x.kept.path, 0
		}
		part[0].missing = missing
		a.Shoots = append(a.Shoots, of.shoot(files, part, at, opt))
	}
	if n := len(a.Shoots); n > 0 && pending != (tally{}) {
		last := &a.Shoots[n-1]
		last.Gaps = appendGaps(last.Gaps, len(last.Files)-1, math.NaN(), pending)
	}
	for _, b := range doubts {
		a.Doubts = append(a.Doubts, Doubt{s.rows[b.from].file, s.rows[b.to-1].file, b.to - b.from, b.interval, b.missing})
	}
	return a
}

// sections are the shoots of a path, too short ones and test stills as loose rows.
func (s *solver) sections(path []node, least int) (out []section) {
	handFired := true // nothing but frames fired by hand
	for from := 0; from < len(path); {
		to := from + 1
		for to < len(path) && path[to].events&evShoot == 0 {
			to++
		}
		x := section{from: from, to: to, free: s.cadences[path[from].cadence].free()}
		handFired = handFired && x.free
		out = append(out, x)
		from = to
	}
	for i := range out {
		x := &out[i]
		n := x.to - x.from
		x.loose = n < least || x.free && !handFired && n <= maxTests
	}
	return out
}

// shoot reads one run of the path.
func (s *solver) shoot(files []File, path []node, from int, opt Options) Shoot {
	out := Shoot{Files: make([]int, len(path)), Number: make([]int, len(path)), Slot: make([]int, len(path))}
	number := -1
	steady := false
	for i := range path {
		n := &path[i]
		r := &s.rows[from+i]
		out.Files[i] = r.file
		if f := &files[r.file]; f.Number >= 0 {
			if number < 0 {
				number = f.Number
			} else {
				number += r.du
				if r.du > 0 {
					number += f.Skip
				}
			}
			out.Number[i] = number
		} else {
			out.Number[i] = -1
		}
		if i > 0 {
			out.Slot[i] = out.Slot[i-1] + int(n.step)
		}
		apart := math.NaN()
		if i > 0 {
			apart = r.t - s.rows[from+i-1].t
		}
		c := &s.cadences[n.cadence]
		steady = steady || !c.free()
		if !(apart > 0) && c.at(from+i) > 0 { // no time, or a clock set back
			apart = float64(n.step) * c.at(from+i)
		}
		out.Gaps = appendGaps(out.Gaps, i-1, apart, n.missing)
		s.departures(&out, path, i, from, opt)
	}
	out.tell(s.alternatives, from, from+len(path))
	if !steady {
		out.Why = s.why(path, from)
		return out
	}
	s.fit(&out, path, from)
	for i := range path {
		if files[out.Files[i]].ExposureS > out.IntervalS {
			out.TooLong = append(out.TooLong, i)
		}
	}
	return out
}

func appendGaps(list []Gap, after int, apart float64, m tally) []Gap {
	add := func(count int32, c Cause) {
		if count > 0 {
			list = append(list, Gap{After: after, Count: int(count), GapS: apart, Cause: c})
		}
	}
	add(m.unknown, Unknown)
	add(m.never, NotFired)
	add(m.lost, FileLost)
	add(m.spare, NumberSkip)
	return list
}

// departures adds what node i says of its frame's time.
func (s *solver) departures(out *Shoot, path []node, i, from int, opt Options) {
	n := &path[i]
	c := &s.cadences[n.cadence]
	interval := c.at(from + i)
	grain := s.rows[from+i].g
	limit := max(opt.LateFraction*interval+grain/2, grain)
	switch {
	case n.events&evDouble != 0:
		out.Irregular = append(out.Irregular, Irregular{i, Double, n.off})
	case n.events&evLate != 0 && n.off > limit:
		out.Irregular = append(out.Irregular, Irregular{i, Late, n.off})
	case n.events&evLate != 0 && n.off < -limit:
		out.Irregular = append(out.Irregular, Irregular{i, Early, n.off})
	case n.events&evAnew != 0 && n.step == 1 && math.Abs(n.off) > max(opt.LateFraction*interval, grain):
		out.Delays = append(out.Delays, Delay{i, n.off})
	case n.events&evPause != 0:
		out.Pauses = append(out.Pauses, Delay{i, n.off})
	case n.events&evRest != 0:
		out.Rests = append(out.Rests, i-1)
	case n.events&evWrong != 0:
		out.WrongStamps = append(out.WrongStamps, i)
	case n.events&evClock != 0:
		out.ClockSets = append(out.ClockSets, ClockSet{i, n.off})
	}
}

// why says in plain words why there is no cadence.
func (s *solver) why(path []node, from int) string {
	var v []float64
	timedFrames := 0
	last := math.NaN()
	for i := range path {
		t := s.rows[from+i].t
		if !timed(t) {
			continue
		}
		timedFrames++
		if d := t - last; d >= 0 {
			v = append(v, d/float64(max(1, path[i].step)))
		}
		last = t
	}
	slices.Sort(v)
	switch {
	case timedFrames == 0:
		return "no frame carries the time it was taken; the order is that of the file numbers"
	case timedFrames < 4:
		return fmt.Sprintf("only %d frames carry a time; a cadence needs 4", timedFrames)
	case len(v) == 0 || v[len(v)-1] == 0:
		return "the times do not move on from frame to frame"
	}
	lo, hi := v[len(v)/10], v[len(v)-1-len(v)/10]
	return fmt.Sprintf("no steady interval: most steps last between %.3g and %.3g s", lo, hi)
}
