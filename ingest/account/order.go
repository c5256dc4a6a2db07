package account

import (
	"cmp"
	"math"
	"slices"
)

// row is one file in its place among those of its body.
type row struct {
	file int
	t, g float64
	// du is the step of the numbers from the row before; 0 where they tell
	// nothing, because there are none or another counter goes on.
	du int
	// counted is set where the file has a number.
	counted bool
	// weak is set where the counter may have been another one, so that the step
	// counts only as far as the time that passed allows for it.
	weak bool
	// rolls is set where the counter's end lies before: it may or may not have a 0.
	rolls bool
	// shared is set where other bodies have numbers of the same counter.
	shared bool
	// other is set where pictures begin that cannot play in one clip with those
	// before.
	other bool
	// group is set where the camera began another group of files.
	group bool
	// changed is set where the settings are others than at the row before, same where
	// they are known to be the same.
	changed, same bool
	// leap is how far the light they let in is from that of the row before, EV;
	// infinite where the framing is another. leaps is set where no light moves so far.
	leap  float64
	leaps bool
	// planned is the planned shoot that may begin here; 0 for none.
	planned int32
	// reset is what it costs that the numbers do not run on here, in bits.
	reset float64
}

// maxRate is how many files a second are believed to lie between two on different
// cards or over a counter's end; a number that leaps further was set, not counted.
const maxRate = 30

// orders gives the orders in which the files may have been shot, the likeliest
// first. There are two where, along the numbers, time falls lastingly at a hole:
// the clock was set back, or the counter.
func orders(files []File) [][]row {
	lists := counters(files)
	byNumber := make([]chain, 0, len(lists))
	var byTime []chain
	for _, list := range lists {
		cut := chains(files, list)
		byTime = append(byTime, cut...)
		if len(cut) == 2 && rolled(files, &cut[1], &cut[0]) {
			byNumber = append(byNumber, cut...) // the counter began again
		} else {
			byNumber = append(byNumber, whole(cut))
		}
	}
	out := [][]row{lineUp(files, byTime)}
	if len(byTime) > len(byNumber) {
		out = append(out, lineUp(files, byNumber))
	}
	if back := setBack(files, out[0]); back != nil {
		out = append(out, back)
	}
	for _, rows := range out {
		compareLooks(files, rows)
	}
	return out
}

// setBack is the order of files without numbers if the clock was set back by whole
// hours where one stretch of time ends in the cadence with which an earlier one
// begins; nil where none does.
func setBack(files []File, rows []row) []row {
	var at []int // where stretches begin
	usual := usualStep(rows)
	for j := range rows {
		if files[rows[j].file].Number >= 0 || !timed(rows[j].t) {
			return nil
		}
		if j == 0 || rows[j].t-rows[j-1].t > max(longPauseS, longPause*usual) {
			at = append(at, j)
		}
	}
	for k := len(at) - 1; k > 0; k-- {
		a, b, end := at[k-1], at[k], len(rows)
		if k+1 < len(at) {
			end = at[k+1]
		}
		if min(b-a, end-b) < leastRun {
			continue
		}
		step := rows[end-1].t - rows[end-2].t
		tolerance := rows[a].g + slackShare*step
		if off := rows[a].t - rows[end-1].t - step; off < 0 && wholeHours(off, tolerance, 1) && math.Abs(rows[a+1].t-rows[a].t-step) <= tolerance {
			out := slices.Concat(rows[:a], rows[b:end], rows[a:b], rows[end:])
			out[a+end-b].du = 1
			return out
		}
	}
	return nil
}

// compareLooks tells at which rows the settings change.
func compareLooks(files []File, rows []row) {
	for j := 1; j < len(rows); j++ {
		a, b := files[rows[j-1].file].Look, files[rows[j].file].Look
		rows[j].same, rows[j].changed = a >= 0 && a == b, a >= 0 && b >= 0 && a != b
		x, y := &files[rows[j-1].file], &files[rows[j].file]
		if rows[j].leap = math.Abs(x.LightEV - y.LightEV); x.Class >= 0 && y.Class >= 0 && x.Class != y.Class {
			rows[j].leap = math.Inf(1)
		}
	}
}

// chain is files of one counter in the order of their numbers.
type chain struct {
	files      []int
	start, end float64 // robust times of its ends; NaN for none
	// the times of its ends themselves, if they lie within its own length of these
	first, last float64
	counted     bool // the numbers are a counter
}

// counters sorts the files into lists of one counter each, by number. Cards that
// took turns on one counter are one list. Files whose numbers have nothing to do
// with time, or that have none, are listed by time.
func counters(files []File) [][]int {
	type key struct{ pattern, series int }
	bySeries := make(map[key][]int)
	var keys []key
	for i := range files {
		k := key{files[i].Pattern, files[i].Series}
		if _, seen := bySeries[k]; !seen {
			keys = append(keys, k)
		}
		bySeries[k] = append(bySeries[k], i)
	}
	slices.SortStableFunc(keys, func(a, b key) int { return cmp.Compare(a.pattern, b.pattern) })
	var out [][]int
	for at := 0; at < len(keys); {
		end := at
		var joint []int
		var apart [][]int
		falls := 0
		for ; end < len(keys) && keys[end].pattern == keys[at].pattern; end++ {
			list := bySeries[keys[end]]
			sortByNumber(files, list)
			falls += countFalls(files, list)
			if len(list) <= 2 {
				falls++ // one whose stamp is wrong may lie in a folder by that
			}
			apart = append(apart, list)
			joint = append(joint, list...)
		}
		if len(apart) > 1 {
			sortByNumber(files, joint)
			if countFalls(files, joint) <= falls+fallsRunningOn(files, joint) && distinct(files, joint) {
				apart = [][]int{joint}
			}
		}
		out = append(out, apart...)
		at = end
	}
	return out
}

func sortByNumber(files []File, list []int) {
	slices.SortStableFunc(list, func(a, b int) int {
		x, y := &files[a], &files[b]
		return cmp.Or(cmp.Compare(x.Folder, y.Folder), cmp.Compare(x.Number, y.Number), compareTimes(x.T, y.T))
	})
}

// compareTimes orders times; one that is not known is like any other.
func compareTimes(a, b float64) int {
	if !timed(a) || !timed(b) {
		return 0
	}
	return cmp.Compare(a, b)
}

func distinct(files []File, list []int) bool {
	for k := 1; k < len(list); k++ {
		x, y := &files[list[k-1]], &files[list[k]]
		if x.Folder == y.Folder && x.Number == y.Number {
			return false
		}
	}
	return true
}

// countFalls counts where time falls along a list.
func countFalls(files []File, list []int) int {
	falls, last := 0, math.Inf(-1)
	for _, i := range list {
		if t := files[i].T; timed(t) {
			if t < last {
				falls++
			}
			last = t
		}
	}
	return falls
}

// fallsRunningOn is 1 where time falls once from one series to another whose numbers
// go on by one and which lies all before: the clock was set back.
func fallsRunningOn(files []File, list []int) int {
	if !(files[list[len(list)-1]].T < files[list[0]].T) {
		return 0
	}
	for k := 1; k < len(list); k++ {
		x, y := &files[list[k-1]], &files[list[k]]
		if y.T < x.T && x.Series != y.Series && y.Number == x.Number+1 {
			return 1
		}
	}
	return 0
}

// chains cuts a list where time falls lastingly at a hole in the numbers.
func chains(files []File, list []int) []chain {
	counted := files[list[0]].Number >= 0 && 6*countFalls(files, list) <= max(12, len(list))
	if !counted {
		slices.SortStableFunc(list, func(a, b int) int { return compareTimes(files[a].T, files[b].T) })
		return []chain{newChain(files, list, false)}
	}
	var out []chain
	from := 0
	for p := 1; p < len(list); p++ {
		x, y := &files[list[p-1]], &files[list[p]]
		hole := y.Number-x.Number > 1 || x.Folder != y.Folder
		if hole && (fallsLastingly(files, list, p) || rotates(files, list, p)) {
			out = append(out, newChain(files, list[from:p], true))
			from = p
		}
	}
	return append(out, newChain(files, list[from:], true))
}

// whole joins chains as their numbers have them.
func whole(cut []chain) chain {
	c := cut[0]
	for _, next := range cut[1:] {
		c.files = append(slices.Clip(c.files), next.files...)
		c.end, c.last = next.end, next.last
	}
	return c
}

// rotates reports whether a list without times holds a rollover: low numbers and
// high ones with more than half the counter's range between them.
func rotates(files []File, list []int, p int) bool {
	wrap := files[list[0]].Wrap
	if wrap == 0 || files[list[p]].Folder != files[list[p-1]].Folder || 2*(files[list[p]].Number-files[list[p-1]].Number) < wrap {
		return false
	}
	for _, i := range list {
		if timed(files[i].T) {
			return false
		}
	}
	return files[list[0]].Number < wrap/10 && files[list[len(list)-1]].Number > wrap-wrap/10
}

const endStamps = 5 // stamps whose median stands for the end of a chain

func fallsLastingly(files []File, list []int, p int) bool {
	return edge(files, list[p:], false, endStamps) < edge(files, list[:p], true, endStamps)
}

// edge is the median of the first or last few stamps, at most n, blind to single
// wrong ones; NaN for none.
func edge(files []File, list []int, last bool, n int) float64 {
	var v []float64
	for k := 0; k < len(list) && len(v) < n; k++ {
		i := list[k]
		if last {
			i = list[len(list)-1-k]
		}
		if timed(files[i].T) {
			v = append(v, files[i].T)
		}
	}
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return v[len(v)/2]
}

func newChain(files []File, list []int, counted bool) chain {
	n := endStamps
	if len(list) < endStamps {
		n = max(1, len(list)/2)
	}
	c := chain{files: list, counted: counted, start: edge(files, list, false, n), end: edge(files, list, true, n)}
	c.first, c.last = edge(files, list, false, 1), edge(files, list, true, 1)
	if long := c.end - c.start; !(c.first >= c.start-long && c.last <= c.end+long) {
		c.first, c.last = c.start, c.end
	}
	return c
}

// lineUp puts chains one behind the other by their start; those that overlap are
// merged by time.
func lineUp(files []File, list []chain) []row {
	list = slices.Clone(list)
	for k := 1; k < len(list); k++ {
		if !timed(list[k].start) { // stays behind its forerunner
			list[k].start, list[k].end, list[k].first, list[k].last = list[k-1].end, list[k-1].end, list[k-1].end, list[k-1].end
		}
	}
	slices.SortStableFunc(list, func(a, b chain) int {
		if a.counted && b.counted && !timed(files[a.files[0]].T) && !timed(files[b.files[0]].T) && rolled(files, &b, &a) {
			return 1
		}
		return compareTimes(a.start, b.start)
	})
	var rows []row
	for k := 0; k < len(list); {
		end := k + 1
		for joint := list[k]; end < len(list) && joint.overlaps(&list[end]); end++ {
			if len(list[end].files) > len(joint.files) {
				joint.files = list[end].files
			}
			joint.end, joint.last = max(joint.end, list[end].end), max(joint.last, list[end].last)
		}
		rows = appendChains(rows, files, list[k:end])
		k = end
	}
	return rows
}

// overlaps reports whether chain b begins before the end of c. Of a few files beside
// many each end counts as it is, since no few others hide whether it is wrong.
func (c *chain) overlaps(b *chain) bool {
	begin, end := b.start, c.end
	if len(c.files) <= endStamps {
		begin = b.first
	}
	if len(b.files) <= endStamps {
		end = c.last
	}
	return begin < end
}

// rolled reports whether chain b goes on where a's counter ended.
func rolled(files []File, a, b *chain) bool {
	x, y := &files[a.files[len(a.files)-1]], &files[b.files[0]]
	return x.Wrap > 0 && x.Series == y.Series && x.Number > y.Number && x.Wrap-x.Number+y.Number < x.Wrap/10
}

// beside takes the numbers of names for none that are few beside those of a counter and
// do not run on themselves: files that somebody renamed.
func beside(files []File, list []chain) {
	most := 0
	for c := range list {
		if list[c].counted {
			most = max(most, len(list[c].files))
		}
	}
	for c := range list {
		f := list[c].files
		on := 0
		for k := 1; k < len(f); k++ {
			if files[f[k]].Number == files[f[k-1]].Number+1 {
				on++
			}
		}
		if 4*len(f) < most || 2*len(f) < most && 2*on < len(f)-1 {
			list[c].counted = false
		}
	}
}

// fill gives the step of a counter from the first row to the last to all after the
// first, those between having numbers of no counter: one each, and what is left over to
// the longest step.
func fill(rows []row, du int, weak bool) {
	n := len(rows) - 1
	if du < n {
		return
	}
	longest := n
	for k := n; k > 0; k-- {
		rows[k].du, rows[k].weak, rows[k].reset = 1, false, 0
		if rows[k].t-rows[k-1].t > rows[longest].t-rows[longest-1].t {
			longest = k
		}
	}
	rows[longest].du, rows[longest].weak = du-n+1, weak
}

// appendChains adds chains that lie in one stretch of time.
func appendChains(rows []row, files []File, list []chain) []row {
	type place struct {
		file, chain int
		t           float64
	}
	var all []place
	for c := range list {
		last := math.Inf(-1)
		for _, i := range list[c].files {
			if t := files[i].T; timed(t) {
				last = t
			}
			all = append(all, place{i, c, last})
		}
	}
	if len(list) > 1 {
		slices.SortStableFunc(all, func(a, b place) int { return cmp.Compare(a.t, b.t) })
	}
	beside(files, list)
	turned := false
	counted := -1 // the last row of a counter
	for k, p := range all {
		f := &files[p.file]
		r := row{file: p.file, t: f.T, g: f.Grain, counted: f.Number >= 0}
		switch {
		case len(rows) == 0 || !list[p.chain].counted || f.Number < 0:
		case k > 0 && all[k-1].chain == p.chain:
			r.du, r.weak = numberStep(&files[all[k-1].file], f)
		case k == 0: // another chain ends here
			x := &files[rows[len(rows)-1].file]
			r.du, r.weak = numberStep(x, f)
			r.rolls = r.weak && x.Series == f.Series
			r.weak = r.weak || r.du > 1
		}
		r.planned = int32(f.Planned)
		r.group = len(rows) > 0 && f.Session != files[rows[len(rows)-1].file].Session
		if f.Shared {
			r.weak, r.shared = true, true
			if r.du == 1 {
				r.du = 0
			}
		}
		if len(rows) > 0 && r.du == 0 && list[p.chain].counted && f.Number >= 0 && !f.Shared {
			r.reset = resetBits(&files[rows[len(rows)-1].file], f)
			if k > 0 { // two counters run side by side
				r.reset = bitsTurn
				if !turned && f.Series == files[all[k-1].file].Series {
					r.reset += bitsSideBySide
				}
				turned = true
			}
		}
		rows = append(rows, r)
		if list[p.chain].counted && f.Number >= 0 {
			if n := len(rows) - 1; counted >= 0 && n > counted+1 && all[k-n+counted].chain == p.chain && !f.Shared {
				du, weak := numberStep(&files[rows[counted].file], f)
				fill(rows[counted:], du, weak)
			}
			counted = len(rows) - 1
		}
	}
	return rows
}

// resetBits is what it costs that the counter does not run on from x to y: it
// was set to its start, or another card brought its own.
func resetBits(x, y *File) float64 {
	bits := bitsReset
	if x.Series == y.Series {
		bits += bitsSameCard
	}
	if y.Number > 10 {
		bits += bitsAnyNumber
	}
	return bits
}

// OutingS is the seconds within which stills were shot on one outing (common practice,
// no published source).
const OutingS = 6 * 3600

// nearNumber is how far apart numbers on two cards may be and speak for one counter
// by that alone, a few times as far where both were shot on one outing, with the time
// for that many shots between.
const nearNumber = 50

// shortWrap is the last number of cameras that begin a folder every 999 files
// (common practice, no published source).
const shortWrap = 999

// numberStep is the step of the counter from one file to the next, 0 where the
// numbers tell nothing.
func numberStep(x, y *File) (du int, weak bool) {
	if x.Number < 0 || y.Number < 0 || x.Pattern != y.Pattern {
		return 0, false
	}
	du = y.Number - x.Number - y.Skip
	weak = x.Series != y.Series && du > nearNumber && !(du <= 4*nearNumber && y.T-x.T >= float64(du) && y.T-x.T < OutingS)
	if y.Number <= x.Number && x.Wrap > 0 {
		wrap := x.Wrap
		if y.Folder == x.Folder+1 && x.Number > 900 && x.Number <= shortWrap {
			wrap = shortWrap // each folder holds so many
		}
		du += wrap
		weak = true
		if du > x.Wrap/2 && du > 1 {
			return 0, false
		}
	}
	if du <= 1 {
		return max(du, 0), false
	}
	if dt := y.T - x.T; timed(dt) && dt >= 0 && float64(du) > maxRate*(dt+1) && (weak || x.Series != y.Series) {
		return 0, false
	}
	if !timed(y.T-x.T) && x.Series != y.Series {
		return 0, false
	}
	return du, weak
}
