package timing

import "math"

// widestLine returns, over all intervals, the widest range of start moments
// that puts every stamp of the piece within its tick, widened on both sides
// by slack. A negative width means that no
// line passes through all stamps. Width as a function of the interval p,
//
//	w(p) = min(q_i + tick - p x_i) - max(q_i - p x_i) + 2 slack,
//
// is concave, so a golden-section search finds its top.
func (g *grid) widestLine(from, to int, slack float64) (width float64) {
	reach := 8 * (g.tick + g.slack) / float64(max(2, to-from))
	f := func(p float64) float64 { return g.startRange(from, to, p) }
	p := concaveTop(f, g.p-reach, g.p+reach)
	return f(p) + 2*slack
}

// startRange is w(p) above without slack: how far the start moment may move
// when the interval is p.
func (g *grid) startRange(from, to int, p float64) float64 {
	lo, hi := math.Inf(-1), math.Inf(1)
	for i := from; i < to; i++ {
		if !g.out[i] {
			r := g.t[i] - p*float64(g.slot[i])
			lo = max(lo, r)
			hi = min(hi, r)
		}
	}
	return hi + g.tick - lo
}

// bounded narrows the interval by what floored stamps allow: every moment
// lies within its tick, so only intervals for which each piece has a start
// moment are possible, and each is as likely as its range of start moments is
// wide. Mean and standard deviation of that distribution are returned. ok is
// false when scatter leaves no possible interval.
//
// Least squares alone is too sure of itself here: at 5.0003 s every step of
// 300 is stamped 5 s and its residuals are nil.
func (g *grid) bounded() (mean, sd float64, ok bool) {
	var shots int
	narrowest := func(p float64) float64 {
		w := math.Inf(1)
		for k := range g.piece {
			w = min(w, g.startRange(g.piece[k], g.pieceEnd(k), p))
		}
		return w
	}
	for k := range g.piece {
		shots = max(shots, g.pieceEnd(k)-g.piece[k])
	}
	reach := 4 * g.tick / float64(max(2, shots))
	top := concaveTop(narrowest, g.p-reach, g.p+reach)
	if !(narrowest(top) > 1e-9*g.tick) {
		return 0, 0, false
	}
	lo := lastPositive(narrowest, top, top-4*reach)
	hi := lastPositive(narrowest, top, top+4*reach)

	const steps = 200
	var w0, w1, w2 float64
	for i := range steps {
		p := lo + (hi-lo)*(float64(i)+0.5)/steps
		w := 1.0
		for k := range g.piece {
			w *= max(0, g.startRange(g.piece[k], g.pieceEnd(k), p)) / g.tick
		}
		d := p - top
		w0 += w
		w1 += w * d
		w2 += w * d * d
	}
	if w0 == 0 {
		return 0, 0, false
	}
	m := w1 / w0
	return top + m, math.Sqrt(max(0, w2/w0-m*m)), true
}

// concaveTop is where the concave f is largest in lo to hi, by golden section.
func concaveTop(f func(float64) float64, lo, hi float64) float64 {
	const golden = 0.6180339887498949
	a, b := hi-golden*(hi-lo), lo+golden*(hi-lo)
	fa, fb := f(a), f(b)
	for range 60 {
		if fa < fb {
			lo, a, fa = a, b, fb
			b = lo + golden*(hi-lo)
			fb = f(b)
		} else {
			hi, b, fb = b, a, fa
			a = hi - golden*(hi-lo)
			fa = f(a)
		}
	}
	return (lo + hi) / 2
}

// lastPositive is the point nearest to far at which f, positive at near and
// falling towards far, is still positive.
func lastPositive(f func(float64) float64, near, far float64) float64 {
	for range 50 {
		mid := (near + far) / 2
		if f(mid) > 0 {
			near = mid
		} else {
			far = mid
		}
	}
	return near
}

// cadence is the outcome of one grid.
type cadence struct {
	p, sd, jitter float64
	rho           float64 // correlation of neighbouring residuals
}

// interval is the fitted interval with its standard deviation, and the jitter.
func (g *grid) interval() cadence {
	var n, rss, sxx, lag float64
	for k := range g.piece {
		m := g.pieceSums(g.piece[k], g.pieceEnd(k))
		sxx += m.sxx
		var before float64
		for i := g.piece[k]; i < g.pieceEnd(k); i++ {
			if g.out[i] {
				continue
			}
			e := g.residual(i) + g.tick/2 - g.level[k]
			n++
			rss += e * e
			lag += e * before
			before = e
		}
	}
	quantum := g.tick * g.tick / 12
	free := max(1, n-1-float64(len(g.piece)))
	c := cadence{p: g.p, jitter: math.Sqrt(max(0, rss/free-quantum))}
	if mean, sd, ok := g.bounded(); ok {
		c.p, c.sd, c.jitter = mean, sd, 0
		g.p = mean
		g.relevel()
		return c
	}
	variance := max(rss/free, quantum)
	c.rho = min(lag/max(rss, 1e-30), 0.95)
	if c.rho > 0 {
		variance *= (1 + c.rho) / (1 - c.rho)
	}
	c.sd = math.Sqrt(variance/sxx + g.resonance(c.jitter, n))
	return c
}

// relevel sets each level anew for a given interval.
func (g *grid) relevel() {
	for k := range g.piece {
		if m := g.pieceSums(g.piece[k], g.pieceEnd(k)); m.n > 0 {
			g.level[k] = m.y - g.p*m.x + g.tick/2
		}
	}
}

// resonance is the variance that rounding adds when the interval is close to a
// simple fraction a/q of the tick: rounding errors then run in step instead of
// cancelling. Their amplitude is tick/q and scatter smooths it by
// exp(-2 pi^2 (jitter/tick)^2), the first Fourier term of rounding under
// Gaussian scatter.
func (g *grid) resonance(jitter, n float64) float64 {
	rel := jitter / g.tick
	damp := math.Exp(-2 * math.Pi * math.Pi * rel * rel)
	var v float64
	for q := 1.0; q <= 4; q++ {
		f := g.p / g.tick * q
		cycles := max(1, n*math.Abs(f-math.Round(f)))
		a := 0.6 * damp * g.tick / (q * n * cycles)
		v += a * a
	}
	return v
}
