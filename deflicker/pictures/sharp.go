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

// sharpness finds blurred frames and slow losses of detail, of all the picture and of
// its parts.
func (s *solver) sharpness() {
	sharpest := s.usual(func(f *frame) []float32 { return f.detail })
	// Mist and another light take detail and the contrast of all the picture alike.
	contrast := s.contrast()
	light := unusual(s.joined(func(f *frame) []float32 { return f.lum }, nil), make([]float64, s.n))
	var found []Finding
	for _, r := range s.regions(sharpest) {
		detail := s.level(func(f *frame) []float32 { return f.detail }, r.use)
		sharp := make([]float64, s.n)
		for t, d := range detail {
			sharp[t] = d - 2*min(0, contrast[t])
		}
		blurs, rest := s.blurs(r, detail, sharp, light)
		for _, f := range append(blurs, s.soft(r, rest)...) {
			if f.Part = r.part; r.part.W > 0 {
				f.Severity = Look
			}
			found = gained(found, f)
		}
	}
	for _, f := range found {
		s.add(f)
	}
}

// gained is list with f, unless it tells of f's frames already; parts that tell of the
// same frames are one.
func gained(list []Finding, f Finding) []Finding {
	for i := range list {
		g := &list[i]
		if f.First > g.Last+1 || f.Last < g.First-1 {
			continue
		}
		if g.Part.W > 0 && f.Part.W > 0 && g.Kind == f.Kind {
			x, y := min(g.Part.X, f.Part.X), min(g.Part.Y, f.Part.Y)
			g.Part = Rect{x, y, max(g.Part.X+g.Part.W, f.Part.X+f.Part.W) - x, max(g.Part.Y+g.Part.H, f.Part.Y+f.Part.H) - y}
			g.Amount = max(g.Amount, f.Amount)
		}
		return list
	}
	return append(list, f)
}

// region is a part of the picture, zero for all of it, and the cells there that have
// detail to lose.
type region struct {
	part Rect
	use  []bool
	few  bool // of all the picture's cells
}

const (
	// regionCells is how many cells have to tell of a part, and regionShare the share
	// of them that has to lose half of what they lose together.
	regionCells, regionShare = 10, 0.55
	// regionLoss is how much more, times, a few cells have to lose, and regionBlur a
	// part that is sharp again soon.
	regionLoss, regionBlur = 2, 1.25
	// regionSure is how well frames have to lie on each other.
	regionSure = 0.5
)

// regions are all the picture by the better half of its cells and, unless a crowd or
// water hides much, by the best eighth, as little else may have any detail, its middle
// and its quarters.
func (s *solver) regions(sharpest []float64) (out []region) {
	agree := s.m.agreement() >= regionSure
	w, h := s.m.cw, s.m.ch
	all := Rect{}
	for _, r := range []struct {
		part Rect
		best float64
	}{{all, 0.5}, {all, 0.125}, {Rect{0.25, 0.25, 0.5, 0.5}, 0.5}, {Rect{0, 0, 0.5, 0.5}, 0.5}, {Rect{0.5, 0, 0.5, 0.5}, 0.5}, {Rect{0, 0.5, 0.5, 0.5}, 0.5}, {Rect{0.5, 0.5, 0.5, 0.5}, 0.5}} {
		in := func(c int) bool {
			x, y := (float64(c%w)+0.5)/float64(w)-r.part.X, (float64(c/w)+0.5)/float64(h)-r.part.Y
			return !math.IsNaN(sharpest[c]) && (r.part.W == 0 || x > 0 && x < r.part.W && y > 0 && y < r.part.H)
		}
		var there []float64
		for c, v := range sharpest {
			if in(c) {
				there = append(there, v)
			}
		}
		few := r.part.W > 0 || r.best < 0.5
		if float64(len(there))*r.best < regionCells || few && !agree {
			continue
		}
		slices.Sort(there)
		least := there[int((1-r.best)*float64(len(there)))]
		use := make([]bool, w*h)
		for c, v := range sharpest {
			use[c] = in(c) && v >= least
		}
		out = append(out, region{r.part, use, few})
	}
	return out
}

// blurs finds sudden losses, by the level of detail and by that with what mist took put
// back; rest is detail without them.
func (s *solver) blurs(r region, detail, sharp []float64, light []change) (out []Finding, rest []float64) {
	rest = slices.Clone(detail)
	loss := blurLoss
	if r.few {
		loss *= regionBlur
	}
	for _, b := range bumps(unusual(sharp, make([]float64, s.n)), loss, s.n, nil) {
		lasts := func(before, after int) float64 {
			return sharp[after] - sharp[before]
		}
		if !b.Returned && !s.settled(b, lasts, math.Abs(b.By[0])) {
			b.Returned = true
		}
		if r.few && (r.part.W == 0 || !b.Returned) && b.By.size() < blurLoss*regionLoss {
			continue
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
		if s.spoil[first] || s.spoil[last] || !s.goesOn(b) || s.part[first] != s.part[min(last, first+side)] || math.Abs(light[b.First][0]) > otherLightEV || r.few && !s.together(r, b) {
			continue
		}
		out = append(out, Finding{Kind: Blurred, First: first, Last: last, Amount: 100 * (1 - math.Exp2(-math.Abs(b.By[0])/2)), Unit: "%", Severity: Spoils})
	}
	return out, rest
}

// together tells whether most cells of a region lost or gained detail with it.
func (s *solver) together(r region, b bump) bool {
	now, was := s.m.frames[b.First].detail, s.m.frames[b.First-1].detail
	n, with := 0.0, 0.0
	for c, in := range r.use {
		if d := float64(now[c]-was[c]) / b.By[0]; in && !math.IsNaN(d) {
			if n++; d > 0.5 {
				with++
			}
		}
	}
	return with >= regionShare*n
}

// soft finds a slow loss of detail, by the level of detail without sudden
// changes.
func (s *solver) soft(r region, detail []float64) (out []Finding) {
	if s.n < 3*softFrames || !s.oneView(float64(s.out.Width)/4) {
		return nil
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
	if r.few {
		loss *= regionLoss
	}
	runs(s.n, func(t int) bool { return slow[t] < best-loss/2 }, func(first, last int) {
		low := slices.Min(slow[first : last+1])
		if last-first+1 < softFrames || low > best-loss {
			return
		}
		out = append(out, Finding{Kind: Soft, First: first, Last: last, Amount: 100 * (1 - math.Exp2(-(best-low)/2)), Unit: "%", Severity: Look})
	})
	return out
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
		if k := s.ratio(t, before, ref); k > 0 {
			out[t], before = base+math.Log2(k), t
		}
	}
	filled(out)
	return out
}

// ratio is how much more the light of frame t lies off its median than ref, which is
// that of frame before where there is one, off its own, over the cells that both tell
// of. Of a chain of frames the ratios multiply.
func (s *solver) ratio(t, before int, ref []float64) float64 {
	var a, b []float64
	for c, r := range ref {
		x := float64(s.m.frames[t].lum[c])
		if !math.IsNaN(r) && !math.IsNaN(x) && s.shows(t, c, nil) && (before < 0 || s.shows(before, c, nil)) {
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
