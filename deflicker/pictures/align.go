package pictures

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	// tileSide is the side of the tiles that vote on the movement, cells of Luma.
	tileSide = 20
	// edge is how far from the picture's edge nothing is compared.
	edge = 4
	// flatCode is the contrast, codes of Luma, below which a part counts as flat.
	flatCode = 2.5
)

// view is a still made ready to be laid over its neighbours: contrast against
// the surroundings in units of their own scatter, so that neither exposure nor
// the light of a part moves it.
type view struct {
	w, h   int
	c      []float32
	gx, gy []float32
	tiles  []tile
	across int
	coarse []complex128 // spectrum of the reduced view; nil until wanted
}

// tile is a part of a view with the structure tensor of its contrast.
type tile struct {
	x0, y0, x1, y1 int
	x, y           float64 // its middle, from that of the picture
	tensor
}

// tensor is a symmetric matrix: of a tile how its contrast is laid, and so which way
// it can tell a movement.
type tensor struct{ xx, xy, yy float64 }

// edge tells whether nearly all of a tile's structure runs one way, by the lesser
// eigenvalue of its tensor.
func (t tensor) edge() bool {
	trace := t.xx + t.yy
	return trace-math.Hypot(t.xx-t.yy, 2*t.xy) < 0.2*trace
}

// times is the product with a vector.
func (t tensor) times(x, y float64) (float64, float64) { return t.xx*x + t.xy*y, t.xy*x + t.yy*y }

// solved is the vector whose product with t is x, y.
func (t tensor) solved(x, y float64) (float64, float64) {
	det := t.xx*t.yy - t.xy*t.xy
	return (t.yy*x - t.xy*y) / det, (t.xx*y - t.xy*x) / det
}

// room is memory for making views.
type room struct{ smooth, square, mid, mean, second, sum []float32 }

// sized is s with n elements of any value, in its own memory where that is
// enough.
func sized[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// newView makes a view of s, in the memory of old where that is not nil; nil for
// a still too small to be laid over others.
func newView(s *Still, old *view, r *room) *view {
	w, h := s.W, s.H
	if w < 3*tileSide/2+2*edge || h < 3*tileSide/2+2*edge {
		return nil
	}
	v := old
	if v == nil {
		v = new(view)
	}
	v.w, v.h, v.tiles, v.coarse = w, h, v.tiles[:0], nil
	v.c, v.gx, v.gy = sized(v.c, w*h), sized(v.gx, w*h), sized(v.gy, w*h)
	r.smoothed(s.Luma, w, h)
	r.contrast(v.c, w, h)
	for y := 1; y < h-1; y++ {
		for x, i := 1, y*w+1; x < w-1; x, i = x+1, i+1 {
			v.gx[i] = (v.c[i+1] - v.c[i-1]) / 2
			v.gy[i] = (v.c[i+w] - v.c[i-w]) / 2
		}
	}
	v.across = max(1, (w-2*edge)/tileSide)
	down := max(1, (h-2*edge)/tileSide)
	for ty := range down {
		for tx := range v.across {
			t := tile{
				x0: edge + tx*(w-2*edge)/v.across, x1: edge + (tx+1)*(w-2*edge)/v.across,
				y0: edge + ty*(h-2*edge)/down, y1: edge + (ty+1)*(h-2*edge)/down,
			}
			t.x, t.y = float64(t.x0+t.x1-w)/2, float64(t.y0+t.y1-h)/2
			for y := t.y0; y < t.y1; y++ {
				var xx, xy, yy float32
				for i := y*w + t.x0; i < y*w+t.x1; i++ {
					xx, xy, yy = xx+v.gx[i]*v.gx[i], xy+v.gx[i]*v.gy[i], yy+v.gy[i]*v.gy[i]
				}
				t.xx, t.xy, t.yy = t.xx+float64(xx), t.xy+float64(xy), t.yy+float64(yy)
			}
			v.tiles = append(v.tiles, t)
		}
	}
	return v
}

// smoothed leaves in r.smooth what 1 2 1 both ways makes of in; the outermost
// cells stay.
func (r *room) smoothed(in []uint8, w, h int) {
	r.mid, r.smooth = sized(r.mid, w*h), sized(r.smooth, w*h)
	mid, out := r.mid, r.smooth
	for y := range h {
		row, to := in[y*w:][:w], mid[y*w:][:w]
		to[0], to[w-1] = float32(row[0]), float32(row[w-1])
		for x := 1; x < w-1; x++ {
			to[x] = float32(int(row[x-1])+2*int(row[x])+int(row[x+1])) / 4
		}
	}
	copy(out[:w], mid)
	copy(out[w*(h-1):], mid[w*(h-1):])
	for i := w; i < w*(h-1); i++ {
		out[i] = (mid[i-w] + 2*mid[i] + mid[i+w]) / 4
	}
}

// contrast makes of r.smooth each value less the mean of its surroundings, over
// their standard deviation.
func (r *room) contrast(out []float32, w, h int) {
	v := r.smooth
	r.square, r.mean, r.second = sized(r.square, len(v)), sized(r.mean, len(v)), sized(r.second, len(v))
	for i, x := range v {
		r.square[i] = x * x
	}
	side := max(4, max(w, h)/20)
	r.boxed(r.mean, v, w, h, side)
	r.boxed(r.second, r.square, w, h, side)
	for i, x := range v {
		spread := max(0, r.second[i]-r.mean[i]*r.mean[i])
		out[i] = (x - r.mean[i]) / float32(math.Sqrt(float64(spread+flatCode*flatCode)))
	}
}

// boxed gives the mean over the square of 2d+1 cells about each, as far as it
// lies within.
func (r *room) boxed(out, v []float32, w, h, d int) {
	mid := sized(r.mid, len(v))
	for y := range h {
		row, to := v[y*w:][:w], mid[y*w:][:w]
		sum, n := float32(0), 0
		for x := range min(d, w) {
			sum, n = sum+row[x], n+1
		}
		for x := range to {
			if x+d < w {
				sum, n = sum+row[x+d], n+1
			}
			if x-d > 0 {
				sum, n = sum-row[x-d-1], n-1
			}
			to[x] = sum / float32(n)
		}
	}
	r.sum = sized(r.sum, w)
	sum, n := r.sum, 0
	clear(sum)
	add := func(y int, sign float32) {
		for x, m := range mid[y*w:][:w] {
			sum[x] += sign * m
		}
	}
	for y := range min(d, h) {
		add(y, 1)
		n++
	}
	for y := range h {
		if y+d < h {
			add(y+d, 1)
			n++
		}
		if y-d > 0 {
			add(y-d-1, -1)
			n--
		}
		k := 1 / float32(n)
		for x, to := 0, out[y*w:][:w]; x < w; x++ {
			to[x] = sum[x] * k
		}
	}
}

// shift is by how much a picture's content moved, cells of Luma, right and down,
// and turned about the picture's middle, radians clockwise; and how well what moved
// agrees: the share of the textured tiles that went along.
type shift struct{ x, y, turn, good float64 }

// at is by how much it moves what lies at x, y from the middle.
func (d *shift) at(x, y float64) (float64, float64) {
	if d.turn == 0 {
		return d.x, d.y
	}
	sin, cos := math.Sincos(d.turn)
	return d.x + (cos-1)*x - sin*y, d.y + (cos-1)*y + sin*x
}

// normal are the normal equations of the movement, and of the turn, that many parts
// of a picture tell.
type normal struct {
	tensor
	xt, yt, tt float64
	ex, ey, et float64
}

// add counts what lies at x, y from the middle: t times its movement is ex, ey.
func (n *normal) add(weight, x, y float64, t tensor, ex, ey float64) {
	n.xx, n.xy, n.yy = n.xx+weight*t.xx, n.xy+weight*t.xy, n.yy+weight*t.yy
	kx, ky := t.times(-y, x)
	n.xt, n.yt, n.tt = n.xt+weight*kx, n.yt+weight*ky, n.tt+weight*(x*ky-y*kx)
	n.ex, n.ey, n.et = n.ex+weight*ex, n.ey+weight*ey, n.et+weight*(x*ey-y*ex)
}

// shift is the movement of least squares, with a turn where turns is set; false where
// it is not told.
func (n *normal) shift(turns bool) (d shift, ok bool) {
	trace := n.xx + n.yy
	if !(n.xx*n.yy-n.xy*n.xy > 1e-6*trace*trace) {
		return d, false
	}
	d.x, d.y = n.solved(n.ex, n.ey)
	if !turns {
		return d, true
	}
	kx, ky := n.solved(n.xt, n.yt)
	left := n.tt - kx*n.xt - ky*n.yt
	if !(left > 1e-6*n.tt) {
		return d, false
	}
	d.turn = (n.et - d.x*n.xt - d.y*n.yt) / left
	d.x, d.y = d.x-d.turn*kx, d.y-d.turn*ky
	return d, true
}

// tileFit is how tile i of one view lies on another, moved.
type tileFit struct {
	x, y    float64 // what is left to move by; the whole movement once refined
	match   float64 // correlation, 0 to 1
	texture float64
	ex, ey  float64
}

// fits lays b, moved by d, over a. A tile is small enough not to be turned itself.
func (a *view) fits(b *view, d shift, out []tileFit) {
	w := a.w
	for i := range a.tiles {
		t, f := &a.tiles[i], &out[i]
		*f = tileFit{}
		dx, dy := d.at(t.x, t.y)
		ix, iy := math.Floor(dx), math.Floor(dy)
		fx, fy := float32(dx-ix), float32(dy-iy)
		off := int(iy)*w + int(ix)
		k00, k10, k01, k11 := (1-fx)*(1-fy), fx*(1-fy), (1-fx)*fy, fx*fy
		x0, x1 := max(t.x0, 1-int(ix)), min(t.x1, w-2-int(ix))
		y0, y1 := max(t.y0, 1-int(iy)), min(t.y1, a.h-2-int(iy))
		if 2*(x1-x0)*(y1-y0) < (t.x1-t.x0)*(t.y1-t.y0) || x1 <= x0 || y1 <= y0 {
			continue
		}
		var ex, ey, aa, bb, ab float64
		for y := y0; y < y1; y++ {
			n := x1 - x0
			at := y*w + x0
			ca, gx, gy := a.c[at:][:n], a.gx[at:][:n], a.gy[at:][:n]
			top, low := b.c[at+off:][:n+1], b.c[at+off+w:][:n+1]
			var sx, sy, saa, sbb, sab float32
			for x, va := range ca {
				vb := k00*top[x] + k10*top[x+1] + k01*low[x] + k11*low[x+1]
				e := va - vb
				sx += gx[x] * e
				sy += gy[x] * e
				saa += va * va
				sbb += vb * vb
				sab += va * vb
			}
			ex, ey, aa, bb, ab = ex+float64(sx), ey+float64(sy), aa+float64(saa), bb+float64(sbb), ab+float64(sab)
		}
		f.ex, f.ey = ex, ey
		ridge := 0.02*(t.xx+t.yy) + 1e-3
		f.x, f.y = tensor{t.xx + ridge, t.xy, t.yy + ridge}.solved(ex, ey)
		f.match = max(0, ab/math.Sqrt(aa*bb+1e-9))
		f.texture = aa / float64((x1-x0)*(y1-y0))
	}
}

// refine moves d until the tiles agree, and turns it where turns is set: Gauss-Newton
// steps on all tiles' squared differences, each weighted by how well it fits and how
// near its own movement is to that of the others (Lucas and Kanade 1981, with
// M-estimation over tiles). fit is how the tiles lie in the end, their movements
// counted from a.
func (a *view) refine(b *view, d shift, fit []tileFit, turns bool) shift {
	limit := float64(max(a.w, a.h)) / 3
	at := d
	for step := range 6 {
		at = d
		a.fits(b, d, fit)
		by, ok := a.voted(fit, step == 0, turns)
		if !ok {
			return shift{x: d.x, y: d.y}
		}
		// e is va - vb: content that lies further right in b makes it along -g.
		n := math.Hypot(by.x, by.y)
		if n > 1.5 {
			by.x, by.y = 1.5*by.x/n, 1.5*by.y/n
		}
		d.x, d.y, d.turn = d.x+by.x, d.y+by.y, d.turn+by.turn
		if math.Abs(d.x) > limit || math.Abs(d.y) > limit || math.Abs(d.turn) > mostTurn {
			return shift{x: d.x, y: d.y}
		}
		if n+math.Abs(by.turn)*limit < 0.004 {
			break
		}
	}
	d.good = a.agreement(fit)
	for i := range fit {
		x, y := at.at(a.tiles[i].x, a.tiles[i].y)
		fit[i].x, fit[i].y = fit[i].x+x, fit[i].y+y
	}
	return d
}

// voted is the movement that most tiles want; of the first step none is sure.
func (a *view) voted(fit []tileFit, first, turns bool) (by shift, ok bool) {
	scale := 2.0
	for range 3 {
		var n normal
		for i, t := range a.tiles {
			f := &fit[i]
			x, y := by.at(t.x, t.y)
			rx, ry := f.x-x, f.y-y
			// Along an edge a tile cannot tell where it went.
			tx, ty := t.times(rx, ry)
			r2 := 2 * (rx*tx + ry*ty) / (t.xx + t.yy + 1e-9)
			w := f.match * f.match / ((1 + r2/(scale*scale)) * (1 + r2/(scale*scale)))
			if first {
				w += 0.01
			}
			n.add(w, t.x, t.y, t.tensor, f.ex, f.ey)
		}
		if by, ok = n.shift(turns); !ok {
			return by, false
		}
		scale = max(0.15, scale/3)
	}
	return by, true
}

// agreement is the share of the textured tiles that lie on each other.
func (a *view) agreement(fit []tileFit) float64 {
	good, all := 0.0, 0.0
	for i := range fit {
		f := &fit[i]
		if f.texture < flatTile {
			continue
		}
		all++
		if r := math.Hypot(f.x, f.y); r < 0.5 {
			good += f.match
		}
	}
	if all < 3 {
		return 0
	}
	return good / all
}

const (
	// flatTile is the contrast below which a tile says nothing.
	flatTile = 0.1
	// sure is the agreement from which no other movement is looked for, poor that
	// up to which none is believed.
	sure = 0.6
	poor = 0.22
	// found is what a movement that nothing led to expect has to reach.
	found = 0.3
	// mostTurn is how far a picture turns at most, radians, and turnGain how much
	// better it has to fit for that.
	mostTurn, turnGain = 0.15, 0.05
)

// align is how b's content lies against a's; from is a guess. good below poor
// says that the two do not show the same.
func (a *view) align(b *view, from shift) (shift, []tileFit) {
	if a == nil || b == nil || a.w != b.w || a.h != b.h {
		return shift{}, nil
	}
	fit, other := make([]tileFit, len(a.tiles)), make([]tileFit, len(a.tiles))
	from.turn = 0
	best := a.refine(b, from, fit, false)
	if best.good >= sure {
		return best, fit
	}
	guesses := append(a.peaks(b), shift{})
	for _, g := range guesses {
		if math.Hypot(g.x-best.x, g.y-best.y) < 0.7 && best.good > 0 {
			continue
		}
		// What was guessed by what came before has to be beaten clearly.
		if d := a.refine(b, g, other, false); d.good > max(1.3*best.good, found) {
			best, fit, other = d, other, fit
		}
	}
	if d := a.refine(b, best, other, true); d.good > best.good+turnGain {
		return d, other
	}
	return best, fit
}

// coarseSide is the side of the square that phases are compared on.
const coarseSide = 64

// spectrum is the Fourier transform of the view, reduced and tapered.
func (v *view) spectrum() []complex128 {
	if v.coarse != nil {
		return v.coarse
	}
	k := v.reduction()
	cw, ch := v.w/k, v.h/k
	f := make([]complex128, coarseSide*coarseSide)
	taper := func(i, n int) float64 { return 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n)) }
	for y := range ch {
		for x := range cw {
			sum := float32(0)
			for j := range k {
				for _, c := range v.c[(y*k+j)*v.w+x*k:][:k] {
					sum += c
				}
			}
			f[y*coarseSide+x] = complex(float64(sum)*taper(x, cw)*taper(y, ch), 0)
		}
	}
	transform(f, false)
	v.coarse = f
	return f
}

func (v *view) reduction() int { return (max(v.w, v.h) + coarseSide - 1) / coarseSide }

// transform is the Fourier transform of a square in place, or its inverse.
func transform(f []complex128, inverse bool) {
	plan := fourier.NewCmplxFFT(coarseSide)
	line := make([]complex128, coarseSide)
	run := func() {
		if inverse {
			plan.Sequence(line, line)
		} else {
			plan.Coefficients(line, line)
		}
	}
	for y := range coarseSide {
		copy(line, f[y*coarseSide:])
		run()
		copy(f[y*coarseSide:][:coarseSide], line)
	}
	for x := range coarseSide {
		for y := range coarseSide {
			line[y] = f[y*coarseSide+x]
		}
		run()
		for y := range coarseSide {
			f[y*coarseSide+x] = line[y]
		}
	}
}

// peaks are the likeliest movements by phase correlation (Kuglin and Hines 1975),
// of the reduced views.
func (a *view) peaks(b *view) []shift {
	fa, fb := a.spectrum(), b.spectrum()
	r := make([]complex128, len(fa))
	for i := range r {
		p := fb[i] * complex(real(fa[i]), -imag(fa[i]))
		n := math.Hypot(real(p), imag(p))
		if n > 1e-9 {
			r[i] = p / complex(n, 0)
		}
	}
	transform(r, true)
	k := float64(a.reduction())
	var out []shift
	for range 3 {
		at := 0
		for i := range r {
			if real(r[i]) > real(r[at]) {
				at = i
			}
		}
		x, y := at%coarseSide, at/coarseSide
		for j := -1; j <= 1; j++ {
			for i := -1; i <= 1; i++ {
				r[(y+j+coarseSide)%coarseSide*coarseSide+(x+i+coarseSide)%coarseSide] = complex(math.Inf(-1), 0)
			}
		}
		sx, sy := float64(x), float64(y)
		if x > coarseSide/2 {
			sx -= coarseSide
		}
		if y > coarseSide/2 {
			sy -= coarseSide
		}
		out = append(out, shift{x: k * sx, y: k * sy})
	}
	return out
}

// medianOf is the median of v, which is sorted by it; NaN of none.
func medianOf(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	if n := len(v); n%2 == 0 {
		return (v[n/2-1] + v[n/2]) / 2
	}
	return v[len(v)/2]
}
