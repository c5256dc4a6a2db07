package assemble

import "stillspan/deflicker"

// watch shows frames, small, on their way to the encoder.
type watch struct {
	w, h   int
	fn     func(i int, rgb []byte)
	n      int // frames shown
	rgb    []byte
	xs, ys []int // sample places of the clip, watchSamples a cell
	grid   *deflicker.Grid
	meter  func(i int, g *deflicker.Grid) // nil unless light is measured
	narrow *conversion
}

// watchSamples is how many samples of each row and column of a cell count
// towards its mean; all of them would cost as much as the correction.
const watchSamples = 4

// Watch has Run show every frame of the clip to fn just before it is encoded:
// w x h pixels of packed R'G'B', in order from 0; rgb is reused. It saves
// decoding the clip again to look at it. w and h must be above 0.
func (p *Pipeline) Watch(w, h int, fn func(i int, rgb []byte)) {
	p.watch = &watch{w: w, h: h, fn: fn, rgb: make([]byte, 3*w*h), narrow: p.narrow}
}

// Meter has Run hand the light of every frame that Watch shows to fn, before
// its dither: what deflicker.Meter takes; g is reused. Watch comes first.
func (p *Pipeline) Meter(fn func(i int, g *deflicker.Grid)) {
	v := p.watch
	n := v.w * v.h
	v.meter, v.grid = fn, &deflicker.Grid{W: v.w, H: v.h, Clip: make([]float64, n)}
	for c := range v.grid.Code {
		v.grid.Code[c] = make([]float64, n)
	}
}

// places spreads per places over each of n cells of a side.
func places(n, side, per int) []int {
	at := make([]int, n*per)
	for k := range at {
		at[k] = (2*k + 1) * side / (2 * len(at))
	}
	return at
}

func (v *watch) show(p picture) {
	if v.xs == nil {
		v.xs, v.ys = places(v.w, p.y.w, watchSamples), places(v.h, p.y.h, watchSamples)
	}
	sw, sh := p.y.w/p.cb.w, p.y.h/p.cb.h
	for cy := range v.h {
		for cx := range v.w {
			var y, cb, cr int
			for _, py := range v.ys[cy*watchSamples:][:watchSamples] {
				luma, blue, red := p.y.row(py), p.cb.row(py/sh), p.cr.row(py/sh)
				for _, px := range v.xs[cx*watchSamples:][:watchSamples] {
					y += int(luma[px])
					cb += int(blue[px/sw])
					cr += int(red[px/sw])
				}
			}
			const n = watchSamples * watchSamples
			v.pixel(cy*v.w+cx, float64(y)/n, float64(cb)/n, float64(cr)/n)
		}
	}
	v.fn(v.n, v.rgb)
	if v.meter != nil {
		v.meter(v.n, v.grid)
	}
	v.n++
}

// meteredFrom and meteredTo bound the codes that say something of exposure.
const meteredFrom, meteredTo = 0.03, 0.99

// pixel takes limited-range Y'CbCr to R'G'B' (ITU-R BT.709-6, items 3.2 to
// 3.4).
func (v *watch) pixel(i int, y, cb, cr float64) {
	y = (y - yBlack) / (219 << 8)
	cb, cr = (cb-cMid)/(224<<8), (cr-cMid)/(224<<8)
	r, b := y+1.5748*cr, y+1.8556*cb
	rgb := [3]float64{r, (y - 0.2126*r - 0.0722*b) / 0.7152, b}
	if v.narrow != nil {
		r, g, b := v.narrow.convert(float32(rgb[0]), float32(rgb[1]), float32(rgb[2]))
		rgb = [3]float64{float64(r) / 65535, float64(g) / 65535, float64(b) / 65535}
	}
	for c, x := range rgb {
		v.rgb[3*i+c] = byte(min(max(255*x+0.5, 0), 255))
	}
	if v.grid == nil {
		return
	}
	v.grid.Clip[i] = 0
	if top := max(rgb[0], rgb[1], rgb[2]); top >= meteredTo || top <= meteredFrom {
		v.grid.Clip[i] = 1
	}
	for c, x := range rgb {
		v.grid.Code[c][i] = min(max(x, 0), 1)
	}
}
