package account

import (
	"cmp"
	"math"
	"slices"
)

// Body is the files of one camera body, by index, with their account.
type Body struct {
	Files   []int
	Account Account // indices into Files
}

const (
	// bitsBody is what one more body of the same model costs.
	bitsBody = 12.0
	// bitsMingled is what it costs that their files lie in one series by turns: any
	// steady cadence is two of half the rate.
	bitsMingled = 25.0
	// bitsRanges is the same where their numbers lie apart in one series: a clock set
	// back makes two of one.
	bitsRanges = 18.0
	// strange is how many bits a file an account may cost before another body is
	// looked for among its files.
	strange = 0.3
)

// Bodies accounts for the files of one camera model whose bodies nothing names:
// it parts them where two bodies explain them more cheaply than one. Each body's
// files are in one series or several, or lie mingled in one that was numbered
// anew.
func Bodies(files []File, opt Options) []Body {
	best := []Body{One(files, opt)}
	if parts, ranges := byCounter(files); len(parts) > 1 {
		more := 0.0
		if ranges {
			more = bitsRanges
		}
		best, _ = cheaper(best, weigh(files, parts, opt), more)
	}
	for range mostBodies {
		parted := false
		for k := range best {
			b := &best[k]
			var ways [][][]int
			if parts := byClass(files, b.Files); parts != nil {
				ways = append(ways, parts)
			}
			byTurns := !bracketed(b) && inTurn(files, b.Files)
			if byTurns || b.Account.Bits > bitsMingled+strange*float64(len(b.Files)) {
				ways = append(ways, trains(files, b.Files, opt)...)
			}
			for _, way := range ways {
				parts := slices.Clone(way)
				for l := range best {
					if l != k {
						parts = append(parts, best[l].Files)
					}
				}
				weighed := weigh(files, parts, opt)
				// Of frames by hand, or full of holes, any two parts are as good as one.
				if byHand(weighed[:len(way)]) || full(weighed[:len(way)]) {
					continue
				}
				more := bitsMingled + holeBits(files, weighed, way)
				if byTurns {
					more -= turnBits(files, way)
				}
				var better bool
				if best, better = cheaper(best, weighed, more); better {
					parted = true
					break
				}
			}
			if parted {
				break
			}
		}
		if !parted {
			break
		}
	}
	return best
}

// byTime are the files in order of time, then of number.
func byTime(files []File, list []int) []int {
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b int) int {
		return cmp.Or(compareTimes(files[a].T, files[b].T), cmp.Compare(files[a].Number, files[b].Number))
	})
	return list
}

// turnShare of a step is what no intervalometer strays by turns.
const turnShare = 0.03

// inTurn reports whether the steps between files alternate, by more than the clock's
// grain explains: most are like those two or three before and unlike their neighbours.
func inTurn(files []File, list []int) bool {
	list = byTime(files, list)
	if len(list) < 12 {
		return false
	}
	var d []float64
	grain := 0.0
	for k := 1; k < len(list); k++ {
		d = append(d, files[list[k]].T-files[list[k-1]].T)
		grain = max(grain, files[list[k]].Grain)
	}
	for turn := 2; turn <= 3; turn++ {
		like := 0
		for k := turn; k < len(d); k++ {
			if math.Abs(d[k]-d[k-turn]) <= max(grain, 0.01*d[k]) && math.Abs(d[k]-d[k-1]) > max(1.5*grain, turnShare*d[k]) {
				like++
			}
		}
		if like > min(20, 2*len(d)*(turn-1)/turn/3) {
			return true
		}
	}
	return false
}

// turnBits is what files tell that come by turns: in one body's steps nothing shows
// which of its frames are of the one part and which of the other, so that steps from
// the one to the other are like those back.
func turnBits(files []File, parts [][]int) float64 {
	of := make(map[int]int)
	var all []int
	for k, p := range parts {
		for _, i := range p {
			of[i] = k
		}
		all = append(all, p...)
	}
	sortByNumber(files, all)
	turns, backward := 0, 0
	for k := 1; k < len(all); k++ {
		if of[all[k]] != of[all[k-1]] {
			turns++
		}
		if files[all[k]].T < files[all[k-1]].T {
			backward++
		}
	}
	// With numbers apart, or times that run back now and then only, a clock set back
	// made the turns.
	if few := len(all) / 10; turns < few || backward > 0 && backward < few {
		return 0
	}
	all = byTime(files, all)
	var to, back, both []float64
	grain := 0.0
	for k := 1; k < len(all); k++ {
		a, b := all[k-1], all[k]
		d := files[b].T - files[a].T
		grain = max(grain, files[b].Grain)
		switch {
		case of[a] == of[b]:
			continue
		case of[a] < of[b]:
			to = append(to, d)
		default:
			back = append(back, d)
		}
		both = append(both, d)
	}
	if min(len(to), len(back)) < leastTurns {
		return 0
	}
	bits := func(v []float64) float64 {
		n := float64(len(v))
		return 0.5 * n * math.Log2(middleVariance(v)+grain*grain/6)
	}
	return max(0, bits(both)-bits(to)-bits(back))
}

// holeBits is what the holes in the numbers of files parted into bodies cost beyond
// what the bodies' accounts pay: numbers that nobody has are missing whoever shot
// them. An import may number by other steps than one from body to body.
func holeBits(files []File, weighed []Body, parts [][]int) float64 {
	of := make(map[int]int)
	lists := make(map[[2]int][]int)
	for k, p := range parts {
		for _, i := range p {
			of[i] = k
			if f := &files[i]; f.Number >= 0 {
				at := [2]int{f.Series, f.Folder}
				lists[at] = append(lists[at], i)
			}
		}
	}
	bits := 0.0
	for _, list := range lists {
		sortByNumber(files, list)
		count := make(map[[2]int]int) // of steps from part to part: the part and the step
		for k := 1; k < len(list); k++ {
			if a, b := list[k-1], list[k]; of[a] != of[b] {
				count[[2]int{of[a], files[b].Number - files[a].Number}]++
			}
		}
		usual := make(map[int]int)
		for at, n := range count {
			most := count[[2]int{at[0], usual[at[0]]}]
			if n > most || n == most && at[1] < usual[at[0]] { // in whatever order they come
				usual[at[0]] = at[1]
			}
		}
		for k := 1; k < len(list); k++ {
			a, b := list[k-1], list[k]
			step := 1
			if of[a] != of[b] {
				step = usual[of[a]]
			}
			bits += countBits(bitsLost, max(0, files[b].Number-files[a].Number-step))
		}
	}
	for i := range weighed[:len(parts)] {
		for k := range weighed[i].Account.Shoots {
			for _, g := range weighed[i].Account.Shoots[k].Gaps {
				if g.Cause == FileLost || g.Cause == NumberSkip {
					bits -= countBits(bitsLost, g.Count)
				}
			}
		}
	}
	return max(0, bits)
}

// leastTurns is how many steps of a kind tell their scatter.
const leastTurns = 8

// bracketed reports whether a shoot of the body is one of brackets, whose exposures
// come in turn by themselves.
func bracketed(b *Body) bool {
	return slices.ContainsFunc(b.Account.Shoots, func(s Shoot) bool { return s.Bracket > 0 })
}

// byHand reports whether a shoot of the bodies keeps no interval.
func byHand(list []Body) bool {
	for i := range list {
		for k := range list[i].Account.Shoots {
			if !list[i].Account.Shoots[k].Judged {
				return true
			}
		}
	}
	return false
}

// full reports whether a shoot of the bodies is full of holes.
func full(list []Body) bool {
	for i := range list {
		for k := range list[i].Account.Shoots {
			s := &list[i].Account.Shoots[k]
			holes := 0
			for _, g := range s.Gaps {
				if g.Cause == NotFired || g.Cause == Unknown {
					holes++
				}
			}
			if mostHoles*holes > len(s.Files) {
				return true
			}
		}
	}
	return false
}

const mostHoles = 6 // one for so many frames, in a body that nothing but time tells

// mostBodies is how often one body is parted off the others.
const mostBodies = 3

// weigh accounts for files parted among bodies.
func weigh(files []File, parts [][]int, opt Options) []Body {
	var out []Body
	for _, p := range Share(files, parts) {
		out = append(out, bodyOf(p.files, p.index, opt))
	}
	return out
}

// cheaper tells which of two ways to part files costs less, the second so many
// bits more than its accounts.
func cheaper(a, b []Body, more float64) (best []Body, second bool) {
	sum := func(list []Body) float64 {
		bits := bitsBody * float64(len(list))
		for i := range list {
			bits += list[i].Account.Bits
		}
		return bits
	}
	if sum(b)+more < sum(a) {
		return b, true
	}
	return a, false
}

// One accounts for the files of one body.
func One(files []File, opt Options) Body {
	all := make([]int, len(files))
	for i := range all {
		all[i] = i
	}
	return bodyOf(files, all, opt)
}

func bodyOf(files []File, index []int, opt Options) Body {
	return Body{index, Solve(files, opt)}
}

// byCounter parts the files by the counters they ran on, those that do not overlap
// in time together. It is nil where none overlap. ranges is set where two of them
// are of one series.
func byCounter(files []File) (out [][]int, ranges bool) {
	var runs []chain
	for _, list := range counters(files) {
		for _, c := range chains(files, list) {
			from := 0
			for k := 1; k < len(c.files); k++ {
				if du, _ := numberStep(&files[c.files[k-1]], &files[c.files[k]]); c.counted && du != 1 && (du == 0 || du > nearNumber) {
					runs = append(runs, newChain(files, c.files[from:k], true))
					from = k
				}
			}
			runs = append(runs, newChain(files, c.files[from:], c.counted))
		}
	}
	if len(runs) > mostRuns {
		return nil, false
	}
	bodies := joinRuns(files, runs)
	// What does not overlap may be one body after all, whose counter was set.
	for k := 1; k < len(bodies); k++ {
		for l := range k {
			a, b := &bodies[l], &bodies[k]
			if b.start >= a.end && !overlaps(bodies, a, b) {
				a.files = append(slices.Clip(a.files), b.files...)
				a.end = b.end
				bodies = slices.Delete(bodies, k, k+1)
				k--
				break
			}
		}
	}
	for k, b := range bodies {
		out = append(out, b.files)
		for _, other := range bodies[:k] {
			ranges = ranges || files[b.files[0]].Series == files[other.files[0]].Series
		}
	}
	return out, ranges
}

// mostRuns is how many runs of numbers are looked at for bodies of their own.
const mostRuns = 200

// joinRuns joins each run with the one that goes on nearest in number later on.
func joinRuns(files []File, runs []chain) []chain {
	slices.SortStableFunc(runs, func(a, b chain) int { return compareTimes(a.start, b.start) })
	type link struct{ from, to, du int }
	var links []link
	for i := range runs {
		for j := range runs {
			if i == j || !(runs[j].start >= runs[i].end) {
				continue
			}
			x, y := &files[runs[i].files[len(runs[i].files)-1]], &files[runs[j].files[0]]
			du, _ := numberStep(x, y)
			if du > 1 && x.Series != y.Series {
				du += farNumber / 2 // a card of its own may be numbered alike
			}
			if du > 0 && du <= farNumber {
				links = append(links, link{i, j, du})
			}
		}
	}
	slices.SortStableFunc(links, func(a, b link) int { return cmp.Compare(a.du, b.du) })
	next, before := make(map[int]int), make(map[int]bool)
	for _, l := range links {
		if _, taken := next[l.from]; !taken && !before[l.to] {
			next[l.from], before[l.to] = l.to, true
		}
	}
	var out []chain
	for i := range runs {
		if before[i] {
			continue
		}
		c := runs[i]
		for k, on := next[i]; on; k, on = next[k] {
			c.files = append(slices.Clip(c.files), runs[k].files...)
			c.end = runs[k].end
		}
		out = append(out, c)
	}
	return out
}

// overlaps reports whether bodies other than a and b lie in the time of both.
func overlaps(bodies []chain, a, b *chain) bool {
	for k := range bodies {
		c := &bodies[k]
		if c != a && c != b && c.start < a.end && c.end > b.start {
			return true
		}
	}
	return false
}

// farNumber is how many numbers may lie between files that one body shot one after
// the other, if its files are told from another's by that.
const farNumber = 1000

// byClass parts a body's files by class of pictures, if those take turns. It is
// nil where they do not.
func byClass(files []File, body []int) [][]int {
	list := byTime(files, body)
	at := make(map[int]int)
	var out [][]int
	turns := 0
	for k, i := range list {
		c := files[i].Class
		if _, seen := at[c]; !seen {
			at[c] = len(out)
			out = append(out, nil)
		}
		out[at[c]] = append(out[at[c]], i)
		if k > 0 && c != files[list[k-1]].Class {
			turns++
		}
	}
	if len(out) < 2 || len(out) > 4 || turns < 4*len(out) {
		return nil
	}
	return out
}

// trains are ways to part a body's files that lie mingled in time into a steady
// train and the rest, the likeliest first, as pulses of several sources are told
// apart (after Mardia 1989): an interval that often lies between files a few
// places apart is followed from one of the first files on.
func trains(files []File, body []int, opt Options) [][][]int {
	if slices.ContainsFunc(body, func(i int) bool { return !timed(files[i].T) }) {
		return nil
	}
	list := byTime(files, body)
	var tried []float64
	var found [][]int
	for lag := 1; lag <= 5; lag++ {
		var all []float64
		for k := lag; k < len(list); k++ {
			all = append(all, files[list[k]].T-files[list[k-lag]].T)
		}
		for w := len(all); w >= 12; w /= 4 { // over all, and in its first part
			p := denseMean(slices.Clone(all[:w]), 0.3, files[list[0]].Grain)
			if p < 1.5*files[list[0]].Grain || slices.ContainsFunc(tried, func(q float64) bool { return math.Abs(p-q) < 0.01*p }) {
				continue
			}
			tried = append(tried, p)
			for start := range min(4, len(list)) {
				if t := train(files, list[start:], p); len(t) >= max(opt.MinFrames, len(list)/10) && len(t)+opt.MinFrames <= len(list) {
					found = append(found, t)
				}
			}
		}
	}
	slices.SortStableFunc(found, func(a, b []int) int { return len(b) - len(a) })
	var out [][][]int
	for _, t := range found[:min(len(found), 4)] {
		in := make(map[int]bool, len(t))
		for _, i := range t {
			in[i] = true
		}
		rest := slices.DeleteFunc(slices.Clone(list), func(i int) bool { return in[i] })
		out = append(out, [][]int{t, rest})
	}
	return out
}

// train follows an interval from the first file on, twice: the second time as
// closely as most of the first came.
func train(files []File, list []int, p float64) []int {
	g := files[list[0]].Grain
	wide := follow(files, list, p, g+0.04*p)
	var off []float64
	for k := 1; k < len(wide); k++ {
		d := files[wide[k]].T - files[wide[k-1]].T
		off = append(off, math.Abs(d-p*math.Round(d/p)))
	}
	if len(off) < leastTurns {
		return wide
	}
	slices.Sort(off)
	if close := follow(files, list, p, g+0.005*p+2*max(0, off[len(off)*3/4]-g)); 10*len(close) > 9*len(wide) {
		return close
	}
	return wide
}

// follow takes the files that come an interval after each other, or a few, from
// the first one on, give or take tolerance. It is nil where most places are empty.
func follow(files []File, list []int, p, tolerance float64) []int {
	out := []int{list[0]}
	last, step := 0, 0
	due := files[list[0]].T + p
	empty := 0
	for k := 1; k < len(list); {
		// Of the files near the due moment the nearest; of two alike the one as many
		// files on as the last time.
		found, near := -1, math.Inf(1)
		at := k
		for ; at < len(list) && files[list[at]].T <= due+tolerance; at++ {
			off := math.Abs(files[list[at]].T-due) / tolerance
			if step > 0 && at-last != step {
				off += 0.3
			}
			if off < min(near, 1.3) {
				found, near = at, off
			}
		}
		if found < 0 {
			if at == len(list) {
				break
			}
			places := max(1, math.Floor((files[list[at]].T+tolerance-due)/p))
			empty += int(min(places, 50))
			due += places * p
			k = at
			continue
		}
		step = found - last
		last, k = found, found+1
		due += p + 0.2*(files[list[found]].T-due) // the phase follows slowly
		out = append(out, list[found])
	}
	if empty > len(out)/2 {
		return nil
	}
	return out
}

// Part is some of a list of files, by index.
type Part struct {
	index []int
	files []File
}

// Files gives the part's files, renumbered where need was.
func (p *Part) Files() []File { return p.files }

// Share parts files among bodies. Where the numbers of a series run through two
// of them by turns, an import gave them: they tell only which numbers nobody has,
// and the files are numbered anew.
func Share(files []File, parts [][]int) []Part {
	of := make([]int, len(files))
	out := make([]Part, len(parts))
	for k, p := range parts {
		out[k].index = p
		for _, i := range p {
			of[i] = k
		}
	}
	shared := slices.Clone(files)
	lists := make(map[int][]int)
	for i := range files {
		if files[i].Number >= 0 {
			lists[files[i].Series] = append(lists[files[i].Series], i)
		}
	}
	for _, list := range lists {
		sortByNumber(files, list)
		turns := 0
		bodies := map[int]int{of[list[0]]: 1}
		for k := 1; k < len(list); k++ {
			bodies[of[list[k]]]++
			if of[list[k]] != of[list[k-1]] {
				turns++
			}
		}
		if len(bodies) < 2 || turns < max(3*len(bodies), len(list)/10) {
			continue
		}
		next := make(map[int]int) // by body
		holes := 0                // before each file, of the whole list
		seen := make(map[int]int) // the holes up to a body's last file
		for k, i := range list {
			if k > 0 && files[i].Folder == files[list[k-1]].Folder {
				holes += max(0, files[i].Number-files[list[k-1]].Number-1)
			}
			b := of[i]
			if _, begun := next[b]; !begun {
				next[b], seen[b] = files[i].Number, holes
			} else {
				next[b] += 1 + holes - seen[b]
				seen[b] = holes
			}
			shared[i].Number, shared[i].Wrap, shared[i].Shared = next[b], 0, true
		}
	}
	for k := range out {
		for _, i := range out[k].index {
			out[k].files = append(out[k].files, shared[i])
		}
	}
	return out
}
