package deflicker

import (
	"fmt"
	"math"
	"slices"

	"stillspan/internal/orientation"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// Local is the correction of flicker that differs across the frame because
// the lens darkens its corners more in one frame than in the next: a blade
// that stops in a slightly different place changes the vignetting too.
type Local struct {
	// Use says whether the correction helps; if not, Why says what speaks
	// against it and EV is nil.
	Use bool
	Why string
	// ScatterEV is what was found at the corners against the middle, EV rms;
	// NaN when it could not be told. NoiseEV is its error.
	ScatterEV, NoiseEV float64
	Fields
}

// Fields are corrections that differ across the upright picture: W x H values a
// frame, row by row; add EV[t] to frame t beside its CorrectionEV. A frame's
// field is nil where nothing is known or to be done.
type Fields struct {
	W, H int
	EV   [][]float32
}

const (
	// localSide is the length of a field's longer side. Between and beyond the
	// cells' middles it is continued by lines, which with 16 cells misses 1 % of
	// a corner's correction.
	localSide = 16
	// localLag is the longest lag at which uneven change is compared.
	localLag = 2
	// leastLocal is the scatter, EV rms corners against middle, that is left
	// alone.
	leastLocal = 0.01
	// leastLocalFrames are needed to tell scatter from chance.
	leastLocalFrames = 24
	// localLimit is the most by which a corner is corrected, EV.
	localLimit = 0.5
)

// localMeter gathers the uneven part of the changes between frames.
//
// What vignetting does depends on the distance from the middle alone. So it is
// measured twice, in the quarters at the upper left and lower right and in the
// two others. A change of the lens is the same in both; clouds, cars, shadows
// and a view that moves are not. How far the halves disagree is thus the error
// of either, whatever moves.
type localMeter struct {
	w, h   int
	half   [2][]int // cells
	shape  [][shapes]float64
	seen   []float64 // summed weights of the cells
	frames []float64 // per frame 0, or NaN where there is nothing to compare
	links  [2][]link
	s      scratch
	fitted []fitCell
	r, rw  []float32 // residuals and weights of fitted
}

// shapes are the terms that the change of a cell is made of: constant, slopes
// across and down, square of the distance from the middle (1 at the corners),
// and the cell's own brightness. Only the fourth is corrected; the others keep
// what passes across the picture, and a camera's tone curve, out of it.
const (
	shapes   = 5
	cornerAt = 3
)

func (l *localMeter) setSize(w, h int) {
	l.w, l.h = w, h
	l.shape, l.seen = make([][shapes]float64, w*h), make([]float64, w*h)
	for y := range h {
		for x := range w {
			u, v := 2*(float64(x)+0.5)/float64(w)-1, 2*(float64(y)+0.5)/float64(h)-1
			i := y*w + x
			l.shape[i] = [shapes]float64{1, u, v, radial(u, v, w, h), 0}
			k := 0
			if (u < 0) != (v < 0) {
				k = 1
			}
			l.half[k] = append(l.half[k], i)
		}
	}
}

// radial is the square of the distance from the middle, 1 at the corners, of
// the place u, v (-1 to 1 across and down) in a picture of shape w : h.
func radial(u, v float64, w, h int) float64 {
	a, b := square(float64(w)), square(float64(h))
	return (u*u*a + v*v*b) / (a + b)
}

// newLocalMeter is for frames of one sequence, nil for such as could not be
// measured. Frames of another size than the first (turned by 90 degrees, say)
// are left alone.
func newLocalMeter(frames []*cells) *localMeter {
	l := &localMeter{frames: make([]float64, len(frames))}
	for t, c := range frames {
		if c != nil && l.w == 0 {
			l.setSize(c.w, c.h)
		}
		if c == nil || c.w != l.w || c.h != l.h {
			l.frames[t] = math.NaN()
			continue
		}
		for i, open := range c.open {
			l.seen[i] += float64(open)
		}
	}
	return l
}

// part is l for comparisons beside others; nil for nil.
func (l *localMeter) part() *localMeter {
	if l == nil {
		return nil
	}
	return &localMeter{w: l.w, h: l.h, half: l.half, shape: l.shape}
}

// append adds the comparisons of a later part.
func (l *localMeter) append(q *localMeter) {
	for k := range l.links {
		l.links[k] = append(l.links[k], q.links[k]...)
	}
}

// compare notes how much more the corners changed than the middle up to frame
// c, of which each cell changed by change EV, weighted by weight, and the
// whole by g.
func (l *localMeter) compare(p, c *view, change, weight []float32, g link) {
	if c.w != l.w || c.h != l.h {
		return
	}
	var got [2]link
	for k := range l.half {
		ev, spread, ok := l.fit(p, c, change, weight, g, l.half[k])
		if !ok {
			return
		}
		got[k] = link{from: g.from, to: g.to, ev: ev, spread: spread}
	}
	for k := range got {
		l.links[k] = append(l.links[k], got[k])
	}
}

// fitCell is a cell's change, less the whole picture's, and its shapes.
type fitCell struct {
	ev, weight float64
	shape      [shapes]float64
}

// fit finds the corners' change in some cells by least squares, reweighted
// with Tukey's biweight so that what moves does not count.
func (l *localMeter) fit(p, c *view, change, weight []float32, g link, at []int) (ev, spread float64, ok bool) {
	l.fitted, l.r, l.rw = l.fitted[:0], l.r[:0], l.rw[:0]
	for _, i := range at {
		w := weight[i]
		if w <= 0 {
			continue
		}
		f := fitCell{float64(change[i]) - g.ev, float64(w), l.shape[i]}
		f.shape[shapes-1] = float64(c.ev[1][i]+p.ev[1][i]) / 2
		l.fitted = append(l.fitted, f)
		l.r, l.rw = append(l.r, float32(f.ev)), append(l.rw, w)
	}
	if len(l.fitted) < 20*shapes {
		return 0, 0, false
	}
	spread = max(g.spread, 0.002)
	for range 4 {
		x, ok := l.solve(4.685 * spread)
		if !ok {
			return 0, 0, false
		}
		for i := range l.fitted {
			r := l.fitted[i].ev
			for k, s := range l.fitted[i].shape {
				r -= x[k] * s
			}
			l.r[i] = float32(r)
		}
		_, spread = l.s.histogramMedian(l.r, l.rw)
		spread = max(spread, 0.0005)
		ev = x[cornerAt]
	}
	return ev, spread, true
}

// solve is one weighted least-squares fit; residuals beyond reach EV have no
// weight.
func (l *localMeter) solve(reach float64) (x [shapes]float64, ok bool) {
	var a [shapes][shapes]float64
	var b [shapes]float64
	for i := range l.fitted {
		u := float64(l.r[i]) / reach
		if u*u >= 1 {
			continue
		}
		f := &l.fitted[i]
		w := f.weight * square(1-u*u)
		for j, s := range f.shape {
			ws := w * s
			b[j] += ws * f.ev
			for k := j; k < shapes; k++ {
				a[j][k] += ws * f.shape[k]
			}
		}
	}
	m := mat.NewSymDense(shapes, nil)
	faint := 1e-6 * a[0][0] // keeps a picture of one brightness solvable
	for j := range shapes {
		for k := j; k < shapes; k++ {
			m.SetSym(j, k, a[j][k])
		}
		m.SetSym(j, j, a[j][j]+faint)
	}
	var ch mat.Cholesky
	if a[0][0] <= 0 || !ch.Factorize(m) {
		return x, false
	}
	v := mat.NewVecDense(shapes, x[:])
	return x, ch.SolveVecTo(v, mat.NewVecDense(shapes, b[:])) == nil
}

// solveLocal parts the scatter of the corners from their slow change and from
// what is no doing of the lens: bands of lamps are taken off before.
func (l *localMeter) solveLocal(exif int, bands *wave) Local {
	var half [2][]float64
	leak := 0.0 // of bands into the corners, EV
	for k := range half {
		half[k] = join(l.frames, l.links[k])
		if bands == nil || len(bands.add[0]) != [2]int{l.h, l.w}[bands.d] { // told from frames of another size
			continue
		}
		per, took := l.perLine(k, bands.d), make([]float64, len(l.frames))
		for t := range took {
			took[t] = floats.Dot(per, bands.add[t])
			half[k][t] += took[t]
		}
		leak = max(leak, scatter(took))
	}
	n := len(l.frames)
	corner, differ, w := make([]float64, n), make([]float64, n), make([]float64, n)
	linked := l.linked()
	measured := 0
	for t := range corner {
		corner[t], differ[t] = math.NaN(), math.NaN()
		if linked[t] {
			corner[t] = (half[0][t] + half[1][t]) / 2
			differ[t] = (half[0][t] - half[1][t]) / 2
			w[t] = 1
			measured++
		}
	}
	out := Local{ScatterEV: scatter(corner), NoiseEV: scatter(differ)}
	switch {
	case measured < leastLocalFrames || math.IsNaN(out.ScatterEV):
		out.Why = fmt.Sprintf("%d comparable frames are too few to tell", measured)
	case !(out.ScatterEV >= max(leastLocal, leak/2)):
		out.Why = fmt.Sprintf("the corners keep to the middle within %.3f EV", out.ScatterEV)
	case !(out.ScatterEV > 4*out.NoiseEV):
		out.Why = "what differs across the frame is no doing of the lens"
	default:
		out.Use = true
		out.W, out.H = l.fieldSize(exif)
		out.EV = l.fields(out, lensPart(corner, w))
	}
	return out
}

// perLine is by how much a change of 1 EV of each row of cells (d is 0) or column
// shows as one of the corners in a half: the fit's answer to it, where all cells
// count alike.
func (l *localMeter) perLine(half, d int) []float64 {
	const places = shapes - 1 // without brightness
	a, rhs := mat.NewSymDense(places, nil), mat.NewVecDense(places, nil)
	for _, i := range l.half[half] {
		for j := range places {
			for k := j; k < places; k++ {
				a.SetSym(j, k, a.At(j, k)+l.shape[i][j]*l.shape[i][k])
			}
		}
	}
	rhs.SetVec(cornerAt, 1)
	per := make([]float64, [2]int{l.h, l.w}[d])
	var ch mat.Cholesky
	var x mat.VecDense
	if !ch.Factorize(a) || ch.SolveVecTo(&x, rhs) != nil {
		return per
	}
	for _, i := range l.half[half] {
		for k := range places {
			per[[2]int{i / l.w, i % l.w}[d]] += x.AtVec(k) * l.shape[i][k]
		}
	}
	return per
}

// linked tells which frames were compared with another.
func (l *localMeter) linked() []bool {
	in := make([]bool, len(l.frames))
	for _, k := range l.links[0] {
		in[k.from], in[k.to] = true, true
	}
	return in
}

// localPeriods are those, in frames, of the slowest change of the corners that may
// be corrected.
var localPeriods = []int{8, 12, 20, 40}

// lensPart is what of the corners' change y is the lens's, 0 where w is 0: a blade
// stops anew for each frame, so that this is what a smooth line leaves that
// follows all else, clouds over the middle say, as well as it can.
func lensPart(y, w []float64) []float64 {
	m := newModel(y, nil)
	m.fit(nil, lines(float64(localPeriods[0])))
	period, _ := m.bestPeriod(localPeriods, lines)
	return fastPart(y, w, float64(period))
}

// fastPart is y less what changes slower than a period, 0 where w is 0. Frames far
// off (lightning, headlights that fill the frame) neither pull the slow change nor
// have a fast part: what happened there is not the lens's.
func fastPart(y, w []float64, period float64) []float64 {
	far := 5 * scatter(y)
	fast, in := make([]float64, len(y)), slices.Clone(w)
	for range 3 {
		slow := smooth(y, in, lines(period))
		for t := range y {
			if w[t] == 0 {
				continue
			}
			fast[t], in[t] = y[t]-slow[t], 1
			if math.Abs(fast[t]) > far {
				fast[t], in[t] = 0, 0
			}
		}
	}
	return fast
}

// fieldSize is the size of a field over the upright picture.
func (l *localMeter) fieldSize(exif int) (w, h int) {
	long := max(l.w, l.h)
	w = max(2, (l.w*localSide+long/2)/long)
	h = max(2, (l.h*localSide+long/2)/long)
	return orientation.Of(exif).Size(w, h)
}

// fields turns the corners' fast scatter into what takes it away. Each field
// is 0 at the distance that half the picture's weight lies within: there the
// change is that of the median, which the frame's CorrectionEV makes good.
func (l *localMeter) fields(o Local, fast []float64) [][]float32 {
	dist := make([]float64, len(l.shape))
	for i := range dist {
		dist[i] = l.shape[i][cornerAt]
	}
	zero := l.s.quantile(dist, l.seen, 0, false)
	// The share that stands above the error of measurement (Wiener's).
	share := 1 - square(o.NoiseEV/o.ScatterEV)
	w, h := l.w, l.h // the upright picture's shape
	if (o.W > o.H) != (w > h) {
		w, h = h, w
	}
	ev := make([][]float32, len(fast))
	for t, f := range fast {
		gain := min(max(-f*share, -localLimit), localLimit)
		if math.Abs(gain) < 0.001 {
			continue
		}
		ev[t] = make([]float32, 0, o.W*o.H)
		for y := range o.H {
			for x := range o.W {
				u, v := 2*(float64(x)+0.5)/float64(o.W)-1, 2*(float64(y)+0.5)/float64(o.H)-1
				e := gain * (radial(u, v, w, h) - zero)
				ev[t] = append(ev[t], float32(math.Round(e*2000)/2000)) // short as text
			}
		}
	}
	return ev
}
