package ingest

import (
	"cmp"
	"slices"
	"time"
)

// NumberGap is a run of file numbers of one camera that are not in the dump,
// between a shoot and the still before or after it, which is not of it.
type NumberGap struct {
	Before, After string // names of the stills beside the gap
	Count         int    // file numbers
	after         naming
}

const (
	// mostBeside is how many numbers may be missing beside a shoot and still be
	// taken for stills of one outing.
	mostBeside = 500
	// outing is how long the time between the stills beside a gap may be, but
	// where the shoot's own interval fills it (common practice, no published
	// source).
	outing = 6 * time.Hour
)

// placed is a still with a file number.
type placed struct {
	f      *Frame
	number int
	seq    int // of the sequence; -1 for none
}

// numberGaps finds the numbers that are missing between shoots, and between a shoot
// and loose stills, and that no account of a shoot speaks of.
func (d *Dump) numberGaps() (gaps []NumberGap) {
	cameras, cards := make(map[string][]placed), make(map[string][]placed)
	type name struct {
		series string
		number int
	}
	untimed := make(map[name]bool) // damaged ones, say
	add := func(list []Frame, seq int) {
		for i := range list {
			f := &list[i]
			if f.named.number < 0 || f.Facts.Taken.IsZero() {
				untimed[name{f.named.series, f.named.number}] = true
				continue
			}
			p := placed{f, f.named.number, seq}
			camera, card := f.named.pattern+"\x00"+cameraKey(f), f.named.series+"\x00"+cameraKey(f)
			cameras[camera], cards[card] = append(cameras[camera], p), append(cards[card], p)
		}
	}
	for k := range d.Sequences {
		add(d.Sequences[k].Frames, k)
		add(d.Sequences[k].Exposures, k)
	}
	add(d.Loose, -1)
	add(d.Unreadable, -1)
	counted := make(map[string]bool) // cards of cameras that count over all of them
	for _, groups := range []map[string][]placed{cameras, cards} {
		for _, list := range groups {
			if counted[list[0].f.named.series] || !inTime(list) {
				continue
			}
			for _, p := range list {
				counted[p.f.named.series] = true
			}
			gaps = append(gaps, d.gapsOf(list)...)
		}
	}
	gaps = slices.DeleteFunc(gaps, func(g NumberGap) bool {
		for n := range g.Count {
			if untimed[name{g.after.series, g.after.number - 1 - n}] {
				return true
			}
		}
		return false
	})
	slices.SortFunc(gaps, func(a, b NumberGap) int { return cmp.Compare(a.Before, b.Before) })
	return gaps
}

// inTime puts stills in the order of their numbers and reports whether that is the
// order of their times: one counter.
func inTime(list []placed) bool {
	byNumber := func(a, b placed) int { return a.number - b.number }
	lo, hi := slices.MinFunc(list, byNumber).number, slices.MaxFunc(list, byNumber).number
	if wrap := list[0].f.named.wrap; wrap > 0 && hi-lo > wrap-wrap/10 { // it has begun again
		for i := range list {
			if list[i].number < wrap/2 {
				list[i].number += wrap
			}
		}
	}
	slices.SortFunc(list, byNumber)
	for i := 1; i < len(list); i++ {
		if list[i].number == list[i-1].number || list[i].f.Facts.Taken.Before(list[i-1].f.Facts.Taken) {
			return false
		}
	}
	return true
}

// gapsOf are the gaps of one counter beside shoots that say nothing of them.
func (d *Dump) gapsOf(list []placed) (gaps []NumberGap) {
	last := make(map[int]int) // still of each shoot
	for i, p := range list {
		last[p.seq] = i
	}
	begun := make(map[int]bool)
	for i := 1; i < len(list); i++ {
		a, b := list[i-1], list[i]
		begun[a.seq] = true
		if a.seq >= 0 && last[a.seq] != i-1 || b.seq >= 0 && begun[b.seq] {
			continue // numbered by turns with another
		}
		n := b.number - a.number - 1 - b.f.named.skip
		if n <= 0 || n > mostBeside || a.seq == b.seq || d.told(a.seq, len(d.frames(a.seq))-1) || d.told(b.seq, -1) {
			continue
		}
		longest := outing
		for _, s := range []int{a.seq, b.seq} {
			if s >= 0 {
				longest = max(longest, time.Duration(2*float64(n+1)*d.Sequences[s].Timing.IntervalS*float64(time.Second)))
			}
		}
		if apart := b.f.Facts.Taken.Sub(a.f.Facts.Taken); apart <= longest && apart >= time.Duration(n)*time.Second/10 {
			gaps = append(gaps, NumberGap{a.f.Name, b.f.Name, n, b.f.named})
		}
	}
	return gaps
}

func (d *Dump) frames(seq int) []Frame {
	if seq < 0 {
		return nil
	}
	return d.Sequences[seq].Frames
}

// told reports whether a shoot's account has frames or numbers missing after the
// given one.
func (d *Dump) told(seq, after int) bool {
	if seq < 0 {
		return false
	}
	for _, g := range d.Sequences[seq].Timing.Gaps {
		if g.After == after {
			return true
		}
	}
	return false
}
