package deflicker

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

const (
	// Bands of lamps on the mains: a rolling shutter of 4 to 100 ms shows 0.4
	// to 12 halves of their cycle; below one they cannot be told from a lens.
	fewestBands, mostBands, bandStep = 1.0, 12.0, 0.05
	// leastBands is the amplitude, EV rms, that is left alone.
	leastBands = 0.015
	// bandPeriod is the period, frames, of the slowest change of a line that is
	// taken for bands: what is slower (fog, thicker higher up) is the scene.
	bandPeriod = 60
	// bandShare is the share of what both halves of the picture show from line
	// to line that one wave must explain, and bandTurn how much of its lesser
	// phase there must be: a shutter that runs free of the mains meets every
	// phase, a lens only one.
	bandShare, bandTurn = 0.8, 0.5
	// bandAgree is the least correlation of the wave in both halves.
	bandAgree = 0.5
	// bandStrips part the picture in strips that count for one half and the
	// other in turn.
	bandStrips = 8
)

// Bands are those that lamps on the mains leave in the pictures of a shutter
// that runs down them.
type Bands struct {
	// Count is how many of them the picture has, ScatterEV their size, EV rms;
	// 0 where there are none.
	Count, ScatterEV float64
	// Use says whether they are to be evened out, by Fields.
	Use bool
	Fields
}

// bandMeter gathers how lines of cells change against the whole picture, along
// the stored picture's rows and columns, each in two halves. Lamps light both
// alike; what moves in the scene, a crowd say, does not.
type bandMeter struct {
	w, h  int
	links [2][2][][]link // by direction, half and line
	at    [2][]int       // by direction, line and half of each cell
	sum   []float64
	total []float64
	line  []float64
}

func (b *bandMeter) setSize(w, h int) {
	b.w, b.h = w, h
	for d, n := range [2]int{h, w} {
		for k := range b.links[d] {
			b.links[d][k] = make([][]link, n)
		}
		for i := range w * h {
			line, across, size := i/w, i%w, w
			if d == 1 {
				line, across, size = across, line, h
			}
			b.at[d] = append(b.at[d], line+n*(across*bandStrips/size%2))
		}
	}
}

// compare notes each line's change, of cells of which each changed by change EV
// with a weight, less the whole picture's g: what most cells of a line agree on,
// by Tukey's biweight about the line as it is known so far.
func (b *bandMeter) compare(c *view, change, weight []float32, g link) {
	if b.w == 0 {
		b.setSize(c.w, c.h)
	}
	if b.w != c.w || b.h != c.h {
		return
	}
	for d := range b.links {
		n := len(b.links[d][0])
		b.sum, b.total, b.line = zeroed(b.sum, 2*n), zeroed(b.total, 2*n), zeroed(b.line, 2*n)
		spread := max(g.spread, 0.02)
		for range 3 {
			spread = b.refine(b.at[d], change, weight, float32(g.ev), spread)
		}
		for j, total := range b.total {
			if total > 0 {
				b.links[d][j/n][j%n] = append(b.links[d][j/n][j%n], link{from: g.from, to: g.to, ev: b.line[j], spread: g.spread})
			}
		}
	}
}

// refine betters line by one step and returns how far cells usually lie off it.
func (b *bandMeter) refine(at []int, change, weight []float32, ev float32, spread float64) float64 {
	clear(b.sum)
	clear(b.total)
	reach := float32(1 / (biweightReach * spread))
	var off, all float64
	for i, w := range weight {
		j := at[i]
		e := change[i] - ev - float32(b.line[j])
		u := e * reach
		if w <= 0 || u*u >= 1 {
			continue
		}
		k := float64(w * (1 - u*u) * (1 - u*u))
		b.sum[j] += k * float64(e)
		b.total[j] += k
		off += k * math.Abs(float64(e))
		all += k
	}
	for j, total := range b.total {
		if total > 0 {
			b.line[j] += b.sum[j] / total
		}
	}
	return max(1.25*off/max(all, 1e-9), 0.005)
}

// append adds the comparisons of a later part.
func (b *bandMeter) append(q *bandMeter) {
	if b.w == 0 {
		*b = *q
		return
	}
	if b.w != q.w || b.h != q.h {
		return
	}
	for d := range b.links {
		for k := range b.links[d] {
			for line := range b.links[d][k] {
				b.links[d][k][line] = append(b.links[d][k][line], q.links[d][k][line]...)
			}
		}
	}
}

// wave is what takes the bands away that run along rows (d is 0) or columns of
// the stored picture: one value a frame and line, EV.
type wave struct {
	d                int
	add              [][]float64
	count, amplitude float64
}

// solve finds the wave that the lines follow, frame by frame; nil where there
// is none.
func (b *bandMeter) solve(level []float64) *wave {
	for d := range b.links {
		if w := b.along(d, level); w != nil {
			return w
		}
	}
	return nil
}

func (b *bandMeter) along(d int, level []float64) *wave {
	n, frames := len(b.links[d][0]), len(level)
	if n < 12 || frames < leastLocalFrames {
		return nil
	}
	var half [2][][]float64 // by frame and line
	for k := range half {
		half[k] = fastLines(b.links[d][k], level)
	}
	root, mean := trust(half)
	common := 0.0
	for t := range level {
		common += floats.Dot(half[0][t], half[1][t])
	}
	w := &wave{d: d}
	var best bandPower
	for f := fewestBands; f <= mostBands; f += bandStep {
		if p := powerOf(half, waveOf(f, root)); p.both > best.both && min(p.phase[0], p.phase[1]) > bandTurn*max(p.phase[0], p.phase[1]) {
			best, w.count = p, f
		}
	}
	w.amplitude = math.Sqrt(best.both / float64(n*frames))
	if best.both < bandShare*common || best.both < bandAgree*best.each || !(w.amplitude >= leastBands) {
		return nil
	}
	w.add = make([][]float64, frames)
	for t := range w.add {
		// Where bands lie unlike the picture's lights, its median is off by as much.
		w.add[t] = slices.Repeat([]float64{-mean[t]}, n)
	}
	// A lamp's light is no pure sine.
	first := waveOf(w.count, root)
	for _, basis := range [2][2][]float64{first, waveOf(2*w.count, root, first[:]...)} {
		p := powerOf(half, basis)
		if p.both < bandAgree*p.each {
			continue
		}
		// The share that stands above the error of measurement (Wiener's).
		share := 2 * p.both / (p.each + p.both)
		for t := range w.add {
			for _, v := range basis {
				size := share * (floats.Dot(half[0][t], v) + floats.Dot(half[1][t], v)) / 2
				for line := range v {
					w.add[t][line] -= size * v[line] / root[line]
				}
			}
		}
	}
	return w
}

// fastLines are what lines of given links do by frame and line, less what each
// does slowly.
func fastLines(links [][]link, level []float64) [][]float64 {
	at, w := make([][]float64, len(level)), make([]float64, len(level))
	for t := range at {
		at[t] = make([]float64, len(links))
		if !math.IsNaN(level[t]) {
			w[t] = 1
		}
	}
	for line, l := range links {
		y := join(level, l)
		slow := smooth(y, w, lines(bandPeriod))
		for t := range y {
			if w[t] > 0 {
				at[t][line] = y[t] - slow[t]
			}
		}
	}
	return at
}

// trust weighs lines by how well both halves agree about them, and takes off what
// all lines do, mean. It returns the roots of the weights, with which half is
// multiplied: the squares' mean is 1.
func trust(half [2][][]float64) (root, mean []float64) {
	root = make([]float64, len(half[0][0]))
	for line := range root {
		for t := range half[0] {
			root[line] += square(half[0][t][line]-half[1][t][line]) / float64(len(half[0]))
		}
	}
	least := max(0.1*new(scratch).quantile(root, ones(len(root)), 0, false), square(leastBands/10))
	total := 0.0
	for line := range root {
		root[line] = 1 / (root[line] + least)
		total += root[line]
	}
	for line := range root {
		root[line] = math.Sqrt(root[line] / total * float64(len(root)))
	}
	mean = make([]float64, len(half[0]))
	for _, at := range half {
		for t := range at {
			for line := range root {
				at[t][line] *= root[line]
			}
			m := floats.Dot(at[t], root) / float64(len(root))
			mean[t] += m / 2
			for line := range root {
				at[t][line] -= m * root[line]
			}
		}
	}
	return root, mean
}

// bandPower is the power of a wave: what both halves show, in all and by phase,
// in which the errors of either have no part, and the mean of what each shows.
type bandPower struct {
	both, each float64
	phase      [2]float64
}

func powerOf(half [2][][]float64, basis [2][]float64) (p bandPower) {
	for t := range half[0] {
		for k, v := range basis {
			x, y := floats.Dot(half[0][t], v), floats.Dot(half[1][t], v)
			p.phase[k] += x * y
			p.each += (x*x + y*y) / 2
		}
	}
	p.both = p.phase[0] + p.phase[1]
	return p
}

// waveOf is an orthonormal basis of waves of f periods over lines, times root,
// without their means and what of them others hold.
func waveOf(f float64, root []float64, others ...[]float64) (basis [2][]float64) {
	n := float64(len(root))
	for k := range basis {
		v := make([]float64, len(root))
		for i := range v {
			v[i] = root[i] * math.Sin(2*math.Pi*f*(float64(i)+0.5)/n+float64(k)*math.Pi/2)
		}
		m := floats.Dot(v, root) / n
		for i := range v {
			v[i] -= m * root[i]
		}
		for _, o := range others {
			p := floats.Dot(v, o)
			for i := range v {
				v[i] -= p * o[i]
			}
		}
		size := math.Sqrt(floats.Dot(v, v))
		for i := range v {
			v[i] /= size
		}
		basis[k] = v
		others = append(others[:len(others):len(others)], v)
	}
	return basis
}

// bands is the wave with its fields over the upright picture, for EXIF
// orientation 1 to 8; none for nil.
func (w *wave) bands(orientation int) (b Bands) {
	if w == nil {
		return b
	}
	// Stored rows and columns as they lie upright (CIPA DC-008, tag 0x0112).
	back := [2]string{"3467", "2378"}[w.d]
	b.Count, b.ScatterEV = w.count, w.amplitude
	b.W, b.H = 1, len(w.add[0])
	if (w.d == 1) != (orientation >= 5) {
		b.W, b.H = b.H, b.W
	}
	b.EV = make([][]float32, len(w.add))
	for t, lines := range w.add {
		lines = slices.Clone(lines)
		if orientation > 0 && slices.Contains([]byte(back), byte('0'+orientation)) {
			slices.Reverse(lines)
		}
		for _, e := range lines {
			b.EV[t] = append(b.EV[t], float32(math.Round(min(max(e, -localLimit), localLimit)*2000)/2000))
		}
	}
	return b
}
