package deflicker

import (
	"math"

	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// join finds the curve x that fits all comparisons best:
//
//	minimise sum over links of ((x[to] - x[from] - ev) / s)^2
//
// with s growing with the spread of the link's cells. Frames that no link
// reaches are tied to the measured frame before by the mean luminance lum,
// with hardly any weight, so that pieces of a sequence keep their distance.
// Frames with lum NaN come out NaN. The curve starts at 0.
func join(lum []float64, links []link) (x []float64) {
	n := len(lum)
	x = make([]float64, n)
	if n == 0 {
		return x
	}
	a := mat.NewSymBandDense(n, min(maxLag, n-1), nil)
	b := mat.NewDense(n, 1, nil)
	add := func(i, j int, ev, w float64) { // x[j] - x[i] = ev
		a.SetSymBand(i, i, a.At(i, i)+w)
		a.SetSymBand(j, j, a.At(j, j)+w)
		a.SetSymBand(i, j, a.At(i, j)-w)
		b.Set(i, 0, b.At(i, 0)-w*ev)
		b.Set(j, 0, b.At(j, 0)+w*ev)
	}
	for _, l := range links {
		add(l.from, l.to, l.ev, l.weight())
	}
	// Weak ties: they hold pieces together that no link joins.
	start, last := -1, -1
	offset := make([]float64, n) // to the piece before, where that is farther away than maxLag
	for t := range lum {
		offset[t] = math.NaN()
		if math.IsNaN(lum[t]) {
			a.SetSymBand(t, t, 1)
			continue
		}
		if last < 0 {
			start = t
		} else if d := lum[t] - lum[last]; t-last <= maxLag {
			add(last, t, d, weakTie)
		} else {
			a.SetSymBand(t, t, a.At(t, t)+weakTie)
			offset[t] = d
		}
		last = t
	}
	if start >= 0 {
		a.SetSymBand(start, start, a.At(start, start)+weakTie)
	}
	upper, ok := lapack64.Pbtrf(a.RawSymBand())
	if !ok {
		copy(x, lum)
		return x
	}
	lapack64.Pbtrs(upper, b.RawMatrix())
	mat.Col(x, 0, b)
	stitch(x, lum, offset, start)
	return x
}

// weakTie is the weight of a tie by mean luminance; links weigh 1 to 1e6.
const weakTie = 1e-4

func (l link) weight() float64 {
	s := 0.001 + 0.1*l.spread
	return 1 / (s * s)
}

// stitch moves each piece after a long hole to its distance by luminance,
// starts the curve at 0 and marks the frames without measurement.
func stitch(x, lum, offset []float64, start int) {
	var shift, last float64
	if start >= 0 {
		shift = -x[start]
	}
	for t := range x {
		if math.IsNaN(lum[t]) {
			x[t] = math.NaN()
			continue
		}
		if !math.IsNaN(offset[t]) {
			shift = last + offset[t] - x[t]
		}
		x[t] += shift
		last = x[t]
	}
}
