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
			if b.Account.Bits > bitsMingled+strange*float64(len(b.Files)) {
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
				if byHand(weighed[:len(way)]) { // of those any two parts are as good as one
					continue
				}
				var better bool
				if best, better = cheaper(best, weighed, bitsMingled); better {
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
				if du, _ := numberStep(&files[c.files[k-1]], &files[c.files[k]]); c.counted && du != 1 && (du == 0 || du > farNumber) {
					runs = append(runs, newChain(files, c.files[from:k], true))
					from = k
				}
			}
			runs = append(runs, newChain(files, c.files[from:], c.counted))
		}
	}
	slices.SortStableFunc(runs, func(a, b chain) int { return compareTimes(a.start, b.start) })
	var bodies []chain // files so far, and the times between which they lie
	for _, r := range runs {
		at, near := -1, farNumber+1
		for k := range bodies {
			if !(r.start >= bodies[k].end) {
				continue
			}
			du, _ := numberStep(&files[bodies[k].files[len(bodies[k].files)-1]], &files[r.files[0]])
			if du > 0 && du < near {
				at, near = k, du
			}
		}
		if at < 0 {
			bodies = append(bodies, r)
			continue
		}
		bodies[at].files = append(slices.Clip(bodies[at].files), r.files...)
		bodies[at].end = r.end
	}
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
	list := slices.Clone(body)
	slices.SortStableFunc(list, func(a, b int) int {
		return cmp.Or(compareTimes(files[a].T, files[b].T), cmp.Compare(files[a].Number, files[b].Number))
	})
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
	list := slices.Clone(body)
	for _, i := range list {
		if !timed(files[i].T) {
			return nil
		}
	}
	slices.SortStableFunc(list, func(a, b int) int {
		return cmp.Or(cmp.Compare(files[a].T, files[b].T), cmp.Compare(files[a].Number, files[b].Number))
	})
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
				if t := follow(files, list[start:], p); len(t) >= max(opt.MinFrames, len(list)/10) {
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
		if len(rest) >= opt.MinFrames {
			out = append(out, [][]int{t, rest})
		}
	}
	return out
}

// follow takes the files that come an interval after each other, or a few, from
// the first one on. It is nil where most places are empty.
func follow(files []File, list []int, p float64) []int {
	out := []int{list[0]}
	tolerance := files[list[0]].Grain + 0.04*p
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
		if len(bodies) < 2 || turns < 3*len(bodies) {
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
