package ingest

import (
	"cmp"
	"slices"
	"time"

	"stillspan/ingest/account"
)

// NumberGap is a run of file numbers of one camera that are not in the dump,
// between a shoot and the still before or after it, which is not of it.
type NumberGap struct {
	Before, After string // names of the stills beside the gap
	Count         int    // file numbers
}

const (
	// mostBeside is how many numbers may be missing beside a shoot and still be
	// taken for stills of one outing.
	mostBeside = 500
	// outing is how long the time between the stills beside a gap may be, but
	// where the shoot's own interval fills it.
	outing = account.OutingS * time.Second
)

// placed is a still with a file number.
type placed struct {
	f      *Frame
	number int
	seq    int // of the sequence; -1 for none
}

// counterOf is a camera and what its file names have in common, on all cards or on
// one.
type counterOf struct{ name, make, model, serial string }

// numbered is a number on a card.
type numbered struct {
	series string
	number int
}

// numberGaps finds the numbers that are missing between shoots, and between a shoot
// and loose stills, and that no account of a shoot speaks of.
func (d *Dump) numberGaps() (gaps []NumberGap) {
	cameras, cards := make(map[counterOf][]placed), make(map[counterOf][]placed)
	untimed := make(map[numbered]bool) // damaged ones, say
	add := func(list []Frame, seq int) {
		for i := range list {
			f := &list[i]
			if f.named.number < 0 || f.Facts.Taken.IsZero() {
				untimed[numbered{f.named.series, f.named.number}] = true
				continue
			}
			c := counterOf{f.named.pattern, f.Facts.Make, f.Facts.Model, f.Facts.Serial}
			cameras[c] = append(cameras[c], placed{f, f.named.number, seq})
			c.name = f.named.series
			cards[c] = append(cards[c], placed{f, f.named.number, seq})
		}
	}
	for k := range d.Sequences {
		add(d.Sequences[k].Frames, k)
		add(d.Sequences[k].Exposures, k)
	}
	add(d.Loose, -1)
	add(d.Unreadable, -1)
	counted := make(map[string]bool) // cards of cameras that count over all of them
	for _, groups := range []map[counterOf][]placed{cameras, cards} {
		for _, list := range groups {
			if counted[list[0].f.named.series] || !inTime(list) {
				continue
			}
			for _, p := range list {
				counted[p.f.named.series] = true
			}
			gaps = append(gaps, d.gapsOf(list, untimed)...)
		}
	}
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

// gapsOf are the gaps of one counter beside shoots that say nothing of them, and in
// which no still without a time has a number.
func (d *Dump) gapsOf(list []placed, untimed map[numbered]bool) (gaps []NumberGap) {
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
		if n <= 0 || n > mostBeside || a.seq == b.seq || d.toldAfter(a.seq) || d.toldBefore(b.seq) {
			continue
		}
		apart := b.f.Facts.Taken.Sub(a.f.Facts.Taken)
		if apart > max(outing, d.usual(a.seq, n+1), d.usual(b.seq, n+1)) || apart < time.Duration(n)*time.Second/10 {
			continue
		}
		here := false
		for k := range n {
			here = here || untimed[numbered{b.f.named.series, b.f.named.number - 1 - k}]
		}
		if !here {
			gaps = append(gaps, NumberGap{a.f.Name, b.f.Name, n})
		}
	}
	return gaps
}

// usual is twice the time that a shoot takes for so many frames; 0 for none.
func (d *Dump) usual(seq, frames int) time.Duration {
	if seq < 0 {
		return 0
	}
	return time.Duration(2 * float64(frames) * d.Sequences[seq].Timing.IntervalS * float64(time.Second))
}

// toldBefore reports whether a shoot's account has frames or numbers missing before
// its first frame.
func (d *Dump) toldBefore(seq int) bool {
	return seq >= 0 && slices.ContainsFunc(d.Sequences[seq].Timing.Gaps, func(g account.Gap) bool { return g.After < 0 })
}

// toldAfter is the same of what comes after its last.
func (d *Dump) toldAfter(seq int) bool {
	return seq >= 0 && slices.ContainsFunc(d.Sequences[seq].Timing.Gaps, func(g account.Gap) bool { return g.After == len(d.Sequences[seq].Frames)-1 })
}
