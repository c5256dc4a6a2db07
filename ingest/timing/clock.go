package timing

import (
	"math"
	"slices"
)

// series is the shots that carry a time, with their places in the caller's
// slice. Times are rebased on the whole second of the first, so that single
// milliseconds survive the arithmetic.
type series struct {
	t     []float64 // stamps, seconds
	num   []int     // numbers, negative for none
	index []int
	base  float64
	tick  float64
}

func newSeries(shots []Shot) series {
	var s series
	for i, sh := range shots {
		if math.IsNaN(sh.T) || math.IsInf(sh.T, 0) {
			continue
		}
		if len(s.t) == 0 {
			s.base = math.Floor(sh.T)
		}
		s.t = append(s.t, sh.T-s.base)
		s.num = append(s.num, sh.Number)
		s.index = append(s.index, i)
	}
	s.tick = clockTick(s.t)
	return s
}

// part is the series from shot i to before j, with times still on s's base.
func (s series) part(i, j int) series {
	return series{t: s.t[i:j], num: s.num[i:j], index: s.index[i:j], base: s.base, tick: s.tick}
}

// numberStep is the step of the numbers from shot i to j.
func (s series) numberStep(i, j int) int { return numberStep(s.num[i], s.num[j]) }

// numberStep is the step from one file number to a later one, or 0 where they
// do not tell: there are none, or they do not rise.
func numberStep(from, to int) int {
	if from < 0 {
		return 0
	}
	return max(0, to-from)
}

// clockTick is the coarsest of the usual clock steps that all times are whole
// multiples of: 1, 0.1, 0.01 or 0.001 s. A camera that writes two digits but
// only ever fills the first has a tick of 0.1 s.
func clockTick(t []float64) float64 {
	for _, perSecond := range []float64{1, 10, 100} {
		whole := true
		for _, v := range t {
			x := v * perSecond
			if math.Abs(x-math.Round(x)) > 1e-5*perSecond {
				whole = false
				break
			}
		}
		if whole {
			return 1 / perSecond
		}
	}
	return 0.001
}

// rough is a first, robust idea of the cadence.
type rough struct {
	interval float64
	share    float64 // of the steps near the interval
	spread   float64 // sd of those steps over the interval, less the clock's
}

// roughInterval takes the middle of the densest two fifths of the steps,
// counted over so many frames that the clock's tick is small beside the
// interval: at 0.5 s on a whole-second clock single steps say nothing, steps
// over sixteen frames do. Steps across missing numbers are divided by the
// count of numbers. It needs at least two shots.
func (s series) roughInterval() rough {
	n := len(s.t)
	var p float64
	for lag := 1; lag < n; lag *= 2 {
		v := make([]float64, 0, n-lag)
		for i := 0; i+lag < n; i++ {
			v = append(v, (s.t[i+lag]-s.t[i])/float64(max(lag, s.numberStep(i, i+lag))))
		}
		p = denseMean(v, 0.4, s.tick/float64(lag))
		if s.tick/float64(lag) <= 0.2*p || 3*lag > n {
			break
		}
	}
	if !(p > 0) {
		return rough{}
	}
	var near int
	var sum, sum2 float64
	for i := 0; i+1 < n; i++ {
		k := float64(max(1, s.numberStep(i, i+1)))
		d := (s.t[i+1]-s.t[i])/k - p
		if math.Abs(d) <= 0.25*p+s.tick/k {
			near++
			sum += d
			sum2 += d * d
		}
	}
	m := float64(near)
	// A step of floored stamps takes two neighbouring values; their variance
	// is f(1-f) ticks squared, at most 1/4.
	variance := sum2/m - sum*sum/(m*m) - s.tick*s.tick/4
	return rough{p, m / float64(n-1), math.Sqrt(max(0, variance)) / p}
}

// denseMean finds the shortest interval that holds the given share of the
// values and returns the mean of all values no further than reach from its
// middle: a mode that ignores up to 1-share of strays. It sorts v.
func denseMean(v []float64, share, reach float64) float64 {
	slices.Sort(v)
	k := max(1, int(math.Ceil(share*float64(len(v)))))
	best := 0
	for i := 0; i+k <= len(v); i++ {
		if v[i+k-1]-v[i] < v[best+k-1]-v[best] {
			best = i
		}
	}
	lo, hi := v[best], v[best+k-1]
	middle := (lo + hi) / 2
	reach = max(reach, (hi-lo)/2) * (1 + 1e-9)
	var sum float64
	var m int
	for _, x := range v {
		if math.Abs(x-middle) <= reach {
			sum += x
			m++
		}
	}
	return sum / float64(m)
}
