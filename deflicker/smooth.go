package deflicker

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// maxSmooth is the longest smoothing period, frames: beyond it the penalty
// leaves double precision no room.
const maxSmooth = 2000

// penalty is what keeps a penalised least-squares fit smooth: lambda times the
// squared differences of the given order.
type penalty struct {
	order  int
	lambda float64
}

// lines is the penalty on second differences, which leaves straight lines
// alone, at which a wave of period frames keeps half its height: its frequency
// response is 1 / (1 + lambda (2 sin(pi f))^4), f in cycles a frame.
func lines(period float64) penalty { return halving(2, period) }

// parabolas is the same on third differences, which leaves parabolas alone and
// parts periods more sharply: a wave of 0.7 periods keeps a tenth, one of 1.4
// nine tenths. Beyond sharpest frames it would leave double precision no room,
// and lines take its place.
func parabolas(period float64) penalty {
	if period > sharpest {
		return lines(period)
	}
	return halving(3, period)
}

const sharpest = 400

func halving(order int, period float64) penalty {
	s := 2 * math.Sin(math.Pi/min(max(period, 2), maxSmooth))
	return penalty{order, math.Pow(s, -2*float64(order))}
}

// passes is the share of a wave of frequency f, cycles a frame, that is kept.
func (p penalty) passes(f float64) float64 {
	return 1 / (1 + p.lambda*math.Pow(2*math.Sin(math.Pi*f), 2*float64(p.order)))
}

// difference is the difference of an order, as weights of neighbours.
var difference = map[int][]float64{2: {1, -2, 1}, 3: {-1, 3, -3, 1}}

// smoother is the fit of a smooth line z to y (Whittaker's graduation):
//
//	minimise sum w[t] (y[t] - z[t])^2 + lambda sum (difference of z at t)^2
//
// It follows any straight line, or parabola, exactly up to both ends and lags
// nowhere.
type smoother struct {
	n int
	// upper is the Cholesky factor. mat.BandCholesky would also estimate its
	// condition, which takes time by the square of n.
	upper blas64.TriangularBand
}

// newSmoother prepares the fit for weights w; at least as many as the order
// must be above 0. ok is false when the weights leave it undetermined.
func newSmoother(w []float64, p penalty) (s *smoother, ok bool) {
	n := len(w)
	a := mat.NewSymBandDense(n, min(p.order, n-1), nil)
	for t := range w {
		a.SetSymBand(t, t, w[t])
	}
	d := difference[p.order]
	for t := 0; t+p.order < n; t++ {
		for i := range d {
			for j := i; j < len(d); j++ {
				a.SetSymBand(t+i, t+j, a.At(t+i, t+j)+p.lambda*d[i]*d[j])
			}
		}
	}
	s = &smoother{n: n}
	s.upper, ok = lapack64.Pbtrf(a.RawSymBand())
	return s, ok
}

// solve returns z for right-hand sides wy = w*y, one a column.
func (s *smoother) solve(wy *mat.Dense) *mat.Dense {
	z := mat.DenseCopyOf(wy)
	lapack64.Pbtrs(s.upper, z.RawMatrix())
	return z
}

// line is z for y with the weights w that the fit was prepared for; y is read
// only where w is above 0.
func (s *smoother) line(y, w []float64) []float64 {
	wy := mat.NewDense(len(y), 1, nil)
	for t := range y {
		if w[t] > 0 {
			wy.Set(t, 0, w[t]*y[t])
		}
	}
	return mat.Col(nil, 0, s.solve(wy))
}

// smooth fits y with weights w; y is read only where w is above 0.
func smooth(y, w []float64, p penalty) []float64 {
	s, ok := newSmoother(w, p)
	if !ok {
		return append([]float64(nil), y...)
	}
	return s.line(y, w)
}
