package pictures

import (
	"math"
	"slices"
)

const (
	// blurLoss is the least loss of detail, log2 of its energy, that is a blur.
	blurLoss = 0.8
	// softLoss is that of a slow loss, and softFrames how long it lasts.
	softLoss   = 1.2
	softFrames = 8
)

// sharpness finds blurred frames and slow losses of detail.
func (s *solver) sharpness() {
	use := s.textured()
	if use == nil {
		return
	}
	detail := s.level(func(f *frame) []float32 { return f.sharp }, func(c int) bool { return use[c] })
	found := bumps(unusual(detail, make([]float64, s.n)), blurLoss, s.n)
	rest := slices.Clone(detail)
	for _, b := range found {
		lasts := func(before, after int) float64 {
			return s.change(func(f *frame) []float32 { return f.sharp }, use, before, after)
		}
		if !b.Returned && !s.settled(b, lasts, math.Abs(b.By[0])) {
			b.Returned = true
		}
		first, last := b.First, b.Last
		for t := first; t < s.n && (!b.Returned || t <= last); t++ {
			rest[t] -= b.By[0]
		}
		switch {
		case b.Returned && b.By[0] > 0:
			continue
		case b.By[0] > 0: // all before it were blurred
			first, last = 0, first-1
			if 2*last > s.n {
				continue
			}
		case !b.Returned:
			last = s.n - 1
		}
		if s.spoil[first] || s.spoil[last] || !s.goesOn(b.First) {
			continue
		}
		f := Finding{Kind: Blurred, First: first, Last: last, Amount: 100 * (1 - math.Exp2(-math.Abs(b.By[0])/2)), Unit: "%", Severity: Spoils}
		s.add(f)
	}
	s.soft(rest)
}

// textured marks the cells that have detail to lose: the better half of them.
// Nil says that there are too few.
func (s *solver) textured() []bool {
	usual := s.usual(func(f *frame) []float32 { return f.detail })
	all := known(usual)
	n := len(usual)
	if len(all) < n/10 {
		return nil
	}
	half := medianOf(all)
	out := make([]bool, n)
	for c := range out {
		out[c] = usual[c] >= half
	}
	return out
}

// soft finds a slow loss of detail, by the level of detail without sudden
// changes.
func (s *solver) soft(detail []float64) {
	if s.n < 3*softFrames || !s.oneView(float64(s.out.Width)/4) {
		return
	}
	slow := make([]float64, s.n)
	for t := range slow {
		slow[t] = medianOf(slices.Clone(detail[max(0, t-2):min(s.n, t+3)]))
	}
	sorted := slices.Sorted(slices.Values(slow))
	best := sorted[s.n*17/20]
	loss := softLoss
	if !s.still() {
		loss *= 2 // the view changes, too
	}
	runs(s.n, func(t int) bool { return slow[t] < best-loss/2 }, func(first, last int) {
		low := slices.Min(slow[first : last+1])
		if last-first+1 < softFrames || low > best-loss {
			return
		}
		s.add(Finding{Kind: Soft, First: first, Last: last, Amount: 100 * (1 - math.Exp2(-(best-low)/2)), Unit: "%", Severity: Look})
	})
}
