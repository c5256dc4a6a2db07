package account

import (
	"cmp"
	"slices"
)

// others finds, along the winning path that ends in node best, the accounts that
// cost little more and say something else.
func (s *solver) others(best int32) []other {
	onPath := make(map[int32]bool, len(s.rows))
	for at := best; at >= 0; at = s.nodes[at].parent {
		onPath[at] = true
	}
	var out []other
	add := func(winner, loser int32, bits float64) {
		w, l := &s.nodes[winner], &s.nodes[loser]
		o := other{to: int(w.row), bits: bits, shoots: int(l.shoots - w.shoots), missing: l.total.minus(w.total)}
		clock := l.events&evClock != 0
		for at := s.nodes[loser].parent; at >= 0 && !onPath[at]; at = s.nodes[at].parent {
			loser = at
			clock = clock || s.nodes[at].events&evClock != 0
		}
		o.from = int(s.nodes[loser].row)
		for at := winner; at >= 0 && int(s.nodes[at].row) >= o.from; at = s.nodes[at].parent {
			clock = clock || s.nodes[at].events&evClock != 0
		}
		if o.missing == (tally{}) && !clock {
			return // where a shoot begins by so little matters to nobody
		}
		out = append(out, o)
	}
	for _, r := range s.rivals {
		if onPath[r.winner] {
			add(r.winner, r.loser, r.bits)
		}
	}
	for _, at := range s.level {
		w, l := &s.nodes[best], &s.nodes[at]
		if bits := l.cost - w.cost; at != best && bits < bitsNear && (l.total != w.total || l.shoots != w.shoots) {
			add(best, at, bits)
		}
	}
	// The same other account may have been met on several ways.
	slices.SortStableFunc(out, func(a, b other) int { return cmp.Compare(a.bits, b.bits) })
	kept := out[:0]
	for _, o := range out {
		if !slices.ContainsFunc(kept, func(k other) bool { return o.from <= k.to && k.from <= o.to }) {
			kept = append(kept, o)
		}
	}
	return kept
}

// other is what another account says of the rows from to to.
type other struct {
	from, to int
	bits     float64
	shoots   int
	missing  tally // more than the winner's
}

// leastPart is how many frames the parts must have for it to matter that one
// shoot may be two.
const leastPart = 5

// tell puts the accounts that differ within rows from to to-1 into the shoot.
func (out *Shoot) tell(list []other, from, to int) {
	for _, o := range list {
		begins := from > 0 && o.from <= from // where this shoot does
		if o.to < from || o.from >= to || begins && o.bits > bitsNearStart || o.missing == (tally{}) && min(o.from-from, to-o.from) < leastPart {
			continue
		}
		out.Others = append(out.Others, Other{
			First: max(o.from-from, 0), Last: min(o.to, to-1) - from, Shoots: o.shoots, Bits: o.bits,
			Missing: o.missing.byCause(),
		})
	}
}

func (a tally) byCause() map[Cause]int {
	m := make(map[Cause]int)
	for c, n := range map[Cause]int32{NotFired: a.never, FileLost: a.lost, NumberSkip: a.spare, Unknown: a.unknown} {
		if n != 0 {
			m[c] = int(n)
		}
	}
	return m
}
