package account

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The interval told of a shoot whose true interval is known: within four of the
// deviations it states, and within what least squares leave of the clock's grain
// and the scatter (the deviation of a slope through n places with errors of
// deviation s is s sqrt(12/n^3); Gauss 1823). No drift is to be read from whole
// seconds where there is none.
func TestIntervalAccuracy(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 61))
	for _, c := range []struct {
		interval, grain, scatter float64
		frames                   int
	}{
		{3, 1, 0, 61}, {3, 1, 0.02, 61}, {3, 1, 0.1, 61}, {3.0002, 1, 0.02, 61}, {5, 1, 0.05, 300}, {5.0003, 1, 0, 300}, {2, 1, 0.3, 61},
		{1.3, 1, 0.01, 200}, {0.5, 0.01, 0.005, 100}, {10, 0.1, 0.03, 30}, {7.77, 0.001, 0.02, 500}, {1800, 1, 2, 48}, {0.7, 1, 0.01, 400},
	} {
		const tries = 15
		far, drifts := 0, 0
		for range tries {
			start := 1.79e9 + rng.Float64()
			files := make([]File, c.frames)
			for i := range files {
				at := start + c.interval*float64(i) + c.scatter*rng.NormFloat64()
				files[i] = File{Number: i + 1, Wrap: 9999, T: math.Floor(at/c.grain) * c.grain, Grain: c.grain, LightEV: math.NaN()}
			}
			a := Solve(files, Options{MinFrames: 5, LateFraction: 0.2})
			if len(a.Shoots) != 1 || !a.Shoots[0].Judged {
				t.Errorf("%+v: %d shoots", c, len(a.Shoots))
				continue
			}
			s := &a.Shoots[0]
			off := math.Abs(s.IntervalS - c.interval)
			n := float64(c.frames)
			limit := 5*math.Hypot(c.scatter, c.grain/math.Sqrt(12))*math.Sqrt(12/(n*n*n)) + c.grain/n
			if off > limit || off > 4*s.UncertaintyS+1e-9*c.interval {
				far++
				if far == 1 {
					t.Logf("%+v: told %.6f +- %.6f", c, s.IntervalS, s.UncertaintyS)
				}
			}
			if off > 0.002*c.interval && off > 3*s.UncertaintyS {
				drifts++
			}
		}
		if far > 1 || drifts > 0 {
			t.Errorf("%+v: %d of %d intervals told too far off, %d drifts claimed", c, far, tries, drifts)
		}
	}
}
