package account

import (
	"math"
	"slices"
)

// bracketing is a body's rows taken together by brackets: several exposures at
// each place of the cadence, of which one is wanted.
type bracketing struct {
	units []unit
}

// unit is one bracket: the rows of its exposures by their place in it, -1 for one
// that is not there. A frame by itself is a unit of one.
type unit struct {
	rows   []int
	chosen int // which of them is wanted, from 0
	lost   int // of those not there, the ones whose number is missing
}

// whole reports whether all exposures are there.
func (u *unit) whole() bool { return !slices.Contains(u.rows, -1) }

const (
	leastBracket, mostBracket = 3, 9
	bracketShare              = 0.7        // of all runs of quick steps must be of one length
	bracketRatio              = 2.5        // by which steps between brackets are longer than those within
	evStep                    = 0.3        // EV from which exposures differ
	burstStepS, bracketStepS  = 3.0, 120.0 // from one exposure to the next, alike and unlike
)

// takesTurns reports whether frames come from several counters by turns, as those
// of several bodies do and those of a bracket do not.
func takesTurns(files []File, rows []row) bool {
	turns := 0
	for j := 1; j < len(rows); j++ {
		if rows[j].du == 0 && files[rows[j].file].Number >= 0 && !rows[j].shared {
			turns++
		}
	}
	return 4*turns > len(rows)
}

// lightVaries reports whether most frames were exposed otherwise than those before.
func lightVaries(files []File, rows []row) bool {
	vary := 0
	for j := 1; j < len(rows); j++ {
		if math.Abs(files[rows[j].file].LightEV-files[rows[j-1].file].LightEV) >= evStep {
			vary++
		}
	}
	return 2*vary > len(rows)
}

// brackets finds the brackets of a body, stretch by stretch: its shoots need not all
// be of brackets. want is the exposure wanted, from 1, or 0 for the middle one of the
// order fired, by light where the light is known. It is nil where there are none.
func brackets(files []File, rows []row, want int) *bracketing {
	b := &bracketing{}
	found := false
	for from := 0; from < len(rows); {
		to := stretch(rows, from)
		units := bracketsOf(files, rows[from:to], want)
		found = found || units != nil
		for k := 0; units == nil && k < to-from; k++ {
			b.units = append(b.units, unit{rows: []int{from + k}})
		}
		for _, u := range units {
			for p := range u.rows {
				if u.rows[p] >= 0 {
					u.rows[p] += from
				}
			}
			b.units = append(b.units, u)
		}
		from = to
	}
	if !found {
		return nil
	}
	return b
}

const (
	stretchSteps = 12 // steps beside which a pause is long
	stretchRatio = 3  // times the longest of them
)

// stretch is the end of the rows from the given one on that one shoot may be: a pause
// follows, long beside the steps before it or after.
func stretch(rows []row, from int) int {
	longest := func(from, to int) float64 {
		s := math.NaN()
		for j := max(from, 1); j < min(to, len(rows)); j++ {
			if d := rows[j].t - rows[j-1].t; !(d <= s) {
				s = d
			}
		}
		return s
	}
	for j := from + 1; j < len(rows); j++ {
		dt := rows[j].t - rows[j-1].t
		if rows[j].other || dt > longPauseS && (dt > stretchRatio*longest(max(from+1, j-stretchSteps), j) || dt > stretchRatio*longest(j+1, j+1+stretchSteps)) {
			return j
		}
	}
	return len(rows)
}

// bracketsOf finds the brackets of rows that may be one shoot, nil where there are
// none.
func bracketsOf(files []File, rows []row, want int) []unit {
	cut := quickRuns(files, rows)
	if cut == nil {
		cut = lightRuns(files, rows)
	}
	if cut == nil {
		return nil
	}
	size := usualRun(cut, len(rows))
	if size == 0 || takesTurns(files, rows) {
		return nil
	}
	var units []unit
	for k, from := range cut {
		to := len(rows)
		if k+1 < len(cut) {
			to = cut[k+1]
		}
		for ; from < to; from += size {
			units = append(units, unit{rows: span(from, min(to, from+size))})
		}
	}
	place(units, size, rows)
	choose(units, size, files, rows, want)
	return apartAtEnds(units)
}

// apartAtEnds takes the incomplete brackets at both ends for frames by themselves, such
// as test stills, if no number says that some of theirs are missing.
func apartAtEnds(units []unit) []unit {
	single := func(k int) bool { return !units[k].whole() && units[k].lost == 0 }
	from, to := 0, len(units)
	for from < to && single(from) {
		from++
	}
	for to > from && single(to-1) {
		to--
	}
	var out []unit
	for k, u := range units {
		if k >= from && k < to {
			out = append(out, u)
			continue
		}
		for _, j := range u.rows {
			if j >= 0 {
				out = append(out, unit{rows: []int{j}})
			}
		}
	}
	return out
}

func span(from, to int) []int {
	out := make([]int, 0, to-from)
	for ; from < to; from++ {
		out = append(out, from)
	}
	return out
}

// usualRun is the length that most runs have, 0 where they do not agree or it is
// no bracket's. cut holds the first rows of the runs.
func usualRun(cut []int, n int) int {
	var count [mostBracket + 1]int
	for k, from := range cut {
		to := n
		if k+1 < len(cut) {
			to = cut[k+1]
		}
		if to-from <= mostBracket {
			count[to-from]++
		}
	}
	best := leastBracket
	for size := leastBracket; size <= mostBracket; size++ {
		if count[size] > count[best] {
			best = size
		}
	}
	if count[best] < 3 || float64(count[best]) < bracketShare*float64(len(cut)) {
		return 0
	}
	return best
}

// quickRuns cuts the rows where a long step follows quick ones: the steps' lengths
// fall into two groups far from each other (two means). It is
// nil where they do not.
func quickRuns(files []File, rows []row) []int {
	v := make([]float64, 0, len(rows))
	var g float64
	for j := 1; j < len(rows); j++ {
		dt := rows[j].t - rows[j-1].t
		if !timed(dt) || dt < 0 {
			return nil
		}
		g = max(g, rows[j].g)
		v = append(v, dt)
	}
	if len(v) < 2*leastBracket {
		return nil
	}
	sorted := slices.Clone(v)
	slices.Sort(sorted)
	quick, slow := sorted[len(sorted)/10], sorted[len(sorted)-1-len(sorted)/10]
	top := 1.5 * slow // a pause is no longer than this to the means
	for range 20 {
		var sum, n [2]float64
		for _, x := range v {
			k := 0
			if x > (quick+slow)/2 {
				k = 1
			}
			sum[k] += min(x, top)
			n[k]++
		}
		if n[0] == 0 || n[1] == 0 {
			return nil
		}
		quick, slow = sum[0]/n[0], sum[1]/n[1]
	}
	most := burstStepS
	if lightVaries(files, rows) {
		most = bracketStepS
	}
	if slow < bracketRatio*quick || slow-quick < 1.5*g || quick > most {
		return nil
	}
	cut := []int{0}
	for i, x := range v {
		if x > (quick+slow)/2 {
			cut = append(cut, i+1)
		}
	}
	return cut
}

// lightRuns cuts the rows by their exposures, where the clock is too coarse for
// their steps: the light repeats after a few rows and differs within them.
func lightRuns(files []File, rows []row) []int {
	if usual := usualStep(rows); len(rows) < 2*leastBracket || !(usual <= 1.5*rows[0].g) {
		return nil
	}
	ev := func(j int) float64 { return files[rows[j].file].LightEV }
	for size := leastBracket; size <= mostBracket; size++ {
		same, vary, n := 0, 0, 0
		for j := 0; j+size < len(rows); j++ {
			n++
			if math.Abs(ev(j+size)-ev(j)) < evStep {
				same++
			}
			if math.Abs(ev(j+1)-ev(j)) >= evStep {
				vary++
			}
		}
		if n >= 2*size && 5*same > 4*n && 2*vary > n {
			first := ev(0)
			cut := []int{0}
			for j := 1; j < len(rows); j++ {
				if math.Abs(ev(j)-first) < evStep && j-cut[len(cut)-1] > 1 {
					cut = append(cut, j)
				}
			}
			return cut
		}
	}
	return nil
}

// place finds the place of every exposure in its bracket, by number: brackets are
// size numbers apart.
func place(units []unit, size int, rows []row) {
	number := make([]int, len(rows)) // running, so that holes show
	for j := 1; j < len(rows); j++ {
		number[j] = number[j-1] + max(1, rows[j].du)
	}
	first := make([]int, len(units)) // the number of the first exposure
	for k := range units {
		first[k] = math.MinInt
		if r := units[k].rows; len(r) == size && number[r[len(r)-1]]-number[r[0]] == size-1 {
			first[k] = number[r[0]]
		}
	}
	for k := range units {
		r := units[k].rows
		if first[k] != math.MinInt {
			continue
		}
		lo, hi := number[r[0]], number[r[len(r)-1]]
		guess := lo
		if k > 0 {
			if ends := first[k-1] + size; ends <= lo && hi < ends+size {
				guess = ends
			}
		} else if len(units) > 1 && first[1] != math.MinInt && first[1]-size <= lo && hi < first[1] {
			guess = first[1] - size
		}
		first[k] = guess
		places := make([]int, size)
		for p := range places {
			places[p] = -1
		}
		for _, j := range r {
			if p := number[j] - guess; p >= 0 && p < size {
				places[p] = j
			}
		}
		// A number is missing where the next bracket is as far on as if it had been
		// shot.
		next := guess + size
		if k+1 < len(units) {
			next = number[units[k+1].rows[0]]
		}
		if k == 0 { // before the first row nothing tells
			guess = lo
		}
		units[k].lost = min(size-len(r), max(0, next-guess-len(r)))
		units[k].rows = places
	}
}

// choose settles which exposure of each bracket is wanted: the middle one by its
// light, else by its order.
func choose(units []unit, size int, files []File, rows []row, want int) {
	chosen := min(want, size) - 1
	if want == 0 {
		chosen = size / 2
		for _, u := range units {
			order := slices.Clone(u.rows)
			if !u.whole() || slices.ContainsFunc(order, func(j int) bool { return math.IsNaN(files[rows[j].file].LightEV) }) {
				continue
			}
			slices.SortStableFunc(order, func(i, j int) int {
				return compareTimes(files[rows[i].file].LightEV, files[rows[j].file].LightEV)
			})
			chosen = slices.Index(u.rows, order[size/2])
			break
		}
	}
	for k := range units {
		units[k].chosen = chosen
	}
}

// unitRows are rows that stand for whole brackets.
func (b *bracketing) unitRows(files []File, rows []row) []row {
	out := make([]row, len(b.units))
	end := -1
	for k, u := range b.units {
		first, last, have := -1, -1, 0
		for _, j := range u.rows {
			if j >= 0 {
				if first < 0 {
					first = j
				}
				last = j
				have++
			}
		}
		r := rows[first]
		if k > 0 {
			// Numbers between brackets beyond those of the brackets themselves.
			holes := 0
			known := true
			for j := end + 1; j <= first; j++ {
				known = known && rows[j].du > 0
				holes += max(0, rows[j].du-1)
				r.other = r.other || rows[j].other
			}
			// Those of incomplete brackets are told with them.
			holes -= b.outside(k)
			switch {
			case !known:
				r.du = 0
			default:
				// Fewer than a bracket's are still some that are not here.
				r.du = 1 + (max(0, holes)+len(u.rows)-1)/len(u.rows)
			}
		}
		out[k] = r
		end = last
	}
	compareLooks(files, out)
	for k := range out {
		if !math.IsInf(out[k].leap, 1) { // of incomplete ones not the same exposure is first
			out[k].leap = 0
		}
	}
	return out
}

// outside counts the missing numbers between bracket k-1 and k that belong to
// them: lost exposures at the end of the one and at the start of the other.
func (b *bracketing) outside(k int) int {
	last, first := &b.units[k-1], &b.units[k]
	n, m := 0, 0
	for p := len(last.rows) - 1; p >= 0 && last.rows[p] < 0; p-- {
		n++
	}
	for p := 0; p < len(first.rows) && first.rows[p] < 0; p++ {
		m++
	}
	return min(n, last.lost) + min(m, first.lost)
}

// expand turns a shoot of brackets into one of the exposures wanted.
func (b *bracketing) expand(s *Shoot, rows []row) {
	index := make([]int, len(s.Files)) // of each bracket's frame among those kept
	files, number, slot := s.Files, s.Number, s.Slot
	at := make(map[int]int, len(b.units)) // first file of a bracket -> bracket
	for k, u := range b.units {
		for _, j := range u.rows {
			if j >= 0 {
				at[rows[j].file] = k
				break
			}
		}
	}
	for _, f := range files {
		if u := &b.units[at[f]]; len(u.rows) > max(1, s.Bracket) {
			s.Bracket, s.Chosen = len(u.rows), u.chosen
		}
	}
	if s.Bracket == 0 {
		return
	}
	s.Files, s.Number, s.Slot = nil, nil, nil
	var gaps []Gap
	next := 0
	for i, f := range files {
		for ; next < len(s.Gaps) && s.Gaps[next].After < i; next++ {
			gaps = append(gaps, ofFrames(s.Gaps[next], len(s.Files)-1, s.Bracket)...)
		}
		u := &b.units[at[f]]
		index[i] = max(0, len(s.Files)-1)
		spare := u.lost
		if j := u.rows[u.chosen]; j >= 0 {
			index[i] = len(s.Files)
			s.Files = append(s.Files, rows[j].file)
			s.Number = append(s.Number, number[i])
			s.Slot = append(s.Slot, slot[i])
		} else {
			cause := NotFired
			if u.lost > 0 {
				cause = FileLost
				spare--
			}
			gaps = append(gaps, Gap{After: len(s.Files) - 1, Count: 1, GapS: math.NaN(), Cause: cause})
		}
		if spare > 0 {
			gaps = append(gaps, Gap{After: len(s.Files) - 1, Count: spare, GapS: math.NaN(), Cause: FileLost, Spare: true})
		}
		for p, j := range u.rows {
			if j >= 0 && p != u.chosen {
				s.Unused = append(s.Unused, rows[j].file)
			}
		}
	}
	for ; next < len(s.Gaps); next++ {
		gaps = append(gaps, ofFrames(s.Gaps[next], len(s.Files)-1, s.Bracket)...)
	}
	s.Gaps = gaps
	if len(s.Slot) > 0 {
		for i, first := 0, s.Slot[0]; i < len(s.Slot); i++ {
			s.Slot[i] -= first
		}
	}
	s.reindex(index)
}

// files are those of the bracket that begins with the file given.
func (b *bracketing) files(rows []row, first int) []int {
	for _, u := range b.units {
		var list []int
		for _, j := range u.rows {
			if j >= 0 {
				list = append(list, rows[j].file)
			}
		}
		if len(list) > 0 && list[0] == first {
			return list
		}
	}
	return []int{first}
}

// ofFrames is a gap of brackets as one of frames: all exposures of a lost one are
// lost, one of them is missing from the cadence.
func ofFrames(g Gap, after, size int) []Gap {
	g.After = after
	if g.Cause != FileLost {
		return []Gap{g}
	}
	spare := g
	spare.Count, spare.Spare = g.Count*(size-1), true
	return []Gap{g, spare}
}

// reindex moves the indices of a shoot's findings.
func (s *Shoot) reindex(index []int) {
	for i := range s.Irregular {
		s.Irregular[i].Index = index[s.Irregular[i].Index]
	}
	for _, list := range [][]Delay{s.Delays, s.Pauses} {
		for i := range list {
			list[i].Index = index[list[i].Index]
		}
	}
	for i := range s.Changes {
		s.Changes[i].Index = index[s.Changes[i].Index]
	}
	for i := range s.Ramps {
		s.Ramps[i].First, s.Ramps[i].Last = index[s.Ramps[i].First], index[s.Ramps[i].Last]
	}
	for i := range s.ClockSets {
		s.ClockSets[i].Index = index[s.ClockSets[i].Index]
	}
	for i := range s.Others {
		s.Others[i].First, s.Others[i].Last = index[s.Others[i].First], index[s.Others[i].Last]
	}
	for _, list := range [][]int{s.WrongStamps, s.Rests, s.TooLong} {
		for i := range list {
			list[i] = index[list[i]]
		}
	}
}
