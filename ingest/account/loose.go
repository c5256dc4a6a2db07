package account

import (
	"math"
	"slices"
)

// Doubt is loose files that may be of a shoot, their own or the one beside them: they
// keep time, and then others are missing.
type Doubt struct {
	First, Last int // of the body's files
	Count       int // of files
	IntervalS   float64
	Missing     int // frames of the cadence
}

// section is rows of one shoot, or loose ones.
type section struct {
	from, to int
	loose    bool
	free     bool // fired by hand
	kept     *keeping
}

// beat is a stretch of rows whose steps are one interval or, over holes, several.
type beat struct {
	from, to int
	interval float64
	ones     int // steps of one interval
	told     int // of several, as many as the numbers say
	holes    int // all those of several
	missing  int
}

func (b *beat) better(c *beat) bool {
	return b.ones+b.told > c.ones+c.told || b.ones+b.told == c.ones+c.told && b.ones > c.ones
}

// usualNear is the mean of the steps like p, and how many they are.
func usualNear(rows []row, p float64) (mean, n float64) {
	for j := 1; j < len(rows); j++ {
		if dt := rows[j].t - rows[j-1].t; math.Abs(dt-p) <= rows[j].g+slackShare*p {
			mean, n = mean+dt, n+1
		}
	}
	return mean / n, n
}

// beatIn is the stretch of the rows from to to-1 that keeps an interval best.
func beatIn(rows []row, from, to int) (best beat) {
	for first := from + 1; first < to; first++ {
		p, near := usualNear(rows[from:to], (rows[first].t-rows[first-1].t)/float64(max(1, rows[first].du)))
		if !(p >= 2*rows[first].g) {
			continue
		}
		b := beat{from: from, to: from + 1, interval: p}
		for j := from + 1; j < to; j++ {
			r := &rows[j]
			dt, du := r.t-rows[j-1].t, max(1, r.du)
			k, close := math.Round(dt/p), r.g+slackShare*p
			if !(k >= 1 && k <= longPause && math.Abs(dt-k*p) <= max(close, min(0.3*p, close*(1+k/near)))) || float64(du) > k || r.other {
				b = beat{from: j, to: j + 1, interval: p}
				continue
			}
			b.to++
			if b.missing += int(k) - 1; k == 1 {
				b.ones++
			} else if b.holes++; float64(du) == k {
				b.told++
			}
			if b.better(&best) {
				best = b
			}
		}
	}
	return best
}

const (
	leastOnes = 3  // steps of one interval make loose rows a shoot
	fewOnes   = 2  // and raise a doubt where others are missing between them
	mostLoose = 64 // rows that are looked at again
)

// secondLook finds shoots among rows that the path leaves loose or takes for fired by
// hand, of which too few keep time to outweigh what another shoot costs.
func (s *solver) secondLook(list []section, least int) (out []section, doubts []beat) {
	for k := 0; k < len(list); {
		at := list[k]
		for k++; at.loose && k < len(list) && list[k].loose; k++ {
			at.to = list[k].to
		}
		out = append(out, at)
		if !at.loose && !at.free || at.to-at.from > mostLoose {
			continue
		}
		b := beatIn(s.rows, at.from, at.to)
		if n := b.to - b.from; b.ones >= leastOnes*max(1, b.holes) && n >= least && (at.loose || 2*n > at.to-at.from) {
			if kept := s.keep(&b); kept != nil {
				out = append(out[:len(out)-1], section{from: at.from, to: b.from, loose: true}, section{from: b.from, to: b.to, kept: kept}, section{from: b.to, to: at.to, loose: true})
				continue
			}
		}
		if !at.loose {
			continue
		}
		if b.missing > 0 && (b.ones >= leastOnes || b.told > 0 && b.ones+b.told >= fewOnes) {
			doubts = append(doubts, b)
		} else if b, ok := s.beside(at, b); ok {
			doubts = append(doubts, b)
		}
	}
	return slices.DeleteFunc(out, func(x section) bool { return x.from == x.to }), doubts
}

// beside finds the loose rows that keep the interval of the shoot beside them and lie on
// its places, though not next to it.
func (s *solver) beside(at section, own beat) (b beat, ok bool) {
	if own.ones < fewOnes {
		return b, false
	}
	b = beatIn(s.rows, max(0, at.from-leastOnes), min(len(s.rows), at.to+leastOnes))
	ok = b.holes == 1 && b.ones >= own.ones+fewOnes && (b.from < at.from && b.to > at.from+fewOnes || b.to > at.to && b.from < at.to-fewOnes)
	b.from, b.to = max(b.from, at.from), min(b.to, at.to)
	return b, ok
}

// keeping is an account of some rows by themselves.
type keeping struct {
	solver
	path []node
}

// keep accounts for rows that keep an interval; nil where they are not one shoot.
func (s *solver) keep(b *beat) *keeping {
	k := keeping{solver: solver{rows: slices.Clone(s.rows[b.from:b.to]), rest: make([]bool, b.to-b.from)}}
	k.rows[0].du, k.rows[0].other = 0, false
	k.cadences = []cadence{newCadence(b.interval, 0, walkShare*b.interval, k.rows[0].g)}
	k.path = k.solve()
	if k.refine(k.path) {
		k.path = k.solve()
	}
	if k.nodes[k.end].shoots > 1 {
		return nil
	}
	return &k
}
