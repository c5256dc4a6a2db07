package account

import (
	"math"
	"slices"
)

// bracketing is a body's rows taken together by brackets: several exposures at
// each place of the cadence, of which one is wanted.
type bracketing struct {
	size   int // exposures in each
	chosen int // which of them, from 0
	units  []unit
}

// unit is one bracket: the rows of its exposures by their place in it, -1 for one
// that is not there.
type unit struct {
	rows []int
	lost int // of those not there, the ones whose number is missing
}

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

// brackets finds the brackets of a body. want is the exposure wanted, from 1, or
// 0 for the middle one of the order fired, by light where the light is known.
// It is nil where there are none.
func brackets(files []File, rows []row, want int) *bracketing {
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
	b := &bracketing{size: size}
	for k, from := range cut {
		to := len(rows)
		if k+1 < len(cut) {
			to = cut[k+1]
		}
		for ; from < to; from += size {
			b.units = append(b.units, unit{rows: span(from, min(to, from+size))})
		}
	}
	b.place(rows)
	b.choose(files, rows, want)
	return b
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
func (b *bracketing) place(rows []row) {
	number := make([]int, len(rows)) // running, so that holes show
	for j := 1; j < len(rows); j++ {
		number[j] = number[j-1] + max(1, rows[j].du)
	}
	first := make([]int, len(b.units)) // the number of the first exposure
	for k := range b.units {
		first[k] = math.MinInt
		if r := b.units[k].rows; len(r) == b.size && number[r[len(r)-1]]-number[r[0]] == b.size-1 {
			first[k] = number[r[0]]
		}
	}
	for k := range b.units {
		r := b.units[k].rows
		if first[k] != math.MinInt {
			continue
		}
		lo, hi := number[r[0]], number[r[len(r)-1]]
		guess := lo
		if k > 0 {
			if ends := first[k-1] + b.size; ends <= lo && hi < ends+b.size {
				guess = ends
			}
		} else if len(b.units) > 1 && first[1] != math.MinInt && first[1]-b.size <= lo && hi < first[1] {
			guess = first[1] - b.size
		}
		first[k] = guess
		places := make([]int, b.size)
		for p := range places {
			places[p] = -1
		}
		for _, j := range r {
			if p := number[j] - guess; p >= 0 && p < b.size {
				places[p] = j
			}
		}
		// A number is missing where the next bracket is as far on as if it had been
		// shot.
		next := guess + b.size
		if k+1 < len(b.units) {
			next = number[b.units[k+1].rows[0]]
		}
		b.units[k].lost = min(b.size-len(r), max(0, next-guess-len(r)))
		b.units[k].rows = places
	}
}

// choose settles which exposure of each bracket is wanted: the middle one by its
// light, else by its order.
func (b *bracketing) choose(files []File, rows []row, want int) {
	b.chosen = min(want, b.size) - 1
	if want > 0 {
		return
	}
	b.chosen = b.size / 2
	for _, u := range b.units {
		order := slices.Clone(u.rows)
		if slices.Contains(order, -1) || slices.ContainsFunc(order, func(j int) bool { return math.IsNaN(files[rows[j].file].LightEV) }) {
			continue
		}
		slices.SortStableFunc(order, func(i, j int) int {
			return compareTimes(files[rows[i].file].LightEV, files[rows[j].file].LightEV)
		})
		b.chosen = slices.Index(u.rows, order[b.size/2])
		return
	}
}

// unitRows are rows that stand for whole brackets.
func (b *bracketing) unitRows(rows []row) []row {
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
			holes -= b.outside(k, rows)
			switch {
			case !known:
				r.du = 0
			default:
				r.du = 1 + max(0, holes)/b.size
			}
		}
		out[k] = r
		end = last
	}
	return out
}

// outside counts the missing numbers between bracket k-1 and k that belong to
// them: lost exposures at the end of the one and at the start of the other.
func (b *bracketing) outside(k int, rows []row) int {
	n := 0
	for p := b.size - 1; p >= 0 && b.units[k-1].rows[min(p, len(b.units[k-1].rows)-1)] < 0; p-- {
		n++
	}
	n = min(n, b.units[k-1].lost)
	m := 0
	for p := 0; p < b.size && b.units[k].rows[p] < 0; p++ {
		m++
	}
	return n + min(m, b.units[k].lost)
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
	s.Files, s.Number, s.Slot = nil, nil, nil
	s.Bracket, s.Chosen = b.size, b.chosen
	var gaps []Gap
	next := 0
	for i, f := range files {
		for ; next < len(s.Gaps) && s.Gaps[next].After < i; next++ {
			gaps = append(gaps, b.whole(s.Gaps[next], len(s.Files)-1)...)
		}
		u := &b.units[at[f]]
		index[i] = max(0, len(s.Files)-1)
		spare := u.lost
		if j := u.rows[b.chosen]; j >= 0 {
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
			if j >= 0 && p != b.chosen {
				s.Unused = append(s.Unused, rows[j].file)
			}
		}
	}
	for ; next < len(s.Gaps); next++ {
		gaps = append(gaps, b.whole(s.Gaps[next], len(s.Files)-1)...)
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

// whole is a gap of brackets as one of frames: all exposures of a lost one are
// lost, one of them is missing from the cadence.
func (b *bracketing) whole(g Gap, after int) []Gap {
	g.After = after
	if g.Cause != FileLost {
		return []Gap{g}
	}
	spare := g
	spare.Count, spare.Spare = g.Count*(b.size-1), true
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
