package deflicker

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// maxSmooth is the longest smoothing period, frames: beyond it the penalty
// leaves double precision no room.
const maxSmooth = 2000

// penalty is the weight lambda of a penalised least-squares fit with second
// differences at which a wave of period frames keeps half its height: its
// frequency response is 1 / (1 + lambda (2 sin(pi f))^4), f in cycles a frame.
func penalty(period float64) float64 {
	s := 2 * math.Sin(math.Pi/min(max(period, 2), maxSmooth))
	return math.Pow(s, -4)
}

// smoother is the fit of a smooth line z to y (Whittaker's graduation):
//
//	minimise sum w[t] (y[t] - z[t])^2 + lambda sum (z[t-1] - 2 z[t] + z[t+1])^2
//
// It follows any straight line exactly up to both ends and lags nowhere.
type smoother struct {
	n  int
	ch mat.BandCholesky
}

// newSmoother prepares the fit for weights w; at least two must be above 0.
// ok is false when the weights leave it undetermined.
func newSmoother(w []float64, lambda float64) (s *smoother, ok bool) {
	n := len(w)
	a := mat.NewSymBandDense(n, min(2, n-1), nil)
	for t := range w {
		a.SetSymBand(t, t, w[t])
	}
	d := [3]float64{1, -2, 1}
	for t := 0; t+2 < n; t++ {
		for i := range 3 {
			for j := i; j < 3; j++ {
				a.SetSymBand(t+i, t+j, a.At(t+i, t+j)+lambda*d[i]*d[j])
			}
		}
	}
	s = &smoother{n: n}
	return s, s.ch.Factorize(a)
}

// solve returns z for right-hand sides wy = w*y, one a column.
func (s *smoother) solve(wy *mat.Dense) *mat.Dense {
	var z mat.Dense
	// A Condition error still leaves a usable solution.
	_ = s.ch.SolveTo(&z, wy)
	return &z
}

// smooth fits y with weights w; y is read only where w is above 0.
func smooth(y, w []float64, lambda float64) []float64 {
	z := make([]float64, len(y))
	s, ok := newSmoother(w, lambda)
	if !ok {
		copy(z, y)
		return z
	}
	wy := mat.NewDense(len(y), 1, nil)
	for t := range y {
		if w[t] > 0 {
			wy.Set(t, 0, w[t]*y[t])
		}
	}
	mat.Col(z, 0, s.solve(wy))
	return z
}
