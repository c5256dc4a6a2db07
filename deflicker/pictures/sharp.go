package pictures

import (
	"math"
	"slices"
)

const (
	// blurLoss is the least loss of detail, log2 of its energy, that is a blur.
	blurLoss = 0.8
	// otherLightEV is a change of light with which detail is another, too.
	otherLightEV = 1.5
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
	detail := s.level(func(f *frame) []float32 { return f.detail }, func(c int) bool { return use[c] })
	// Mist and another light take detail and the contrast of all the picture alike.
	sharp := s.contrast()
	for t, d := range detail {
		sharp[t] = d - 2*min(0, sharp[t])
	}
	found := bumps(unusual(sharp, make([]float64, s.n)), blurLoss, s.n, nil)
	rest := slices.Clone(detail)
	light := unusual(s.joined(func(f *frame) []float32 { return f.lum }, nil), make([]float64, s.n))
	for _, b := range found {
		lasts := func(before, after int) float64 {
			return sharp[after] - sharp[before]
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
		if s.spoil[first] || s.spoil[last] || !s.goesOn(b.First) || s.part[first] != s.part[min(last, first+side)] || math.Abs(light[b.First][0]) > otherLightEV {
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

// contrast is log2 of each frame's contrast from cell to cell: how much its light
// differs between cells where that of the others does, or of the frame before
// where the view moves.
func (s *solver) contrast() []float64 {
	out := make([]float64, s.n)
	still, before := s.still(), -1
	ref := s.usual(func(f *frame) []float32 { return f.lum })
	for t := range s.n {
		out[t] = math.NaN()
		f := &s.m.frames[t]
		if !f.known || s.spoil[t] {
			continue
		}
		base := 0.0
		if !still {
			if before < 0 {
				before, out[t] = t, 0
				continue
			}
			for c, v := range s.m.frames[before].lum {
				ref[c] = float64(v)
			}
			base = out[before]
		}
		if k := ratio(f.lum, ref); k > 0 {
			out[t], before = base+math.Log2(k), t
		}
	}
	filled(out)
	return out
}

// ratio is how much more v lies off its median than ref off its own, over the
// cells that both tell of. Of a chain of frames the ratios multiply.
func ratio(v []float32, ref []float64) float64 {
	var a, b []float64
	for c, r := range ref {
		if x := float64(v[c]); !math.IsNaN(r) && !math.IsNaN(x) {
			a, b = append(a, x), append(b, r)
		}
	}
	return strays(a) / strays(b)
}

// strays is the mean distance of v from its median.
func strays(v []float64) float64 {
	sum, m := 0.0, medianOf(v)
	for _, x := range v {
		sum += math.Abs(x - m)
	}
	return sum / float64(len(v))
}
