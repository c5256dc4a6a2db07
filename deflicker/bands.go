package deflicker

import (
	"math"
	"slices"
)

const (
	// Bands of lamps on the mains: a rolling shutter of 4 to 100 ms shows 0.4
	// to 12 halves of their cycle; below one they cannot be told from a lens.
	fewestBands, mostBands, bandStep = 1.0, 12.0, 0.05
	// leastBands is the amplitude, EV rms, that is left alone.
	leastBands = 0.015
	// bandPeriod is the period, frames, of the slowest change of a line that is
	// taken for bands: what is slower is the scene.
	bandPeriod = 400
	// bandShare is the share of what changes from line to line that one wave
	// must explain, and bandTurn how much of its lesser phase there must be: a
	// shutter that runs free of the mains meets every phase, a lens only one.
	bandShare, bandTurn = 0.8, 0.5
)

// bandMeter gathers how lines of cells change against the whole picture, along
// the stored picture's rows and columns.
type bandMeter struct {
	w, h  int
	links [2][][]link // by direction and line
}

// compare notes each line's change, of cells of which each changed by change EV
// with a weight, less the whole picture's g.
func (b *bandMeter) compare(c *view, change, weight []float32, g link) {
	if b.w == 0 {
		b.w, b.h = c.w, c.h
		b.links = [2][][]link{make([][]link, b.h), make([][]link, b.w)}
	}
	if b.w != c.w || b.h != c.h {
		return
	}
	reach := float32(1 / (biweightReach * max(g.spread, 0.02)))
	sums := [2][2][]float64{{make([]float64, b.h), make([]float64, b.h)}, {make([]float64, b.w), make([]float64, b.w)}}
	for i, w := range weight {
		e := change[i] - float32(g.ev)
		u := e * reach
		if w <= 0 || u*u >= 1 {
			continue
		}
		k := float64(w * (1 - u*u) * (1 - u*u))
		for d, line := range [2]int{i / b.w, i % b.w} {
			sums[d][0][line] += k * float64(e)
			sums[d][1][line] += k
		}
	}
	for d := range sums {
		for line, total := range sums[d][1] {
			if total > 0 {
				b.links[d][line] = append(b.links[d][line], link{from: g.from, to: g.to, ev: sums[d][0][line] / total, spread: g.spread})
			}
		}
	}
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
		for line := range b.links[d] {
			b.links[d][line] = append(b.links[d][line], q.links[d][line]...)
		}
	}
}

// solve finds the wave that the lines of one direction follow, frame by frame,
// and gives what takes it away: one value a line and frame; nil where there is
// none. count is how many bands the picture has, amplitude their rms in EV.
func (b *bandMeter) solve(d int, lum []float64) (add [][]float64, count, amplitude float64) {
	n, frames := len(b.links[d]), len(lum)
	if n < 12 || frames < leastLocalFrames {
		return nil, 0, 0
	}
	level, w := make([]float64, frames), make([]float64, frames)
	for t := range lum {
		level[t] = 0 * lum[t]
		if !math.IsNaN(lum[t]) {
			w[t] = 1
		}
	}
	at := make([][]float64, frames) // by frame and line
	for t := range at {
		at[t] = make([]float64, n)
	}
	for line, links := range b.links[d] {
		y, _ := join(level, links)
		slow := smooth(y, w, lines(bandPeriod))
		for t := range y {
			if w[t] > 0 {
				at[t][line] = y[t] - slow[t]
			}
		}
	}
	total := 0.0
	for t := range at {
		m := sum(at[t]) / float64(n)
		for line := range at[t] {
			at[t][line] -= m
			total += square(at[t][line])
		}
	}
	best, wave := 0.0, [2][]float64{}
	for f := fewestBands; f <= mostBands; f += bandStep {
		basis := waveOf(f, n)
		var power [2]float64
		for t := range at {
			for k := range basis {
				power[k] += square(dot(at[t], basis[k]))
			}
		}
		if p := power[0] + power[1]; p > best && min(power[0], power[1]) > bandTurn*max(power[0], power[1]) {
			best, wave, count = p, basis, f
		}
	}
	amplitude = math.Sqrt(best / float64(n*frames))
	if best < bandShare*total || !(amplitude >= leastBands) {
		return nil, 0, 0
	}
	for t := range at {
		p, q := dot(at[t], wave[0]), dot(at[t], wave[1])
		for line := range at[t] {
			at[t][line] = -p*wave[0][line] - q*wave[1][line]
		}
	}
	return at, count, amplitude
}

// waveOf is an orthonormal basis of waves of f periods over n lines, without
// their means.
func waveOf(f float64, n int) (basis [2][]float64) {
	for k := range basis {
		v := make([]float64, n)
		for i := range v {
			v[i] = math.Sin(2*math.Pi*f*(float64(i)+0.5)/float64(n) + float64(k)*math.Pi/2)
		}
		m := sum(v) / float64(n)
		for i := range v {
			v[i] -= m
		}
		if k == 1 {
			p := dot(v, basis[0])
			for i := range v {
				v[i] -= p * basis[0][i]
			}
		}
		size := math.Sqrt(dot(v, v))
		for i := range v {
			v[i] /= size
		}
		basis[k] = v
	}
	return basis
}

func dot(a, b []float64) (s float64) {
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

// local is the correction of bands as fields over the upright picture, for
// EXIF orientation 1 to 8; ok is false where there are none.
func (b *bandMeter) local(lum []float64, orientation int) (l Local, ok bool) {
	for d := range b.links {
		add, count, amplitude := b.solve(d, lum)
		if add == nil {
			continue
		}
		// Stored rows and columns as they lie upright (CIPA DC-008, tag 0x0112).
		back := [2]string{"3467", "2378"}[d]
		upright := (d == 1) != (orientation >= 5)
		l = Local{Use: true, ScatterEV: amplitude, NoiseEV: math.NaN(), Bands: count}
		l.W, l.H = 1, len(b.links[d])
		if upright {
			l.W, l.H = l.H, l.W
		}
		l.EV = make([][]float32, len(add))
		for t, lines := range add {
			if orientation > 0 && slices.Contains([]byte(back), byte('0'+orientation)) {
				slices.Reverse(lines)
			}
			for _, e := range lines {
				l.EV[t] = append(l.EV[t], float32(math.Round(min(max(e, -localLimit), localLimit)*2000)/2000))
			}
		}
		return l, true
	}
	return l, false
}

func sum(v []float64) (s float64) {
	for _, x := range v {
		s += x
	}
	return s
}
