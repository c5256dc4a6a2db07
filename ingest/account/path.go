package account

import (
	"cmp"
	"math"
	"slices"
)

// events are what happened at one row.
type events uint16

const (
	evLate   events = 1 << iota // off its place, by node.off
	evAnew                      // the cadence starts anew, by node.off
	evDouble                    // between two places
	evPause                     // nothing is due in a long pause before
	evRest                      // the daily rest lies before
	evChange                    // another interval from here on
	evShoot                     // another shoot begins here
	evWrong                     // the stamp is wrong
	evClock                     // the clock was set before
)

// tally counts what is missing, by cause.
type tally struct{ never, lost, spare, unknown int32 }

func (a tally) plus(b tally) tally {
	return tally{a.never + b.never, a.lost + b.lost, a.spare + b.spare, a.unknown + b.unknown}
}

func (a tally) minus(b tally) tally {
	return tally{a.never - b.never, a.lost - b.lost, a.spare - b.spare, a.unknown - b.unknown}
}

func (a tally) bits() float64 {
	return neverBits(int(a.never+a.unknown)) + countBits(bitsLost, int(a.lost)) + countBits(bitsSpare, int(a.spare))
}

// node is one account of all rows up to its own. It knows when its row was due
// only within a range, which every stamp narrows and every interval widens.
type node struct {
	parent, row int32
	cadence     int8
	events      events
	run         int32 // rows since the cadence was taken up
	step        int32 // places from the row before
	cost        float64
	lo, hi      float64 // the moment the place was due; infinite before any stamp
	off         float64 // how far the frame was from it
	missing     tally   // before this row
	total       tally
	shoots      int32
	tested      bool  // test stills came before the shoot
	first       int32 // row with which the shoot began
	// holes of the shoot at which nothing was fired, the rows since the last, and
	// those between it and the one before
	holes, since, turn int32
}

func (n *node) mid() float64 { return (n.lo + n.hi) / 2 }

// rival is an account that came to the same state as another and cost little
// more, with another verdict.
type rival struct {
	winner, loser int32
	bits          float64
}

// solver finds the cheapest path through rows and cadences.
type solver struct {
	rows     []row
	planned  []Planned
	cadences []cadence
	rest     []bool
	// what it costs that settings change within a shoot, and that they leap, in bits
	moved, leapt float64
	nodes        []node
	rivals       []rival
	level        []int32 // survivors at the row before
	next         []node
	order        []int32 // of next, the cheapest first
	end          int32   // the last node of the account solved
	// alternatives are other accounts that cost little more than the last solved.
	alternatives []other
}

// solve returns the nodes of the cheapest account, one for each row.
func (s *solver) solve() []node {
	s.nodes, s.rivals, s.next, s.level = s.nodes[:0], s.rivals[:0], s.next[:0], s.level[:0]
	s.begin()
	for j := 1; j < len(s.rows); j++ {
		s.next = s.next[:0]
		if !s.rows[j].other {
			for _, h := range s.level {
				s.advance(h, j)
			}
		}
		s.enter(j)
		s.settle()
	}
	s.end = s.best()
	path := make([]node, len(s.rows))
	for at := s.end; at >= 0; at = s.nodes[at].parent {
		path[s.nodes[at].row] = s.nodes[at]
	}
	return path
}

// best is the cheapest account of all rows. A shoot that is hardly longer than the
// test stills before it is one of them.
func (s *solver) best() int32 {
	for _, at := range s.level {
		if n := &s.nodes[at]; n.tested {
			n.cost += s.brief(n)
		}
	}
	return slices.MinFunc(s.level, func(a, b int32) int { return cmp.Compare(s.nodes[a].cost, s.nodes[b].cost) })
}

// brief is what it costs that a shoot after test stills, or before them, ends with
// the account n.
func (s *solver) brief(n *node) float64 {
	if s.cadences[n.cadence].free() || n.run+1 >= briefRun || int(n.run)+1 == len(s.rows) {
		return 0
	}
	return bitsBrief
}

// begin opens an account in every cadence.
func (s *solver) begin() {
	r := &s.rows[0]
	for k := range s.cadences {
		c := &s.cadences[k]
		n := node{parent: -1, cadence: int8(k), shoots: 1}
		n.lo, n.hi = s.fresh(0, k)
		switch c.kind {
		case ramp:
			n.cost = bitsRamp
		case hand:
			n.cost = bitsHand
		}
		n.cost += s.freeBits(0, c, false) + c.odd
		s.next = append(s.next, n)
		if timed(r.t) && !c.free() {
			n.cost += bitsWrong
			n.events = evWrong
			n.lo, n.hi = math.Inf(-1), math.Inf(1)
			s.next = append(s.next, n)
		}
	}
	s.settle()
}

// fresh is when row j was due where nothing else tells.
func (s *solver) fresh(j, k int) (lo, hi float64) {
	r := &s.rows[j]
	if !timed(r.t) {
		return math.Inf(-1), math.Inf(1)
	}
	slack := s.cadences[k].slack
	return r.t - slack, r.t + r.g + slack
}

// child is the account of h gone on to row j, on its cadence, so many places on.
func (s *solver) child(h int32, j, places int) node {
	p := &s.nodes[h]
	n := node{parent: h, row: int32(j), cadence: p.cadence, run: p.run + 1, step: int32(places), cost: p.cost, shoots: p.shoots, tested: p.tested, first: p.first, holes: p.holes, since: p.since + 1, turn: p.turn, lo: p.lo, hi: p.hi}
	c := &s.cadences[p.cadence]
	n.cost += c.bits
	if !c.free() && s.rows[j].changed {
		n.cost += s.moved
	}
	if !c.free() && s.rows[j].leaps {
		n.cost += s.leapt
	}
	if c.kind == ramp && c.jumps[j] {
		n.cost += bitsChange
	}
	if !c.free() && places > 0 {
		move := float64(places) * c.at(j)
		drift := float64(places) * c.walk
		if places != s.rows[j].du {
			drift = min(drift, 0.4*c.at(j))
		}
		n.lo += move - drift
		n.hi += move + drift
	}
	return n
}

func (s *solver) add(n node) {
	n.cost += n.missing.bits()
	if gone := n.missing.never + n.missing.unknown; gone > 0 {
		if c := &s.cadences[n.cadence]; 2*s.rows[n.row].g <= c.at(int(n.row)) { // else a clock that beats with the cadence looks alike
			n.cost -= habit(&n, gone)
		}
		n.holes, n.since, n.turn = n.holes+1, 0, n.since
	}
	n.total = s.nodes[n.parent].total.plus(n.missing)
	s.next = append(s.next, n)
}

// habit is by how much less than usual a hole costs where the shoot has such holes
// often, as many bits as the share of them tells, or by turns, as those of a buffer
// that fills.
func habit(n *node, gone int32) float64 {
	const usual = 1 << bitsNever // rows with one hole among them
	if n.since == n.turn && n.turn >= 3 && gone == 1 {
		return neverBits(1) - bitsTurn
	}
	return max(0, math.Log2(float64(n.holes+1)*usual/float64(n.row-n.first+usual)))
}

// advance takes the account h on to row j in the same cadence.
func (s *solver) advance(h int32, j int) {
	c := &s.cadences[s.nodes[h].cadence]
	r := &s.rows[j]
	switch {
	case c.kind == tests && s.nodes[h].run+1 >= maxTests:
	case c.free():
		s.goFree(h, j)
	case !timed(r.t):
		n := s.child(h, j, max(1, r.du))
		n.missing = s.count(j, max(1, r.du))
		s.add(n)
	case math.IsInf(s.nodes[h].lo, 0): // the first stamp of the cadence
		n := s.child(h, j, max(1, r.du))
		n.missing = s.count(j, max(1, r.du))
		n.lo, n.hi = s.fresh(j, int(n.cadence))
		if s.nodes[h].events&evWrong != 0 && r.du > 0 {
			due := r.t - float64(n.step)*c.at(j)
			// Unlike one in the midst, a first stamp is earlier where it is a test
			// still's.
			if o := s.rows[j-1].t - due; s.rows[j-1].t > r.t+r.g || o < -farAway || wholeHours(o, r.g+c.slack, 0.5) {
				n.cost -= bitsWrong - bitsTests
			} else {
				n.cost += bitsStray - bitsWrong
			}
		}
		s.add(n)
	default:
		s.onPlace(h, j)
		s.off(h, j)
	}
}

// count tells what is missing before row j when it lies so many places on.
func (s *solver) count(j, places int) tally {
	r := &s.rows[j]
	gone := max(0, places-1)
	if r.shared && r.du > 1 { // numbers that nobody has may be those of another body
		lost := min(r.du-1, gone)
		return tally{lost: int32(lost), unknown: int32(gone - lost)}
	}
	if r.du <= 0 || r.weak && r.du > places {
		return tally{unknown: int32(gone)}
	}
	holes := r.du - 1
	lost := min(holes, gone)
	return tally{never: int32(gone - lost), lost: int32(lost), spare: int32(holes - lost)}
}

// onPlace tries the places that row j may have by its stamp.
func (s *solver) onPlace(h int32, j int) {
	p := &s.nodes[h]
	c := &s.cadences[p.cadence]
	r := &s.rows[j]
	interval := c.at(j)
	x := (r.t + r.g/2 - p.mid()) / interval
	if !(x < 1e7) {
		return
	}
	tried := [4]int{}
	try := func(k, places int) {
		if places < 1 || slices.Contains(tried[:k], places) {
			return
		}
		tried[k] = places
		s.tryPlace(h, j, places)
	}
	try(0, max(1, int(math.Round(x))))
	if p.hi-p.lo+2*c.slack+r.g > 0.25*interval {
		try(1, int(math.Floor(x)))
		try(2, int(math.Ceil(x)))
	}
	if r.du == 0 && x < 2 {
		try(3, 1)
	}
	if r.du > 0 && math.Abs(x-float64(r.du))*interval <= p.hi-p.lo+2*c.slack+r.g+interval+float64(r.du)*c.walk {
		try(3, r.du)
	}
}

// tryPlace lays row j so many places on: where its stamp allows, or off by what
// it does not, by itself or with all that follow.
func (s *solver) tryPlace(h int32, j, places int) {
	n := s.child(h, j, places)
	c := &s.cadences[n.cadence]
	r := &s.rows[j]
	interval := c.at(j)
	n.missing = s.count(j, places)
	n.off = r.t + r.g/2 - n.mid()
	lo, hi := r.t-c.slack, r.t+r.g+c.slack
	from, to := max(n.lo, lo), min(n.hi, hi)
	if from < to {
		// Of all moments that were possible only these are left.
		left := min(math.Log2((n.hi-n.lo)/(to-from)), bitsBeam)
		if r.g < 0.2*interval {
			left = max(0, left-1) // no news where the grain is fine
		}
		n.cost += left
		n.lo, n.hi = from, to
		s.add(n)
		return
	}
	miss := from - to
	if miss > interval {
		return
	}
	late := n
	late.events |= evLate
	late.cost += offBits(bitsLate, miss, interval, r.g)
	s.add(late)
	if math.Abs(n.off) > mostOff*interval && n.off > 0 {
		return // a place was left out
	}
	anew := n
	anew.events |= evAnew
	anew.cost += offBits(bitsAnew, miss, interval, r.g)
	anew.lo, anew.hi = lo, hi
	s.add(anew)
}

// off tries what takes row j out of the cadence as it ran.
func (s *solver) off(h int32, j int) {
	p := &s.nodes[h]
	c := &s.cadences[p.cadence]
	r := &s.rows[j]
	interval := c.at(j)
	apart := r.t + r.g/2 - p.mid()
	x := apart / interval
	fresh := func(n *node) { n.lo, n.hi = s.fresh(j, int(n.cadence)) }

	if x > -0.3 && x < 0.8 && r.g < interval/2 {
		n := s.child(h, j, 0)
		n.events |= evDouble
		n.off = apart
		n.missing = s.count(j, 1)
		n.cost += bitsDouble
		s.add(n)
	}
	if x > 1+mostOff && x < 1e6 {
		n := s.child(h, j, max(2, int(math.Round(x))))
		cost := n.cost
		n.missing = s.count(j, int(n.step))
		if gone := n.missing.never + n.missing.unknown; gone < 2*longPause {
			n.events |= evAnew
			n.off = apart - float64(n.step)*interval
			n.cost += bitsPause - bitsNever + 2*math.Log2(max(1, float64(gone)/8))
			n.run = 0
			fresh(&n)
			s.add(n)
		}
		if n.missing.never > longPause && r.du > 1 && apart > longPauseS/2 {
			n.events = evPause
			n.off = apart - float64(r.du)*interval
			n.step = int32(r.du)
			n.missing = s.count(j, r.du)
			n.cost = cost + bitsLong
			fresh(&n)
			s.add(n)
		}
	}
	places := max(1, r.du)
	due := p.mid() + float64(places)*interval
	if s.rest[j] {
		n := s.child(h, j, places)
		n.events |= evRest
		n.missing = s.count(j, places)
		n.cost += bitsRest
		fresh(&n)
		s.add(n)
	}
	o := r.t + r.g/2 - due
	if r.weak || r.du < 1 && (r.counted || o < 0 || !wholeHours(o, r.g+c.slack, 1)) {
		return
	}
	n := s.child(h, j, places)
	cost := n.cost
	n.off = o
	n.missing = s.count(j, places)
	// Between the stamps of its neighbours it is a pause, however long.
	inOrder := o > 0 && j+1 < len(s.rows) && s.rows[j+1].t >= r.t
	if r.du > 0 && !inOrder {
		n.events |= evWrong
		n.cost += wrongBits(o, r.g+c.slack, interval)
		s.add(n)
	}
	if bits := clockBits(o, r.g+c.slack, interval); bits > 0 {
		if r.du > 1 && !wholeHours(o, r.g+c.slack, 0.5) {
			bits += bitsAtHole
		}
		n.events = evClock
		n.cost = cost + bits
		fresh(&n)
		s.add(n)
	}
}

const (
	hour    = 3600.0
	farAway = 300 * 24 * hour // no shoot lasts so long
)

// wrongBits is what one wrong stamp costs that is off by o seconds. One that may
// be right, since the camera may have paused, costs more.
func wrongBits(o, tolerance, interval float64) float64 {
	if o < -max(tolerance, interval/2) || o > farAway || wholeHours(o, tolerance, 0.5) {
		return bitsWrong
	}
	return bitsStray
}

// clockBits is what a clock set by o seconds costs; 0 where it cannot be told
// from a pause.
func clockBits(o, tolerance, interval float64) float64 {
	switch {
	case wholeHours(o, tolerance, 1) && o < 0:
		return min(bitsClock-1, bitsBack+3*math.Log2(-o/hour))
	case wholeHours(o, tolerance, 0.5) && o < 0:
		return min(bitsClock, bitsBack+4+3*math.Log2(max(1, -o/hour)))
	case wholeHours(o, tolerance, 1):
		return bitsAhead
	case o < -max(tolerance, interval/2) || o > farAway:
		return bitsClock
	case wholeHours(o, tolerance, 0.5):
		return bitsHalf
	}
	return 0
}

// wholeHours reports whether o is a multiple, other than none, of so many hours.
func wholeHours(o, tolerance, hours float64) bool {
	unit := hours * hour
	k := math.Round(o / unit)
	return k != 0 && math.Abs(o-k*unit) <= tolerance && tolerance < unit/20
}

// goFree takes a shoot fired by hand on to row j.
func (s *solver) goFree(h int32, j int) {
	r := &s.rows[j]
	n := s.child(h, j, max(1, r.du))
	n.cost += s.freeBits(j, &s.cadences[n.cadence], true)
	n.missing = s.count(j, max(1, r.du))
	if timed(r.t) {
		n.lo, n.hi = r.t, r.t+r.g
	}
	s.add(n)
}

// freeBits is what it costs that a frame has no place to be due at: as many bits
// as tell its moment within a few intervals, and twice as many beyond. In a shoot
// all fired by hand that is what is expected, and costs less. A pause costs more
// where it goes on.
func (s *solver) freeBits(j int, c *cadence, goesOn bool) float64 {
	r := &s.rows[j]
	usual := s.cadences[0].interval
	if !c.free() || !timed(r.t) || !(usual > 0) {
		return 0
	}
	bits := min(5, max(2, math.Log2(2.5*usual/(r.g+2*slackShare*usual))))
	switch c.kind {
	case hand:
		bits = max(1.5, bits-2)
	case tests:
		bits = min(bits, 3.5)
	}
	if j > 0 {
		if dt := r.t - s.rows[j-1].t; goesOn && dt > 4*usual {
			bits += 2 * math.Log2(dt/(4*usual))
		} else if dt < 0 {
			bits += bitsClock
		}
	}
	return bits
}

// enter lets every account take up another cadence at row j, as another shoot or
// within the same one.
func (s *solver) enter(j int) {
	for k := range s.cadences {
		if !s.rows[j].other && !s.fits(j, k) {
			continue
		}
		var best node
		found := false
		for _, h := range s.level {
			if found && s.nodes[h].cost >= best.cost { // neither is for nothing
				continue
			}
			for i, n := range [2]node{s.asShoot(h, j, k), s.asChange(h, j, k)} {
				if i == 1 && s.rows[j].other {
					break
				}
				if n.cost += n.missing.bits(); !found || n.cost < best.cost {
					best, found = n, true
				}
			}
		}
		if found && best.cost < math.Inf(1) {
			best.total = s.nodes[best.parent].total.plus(best.missing)
			s.next = append(s.next, best)
		}
	}
}

// fits reports whether the steps after row j may be those of cadence k.
func (s *solver) fits(j, k int) bool {
	c := &s.cadences[k]
	if c.free() {
		return true
	}
	if j+1 >= len(s.rows) {
		return false
	}
	for i := j; i+1 < len(s.rows) && i < j+3; i++ {
		a, b := &s.rows[i], &s.rows[i+1]
		if !timed(a.t) || !timed(b.t) {
			return true
		}
		p := c.at(i + 1)
		x := math.Round((b.t - a.t) / p)
		if x < 8 && math.Abs(b.t-a.t-x*p) <= b.g+c.slack+c.walk {
			return true
		}
	}
	return false
}

// goesOn reports whether row j+1 follows row j in cadence k with nothing missing
// but what the numbers say.
func (s *solver) goesOn(j, k int) bool {
	if j+1 >= len(s.rows) {
		return false
	}
	c := &s.cadences[k]
	a, b := &s.rows[j], &s.rows[j+1]
	return !timed(a.t) || !timed(b.t) || math.Abs(b.t-a.t-c.at(j+1)*float64(max(1, b.du))) <= b.g+2*c.slack+c.walk
}

// fits tells whether a cadence may be the planned one, as far as that is stated.
func (p Planned) fits(c *cadence) bool {
	return c.kind != steady || !(p.IntervalS > 0) || math.Abs(math.Log(c.interval/p.IntervalS)) < plannedFactor
}

const plannedFactor = 0.5 // natural logarithm of the factor; plan.Match judges closer

// hinted tells whether a planned shoot may begin at row j in cadence k: its window
// holds the row and not the first of the shoot so far, and that one has as many
// frames as planned, or row j is none of its places.
func (s *solver) hinted(p *node, j, k int) bool {
	r, begun := &s.rows[j], s.rows[p.first].planned
	if r.planned == 0 || r.planned == begun || int(r.planned) > len(s.planned) || !s.planned[r.planned-1].fits(&s.cadences[k]) {
		return false
	}
	if begun > 0 && begun <= int32(len(s.planned)) {
		if n, planned := j-int(p.first), s.planned[begun-1].Frames; planned > 0 && max(n-planned, planned-n) <= 1+planned/100 {
			return true
		}
	}
	from, to := &s.cadences[p.cadence], &s.cadences[k]
	if from.kind == tests && p.shoots > 1 || from.free() && r.t-p.lo < 4*s.cadences[0].interval {
		return false // frames fired by hand lie apart anyhow, and a hole is no test still's
	}
	if from.kind != steady || to.kind != steady || math.Abs(from.interval-to.interval) > sameShare*from.interval {
		return true
	}
	apart := r.t + r.g/2 - p.mid()
	places := max(1, math.Round(apart/from.interval))
	return math.Abs(apart-places*from.interval) > r.g+from.slack+places*from.walk
}

// asShoot begins another shoot at row j.
func (s *solver) asShoot(h int32, j, k int) node {
	p := &s.nodes[h]
	from, to := &s.cadences[p.cadence], &s.cadences[k]
	r := &s.rows[j]
	n := node{parent: h, row: int32(j), cadence: int8(k), events: evShoot, shoots: p.shoots + 1, tested: from.kind == tests, first: int32(j), step: 1, cost: p.cost}
	n.lo, n.hi = s.fresh(j, k)
	apart := r.t + r.g/2 - p.mid()
	// Between planned shoots lies what else was shot. Another card's numbers count
	// where they tell of the same pause as the clock.
	within := r.g + from.slack + float64(r.du)*from.walk
	if r.rolls {
		within += from.at(j)
	}
	told := !r.weak || r.shared || !from.free() && math.Abs(apart-float64(r.du)*from.at(j)) <= within
	hint := s.hinted(p, j, k)
	turned := r.changed && s.moved > bitsMoved || r.leaps && s.leapt > bitsMoved
	if !from.free() && !to.free() && apart < 2.5*min(from.at(j), to.at(j)) {
		turned = false // the cadence goes on: the shutter may have grown too slow
	}
	group := r.group && !from.free() && apart > longPause*from.at(j)
	if r.du > 1 && told && !hint && !group {
		n.missing.spare = int32(r.du - 1)
	}
	switch {
	case r.other && to.kind == hand:
		n.cost += bitsHand
	case r.other:
	case from.kind == tests && !to.free():
		n.cost += 4 * to.bits // test stills before
		if p.shoots == 1 {
			n.cost += bitsTests
		} else if n.cost += bitsShoot; r.same && apart < longPauseS {
			n.cost += bitsEarly
		}
		if !turned && math.Abs(apart-to.at(j)) <= r.g+0.35*to.at(j) {
			n.cost += bitsOnPlace
		}
	case to.kind == tests && !from.free() && p.run >= leastRun:
		n.cost += bitsTests + s.brief(p) + 4*from.bits // or after
		if due := from.at(j) * float64(max(1, r.du)); math.Abs(apart-due) <= r.g+from.slack+from.walk {
			n.cost += bitsOnPlace
		}
	case to.kind == tests || from.kind == tests && to.kind == hand && p.shoots == 1:
		n.cost = math.Inf(1)
	case hint:
		n.cost += bitsHinted
	case group:
		n.cost += bitsGroup
	default:
		n.cost += bitsShoot
		if turned {
			n.cost -= bitsTurned
		} else if (apart < longPauseS || from.kind != hand && apart < longPause*from.at(j)) && r.reset == 0 {
			n.cost += bitsEarly
		}
		if alike := from.kind == steady && to.kind == steady && math.Abs(from.interval-to.interval) < sameShare*from.interval; alike && n.missing.spare > 0 {
			n.cost += bitsApart
		} else if alike && !turned && apart < longPause*from.at(j) {
			n.cost += bitsEarly
		}
	}
	if (from.kind == hand) != (to.kind == hand) && from.kind != tests && apart < 4*s.cadences[0].interval {
		n.cost += bitsBlur
	}
	if apart < 0 {
		n.cost += bitsClock
	}
	if to.kind == ramp {
		n.cost += bitsRamp
	}
	if r.same && !r.other && !hint && from.kind != tests && to.kind != tests {
		n.cost += bitsUnturned
	}
	n.cost += s.freeBits(j, to, !r.changed) + to.odd
	return n
}

// asChange takes up another interval within a shoot; the step to row j is one of
// the old interval or the new.
func (s *solver) asChange(h int32, j, k int) node {
	p := &s.nodes[h]
	none := node{cost: math.Inf(1)}
	from, to := &s.cadences[p.cadence], &s.cadences[k]
	r := &s.rows[j]
	if int(p.cadence) == k || from.free() || to.free() || !timed(r.t) || math.IsInf(p.lo, 0) || !s.goesOn(j, k) {
		return none
	}
	apart := r.t + r.g/2 - p.mid()
	best := none
	for _, c := range [2]*cadence{from, to} {
		interval := c.at(j)
		places := max(1, int(math.Round(apart/interval)))
		if places > max(1, r.du)+1 {
			continue
		}
		if math.Abs(apart-float64(places)*interval) > r.g+from.slack+to.slack+c.walk {
			continue
		}
		n := node{parent: h, row: int32(j), cadence: int8(k), events: evChange, shoots: p.shoots, first: p.first, holes: p.holes, since: p.since + 1, turn: p.turn, step: int32(places), cost: p.cost + bitsChange + to.odd}
		n.missing = s.count(j, places)
		n.lo, n.hi = s.fresh(j, k)
		if r.changed {
			n.cost += s.moved
		}
		if r.leaps {
			n.cost += s.leapt
		}
		if to.kind == ramp {
			n.cost += bitsRamp
		}
		if p.run < leastRun && p.shoots > 1 || p.events&evAnew != 0 || p.missing.never+p.missing.unknown > 0 {
			n.cost += bitsEarly // the old interval hardly came to be
		}
		if n.cost+n.missing.bits() < best.cost+best.missing.bits() {
			best = n
		}
	}
	return best
}

const maxPhases = 5 // survivors of one cadence that differ in phase

// settle keeps the cheapest accounts of those that have come to the same state,
// and remembers which others came near with another verdict.
func (s *solver) settle() {
	s.order = s.order[:0] // nodes are large to move
	for i := range s.next {
		s.order = append(s.order, int32(i))
	}
	slices.SortFunc(s.order, func(a, b int32) int { return cmp.Or(cmp.Compare(s.next[a].cost, s.next[b].cost), cmp.Compare(a, b)) })
	s.level = s.level[:0]
	phases := [maxCadences + 3]int8{}
	limit := s.next[s.order[0]].cost + bitsBeam
next:
	for _, i := range s.order {
		n := &s.next[i]
		if n.cost > limit {
			break
		}
		for _, at := range s.level {
			w := &s.nodes[at]
			if w.cadence != n.cadence || !s.alike(w, n) {
				continue
			}
			if bits := n.cost - w.cost; bits < bitsNear && (w.total != n.total || w.shoots != n.shoots) {
				s.nodes = append(s.nodes, *n)
				s.rivals = append(s.rivals, rival{at, int32(len(s.nodes) - 1), bits})
			}
			continue next
		}
		if phases[n.cadence] == maxPhases {
			continue
		}
		phases[n.cadence]++
		s.nodes = append(s.nodes, *n)
		s.level = append(s.level, int32(len(s.nodes)-1))
	}
}

// alike reports whether two accounts of one cadence will go on alike.
func (s *solver) alike(a, b *node) bool {
	c := &s.cadences[a.cadence]
	if c.free() {
		return (a.shoots == 1) == (b.shoots == 1)
	}
	if a.tested && a.run < briefRun || b.tested && b.run < briefRun { // what a brief shoot costs is still to come
		if a.tested != b.tested || a.run != b.run {
			return false
		}
	}
	if math.IsInf(a.lo, 0) || math.IsInf(b.lo, 0) {
		return math.IsInf(a.lo, 0) == math.IsInf(b.lo, 0)
	}
	near := max(0.25*s.rows[a.row].g, 0.25*c.slack)
	return math.Abs(a.lo-b.lo) <= near && math.Abs(a.hi-b.hi) <= near
}
