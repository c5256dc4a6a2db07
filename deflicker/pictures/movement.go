package pictures

import (
	"math"
	"slices"
)

// path joins the steps from frame to frame.
func (s *solver) path() {
	x, y := make([]float64, s.n), make([]float64, s.n)
	begun := false
	last, lastX, lastY, speedX, speedY := 0, 0.0, 0.0, 0.0, 0.0
	for t := range s.n {
		f := &s.m.frames[t]
		x[t], y[t] = math.NaN(), math.NaN()
		switch {
		case f.key >= 0 && !math.IsNaN(x[f.key]):
			x[t], y[t] = x[f.key]+f.far.x, y[f.key]+f.far.y
			s.part[t] = s.part[f.key]
		case f.from >= 0 && !math.IsNaN(x[f.from]):
			x[t], y[t] = x[f.from]+f.step.x, y[f.from]+f.step.y
			s.part[t] = s.part[f.from]
		case f.known && (!begun || s.restart(t)):
			x[t], y[t] = lastX+speedX*float64(t-last), lastY+speedY*float64(t-last)
			s.part[t] = t + 1
		}
		if !math.IsNaN(x[t]) {
			if f.from >= 0 {
				speedX, speedY = f.step.x/float64(t-f.from), f.step.y/float64(t-f.from)
			}
			begun, last, lastX, lastY = true, t, x[t], y[t]
		}
	}
	filled(x)
	filled(y)
	s.out.X, s.out.Y = x, y
}

// restart tells whether the next frame is laid over frame t, though t itself fits
// none: the picture is another from there on.
func (s *solver) restart(t int) bool {
	for u := t + 1; u < min(s.n, t+3); u++ {
		if s.m.frames[u].from >= 0 {
			return s.m.frames[u].from == t
		}
	}
	return false
}

// Floors of what is told apart, in cells of Luma.
const (
	jumpCells  = 0.2
	jumpPixels = 1.3
	shakeCells = 0.14
	speedCells = 0.05
)

// turnSure is how many standard errors of theirs a turn has to take the corners to be
// told, turnFit the share of the scatter that may be left with it, and turnVotes how
// many tiles it takes.
const turnSure, turnFit, turnVotes = 5, 0.75, 8

// jolt is the share of the picture's width that is seen as a jolt at any size of
// the clip: 10 pixels of 1920.
const jolt = 0.005

// movement finds jumps, shake and stalls in the path.
func (s *solver) movement() {
	cell, wide := s.cellPx(), float64(s.out.Width)
	floor := max(jumpCells*cell, jumpPixels)
	s.out.StepPx = floor
	steps, doubt := s.jolts()
	found := bumps(steps, floor, longestRun, doubt)
	still := [2][]float64{make([]float64, s.n), make([]float64, s.n)}
	for t := 1; t < s.n; t++ {
		still[0][t], still[1][t] = still[0][t-1]+steps[t][0], still[1][t-1]+steps[t][1]
	}
	for _, b := range found {
		for t := b.First; t < s.n && (!b.Returned || t <= b.Last); t++ {
			still[0][t] -= b.By[0]
			still[1][t] -= b.By[1]
		}
		if s.spoil[b.First] {
			continue
		}
		d := shift{x: b.By[0], y: b.By[1], turn: b.By[2] / s.corner()}
		f := Finding{Kind: Jump, First: b.First, Last: b.Last, X: d.x, Y: d.y, Turn: d.turn * 180 / math.Pi, Amount: s.most(d), Unit: "px", Returned: b.Returned, Severity: Look}
		if f.Amount >= jolt*wide {
			f.Severity = Spoils
		}
		s.add(f)
	}
	s.shake(still, cell, wide)
	path := [2][]float64{slices.Clone(s.out.X), slices.Clone(s.out.Y)}
	s.out.Turned = make([]float64, s.n)
	for _, b := range found {
		for t := b.First; t < s.n && (!b.Returned || t <= b.Last); t++ {
			s.out.Turned[t] += b.By[2] / s.corner() * 180 / math.Pi
			path[0][t] -= b.By[0]
			path[1][t] -= b.By[1]
		}
	}
	s.out.SmoothX, s.out.SmoothY = even(path[0]), even(path[1])
	s.stalls(path, cell)
}

// most is how far a movement takes what it moves most, pixels.
func (s *solver) most(d shift) (most float64) {
	w, h := s.m.half[0]*s.cellPx(), s.m.half[1]*s.cellPx()
	for _, p := range [][2]float64{{w, h}, {-w, h}, {w, -h}, {-w, -h}} {
		x, y := d.at(p[0], p[1])
		most = max(most, math.Hypot(x, y))
	}
	return most
}

// smoothSide is how many frames to each side a smooth path is made of.
const smoothSide = 8

// smooth is the local straight line through the neighbours within smoothSide, the
// value itself left out, weighted towards the middle.
func smooth(v []float64) []float64 {
	out := make([]float64, len(v))
	for t := range v {
		var n, st, stt, sv, stv float64
		for u := max(0, t-smoothSide); u <= min(len(v)-1, t+smoothSide); u++ {
			if u == t {
				continue
			}
			d := float64(u - t)
			w := 1 - math.Abs(d)/(smoothSide+1)
			n, st, stt, sv, stv = n+w, st+w*d, stt+w*d*d, sv+w*v[u], stv+w*d*v[u]
		}
		if det := n*stt - st*st; det > 0 {
			out[t] = (stt*sv - st*stv) / det
		} else {
			out[t] = v[t]
		}
	}
	return out
}

// degrees is the highest of the polynomials that are tried as smooth paths.
const degrees = 5

// even is the smooth path that a shaken one was meant to be: the polynomial of
// the least degree that leaves no more than shake, told by successive values
// that differ as independent ones do (von Neumann 1941), or else what smooth
// gives.
func even(v []float64) []float64 {
	n := len(v)
	for degree := 0; degree <= degrees && degree < n/4; degree++ {
		fit := polynomial(v, degree)
		var square, change, last float64
		for t := range v {
			d := v[t] - fit[t]
			square += d * d
			if t > 0 {
				change += (d - last) * (d - last)
			}
			last = d
		}
		if change > 1.3*square {
			return fit
		}
	}
	return smooth(v)
}

// polynomial is the least squares fit of that degree, by orthogonal polynomials
// over the frames.
func polynomial(v []float64, degree int) []float64 {
	n := len(v)
	fit := make([]float64, n)
	var before []float64
	now := make([]float64, n)
	for t := range now {
		now[t] = 1
	}
	for k := 0; ; k++ {
		size, along := 0.0, 0.0
		for t, p := range now {
			size, along = size+p*p, along+p*v[t]
		}
		for t, p := range now {
			fit[t] += along / size * p
		}
		if k == degree {
			return fit
		}
		next, middle, back := make([]float64, n), 0.0, 0.0
		x := func(t int) float64 { return 2*float64(t)/float64(n-1) - 1 }
		for t, p := range now {
			middle += x(t) * p * p / size
		}
		if before != nil {
			was := 0.0
			for _, p := range before {
				was += p * p
			}
			back = size / was
		}
		for t, p := range now {
			next[t] = (x(t) - middle) * p
			if before != nil {
				next[t] -= back * before[t]
			}
		}
		before, now = now, next
	}
}

// shake finds stretches that tremble.
func (s *solver) shake(path [2][]float64, cell, wide float64) {
	var square [2][]float64
	for j := range path {
		to := smooth(path[j])
		square[j] = make([]float64, s.n)
		for t := range to {
			d := path[j][t] - to[t]
			square[j][t] = d * d / (1 + 1.0/smoothSide)
		}
	}
	mean := func(v []float64, from, to int) float64 {
		sum := 0.0
		for _, x := range v[from : to+1] {
			sum += x
		}
		return sum / float64(to-from+1)
	}
	limit := max(shakeCells*cell, 0.5)
	trembles := func(t int) bool {
		// The median keeps a single frame from making a shake.
		var all []float64
		for u := max(0, t-smoothSide); u <= min(s.n-1, t+smoothSide); u++ {
			all = append(all, square[0][u]+square[1][u])
		}
		return len(all) > smoothSide && math.Sqrt(medianOf(all)/1.39*2) > limit
	}
	runs(s.n, trembles, func(first, last int) {
		if last-first < smoothSide {
			return
		}
		f := Finding{Kind: Shake, First: first, Last: last, Unit: "px", Severity: Look}
		f.X, f.Y = math.Sqrt(mean(square[0], first, last)), math.Sqrt(mean(square[1], first, last))
		if f.Amount = math.Hypot(f.X, f.Y); f.Amount < 0.001*wide {
			f.Severity = Note
		}
		s.add(f)
	})
}

// stalls finds where a move stopped.
func (s *solver) stalls(path [2][]float64, cell float64) {
	speed := make([]float64, s.n)
	const half = 2
	for t := range speed {
		a, b := max(0, t-half), min(s.n-1, t+half)
		speed[t] = math.Hypot(path[0][b]-path[0][a], path[1][b]-path[1][a]) / float64(max(1, b-a))
	}
	var fast []float64
	for _, v := range speed {
		if v > speedCells*cell {
			fast = append(fast, v)
		}
	}
	moved := math.Hypot(s.out.SmoothX[s.n-1]-s.out.SmoothX[0], s.out.SmoothY[s.n-1]-s.out.SmoothY[0])
	if len(fast) < max(5, s.n/4) || moved < 5*cell {
		if s.opt.Travels && s.n >= 10 && moved < 5*cell {
			s.add(Finding{Kind: Stalled, First: 0, Last: s.n - 1, Amount: float64(s.n), Unit: "frames", Severity: Spoils})
		}
		return
	}
	// Clouds stop and go as they please.
	if known, went, _ := s.m.went(); !s.opt.Travels && went < allTiles*known {
		return
	}
	usual := medianOf(fast)
	runs(s.n, func(t int) bool { return speed[t] < 0.15*usual }, func(first, last int) {
		// A move may begin and end gently, and holds at its ends are usual.
		if last-first+1 < 5 || !s.opt.Travels && (first == 0 || last == s.n-1) {
			return
		}
		f := Finding{Kind: Stalled, First: first, Last: last, Amount: float64(last - first + 1), Unit: "frames", Severity: Look}
		if s.opt.Travels {
			f.Severity = Spoils
		}
		s.add(f)
	})
}

// jolts is each step of the picture less the usual one, as most of its tiles saw
// it: clouds and water have movements of their own, and go on with them. The third
// is the turn, as the movement of a corner. doubt is the standard error of each.
func (s *solver) jolts() (out []change, doubt []float64) {
	out, doubt = unusual(s.out.X, s.out.Y), make([]float64, s.n)
	for t := range out {
		f := &s.m.frames[t]
		if f.from < 0 {
			out[t] = change{} // not known
			continue
		}
		best, steps := math.Inf(1), float64(t-f.from)
		if len(f.tiles) > 0 || s.skipped(t) != 0 {
			out[t] = change{}
		}
		for _, w := range [][2]int{{t - side, t}, {t + 1, t + 1 + side}} {
			d, e, ok := s.agreed(t, w[0], w[1], steps)
			by := change{d.x, d.y, d.turn * s.corner()}
			if ok && by.size() < best {
				best, out[t], doubt[t] = by.size(), by, e
			}
		}
	}
	return out, doubt
}

// corner is how far a corner lies from the picture's middle, pixels.
func (s *solver) corner() float64 { return math.Hypot(s.m.half[0], s.m.half[1]) * s.cellPx() }

// skipped is how much longer than usual, in intervals, it took from the frame
// before to frame t.
func (s *solver) skipped(t int) float64 {
	if t < len(s.opt.Skipped) {
		return s.opt.Skipped[t]
	}
	return 0
}

// agreed is by what frame t's tiles moved, in so many steps, beyond their medians
// over other frames, as most of them have it.
func (s *solver) agreed(t, from, to int, steps float64) (d shift, doubt float64, ok bool) {
	waited := steps + s.skipped(t)
	f := &s.m.frames[t]
	if len(f.tiles) != len(s.m.middles) {
		return d, 0, false
	}
	var all []vote
	for i := range f.tiles {
		m := &f.tiles[i]
		if m.match < 0.3 {
			continue
		}
		var xs, ys []float64
		for u := max(1, from); u < min(to, s.n); u++ {
			if g := &s.m.frames[u]; len(g.tiles) == len(f.tiles) && g.tiles[i].match >= 0.3 && s.skipped(u) == 0 {
				xs, ys = append(xs, float64(g.tiles[i].x)), append(ys, float64(g.tiles[i].y))
			}
		}
		if len(xs) < 2 {
			continue
		}
		mx, my := medianOf(xs), medianOf(ys)
		off := 0.0
		for k := range xs {
			off += math.Abs(xs[k]-mx) + math.Abs(ys[k]-my)
		}
		v := vote{x: float64(m.x)*steps - mx*waited, y: float64(m.y)*steps - my*waited, tensor: m.tensor()}
		// How far it strays by itself is what its word is worth less by.
		v.weight = float64(m.match*m.match) / (0.05*f.cell + off/float64(len(xs)))
		v.atX, v.atY = s.m.middles[i][0]*f.cell, s.m.middles[i][1]*f.cell
		all = append(all, v)
	}
	if len(all) < 5 {
		return d, 0, false
	}
	d, doubt, votes := elected(all, false)
	// Corners are known about half as well as the middle.
	if turned, e, _ := elected(all, true); votes >= turnVotes && math.Abs(turned.turn)*s.corner() > turnSure*2*e && e < turnFit*doubt {
		d, doubt = turned, 2*e
	}
	return d, doubt, true
}

// oneView tells whether nearly all frames show one view, moved by less than reach
// pixels.
func (s *solver) oneView(reach float64) bool {
	count, most := map[int]int{}, 0
	for _, p := range s.part {
		if p > 0 {
			count[p]++
			most = max(most, count[p])
		}
	}
	far := func(v []float64) float64 { return slices.Max(v) - slices.Min(v) }
	return 10*most >= 9*s.n && max(far(s.out.X), far(s.out.Y)) < reach
}

// still tells whether all frames may be compared cell with cell.
func (s *solver) still() bool { return s.oneView(0.75 * float64(s.out.Width) / CellSide) }

// sameView is the agreement from which two frames show the same all over, not a
// window's frame with another world behind it.
const sameView = 0.4

// goesOn tells whether, where b begins, the frame shows what the one before it showed.
// Where a crowd hides much of all frames, and what is there is soon seen again, less of
// it will do.
func (s *solver) goesOn(b bump) bool {
	least := sameView
	if b.Returned {
		least = min(sameView, 0.8*s.m.agreement())
	}
	return b.First > 0 && s.alike(b.First-1, b.First) && s.m.frames[b.First].step.good >= least
}

// alike tells whether frames a and b show the same, so that cell may be compared
// with cell.
func (s *solver) alike(a, b int) bool {
	cell := float64(s.out.Width) / CellSide
	return s.part[a] > 0 && s.part[a] == s.part[b] && math.Hypot(s.out.X[a]-s.out.X[b], s.out.Y[a]-s.out.Y[b]) < 0.75*cell
}

// vote is what a tile, its middle at atX, atY from that of the picture, says of how
// the picture moved.
type vote struct {
	atX, atY, x, y, weight float64
	tensor
}

// elected is the movement, with a turn where turns is set, that most votes agree on,
// its standard error, and how many equal votes these are worth: least squares, each
// vote weighted by Tukey's function of how far it is off (Beaton and Tukey 1974), from
// the medians on.
func elected(all []vote, turns bool) (d shift, doubt, votes float64) {
	xs, ys, off := make([]weighted, len(all)), make([]weighted, len(all)), make([]weighted, len(all))
	sum, square := 0.0, 0.0
	for i, v := range all {
		xs[i], ys[i] = weighted{v.x, v.weight}, weighted{v.y, v.weight}
		sum, square = sum+v.weight, square+v.weight*v.weight
	}
	votes = sum * sum / square
	d = shift{x: weightedMedian(xs), y: weightedMedian(ys)}
	for range 10 {
		for i, v := range all {
			x, y := d.at(v.atX, v.atY)
			off[i] = weighted{math.Hypot(v.x-x, v.y-y), v.weight}
		}
		scale := weightedMedian(slices.Clone(off))
		doubt = 1.5 * scale / math.Sqrt(votes)
		var n normal
		for i, v := range all {
			r := off[i].v / (4*scale + 1e-9)
			if r < 1 {
				ex, ey := v.times(v.x, v.y)
				n.add(v.weight*(1-r*r)*(1-r*r), v.atX, v.atY, v.tensor, ex, ey)
			}
		}
		next, ok := n.shift(turns)
		if !ok {
			break
		}
		d = next
	}
	return d, doubt, votes
}
