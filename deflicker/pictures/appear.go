package pictures

import (
	"math"
	"slices"
)

const (
	// coverSide is how many frames to each side say what a cell usually shows:
	// what covers it for as many frames or fewer stands out.
	coverSide = 12
	// coverEV and coverColourEV are the least change of light and colour that is
	// another thing rather than another light on it.
	coverEV       = 0.4
	coverColourEV = 0.3
	// longEV is that of what covers it for longer, which is looked for up to
	// longestRun frames to each side, every longStep.
	longEV   = 0.6
	longStep = 2
	// coverShare is the share of the picture from which a cover is told.
	coverShare, coverSpoils = 0.075, 0.2
)

// span is over how many frames to each side, and every how manyth, it is asked what a
// cell usually shows.
type span struct {
	side int
	next func(d int) int
}

var (
	nearby = span{coverSide, func(d int) int { return d + 1 + d/6 }}
	about  = span{longestRun, func(d int) int { return d + longStep }}
)

// covers finds parts that show something else than before and after, first those that
// do for long, so that they say nothing of what is usual.
func (s *solver) covers() {
	odd, long, hidden := s.noCells(), s.noCells(), s.noCells()
	s.hidden = s.noCells()
	light := func(f *frame) []float32 { return f.lum }
	s.unlike(long, hidden, light, about, longEV)
	found := s.covered(long, true)
	s.unlike(odd, hidden, light, nearby, coverEV)
	s.unlike(odd, hidden, func(f *frame) []float32 { return f.red }, nearby, coverColourEV)
	s.unlike(odd, hidden, func(f *frame) []float32 { return f.blue }, nearby, coverColourEV)
	for _, f := range s.covered(odd, false) {
		if !slices.ContainsFunc(found, func(g Finding) bool { return f.First <= g.Last && g.First <= f.Last }) {
			found = append(found, f)
		}
	}
	for _, f := range found {
		s.add(f)
	}
	s.hidden = hidden
}

// noCells marks no cell of any frame.
func (s *solver) noCells() [][]bool {
	out := make([][]bool, s.n)
	for t := range out {
		out[t] = make([]bool, s.m.cw*s.m.ch)
	}
	return out
}

// unlike marks the cells of each frame that are not as they are in others over that
// span, by floor at least, and what may be hidden by that.
func (s *solver) unlike(odd, hidden [][]bool, of func(f *frame) []float32, over span, floor float64) {
	res, moved := s.residuals(of, over), s.displaced()
	if floor != coverColourEV {
		for t := range res {
			centred(res[t])
		}
	}
	limit := s.cellLimits(res, floor)
	for t := range res {
		own := spread(res[t])
		for c, r := range res[t] {
			blur := moved[t] * s.slope(t, c)
			if math.Abs(r) > max(limit[c], 4*own)+blur {
				odd[t][c] = true
				s.around(c, func(d int) { hidden[t][d] = true }) // its edge is detail
			}
			if floor == coverEV && math.Abs(r) > max(coverEV/2, 2*own)+blur {
				hidden[t][c] = true
			}
		}
	}
}

// displaced is how far each frame lies off where those do that say what its cells
// usually show, in cells.
func (s *solver) displaced() []float64 {
	out := make([]float64, s.n)
	cell := float64(s.out.Width) / CellSide
	for t := range out {
		var xs, ys []float64
		for u := max(0, t-coverSide); u <= min(s.n-1, t+coverSide); u++ {
			xs, ys = append(xs, s.out.X[u]), append(ys, s.out.Y[u])
		}
		out[t] = math.Hypot(s.out.X[t]-medianOf(xs), s.out.Y[t]-medianOf(ys)) / cell
	}
	return out
}

// slope is by how much the light of a cell differs most from that of one beside
// it, EV.
func (s *solver) slope(t, c int) float64 {
	lum, w, h := s.m.frames[t].lum, s.m.cw, s.m.ch
	x, y, most := c%w, c/w, 0.0
	for _, d := range [][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
		if a, b := x+d[0], y+d[1]; a >= 0 && a < w && b >= 0 && b < h {
			most = max(most, math.Abs(float64(lum[c]-lum[b*w+a])))
		}
	}
	return most
}

// centred takes the median off.
func centred(v []float64) {
	m := medianOf(known(v))
	for i := range v {
		v[i] -= m
	}
}

func known(v []float64) []float64 {
	out := make([]float64, 0, len(v))
	for _, x := range v {
		if !math.IsNaN(x) {
			out = append(out, x)
		}
	}
	return out
}

// spread is the standard deviation by the median of absolute deviations.
func spread(v []float64) float64 {
	k := known(v)
	for i, x := range k {
		k[i] = math.Abs(x)
	}
	return 1.4826 * medianOf(k)
}

// residuals is by how much each cell of each frame is off the median of its
// neighbours in time; nil for frames that do not count. The exposure of a frame
// is taken off first.
func (s *solver) residuals(of func(f *frame) []float32, over span) [][]float64 {
	n := s.m.cw * s.m.ch
	level := s.joined(of, nil)
	out := make([][]float64, s.n)
	var near []float64
	var around []int
	for t := range s.n {
		if f := &s.m.frames[t]; !f.known || s.spoil[t] {
			continue
		}
		around = around[:0]
		for d := over.next(0); d <= over.side; d = over.next(d) {
			for _, u := range []int{t - d, t + d} {
				if u >= 0 && u < s.n && s.m.frames[u].known && !s.spoil[u] && s.alike(t, u) {
					around = append(around, u)
				}
			}
		}
		now := of(&s.m.frames[t])
		out[t] = make([]float64, n)
		for c := range n {
			near = near[:0]
			for _, u := range around {
				if v := float64(of(&s.m.frames[u])[c]) - level[u]; !math.IsNaN(v) && s.shows(u, c, nil) {
					near = append(near, v)
				}
			}
			out[t][c] = math.NaN()
			if len(near) >= 4 {
				out[t][c] = float64(now[c]) - level[t] - medianOf(near)
			}
		}
	}
	return out
}

// cellLimits is how far each cell has to be off to stand out: six times its own
// scatter over the sequence, floor at least.
func (s *solver) cellLimits(res [][]float64, floor float64) []float64 {
	n := s.m.cw * s.m.ch
	out := make([]float64, n)
	col := make([]float64, 0, s.n)
	for c := range n {
		col = col[:0]
		for t := range res {
			if res[t] != nil {
				col = append(col, res[t][c])
			}
		}
		out[c] = max(floor, 6*spread(col))
	}
	return out
}

// covered are findings of the largest connected part of each frame that is odd. What
// lasts long has to come and to go at once.
func (s *solver) covered(odd [][]bool, long bool) (out []Finding) {
	size := make([]float64, s.n)
	part := make([][]int, s.n)
	for t := range s.n {
		part[t] = s.largest(odd[t])
		size[t] = float64(len(part[t])) / float64(s.m.cw*s.m.ch)
	}
	runs(s.n, func(t int) bool { return size[t] >= coverShare }, func(first, last int) {
		// What comes and goes by and by is a shadow that moves, and where what was there
		// is still to be seen, it is in another light.
		comes, goes := first > 0 && size[first-1] < size[first]/2, last < s.n-1 && size[last+1] < size[last]/2
		if !comes && !goes || long && (!comes || !goes || last-first < coverSide) || s.seenStill(first, part[first]) {
			return
		}
		at := first
		for t := first; t <= last; t++ {
			if size[t] > size[at] {
				at = t
			}
			if size[t] > 0.4 {
				s.spoil[t] = true
			}
			for _, c := range part[t] {
				s.around(c, func(d int) { s.hidden[t][d] = true })
			}
		}
		f := Finding{Kind: Covered, First: first, Last: last, Amount: 100 * size[at], Unit: "%", Severity: Look, Shown: at, Part: s.frameOf(part[at])}
		if s.bright(at, part[at]) {
			f.Kind = Blown
		}
		if size[at] >= coverSpoils && f.Kind == Covered {
			f.Severity = Spoils
		}
		out = append(out, f)
	})
	return out
}

// seenStill tells whether the tiles of a part of frame t lie on those before.
func (s *solver) seenStill(t int, part []int) bool {
	f := &s.m.frames[t]
	n, match := 0.0, 0.0
	for i := range min(len(f.tiles), len(s.m.middles)) {
		x, y := 0.5+s.m.middles[i][0]/(2*s.m.half[0]), 0.5+s.m.middles[i][1]/(2*s.m.half[1])
		if slices.Contains(part, int(y*float64(s.m.ch))*s.m.cw+int(x*float64(s.m.cw))) {
			n, match = n+1, match+float64(f.tiles[i].match)
		}
	}
	return match > 0.75*n
}

// bright tells whether most of a part is at the white end.
func (s *solver) bright(t int, part []int) bool {
	n := 0
	for _, c := range part {
		if s.m.frames[t].lum[c] > -0.15 {
			n++
		}
	}
	return 2*n > len(part)
}

// largest is the largest connected part of the cells in.
func (s *solver) largest(in []bool) []int {
	seen := slices.Clone(in)
	var best []int
	for c := range seen {
		if !seen[c] {
			continue
		}
		seen[c] = false
		part := []int{c}
		for i := 0; i < len(part); i++ {
			s.around(part[i], func(d int) {
				if seen[d] {
					seen[d] = false
					part = append(part, d)
				}
			})
		}
		if len(part) > len(best) {
			best = part
		}
	}
	return best
}

// around calls each with a cell and those about it.
func (s *solver) around(c int, each func(c int)) {
	w, h := s.m.cw, s.m.ch
	for y := max(0, c/w-1); y <= min(h-1, c/w+1); y++ {
		for x := max(0, c%w-1); x <= min(w-1, c%w+1); x++ {
			each(y*w + x)
		}
	}
}

// frameOf is the part of the picture that cells take.
func (s *solver) frameOf(part []int) Rect {
	w, h := s.m.cw, s.m.ch
	x0, y0, x1, y1 := w, h, 0, 0
	for _, c := range part {
		x, y := c%w, c/w
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x+1), max(y1, y+1)
	}
	return Rect{float64(x0) / float64(w), float64(y0) / float64(h), float64(x1-x0) / float64(w), float64(y1-y0) / float64(h)}
}

// castEV is the least change of red or blue against green that is told.
const castEV = 0.035

// castOfLight is how much of a change of light, EV by EV, a change of colour is.
const castOfLight = 0.3

// miredPerEV is by how much warmer a radiator is for each EV by which red gains on
// blue in linear sRGB: 66 to 70 from 3200 to 6500 K, by Planck's law, the CIE 1931
// observer and the primaries of IEC 61966-2-1.
const miredPerEV = 68

// mired is the change that red and blue, EV against green, stand for; 0 for one
// towards green or magenta.
func mired(red, blue float64) float64 {
	if math.Abs(red+blue) > 0.5*math.Abs(red-blue) {
		return 0
	}
	return miredPerEV * (red - blue)
}

// hazy tells whether frame t lost detail or is covered: what veils a picture takes its
// colours, too.
func (s *solver) hazy(t int) bool {
	return slices.ContainsFunc(s.out.Findings, func(f Finding) bool {
		return slices.Contains([]Kind{Soft, Blurred, Covered}, f.Kind) && f.First-1 <= t && t <= f.Last+1
	})
}

// colours finds frames of another colour.
func (s *solver) colours() {
	red := s.level(func(f *frame) []float32 { return f.red }, nil)
	blue := s.level(func(f *frame) []float32 { return f.blue }, nil)
	for _, v := range [][]float64{red, blue} {
		if math.IsNaN(v[0]) { // of no frame is anything known
			clear(v)
		}
	}
	light := unusual(s.joined(func(f *frame) []float32 { return f.lum }, nil), make([]float64, s.n))
	for _, b := range bumps(unusual(red, blue), castEV, s.n, nil) {
		size := math.Hypot(b.By[0], b.By[1])
		// Light of another strength is most often of another colour.
		if s.spoil[b.First] || s.hazy(b.First) || !s.goesOn(b) || size < castOfLight*math.Abs(light[b.First][0]) {
			continue
		}
		lasts := func(before, after int) float64 {
			return math.Hypot(s.change(func(f *frame) []float32 { return f.red }, before, after), s.change(func(f *frame) []float32 { return f.blue }, before, after))
		}
		if !b.Returned && !s.settled(b, lasts, size) {
			b.Returned = true
		}
		f := Finding{Kind: Cast, First: b.First, Last: b.Last, Unit: "EV", Severity: Look}
		if !b.Returned {
			f.Last = s.n - 1
		}
		f.Amount = max(math.Abs(b.By[0]), math.Abs(b.By[1]), math.Abs(b.By[0]-b.By[1]))
		f.Mired = mired(b.By[0], b.By[1])
		s.add(f)
	}
}
