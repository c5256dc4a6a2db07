package pictures

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// Plate is the luma of a still that was decoded in full, codes of 0 to 255,
// row-major, reduced by a whole factor to PlateSide pixels at most.
type Plate struct {
	W, H int // 0 where the still could not be decoded
	Luma []uint8
}

// PlateSide is the most pixels a plate has along its longer side.
const PlateSide = 2000

const (
	// leastPlates and mostPlates are how many stills spots are looked for in.
	leastPlates, mostPlates = 5, 8
	// leastPlaces is over how many places of the scene, all its own, a spot has
	// to have lain.
	leastPlaces = 3
	// dustDepth is the least share of the codes by which dust is darker than what
	// is about it, hotDepth that by which a hot pixel is brighter.
	dustDepth, hotDepth = 0.025, 0.2
	// spotSure is how many standard errors a spot stands out by.
	spotSure = 6
	// mostSpots is how many are listed.
	mostSpots = 20
	// widestSpot is the widest that is looked for, a share of the longer side.
	widestSpot = 0.04
	// moveCells is by how many cells of Luma all steps together have to go for a
	// tile to say whether it went along.
	moveCells = 0.5
)

// SpotFrames lists at most most frames in which Spots may look for dust: spread
// over the sequence, at uneven distances. Nil where the picture does not move, so
// that a spot could not be told from a thing of the scene.
func (m *Meter) SpotFrames(f *Found, most int) []int {
	if most = min(most, mostPlates); most < leastPlates || f.Width == 0 || !(m.agreement() >= sure) {
		return nil
	}
	var good []int
	for t := range m.frames {
		if fr := &m.frames[t]; fr.known && fr.dark < leftShare && fr.light < leftShare {
			good = append(good, t)
		}
	}
	if len(good) < 3*leastPlates {
		return nil
	}
	var out []int
	for k := range most {
		// What repeats itself in the scene meets no even step.
		off := math.Mod(0.618*float64(k), 1)
		out = append(out, good[min(len(good)-1, int((float64(k)+0.8*off)*float64(len(good))/float64(most)))])
	}
	if f.places(out, 3*float64(f.Width)/PlateSide) < leastPlaces {
		return nil
	}
	return out
}

// places is how many of the frames lie at least apart from each other, pixels of
// the measured picture.
func (f *Found) places(frames []int, apart float64) int {
	var taken []int
	for _, t := range frames {
		if !slices.ContainsFunc(taken, func(u int) bool { return math.Hypot(f.X[t]-f.X[u], f.Y[t]-f.Y[u]) < apart }) {
			taken = append(taken, t)
		}
	}
	return len(taken)
}

// Spots finds what stays at one place of the sensor while the picture moves: dust
// and hot pixels, in the plates of frames. Found is in pixels of the measured
// picture, as stored.
func (m *Meter) Spots(f *Found, frames []int, plates []Plate) []Finding {
	h := spotSearch{found: f, goes: m.goes()}
	for k, p := range plates {
		if p.W > 0 && (len(h.planes) == 0 || p.W == h.planes[0].W && p.H == h.planes[0].H) {
			h.frames, h.planes = append(h.frames, frames[k]), append(h.planes, p)
		}
	}
	if len(h.planes) < leastPlates {
		return nil
	}
	h.w, h.h = h.planes[0].W, h.planes[0].H
	full := h.planes
	var all []spot
	widest := widestSpot * float64(max(h.w, h.h))
	for h.scale = 1; 3*float64(h.scale) <= widest; h.scale *= 2 {
		if h.scale > 1 {
			h.planes = halved(h.planes)
		}
		sides := []int{3, 5}
		if h.scale == 1 {
			sides = []int{1, 3, 5}
		}
		for _, a := range sides {
			if p := h.planes[0]; min(p.W, p.H) <= 8*a || float64(a*h.scale) > widest {
				continue
			}
			if a > 1 {
				all = append(all, h.search(a, false)...)
			}
			if h.scale == 1 && a <= 3 {
				all = append(all, h.search(a, true)...)
			}
		}
	}
	h.planes, h.scale = full, 1
	return h.findings(all, len(m.frames))
}

// spot is one that was found, in pixels of the plates.
type spot struct {
	x, y, side float64
	sure       float64
	hot        bool
}

// spotSearch is what spots are looked for in.
type spotSearch struct {
	found  *Found
	frames []int
	planes []Plate // reduced by scale
	scale  int
	w, h   int // of the plates
	goes   tileMoves
	sums   sums
	part   []uint8
}

// search finds spots about as wide as a pixels of the planes. What stands out
// there in most frames is looked at closely, the clearest first.
func (h *spotSearch) search(a int, hot bool) (out []spot) {
	p := h.planes[0]
	n, sum, square := make([]uint8, p.W*p.H), make([]float32, p.W*p.H), make([]float32, p.W*p.H)
	from := 2*a + 1
	for _, p := range h.planes {
		h.sums.of(p)
		for y := from; y < p.H-from; y++ {
			for x, i := from, y*p.W+from; x < p.W-from; x, i = x+1, i+1 {
				if c, ok := h.sums.standsOut(x, y, a, hot); ok {
					v := float32(min(max(c, -1), 1))
					n[i]++
					sum[i] += v
					square[i] += v * v
				}
			}
		}
	}
	// Student's t of each place, over sum's memory; less than any where it does
	// not stand out.
	for i, k := range n {
		mean := sum[i] / float32(max(k, 1))
		if sum[i] = 0; k >= leastPlates && float64(mean) > leastDepth(hot)/2 {
			sum[i] = mean / float32(math.Sqrt(float64(max(square[i]/float32(k)-mean*mean, 0))/float64(k))+0.002)
		}
	}
	var places []int
	for y := from; y < p.H-from; y++ {
		for x, i := from, y*p.W+from; x < p.W-from; x, i = x+1, i+1 {
			if sum[i] > 2 && highest(sum, i, p.W) {
				places = append(places, i)
			}
		}
	}
	slices.SortStableFunc(places, func(a, b int) int { return cmp.Compare(sum[b], sum[a]) })
	for _, i := range places[:min(len(places), spotPlaces)] {
		if s, ok := h.judge(i%p.W, i/p.W, a, hot); ok {
			out = append(out, s)
		}
	}
	return out
}

// highest tells whether v[i] is no lower than its eight neighbours.
func highest(v []float32, i, w int) bool {
	for _, d := range [8]int{-w - 1, -w, -w + 1, -1, 1, w - 1, w, w + 1} {
		if v[i+d] > v[i] {
			return false
		}
	}
	return true
}

func leastDepth(hot bool) float64 {
	if hot {
		return hotDepth
	}
	return dustDepth
}

// sums are those of a plane's codes above and left of each pixel.
type sums struct {
	w   int
	sum []uint32
}

func (s *sums) of(p Plate) {
	s.w = p.W + 1
	s.sum = sized(s.sum, s.w*(p.H+1))
	clear(s.sum[:s.w])
	for y := range p.H {
		row, above, to := uint32(0), s.sum[y*s.w:][:s.w], s.sum[(y+1)*s.w:][:s.w]
		to[0] = 0
		for x, v := range p.Luma[y*p.W:][:p.W] {
			row += uint32(v)
			to[x+1] = above[x+1] + row
		}
	}
}

// box is the sum over the square of 2d+1 pixels about x, y.
func (s *sums) box(x, y, d int) float64 {
	top, low := (y-d)*s.w, (y+d+1)*s.w
	return float64(s.sum[low+x+d+1] - s.sum[low+x-d] - s.sum[top+x+d+1] + s.sum[top+x-d])
}

// standsOut is by what share of the codes about it a square of a pixels is darker
// or, hot, brighter; false where the codes cannot tell.
func (s *sums) standsOut(x, y, a int, hot bool) (share float64, ok bool) {
	in, near, wide := s.box(x, y, a/2), s.box(x, y, a), s.box(x, y, 2*a)
	n, m, k := float64(a*a), float64((2*a+1)*(2*a+1)), float64((4*a+1)*(4*a+1))
	around := (wide - near) / (k - m)
	in /= n
	if hot {
		return (in - around) / (around + 40), around < 180
	}
	return (around - in) / around, around > 16 && around < 250
}

// judge tells whether there is a spot about pixel x, y of the planes.
func (h *spotSearch) judge(x, y, a int, hot bool) (s spot, ok bool) {
	k := float64(h.scale)
	s = spot{x: (float64(x) + 0.5) * k, y: (float64(y) + 0.5) * k, side: float64(a) * k, hot: hot}
	if !h.goes.about(s.x/float64(h.w), s.y/float64(h.h), s.side/float64(h.w)) {
		return s, false
	}
	here, frames := h.excess(x, y, a, hot)
	places := h.found.places(frames, (1.5*s.side+1)*float64(h.found.Width)/float64(h.w))
	if len(here) < leastPlates || places < leastPlaces {
		return s, false
	}
	depth, agree := min(stat.Mean(here, nil), medianOf(slices.Clone(here))), 0
	for _, c := range here {
		if c > 0.4*depth {
			agree++
		}
	}
	if depth < leastDepth(hot) || 4*agree < 3*len(here) {
		return s, false
	}
	var around [][]float64
	for j := range ringPlaces {
		r, angle := float64(3*a+a*(j%2)), 2*math.Pi*float64(j)/ringPlaces
		if e, _ := h.excess(x+int(math.Round(r*math.Cos(angle))), y+int(math.Round(r*math.Sin(angle))), a, hot); len(e) >= leastPlates {
			around = append(around, e)
		}
	}
	if len(around) < ringPlaces/2 {
		return s, false
	}
	scatter, fixed, most := ringOf(around)
	s.sure = depth * math.Sqrt(float64(places)) / (scatter + 0.002)
	return s, s.sure >= spotSure && fixed < 0.2*depth && most < 0.45*depth && h.moves(x, y, a)
}

// moves tells whether what is about a spot moved on from plane to plane: whether
// the pattern about it, itself left out, agrees less with that in the same place
// of another plane than half as much as where the movement of the picture has it.
// Where clouds make most of the picture, its movement is theirs.
func (h *spotSearch) moves(x, y, a int) bool {
	p := h.planes[0]
	reach := max(4*a, p.W/24)
	step := max(1, reach/24)
	var here, there []float64
	for i := range h.planes {
		h.elsewhere(i, 1.5*float64(a)+1, func(j, dx, dy int) bool {
			here = append(here, h.alike(i, j, x, y, 0, 0, reach, step, 2*a))
			there = append(there, h.alike(i, j, x, y, dx, dy, reach, step, 2*a))
			return false
		})
	}
	still := medianOf(known(here))
	return still < 0.25 || still < 0.5*medianOf(known(there))
}

// alike is the correlation of the pattern within reach of x, y in plane i, but for
// the inner square, with that of plane j moved by dx, dy; NaN for too little.
func (h *spotSearch) alike(i, j, x, y, dx, dy, reach, step, inner int) float64 {
	const q = 2 // pixels over which the pattern is told from its surroundings
	p, o := h.planes[i], h.planes[j]
	pattern := func(p Plate, x, y int) (float64, bool) {
		if x < q || y < q || x >= p.W-q || y >= p.H-q {
			return 0, false
		}
		at := y*p.W + x
		return 4*float64(p.Luma[at]) - float64(p.Luma[at-q]) - float64(p.Luma[at+q]) - float64(p.Luma[at-q*p.W]) - float64(p.Luma[at+q*p.W]), true
	}
	var aa, bb, ab float64
	n := 0
	for v := -reach; v <= reach; v += step {
		for u := -reach; u <= reach; u += step {
			if max(u, -u) <= inner && max(v, -v) <= inner {
				continue
			}
			a, ok := pattern(p, x+u, y+v)
			b, ok2 := pattern(o, x+u+dx, y+v+dy)
			if ok && ok2 {
				aa, bb, ab, n = aa+a*a, bb+b*b, ab+a*b, n+1
			}
		}
	}
	if n < 50 {
		return math.NaN()
	}
	return ab / math.Sqrt(aa*bb+1e-9)
}

const (
	// ringPlaces is at how many places about a spot is looked for others.
	ringPlaces = 16
	// spotPlaces is at how many places spots of a size are looked for.
	spotPlaces = 400
	// others is with how many other frames each is compared.
	others = 3
)

// ringOf says of the places about a spot how much each frame has there, what all
// of them have, and the most of that.
func ringOf(around [][]float64) (scatter, fixed, most float64) {
	n := 0
	for _, v := range around {
		for _, c := range v {
			scatter, n = scatter+c*c, n+1
		}
		m := medianOf(v)
		fixed, most = fixed+m*m, max(most, math.Abs(m))
	}
	return math.Sqrt(scatter / float64(n)), math.Sqrt(fixed / float64(len(around))), most
}

// excess is by how much more a place stands out, frame by frame, than what it
// shows does where other frames have that: the scene takes no part in it. frames
// are those that tell.
func (h *spotSearch) excess(x, y, a int, hot bool) (out []float64, frames []int) {
	for i, p := range h.planes {
		c, ok := h.plainly(p, x, y, a, hot)
		if !ok {
			continue
		}
		var there []float64
		h.elsewhere(i, 1.5*float64(a)+1, func(j, dx, dy int) bool {
			if c, ok := h.plainly(h.planes[j], x+dx, y+dy, a, hot); ok {
				there = append(there, c)
			}
			return len(there) < others
		})
		if len(there) > 0 {
			out, frames = append(out, c-medianOf(there)), append(frames, h.frames[i])
		}
	}
	return out, frames
}

// elsewhere calls each with the planes that show what plane i does at least apart
// pixels away, and by how much, until it says no.
func (h *spotSearch) elsewhere(i int, apart float64, each func(j, dx, dy int) bool) {
	n, scale := len(h.planes), float64(h.w)/float64(h.found.Width)/float64(h.scale)
	for k := 1; k < n; k++ {
		j := (i + k*(n/2) + k/2) % n
		at, to := h.frames[i], h.frames[j]
		dx, dy := scale*(h.found.X[to]-h.found.X[at]), scale*(h.found.Y[to]-h.found.Y[at])
		if j != i && math.Hypot(dx, dy) >= apart && !each(j, int(math.Round(dx)), int(math.Round(dy))) {
			return
		}
	}
}

// plainly is sums.standsOut of a plane, by adding up.
func (h *spotSearch) plainly(p Plate, x, y, a int, hot bool) (float64, bool) {
	if x < 2*a || y < 2*a || x >= p.W-2*a || y >= p.H-2*a {
		return 0, false
	}
	part := Plate{4*a + 1, 4*a + 1, h.part[:0]}
	for j := y - 2*a; j <= y+2*a; j++ {
		part.Luma = append(part.Luma, p.Luma[j*p.W+x-2*a:][:part.W]...)
	}
	h.part = part.Luma
	h.sums.of(part)
	return h.sums.standsOut(2*a, 2*a, a, hot)
}

// halved are the planes at half their size.
func halved(in []Plate) []Plate {
	out := make([]Plate, len(in))
	for i, p := range in {
		q := Plate{W: p.W / 2, H: p.H / 2}
		q.Luma = make([]uint8, q.W*q.H)
		for y := range q.H {
			top, low := p.Luma[2*y*p.W:][:p.W], p.Luma[(2*y+1)*p.W:][:p.W]
			for x, to := 0, q.Luma[y*q.W:]; x < q.W; x++ {
				to[x] = uint8((int(top[2*x]) + int(top[2*x+1]) + int(low[2*x]) + int(low[2*x+1]) + 2) / 4)
			}
		}
		out[i] = q
	}
	return out
}

// findings are the surest of all spots, each once.
func (h *spotSearch) findings(all []spot, frames int) (out []Finding) {
	slices.SortFunc(all, func(a, b spot) int { return cmp.Compare(b.sure, a.sure) })
	var taken []spot
	for _, s := range all {
		near := func(t spot) bool { return math.Hypot(s.x-t.x, s.y-t.y) < 1.5*max(s.side, t.side)+2 }
		if slices.ContainsFunc(taken, near) {
			continue
		}
		taken = append(taken, s)
		f, ok := h.measured(s)
		if !ok {
			continue
		}
		f.Last = frames - 1
		f.Shown, f.Beside = h.frames[len(h.frames)/2], h.frames[len(h.frames)-1]
		out = append(out, f)
	}
	slices.SortStableFunc(out, func(a, b Finding) int { return cmp.Compare(b.Amount, a.Amount) })
	return out[:min(len(out), mostSpots)]
}

// measured is a spot's place and size, by the pixels that stand out by half of
// what its middle does; false for what is not round.
func (h *spotSearch) measured(s spot) (f Finding, ok bool) {
	reach := int(1.2*s.side) + 2
	x0, y0 := int(s.x)-reach, int(s.y)-reach
	w := 2*reach + 1
	v := h.profile(x0, y0, w, 1.5*s.side+1, s.hot)
	var edge []float64
	for i := range w {
		edge = append(edge, v[i], v[(w-1)*w+i], v[i*w], v[i*w+w-1])
	}
	level, core := medianOf(known(edge)), 0.0
	for y := reach - 1; y <= reach+1; y++ {
		for x := reach - 1; x <= reach+1; x++ {
			core = max(core, v[y*w+x]-level)
		}
	}
	n, sx, sy, left, right, top, low := 0.0, 0.0, 0.0, w, 0, w, 0
	for i, p := range v {
		if p-level >= core/2 {
			x, y := i%w, i/w
			n, sx, sy = n+1, sx+float64(x)+0.5, sy+float64(y)+0.5
			left, right, top, low = min(left, x), max(right, x+1), min(top, y), max(low, y+1)
		}
	}
	wide, high := float64(right-left), float64(low-top)
	if n == 0 || max(wide, high) > 2*min(wide, high)+1 || n < 0.4*wide*high {
		return f, false
	}
	size := 2 * math.Sqrt(n/math.Pi)
	pw, ph := float64(h.w), float64(h.h)
	sx, sy = (float64(x0)+sx/n)/pw, (float64(y0)+sy/n)/ph
	return Finding{
		Kind: Spot, Amount: size * float64(h.found.Width) / pw, Unit: "px", Severity: Look,
		Part: Rect{sx - size/2/pw, sy - size/2/ph, size / pw, size / ph},
	}, true
}

// profile is by how much each pixel of a square of w, from x0, y0 on, is darker
// than what it shows is elsewhere or, hot, brighter: log2 of codes; NaN beyond the
// picture.
func (h *spotSearch) profile(x0, y0, w int, apart float64, hot bool) []float64 {
	out := make([]float64, w*w)
	log := func(p Plate, x, y int) float64 {
		if x < 0 || y < 0 || x >= p.W || y >= p.H {
			return math.NaN()
		}
		return math.Log2(8 + float64(p.Luma[y*p.W+x]))
	}
	var all []float64
	for at := range out {
		x, y := x0+at%w, y0+at/w
		all = all[:0]
		for i, p := range h.planes {
			here, n := log(p, x, y), 0
			h.elsewhere(i, apart, func(j, dx, dy int) bool {
				if there := log(h.planes[j], x+dx, y+dy); !math.IsNaN(here - there) {
					all, n = append(all, there-here), n+1
				}
				return n < others
			})
		}
		if out[at] = medianOf(all); hot {
			out[at] = -out[at]
		}
	}
	return out
}
